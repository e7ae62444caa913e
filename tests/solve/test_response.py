"""The look-up against the stack solved anew."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tintlab import glow
from tintlab.inset import read_inset
from tintlab.piece import piece_of
from tintlab.shelf import shelf_for
from tintlab.solve.response import response_of

DEMO = Path(__file__).resolve().parents[2] / "demo"


@pytest.mark.parametrize("file", ["tide-bell/tide-bell", "kiln-mask/ember-thin"])
def test_response_equals_the_solved_stack(file):
    path = DEMO / f"{file}.toml"
    piece = piece_of(read_inset(path, shelf_for(path)))
    slab = next(t.place[1] for t in piece.tints if t.place[0] == "slab")
    found = response_of(piece, slab)
    rest = tuple(t for t in piece.tints if t.place != ("slab", slab))
    rest = replace(piece, tints=rest)
    random = np.random.default_rng(3)
    for deepest in (0.0, 0.3, 3.0, 12.0):
        depth = random.uniform(0, deepest, 401)
        depths, filters = glow.tint_depths(rest)
        depths[slab] = depths[slab] + depth
        solution = glow.solve_piece(rest, depths)
        exact = glow.radiance(rest, solution, filters)
        lit = exact > 1e-12 * exact.max()
        np.testing.assert_allclose(found.radiance(depth)[lit], exact[lit], rtol=2e-4)
        face = glow.face_factor(rest, solution)
        np.testing.assert_allclose(found.face_factor(depth), face, rtol=1e-3, atol=1e-5)


def test_slope_is_the_derivative():
    path = DEMO / "tide-bell/tide-bell.toml"
    piece = piece_of(read_inset(path, shelf_for(path)))
    found = response_of(piece, piece.tints[0].place[1])
    depth = np.linspace(0.01, 8, 401)
    h = 1e-5
    slope = (found.radiance(depth + h) - found.radiance(depth - h)) / (2 * h)
    np.testing.assert_allclose(
        found.with_slopes(depth)[0][1], slope, rtol=1e-5, atol=1e-12
    )
