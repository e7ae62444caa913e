"""The camera: white balance, matrix, clipping in order, exposure."""

import colour
import numpy as np
import pytest
from published import Published, published

from tintlab.colorimetry import (
    XYZ_to_xy,
    camera_sensitivities,
    illuminant,
    patch_reflectances,
    spectrum_to_XYZ,
    tables,
)
from tintlab.errors import ModelError
from tintlab.proof.camera import (
    Camera,
    balance_gains,
    black_body,
    camera,
    colour_matrix,
    develop,
    longest_time,
)

D65 = illuminant("D65")
SRGB = tables().rgb_to_XYZ
PLAIN = Camera(sensitivities=np.eye(3, 401), gains=np.ones(3), matrix=np.eye(3))

# ---------------------------------------------------------------- published values


@published(
    Published(
        source="CIE 15:2018, 3.1: illuminant A is a black body of about 2856 K, x",
        given={"part": 0},
        printed="0.44758",
        tolerance=2e-4,
    ),
    Published(
        source="CIE 15:2018, 3.1: illuminant A is a black body of about 2856 K, y",
        given={"part": 1},
        printed="0.40745",
        tolerance=2e-4,
    ),
)
def test_black_body_is_illuminant_a(check):
    xy = XYZ_to_xy(spectrum_to_XYZ(black_body(2855.5)))
    assert xy[check.given["part"]] == pytest.approx(
        check.expected, abs=check.half_digit
    )


def test_wien_displacement():
    # the peak of a black body of 5000 K lies at 2.8978e6 / 5000 = 579.6 nm
    assert 380 + black_body(5000.0).argmax() == pytest.approx(579.6, abs=0.6)


def test_sunny_sixteen():
    # the photographer's rule: in the sun, f/16 at 1/ISO s; a white in 80,000 lx is
    # then near to full, within half a stop
    white = 80_000 / np.pi
    time = longest_time(luminance=white, iso=100, aperture=16)
    assert abs(np.log2(time * 100)) < 0.5


def test_saturation_leaves_the_grey_of_the_standard():
    # ISO 12232: 78/S fills the sensor, 10/S is the mean of a scene
    full = longest_time(luminance=100.0, iso=200, aperture=4)
    grey = full * 10 / 78
    assert 0.65 * 100 * grey / 4**2 == pytest.approx(10 / 200)


# ------------------------------------------------------------ second implementation


def test_gains_are_those_of_colour_science():
    measured = next(iter(colour.MSDS_CAMERA_SENSITIVITIES.values()))
    sd = colour.SDS_ILLUMINANTS["D65"].copy().align(measured.shape)
    theirs = colour.characterisation.white_balance_multipliers(measured, sd)
    ours = balance_gains(camera_sensitivities()[0], D65)
    assert ours == pytest.approx(theirs / theirs.min(), rel=2e-3)


def test_matrix_is_near_the_free_fit_of_colour_science():
    seen = patch_reflectances() * D65
    sensitivities = camera_sensitivities()[0]
    raw = seen @ sensitivities.T / (sensitivities @ D65)
    wanted = spectrum_to_XYZ(seen) / spectrum_to_XYZ(D65)[1] @ np.linalg.inv(SRGB).T
    free = colour.characterisation.matrix_colour_correction_Cheung2004(
        raw, wanted, terms=3
    )
    ours = colour_matrix(sensitivities, D65, to_XYZ=SRGB)
    error = np.sqrt(((raw @ ours.T - wanted) ** 2).mean())
    least = np.sqrt(((raw @ free.T - wanted) ** 2).mean())
    assert least <= error < 1.1 * least  # white held costs little


@pytest.mark.filterwarnings("ignore:Aligning")  # colour-science says what it does
def test_grey_patches_come_out_as_by_the_camera_tools_of_colour_science():
    greys = patch_reflectances()[18:]
    sd = colour.SDS_ILLUMINANTS["D65"]
    measured = next(iter(colour.MSDS_CAMERA_SENSITIVITIES.values()))
    matrix, gains = colour.matrix_idt(measured, sd)
    raw = greys * D65 @ camera_sensitivities()[0].T
    theirs = raw / (D65 @ camera_sensitivities()[0].T).max() * gains
    ACES = theirs @ matrix.T
    XYZ = colour.RGB_to_XYZ(
        ACES, "ACES2065-1", illuminant=colour.CCS_ILLUMINANTS[OBSERVER]["D65"]
    )
    linear = XYZ @ np.linalg.inv(SRGB).T
    used = camera(D65)
    full = (camera_sensitivities()[0] @ D65).max()
    ours = develop(raw / full, used)
    assert ours == pytest.approx(linear, rel=0.02, abs=2e-3)


OBSERVER = "CIE 1931 2 Degree Standard Observer"

# ----------------------------------------------------------------------- identities


@pytest.mark.parametrize("name", ["D65", "A", "LED-B3", "LED-RGB1"])
def test_white_stays_white_at_any_exposure(name):
    used = camera(illuminant(name))
    white = used.sensitivities @ illuminant(name)
    for gain in (0.2, 1.0, 7.0):
        out = develop(gain * white / white.max(), used)
        assert out == pytest.approx(np.full(3, min(gain, 1.0)), abs=1e-9)


def test_matrix_rows_sum_to_one():
    assert camera(illuminant("A")).matrix.sum(axis=1) == pytest.approx(np.ones(3))


def test_light_that_fits_is_linear():
    used = camera(D65)
    raw = np.array([0.2, 0.3, 0.25])
    assert develop(0.5 * raw, used) == pytest.approx(0.5 * develop(raw, used))


def test_clipping_has_the_order_of_a_camera():
    used = Camera(
        sensitivities=PLAIN.sensitivities,
        gains=np.array([2.0, 1.0, 1.5]),
        matrix=np.array([[1.5, -0.5, 0.0], [-0.2, 1.4, -0.2], [0.0, -0.6, 1.6]]),
    )
    # raw 3.0 0.4 0.2: full 1.0 0.4 0.2; balanced 2.0 0.4 0.3, red cut to 1.0; then
    # 1.5 - 0.2 = 1.3 -> 1; -0.2 + 0.56 - 0.06 = 0.30; -0.24 + 0.48 = 0.24
    assert develop([3.0, 0.4, 0.2], used) == pytest.approx([1.0, 0.30, 0.24])
    # the matrix first would give 0 in green: -0.2 * 6 + 0.56 - 0.06 < 0
    unclipped = np.array([3.0, 0.4, 0.2]) * used.gains @ used.matrix.T
    assert unclipped[1] < 0


def test_what_a_photo_shows_is_not_cut_again():
    already = np.array([1.2, 0.5, -0.1])
    assert develop(already, PLAIN, already=already) == pytest.approx([1.0, 0.5, 0.0])
    mixed = Camera(
        sensitivities=PLAIN.sensitivities,
        gains=np.ones(3),
        matrix=np.array([[0.8, 0.2, 0.0], [0.0, 1.0, 0.0], [0.0, 0.2, 0.8]]),
    )
    assert develop(already, mixed, already=already)[0] == pytest.approx(1.0)
    assert develop(already, mixed)[0] == pytest.approx(0.9)


# --------------------------------------------------------------------------- errors


def test_a_white_without_blue_is_refused():
    red = np.zeros(401)
    red[-1] = 1.0
    with pytest.raises(ModelError, match="white balance"):
        balance_gains(np.eye(3, 401), red)


@pytest.mark.parametrize("kelvin", [900, 40_000, float("nan")])
def test_a_white_that_is_none_is_refused(kelvin):
    with pytest.raises(ModelError, match="between 1500 and 25000 K"):
        black_body(kelvin)
