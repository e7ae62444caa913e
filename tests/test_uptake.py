"""Dye taken up in a bath: printed values of the diffusion sum, limits, and scaling."""

import numpy as np
import pytest
from published import Published, published
from scipy.special import erfc

from tintlab.uptake import sheet_absorbance

RATE, SATURATION, THICKNESS = 0.15, 4.0, 2.0  # [1/sqrt(min)], [1/mm], [mm]


def absorbance(minutes, **changed):
    given = {"rate": RATE, "saturation": SATURATION, "thickness": THICKNESS, "faces": 2}
    return sheet_absorbance(minutes=minutes, **{**given, **changed})


def minutes_for(time, **changed):
    """Minutes at which D t / l^2 has a value; D = pi/4 (rate / saturation)^2."""
    given = {"rate": RATE, "saturation": SATURATION, "thickness": THICKNESS, **changed}
    D = np.pi / 4 * (given["rate"] / given["saturation"]) ** 2
    return time * given["thickness"] ** 2 / D


def share(time, **changed):
    """Share of the dye taken up at a value of D t / l^2, l the full thickness."""
    full = SATURATION * THICKNESS
    return float(absorbance(minutes_for(time), **changed)) / full


# ---------------------------------------------------------------- published
CRANK = "Crank, The Mathematics of Diffusion, 2nd ed. 1975 (from memory)"
# The same sum is the consolidation of a clay layer that drains on both faces; its
# table goes by the time factor T = c t / (l / 2)^2, so D t / l^2 = T / 4.
TERZAGHI = "Terzaghi 1943, one-dimensional consolidation, table (from memory)"


@published(
    Published(
        source=f"{CRANK}, half of the uptake at D t / l^2",
        printed="0.50",
        given={"time": 0.0492},
        tolerance=0.001,
    ),
    *(
        Published(
            source=f"{TERZAGHI}, T = {T}",
            printed=printed,
            given={"time": T / 4},
            tolerance=0.002,  # T is printed to three figures
        )
        for printed, T in [
            ("0.10", 0.00785),
            ("0.20", 0.0314),
            ("0.30", 0.0707),
            ("0.40", 0.126),
            ("0.50", 0.197),
            ("0.60", 0.286),
            ("0.70", 0.403),
            ("0.80", 0.567),
            ("0.90", 0.848),
            ("0.95", 1.129),
        ]
    ),
)
def test_share_taken_up(check):
    found = share(check.given["time"])
    assert found == pytest.approx(check.expected, abs=check.half_digit)


# --------------------------------------------------- second implementation


@pytest.mark.parametrize("time", [1e-4, 5e-3, 0.0099, 0.0101, 0.05, 0.2, 1.0])
def test_two_forms_of_the_same_sum_agree(time):
    """Crank eq. 4.20 (from memory): the other series, of mirrored error functions."""
    n = np.arange(1, 60)
    at = n / (2 * np.sqrt(time))
    mirrored = np.exp(-(at**2)) / np.sqrt(np.pi) - at * erfc(at)  # ierfc
    wanted = 4 * np.sqrt(time) * (1 / np.sqrt(np.pi) + 2 * ((-1) ** n * mirrored).sum())
    assert share(time) == pytest.approx(wanted, abs=1e-9)


def test_diffusion_solved_step_by_step():
    """Explicit differences on 200 cells with both faces held at 1."""
    cells, time = 200, 0.06
    step = 0.4 / cells**2
    inside = np.zeros(cells)
    for _ in range(round(time / step)):
        wide = np.concatenate([[2 - inside[0]], inside, [2 - inside[-1]]])
        inside = inside + 0.4 * np.diff(wide, 2)
    assert share(time) == pytest.approx(inside.mean(), abs=1e-4)


# ----------------------------------------------------------------- identities


def test_root_of_time_until_half_of_saturation():
    half = SATURATION * THICKNESS / 2
    minutes = np.linspace(0, (half / (2 * RATE)) ** 2, 50)
    wanted = 2 * RATE * np.sqrt(minutes)  # two faces
    assert absorbance(minutes) == pytest.approx(wanted, abs=0.002 * half)
    later = 4 * minutes[-1]
    assert absorbance(later) < 0.9 * 2 * RATE * np.sqrt(later)


def test_rate_is_that_of_one_face():
    early = 4.0
    assert absorbance(early, faces=1) == pytest.approx(RATE * 2, rel=1e-9)
    assert absorbance(early, faces=2) == pytest.approx(RATE * 4, rel=1e-9)


def test_limit_is_saturation_times_thickness():
    for faces in (1, 2):
        found = absorbance(1e7, faces=faces)
        assert found == pytest.approx(SATURATION * THICKNESS, rel=1e-9)


def test_masked_back_is_half_of_a_sheet_of_twice_the_thickness():
    minutes = np.geomspace(0.01, 1e6, 60)
    masked = absorbance(minutes, faces=1)
    double = absorbance(minutes, thickness=2 * THICKNESS)
    assert masked == pytest.approx(double / 2, abs=1e-12)


def test_uptake_does_not_depend_on_thickness_before_the_fronts_meet():
    thin, thick = absorbance(30.0, thickness=2.0), absorbance(30.0, thickness=12.0)
    assert thin == pytest.approx(float(thick), rel=1e-6)


def test_nothing_before_the_bath_and_nothing_from_water():
    assert float(absorbance(0.0)) == 0.0
    assert float(absorbance(60.0, rate=0.0)) == 0.0


def test_uptake_rises_with_time_rate_and_thickness_and_never_passes_its_limit():
    minutes = np.geomspace(1e-3, 1e7, 4000)
    found = absorbance(minutes)
    assert (np.diff(found) >= 0).all()
    assert (np.diff(found[found < 0.999 * found[-1]]) > 0).all()
    assert (found <= SATURATION * THICKNESS * (1 + 1e-12)).all()
    rates = absorbance(60.0, rate=np.linspace(0.01, 1, 50))
    assert (np.diff(rates) > 0).all()
    thicknesses = absorbance(3000.0, thickness=np.linspace(0.5, 10, 50))
    assert (np.diff(thicknesses) > -1e-9).all()


def test_arrays_broadcast():
    found = absorbance(np.ones((2, 1)), thickness=np.ones(3))
    assert found.shape == (2, 3)
