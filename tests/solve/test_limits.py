"""The reach of a piece: the shelf never beats the certified limit."""

from pathlib import Path

import pytest

from tintlab.errors import InsetError
from tintlab.inset import read_inset
from tintlab.shelf import shelf_for
from tintlab.solve.limits import limits

DEMO = Path(__file__).resolve().parents[2] / "demo"


def test_points_of_the_shelf_lie_above_the_limit():
    path = DEMO / "tide-bell" / "tide-bell.toml"
    shelf = shelf_for(path)
    found = limits(read_inset(path, shelf), shelf, points=12)
    curve = found.curves["free"]
    assert found.points
    for point in found.points:
        below = curve.low[curve.shares <= point.light_kept]
        assert point.difference >= below[-1] - 0.02
    assert curve.best.low <= found.smooth + 1e-9
    assert found.words.startswith("this light")


def test_region_has_no_reach():
    path = DEMO / "tug-lights" / "tug-lights.toml"
    shelf = shelf_for(path)
    with pytest.raises(InsetError, match="colour target"):
        limits(read_inset(path, shelf), shelf)
