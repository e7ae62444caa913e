"""Adaptation and display against colour-science, standards and properties."""

import colour
import numpy as np
import pytest
from colour.appearance.ciecam02 import degree_of_adaptation
from colour.models import oklab as theirs

from tintlab.colorimetry import XYZ_to_xy, illuminant, spectrum_to_XYZ, tables
from tintlab.errors import ModelError
from tintlab.proof import eye

A, D65 = spectrum_to_XYZ(illuminant("A")), tables().white
P3 = np.asarray(colour.RGB_COLOURSPACES["Display P3"].matrix_RGB_to_XYZ)
SPACES = {"sRGB": None, "Display P3": P3}


def colours(n=4000, seed=5):
    """Linear sRGB values, many too bright, many as vivid as BT.2020 goes."""
    random = np.random.default_rng(seed)
    wide = random.random((n, 3)) ** 3 * random.choice([0.3, 1, 20], (n, 1))
    return wide @ (tables().XYZ_to_rgb @ eye.WIDE).T


def oklab(rgb, to_XYZ=None):
    XYZ = rgb @ (tables().rgb_to_XYZ if to_XYZ is None else to_XYZ).T
    return np.asarray(colour.XYZ_to_Oklab(XYZ))


# --------------------------------------------------------- second implementations


def test_constants_are_those_of_colour_science():
    cat16 = colour.CHROMATIC_ADAPTATION_TRANSFORMS["CAT16"]
    assert np.array_equal(cat16, eye.CAT16)
    assert np.array_equal(theirs.MATRIX_1_XYZ_TO_LMS, eye.OKLAB_CONES)
    assert np.array_equal(theirs.MATRIX_2_LMS_TO_LAB, eye.OKLAB)
    # printed to four digits in the recommendation; ours follow from its primaries
    printed = colour.RGB_COLOURSPACES["ITU-R BT.2020"].matrix_RGB_to_XYZ
    assert printed == pytest.approx(eye.WIDE, abs=6e-5)
    x, y = np.array([[0.708, 0.292], [0.170, 0.797], [0.131, 0.046]]).T
    assert XYZ_to_xy(eye.WIDE.T) == pytest.approx(np.stack([x, y], axis=-1), abs=1e-9)
    assert eye.WIDE.sum(axis=1) == pytest.approx(D65, rel=1e-9)


@pytest.mark.parametrize("shape", [(3,), (5, 3), (2, 4, 3)])
def test_adaptation_is_cat16(shape):
    XYZ = np.random.default_rng(3).random(shape)
    expected = colour.adaptation.chromatic_adaptation(
        XYZ, A / A[1], D65, method="Von Kries", transform="CAT16"
    )
    found = eye.adapt(XYZ, white_from=A, white_to=D65)
    assert found == pytest.approx(expected, rel=1e-10)


@pytest.mark.parametrize("surround", ["average", "dim", "dark"])
@pytest.mark.parametrize("level", [0.2, 1.0, 16.0, 300.0, 5000.0])
def test_degree_of_adaptation_is_that_of_ciecam16(level, surround):
    F = colour.VIEWING_CONDITIONS_CIECAM16[surround.title()].F
    expected = degree_of_adaptation(F, level)
    found = eye.degree_of_adaptation(level, surround=surround)
    assert found == pytest.approx(float(expected), rel=1e-12)


def brightness(Y, level, surround):
    """Q of a neutral by colour-science; the white has Y = 1."""
    white = D65 * 100
    return float(
        colour.XYZ_to_CIECAM16(
            white * Y, white, level, 20.0,
            colour.VIEWING_CONDITIONS_CIECAM16[surround.title()],
            discount_illuminant=True,
        ).Q
    )  # fmt: skip


@pytest.mark.parametrize(
    ("level", "surround"),
    [(0.2, "dark"), (1.0, "dark"), (5.0, "dim"), (10.0, "average"), (4.0, "average")],
)
def test_white_card_looks_as_bright_on_the_display_as_in_the_room(level, surround):
    share = eye.display_share(level, surround=surround)
    assert 0 < share < 1
    shown = brightness(share, eye.DISPLAY_ADAPTING, "average")
    assert shown == pytest.approx(brightness(1.0, level, surround), rel=1e-6)


def test_bright_rooms_fill_the_display_and_the_models_floor_holds():
    assert eye.display_share(eye.DISPLAY_ADAPTING, surround="average") == 1
    assert eye.display_share(5000.0, surround="average") == 1
    dark = eye.display_share(0.0, surround="dark")
    assert dark == eye.display_share(0.2, surround="dark")


def test_curve_is_that_of_the_standard_both_ways():
    linear = np.linspace(0, 1, 2001)
    expected = colour.models.eotf_inverse_sRGB(linear)
    assert eye.encode(linear) == pytest.approx(expected, abs=1e-12)
    # IEC 61966-2-1: every 8-bit code comes back
    codes = np.rint(eye.encode(tables().decoded) * 255)
    assert np.array_equal(codes, np.arange(256))


def test_display_is_srgb_where_it_can_show_the_colour():
    rgb = np.random.default_rng(7).random((6, 5, 3))
    XYZ = colour.sRGB_to_XYZ(rgb)
    found = eye.to_display(XYZ * 250, white_luminance=250.0)
    assert found == pytest.approx(rgb, abs=5e-4)  # colour-science rounds its matrix


# --------------------------------------------------------------------- identities


def test_same_white_changes_nothing():
    XYZ = np.random.default_rng(4).random((9, 3))
    assert eye.adapt(XYZ, white_from=A, white_to=A) == pytest.approx(XYZ, rel=1e-12)
    kept = eye.adapt(XYZ, white_from=A, white_to=D65, degree=0.0)
    assert kept == pytest.approx(XYZ, rel=1e-12)


def test_white_becomes_the_other_white_at_its_own_luminance():
    found = eye.adapt(A * 70 / A[1], white_from=A, white_to=3 * D65)
    assert found == pytest.approx(D65 * 70, rel=1e-12)


def test_what_fits_is_untouched():
    rgb = np.random.default_rng(6).random((50, 40, 3))
    assert np.array_equal(eye.fitted(rgb), rgb)
    assert np.array_equal(eye.fitted(rgb * eye.KNEE, brightest=30.0), rgb * eye.KNEE)


def turns(before, after):
    """Turn of hue in the second and third of three coordinates. [deg]"""
    return np.angle((after @ (0, 1, 1j)) / (before @ (0, 1, 1j)), deg=True)


@pytest.mark.parametrize("space", SPACES)
@pytest.mark.parametrize("brightest", [1.0, 40.0])
def test_everything_fits_and_keeps_its_hue(space, brightest):
    to_XYZ = SPACES[space]
    to_rgb = np.linalg.inv(tables().rgb_to_XYZ if to_XYZ is None else to_XYZ)
    rgb = colours() @ (to_rgb @ tables().rgb_to_XYZ).T
    found = eye.fitted(rgb, to_XYZ=to_XYZ, brightest=brightest)
    assert found.min() >= 0
    assert found.max() <= 1
    before, after = oklab(rgb, to_XYZ), oklab(found, to_XYZ)
    hue = np.degrees(np.arctan2(*before.T[:0:-1])) % 360
    straight = (hue < eye.BENT[0]) | (hue > eye.BENT[-1])
    vivid = straight & (np.hypot(*after.T[1:]) > 0.03)
    assert vivid.sum() > 800
    assert abs(turns(before, after)[vivid]).max() < 1.0


def test_hue_is_kept_for_ciecam16_all_around():
    # the rim of BT.2020; two other models of the same eye
    share = np.linspace(0, 1, 12, endpoint=False)[:, None]
    corners = np.eye(3)
    rim = np.concatenate(
        [(1 - share) * corners[i] + share * corners[i - 1] for i in range(3)]
    )
    XYZ = (rim**2.2) @ eye.WIDE.T
    XYZ = 0.05 * XYZ / XYZ[:, 1:2]
    rgb = XYZ @ tables().XYZ_to_rgb.T
    found = eye.fitted(rgb) @ tables().rgb_to_XYZ.T
    cut = np.clip(rgb, 0, 1) @ tables().rgb_to_XYZ.T

    def hue(light):
        light = 20 * light / light[:, 1:2]
        return colour.XYZ_to_CIECAM16(light, 100 * D65, 16.0, 20.0).h

    def turned(light):
        return abs((hue(light) - hue(XYZ) + 180) % 360 - 180)

    assert turned(found).max() < 7
    assert turned(cut).max() > 14


def test_colours_no_eye_has_seen_keep_their_direction_from_white():
    vivid = np.array([[35.59, 1.0, 169.7], [0.02, 1.03, 0.47], [2.67, 1.0, 0.0]])
    found = eye.real(vivid)
    assert found[:, 1] == pytest.approx(vivid[:, 1], rel=1e-9)
    wide = found @ np.linalg.inv(eye.WIDE).T
    assert wide.min(axis=-1) == pytest.approx(np.zeros(3), abs=1e-9)
    white = XYZ_to_xy(D65)
    towards, before = XYZ_to_xy(found) - white, XYZ_to_xy(vivid) - white
    turn = np.angle((towards @ (1, 1j)) / (before @ (1, 1j)), deg=True)
    assert abs(turn).max() < 1e-6
    inside = eye.WIDE.T @ np.ones(3) * 0.3
    assert np.array_equal(eye.real(inside), inside)
    assert np.array_equal(eye.real([3.0, -1.0, 9.0]), np.zeros(3))


def test_a_blue_led_stays_blue_and_bright():
    # x 0.135, y 0.047: at constant hue of Oklab it would come out as azure
    led = np.array([0.135, 0.047, 0.818]) / 0.047
    for luminance in (1.0, 20.0):
        _, green, blue = eye.to_display(led * luminance, white_luminance=1.0)
        assert blue > 0.95
        assert blue > green + 0.4


def test_cutting_channels_would_turn_the_hue():
    rgb = colours()
    before, cut = oklab(rgb), oklab(np.clip(rgb, 0, 1))
    assert np.percentile(abs(turns(before, cut)), 90) > 15


@pytest.mark.parametrize("brightest", [1.0, 64.0])
@pytest.mark.parametrize("rgb", [(0.1, 0.9, 0.6), (0.0, 0.1, 1.0), (1.0, 0.3, -0.1)])
def test_brighter_never_looks_darker_nor_jumps(rgb, brightest):
    factors = np.geomspace(0.05, 64, 3000)
    found = eye.fitted(factors[:, None] * np.array(rgb), brightest=brightest)
    lightness = oklab(found)[:, 0]
    assert np.diff(lightness).min() > -2e-3
    assert abs(np.diff(found, axis=0)).max() < 0.02


def test_shoulder_is_smooth_and_ends_at_the_top():
    x = np.linspace(0, 40, 400001)
    y = eye.shoulder(x, brightest=40.0)
    assert np.array_equal(y[x <= eye.KNEE], x[x <= eye.KNEE])
    slope = np.diff(y) / np.diff(x)
    assert slope.min() > 0
    assert abs(np.diff(slope)).max() < 2e-3
    assert y[-1] == pytest.approx(1, abs=1e-12)
    assert eye.shoulder(1.02, brightest=1.02) == pytest.approx(1, abs=1e-9)
    assert np.array_equal(eye.shoulder([0.7, 3.0], brightest=1.0), [0.7, 1.0])


def test_precision_and_shape_are_kept():
    rgb = colours(60).astype(np.float32).reshape(3, 4, 5, 3)
    before = rgb.copy()
    for found in (
        eye.fitted(rgb),
        eye.encode(np.abs(rgb)),
        eye.adapt(rgb, white_from=A, white_to=D65),
        eye.to_display(rgb, white_luminance=1.0),
    ):
        assert found.dtype == np.float32
        assert found.shape == rgb.shape
    assert np.array_equal(rgb, before)
    double = eye.fitted(rgb.astype(float))
    assert eye.fitted(rgb) == pytest.approx(double, abs=2e-3)
    assert eye.fitted(rgb[0, 0, 0]) == pytest.approx(double[0, 0, 0], abs=2e-3)


def test_black_and_neutral_stay_so():
    black = eye.to_display(np.zeros((2, 3)), white_luminance=1.0)
    assert np.array_equal(black, np.zeros((2, 3)))
    bright = eye.to_display(D65 * 30, white_luminance=1.0)
    assert bright == pytest.approx(np.ones(3), abs=1e-4)


@pytest.mark.parametrize("white", [0.0, -3.0, np.nan, np.inf])
def test_white_must_be_a_luminance(white):
    with pytest.raises(ModelError, match="must be above 0"):
        eye.to_display([[0.1, 0.1, 0.1]], white_luminance=white)


def test_bloom_is_the_eyes_stray_light():
    picture = np.zeros((30, 30, 3))
    picture[10:20, 10:20] = (50.0, 100.0, 20.0)
    found = eye.bloom(picture, degrees_per_pixel=0.05, age=30, pigment=0.5)
    old = eye.bloom(picture, degrees_per_pixel=0.05, age=75, pigment=0.5)
    outside = picture[..., 1] == 0
    assert (old[outside] > found[outside]).all()
    assert (found[outside] > 0).all()
    ratio = found[outside] / found[outside][:, 1:2]
    assert ratio == pytest.approx(np.broadcast_to((0.5, 1, 0.2), ratio.shape))
