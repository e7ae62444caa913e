"""The box behind the inset."""

import numpy as np
import pytest
from published import Published, published

from tintlab.errors import ModelError
from tintlab.optics.cavity import (
    beam_exponent,
    box_reflectance,
    direct_light,
    recycled_transmittance,
)

ONE = {"width": 40.0, "height": 60.0, "depth": 25.0, "exponent": 1.0}

# ---- published -----------------------------------------------------------------


@published(
    Published(
        source="geometric series of an integrating cavity (Goebel 1967)",
        given={"T": 0.4, "R": 0.5, "rho": 0.8},
        printed="0.6666667",
    ),
    Published(
        source="lossless inset before a perfect mirror lets all out",
        given={"T": 0.3, "R": 0.7, "rho": 1.0},
        printed="1.0000000",
    ),
)
def test_recycled_transmittance(check):
    T, R = check.given["T"], check.given["R"]
    found = recycled_transmittance(
        first_transmittance=T,
        first_reflectance=R,
        diffuse_transmittance=T,
        diffuse_reflectance=R,
        box=check.given["rho"],
    )
    assert found == pytest.approx(check.expected, abs=check.half_digit)


@published(
    Published(
        source="project design note: 0.70 walls at f = 0.22 act like 0.34",
        given={"wall": 0.7, "opening_share": 0.22},
        printed="0.34",
    ),
)
def test_box_reflectance(check):
    found = box_reflectance(**check.given)
    assert found == pytest.approx(check.expected, abs=check.half_digit)


def rectangle_view_factor(a, b, c):
    """View factor of a small surface facing the corner of a rectangle (same)."""
    x, y = a / c, b / c
    first = x / np.sqrt(1 + x * x) * np.arctan(y / np.sqrt(1 + x * x))
    second = y / np.sqrt(1 + y * y) * np.arctan(x / np.sqrt(1 + y * y))
    return (first + second) / (2 * np.pi)


def test_lambertian_share_is_the_view_factor_of_a_rectangle():
    # element to parallel rectangle, perpendicular through a corner: four quarters for
    # the centre, one for an emitter in the corner (standard view factor)
    share, _, _ = direct_light(positions=[[0.0, 0.0]], **ONE)
    assert share == pytest.approx(4 * rectangle_view_factor(20, 30, 25), rel=1e-9)
    share, _, _ = direct_light(positions=[[20.0, 30.0]], **ONE)
    assert share == pytest.approx(rectangle_view_factor(40, 60, 25), rel=1e-9)


# ---- identities ----------------------------------------------------------------


def test_beam_exponent_halves_the_intensity_at_the_half_angle():
    for full in (15.0, 30.0, 120.0, 170.0):
        k = beam_exponent(full)
        assert np.cos(np.radians(full / 2)) ** k == pytest.approx(0.5, rel=1e-12)
    assert beam_exponent(180.0) == 0.0


def test_box_is_bounded_by_its_opening():
    wall = np.linspace(0, 1, 11)
    assert box_reflectance(wall=wall, opening_share=1.0) == pytest.approx(wall)
    assert box_reflectance(wall=1.0, opening_share=0.01) == pytest.approx(1.0)
    assert (box_reflectance(wall=wall[1:-1], opening_share=0.2) < wall[1:-1]).all()


@pytest.mark.parametrize("opening", [0.05, 0.22, 0.5])
def test_box_is_the_sum_of_its_bounces(opening):
    wall, left, out = 0.7, 1.0, 0.0
    for _ in range(400):
        left *= wall
        out += left * opening
        left *= 1 - opening
    assert box_reflectance(wall=wall, opening_share=opening) == pytest.approx(out)


def test_recycling_uses_each_argument_in_its_place():
    # all different, followed bounce by bounce
    T0, R0, Td, Rd, rho = 0.5, 0.2, 0.3, 0.6, 0.7
    out, back = T0, R0
    for _ in range(200):
        out += back * rho * Td
        back = back * rho * Rd
    found = recycled_transmittance(
        first_transmittance=T0,
        first_reflectance=R0,
        diffuse_transmittance=Td,
        diffuse_reflectance=Rd,
        box=rho,
    )
    assert found == pytest.approx(out, rel=1e-12)


@pytest.mark.parametrize("exponent", [0.0, 1.0, 80.0])
def test_touching_emitters_waste_nothing(exponent):
    share, cosines, weights = direct_light(
        **(ONE | {"depth": 0.0, "exponent": exponent}),
        positions=[[0.0, 0.0], [-10.0, 20.0]],
    )
    k = exponent
    assert share == pytest.approx(1.0, abs=1e-12)
    assert weights.sum() == pytest.approx(1.0)
    for power in (1, 2, 5):  # moments of (k + 1) m^k
        moment = (k + 1) / (k + 1 + power)
        assert weights @ cosines**power == pytest.approx(moment, rel=1e-6)


def test_share_falls_with_depth_and_light_turns_forward():
    found = [
        direct_light(**(ONE | {"depth": d}), positions=[[5.0, -10.0]])
        for d in (1.0, 10.0, 40.0, 200.0)
    ]
    shares = [share for share, _, _ in found]
    means = [cosines @ weights for _, cosines, weights in found]
    assert (np.diff(shares) < 0).all()
    assert (np.diff(means) > 0).all()


def test_width_and_height_are_not_swapped():
    tall, _, _ = direct_light(**ONE, positions=[[0.0, 29.0]])
    turned, _, _ = direct_light(
        **(ONE | {"width": 60.0, "height": 40.0}), positions=[[29.0, 0.0]]
    )
    assert tall == pytest.approx(turned, rel=1e-12)
    with pytest.raises(ModelError, match="outside"):
        direct_light(**ONE, positions=[[29.0, 0.0]])


# ---- second implementation -----------------------------------------------------


@pytest.mark.parametrize("exponent", [0.5, 1.0, 20.0])
def test_direct_light_against_thrown_rays(exponent):
    places = [[0.0, 0.0], [15.0, -20.0]]
    share, cosines, weights = direct_light(
        **(ONE | {"exponent": exponent}), positions=places
    )
    rng = np.random.default_rng(2)
    m = rng.random(200_000) ** (1 / (exponent + 1))
    turn = 2 * np.pi * rng.random(m.size)
    away = 25.0 * np.sqrt(1 - m * m) / m
    hits = [
        (np.abs(x + away * np.cos(turn)) <= 20)
        & (np.abs(y + away * np.sin(turn)) <= 30)
        for x, y in places
    ]
    hit = np.mean(hits, axis=0)
    assert share == pytest.approx(hit.mean(), abs=4e-3)
    for power in (1, 4):
        thrown = (hit * m**power).mean() / hit.mean()
        assert weights @ cosines**power == pytest.approx(thrown, abs=3e-3)


# ---- errors --------------------------------------------------------------------


def test_impossible_boxes_are_refused():
    with pytest.raises(ModelError, match="wall"):
        box_reflectance(wall=1.2, opening_share=0.2)
    with pytest.raises(ModelError, match="without an opening"):
        box_reflectance(wall=1.0, opening_share=0.0)
    with pytest.raises(ModelError, match="no light out"):
        recycled_transmittance(
            first_transmittance=0.0,
            first_reflectance=1.0,
            diffuse_transmittance=0.0,
            diffuse_reflectance=1.0,
            box=1.0,
        )
    for angle in (0.0, -5.0, 181.0, np.nan):
        with pytest.raises(ModelError, match="beam"):
            beam_exponent(angle)
    for bad in ({"width": 0.0}, {"depth": -1.0}, {"exponent": np.nan}):
        with pytest.raises(ModelError, match=next(iter(bad))):
            direct_light(**(ONE | bad), positions=[[0.0, 0.0]])
    with pytest.raises(ModelError, match="emitters"):
        direct_light(**ONE, positions=[])
