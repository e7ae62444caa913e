"""Targets from art, an LED from a photo, and the commands, on pictures made here."""

import json
import tomllib
from pathlib import Path

import click
import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image, ImageCms
from scene import exif, expose, save, save_codes, scene

from tintlab.chips.aim import aim, regions_of
from tintlab.chips.photo_emitter import family_of, likelihoods, read_emitter
from tintlab.chips.photo_marks import parse_mark
from tintlab.cli import Group
from tintlab.cli_chip import aim as aim_command
from tintlab.cli_chip import chip as chip_group
from tintlab.colorimetry import (
    Lab_to_XYZ,
    XYZ_to_Lab,
    hex_to_XYZ,
    illuminant,
    rgb_to_XYZ,
    tables,
)
from tintlab.errors import InsetError
from tintlab.inset import read_inset
from tintlab.shelf import shelf_for
from tintlab.yardstick import difference

ART = Path(__file__).resolve().parents[2] / "demo" / "tide-bell" / "art"
GLOW = np.array([62.0, -38.0, 4.0])


@pytest.fixture
def tool():
    @click.group(cls=Group)
    def tool():
        pass

    tool.add_command(chip_group)
    tool.add_command(aim_command)
    return lambda *words: CliRunner().invoke(tool, [str(w) for w in words])


def region(text):
    return parse_mark(text, name="the region")


def glow(Lab, *, core=22, halo=0.06, noise=0.01, seed=1):
    """A round glow of one colour with a white core, a soft edge and a halo."""
    rows, columns = np.mgrid[:300, :400]
    r = np.hypot(columns - 200, rows - 150)[..., None]
    colour = tables().XYZ_to_rgb @ Lab_to_XYZ(Lab)
    light = colour * (0.6 + 0.4 * np.exp(-((r / 60) ** 2))) / (1 + np.exp((r - 90) / 3))
    light = light + 4 * np.exp(-((r / core) ** 4)) + halo * colour
    return expose(light, noise=noise, seed=seed)


def away(found, Lab):
    return float(difference(Lab_to_XYZ(found.Lab), Lab))


# ------------------------------------------------------------------ one colour


@pytest.mark.parametrize("name", ["a.png", "a.jpg"])
@pytest.mark.parametrize("Lab", [GLOW, [40, 50, 30], [50, 10, -40]])
def test_core_and_halo_do_not_count(tmp_path, name, Lab):
    path = save(tmp_path / name, glow(Lab))
    for place in ("200,150,80", "200,150,140"):  # without and with dark ground
        found = aim([(path, region(place))])
        assert away(found, Lab) < 1.0
        assert found.clipped > 0.02
    assert found.halo > 0.3
    whole = rgb_to_XYZ(np.asarray(Image.open(path)).reshape(-1, 3)).mean(axis=0)
    assert difference(whole, Lab) > 4  # the plain mean would not do


def test_a_flat_patch_is_its_own_hex(tmp_path):
    path = tmp_path / "a.png"
    Image.new("RGB", (60, 60), "#35a78e").save(path)
    found = aim([(path, region("30,30,20"))])
    np.testing.assert_allclose(found.Lab, XYZ_to_Lab(hex_to_XYZ("#35a78e")))
    assert found.tolerance == 2.0
    assert (found.clipped, found.halo, found.at_edge) == (0, 0, 0)


def test_the_spread_of_the_region_is_the_tolerance(tmp_path):
    """Two neighbouring colours, half and half: 90 % lie within half their distance."""
    a, b = [60, -38, 0], [60, -38, 12]
    codes = np.zeros((100, 100, 3))
    codes[:, ::2] = tables().XYZ_to_rgb @ Lab_to_XYZ(a)
    codes[:, 1::2] = tables().XYZ_to_rgb @ Lab_to_XYZ(b)
    found = aim([(save(tmp_path / "a.png", codes), region("50,50,30"))])
    half = float(difference(Lab_to_XYZ(a), b)) / 2
    assert found.tolerance == pytest.approx(half, abs=0.5)


def test_several_pictures_are_combined_whatever_their_exposure(tmp_path):
    paths = [
        save(tmp_path / f"{i}.png", glow(GLOW, seed=i) * gain)
        for i, gain in enumerate((0.5, 0.8, 1.0))
    ]
    found = aim(regions_of(paths, ["200,150,80"]))
    assert away(found, GLOW) < 1.0
    assert len(found.each) == 3
    assert not any("different colours" in note for note in found.notes)
    odd = save(tmp_path / "odd.png", glow([60, 30, -30]))
    mixed = aim(regions_of([*paths, odd], ["200,150,80"]))
    assert away(mixed, GLOW) < 3.0  # the median stays with the three
    assert mixed.tolerance == 12.0
    assert "different colours" in mixed.notes[0]


def test_a_wide_profile_is_converted(tmp_path):
    """The codes of another profile mean another colour: red and blue exchanged."""
    codes = np.full((60, 60, 3), [80, 150, 200], dtype=np.uint8)
    plain = aim([(save_codes(tmp_path / "a.png", codes), region("30,30,20"))])
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    tags = bytearray(profile)
    at_red, at_blue = tags.find(b"rXYZ"), tags.find(b"bXYZ")
    tags[at_red : at_red + 4], tags[at_blue : at_blue + 4] = b"bXYZ", b"rXYZ"
    path = save_codes(tmp_path / "b.png", codes, icc=bytes(tags))
    swapped = aim([(path, region("30,30,20"))])
    mirrored = save_codes(tmp_path / "c.png", codes[..., ::-1].copy())
    expected = aim([(mirrored, region("30,30,20"))])
    assert difference(Lab_to_XYZ(swapped.Lab), expected.Lab) < 0.6
    assert difference(Lab_to_XYZ(swapped.Lab), plain.Lab) > 20


# ------------------------------------------------------------------ refusals


def test_a_burnt_out_region_is_refused_with_its_channel(tmp_path):
    path = save(tmp_path / "a.jpg", glow(GLOW, core=60))
    with pytest.raises(InsetError, match=r"100% of the region of a\.jpg is clipped in"):
        aim([(path, region("200,150,20"))])


@pytest.mark.parametrize(
    ("place", "says"),
    [
        ("395,150,20", "reaches outside"),
        ("200,150,1", "has 4 pixels"),
        ("5,5,10,10", "is black"),
    ],
)
def test_regions_that_show_no_glow(tmp_path, place, says):
    path = save(tmp_path / "a.png", glow(GLOW, halo=0.0, noise=0))
    with pytest.raises(InsetError, match=says):
        aim([(path, region(place))])


def test_several_colours_are_refused(tmp_path):
    codes = np.zeros((100, 100, 3))
    codes[:50] = tables().XYZ_to_rgb @ Lab_to_XYZ([60, -38, 0])
    codes[50:] = tables().XYZ_to_rgb @ Lab_to_XYZ([60, 40, 20])
    with pytest.raises(InsetError, match="several colours"):
        aim([(save(tmp_path / "a.png", codes), region("50,50,30"))])


def test_as_many_regions_as_pictures():
    with pytest.raises(InsetError, match="2 regions for 3 pictures"):
        regions_of([Path("a"), Path("b"), Path("c")], ["1,2", "3,4"])
    assert regions_of([Path("a")], []) == [(Path("a"), None)]


# ------------------------------------------------------------------ bare LED


@pytest.fixture(scope="module")
def lights():
    return shelf_for().all("emitters")


def card(path, power, *, gains=(1, 1, 1), data=None):
    """An sRGB camera (its sensitivities the observer's own) sees a card."""
    rgb = np.clip(tables().XYZ_to_rgb @ (power @ tables().observer), 0, None) * gains
    light = np.broadcast_to(0.7 * rgb / rgb.max(), (200, 300, 3))
    data = exif(seconds="1/50") if data is None else data
    return save(path, expose(light), data=data)


@pytest.mark.parametrize(
    ("name", "family"),
    [
        *[("white 2730 K", "warm white"), ("white 4100 K", "neutral white")],
        *[("white 6600 K", "cool white"), ("red", "red"), ("royal blue", "blue")],
        *[("pink phosphor", "pink phosphor"), ("green", "green")],
    ],
)
def test_the_family_of_a_light_is_found(tmp_path, lights, name, family):
    power = next(one.power for one in lights if one.name == name)
    path = card(tmp_path / "a.jpg", power)
    found = read_emitter(path, at=region("150,100,40"), emitters=lights)
    assert next(iter(found.families)) == family
    assert found.resembles
    assert sum(found.families.values()) == pytest.approx(1)
    assert sum(one.probability for one in found.likely) == pytest.approx(1)
    assert "data sheet is better" in found.notes[0]


def test_whites_of_one_warmth_stay_undecided(tmp_path, lights):
    path = card(tmp_path / "a.jpg", illuminant("LED-B1"))
    found = read_emitter(path, at=region("150,100,40"), emitters=lights)
    assert found.likely[0].probability < 0.6


def test_automatic_white_balance_widens_the_answer(lights):
    seen = np.array([1.0, 0.7, 0.4])
    locked, automatic = (
        likelihoods(seen, lights, automatic_white=auto) for auto in (False, True)
    )

    def families(likelihood):
        total = {}
        for one, p in zip(lights, likelihood / likelihood.sum(), strict=True):
            total[family_of(one)] = total.get(family_of(one), 0) + p
        return max(total.values())

    assert families(automatic) < families(locked)


def test_a_light_like_nothing_on_the_shelf(tmp_path, lights):
    spikes = np.zeros(401)
    spikes[70:75], spikes[150:155] = 1.0, 0.8  # 450 and 530 nm alone
    few = [one for one in lights if family_of(one) in ("red", "amber", "warm white")]
    path = card(tmp_path / "a.jpg", spikes)
    found = read_emitter(path, at=region("150,100,40"), emitters=few)
    assert not found.resembles
    assert "no light of the shelf" in found.notes[-1]


def test_a_clipped_card(tmp_path, lights):
    light = np.full((200, 300, 3), [1.4, 0.6, 0.5])
    path = save(tmp_path / "a.jpg", light)
    with pytest.raises(InsetError, match="clipped in red; take the photo at a quarter"):
        read_emitter(path, at=region("150,100,40"), emitters=lights)
    path = save(tmp_path / "b.jpg", light * 0.001)
    with pytest.raises(InsetError, match="too dark in every channel"):
        read_emitter(path, at=region("150,100,40"), emitters=lights)


# ------------------------------------------------------------------ commands


def test_aim_prints_lines_that_an_inset_takes(tmp_path, tool):
    done = tool("aim", ART / "painting.jpg", "--at", "240,180,90")
    assert done.exit_code == 0, done.output
    lines = done.output[done.output.index("[target]") :]
    target = tomllib.loads(lines)["target"]
    assert target["lightness"] == "free"
    assert difference(Lab_to_XYZ(target["lab"]), GLOW) < 2.5
    file = tmp_path / "x.toml"
    file.write_text(
        f'name = "x"\n[[light]]\nemitter = "white 4100 K"\n{lines}', encoding="utf-8"
    )
    read = read_inset(file, shelf_for(file))
    assert read.target.Lab.tolist() == target["lab"]
    assert read.target.tolerance == target["tolerance"]


def test_aim_json(tool):
    done = tool("aim", ART / "painting.jpg", "--json")
    answer = json.loads(done.output)
    assert answer["hex"].startswith("#")
    assert len(answer["lab"]) == 3
    assert tomllib.loads(answer["target_lines"])["target"]["lab"] == answer["lab"]


def test_chip_read_on_the_demo(tool):
    words = ["chip", "read", ART / "chips.jpg", "--blank", "150,240"]
    words += ["--blank", "850,240", "--chip", "blue=500,240"]
    text = tool(*words).output
    assert "weaker evidence" in " ".join(text.split())
    assert max(map(len, text.splitlines())) <= 80
    (one,) = json.loads(tool(*words, "--json").output)["chips"]
    truth = np.array([0.22, 0.61, 0.80])
    assert (
        np.abs(np.array(one["ratio"]) - truth) < 1.65 * np.array(one["sigma"])
    ).all()


def test_chip_led_on_the_demo(tool):
    words = ["chip", "led", ART / "card.jpg", "--at", "200,150,60"]
    assert "neutral white" in tool(*words).output
    answer = json.loads(tool(*words, "--json").output)
    assert next(iter(answer["families"])) == "neutral white"


def test_checked_evidence_with_dark_and_unused_channels_is_told(tmp_path, tool):
    spots = {(300, 100): [0.7, 0.6, 0.001], (300, 200): [0.2, 0.3, 0.001]}
    spots |= {(300, 300): [0.175, 0.15, 0.001], (450, 200): [0.003, 0.003, 0.0]}
    path = save(tmp_path / "a.png", expose(scene(spots, ground=0), noise=0.003))
    done = tool(
        *("chip", "read", path, "--blank", "300,100,18", "--chip", "a=300,200,18"),
        *("--known", "0.25=300,300,18", "--dark", "450,200,18"),
    )
    text = " ".join(done.output.split())
    assert "not used" in text
    assert "tone curve exponent" in text
    assert "stray light" in text
    assert "blue is not used: clipped or too dark in the blank" in text


def test_marks_file_and_typed_marks(tmp_path, tool):
    file = tmp_path / "marks.toml"
    file.write_text(
        '[blank]\nat = [150, 240]\n[[chip]]\nname = "blue"\nat = [500, 240]\n',
        encoding="utf-8",
    )
    assert tool("chip", "read", ART / "chips.jpg", "--marks", file).exit_code == 0
    both = tool("chip", "read", ART / "chips.jpg", "--marks", file, "--dark", "1,2")
    assert both.exit_code == 1
    assert "keep one of them" in both.output


@pytest.mark.parametrize(
    "words", [("aim", "a.jpg"), ("chip", "led", "a.jpg", "--at", "1,2"),
              ("chip", "read", "a.jpg", "--blank", "1,2", "--chip", "a=3,4")],
)  # fmt: skip
@pytest.mark.parametrize("content", [b"", b"\xff\xd8\xff\xe0", b"text"])
def test_bad_files_are_one_line_and_nothing_is_written(
    tmp_path, monkeypatch, tool, words, content
):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "a.jpg").write_bytes(content)
    done = tool(*words)
    assert done.exit_code == 1
    assert done.output.startswith("Error: ")
    assert done.output.count("\n") == 1
    assert [p.name for p in tmp_path.iterdir()] == ["a.jpg"]


def test_the_demo_pictures_are_small():
    assert sum(p.stat().st_size for p in ART.glob("*.jpg")) < 100_000
