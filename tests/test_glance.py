"""What a live view draws says the same as the full answer."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tintlab.glow import look
from tintlab.inset import read_inset
from tintlab.piece import piece_of
from tintlab.report import data
from tintlab.report.glance import curves, glance, look_again, rainbow, section
from tintlab.shelf import shelf_for
from tintlab.spectrum import WAVELENGTHS
from tintlab.verdict import predict

DEMO = Path(__file__).resolve().parents[1] / "demo"
FILES = ["tide-bell/tide-bell.toml", "tug-lights/tug-lights.toml"]


@pytest.fixture(scope="module", params=FILES)
def inset(request):
    path = DEMO / request.param
    return read_inset(path, shelf_for(path))


# ------------------------------------------------------ second implementation


def test_a_glance_says_what_the_whole_answer_says(inset):
    whole = data.flat(predict(inset))
    quick = glance(inset, look(inset))
    assert quick.keys() <= whole.keys()
    for key, value in quick.items():
        if isinstance(value, float):
            assert value == pytest.approx(whole[key], rel=1e-3, abs=6e-3), key
        else:
            assert value == whole[key], key


@pytest.mark.parametrize("drops", [0, 1, 9])
def test_looking_again_is_looking(drops):
    inset, before = _tide_bell('"4 drops"', f'"{drops} drops"'), _tide_bell()
    piece, earlier = piece_of(inset), piece_of(before)
    again = look_again(inset, piece, before=(earlier, look(before)))
    plain = look(inset)
    for key in ("radiance", "undyed", "face", "XYZ", "Lab"):
        assert getattr(again, key) == pytest.approx(getattr(plain, key), rel=1e-12)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('"white 4100 K"', '"white 2730 K"'),
        ("count = 6", "count = 5"),
        ('"25 mm"', '"20 mm"'),
        ('"9 mm"', '"8 mm"'),
        ('"frosted film"', '"opal sheet"'),
        ('kind = "gap"', 'kind = "film"'),
    ],
)
def test_another_undyed_piece_is_noticed(old, new):
    inset, other = _tide_bell(), _tide_bell(old, new)
    again = look_again(other, piece_of(other), before=(piece_of(inset), look(inset)))
    assert again.undyed == pytest.approx(look(other).undyed, rel=1e-12)
    assert again.undyed != pytest.approx(look(inset).undyed, rel=1e-6)


def _tide_bell(old="", new=""):
    path = DEMO / FILES[0]
    text = path.read_text(encoding="utf-8")
    assert old in text
    return read_inset(path, shelf_for(path), text=text.replace(old, new))


# ----------------------------------------------------------------- identities


def test_an_undyed_piece_has_the_undyed_curve():
    path = DEMO / FILES[0]
    inset = read_inset(path, shelf_for(path))
    drawn = curves(look(inset, piece=_without_tints(piece_of(inset))))
    assert drawn["radiance"] == pytest.approx(drawn["undyed"])
    assert max(drawn["undyed"]) == pytest.approx(1.0, abs=0.02)
    assert drawn["wavelengths"][0] == WAVELENGTHS[0]


def _without_tints(piece):
    return replace(piece, tints=())


def test_a_layer_without_dye_is_drawn_white_and_a_dyed_one_is_not():
    path = DEMO / FILES[0]
    inset = read_inset(path, shelf_for(path))
    layers = section(inset, piece_of(inset))["layers"]
    assert [layer["kind"] for layer in layers] == ["diffuser", "gap", "cast"]
    assert [layer["tinted"] for layer in layers] == [False, False, True]
    assert layers[0]["cloudy"]
    assert layers[1]["hex"] == "#ffffff"
    red, green, blue = (int(layers[2]["hex"][i : i + 2], 16) for i in (1, 3, 5))
    assert red < min(green, blue) - 50  # four drops of a sea blue


def test_the_leds_lie_within_the_box():
    path = DEMO / FILES[0]
    inset = read_inset(path, shelf_for(path))
    light = section(inset, piece_of(inset))["lights"][0]
    assert light["count"] == 6
    assert len(light["across"]) == 2  # six on a face of 40 x 60 mm: two columns
    assert np.abs(light["across"]).max() < 0.5
    assert sum(light["across"]) == pytest.approx(0.0, abs=1e-9)


def test_the_rainbow_rises_and_goes_from_blue_to_red():
    waves, colours = zip(*rainbow(), strict=True)
    assert list(waves) == sorted(waves)
    blue, red = colours[waves.index(455.0)], colours[waves.index(655.0)]
    assert int(blue[5:], 16) > int(blue[1:3], 16)
    assert int(red[1:3], 16) > int(red[5:], 16)
