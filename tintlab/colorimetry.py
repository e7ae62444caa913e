"""From spectra to colour: the only module that imports colour-science.

Importing colour-science costs more than a whole prediction, so its tables (observer,
illuminants, sRGB matrix and transfer curve, dominant wavelengths) are taken from it
once and kept in a cache. XYZ to Lab and back and CIEDE2000 have one numpy twin here,
because searches need millions a second; the tests hold it to colour-science. Every
other conversion imports colour-science inside the function.

Two conventions (see `tintlab.yardstick` for why): XYZ are scaled so that Y = 1 is the
white, and the white is D65 for the CIE 1931 2 degree observer.
"""

import hashlib
import io
import os
import re
import tempfile
import zipfile
from dataclasses import dataclass
from functools import cache
from importlib import metadata
from pathlib import Path
from typing import Any

import numpy as np
import platformdirs
from numpy.typing import ArrayLike, NDArray

from tintlab.errors import SpectrumError, TintlabError
from tintlab.spectrum import STEP, WAVELENGTHS

MAXIMUM_EFFICACY = 683.0  # K_m [lm/W], SI value of the luminous efficacy constant
LAYOUT = "6"  # of the cached tables; raise it when `_tables_from_library` changes

Array = NDArray[np.float64]

ILLUMINANT_KEYS = (
    *("A", "D50", "D55", "D65", "D75", "E"),
    *("LED-B1", "LED-B2", "LED-B3", "LED-B4", "LED-B5"),
    *("LED-BH1", "LED-RGB1", "LED-V1", "LED-V2"),
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tables:
    """What is taken from colour-science once, on the working grid.

    Attributes
    ----------
    observer : ndarray, shape (401, 3)
        CIE 1931 2 degree colour-matching functions.
    illuminants : ndarray, shape (n, 401)
        Relative power of `ILLUMINANT_KEYS`, cubically interpolated.
    white : ndarray, shape (3,)
        XYZ of D65, Y = 1.
    rgb_to_XYZ, XYZ_to_rgb : ndarray, shape (3, 3)
        Linear sRGB, IEC 61966-2-1, and its exact inverse: the one that is printed is
        rounded, so that #ffff00 would not come back.
    decoded : ndarray, shape (256,)
        Linear value of each 8-bit sRGB code.
    thresholds : ndarray, shape (255,)
        Linear value half-way between neighbouring codes.
    dominant : ndarray, shape (3600,)
        Dominant (negative: complementary) wavelength for each tenth of a degree
        around the white in x,y. [nm]
    cameras : ndarray, shape (n, 3, 401)
        Red, green and blue sensitivities of measured cameras, each at most 1; 0
        where the measurement (380-780 or 400-680 nm) ends.
    patches : ndarray, shape (24, 401)
        Reflectances of the colour test chart that ISO 17321-1 lists. [-]
    """

    observer: Array
    illuminants: Array
    white: Array
    rgb_to_XYZ: Array
    XYZ_to_rgb: Array
    decoded: Array
    thresholds: Array
    dominant: Array
    cameras: Array
    patches: Array


def _tables_from_library() -> Tables:
    """Ask colour-science for every table. [about two seconds]"""
    import colour

    shape = colour.SpectralShape(WAVELENGTHS[0], WAVELENGTHS[-1], STEP)
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    white_xy = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    srgb = colour.RGB_COLOURSPACES["sRGB"]
    codes = np.arange(256) / 255
    half_way = (np.arange(255) + 0.5) / 255
    angles = np.deg2rad(np.arange(3600) / 10)
    around = white_xy + 0.01 * np.stack([np.cos(angles), np.sin(angles)], axis=-1)
    return Tables(
        observer=observer.copy().align(shape).values,
        illuminants=np.stack([_illuminant_from_library(k) for k in ILLUMINANT_KEYS]),
        white=np.asarray(colour.xy_to_XYZ(white_xy), dtype=float),
        rgb_to_XYZ=np.asarray(srgb.matrix_RGB_to_XYZ),
        XYZ_to_rgb=np.linalg.inv(srgb.matrix_RGB_to_XYZ),
        decoded=np.asarray(colour.models.eotf_sRGB(codes), dtype=float),
        thresholds=np.asarray(colour.models.eotf_sRGB(half_way), dtype=float),
        dominant=np.asarray(
            colour.dominant_wavelength(around, white_xy)[0], dtype=float
        ),
        cameras=_cameras_from_library(),
        patches=_patches_from_library(),
    )


def _cameras_from_library() -> Array:
    """Interpolate every measured camera cubically; both are dark where they end."""
    import colour

    found = []
    for camera in colour.MSDS_CAMERA_SENSITIVITIES.values():
        first, last = camera.wavelengths[[0, -1]]
        inside = slice(*np.searchsorted(WAVELENGTHS, (first, last + STEP)))
        values = np.zeros((3, WAVELENGTHS.size))
        for row, channel in zip(values, camera.values.T, strict=True):
            spline = colour.CubicSplineInterpolator(camera.wavelengths, channel)
            row[inside] = np.clip(spline(WAVELENGTHS[inside]), 0.0, 1.0)
        found.append(values)
    return np.stack(found)


def _patches_from_library() -> Array:
    """Interpolate the reflectances of the colour test chart cubically."""
    import colour

    shape = colour.SpectralShape(WAVELENGTHS[0], WAVELENGTHS[-1], STEP)
    found = []
    for patch in colour.SDS_COLOURCHECKERS["ISO 17321-1"].values():
        spectrum = patch.copy()
        spectrum.interpolate(shape, interpolator=colour.CubicSplineInterpolator)
        found.append(np.clip(spectrum.values, 0.0, 1.0))
    return np.stack(found)


def _illuminant_from_library(key: str) -> Array:
    """Interpolate one illuminant cubically; a bare align would be linear."""
    import colour

    shape = colour.SpectralShape(WAVELENGTHS[0], WAVELENGTHS[-1], STEP)
    spectrum = colour.SDS_ILLUMINANTS[key].copy()
    spectrum.interpolate(shape, interpolator=colour.CubicSplineInterpolator)
    return np.clip(spectrum.values, 0.0, None)


def cache_file() -> Path:
    """Name the file that keeps the tables of this colour-science version."""
    folder = os.environ.get("TINTLAB_CACHE") or platformdirs.user_cache_dir("tintlab")
    version = metadata.version("colour-science")
    return Path(folder) / f"tables-{LAYOUT}-{version}.npz"


def _read_cache(path: Path) -> Tables | None:
    """Read the tables; None when missing, damaged or from another layout."""
    try:
        content = path.read_bytes()
        digest, body = content[:32], content[32:]
        if hashlib.sha256(body).digest() != digest:
            return None
        with np.load(io.BytesIO(body), allow_pickle=False) as stored:
            return Tables(**{name: stored[name] for name in Tables.__slots__})
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
        return None


def _write_cache(path: Path, tables: Tables) -> None:
    """Write the tables whole or not at all; a read-only place is no error."""
    body = io.BytesIO()
    np.savez(body, **{name: getattr(tables, name) for name in Tables.__slots__})
    content = body.getvalue()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=path.stem)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(hashlib.sha256(content).digest() + content)
            Path(name).replace(path)
        except OSError:
            Path(name).unlink(missing_ok=True)
    except OSError:
        return


@cache
def tables() -> Tables:
    """Return the tables, from the cache when it is sound, else from the library."""
    path = cache_file()
    found = _read_cache(path)
    if found is None:
        found = _tables_from_library()
        _write_cache(path, found)
    for name in Tables.__slots__:
        getattr(found, name).setflags(write=False)
    return found


def illuminant(key: str) -> Array:
    """Return the relative power of a CIE illuminant on the working grid.

    Parameters
    ----------
    key : str
        One of `ILLUMINANT_KEYS`.

    Returns
    -------
    ndarray, shape (401,)

    Raises
    ------
    SpectrumError
        For an illuminant that is not kept here.
    """
    if key not in ILLUMINANT_KEYS:
        raise SpectrumError(
            f'asked for the CIE illuminant "{key}"; we have '
            f"{', '.join(ILLUMINANT_KEYS)}; choose one of these"
        )
    return tables().illuminants[ILLUMINANT_KEYS.index(key)]


def camera_sensitivities() -> Array:
    """Return the measured cameras' red, green and blue, shape (n_cameras, 3, 401).

    Those of colour-science (National Physical Laboratory): one with a mosaic of dyed
    filters, one with stacked layers; relative, each at most 1.
    """
    return tables().cameras


def patch_reflectances() -> Array:
    """Return the 24 patches of the chart of ISO 17321-1, shape (24, 401)."""
    return tables().patches


def spectrum_to_XYZ(power: ArrayLike) -> Array:
    """Sum a spectrum against the CIE 1931 observer (CIE 15:2018, eq. 7.1, k = 1).

    Parameters
    ----------
    power : array_like, shape (..., 401)
        Spectral power on the working grid. [any unit per nm]

    Returns
    -------
    ndarray, shape (..., 3)
        Unscaled XYZ; Y times 683 lm/W is luminous when `power` is in watts.
    """
    return np.asarray(power, dtype=float) @ (tables().observer * STEP)


_EPSILON, _KAPPA = (6 / 29) ** 3, (29 / 3) ** 3  # CIE 15:2018, eq. 8.6-8.11


def XYZ_to_Lab(XYZ: ArrayLike, white: ArrayLike | None = None) -> Array:
    """Convert XYZ to CIELAB (CIE 15:2018, eq. 8.3-8.11); the numpy twin.

    Parameters
    ----------
    XYZ : array_like, shape (..., 3)
        Tristimulus values on the scale of the white.
    white : array_like, shape (3,), optional
        XYZ of the white; D65 with Y = 1 unless given.

    Returns
    -------
    ndarray, shape (..., 3)
    """
    ratio = np.asarray(XYZ, dtype=float) / (tables().white if white is None else white)
    f = np.where(ratio > _EPSILON, np.cbrt(ratio), (_KAPPA * ratio + 16) / 116)
    x, y, z = np.moveaxis(f, -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def Lab_to_XYZ(Lab: ArrayLike, white: ArrayLike | None = None) -> Array:
    """Undo `XYZ_to_Lab` (CIE 15:2018, annex C).

    Parameters
    ----------
    Lab : array_like, shape (..., 3)
    white : array_like, shape (3,), optional
        XYZ of the white; D65 with Y = 1 unless given.

    Returns
    -------
    ndarray, shape (..., 3)
    """
    L, a, b = np.moveaxis(np.asarray(Lab, dtype=float), -1, 0)
    y = (L + 16) / 116
    f = np.stack([y + a / 500, y, y - b / 200], axis=-1)
    ratio = np.where(f > 6 / 29, f**3, (116 * f - 16) / _KAPPA)
    return np.asarray(ratio * (tables().white if white is None else white))


def delta_e_2000(Lab_1: ArrayLike, Lab_2: ArrayLike) -> Array:
    """Colour difference CIEDE2000 (ISO/CIE 11664-6); the numpy twin.

    Parameters
    ----------
    Lab_1, Lab_2 : array_like, shape (..., 3)

    Returns
    -------
    ndarray, shape (...)
    """
    l, c, e, R_T = _terms(Lab_1, Lab_2)
    return np.sqrt(l**2 + c**2 + e**2 + R_T * c * e)  # (22)


def delta_e_2000_parts(Lab_1: ArrayLike, Lab_2: ArrayLike) -> Array:
    """Three parts of CIEDE2000, the root of whose squares' sum it is.

    Least squares over them minimises the difference itself. Completing the square of
    eq. (22): c^2 + e^2 + R_T c e = (c + R_T e / 2)^2 + (1 - R_T^2 / 4) e^2.

    Parameters
    ----------
    Lab_1, Lab_2 : array_like, shape (..., 3)

    Returns
    -------
    ndarray, shape (..., 3)
    """
    l, c, e, R_T = _terms(Lab_1, Lab_2)
    return np.stack([l, c + R_T * e / 2, e * np.sqrt(1 - R_T**2 / 4)], axis=-1)


def _terms(Lab_1: ArrayLike, Lab_2: ArrayLike) -> tuple[Array, Array, Array, Array]:
    """Weighted differences of lightness, chroma and hue, and the rotation R_T.

    The steps follow Sharma, Wu & Dalal, Color Res. Appl. 30 (2005) 21-30,
    eq. (2)-(22), with k_L = k_C = k_H = 1.
    """
    L1, a1, b1 = np.moveaxis(np.asarray(Lab_1, dtype=float), -1, 0)
    L2, a2, b2 = np.moveaxis(np.asarray(Lab_2, dtype=float), -1, 0)
    C_mean = (np.hypot(a1, b1) + np.hypot(a2, b2)) / 2  # (2), (3)
    G = 0.5 * (1 - np.sqrt(C_mean**7 / (C_mean**7 + 25.0**7)))  # (4)
    a1, a2 = (1 + G) * a1, (1 + G) * a2  # (5)
    C1, C2 = np.hypot(a1, b1), np.hypot(a2, b2)  # (6)
    h1 = np.degrees(np.arctan2(b1, a1)) % 360  # (7)
    h2 = np.degrees(np.arctan2(b2, a2)) % 360
    grey = C1 * C2 == 0
    dL, dC, dh = L2 - L1, C2 - C1, h2 - h1  # (8), (9)
    dh = np.where(dh > 180, dh - 360, np.where(dh < -180, dh + 360, dh))  # (10)
    dh = np.where(grey, 0.0, dh)
    dH = 2 * np.sqrt(C1 * C2) * np.sin(np.radians(dh / 2))  # (11)
    L, C = (L1 + L2) / 2, (C1 + C2) / 2  # (12), (13)
    total = h1 + h2
    apart = np.abs(h1 - h2) > 180
    h = np.where(apart, np.where(total < 360, total + 360, total - 360), total) / 2
    h = np.where(grey, total, h)  # (14)
    T = (
        1
        - 0.17 * np.cos(np.radians(h - 30))
        + 0.24 * np.cos(np.radians(2 * h))
        + 0.32 * np.cos(np.radians(3 * h + 6))
        - 0.20 * np.cos(np.radians(4 * h - 63))
    )  # (15)
    theta = 30 * np.exp(-(((h - 275) / 25) ** 2))  # (16)
    R_C = 2 * np.sqrt(C**7 / (C**7 + 25.0**7))  # (17)
    S_L = 1 + 0.015 * (L - 50) ** 2 / np.sqrt(20 + (L - 50) ** 2)  # (18)
    S_C, S_H = 1 + 0.045 * C, 1 + 0.015 * C * T  # (19), (20)
    R_T = -np.sin(np.radians(2 * theta)) * R_C  # (21)
    return dL / S_L, dC / S_C, dH / S_H, R_T


def XYZ_to_xy(XYZ: ArrayLike) -> Array:
    """Return the chromaticity x, y (CIE 15:2018, eq. 7.5), shape (..., 2).

    Black has none: its x, y are not a number.
    """
    XYZ = np.asarray(XYZ, dtype=float)
    total = XYZ.sum(axis=-1, keepdims=True)
    return XYZ[..., :2] / np.where(total == 0, np.nan, total)


def XYZ_to_uv(XYZ: ArrayLike) -> Array:
    """Return the chromaticity u', v' (CIE 15:2018, eq. 8.27), shape (..., 2).

    Black has none: its u', v' are not a number.
    """
    XYZ = np.asarray(XYZ, dtype=float)
    total = (XYZ @ (1.0, 15.0, 3.0))[..., None]
    return XYZ[..., :2] * (4.0, 9.0) / np.where(total == 0, np.nan, total)


def dominant_wavelength(XYZ: ArrayLike) -> float | None:
    """Look up the dominant wavelength about D65, to 1 nm.

    Parameters
    ----------
    XYZ : array_like, shape (3,)

    Returns
    -------
    float or None
        [nm]; negative for the complementary wavelength of a purple; None for a
        colour within 0.003 of the white in x,y and for black, where the question has
        no answer.
    """
    away = XYZ_to_xy(XYZ) - XYZ_to_xy(tables().white)
    if not np.hypot(*away) >= 0.003:
        return None
    tenth = round(np.degrees(np.arctan2(away[1], away[0])) * 10) % 3600
    return float(tables().dominant[tenth])


@dataclass(frozen=True, slots=True, kw_only=True)
class Swatch:
    """An 8-bit sRGB colour and what was done to show it.

    Attributes
    ----------
    hex : str
        "#rrggbb".
    grey_added : float
        Share of neutral light of the same luminance mixed in to bring the colour
        inside sRGB; 0 when it was inside. [-]
    too_bright : bool
        True when the luminance was above display white and was lowered to it.
    """

    hex: str
    grey_added: float
    too_bright: bool

    @property
    def beyond_srgb(self) -> bool:
        """Whether a screen cannot show this colour as it is."""
        return self.grey_added > 0.002 or self.too_bright


def XYZ_to_swatch(XYZ: ArrayLike) -> Swatch:
    """Show an XYZ (white at Y = 1) in sRGB (IEC 61966-2-1), keeping its hue.

    A colour outside is mixed with just enough neutral grey of its own luminance,
    which keeps luminance and the direction from the white in x,y.
    """
    rgb = tables().XYZ_to_rgb @ np.asarray(XYZ, dtype=float)
    grey = float(tables().rgb_to_XYZ[1] @ rgb)
    too_bright = grey > 1.0005
    if too_bright:
        rgb, grey = rgb / grey, 1.0
    grey = min(max(grey, 0.0), 1.0)
    away = rgb - grey
    room = np.where(away > 0, 1 - grey, grey)
    fits = np.abs(away) <= room + 1e-9
    added = 1 - float(np.where(fits, 1.0, room / np.where(fits, 1.0, abs(away))).min())
    if added < 1e-4:
        added = 0.0
    codes = np.searchsorted(tables().thresholds, grey + (1 - added) * away)
    text = "#" + "".join(f"{int(code):02x}" for code in codes)
    return Swatch(hex=text, grey_added=added, too_bright=too_bright)


def hex_to_XYZ(text: str) -> Array:
    """Read "#rrggbb" as sRGB and return XYZ with the white at Y = 1.

    Raises
    ------
    TintlabError
        When the text is not six hexadecimal digits.
    """
    found = re.fullmatch(r"\s*#?([0-9a-fA-F]{6})\s*", text)
    if not found:
        raise TintlabError(
            f'asked for the colour "{text}"; a colour is written "#2fa39a": "#" and '
            "six hexadecimal digits"
        )
    codes = list(bytes.fromhex(found.group(1)))
    return tables().rgb_to_XYZ @ tables().decoded[codes]


def rgb_to_XYZ(codes: ArrayLike) -> Array:
    """Convert 8-bit sRGB codes, shape (..., 3), to XYZ with the white at Y = 1."""
    linear = tables().decoded[np.asarray(codes, dtype=np.intp)]
    return linear @ tables().rgb_to_XYZ.T


def adapt(XYZ: ArrayLike, *, white: ArrayLike, luminance: float) -> Array:
    """Adapt XYZ from a room's white to D65 by CAT16 (CIE 248:2022).

    Parameters
    ----------
    XYZ : array_like, shape (..., 3)
        Relative to the room white at Y = 1.
    white : array_like, shape (3,)
        XYZ of the room's white, Y = 1.
    luminance : float
        Adapting luminance L_A; below 0.2 it counts as 0.2. [cd/m2]

    Returns
    -------
    ndarray, shape (..., 3)
        Relative to D65 at Y = 1.
    """
    from colour.adaptation import chromatic_adaptation

    return np.asarray(
        chromatic_adaptation(
            np.asarray(XYZ, dtype=float) * 100,
            np.asarray(white, dtype=float) * 100,
            tables().white * 100,
            method="Zhai 2018",
            transform="CAT16",
            **_degrees_of_adaptation(luminance),
        )
        / 100
    )


def _degrees_of_adaptation(luminance: float) -> dict[str, Any]:
    """Give D of CIECAM16 for an average surround (CIE 248:2022, eq. for D)."""
    L_A = max(luminance, 0.2)
    D = 1.0 * (1 - np.exp((-L_A - 42) / 92) / 3.6)
    return {"D_b": float(D), "D_d": 1.0, "XYZ_wo": np.array([100.0, 100.0, 100.0])}


def appearance(
    XYZ: ArrayLike, *, white: ArrayLike, luminance: float, background: float = 20.0
) -> dict[str, float]:
    """Predict hue angle h, brightness Q and colourfulness M (CIE 248:2022).

    Parameters
    ----------
    XYZ, white : array_like, shape (3,)
        On the scale of the white at Y = 1.
    luminance : float
        Adapting luminance L_A; below 0.2 it counts as 0.2. [cd/m2]
    background : float
        Luminance factor of the background Y_b. [%]
    """
    from colour.appearance import XYZ_to_CIECAM16

    seen = XYZ_to_CIECAM16(
        np.asarray(XYZ, dtype=float) * 100,
        np.asarray(white, dtype=float) * 100,
        max(luminance, 0.2),
        background,
    )
    values = {"h": seen.h, "Q": seen.Q, "M": seen.M}
    return {key: float(np.asarray(value)) for key, value in values.items()}


def other_observers(power: ArrayLike, white: ArrayLike) -> dict[str, list[float]]:
    """Give the Lab of a light for the CIE 1964 10 degree and CIE 2015 observers.

    Parameters
    ----------
    power, white : array_like, shape (401,)
        Spectrum shown, and the spectrum whose Y is L* = 100. [same unit per nm]
    """
    import colour

    answer = {}
    shape = colour.SpectralShape(WAVELENGTHS[0], WAVELENGTHS[-1], STEP)
    daylight = illuminant("D65")
    for name in (
        "CIE 1964 10 Degree Standard Observer",
        "CIE 2015 2 Degree Standard Observer",
    ):
        weights = colour.MSDS_CMFS[name].copy().align(shape).values
        d65 = daylight @ weights
        XYZ = np.asarray(power) @ weights / (np.asarray(white) @ weights)[1]
        Lab = XYZ_to_Lab(XYZ, d65 / d65[1])
        answer[name] = [round(float(v), 2) for v in Lab]
    return answer


def colour_temperature(XYZ: ArrayLike) -> tuple[float, float]:
    """Give the correlated colour temperature [K] and Duv (Ohno 2013)."""
    import colour

    u, v = XYZ_to_uv(XYZ)
    kelvin, away = colour.temperature.uv_to_CCT_Ohno2013([u, v * 2 / 3])
    return float(kelvin), float(away)
