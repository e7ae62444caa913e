"""The interval bound of CIEDE2000, and branch and bound on plain regions."""

from itertools import pairwise

import numpy as np
import pytest

from tintlab.colorimetry import delta_e_2000
from tintlab.solve.interval import (
    Regions,
    delta_e_2000_at_least,
    least_difference,
)

# ---- published


# Sharma, Wu & Dalal, Color Res. Appl. 30 (2005) 21-30, table 1, pairs chosen where
# the formula turns: the blue rotation (1-3), the hue jump (9-13, 15-16), and far
# pairs (17-20). Pair 14 is left out: its hues are 180 degrees apart to the last bit.
SHARMA = [
    ((50.0, 2.6772, -79.7751), (50.0, 0.0, -82.7485), "2.0425"),
    ((50.0, 3.1571, -77.2803), (50.0, 0.0, -82.7485), "2.8615"),
    ((50.0, 2.8361, -74.0200), (50.0, 0.0, -82.7485), "3.4412"),
    ((50.0, 2.4900, -0.0010), (50.0, -2.4900, 0.0009), "7.1792"),
    ((50.0, 2.4900, -0.0010), (50.0, -2.4900, 0.0010), "7.1792"),
    ((50.0, 2.4900, -0.0010), (50.0, -2.4900, 0.0011), "7.2195"),
    ((50.0, 2.4900, -0.0010), (50.0, -2.4900, 0.0012), "7.2195"),
    ((50.0, -0.0010, 2.4900), (50.0, 0.0009, -2.4900), "4.8045"),
    ((50.0, -0.0010, 2.4900), (50.0, 0.0011, -2.4900), "4.7461"),
    ((50.0, 2.5000, 0.0000), (50.0, 0.0, -2.5), "4.3065"),
    ((50.0, 2.5000, 0.0000), (73.0, 25.0, -18.0), "27.1492"),
    ((50.0, 2.5000, 0.0000), (61.0, -5.0, 29.0), "22.8977"),
    ((50.0, 2.5000, 0.0000), (56.0, -27.0, -3.0), "31.9030"),
    ((50.0, 2.5000, 0.0000), (58.0, 24.0, 15.0), "19.4535"),
]


@pytest.mark.parametrize(("colour", "target", "printed"), SHARMA)
def test_a_box_of_no_size_gives_the_printed_difference(colour, target, printed):
    bound = delta_e_2000_at_least(colour, colour, target)
    assert bound == pytest.approx(float(printed), abs=0.5000001e-4)


# ---- properties


def boxes(rng, kind, target, count=300):
    """Boxes of all sizes: anywhere, on the hue jump, or round the grey axis."""
    middle = rng.normal(0, [60, 0, 2][kind], (count, 2))
    if kind == 1:
        away = -target[1:] * rng.uniform(0.01, 3, (count, 1))
        middle = away + rng.normal(0, 1, (count, 2))
    size = 10 ** rng.uniform(-4, 1.5, (count, 2))
    lightness = rng.uniform(0, 100, (count, 1))
    depth = rng.uniform(0, 5, (count, 1)) * (rng.random((count, 1)) < 0.5)
    return (
        np.hstack([lightness - depth, middle - size]),
        np.hstack([lightness + depth, middle + size]),
    )


@pytest.mark.parametrize("kind", [0, 1, 2])
def test_no_sampled_colour_is_below_the_bound(kind):
    rng = np.random.default_rng(kind)
    for trial in range(32):
        spread = (40, 5, 80, 0)[trial % 4]
        target = np.append(rng.uniform(0, 100), rng.normal(0, spread, 2))
        low, high = boxes(rng, kind, target)
        where = rng.random((40, len(low), 3))
        where[:20] = np.where(
            rng.random((20, len(low), 3)) < 0.7, np.round(where[:20]), 0.5
        )
        seen = delta_e_2000(low + (high - low) * where, target)
        assert (delta_e_2000_at_least(low, high, target) <= seen.min(axis=0)).all()


def test_bound_closes_in_step_with_the_size_of_the_box():
    rng = np.random.default_rng(7)
    target = np.array([50.0, 30.0, 40.0])
    colour = np.column_stack([np.full(400, 60.0), rng.uniform(5, 90, (400, 2))])
    exact = delta_e_2000(colour, target)
    # abs(d CIEDE2000 / d Lab) stays below 2 here; the enclosure may double that
    for size in (1e-1, 1e-2, 1e-3):
        gap = exact - delta_e_2000_at_least(colour - size, colour + size, target)
        assert gap.max() < 8 * size
        assert gap.min() > 0


def test_a_box_across_the_hue_jump_takes_the_lower_side():
    target = np.array([50.0, 20.0, -60.0])
    across = np.array([50.0, -10.0, 30.0])
    turn = np.array([0.0, 0.0, 0.01])
    sides = delta_e_2000([across - turn, across + turn], target)
    assert abs(sides[0] - sides[1]) > 0.5  # else this test could not fail
    bound = delta_e_2000_at_least(across - turn, across + turn, target)
    assert bound == pytest.approx(sides.min(), abs=0.05)


def test_target_inside_the_box_gives_zero():
    assert delta_e_2000_at_least((40, 0, 0), (60, 9, 9), (50, 4, 4)) == 0


@pytest.mark.parametrize("shape", [(), (3,), (2, 3)])
def test_bound_keeps_leading_shapes(shape):
    low = np.broadcast_to((50.0, 10.0, 10.0), (*shape, 3))
    answer = delta_e_2000_at_least(low, low + 1, (50.0, 0.0, 0.0))
    assert answer.shape == shape
    assert (answer > 5).all()


# ---- second implementation: a dense grid over a polygon in a*, b*


def polygon(corners):
    """One region whose plane is (a*, -b*) at L* = 60, from anticlockwise corners."""
    corners = np.asarray(corners, dtype=float)
    side = np.roll(corners, -1, axis=0) - corners
    normals = np.column_stack([side[:, 1], -side[:, 0]])
    normals /= np.hypot(*side.T)[:, None]
    return Regions(
        normals=normals[None],
        offsets=(normals * corners).sum(axis=1)[None],
        corners=corners[None],
        to_colour=lambda points, _: np.stack(
            [np.full(points.shape[:-1], 60.0), points[..., 0], -points[..., 1]], axis=-1
        ),
        to_plane=lambda Lab, _: np.stack([Lab[..., 1], -Lab[..., 2]], axis=-1),
    )


POLYGONS = {
    "triangle": [(-40, -20), (10, -30), (0, 35)],
    "thin": [(-50, 20), (30, -10), (30.001, -9.999)],
    "kite": [(5, 0), (20, -50), (60, 0), (20, 50)],
}
TARGETS = [(60, 70, 30), (60, 30, -75), (55, -60, 5), (60, 8, 2), (70, -15, -60)]


@pytest.mark.parametrize("target", TARGETS)
@pytest.mark.parametrize("name", POLYGONS)
def test_branch_and_bound_agrees_with_a_dense_grid(name, target):
    region, corners = polygon(POLYGONS[name]), np.array(POLYGONS[name], dtype=float)
    # fill the polygon by fans from its first corner
    s, t = np.meshgrid(np.linspace(0, 1, 201), np.linspace(0, 1, 201))
    fans = [
        corners[0] + s[..., None] * (b - corners[0] + t[..., None] * (c - b))
        for b, c in pairwise(corners[1:])
    ]
    grid = np.array(fans).reshape(-1, 2)
    difference = delta_e_2000(region.to_colour(grid, None), target)
    start = grid[[difference.argmin()]]
    low, points = least_difference(
        region, np.array(target), points=start, tolerance=0.01, boxes=10**5
    )
    high = delta_e_2000(region.to_colour(points, None), target)
    # the point may be better than the grid's (next to the hue jump),
    # but it is a point of the polygon, and the bound is below both and near to it
    gap = region.normals[0] @ points[0] - region.offsets[0]
    assert gap.max() < 1e-9
    assert low[0] <= high[0] <= difference.min() + 1e-12
    assert high[0] - low[0] <= 0.01 + 1e-9


def test_a_spent_budget_leaves_a_looser_bound_that_is_still_true():
    region, start = polygon(POLYGONS["kite"]), np.array([[20.0, 50.0]])
    target = np.array([60.0, -30.0, 40.0])
    tight, best = least_difference(
        region, target, points=start, tolerance=0.01, boxes=10**5
    )
    loose, _ = least_difference(region, target, points=start, tolerance=0.01, boxes=3)
    assert loose[0] < tight[0] - 0.1
    assert tight[0] <= delta_e_2000(region.to_colour(best, None), target)[0]
