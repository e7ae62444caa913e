"""The words of the answer, and the flags that come with it."""

from dataclasses import replace

import numpy as np
import pytest

from tintlab import verdict
from tintlab.glow import look
from tintlab.piece import piece_of
from tintlab.shelf import shelf_for
from tintlab.verdict import predict

TEXT = """
    [target]
    lab = [{L}, {a}, {b}]
    tolerance = {tolerance}
    min_light_kept = {least}
    [inset]
    size = "40 x 60 mm"
    [[light]]
    emitter = "{emitter}"
    lumens = {lumens}
    [[layer]]
    kind = "cast"
    medium = "epoxy"
    cure = "amine"
    thickness = "10 mm"
    batch = "100 g"
    dyes = [{{ {dye}, dose = "{dose}" }}]
"""
PLAIN = {
    "L": 60,
    "a": -20,
    "b": -30,
    "tolerance": 5,
    "least": 0.0,
    "emitter": "white 4100 K",
    "lumens": 5,
    "dye": 'dye = "brilliant blue"',
    "dose": "1 mg",
}


@pytest.fixture
def predicted(inset_of):
    def make(**changes):
        return predict(inset_of(TEXT.format(**PLAIN | changes)))

    return make


@pytest.fixture
def at_its_own_colour(predicted):
    """Predict with the target set to a little beside the piece's own colour."""

    def make(away, **changes):
        lab = predicted(**changes).look.Lab
        own = {"L": lab[0], "a": lab[1] + away, "b": lab[2]}
        return predicted(**changes | own)

    return make


def flags(prediction):
    return {flag.name for flag in prediction.flags}


def test_on_near_off(at_its_own_colour):
    words = [at_its_own_colour(away).verdict for away in (0, 14, 60)]
    assert words == ["on", "near", "off"]


def test_too_dim_by_light_kept(at_its_own_colour):
    found = at_its_own_colour(0, least=0.99)
    assert found.verdict == "too dim"
    assert "99 % is wanted" in found.reason


def test_too_dim_in_the_sun(inset_of):
    opal = (
        '[[layer]]\n    kind = "diffuser"\n    diffuser = "opal sheet"\n    [[layer]]'
    )
    text = TEXT.format(**PLAIN | {"lumens": 0.001}).replace("[[layer]]", opal)
    inset = inset_of(text)
    bright = predict(inset, room=shelf_for().find("rooms", "sun"))
    assert bright.look.luminance < 3 * bright.look.face_luminance
    assert bright.verdict == "too dim"


def test_unmeasured_bottle_that_decides_says_chip_it(at_its_own_colour):
    blue = {"dye": 'bottle = "blue resin dye"', "dose": "0.4 g"}
    found = at_its_own_colour(0, **blue, tolerance=9)
    assert 0.1 < found.spread.within < 0.9
    assert found.verdict == "can't tell, chip it"
    assert "blue resin dye" in found.reason


def test_wide_tolerance_is_on_whatever_the_bottle(at_its_own_colour):
    blue = {"dye": 'bottle = "blue resin dye"', "dose": "0.4 g"}
    assert at_its_own_colour(0, **blue, tolerance=90).verdict == "on"


def test_glowing_dye_is_never_on(at_its_own_colour):
    glows = {"dye": 'dye = "rhodamine 6G"', "dose": "0.5 mg", "tolerance": 60}
    found = at_its_own_colour(0, **glows)
    assert found.verdict != "on"
    assert "glows by itself" in flags(found)


def test_same_dye_over_deep_red_light_does_not_glow_by_itself(predicted):
    found = predicted(dye='dye = "rhodamine 6G"', dose="0.5 mg", emitter="deep red")
    assert "glows by itself" not in flags(found)


def test_flags_of_chemistry(predicted):
    azo = predicted(dye='dye = "solvent red 24"', dose="1 mg")
    safe = predicted(dye='dye = "solvent red 179"', dose="1 mg")
    assert "reacts with this cure" in flags(azo)
    assert "reacts with this cure" not in flags(safe)
    water = predicted(dye='bottle = "red disperse dye"', dose="0.1 g")
    assert "clouds" in flags(water)
    fading = predicted(dye='dye = "crystal violet"', dose="1 mg")
    assert "fades" in flags(fading)


def test_overload_and_deep_pour_are_flagged(inset_of):
    text = TEXT.format(**PLAIN | {"dye": 'bottle = "blue resin dye"', "dose": "9 g"})
    found = predict(inset_of(text.replace("10 mm", "60 mm")))
    assert {"overloaded", "deep pour", "no evidence"} <= flags(found)


def test_no_target_is_no_verdict(inset_of):
    text = TEXT.format(**PLAIN)
    text = text[text.index("    [inset]") :]
    found = predict(inset_of(text))
    assert found.verdict == ""
    assert found.difference is None


def test_region_verdict(inset_of):
    text = TEXT.format(**PLAIN | {"emitter": "cyan", "dose": "0 mg"})
    region = text.replace("lab = [60, -20, -30]", 'region = "ship green"')
    inside = predict(inset_of(region))
    assert inside.verdict == "on"
    assert inside.difference < 0
    outside = predict(inset_of(region.replace('"cyan"', '"amber"')))
    assert outside.verdict == "off"
    assert outside.difference > 0


def test_thick_and_thin_zones_turn_hue(predicted):
    """Sudan IV turns from pink to orange red with depth (its measured bands)."""
    found = predicted(dye='dye = "solvent red 24"', dose="2 mg")
    assert "thick/thin zones" in flags(found)


def test_exposure_brings_the_glow_to_the_common_luminance(predicted):
    found = predicted()
    Y = found.look.XYZ[1] * 2**found.exposure
    assert pytest.approx(((60 + 16) / 116) ** 3, rel=1e-9) == Y


def test_undiffused_leds_are_flagged_and_diffused_ones_are_not(inset_of):
    text = TEXT.format(**PLAIN)
    opal = (
        '[[layer]]\n    kind = "diffuser"\n    diffuser = "opal sheet"\n    [[layer]]'
    )
    assert "undiffused" in flags(predict(inset_of(text)))
    found = flags(predict(inset_of(text.replace("[[layer]]", opal))))
    assert "undiffused" not in found
    assert "scatters" in found


def test_head_on_check_agrees_with_more_streams(inset_of):
    text = TEXT.format(**PLAIN)
    opal = (
        '[[layer]]\n    kind = "diffuser"\n    diffuser = "opal sheet"\n    [[layer]]'
    )
    piece = piece_of(inset_of(text.replace("[[layer]]", opal)))
    assert verdict.head_on_settled(piece)
    assert look(inset_of(text)).luminance > 0
    narrow = replace(piece.beams[0], cosines=np.ones(1), weights=np.ones(1))
    weak = tuple(
        replace(slab, scattered=np.asarray(slab.scattered) * 0.02)
        for slab in piece.slabs
    )
    assert not verdict.head_on_settled(replace(piece, beams=(narrow,), slabs=weak))
