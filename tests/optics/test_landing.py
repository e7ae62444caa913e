"""Direct light on the opening of a box: closed forms of the trade of lighting."""

import numpy as np
import pytest

from tintlab.errors import ModelError
from tintlab.optics import direct_light, direct_light_within, irradiance

RECTANGLE = np.array([[-20, -30], [20, -30], [20, 30], [-20, 30]], dtype=float)
L_SHAPE = np.array(
    [[0, 0], [40, 0], [40, 20], [20, 20], [20, 60], [0, 60]], dtype=float
) - [20, 30]


def polygon(radius, sides=256):
    angles = 2 * np.pi * np.arange(sides) / sides
    return radius * np.stack([np.cos(angles), np.sin(angles)], axis=-1)


# ---- published: closed forms -----------------------------------------------------


def test_even_point_source_over_a_plane():
    """E = I h / (h^2 + r^2)^(3/2), with I = 1 / (2 pi) over the half space."""
    r = np.array([0.0, 3.0, 10.0, 40.0])
    E, cosines = irradiance(
        points=np.stack([r, 0 * r], axis=-1), positions=[[0, 0]], depth=7.0, exponent=0
    )
    expected = 7.0 / (49 + r**2) ** 1.5 / (2 * np.pi)
    np.testing.assert_allclose(E[:, 0], expected, rtol=1e-12)
    np.testing.assert_allclose(cosines[:, 0], 7 / np.hypot(7, r), rtol=1e-12)


def test_lambertian_point_source_falls_as_the_fourth_power():
    """Lambert: E = (1 / pi) h^2 / (h^2 + r^2)^2 per flux."""
    r = np.linspace(0, 50, 6)
    E, _ = irradiance(
        points=np.stack([0 * r, r], axis=-1), positions=[[0, 0]], depth=9.0, exponent=1
    )
    np.testing.assert_allclose(E[:, 0], 81 / (81 + r**2) ** 2 / np.pi, rtol=1e-12)


def test_lambertian_disc_of_leds_by_the_sine_of_its_half_angle():
    """On the axis of an even Lambertian disc E = M sin^2(half angle)."""
    R, h, step = 12.0, 10.0, 0.1
    grid = np.mgrid[-R : R + step : step, -R : R + step : step].reshape(2, -1).T
    places = grid[np.hypot(*grid.T) <= R]
    E, _ = irradiance(points=[0, 0], positions=places, depth=h, exponent=1)
    exitance = len(places) / (np.pi * R**2)  # one unit of flux each
    assert E.sum() == pytest.approx(exitance * R**2 / (R**2 + h**2), rel=2e-3)


def test_share_of_a_round_box_by_the_sine_of_its_half_angle():
    """A Lambertian LED on the axis sends sin^2(half angle) through a round opening."""
    share, cosines, weights = direct_light_within(
        corners=polygon(15.0), depth=20.0, positions=[[0.0, 0.0]], exponent=1.0
    )
    assert share == pytest.approx(225 / (225 + 400), rel=2e-4)
    # mean cosine of 2 m dm from the edge cosine c to 1: 2/3 (1 - c^3) / (1 - c^2)
    c = 20 / 25
    mean = 2 / 3 * (1 - c**3) / (1 - c**2)
    assert cosines @ weights == pytest.approx(mean, rel=2e-4)


def test_any_beam_on_the_axis_of_a_round_box():
    """1 - c^(k + 1), whatever the beam."""
    for exponent in (0.0, 3.0, 40.0):
        share, _, _ = direct_light_within(
            corners=polygon(15.0), depth=30.0, positions=[[0, 0]], exponent=exponent
        )
        expected = 1 - (30 / np.hypot(30, 15)) ** (exponent + 1)
        assert share == pytest.approx(expected, rel=3e-4)


# ---- identities ------------------------------------------------------------------


def test_a_rectangle_is_a_polygon_of_four_corners():
    places = [[3.0, -20.0], [-19.0, 29.0], [20.0, 30.0]]  # the last in a corner
    one = direct_light(width=40, height=60, depth=25, positions=places, exponent=2.0)
    for corners in (RECTANGLE, RECTANGLE[::-1], np.roll(RECTANGLE, 1, axis=0)):
        other = direct_light_within(
            corners=corners, depth=25.0, positions=places, exponent=2.0
        )
        assert other[0] == pytest.approx(one[0], rel=1e-12)
        np.testing.assert_allclose(other[1], one[1], rtol=1e-9)


def test_a_corner_too_many_changes_nothing():
    more = np.insert(RECTANGLE, 1, [5.0, -30.0], axis=0)
    one, other = (
        direct_light_within(corners=c, depth=8.0, positions=[[2, 3]], exponent=1.0)[0]
        for c in (RECTANGLE, more)
    )
    assert other == pytest.approx(one, rel=1e-9)


def test_all_light_lands_at_no_depth_and_none_at_great_depth():
    near, far = (
        direct_light_within(corners=L_SHAPE, depth=d, positions=[[-10, 0]], exponent=1)
        for d in (0.0, 1e5)
    )
    assert near[0] == pytest.approx(1.0, abs=1e-12)
    assert far[0] < 1e-6


def test_energy_on_the_opening_is_the_share_of_direct_light():
    """The integral of the irradiance over the opening, cell by cell."""
    places, step = np.array([[5.0, -10.0], [-12.0, 20.0]]), 0.5
    x = np.arange(-20 + step / 2, 20, step)
    y = np.arange(-30 + step / 2, 30, step)
    points = np.stack(np.meshgrid(x, y), axis=-1)
    for depth, exponent in ((10.0, 1.0), (25.0, 1.0), (25.0, 12.0)):
        E, m = irradiance(
            points=points, positions=places, depth=depth, exponent=exponent
        )
        share, cosines, weights = direct_light_within(
            corners=RECTANGLE, depth=depth, positions=places, exponent=exponent
        )
        assert E.sum() * step**2 / 2 == pytest.approx(share, rel=2e-4)
        mean = (E * m).sum() / E.sum()
        assert mean == pytest.approx(cosines @ weights, rel=2e-4)


# ---- second implementation -------------------------------------------------------


def test_a_wall_that_juts_in_throws_a_shadow():
    """An L-shaped box against rays drawn at random and stopped step by step."""
    rng = np.random.default_rng(5)
    led, depth, count = np.array([-10.0, 20.0]), 25.0, 20_000
    azimuth = 2 * np.pi * rng.random(count)
    m = np.sqrt(1 - rng.random(count))  # Lambertian
    reach = depth * np.sqrt(1 - m**2) / m
    lands = np.ones(count, dtype=bool)
    for part in np.linspace(0, 1, 400):
        step = part * np.minimum(reach, 100)
        x, y = led[0] + step * np.cos(azimuth), led[1] + step * np.sin(azimuth)
        foot = (abs(x + 10) < 10) & (abs(y) < 30)
        arm = (abs(x) < 20) & (abs(y + 20) < 10)
        lands &= foot | arm
    share, _, _ = direct_light_within(
        corners=L_SHAPE, depth=depth, positions=[led], exponent=1.0
    )
    assert share == pytest.approx(lands.mean(), abs=4 * 0.5 / np.sqrt(count))
    whole, _, _ = direct_light_within(
        corners=RECTANGLE, depth=depth, positions=[led], exponent=1.0
    )
    assert share < whole - 0.05  # the shadow is there to be seen


# ---- errors ----------------------------------------------------------------------


def test_what_cannot_be_asked():
    with pytest.raises(ModelError, match="the depth must be above 0"):
        irradiance(points=[0, 0], positions=[[0, 0]], depth=0.0, exponent=1)
    with pytest.raises(ModelError, match="without emitters"):
        direct_light_within(corners=RECTANGLE, depth=5, positions=[], exponent=1)
    with pytest.raises(ModelError, match="depth -1"):
        direct_light_within(corners=RECTANGLE, depth=-1, positions=[[0, 0]], exponent=1)
