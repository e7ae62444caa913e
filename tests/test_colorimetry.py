"""Colour arithmetic: printed tables, identities, and colour-science beside the twin."""

import hashlib
import io
import os
from pathlib import Path

import colour
import numpy as np
import pytest
from published import Published, published
from scipy.interpolate import CubicSpline

from tintlab import colorimetry
from tintlab.colorimetry import (
    ILLUMINANT_KEYS,
    Lab_to_XYZ,
    Tables,
    XYZ_to_Lab,
    XYZ_to_swatch,
    XYZ_to_uv,
    XYZ_to_xy,
    adapt,
    appearance,
    colour_temperature,
    delta_e_2000,
    dominant_wavelength,
    hex_to_XYZ,
    illuminant,
    other_observers,
    rgb_to_XYZ,
    spectrum_to_XYZ,
    tables,
)
from tintlab.errors import SpectrumError, TintlabError
from tintlab.spectrum import WAVELENGTHS

RNG = np.random.default_rng(20)


@pytest.fixture(scope="module")
def library():
    return colorimetry._tables_from_library()


# -------------------------------------------------- published: observer, illuminants
SUMS = "CIE 15, sums of the 1931 observer in 5 nm steps (from memory)"


@published(
    Published(source=f"{SUMS}, x", printed="21.371524", given={"column": 0}),
    Published(source=f"{SUMS}, y", printed="21.371327", given={"column": 1}),
    Published(source=f"{SUMS}, z", printed="21.371540", given={"column": 2}),
)
def test_observer_adds_up_to_the_printed_sums(check):
    found = tables().observer[::5].sum(axis=0)[check.given["column"]]
    assert found == pytest.approx(check.expected, abs=3e-6)


def test_green_at_555_nm_is_the_unit_of_luminance():
    assert tables().observer[555 - 380, 1] == pytest.approx(1.0, abs=1e-12)
    assert colorimetry.MAXIMUM_EFFICACY == 683.0  # [lm/W] at 540 THz, definition (SI)


# CIE 015:2018: daylights and A to five digits, LEDs to four, 1931 observer, as
# tabulated in colour-science 0.4.7. Left out: D60, ID50, ID65 and the 10 degree LED
# rows, which that library computes from its own spectra, so that they prove nothing.
CIE_015 = "CIE 015:2018, chromaticity of"
ILLUMINANTS = {
    "A": ("0.44758", "0.40745"),
    "D50": ("0.3457", "0.3585"),
    "D55": ("0.33243", "0.34744"),
    "D65": ("0.3127", "0.3290"),
    "D75": ("0.29903", "0.31488"),
    "LED-B1": ("0.4560", "0.4078"),
    "LED-B2": ("0.4357", "0.4012"),
    "LED-B3": ("0.3756", "0.3723"),
    "LED-B4": ("0.3422", "0.3502"),
    "LED-B5": ("0.3118", "0.3236"),
    "LED-BH1": ("0.4474", "0.4066"),
    "LED-RGB1": ("0.4557", "0.4211"),
    "LED-V1": ("0.4548", "0.4044"),
    "LED-V2": ("0.3781", "0.3775"),
}


@published(
    *(
        Published(
            source=f"{CIE_015} {key}, {'xy'[axis]}",
            printed=printed,
            given={"key": key, "axis": axis},
            tolerance=5e-5,
        )
        for key, pair in ILLUMINANTS.items()
        for axis, printed in enumerate(pair)
    )
)
def test_illuminant_has_its_printed_chromaticity(check):
    xy = XYZ_to_xy(spectrum_to_XYZ(illuminant(check.given["key"])))
    assert xy[check.given["axis"]] == pytest.approx(
        check.expected, abs=check.half_digit
    )


def test_equal_energy_is_a_third_each():
    xy = XYZ_to_xy(spectrum_to_XYZ(illuminant("E")))
    assert xy == pytest.approx([1 / 3, 1 / 3], abs=2e-5)


LOCUS = "CIE 1931 spectrum locus (CIE 018; 700, 546.1, 435.8 nm are the RGB primaries)"


@published(
    *(
        Published(
            source=f"{LOCUS}, {nm} nm, {'xy'[axis]}",
            printed=printed,
            given={"nm": nm, "axis": axis},
            tolerance=5e-5,
        )
        for nm, pair in {
            435.8: ("0.16654", "0.00888"),
            450.0: ("0.15664", "0.01770"),
            520.0: ("0.07430", "0.83380"),
            546.1: ("0.27368", "0.71743"),
            600.0: ("0.62704", "0.37249"),
            700.0: ("0.73469", "0.26531"),
        }.items()
        for axis, printed in enumerate(pair)
    )
)
def test_spectrum_locus(check):
    observer = CubicSpline(WAVELENGTHS, tables().observer)(check.given["nm"])
    xy = XYZ_to_xy(observer)
    assert xy[check.given["axis"]] == pytest.approx(
        check.expected, abs=check.half_digit
    )


CCT = "CIE 015:2018 (from memory), correlated colour temperature of"


@published(
    *(
        Published(
            source=f"{CCT} {key}", printed=kelvin, given={"key": key}, tolerance=off
        )
        for key, kelvin, off in [
            ("A", "2856", 1.0),
            ("D50", "5003", 2.0),
            ("D65", "6504", 2.0),
            ("LED-B1", "2733", 1.0),
            ("LED-B2", "2998", 1.0),
            ("LED-B3", "4103", 1.0),
            ("LED-B4", "5109", 1.0),
            ("LED-B5", "6598", 1.0),
            ("LED-BH1", "2851", 1.0),
            ("LED-RGB1", "2840", 1.0),
            ("LED-V1", "2724", 1.0),
            ("LED-V2", "4070", 1.0),
        ]
    )
)
def test_colour_temperature(check):
    kelvin, away = colour_temperature(spectrum_to_XYZ(illuminant(check.given["key"])))
    assert kelvin == pytest.approx(check.expected, abs=check.half_digit)
    assert abs(away) < 0.005


def test_daylight_lies_on_the_green_side_of_the_black_body():
    _, away = colour_temperature(spectrum_to_XYZ(illuminant("D65")))
    assert away == pytest.approx(0.0032, abs=2e-4)  # Duv of D65 (from memory)
    assert colour_temperature(spectrum_to_XYZ(illuminant("A")))[1] == pytest.approx(
        0.0, abs=1e-4
    )


# ------------------------------------------------------------------ published: sRGB


def test_srgb_matrices_are_those_of_the_standard():
    """IEC 61966-2-1:1999; the inverse is printed to four digits and used exactly."""
    forward = [
        [0.4124, 0.3576, 0.1805],
        [0.2126, 0.7152, 0.0722],
        [0.0193, 0.1192, 0.9505],
    ]
    back = [
        [3.2406, -1.5372, -0.4986],
        [-0.9689, 1.8758, 0.0415],
        [0.0557, -0.2040, 1.0570],
    ]
    assert tables().rgb_to_XYZ == pytest.approx(np.array(forward), abs=1e-12)
    assert tables().XYZ_to_rgb == pytest.approx(np.array(back), abs=0.5001e-4)
    assert tables().XYZ_to_rgb @ forward == pytest.approx(np.eye(3), abs=1e-12)


def test_srgb_curve_written_out():
    """IEC 61966-2-1:1999: V / 12.92 up to 0.04045, else ((V + 0.055) / 1.055)^2.4."""

    def linear(value):
        if value <= 0.04045:
            return value / 12.92
        return ((value + 0.055) / 1.055) ** 2.4

    codes = [linear(code / 255) for code in range(256)]
    between = [linear((code + 0.5) / 255) for code in range(255)]
    assert tables().decoded == pytest.approx(codes, abs=1e-12)
    assert tables().thresholds == pytest.approx(between, abs=1e-12)
    assert linear(0.5) == pytest.approx(0.214041, abs=5e-7)
    assert linear(0.04045) == pytest.approx(0.0031308, abs=5e-8)


def test_display_white_is_white_but_for_the_rounding_of_the_standard():
    """The printed matrix adds up to D65 within 1e-4, which is 0.008 in a*."""
    assert XYZ_to_Lab(hex_to_XYZ("#ffffff")) == pytest.approx([100, 0, 0], abs=0.01)


# ------------------------------------------------------------- published: CIEDE2000
# Sharma, Wu & Dalal, Color Res. Appl. 30 (2005) 21-30, table 1: all 34 pairs.
# Pair 14 lies on the jump of the mean hue: 4.8045 is printed, but where arctan2
# differs in its last bit the other side of the jump, 4.7461, comes out.
SHARMA = """
50.0000,2.6772,-79.7751,50.0000,0.0000,-82.7485,2.0425
50.0000,3.1571,-77.2803,50.0000,0.0000,-82.7485,2.8615
50.0000,2.8361,-74.0200,50.0000,0.0000,-82.7485,3.4412
50.0000,-1.3802,-84.2814,50.0000,0.0000,-82.7485,1.0000
50.0000,-1.1848,-84.8006,50.0000,0.0000,-82.7485,1.0000
50.0000,-0.9009,-85.5211,50.0000,0.0000,-82.7485,1.0000
50.0000,0.0000,0.0000,50.0000,-1.0000,2.0000,2.3669
50.0000,-1.0000,2.0000,50.0000,0.0000,0.0000,2.3669
50.0000,2.4900,-0.0010,50.0000,-2.4900,0.0009,7.1792
50.0000,2.4900,-0.0010,50.0000,-2.4900,0.0010,7.1792
50.0000,2.4900,-0.0010,50.0000,-2.4900,0.0011,7.2195
50.0000,2.4900,-0.0010,50.0000,-2.4900,0.0012,7.2195
50.0000,-0.0010,2.4900,50.0000,0.0009,-2.4900,4.8045
50.0000,-0.0010,2.4900,50.0000,0.0010,-2.4900,4.8045
50.0000,-0.0010,2.4900,50.0000,0.0011,-2.4900,4.7461
50.0000,2.5000,0.0000,50.0000,0.0000,-2.5000,4.3065
50.0000,2.5000,0.0000,73.0000,25.0000,-18.0000,27.1492
50.0000,2.5000,0.0000,61.0000,-5.0000,29.0000,22.8977
50.0000,2.5000,0.0000,56.0000,-27.0000,-3.0000,31.9030
50.0000,2.5000,0.0000,58.0000,24.0000,15.0000,19.4535
50.0000,2.5000,0.0000,50.0000,3.1736,0.5854,1.0000
50.0000,2.5000,0.0000,50.0000,3.2972,0.0000,1.0000
50.0000,2.5000,0.0000,50.0000,1.8634,0.5757,1.0000
50.0000,2.5000,0.0000,50.0000,3.2592,0.3350,1.0000
60.2574,-34.0099,36.2677,60.4626,-34.1751,39.4387,1.2644
63.0109,-31.0961,-5.8663,62.8187,-29.7946,-4.0864,1.2630
61.2901,3.7196,-5.3901,61.4292,2.2480,-4.9620,1.8731
35.0831,-44.1164,3.7933,35.0232,-40.0716,1.5901,1.8645
22.7233,20.0904,-46.6940,23.0331,14.9730,-42.5619,2.0373
36.4612,47.8580,18.3852,36.2715,50.5065,21.2231,1.4146
90.8027,-2.0831,1.4410,91.1528,-1.6435,0.0447,1.4441
90.9257,-0.5406,-0.9208,88.6381,-0.8985,-0.7239,1.5381
6.7747,-0.2908,-2.4247,5.8714,-0.0985,-2.2286,0.6377
2.0776,0.0795,-1.1350,0.9033,-0.0636,-0.5514,0.9082
"""
PAIRS = [[float(n) for n in row.split(",")] for row in SHARMA.split()]
EITHER_SIDE = {14: (4.8045, 4.7461)}


@pytest.mark.parametrize("number", range(1, 35))
def test_ciede2000_of_the_published_pair(number):
    *Lab, printed = PAIRS[number - 1]
    allowed = EITHER_SIDE.get(number, (printed,))
    for first, second in ((Lab[:3], Lab[3:]), (Lab[3:], Lab[:3])):
        found = float(delta_e_2000(first, second))
        assert min(abs(found - value) for value in allowed) < 0.5001e-4


def test_all_published_pairs_at_once():
    pairs = np.array(PAIRS)
    found = delta_e_2000(pairs[:, :3], pairs[:, 3:6])
    off = np.abs(found - pairs[:, 6]) > 0.5001e-4
    assert set(np.flatnonzero(off) + 1) <= {14}


# ---------------------------------------------------- second implementation: library


def random_XYZ(count):
    """Anything a lamp and a filter can do and some that they cannot; Y = 1 is white."""
    return RNG.uniform(0, 1.2, (count, 3)) ** RNG.uniform(1, 4, (count, 1))


WHITE_XY = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]


def test_twin_equals_the_library_on_100_000_pairs():
    XYZ = random_XYZ(100_000)
    Lab = XYZ_to_Lab(XYZ)
    assert np.abs(Lab - colour.XYZ_to_Lab(XYZ, WHITE_XY)).max() < 1e-10
    back = colour.Lab_to_XYZ(Lab, WHITE_XY)
    assert np.abs(Lab_to_XYZ(Lab) - back).max() < 1e-10
    assert np.abs(Lab_to_XYZ(Lab) - XYZ).max() < 1e-10
    assert np.abs(XYZ_to_xy(XYZ) - colour.XYZ_to_xy(XYZ)).max() < 1e-10
    uv = colour.Luv_to_uv(colour.XYZ_to_Luv(XYZ, WHITE_XY), WHITE_XY)
    bright = XYZ[:, 1] > 1e-3  # by way of L* the library loses digits in the dark
    assert np.abs(XYZ_to_uv(XYZ) - uv)[bright].max() < 1e-10
    other = RNG.permutation(Lab)
    found = delta_e_2000(Lab, other)
    assert np.abs(found - colour.delta_E(Lab, other, method="CIE 2000")).max() < 1e-10


def test_twin_equals_the_library_close_to_the_grey_axis():
    Lab = RNG.normal(0, 1, (100_000, 3)) * [30, 3, 3] + [50, 0, 0]
    near = Lab + RNG.normal(0, 0.5, Lab.shape)
    found = delta_e_2000(Lab, near)
    assert np.abs(found - colour.delta_E(Lab, near, method="CIE 2000")).max() < 1e-10


def test_another_white_equals_the_library():
    XYZ, white = random_XYZ(1000), spectrum_to_XYZ(illuminant("A"))
    white = white / white[1]
    Lab = colour.XYZ_to_Lab(XYZ, colour.XYZ_to_xy(white))
    assert XYZ_to_Lab(XYZ, white) == pytest.approx(Lab, abs=1e-9)
    assert Lab_to_XYZ(Lab, white) == pytest.approx(XYZ, abs=1e-9)


@pytest.mark.parametrize("shape", [(), (3,), (2, 3)])
def test_leading_axes_are_kept(shape):
    Lab = RNG.uniform(0, 50, (*shape, 3))
    assert delta_e_2000(Lab, [50, 0, 0]).shape == shape
    assert XYZ_to_Lab(Lab_to_XYZ(Lab)) == pytest.approx(Lab, abs=1e-9)
    assert XYZ_to_xy(Lab + 1).shape == XYZ_to_uv(Lab + 1).shape == (*shape, 2)
    assert spectrum_to_XYZ(np.ones((*shape, 401))).shape == (*shape, 3)


def test_difference_is_symmetric_and_zero_only_with_itself():
    Lab = RNG.uniform([0, -90, -90], [100, 90, 90], (2000, 3))
    other = RNG.permutation(Lab)
    assert delta_e_2000(Lab, other) == pytest.approx(delta_e_2000(other, Lab), abs=1e-9)
    assert (delta_e_2000(Lab, Lab) == 0).all()
    moved = (Lab != other).any(axis=-1)
    assert (delta_e_2000(Lab, other)[moved] > 0).all()


def test_dominant_wavelength_equals_the_library():
    """Both give whole nm; at the ends of the locus a tenth of a degree is 2 nm."""
    angle, white = RNG.uniform(0, 2 * np.pi, 1000), XYZ_to_xy(tables().white)
    far = RNG.uniform(0.005, 0.15, (1000, 1))
    xy = white + far * np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    found = np.array([dominant_wavelength([x, y, 1 - x - y]) for x, y in xy])
    wanted = colour.dominant_wavelength(xy, WHITE_XY)[0]
    inner = (np.abs(wanted) > 450) & (np.abs(wanted) < 640)
    assert inner.sum() > 800
    assert np.abs(found - wanted)[inner].max() <= 1
    same_side = np.sign(found) == np.sign(wanted)
    assert same_side.mean() > 0.995
    assert np.abs(found - wanted)[same_side].max() <= 4


def test_dominant_wavelength_of_a_line_is_the_line():
    for nm in (460, 490, 520, 560, 590, 620):
        found = dominant_wavelength(tables().observer[nm - 380])
        assert found == pytest.approx(nm, abs=1)


def test_white_and_black_have_no_dominant_wavelength():
    assert dominant_wavelength(tables().white) is None
    assert dominant_wavelength([0, 0, 0]) is None


def test_black_has_no_chromaticity_and_says_so_without_a_warning():
    assert np.isnan(XYZ_to_xy([0, 0, 0])).all()
    assert np.isnan(XYZ_to_uv([[0, 0, 0], [1, 1, 1]])).tolist() == [
        [True, True],
        [False, False],
    ]


# ------------------------------------------------------------- cubic, never linear


@pytest.mark.parametrize("key", [k for k in ILLUMINANT_KEYS if k.startswith("LED")])
def test_led_illuminants_are_interpolated_cubically(key):
    """The library's own align() is linear on these, up to 0.08 CIEDE2000 off."""
    table = colour.SDS_ILLUMINANTS[key]
    own = illuminant(key)
    at = np.isin(WAVELENGTHS, table.wavelengths)
    inside = (table.wavelengths >= 380) & (table.wavelengths <= 780)
    assert own[at] == pytest.approx(np.clip(table.values[inside], 0, None), abs=1e-12)
    spline = CubicSpline(table.wavelengths, table.values)(WAVELENGTHS)
    assert np.abs(own - np.clip(spline, 0, None)).max() < 1e-9 * own.max()
    shape = colour.SpectralShape(380, 780, 1)
    linear = table.copy().align(shape).values
    assert np.abs(own - linear).max() > 1e-3 * own.max()


def test_linear_interpolation_would_be_seen_behind_a_steep_film():
    shape = colour.SpectralShape(380, 780, 1)
    linear = colour.SDS_ILLUMINANTS["LED-B3"].copy().align(shape).values
    film = 1 / (1 + np.exp((440 - WAVELENGTHS) / 2))
    glows = [light * film for light in (illuminant("LED-B3"), linear)]
    XYZ = [spectrum_to_XYZ(glow) / spectrum_to_XYZ(glow)[1] * 0.5 for glow in glows]
    assert float(delta_e_2000(*map(XYZ_to_Lab, XYZ))) > 0.05


def test_unknown_illuminant_is_named():
    with pytest.raises(SpectrumError, match='illuminant "F7"; we have A, D50'):
        illuminant("F7")


# -------------------------------------------------------------------------- swatches


def test_every_grey_comes_back():
    for code in range(256):
        text = f"#{code:02x}{code:02x}{code:02x}"
        swatch = XYZ_to_swatch(hex_to_XYZ(text))
        assert (swatch.hex, swatch.beyond_srgb) == (text, False)


def test_every_colour_of_the_screen_comes_back():
    codes = RNG.integers(0, 256, (3000, 3))
    codes[:64] = np.stack(np.meshgrid(*[[0, 1, 254, 255]] * 3), -1).reshape(-1, 3)
    for code in codes:
        text = "#" + bytes(code.tolist()).hex()
        swatch = XYZ_to_swatch(hex_to_XYZ(text))
        assert swatch.hex == text
        assert not swatch.beyond_srgb
        assert rgb_to_XYZ(code) == pytest.approx(hex_to_XYZ(text), abs=1e-15)


def test_swatch_equals_the_library_inside_srgb():
    codes = RNG.uniform(0.02, 0.98, (300, 3))
    XYZ = colour.models.eotf_sRGB(codes) @ tables().rgb_to_XYZ.T
    shown = np.array([list(bytes.fromhex(XYZ_to_swatch(c).hex[1:])) for c in XYZ])
    assert np.abs(shown - np.round(codes * 255)).max() <= 1
    assert (shown == np.round(codes * 255)).mean() > 0.97


@pytest.mark.parametrize("nm", range(400, 701, 10))
@pytest.mark.parametrize("luminance", [0.05, 0.2, 0.6])
def test_swatch_beyond_srgb_keeps_luminance_and_direction(nm, luminance):
    line = tables().observer[nm - 380]
    white = tables().rgb_to_XYZ.sum(axis=1)
    XYZ = 0.98 * line / line[1] * luminance + 0.02 * white * luminance
    swatch = XYZ_to_swatch(XYZ)
    assert swatch.beyond_srgb
    assert 0 < swatch.grey_added < 1
    shown = hex_to_XYZ(swatch.hex)
    assert shown[1] == pytest.approx(luminance, abs=0.005)
    away = [XYZ_to_xy(XYZ) - XYZ_to_xy(white), XYZ_to_xy(shown) - XYZ_to_xy(white)]
    angles = [np.degrees(np.arctan2(*part[::-1])) for part in away]
    off = (angles[1] - angles[0] + 180) % 360 - 180
    assert abs(off) < 3  # an 8-bit code is up to 2.6 degrees near the white


def test_swatch_of_an_impossibly_bright_or_dark_colour():
    bright = XYZ_to_swatch([3.0, 3.0, 3.0])
    assert (bright.hex, bright.too_bright, bright.beyond_srgb) == (
        "#ffffff",
        True,
        True,
    )
    black = XYZ_to_swatch([0.0, 0.0, 0.0])
    assert (black.hex, black.beyond_srgb) == ("#000000", False)


@pytest.mark.parametrize(
    "text", ["", "#12345", "#1234567", "teal", "#12345g", "0x123456", "#12 456", "#"]
)
def test_a_wrong_hex_says_how_a_colour_is_written(text):
    with pytest.raises(TintlabError, match=r'a colour is written "#2fa39a"'):
        hex_to_XYZ(text)


def test_hex_is_read_with_and_without_the_sign_and_in_any_case():
    assert hex_to_XYZ("2FA39A") == pytest.approx(hex_to_XYZ(" #2fa39a "))


# ------------------------------------------------------- appearance: CIECAM16, CAT16
# CIE 248:2022. The inputs are the classical set; the outputs are those that
# independent implementations agree on (tests of colour-science 0.4.7).
CIECAM16 = "CIE 248:2022 classical set"


@published(
    *(
        Published(
            source=f"{CIECAM16}, case {number}, {key}",
            printed=printed,
            given={"XYZ": XYZ, "white": white, "L_A": L_A, "key": key},
            tolerance=1e-4,
        )
        for number, XYZ, white, L_A, row in [
            (
                1,
                (19.01, 20.00, 21.78),
                (95.05, 100.00, 108.88),
                318.31,
                {"h": "217.0680", "Q": "195.3717", "M": "0.1074"},
            ),
            (
                2,
                (57.06, 43.06, 31.96),
                (95.05, 100.00, 108.88),
                31.83,
                {"h": "17.4866", "Q": "152.0699", "M": "42.6247"},
            ),
            (
                3,
                (3.53, 6.56, 2.14),
                (109.85, 100.00, 35.58),
                318.31,
                {"h": "178.8672", "Q": "139.7858", "M": "53.0073"},
            ),
        ]
        for key, printed in row.items()
    )
)
def test_appearance(check):
    given = check.given
    found = appearance(
        np.array(given["XYZ"]) / 100,
        white=np.array(given["white"]) / 100,
        luminance=given["L_A"],
    )
    assert found[given["key"]] == pytest.approx(check.expected, abs=check.half_digit)


CAT16 = np.array(
    [
        [0.401288, 0.650173, -0.051461],
        [-0.250268, 1.204414, 0.045854],
        [-0.002079, 0.048952, 0.953127],
    ]
)  # CIE 248:2022


def by_hand(XYZ, white, L_A):
    """CAT16 by way of equal energy: D on the room's side, complete on D65's side."""
    D = 1 - np.exp((-L_A - 42) / 92) / 3.6
    gain = D / (CAT16 @ white) + 1 - D
    equal = np.linalg.solve(CAT16, gain * (CAT16 @ XYZ))
    return np.linalg.solve(CAT16, (CAT16 @ equal) * (CAT16 @ tables().white))


@pytest.mark.parametrize("L_A", [0.2, 12.7, 318.31])
@pytest.mark.parametrize("key", ["A", "LED-B3", "D65"])
def test_adaptation_equals_the_two_steps_written_out(key, L_A):
    white = spectrum_to_XYZ(illuminant(key))
    white = white / white[1]
    for XYZ in ([0.5, 0.4, 0.1], [0.1, 0.3, 0.9], white):
        found = adapt(XYZ, white=white, luminance=L_A)
        assert found == pytest.approx(by_hand(np.asarray(XYZ), white, L_A), abs=1e-9)


def test_in_bright_light_the_white_of_the_room_is_white():
    white = spectrum_to_XYZ(illuminant("A"))
    white = white / white[1]
    found = adapt(white, white=white, luminance=1e5)
    assert found == pytest.approx(tables().white, abs=1e-9)
    dim = adapt(white, white=white, luminance=1.0)
    assert XYZ_to_Lab(dim)[2] > 5  # and in the dark it stays yellowish


def test_less_than_the_least_adapting_luminance_counts_as_that():
    white = tables().white
    XYZ = [0.3, 0.2, 0.1]
    assert adapt(XYZ, white=white, luminance=0.0) == pytest.approx(
        adapt(XYZ, white=white, luminance=0.2), abs=1e-12
    )
    assert appearance(XYZ, white=white, luminance=0) == appearance(
        XYZ, white=white, luminance=0.2
    )


def test_other_observers_see_daylight_as_white_and_a_deep_blue_elsewhere():
    daylight = illuminant("D65")
    for Lab in other_observers(daylight, daylight).values():
        assert Lab == pytest.approx([100, 0, 0], abs=0.005)
    blue = np.exp(-(((WAVELENGTHS - 455) / 12) ** 2))
    blue *= daylight @ tables().observer[:, 1] / 8 / (blue @ tables().observer[:, 1])
    own = XYZ_to_Lab(spectrum_to_XYZ(blue) / spectrum_to_XYZ(daylight)[1])
    for Lab in other_observers(blue, daylight).values():
        assert 2 < float(delta_e_2000(Lab, own)) < 30


# ----------------------------------------------------------------------------- cache


@pytest.fixture
def cold(tmp_path, monkeypatch, library):
    """An empty cache folder, and a library that counts how often it is asked."""
    asked = []

    def build():
        asked.append(1)
        return library

    folder = tmp_path / "cache"
    monkeypatch.setenv("TINTLAB_CACHE", str(folder))
    monkeypatch.setattr(colorimetry, "_tables_from_library", build)
    tables.cache_clear()
    yield folder, asked
    tables.cache_clear()


def same(found, wanted):
    return all(
        np.allclose(getattr(found, name), getattr(wanted, name), rtol=0, atol=1e-12)
        for name in Tables.__slots__
    )


def test_cached_tables_equal_the_library(library):
    assert same(tables(), library)


def test_a_missing_cache_is_made_and_then_used(cold, library):
    folder, asked = cold
    assert same(tables(), library)
    assert [p.name for p in folder.iterdir()] == [colorimetry.cache_file().name]
    tables.cache_clear()
    assert same(tables(), library)
    assert len(asked) == 1


def test_tables_cannot_be_changed_by_accident():
    with pytest.raises(ValueError, match="read-only"):
        tables().observer[0, 0] = 1.0
    with pytest.raises(ValueError, match="read-only"):
        illuminant("D65")[0] = 1.0


def with_digest(body):
    return hashlib.sha256(body).digest() + body


def some_arrays():
    body = io.BytesIO()
    np.savez(body, observer=np.zeros((401, 3)))
    return body.getvalue()


DAMAGE = {
    "empty": lambda _: b"",
    "truncated": lambda whole: whole[: len(whole) // 2],
    "one byte short": lambda whole: whole[:-1],
    "one bit flipped": lambda whole: (
        whole[:9999] + bytes([whole[9999] ^ 1]) + whole[10000:]
    ),
    "wrong digest": lambda whole: bytes(32) + whole[32:],
    "text": lambda _: b"not a table at all\n" * 9,
    "right digest of nothing": lambda _: with_digest(b""),
    "right digest of half": lambda whole: with_digest(whole[32 : len(whole) // 2]),
    "right digest of text": lambda _: with_digest(b"nothing here"),
    "right digest of other arrays": lambda _: with_digest(some_arrays()),
}


@pytest.mark.parametrize("damage", DAMAGE)
def test_a_damaged_cache_is_replaced(cold, library, damage):
    _, asked = cold
    tables()
    path = colorimetry.cache_file()
    whole = path.read_bytes()
    path.write_bytes(DAMAGE[damage](whole))
    tables.cache_clear()
    assert same(tables(), library)
    assert len(asked) == 2
    assert path.read_bytes() == whole


def test_a_cache_that_cannot_be_read_or_written_is_done_without(
    cold, library, monkeypatch, tmp_path
):
    _, asked = cold
    (tmp_path / "file").write_text("in the way", encoding="utf-8")
    monkeypatch.setenv("TINTLAB_CACHE", str(tmp_path / "file" / "folder"))
    assert same(tables(), library)
    tables.cache_clear()
    assert same(tables(), library)
    assert len(asked) == 2


def test_a_read_only_place_is_done_without(cold, library, monkeypatch):
    folder, _ = cold

    def refuse(**_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(colorimetry.tempfile, "mkstemp", refuse)
    assert same(tables(), library)
    assert list(folder.iterdir()) == []


def test_no_part_of_a_file_is_left_when_the_disk_is_full(cold, library, monkeypatch):
    folder, _ = cold
    opened = os.fdopen

    def full(handle, mode):
        file = opened(handle, mode)
        write = file.write

        class Full:
            def __enter__(self):
                return self

            def __exit__(self, *_):
                file.close()

            def write(self, content):
                write(content[:100])
                raise OSError(28, "No space left on device")

        return Full()

    monkeypatch.setattr(colorimetry.os, "fdopen", full)
    assert same(tables(), library)
    assert list(folder.iterdir()) == []


def test_no_part_of_a_file_is_left_when_renaming_fails(cold, library, monkeypatch):
    folder, _ = cold

    def refuse(self, _):
        raise PermissionError(13, f"Permission denied: {self}")

    monkeypatch.setattr(Path, "replace", refuse)
    assert same(tables(), library)
    assert list(folder.iterdir()) == []


def test_an_old_cache_stays_whole_until_the_new_one_is_complete(cold, monkeypatch):
    _, _ = cold
    tables()
    path = colorimetry.cache_file()
    seen = []
    replace = Path.replace

    def watch(self, target):
        seen.append((path.read_bytes(), self.read_bytes()))
        return replace(self, target)

    old = b"old"
    path.write_bytes(old)
    monkeypatch.setattr(Path, "replace", watch)
    tables.cache_clear()
    tables()
    assert [before for before, _ in seen] == [old]
    assert seen[0][1] == path.read_bytes()


def test_cache_folder_comes_from_the_environment(monkeypatch, tmp_path):
    monkeypatch.setenv("TINTLAB_CACHE", str(tmp_path))
    assert colorimetry.cache_file().parent == tmp_path
    monkeypatch.setenv("TINTLAB_CACHE", "")
    usual = colorimetry.cache_file().parent
    monkeypatch.delenv("TINTLAB_CACHE")
    assert colorimetry.cache_file().parent == usual != tmp_path
