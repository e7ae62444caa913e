"""Absorption bands: widths, areas, skew, and Beer's law that uses them."""

import numpy as np
import pytest
from published import Published, published

from tintlab.errors import ModelError
from tintlab.optics.bands import broadened, gaussian_bands, log_normal_band, shifted

GRID = np.arange(380.0, 781.0)  # [nm]
FINE = 1e7 / np.linspace(5000.0, 40000.0, 70001)  # [nm], even in wavenumber

# ---- published -----------------------------------------------------------------


@published(
    Published(
        source="Beer-Lambert, IUPAC Gold Book, molar",
        given={"absorbance": 25000 * 2e-5 * 1.0},
        printed="0.3162278",
    ),
    Published(
        source="Beer-Lambert, IUPAC Gold Book, mass",
        given={"absorbance": 40 * 0.05 * 0.2},
        printed="0.3981072",
    ),
)
def test_a_band_of_known_absorbance_transmits_what_beer_says(check):
    y = gaussian_bands(
        wavelengths=[550.0],
        centres=[550.0],
        heights=[check.given["absorbance"]],
        widths=[1000.0],
    )
    assert 10.0 ** -y[0] == pytest.approx(check.expected, abs=check.half_digit)


def test_napierian_coefficient_is_ln_10_times_the_decadic():
    # IUPAC Gold Book, attenuation coefficient: A10 = 0.5 over 1 cm is 1.1512925 / cm
    assert 0.5 * np.log(10.0) == pytest.approx(1.1512925, abs=1e-7)


# ---- identities ----------------------------------------------------------------


def test_a_gaussian_is_half_as_high_half_a_width_away():
    nu = 1e7 / 550.0 + np.array([-600.0, 0.0, 600.0])
    y = gaussian_bands(
        wavelengths=1e7 / nu, centres=[550.0], heights=[0.8], widths=[1200.0]
    )
    assert y == pytest.approx([0.4, 0.8, 0.4], rel=1e-12)


def test_a_gaussian_has_its_closed_area():
    y = gaussian_bands(wavelengths=FINE, centres=[550.0], heights=[1.0], widths=[2000])
    area = np.trapezoid(y, 1e7 / FINE)
    assert area == pytest.approx(2000 * np.sqrt(np.pi / np.log(2.0)) / 2, rel=1e-9)


def test_bands_add():
    both = gaussian_bands(
        wavelengths=GRID, centres=[500, 600], heights=[0.3, 1.0], widths=[900, 2500]
    )
    one = gaussian_bands(wavelengths=GRID, centres=[500], heights=[0.3], widths=[900])
    two = gaussian_bands(wavelengths=GRID, centres=[600], heights=[1], widths=[2500])
    assert both == pytest.approx(one + two, rel=1e-14)


@pytest.mark.parametrize("skew", [0.5, 1.3, 2.5])
def test_log_normal_has_its_peak_width_and_skew(skew):
    y = log_normal_band(wavelengths=FINE, peak=560.0, width=3000.0, skew=skew)
    nu = 1e7 / FINE
    upper = nu[y >= 0.5]
    red, blue = 1e7 / 560.0 - upper.min(), upper.max() - 1e7 / 560.0
    assert y.max() == pytest.approx(1.0, abs=1e-6)
    assert red + blue == pytest.approx(3000.0, abs=1.5)
    assert blue / red == pytest.approx(skew, rel=2e-3)


def test_log_normal_nears_a_gaussian_as_skew_nears_1():
    even = log_normal_band(wavelengths=GRID, peak=560.0, width=3000.0, skew=1.0)
    near = log_normal_band(wavelengths=GRID, peak=560.0, width=3000.0, skew=1.0001)
    gaussian = gaussian_bands(
        wavelengths=GRID, centres=[560], heights=[1], widths=[3000]
    )
    assert even == pytest.approx(gaussian, abs=1e-14)
    assert near == pytest.approx(gaussian, abs=1e-4)


def test_broadening_keeps_the_area_and_scales_the_width():
    heights, widths = broadened(heights=[1.0, 0.3], widths=[1000, 2000], factor=2.0)
    assert widths == pytest.approx([2000, 4000])
    areas = [
        np.trapezoid(
            gaussian_bands(wavelengths=FINE, centres=[550, 520], heights=h, widths=w),
            1e7 / FINE,
        )
        for h, w in (([1.0, 0.3], [1000, 2000]), (heights, widths))
    ]
    assert areas[0] == pytest.approx(areas[1], rel=1e-4)


def test_shift_moves_the_named_peak_by_the_shift_and_keeps_spacing():
    moved = shifted(centres=[550.0, 520.0], peak=550.0, shift=10.0)
    assert moved[0] == pytest.approx(560.0, rel=1e-12)
    before, after = 1e7 / 520.0 - 1e7 / 550.0, 1e7 / moved[1] - 1e7 / moved[0]
    assert after == pytest.approx(before, rel=1e-9)


@pytest.mark.parametrize("lead", [(), (3,), (2, 3)])
def test_leading_axes_broadcast(lead):
    ones = np.ones((*lead, 2))
    y = gaussian_bands(
        wavelengths=GRID, centres=550 * ones, heights=ones, widths=900 * ones
    )
    z = log_normal_band(
        wavelengths=GRID, peak=550 * np.ones(lead), width=900.0, skew=2.0
    )
    assert y.shape == z.shape == (*lead, GRID.size)


# ---- errors --------------------------------------------------------------------


def test_impossible_bands_are_refused():
    good = {"wavelengths": GRID, "centres": [500], "heights": [1], "widths": [900]}
    for bad in ({"widths": [0]}, {"centres": [-1]}, {"wavelengths": [np.nan]}):
        with pytest.raises(ModelError, match="above 0"):
            gaussian_bands(**(good | bad))
    with pytest.raises(ModelError, match="skew"):
        log_normal_band(wavelengths=GRID, peak=500, width=900, skew=0)
    with pytest.raises(ModelError, match="shifted peak"):
        shifted(centres=[500], peak=500, shift=-500)
