"""The two conventions behind every difference, and the distance from a region."""

import numpy as np
import pytest

from tintlab.colorimetry import (
    Lab_to_XYZ,
    XYZ_to_Lab,
    XYZ_to_uv,
    delta_e_2000,
    tables,
)
from tintlab.yardstick import (
    LEAST_LIGHTNESS,
    common_luminance,
    compared,
    difference,
    region_distance,
    region_parts,
    scaled,
    stops,
)

RNG = np.random.default_rng(8)
SEA_GREEN, NIGHT = [62.0, -38.0, 4.0], [12.0, 9.0, -30.0]


# ------------------------------------------------------------------ by hand


def test_luminance_of_l_star_50_is_the_18_percent_grey():
    """CIE 15: Y = ((50 + 16) / 116)^3 = 0.18419 (arithmetic)."""
    assert LEAST_LIGHTNESS == 50
    assert common_luminance(NIGHT) == pytest.approx((66 / 116) ** 3, abs=1e-12)
    assert common_luminance([50, 0, 0]) == pytest.approx(0.1841865, abs=5e-8)
    assert common_luminance(SEA_GREEN) == pytest.approx((78 / 116) ** 3, abs=1e-12)


def test_match_is_the_plain_difference():
    XYZ = Lab_to_XYZ([40, -38, 4])
    found = difference(XYZ, SEA_GREEN, lightness="match")
    assert float(found) == pytest.approx(float(delta_e_2000([40, -38, 4], SEA_GREEN)))
    assert float(found) > 15


def test_grey_of_any_lightness_is_on_a_grey_target_when_lightness_is_free():
    for lightness in (3.0, 30.0, 100.0):
        XYZ = Lab_to_XYZ([lightness, 0, 0])
        assert float(difference(XYZ, [70, 0, 0])) == pytest.approx(0, abs=1e-9)
        assert float(difference(XYZ, [70, 0, 0], lightness="match")) == pytest.approx(
            float(delta_e_2000([lightness, 0, 0], [70, 0, 0]))
        )


def test_free_scales_a_dark_target_up_to_50_and_a_light_one_not_at_all():
    assert compared(NIGHT, lightness="free")[0] == pytest.approx(50)
    assert compared(SEA_GREEN, lightness="free") == pytest.approx(SEA_GREEN)
    assert compared(NIGHT, lightness="match") == pytest.approx(NIGHT)


def test_free_keeps_the_chromaticity_of_a_dark_target():
    before = XYZ_to_uv(Lab_to_XYZ(NIGHT))
    after = XYZ_to_uv(Lab_to_XYZ(compared(NIGHT, lightness="free")))
    assert after == pytest.approx(before, abs=1e-12)


def test_black_target_stays_black():
    assert compared([0, 0, 0], lightness="free") == pytest.approx([0, 0, 0])
    assert float(difference(tables().white, [0, 0, 0])) > 30


def test_exposure_in_stops_by_hand():
    Y = common_luminance(SEA_GREEN)
    assert stops([0.1, Y, 0.1], SEA_GREEN) == pytest.approx(0)
    assert stops([0.1, Y / 8, 0.1], SEA_GREEN) == pytest.approx(3)
    assert stops([0.1, Y * 2, 0.1], SEA_GREEN) == pytest.approx(-1)
    assert stops([0, 0, 0], SEA_GREEN) == float("inf")


# --------------------------------------------------------------- properties


@pytest.mark.parametrize("target", [SEA_GREEN, NIGHT, [50, 60, -70], [95, -5, 60]])
def test_free_does_not_see_how_bright_a_glow_is(target):
    XYZ = RNG.uniform(0.05, 1, (200, 3))
    here = difference(XYZ, target)
    for factor in (1e-6, 0.3, 40.0):
        assert difference(XYZ * factor, target) == pytest.approx(here, abs=1e-9)


@pytest.mark.parametrize("target", [SEA_GREEN, NIGHT, [50, 60, -70]])
def test_match_does_see_how_bright_a_glow_is(target):
    XYZ = Lab_to_XYZ(target)
    darker = [float(difference(XYZ * f, target, lightness="match")) for f in (1, 0.5)]
    assert darker[0] == pytest.approx(0, abs=1e-9)
    assert darker[1] > 3


@pytest.mark.parametrize("policy", ["free", "match"])
@pytest.mark.parametrize("target", [SEA_GREEN, NIGHT, [50, 60, -70], [100, 0, 0]])
def test_the_target_itself_is_at_zero(policy, target):
    found = difference(Lab_to_XYZ(target), target, lightness=policy)
    assert float(found) == pytest.approx(0, abs=1e-9)


def test_policies_agree_for_a_glow_as_light_as_a_light_target():
    XYZ = scaled(RNG.uniform(0.05, 1, (200, 3)), common_luminance(SEA_GREEN))
    free = difference(XYZ, SEA_GREEN)
    assert free == pytest.approx(difference(XYZ, SEA_GREEN, lightness="match"))
    assert free == pytest.approx(delta_e_2000(XYZ_to_Lab(XYZ), SEA_GREEN))


def test_scaling_keeps_chromaticity_and_black():
    XYZ = RNG.uniform(0.01, 2, (50, 3))
    found = scaled(XYZ, 0.3)
    assert found[:, 1] == pytest.approx(0.3)
    assert XYZ_to_uv(found) == pytest.approx(XYZ_to_uv(XYZ), abs=1e-12)
    assert scaled([0, 0, 0], 0.3) == pytest.approx([0, 0, 0])


@pytest.mark.parametrize("shape", [(), (3,), (2, 3)])
def test_leading_axes_are_kept(shape):
    XYZ = RNG.uniform(0.1, 1, (*shape, 3))
    assert difference(XYZ, SEA_GREEN).shape == shape
    assert region_distance(XYZ, [[0.2, 0.2], [0.4, 0.2], [0.3, 0.4]]).shape == shape


# ------------------------------------------------------------------ regions


def xy_of(u, v):
    """CIE 15:2018: x = 9 u' / (6 u' - 16 v' + 12), y = 4 v' / (the same)."""
    below = 6 * u - 16 * v + 12
    return 9 * u / below, 4 * v / below


def XYZ_of(u, v, Y=0.4):
    x, y = xy_of(u, v)
    return np.array([x / y, 1.0, (1 - x - y) / y]) * Y


SQUARE = [(0.2, 0.4), (0.3, 0.4), (0.3, 0.5), (0.2, 0.5)]  # u'v'
# a flag with a notch: the point (0.28, 0.45) lies outside it, in the notch
NOTCHED = [(0.2, 0.4), (0.3, 0.4), (0.25, 0.45), (0.3, 0.5), (0.2, 0.5)]


def distance(u, v, polygon):
    return float(region_distance(XYZ_of(u, v), [xy_of(*corner) for corner in polygon]))


@pytest.mark.parametrize(
    ("u", "v", "wanted"),
    [
        (0.25, 0.45, -0.05),  # the middle
        (0.21, 0.45, -0.01),
        (0.25, 0.48, -0.02),
        (0.2, 0.45, 0.0),  # on an edge
        (0.3, 0.5, 0.0),  # on a corner
        (0.15, 0.45, 0.05),  # beside an edge
        (0.25, 0.38, 0.02),
        (0.33, 0.54, 0.05),  # off a corner: 3, 4, 5
    ],
)
def test_distance_from_a_square(u, v, wanted):
    assert distance(u, v, SQUARE) == pytest.approx(wanted, abs=1e-12)
    assert distance(u, v, SQUARE[::-1]) == pytest.approx(wanted, abs=1e-12)
    assert distance(u, v, SQUARE[2:] + SQUARE[:2]) == pytest.approx(wanted, abs=1e-12)
    assert distance(u, v, [*SQUARE, SQUARE[0]]) == pytest.approx(wanted, abs=1e-12)


@pytest.mark.parametrize(
    ("u", "v", "wanted"),
    [
        (0.28, 0.45, 0.03 / np.sqrt(2)),  # inside the hull, in the notch: outside
        (0.25, 0.45, 0.0),  # the re-entrant corner itself
        (0.23, 0.45, -0.02),  # behind it the corner is the nearest point
        (0.21, 0.45, -0.01),
        (0.31, 0.45, 0.06 / np.sqrt(2)),  # in front of it
    ],
)
def test_distance_at_a_re_entrant_corner(u, v, wanted):
    assert distance(u, v, NOTCHED) == pytest.approx(wanted, abs=1e-12)
    assert distance(u, v, NOTCHED[::-1]) == pytest.approx(wanted, abs=1e-12)


def slow_distance(point, polygon):
    """Points every 1e-4 along the edges, and the winding number by angles."""
    ends = np.roll(polygon, -1, axis=0)
    share = np.linspace(0, 1, 2001)[:, None, None]
    edge = (1 - share) * polygon + share * ends
    away = np.hypot(*(edge.reshape(-1, 2) - point).T).min()
    rays = [complex(*(corner - point)) for corner in polygon]
    turns = [np.angle(b / a) for a, b in zip(rays, [*rays[1:], rays[0]], strict=True)]
    return -away if round(abs(sum(turns)) / (2 * np.pi)) == 1 else away


def test_distance_equals_a_slow_sum_of_angles():
    polygon = np.array(NOTCHED)
    for u, v in RNG.uniform([0.15, 0.35], [0.35, 0.55], (200, 2)):
        slow = slow_distance(np.array([u, v]), polygon)
        assert distance(u, v, NOTCHED) == pytest.approx(slow, abs=3e-5)


def test_distance_is_that_of_chromaticity_alone():
    near = region_distance(XYZ_of(0.31, 0.45, 1e-9), [xy_of(*c) for c in SQUARE])
    assert float(near) == pytest.approx(0.01, abs=1e-12)


def test_black_is_outside_every_region():
    assert region_distance([0, 0, 0], [xy_of(*c) for c in SQUARE]) == np.inf


@pytest.mark.parametrize(
    ("u", "v", "wanted"),
    [
        (0.25, 0.45, (0, 0)),  # the middle
        (0.212, 0.45, (0, 0)),  # well inside
        (0.205, 0.45, (-0.005, 0)),  # not well enough
        (0.15, 0.45, (-0.06, 0)),  # beside an edge
        (0.25, 0.38, (0, -0.03)),
        (0.33, 0.54, (0.036, 0.048)),  # off a corner: 3, 4, 5
    ],
)
def test_way_into_a_square(u, v, wanted):
    corners = [xy_of(*corner) for corner in SQUARE]
    found = region_parts(XYZ_of(u, v), corners, inside=0.01)
    np.testing.assert_allclose(found, wanted, atol=1e-12)


def test_way_into_a_region_is_as_long_as_what_is_missing():
    corners = [xy_of(*corner) for corner in NOTCHED]
    points = RNG.uniform([0.1, 0.3], [0.4, 0.6], (200, 2))
    XYZ = np.array([XYZ_of(*one) for one in points])
    found = region_parts(XYZ, corners, inside=0.01)
    missing = np.maximum(region_distance(XYZ, corners) + 0.01, 0.0)
    np.testing.assert_allclose(np.hypot(*found.T), missing, atol=1e-12)
