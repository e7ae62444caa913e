"""What an adapted eye sees, brought to a display.

Light comes in as XYZ, absolute or relative, and leaves as linear or coded values of a
display. What the display can show is left exactly as it is. What it cannot (brighter
than its white, more vivid than its primaries) keeps its hue, within 7 degrees of
CIECAM16 on the rim of BT.2020, so a bright glow never slides from green to cyan or from
red to yellow as it does when channels are cut.

Sizes: every function takes any leading shape and keeps float32 when it is given it.
"""

from functools import cache
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tintlab.colorimetry import tables
from tintlab.errors import ModelError
from tintlab.proof import glare

Array = NDArray[Any]  # of float64, or of float32 when that is given

CAT16 = np.array(
    [
        [0.401288, 0.650173, -0.051461],
        [-0.250268, 1.204414, 0.045854],
        [-0.002079, 0.048952, 0.953127],
    ]
)  # CIE 248:2022, eq. for M_16; Li et al., Color Res. Appl. 42 (2017) 703, eq. 9
OKLAB_CONES = np.array(
    [
        [0.8189330101, 0.3618667424, -0.1288597137],
        [0.0329845436, 0.9293118715, 0.0361456387],
        [0.0482003018, 0.2643662691, 0.6338517070],
    ]
)  # XYZ (D65) to cone signals; B. Ottosson, A perceptual color space (2020), M_1
OKLAB = np.array(
    [
        [0.2104542553, 0.7936177850, -0.0040720468],
        [1.9779984951, -2.4285922050, 0.4505937099],
        [0.0259040371, 0.7827717662, -0.8086757660],
    ]
)  # their cube roots to L, a, b; the same, M_2
WIDE = np.array(
    [
        [0.6369580483, 0.1446169036, 0.1688809752],
        [0.2627002120, 0.6779980715, 0.0593017165],
        [0.0000000000, 0.0280726930, 1.0609850577],
    ]
)  # the widest primaries of screens to XYZ (D65): ITU-R BT.2020-2, table 3
SURROUNDS = {"average": 0.69, "dim": 0.59, "dark": 0.525}  # c, CIE 248:2022, table 1
DEGREES = {"average": 1.0, "dim": 0.9, "dark": 0.8}  # F, the same
LEAST_ADAPTING = 0.2  # [cd/m2] of L_A; the models do not reach lower
DISPLAY_ADAPTING = 16.0  # [cd/m2] of L_A, 0.2 of a white of 80 (IEC 61966-2-1)
LIFT, LIFT_STOPS = 0.4, 5.0  # share of the way to white, and how soon; set by eye
KNEE = 0.5  # of the display's white, from where much brighter light is squeezed in
BENT = 205.0, 235.0, 260.0, 277.0  # [deg] of Oklab hue, where blues are cut otherwise
_HUES = 3600  # in the table of the most chroma
_AT_ONCE = 32768  # colours that are fitted together


def adapt(
    XYZ: ArrayLike,
    *,
    white_from: ArrayLike,
    white_to: ArrayLike,
    degree: float = 1.0,
) -> Array:
    """Adapt colours from one white to another by CAT16 (CIE 248:2022).

    Parameters
    ----------
    XYZ : array_like, shape (..., 3)
        On any scale.
    white_from, white_to : array_like, shape (3,)
        On any scale: only their chromaticity counts, luminance stays.
    degree : float
        D of the adaptation to `white_from`; 1 is complete. [-]

    Returns
    -------
    ndarray, shape (..., 3)
        On the scale of `XYZ`.
    """
    return _times(adaptation(white_from, white_to, degree=degree), XYZ)


def adaptation(
    white_from: ArrayLike, white_to: ArrayLike, *, degree: float = 1.0
) -> Array:
    """Return the matrix of `adapt`, shape (3, 3)."""
    source, goal = np.asarray(white_from, float), np.asarray(white_to, float)
    cones = CAT16 @ (source / source[1])
    wanted = CAT16 @ (goal / goal[1])
    gains = degree * wanted / cones + (1 - degree)
    return np.asarray(np.linalg.inv(CAT16) @ (gains[:, None] * CAT16))


def degree_of_adaptation(luminance: float, *, surround: str) -> float:
    """Return D of CIECAM16: how far the eye discounts the colour of the light.

    Parameters
    ----------
    luminance : float
        Adapting luminance L_A; below 0.2 it counts as 0.2. [cd/m2]
    surround : str
        "average", "dim" or "dark".
    """
    L_A = max(luminance, LEAST_ADAPTING)
    F = DEGREES[surround]
    return float(F * (1 - np.exp((-L_A - 42) / 92) / 3.6))


def display_share(luminance: float, *, surround: str) -> float:
    """Share of the display's white that looks as bright as a white card in a room.

    The card's brightness Q by CIECAM16 in its room is set equal to that of a neutral
    on the display, seen in usual room light. A card brighter than that gets the
    white: a display cannot be brighter.

    Parameters
    ----------
    luminance : float
        Adapting luminance L_A of the room; below 0.2 it counts as 0.2. [cd/m2]
    surround : str
        "average", "dim" or "dark".

    Returns
    -------
    float
        Linear, 0 to 1. [-]

    Notes
    -----
    CIE 248:2022 for a neutral that is fully adapted to, with Y_b = 20.
    """
    c, c_d = SURROUNDS[surround], SURROUNDS["average"]
    F_L, F_L_d = _level_factor(luminance), _level_factor(DISPLAY_ADAPTING)
    A_w, A_w_d = _response(1.0, F_L), _response(1.0, F_L_d)
    Q = 4 / c * (A_w + 4) * F_L**0.25
    Q_d = 4 / c_d * (A_w_d + 4) * F_L_d**0.25
    z = 1.48 + np.sqrt(0.2)
    A = A_w_d * (Q / Q_d) ** (2 / (c_d * z))
    top = 3.05 * _BACKGROUND * 400
    x = 27.13 * A / (top - A)
    return float(min(1.0, x ** (1 / 0.42) / F_L_d))


_BACKGROUND = 0.725 * (1 / 0.2) ** 0.2  # N_bb for Y_b = 20


def _level_factor(luminance: float) -> float:
    """Return F_L of CIECAM16."""
    L_A = max(luminance, LEAST_ADAPTING)
    k = 1 / (5 * L_A + 1)
    return float(0.2 * k**4 * (5 * L_A) + 0.1 * (1 - k**4) ** 2 * (5 * L_A) ** (1 / 3))


def _response(Y: float, F_L: float) -> float:
    """Achromatic response A of a neutral of luminance factor Y."""
    x = (F_L * Y) ** 0.42
    return float(3.05 * _BACKGROUND * 400 * x / (x + 27.13))


def to_display(
    XYZ: ArrayLike, *, white_luminance: float, brightest: float = 1.0
) -> Array:
    """Bring colours to sRGB, keeping the hue of what does not fit.

    Parameters
    ----------
    XYZ : array_like, shape (..., 3)
        Adapted to D65 (see `adapt`). [cd/m2, or any scale]
    white_luminance : float
        Y that becomes the display's white, on the same scale.
    brightest : float
        As in `fitted`.

    Returns
    -------
    ndarray, shape (..., 3)
        Coded red, green and blue, 0 to 1.
    """
    if not (np.isfinite(white_luminance) and white_luminance > 0):
        raise ModelError(
            f"asked to show light against a white of {white_luminance:g} cd/m2; the "
            "white must be above 0: give the room an illuminance"
        )
    rgb = _times(tables().XYZ_to_rgb / white_luminance, XYZ)
    return encode(fitted(rgb, brightest=brightest))


def fitted(
    rgb: ArrayLike, *, to_XYZ: ArrayLike | None = None, brightest: float = 1.0
) -> Array:
    """Fit linear display values into 0 to 1, keeping hue.

    Parameters
    ----------
    rgb : array_like, shape (..., 3)
        Linear; above 1 where brighter than white, below 0 where too vivid. [-]
    to_XYZ : array_like, shape (3, 3), optional
        Linear values to XYZ of the display's space, white D65; sRGB unless given.
    brightest : float
        The value that becomes the top of the display. At 1 whatever is brighter than
        white is equally bright; a larger one makes room for it, and works on all that
        is above KNEE, which takes time on a large picture. [-]

    Returns
    -------
    ndarray, shape (..., 3)
        Linear, 0 to 1; where `rgb` fits it is returned unchanged, or, when
        `brightest` is above 1, where it fits below KNEE.

    Notes
    -----
    Only values that do not fit are touched, in this order:
    1. `real`: what no screen has, since no eye has seen it, comes to the widest
       primaries;
    2. chroma is cut until no value is below 0: in Oklab at its lightness and hue, but
       for blues by neutral light of the same luminance (as in `real`), because there
       constant hue in Oklab is 25 degrees off in CIECAM16; see BENT;
    3. all three are scaled alike until the largest follows `shoulder`, which keeps hue
       and chroma over lightness;
    4. a colour above white by some stops goes a share
       LIFT (1 - 2^(-stops / LIFT_STOPS)) of the way to white at its hue, so that
       brighter still looks brighter.
    """
    rgb = np.array(rgb, dtype=_kind(rgb))
    top = KNEE if brightest > 1 else 1.0
    out = np.zeros(rgb.shape[:-1], dtype=bool)
    for c in range(3):
        out |= (rgb[..., c] < 0) | (rgb[..., c] > top)
    if out.any():
        space = tables().rgb_to_XYZ if to_XYZ is None else np.asarray(to_XYZ, float)
        values = rgb[out]
        for start in range(0, len(values), _AT_ONCE):
            part = values[start : start + _AT_ONCE]
            part[:] = _fit(np.ascontiguousarray(part.T), space, brightest).T
        rgb[out] = values
    return rgb


def shoulder(values: ArrayLike, *, brightest: float) -> Array:
    """Squeeze light above KNEE so that the brightest comes out as 1.

    y = K + (1 - K) ln(1 + s (x - K)) / ln(1 + s (x_1 - K)), with s such that the slope
    at K is 1; our own choice. Below K, and where `brightest` is at most 1, y is x, at
    most 1.

    Parameters
    ----------
    values : array_like, shape (...)
        [-]
    brightest : float
        x_1. [-]

    Returns
    -------
    ndarray, shape (...)
    """
    x: Array = np.asarray(values, dtype=_kind(values))
    if brightest <= 1:
        return np.minimum(x, 1)
    room, span = 1 - KNEE, brightest - KNEE
    s = 1.0
    for _ in range(100):  # s = ln(1 + s span) / room, a contraction above the root
        s = float(np.log1p(s * span) / room)
    over = np.maximum(x - KNEE, 0)
    bent = KNEE + room * np.log1p(s * over) / np.log1p(s * span)
    return np.minimum(np.where(x > KNEE, bent, x), 1)


def encode(linear: ArrayLike) -> Array:
    """Code linear values by the curve of sRGB (IEC 61966-2-1)."""
    linear = np.asarray(linear, dtype=_kind(linear))
    high = 1.055 * np.maximum(linear, 0.0031308) ** (1 / 2.4) - 0.055
    return np.where(linear <= 0.0031308, 12.92 * linear, high)


def bloom(
    XYZ: ArrayLike,
    *,
    degrees_per_pixel: float,
    age: float = 30.0,
    pigment: float = 0.5,
) -> Array:
    """Add the eye's own stray light to a picture (`tintlab.proof.glare.scattered`).

    Parameters
    ----------
    XYZ : array_like, shape (height, width, n)
        Linear light in any channels. [any unit]
    degrees_per_pixel : float
        Angle that a pixel takes up for the viewer. [deg]
    age : float
        Of the viewer. [years]
    pigment : float
        0 black, 0.5 brown, 1 light, 1.2 very light eyes. [-]

    Returns
    -------
    ndarray, shape (height, width, n)
    """
    return glare.scattered(
        XYZ, degrees_per_pixel=degrees_per_pixel, age=age, pigment=pigment
    )


def real(XYZ: ArrayLike) -> Array:
    """Bring colours inside the widest primaries of screens (ITU-R BT.2020).

    A colour outside, such as adaptation makes of a vivid one, is mixed with neutral
    light of its own luminance: it keeps its direction from the white in x,y. Oklab
    knows no hue farther out.

    Parameters
    ----------
    XYZ : array_like, shape (..., 3)

    Returns
    -------
    ndarray, shape (..., 3)
        Black where Y is not above 0.
    """
    XYZ = np.asarray(XYZ, dtype=_kind(XYZ))
    least = _times(np.linalg.inv(WIDE), XYZ).min(axis=-1, keepdims=True)
    keep = _kept(XYZ[..., 1:2], least)
    white = tables().white.astype(XYZ.dtype)
    return keep * XYZ + (1 - keep) * np.maximum(XYZ[..., 1:2], 0) * white


def _kept(Y: Array, least: Array) -> Array:
    """Share to keep when neutral light is mixed in until the least value is 0."""
    grey = np.maximum(Y, 0)
    return np.where(least < 0, grey / np.maximum(grey - least, 1e-30), 1)


def _fit(rgb: Array, to_XYZ: Array, brightest: float) -> Array:
    """Fit planes of values, shape (3, n), of which none fits."""
    to_cones, to_rgb = _cones(to_XYZ)
    rgb = _mixed(rgb, _planes(np.linalg.inv(WIDE) @ to_XYZ, rgb), to_XYZ)
    L, a, b = _planes(OKLAB, np.cbrt(_planes(to_cones, rgb)))
    limit = L * _most_chroma(a, b, to_XYZ)
    keep = np.minimum(limit / np.maximum(np.hypot(a, b), 1e-12), 1)
    cut = _rgb_of(np.stack([L, a * keep, b * keep]), to_rgb)
    bent = np.interp(np.degrees(np.arctan2(b, a)) % 360, BENT, (0, 1, 1, 0))
    bent = bent.astype(rgb.dtype)
    cut = np.maximum(cut + bent * (_mixed(rgb, rgb, to_XYZ) - cut), 0)
    most = np.maximum(cut.max(axis=0), 1e-12)
    cut = cut * (shoulder(most, brightest=brightest) / most)
    share = LIFT * (1 - np.maximum(most, 1) ** (-1 / LIFT_STOPS))
    oklab = _planes(OKLAB, np.cbrt(_planes(to_cones, cut))) * (1 - share)
    oklab[0] += share
    rgb = _rgb_of(oklab, to_rgb)
    return np.clip(rgb / np.maximum(rgb.max(axis=0), 1), 0, 1)


def _mixed(rgb: Array, values: Array, to_XYZ: Array) -> Array:
    """Mix in neutral light, shape (3, n), until none of other values is below 0."""
    Y = np.maximum(to_XYZ[1].astype(rgb.dtype) @ rgb, 0)
    keep = _kept(Y, values.min(axis=0))
    return np.asarray(keep * rgb + (1 - keep) * Y)


def _rgb_of(oklab: Array, to_rgb: Array) -> Array:
    """Oklab to linear display values, both shape (3, ...)."""
    roots = _planes(np.linalg.inv(OKLAB), oklab)
    return _planes(to_rgb, roots * roots * roots)


def _planes(matrix: Array, values: Array) -> Array:
    """Multiply the first axis of `values` by a matrix in their own precision."""
    flat = values.reshape(3, -1)
    return (matrix.astype(values.dtype) @ flat).reshape(values.shape)


def _most_chroma(a: Array, b: Array, to_XYZ: Array) -> Array:
    """Look up the most chroma over lightness at the hue of a, b."""
    table = _chroma_table(to_XYZ.tobytes())
    place = np.arctan2(b, a) * (_HUES / (2 * np.pi)) % _HUES
    i = np.minimum(place.astype(np.intp), _HUES - 1)
    u = (place - i).astype(a.dtype)
    return np.asarray(table[i] + u * (table[i + 1] - table[i]))


@cache
def _chroma_table(to_XYZ: bytes) -> Array:
    """Most chroma at lightness 1 for each hue, by halving; the last is the first.

    Values of 0 and more make a cone about the neutrals, so chroma over lightness has
    one limit at each hue.
    """
    _, to_rgb = _cones(np.frombuffer(to_XYZ).reshape(3, 3))
    hue = np.arange(_HUES + 1) * (2 * np.pi / _HUES)
    across, down = np.cos(hue), np.sin(hue)
    low, high = np.zeros(_HUES + 1), np.ones(_HUES + 1)
    for _ in range(40):
        C = (low + high) / 2
        rgb = _rgb_of(np.stack([np.ones_like(C), C * across, C * down]), to_rgb)
        fits = (rgb >= 0).all(axis=0)
        low, high = np.where(fits, C, low), np.where(fits, high, C)
    low.setflags(write=False)
    return low.astype(np.float32)


def _cones(to_XYZ: Array) -> tuple[Array, Array]:
    """Display values to cone signals and back; the display's white is neutral."""
    to_cones = OKLAB_CONES @ to_XYZ
    to_cones = to_cones / to_cones.sum(axis=-1, keepdims=True)
    return to_cones, np.linalg.inv(to_cones)


def _kind(values: ArrayLike) -> type[np.float32 | np.float64]:
    """Tell the precision to work in: that of float32 input, else double."""
    given = getattr(values, "dtype", None)
    return np.float32 if given == np.float32 else np.float64


def _times(matrix: Array, values: ArrayLike) -> Array:
    """Multiply the last axis of `values` by a matrix in their own precision."""
    values = np.asarray(values, dtype=_kind(values))
    return np.asarray(values @ matrix.T.astype(values.dtype))
