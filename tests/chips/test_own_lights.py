"""Lights of the maker's own: made of nm, K or a picture, kept, added to, read back."""

import json

import numpy as np
import pytest
from click.testing import CliRunner
from ladders import sensitivities
from published import Published, published
from scene import exif, save

from tintlab.chips import lights as module
from tintlab.chips.keep import borrowable
from tintlab.chips.lights import Told, light_of
from tintlab.cli import main
from tintlab.colorimetry import (
    XYZ_to_xy,
    dominant_wavelength,
    illuminant,
    spectrum_to_XYZ,
)
from tintlab.errors import ShelfError
from tintlab.shelf import open_shelf, shelf_for
from tintlab.spectrum import WAVELENGTHS


@pytest.fixture(scope="module")
def lights():
    return borrowable(open_shelf())


def card(path, power, *, seconds="1/50"):
    """A white card under an LED, seen by a camera outside the family."""
    S = sensitivities()
    channels = (S @ power) / (S @ illuminant("D65"))
    x = np.full((120, 160, 3), 0.6) * channels / channels.max()
    return save(path, x, data=exif(seconds=seconds))


def run(*words):
    return CliRunner().invoke(main, ["chip", "led", *(str(w) for w in words)])


def sheet(kind, value):
    return Told(kind=kind, value=value, date="2025-03-01")


# ------------------------------------------------------------ published, identities


def mccamy(x, y):
    """Correlated colour temperature (McCamy 1992, from memory)."""
    n = (x - 0.3320) / (0.1858 - y)
    return 449 * n**3 + 3525 * n**2 + 6823.3 * n + 5520.33


@published(
    Published(source="CIE 015:2018: illuminant A, K", printed="2856", tolerance=10,
              given={"power": "A"}),
    Published(source="CIE 015:2018: D65, K", printed="6504", tolerance=10,
              given={"power": "D65"}),
)  # fmt: skip
def test_the_yardstick_of_colour_temperature(check):
    xy = XYZ_to_xy(spectrum_to_XYZ(illuminant(check.given["power"])))
    assert mccamy(*xy) == pytest.approx(check.expected, abs=check.half_digit)


@pytest.mark.parametrize("kelvin", [2800, 3500, 4500, 5700, 6500])
def test_a_white_of_a_data_sheet_has_its_colour_temperature(lights, kelvin):
    one = light_of("mine", [sheet("kelvin", kelvin)], lights)
    found = mccamy(*XYZ_to_xy(spectrum_to_XYZ(one.power)))
    assert found == pytest.approx(kelvin, rel=0.03)
    assert one.colour_temperature == kelvin


@pytest.mark.parametrize("nm", [452, 470, 505, 530, 575, 589, 625])
def test_a_colour_of_a_data_sheet_has_its_wavelength(lights, nm):
    one = light_of("mine", [sheet("dominant", nm)], lights)
    assert dominant_wavelength(spectrum_to_XYZ(one.power)) == pytest.approx(nm, abs=1)
    one = light_of("mine", [sheet("peak", nm)], lights)
    assert WAVELENGTHS[one.power.argmax()] == nm


def test_pictures_are_averaged_not_multiplied(lights):
    shares = {"white 4100 K": 0.7, "white 5110 K": 0.2, "white 3000 K": 0.1}
    once = Told(kind="picture", lights=shares, origin="a.jpg")
    twice = [once, Told(kind="picture", lights=shares, origin="b.jpg")]
    a, b = light_of("x", [once], lights), light_of("x", twice, lights)
    assert a.power == pytest.approx(b.power)
    assert a.steps == pytest.approx(b.steps)
    assert a.steps > 7  # 4100 and 5110 K are farther apart than one bin


# ------------------------------------------------------------ from the command line


def test_a_picture_is_kept_and_read_back(tmp_path):
    true = open_shelf().find("emitters", "white 4100 K")
    photo = card(tmp_path / "a.jpg", true.power)
    done = run(photo, "--at", "80,60,40", "--keep", "cabin strip", "--json")
    assert done.exit_code == 0, done.output
    answer = json.loads(done.output)
    path = tmp_path / "shelf" / "emitters" / "cabin-strip.toml"
    assert answer["written"] == [str(path)]
    kept = shelf_for(tmp_path / "x.toml").find("emitters", "Cabin Strip")
    assert kept.grade == "label-only"
    assert kept.source.kind == "learned"
    # inside its own bin lies what it was: radius in steps of 0.0011 in u'v'
    away = np.hypot(*(module.XYZ_to_uv(spectrum_to_XYZ(kept.power))
                      - module.XYZ_to_uv(spectrum_to_XYZ(true.power))))  # fmt: skip
    assert away < kept.steps * 0.0011
    again = run(photo, "--at", "80,60,40", "--keep", "cabin strip", "--json")
    assert json.loads(again.output)["written"] == []


def test_a_data_sheet_is_added_to_a_picture_and_counts_before_it(tmp_path):
    true = open_shelf().find("emitters", "white 4100 K")
    photo = card(tmp_path / "a.jpg", true.power)
    shelf = tmp_path / "shelf"
    run(photo, "--at", "80,60,40", "--keep", "strip")
    done = run("--kelvin", "4000", "--keep", "strip", "--into", shelf)
    assert done.exit_code == 0, done.output
    kept = open_shelf(shelf).find("emitters", "strip")
    assert kept.colour_temperature == 4000
    assert [t.kind for t in module.told_of(kept)] == ["picture", "kelvin"]
    old = shelf / "emitters" / "strip.toml.old"
    assert "4000" not in old.read_text(encoding="utf-8")
    before = (shelf / "emitters" / "strip.toml").read_bytes()
    done = run("--kelvin", "6500", "--keep", "strip", "--into", shelf)
    assert done.exit_code == 1
    assert "the picture looks like neutral white" in done.output
    assert (shelf / "emitters" / "strip.toml").read_bytes() == before


def test_a_light_kept_lights_an_inset(tmp_path):
    run("--dominant", "515", "--keep", "my teal", "--into", tmp_path / "shelf")
    file = tmp_path / "a.toml"
    file.write_text('name = "x"\n[[light]]\nemitter = "my teal"\n', encoding="utf-8")
    done = CliRunner().invoke(main, ["glow", str(file), "--json"])
    assert done.exit_code == 0, done.output
    assert json.loads(done.output)["dominant_wavelength"] == pytest.approx(515, abs=1)
    shown = CliRunner().invoke(
        main, ["shelf", "show", "my teal", "--shelf", str(tmp_path / "shelf")]
    )
    assert "data sheet, dominant wavelength 515 nm" in shown.output
    assert "makes it metered" in shown.output


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ([], "nothing is told"),
        (["--peak", "720"], "too far to borrow"),
        (["--kelvin", "20000"], "take the nearest"),
        (["--kelvin", "nan"], "a kelvin is 1000 to"),
        (["--dominant", "9000"], "is 380 to 780 nm"),
        (["--peak", "520", "--kelvin", "3000"], "one of them"),
        (["--peak", "520", "--keep", "green"], "has already"),
        (["--peak", "520", "--keep", "warm white"], "has already"),
        (["--peak", "520", "--keep", "!?"], "no name"),
    ],
)
def test_mistakes_are_one_line_and_nothing_is_written(tmp_path, words, says):
    done = run(*words, "--into", tmp_path / "shelf")
    assert done.exit_code == 1
    assert says in done.output
    assert done.output.count("\n") == 1
    assert not list(tmp_path.iterdir())


def test_a_photo_needs_its_place(tmp_path):
    assert run(tmp_path / "a.jpg").exit_code == 2
    assert run("--at", "1,2").exit_code == 2


def test_an_undecided_picture_is_not_kept(lights):
    shares = {"white 3000 K": 0.5, "white 5110 K": 0.3, "amber": 0.2}
    with pytest.raises(ShelfError, match="does not settle"):
        light_of("x", [Told(kind="picture", lights=shares)], lights)
