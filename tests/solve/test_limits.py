"""The reach of a piece: the shelf never beats the certified limit."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tintlab.errors import InsetError
from tintlab.inset import read_inset
from tintlab.report.advice import passbands
from tintlab.shelf import shelf_for
from tintlab.solve.limits import limits

DEMO = Path(__file__).resolve().parents[2] / "demo"


@pytest.mark.parametrize("room", ["dark house", "hall", "daylight"])
@pytest.mark.parametrize("lab", [None, (60, -75, 60), (80, 30, 90)])
def test_points_of_the_shelf_lie_above_the_limit(room, lab):
    """In every room: light that the face sends back is counted on both sides."""
    path = DEMO / "tide-bell" / "tide-bell.toml"
    shelf = shelf_for(path)
    inset = replace(read_inset(path, shelf), room=shelf.find("rooms", room))
    if lab is not None:
        inset = replace(inset, target=replace(inset.target, Lab=np.array(lab)))
    found = limits(inset, shelf, points=12)
    curve = found.curves["free"]
    assert found.points
    assert (found.level > 1.1) == (room == "daylight")
    for point in found.points:
        # glow and what the dyed face sends back are at least this share of both
        below = curve.low[curve.shares <= point.light_kept / found.level]
        assert point.difference >= below[-1] - 0.02
    assert curve.best.low <= found.smooth + 1e-9
    assert found.words.startswith("this light")


def test_region_has_no_reach():
    path = DEMO / "tug-lights" / "tug-lights.toml"
    shelf = shelf_for(path)
    with pytest.raises(InsetError, match="colour target"):
        limits(read_inset(path, shelf), shelf)


def test_ideal_filter_is_written_as_passbands():
    values = np.zeros(401)
    values[100:161], values[161] = 1.0, 0.37
    assert passbands(values) == [(480, 540, 1.0), (541, 541, 0.37)]
    assert passbands(np.ones(401)) == [(380, 780, 1.0)]
    assert passbands(np.zeros(401)) == []
