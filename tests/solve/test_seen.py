"""What was seen: a hidden fault put into a piece is found again."""

from dataclasses import replace

import numpy as np
import pytest

from tintlab import yardstick
from tintlab.colorimetry import XYZ_to_Lab, spectrum_to_XYZ
from tintlab.errors import InsetError
from tintlab.glow import look
from tintlab.piece import piece_of
from tintlab.shelf import shelf_for
from tintlab.solve.seen import find_out
from tintlab.solve.sights import camera
from tintlab.solve.trim import with_emitter

TEXT = """
    [target]
    lab = [55, -30, -15]
    [inset]
    size = "40 x 60 mm"
    [[light]]
    emitter = "white 4100 K"
    lumens = 5
    [[layer]]
    kind = "cast"
    medium = "epoxy"
    thickness = "8 mm"
    batch = "40 g"
    dyes = [{ bottle = "turquoise resin dye", dose = "3 drops" }]
"""


@pytest.fixture
def planned(inset_of):
    inset = inset_of(TEXT)
    return inset, piece_of(inset)


def stronger(piece, factor):
    tint = piece.tints[0]
    moved = replace(tint, absorbance=tint.absorbance * factor)
    return replace(piece, tints=(moved, *piece.tints[1:]))


def what_is_seen(inset, piece, shelf):
    """Everything a maker could write down of a piece."""
    seen = look(inset, piece=piece)
    Lab = XYZ_to_Lab(yardstick.scaled(seen.XYZ, 0.4))
    rgb = camera(spectrum_to_XYZ(seen.radiance)) / camera(spectrum_to_XYZ(seen.undyed))
    warm = with_emitter(piece, shelf.find("emitters", "white 2730 K"))
    second = XYZ_to_Lab(yardstick.scaled(look(inset, piece=warm).XYZ, 0.4))
    return {
        "lab": [float(v) for v in Lab],
        "light": float(seen.light_kept),
        "photo": [float(v) for v in rgb],
        "second": {"emitter": "white 2730 K", "lab": [float(v) for v in second]},
    }


@pytest.mark.parametrize("factor", [0.5, 2.0])
@pytest.mark.parametrize(
    "keys", [("lab", "light"), ("lab", "photo", "light"), ("lab", "second")]
)
def test_hidden_strength_is_found(planned, keys, factor):
    inset, piece = planned
    shelf = shelf_for()
    seen = what_is_seen(inset, stronger(piece, factor), shelf)
    inset = replace(inset, seen={key: seen[key] for key in keys})
    found = find_out(inset, piece, shelf)
    total = np.prod(list(found.strengths.values()))
    assert np.log(total) == pytest.approx(np.log(factor), abs=0.35)
    named = {s.label for s in found.suspects[:3]}
    assert any("turquoise resin dye" in label for label in named)


def test_light_meter_brings_the_light_back(planned):
    inset, piece = planned
    shelf = shelf_for()
    hidden = stronger(piece, 2.5)
    seen = what_is_seen(inset, hidden, shelf)
    inset = replace(inset, seen={"lab": seen["lab"], "light": seen["light"]})
    found = find_out(inset, piece, shelf)
    kept = look(inset, piece=found.piece).light_kept
    assert kept == pytest.approx(look(inset, piece=hidden).light_kept, rel=0.12)


def test_another_led_is_suspected(planned):
    inset, piece = planned
    shelf = shelf_for()
    warm = with_emitter(piece, shelf.find("emitters", "white 2730 K"))
    seen = what_is_seen(inset, warm, shelf)
    inset = replace(inset, seen={"lab": seen["lab"], "light": seen["light"]})
    found = find_out(inset, piece, shelf)
    swapped = [s for s in found.suspects if "LED is white 2" in s.label]
    assert swapped
    assert sum(s.probability for s in found.suspects) + found.nothing == pytest.approx(
        1, abs=0.12
    )


def test_nothing_off_is_said_so(planned):
    inset, piece = planned
    shelf = shelf_for()
    seen = what_is_seen(inset, piece, shelf)
    inset = replace(inset, seen={k: seen[k] for k in ("lab", "light", "photo")})
    found = find_out(inset, piece, shelf)
    assert found.misfit < 0.1
    assert all(f == pytest.approx(1, abs=0.05) for f in found.strengths.values())
    assert (
        found.nothing >= max((s.probability for s in found.suspects), default=0) * 0.8
    )


def test_leak_is_among_the_suspects(planned):
    inset, piece = planned
    shelf = shelf_for()
    dark = stronger(piece, 1.0)
    seen = what_is_seen(inset, replace(dark, leak=0.05), shelf)
    inset = replace(inset, seen={k: seen[k] for k in ("lab", "light", "second")})
    labels = {s.label for s in find_out(inset, piece, shelf).suspects}
    assert "light that leaks past the dye" in labels


def test_light_may_be_written_as_percent(planned):
    inset, piece = planned
    shelf = shelf_for()
    ways = [
        find_out(replace(inset, seen={"light": light}), piece, shelf)
        for light in ("30 %", 0.3)
    ]
    assert ways[0].strengths == ways[1].strengths


def test_next_look_is_not_one_that_was_taken(planned):
    inset, piece = planned
    shelf = shelf_for()
    seen = what_is_seen(inset, stronger(piece, 2.0), shelf)
    first = find_out(replace(inset, seen={"lab": seen["lab"]}), piece, shelf)
    assert "meter the light" in first.next_look or "LED" in first.next_look
    both = {k: seen[k] for k in ("lab", "light", "second")}
    assert "meter the light" not in (
        find_out(replace(inset, seen=both), piece, shelf).next_look
    )


@pytest.mark.parametrize(
    ("seen", "says"),
    [
        ({"lab": [50, 0, 0], "lite": 0.3}, '"lite".* "light"'),
        ({"lab": [1, 2]}, "3 finite numbers"),
        ({"lab": [400, 25, -75]}, "L. is 0 to 100"),
        ({"light": -1.0}, "light = -1; give"),
        ({"light": 9}, "light = 9; give"),
        ({"light": "nine %"}, "write it like"),
        ({"hex": "blue"}, "hex"),
        ({"second": {"lab": [1, 2, 3]}}, "emitter.* is missing"),
        ({"second": {"emitter": "white 2730 K"}}, "needs lab or hex"),
        ({"second": {"emitter": "sun lamp", "lab": [1, 2, 3]}}, "sun lamp"),
        ({"sure": 3}, "nothing to go by"),
        ({"lab": [50, 0, 0], "sure": "x"}, "sure takes a"),
        ({"photo": [0, 1, 1]}, "above zero"),
    ],
)
def test_mistakes_are_named(planned, seen, says):
    inset, piece = planned
    with pytest.raises(InsetError, match=says):
        find_out(replace(inset, seen=seen), piece, shelf_for())
