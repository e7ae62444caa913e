"""Which colours can lie within a CIEDE2000 of a target: a bound for the film search.

CIEDE2000 is bounded from below over cells of chroma and hue; the cells that a limit
allows give a box in CIELAB and, for any lightness in it, a box of chromaticity, which
a search tests without a root. Everything is rounded outward. Equation numbers: Sharma,
Wu & Dalal, Color Res. Appl. 30 (2005) 21-30. C and h are CIELAB's, C_1 and h_1 those
after eq. (5).
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tintlab.colorimetry import Lab_to_XYZ, tables

Array = NDArray[np.float64]
Singles = NDArray[np.float32]

ROUNDING = 3e-5  # > (402 + 8) 2^-24, relative error of a float32 sum of 402 products
CELLS = 50  # steps of chroma and of hue to each side of the target


def _cosine_range(low: ArrayLike, high: ArrayLike) -> tuple[Array, Array]:
    """Bound cos between two angles, low <= high. [degrees]"""
    centre, half = np.add(low, high) / 2, np.subtract(high, low) / 2
    away = np.abs((centre + 180) % 360 - 180)
    far, near = np.minimum(away + half, 180.0), np.maximum(away - half, 0.0)
    return np.cos(np.radians(far)), np.cos(np.radians(near))


def _G(C_mean: Array) -> Array:
    """G of CIEDE2000, eq. (4); falls with chroma."""
    return 0.5 * (1 - np.sqrt(C_mean**7 / (C_mean**7 + 25.0**7)))


def _primed_hue(h: ArrayLike, G: Array) -> Array:
    """Hue after a' = (1 + G) a, eq. (5) to (7); rises with h, monotone in G."""
    s, c = np.sin(np.radians(h)), np.cos(np.radians(h))
    return h - np.degrees(np.arctan2(G * s * c, 1 + G * c**2))


def _hue_terms(low: Array, high: Array, C_mean: Array) -> tuple[Array, Array]:
    """Bound T, eq. (15), and -R_T, eq. (16), (17), (21), from above for mean hues."""
    T = (
        1
        - 0.17 * _cosine_range(low - 30, high - 30)[0]
        + 0.24 * _cosine_range(2 * low, 2 * high)[1]
        + 0.32 * _cosine_range(3 * low + 6, 3 * high + 6)[1]
        - 0.20 * _cosine_range(4 * low - 63, 4 * high - 63)[0]
    )
    nearest = np.degrees(np.arccos(_cosine_range(low - 275, high - 275)[1]))
    theta = 30 * np.exp(-((nearest / 25) ** 2))
    R_C = 2 * np.sqrt(C_mean**7 / (C_mean**7 + 25.0**7))
    return T, np.sin(np.radians(2 * theta)) * R_C


# `delta_e_2000_at_least` of `tintlab.solve.interval` bounds boxes in CIELAB; cells here
# are polar and reach to C*ab = 1e5: boxes around them would be too wide, so both stay.
def least_difference(
    *, target: ArrayLike, chroma: tuple[Array, Array], hue: tuple[Array, Array]
) -> Array:
    """Bound CIEDE2000 from below over cells of chroma and hue at equal lightness.

    Parameters
    ----------
    target : array_like, shape (3,)
        Lab.
    chroma, hue : tuple of ndarray, shape (n,)
        Lower and upper edges of C*ab and of its hue angle; a cell lies within 180
        degrees of the target's hue, on one side of it; a colour exactly opposite
        belongs to the cells of both sides. [-, degrees]

    Returns
    -------
    ndarray, shape (n,)
        No colour in the cell is closer to the target than this.
    """
    _, a, b = np.asarray(target, dtype=float)
    h_t = np.degrees(np.arctan2(b, a))
    G = _G((np.hypot(a, b) + np.stack(chroma[::-1])) / 2)  # (2, n): low, high
    cos_low, cos_high = _cosine_range(*hue)
    square = np.sort([cos_low**2, cos_high**2], axis=0)
    square[0] *= cos_low * cos_high > 0
    C_1 = np.stack(chroma) * np.sqrt(1 + (2 * G + G**2) * square)  # (6) low, high
    C_2 = np.hypot((1 + G) * a, b)
    h_1 = _primed_hue(hue[0], G).min(axis=0), _primed_hue(hue[1], G).max(axis=0)
    h_2 = np.sort(_primed_hue(h_t, G), axis=0)
    low = np.clip(h_1[0] - h_2[1], -180, 180)  # (10)
    high = np.clip(h_1[1] - h_2[0], -180, 180)
    C_mean = (C_1[1] + C_2[1]) / 2
    T, r = _hue_terms(h_2[0] + low / 2, h_2[1] + high / 2, C_mean)
    c = (C_1 - C_2[::-1]) / (1 + 0.0225 * (C_1 + C_2[::-1]))  # (19); rises with C_1
    near, far = np.maximum(np.maximum(low, -high), 0), np.maximum(high, -low)
    H = 2 * np.sqrt(C_1 * C_2[0]) * np.sin(np.radians(near / 2))  # (11)
    e = (H / (1 + 0.0075 * T * (C_1 + C_2[1]))).min(axis=0)  # (20), least at an end
    most_e = 2 * np.sqrt(C_1[1] * C_2[1]) * np.sin(np.radians(far / 2))
    opposed = ((c[1] < 0) & (low > 0)) | ((c[0] > 0) & (high < 0))
    r = np.where(opposed, 0.0, r)
    c, most_c = np.maximum(np.maximum(c[0], -c[1]), 0), np.abs(c).max(axis=0)
    # c^2 + e^2 - r c e (22) is convex and 0 at 0: least on an edge that faces 0
    best_e, best_c = np.clip(r * c / 2, e, most_e), np.clip(r * e / 2, c, most_c)
    squared = np.minimum(
        c**2 + best_e**2 - r * c * best_e, best_c**2 + e**2 - r * best_c * e
    )
    return np.sqrt(np.maximum(squared, 0.0))


def lab_box(*, target: ArrayLike, limits: ArrayLike) -> tuple[Array, Array]:
    """Bound the Lab of all colours within given differences of the target.

    Parameters
    ----------
    target : array_like, shape (3,)
        Lab.
    limits : array_like, shape (n,)
        CIEDE2000. [-]

    Returns
    -------
    low, high : ndarray, shape (n, 3)
        Lab; L* may be infinite. Good to a*, b* = 1e5, beyond any light's.
    """
    L, a, b = np.asarray(target, dtype=float)
    limits = np.asarray(limits, dtype=float)
    C_t, h_t = np.hypot(a, b), np.degrees(np.arctan2(b, a))
    steps = np.append(0.0, np.geomspace(0.02, 1e5, CELLS))
    C = np.unique(np.maximum(np.concatenate([C_t - steps, C_t + steps]), 0.0))
    steps = np.append(0.0, np.geomspace(0.02, 180, CELLS))
    h = np.unique(np.concatenate([h_t - steps, h_t + steps]))
    chroma = np.repeat(C[:-1], h.size - 1), np.repeat(C[1:], h.size - 1)
    hue = np.tile(h[:-1], C.size - 1), np.tile(h[1:], C.size - 1)
    least = least_difference(target=target, chroma=chroma, hue=hue)
    order = np.argsort(least)
    last = np.searchsorted(least[order], limits, side="right") - 1
    slope = 1 - 0.0075 * limits  # (18): S_L <= 1 + 0.015 |L_mean - 50|
    with np.errstate(divide="ignore", invalid="ignore"):
        dL = np.where(slope > 0, limits * (1 + 0.015 * abs(L - 50)) / slope, np.inf)
    low, high = [L - dL], [L + dL]
    for turn in (0.0, 90.0):
        cos_low, cos_high = _cosine_range(hue[0] - turn, hue[1] - turn)
        inner = np.minimum(chroma[0] * cos_low, chroma[1] * cos_low)
        outer = np.maximum(chroma[0] * cos_high, chroma[1] * cos_high)
        low.append(np.minimum.accumulate(inner[order])[last])
        high.append(np.maximum.accumulate(outer[order])[last])
    return np.stack(low, axis=-1), np.stack(high, axis=-1)


class Bound(NamedTuple):
    """What a difference of at most `limits` allows; the first limit allows nothing."""

    limits: Array  # (n,) rising CIEDE2000
    low: Array  # (n, 3) Lab
    high: Array  # (n, 3)
    sides: Singles  # (4, n) of `sides_of`, for any allowed L*
    least_Y: Array  # (n,)


def _f_to_ratio(f: ArrayLike) -> Array:
    """Undo the f of CIELAB; no light below f = 16 / 116."""
    f = np.asarray(f)
    return np.where(f > 6 / 29, f**3, np.maximum(116 * f - 16, 0) / (29 / 3) ** 3)


def centre_of(target: Array) -> tuple[float, float]:
    """Give x, z: X / Y and Z / Y of the target, each relative to the white."""
    x, y, z = Lab_to_XYZ(target) / tables().white
    return max(x, 0.0) / y, max(z, 0.0) / y


def sides_of(target: Array, low: Array, high: Array) -> Singles:
    """Turn boxes in Lab into u: P, -P, Q, -Q <= u Y for P = X - x Y, Q = Z - z Y.

    At a given a* (b*), X / Y (Z / Y) moves one way only with Y, so that the corners of
    the box hold its extremes. X, Z are relative to the white; shapes (n, 3) -> (4, n).
    """
    f = (np.stack([low[:, 0], high[:, 0]])[:, None] + 16) / 116  # (2, 1, n)
    steps = np.stack([low[:, 1], high[:, 1], -high[:, 2], -low[:, 2]])
    steps = (steps / [[500], [500], [200], [200]]).reshape(2, 1, 2, -1)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = _f_to_ratio(f + steps) / _f_to_ratio(f)  # (axis, end of f, of step, n)
    least, most = ratio.min(axis=(1, 2)), ratio.max(axis=(1, 2))
    centre = np.array(centre_of(target))[:, None]
    sides = np.stack([most - centre, centre - least], axis=1)
    sides += 4 * ROUNDING * np.abs(sides) + 3 * ROUNDING * centre[:, None] + 1e-9
    sides[..., low[:, 0] < 1e-6] = np.inf  # too dark to tell X / Y from rounding
    return sides.reshape(4, -1).astype(np.float32)


def bound_of(target: Array, *, lightness: str, worst: float) -> Bound:
    """Tabulate what limits from 0 to `worst` allow."""
    limits = worst * np.linspace(0, 1, 201) ** 2
    low, high = lab_box(target=target, limits=limits + 1e-6)
    least_Y = _f_to_ratio((low[:, 0] + 16) / 116)
    if lightness == "free":
        low[:, 0] = high[:, 0] = target[0]
        least_Y = np.zeros_like(limits)
    sides = np.pad(sides_of(target, low, high), ((0, 0), (1, 0)))
    sides[:, 0] = -np.inf
    return Bound(
        limits=np.append(-1.0, limits),
        low=np.vstack([low[:1], low]),
        high=np.vstack([high[:1], high]),
        sides=sides,
        least_Y=np.append(np.inf, least_Y),
    )
