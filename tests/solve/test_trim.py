"""Trims equal exhaustive enumeration by `glow` itself, on both sides."""

from dataclasses import replace
from itertools import combinations, product

import numpy as np
import pytest

from tintlab.errors import InsetError
from tintlab.glow import look, miss
from tintlab.piece import piece_of
from tintlab.shelf import shelf_for
from tintlab.solve.trim import trim, with_coats, with_emitter, with_face_film

CLEAR = """
    [target]
    lab = [{L:.1f}, {a:.1f}, {b:.1f}]
    tolerance = 3
    lightness = "{lightness}"
    [inset]
    size = "40 x 60 mm"
    [[light]]
    emitter = "white 4100 K"
    lumens = 5
    {coats}
    [[layer]]
    kind = "cast"
    medium = "epoxy"
    thickness = "8 mm"
    batch = "40 g"
    dyes = [{{ bottle = "violet resin dye", dose = "4 drops" }}]
    [view]
    room = "gallery"
"""
SCATTERING = CLEAR.replace(
    '    [[layer]]\n    kind = "cast"',
    '    [cavity]\n    depth = "20 mm"\n    wall = "white paint"\n'
    '    [[layer]]\n    kind = "diffuser"\n    diffuser = "opal sheet"\n'
    '    [[layer]]\n    kind = "cast"',
)
PLAIN = {"lightness": "free", "coats": ""}


@pytest.fixture(scope="module")
def shelf():
    return shelf_for()


def enumerated(inset, piece, inks, *, side, most_coats, most_inks):
    """Score every combination by `look`: (difference, light kept, coats, who)."""
    found = []
    for k in range(most_inks + 1):
        for chosen in combinations(range(len(inks)), k):
            for counts in product(range(1, most_coats + 1), repeat=k):
                combination = tuple(zip(chosen, counts, strict=True))
                seen = look(inset, piece=with_coats(piece, inks, combination, side))
                gap = float(miss(inset, seen.XYZ))
                found.append((gap, seen.light_kept, sum(counts), combination))
    return found


def pareto(rows):
    return [
        r
        for r in rows
        if not any(
            q[0] <= r[0] and q[1] >= r[1] and q[2] <= r[2] and q[:3] != r[:3]
            for q in rows
        )
    ]


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("text", [CLEAR, SCATTERING], ids=["clear", "scattering"])
@pytest.mark.parametrize("side", ["led", "viewer"])
def test_trim_equals_enumeration_by_glow(inset_of, shelf, text, side, seed):
    random = np.random.default_rng(seed)
    L, a, b = random.uniform([30, -60, -60], [80, 60, 60])
    lightness = ("free", "match")[seed % 2]
    text = text.format(L=L, a=a, b=b, **PLAIN | {"lightness": lightness})
    inset = inset_of(text)
    piece = piece_of(inset)
    inks = random.permutation(np.array(shelf.all("inks"), dtype=object))[:3]
    found = trim(inset, piece, list(inks), sides=(side,), most_inks=2, most_coats=2)
    rows = enumerated(inset, piece, inks, side=side, most_coats=2, most_inks=2)
    answer = found.fixes[0].answer
    assert answer.covered == answer.total == len(rows)
    best = min(rows, key=lambda r: r[0])
    start = rows[0][0]
    if best[0] <= start:
        assert answer.best.difference == pytest.approx(best[0], abs=2e-3)
    expected = pareto([r for r in rows if r[0] <= start])
    shown = {c.combination for c in answer.front}
    near = {r[3] for r in expected}
    for combination in shown ^ near:  # only what a rounding of the stack decides
        row = next(r for r in rows if r[3] == combination)
        others = [r for r in expected if r[3] != combination]
        assert any(
            abs(q[0] - row[0]) < 5e-3 or abs(q[1] - row[1]) < 1e-4 for q in others
        )


def test_choice_is_what_glow_says(inset_of, shelf):
    text = SCATTERING.format(L=45, a=50, b=-30, **PLAIN)
    inset = inset_of(text)
    piece = piece_of(inset)
    found = trim(inset, piece, shelf.all("inks"))
    for fix in found.fixes:
        coated = with_coats(piece, fix.inks, fix.choice.combination, fix.side)
        seen = look(inset, piece=coated)
        gap = float(miss(inset, seen.XYZ))
        assert fix.choice.difference == pytest.approx(gap, abs=1e-3)
        assert fix.choice.light_kept == pytest.approx(seen.light_kept, abs=1e-5)
        now = look(inset, piece=piece)
        ratio = seen.light_kept / now.light_kept
        assert fix.against_now(fix.choice) == pytest.approx(ratio, abs=1e-5)


def test_coats_that_are_there_already_count(inset_of, shelf):
    """Two more coats on one are three coats, not three times the first."""
    coats = 'coats = [{ ink = "pink ink", coats = 1 }]'
    text = CLEAR.format(L=45, a=60, b=-10, **PLAIN | {"coats": coats})
    inset = inset_of(text)
    pink = shelf.find("inks", "pink ink")
    coated = with_coats(piece_of(inset), [pink], ((0, 2),), "led")
    three = inset_of(text.replace("coats = 1 }", "coats = 3 }"))
    np.testing.assert_allclose(
        look(inset, piece=coated).radiance, look(three).radiance, rtol=1e-12
    )
    found = trim(inset, piece_of(inset), [pink], sides=("led",))
    for choice in found.fixes[0].answer.front:
        again = with_coats(piece_of(inset), [pink], choice.combination, "led")
        gap = float(miss(inset, look(inset, piece=again).XYZ))
        assert choice.difference == pytest.approx(gap, abs=1e-6)


def test_empty_film_on_the_face_changes_nothing(inset_of):
    inset = inset_of(CLEAR.format(L=45, a=60, b=-10, **PLAIN))
    piece = piece_of(inset)
    filmed, _ = with_face_film(piece)
    np.testing.assert_allclose(
        look(inset, piece=filmed).radiance,
        look(inset, piece=piece).radiance,
        rtol=1e-12,
    )


def test_another_led_counts_at_its_own_light(inset_of, shelf):
    inset = inset_of(CLEAR.format(L=45, a=60, b=-10, **PLAIN))
    pink = shelf.find("emitters", "pink phosphor")
    piece = with_emitter(piece_of(inset), pink)
    light = inset.lights[0]
    expected = light.lumens * pink.efficacy / light.emitter.efficacy
    assert piece.beams[0].light.lumens == pytest.approx(expected)
    found = trim(
        inset, piece_of(inset), shelf.all("inks")[:2], emitters=[pink], sides=("led",)
    )
    assert [fix.emitter for fix in found.fixes] == ["", "pink phosphor"]


def test_limit_of_any_film_is_below_every_trim(inset_of, shelf):
    inset = inset_of(CLEAR.format(L=45, a=-50, b=30, **PLAIN))
    found = trim(inset, piece_of(inset), shelf.all("inks"), sides=("led",))
    for choice in found.fixes[0].answer.front:
        share = choice.light_kept / found.fixes[0].before.light_kept
        if share >= found.left.shares[0]:
            assert found.left.best.low <= choice.difference + 0.02


@pytest.mark.parametrize("lightness", ["free", "match"])
@pytest.mark.parametrize("text", [CLEAR, SCATTERING], ids=["clear", "scattering"])
def test_all_of_the_light_is_the_piece_as_it_is(inset_of, shelf, text, lightness):
    """A filter that takes nothing leaves one colour: that of now, veil and all."""
    inset = inset_of(text.format(L=45, a=-50, b=30, **PLAIN))
    inset = replace(inset, target=replace(inset.target, lightness=lightness))
    found = trim(inset, piece_of(inset), shelf.all("inks")[:1], sides=("led",))
    assert found.left.shares[-1] == 1.0
    assert found.left.high[-1] == pytest.approx(found.difference, abs=1e-6)
    assert found.left.low[-1] == pytest.approx(found.difference, abs=0.02)


def test_within_tolerance_takes_fewest_coats(inset_of, shelf):
    inset = inset_of(CLEAR.format(L=45, a=40, b=-60, **PLAIN))
    wide = replace(inset, target=replace(inset.target, tolerance=100.0))
    found = trim(wide, piece_of(wide), shelf.all("inks"), sides=("led",))
    assert found.fixes[0].choice.combination == ()


def test_mistakes_are_named(inset_of, shelf):
    inset = inset_of(CLEAR.format(L=45, a=60, b=-10, **PLAIN))
    with pytest.raises(InsetError, match="no ink"):
        trim(inset, piece_of(inset), [])
    with pytest.raises(InsetError, match=r"no \[target\]"):
        trim(replace(inset, target=None), piece_of(inset), shelf.all("inks"))
