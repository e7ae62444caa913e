"""CIEDE2000 over a whole box of colours at once: a bound it cannot fall below.

Interval arithmetic on the steps of ISO/CIE 11664-6. Each step is enclosed by its
exact range where it is monotone, so the bound closes on the difference itself as the
box shrinks. The jump at a hue difference of 180 degrees is covered by taking the
lower of its two sides. Everything is rounded outward by far more than a floating
point error, and by far less than anybody could measure.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tintlab.colorimetry import delta_e_2000

Array = NDArray[np.float64]
Indices = NDArray[np.intp]
Range = tuple[Array, Array]

ROUNDING = 1e-9  # outward, on the sides of the box and on the result
_TAU = 2 * np.pi
_WRAP = 3e-4  # [degree] theta of eq. (16) at h = 360, where its periodic image ends


def delta_e_2000_at_least(low: ArrayLike, high: ArrayLike, target: ArrayLike) -> Array:
    """Bound CIEDE2000 from below for every colour of a box in CIELAB.

    Parameters
    ----------
    low, high : array_like, shape (..., 3)
        Opposite corners of the box, L*, a*, b*.
    target : array_like, shape (3,)
        The one colour of which all others are judged, L*, a*, b*.

    Returns
    -------
    ndarray, shape (...)
        A number no larger than the difference of any colour in the box.

    Notes
    -----
    Equation numbers are those of Sharma, Wu & Dalal, Color Res. Appl. 30 (2005)
    21-30. C' grows with abs(a*) and with abs(b*) although G falls: with
    u = C^7 / (C^7 + 25^7) the relative fall is at most 1.75 sqrt(u) (1 - u) <= 0.674,
    times 1 + G <= 1.22 there, which is below one. So the ranges of C'_1, C'_2 and of
    the chroma term are exact.
    """
    low, high = np.broadcast_arrays(low, high)
    shape = low.shape[:-1]
    L0, a0, b0 = np.reshape(low, (-1, 3)).T - ROUNDING
    L1, a1, b1 = np.reshape(high, (-1, 3)).T + ROUNDING
    L2, a2, b2 = (float(v) for v in np.asarray(target, dtype=float))

    a_near, a_far = _magnitude(a0, a1)
    b_near, b_far = _magnitude(b0, b1)
    C_star = np.hypot(a2, b2)
    g_near = _stretch((np.hypot(a_near, b_near) + C_star) / 2)  # (2)-(5), largest
    g_far = _stretch((np.hypot(a_far, b_far) + C_star) / 2)  # smallest
    C1 = np.hypot(g_near * a_near, b_near), np.hypot(g_far * a_far, b_far)  # (6)
    C2 = np.hypot(g_far * a2, b2), np.hypot(g_near * a2, b2)
    c = _chroma_term(C1[1], C2[0]), _chroma_term(C1[0], C2[1])

    around, h1 = _hue_of_box((a0, a1), (b0, b1), (g_far, g_near))
    h2 = _hue_of_target(a2, b2, (g_far, g_near))
    away = h2[0] - h1[1], h2[1] - h1[0]  # (9)
    turns = np.round((away[0] + away[1]) / 2 / _TAU)
    square = _hue_and_chroma(c, C1, C2, h1, h2, turns, around)
    for beyond, step in ((away[1] - turns * _TAU, 1), (turns * _TAU - away[0], -1)):
        over = np.flatnonzero((beyond > np.pi) & ~around)
        if over.size:
            other = _hue_and_chroma(
                _taken(c, over),
                _taken(C1, over),
                _taken(C2, over),
                _taken(h1, over),
                _taken(h2, over),
                turns[over] + step,
                around[over],
            )
            square[over] = np.minimum(square[over], other)
    square = square + _lightness_term(L0, L1, L2) ** 2
    bound = np.sqrt(np.maximum(square, 0)) - ROUNDING
    return np.maximum(bound, 0).reshape(shape)


def _magnitude(low: Array, high: Array) -> Range:
    """Give the range of abs(x) for x in [low, high]."""
    near = np.maximum(0, np.maximum(low, -high))
    return near, np.maximum(np.abs(low), np.abs(high))


def _taken(ends: Range, index: Indices) -> Range:
    """Pick some of many ranges."""
    return ends[0][index], ends[1][index]


def _stretch(C: Array) -> Array:
    """Give 1 + G of the mean chroma, falling from 1.5 to 1."""
    power = C**7
    return 1 + 0.5 * (1 - np.sqrt(power / (power + 25.0**7)))  # (4)


def _chroma_term(C1: Array, C2: Array) -> Array:
    """Give dC'/S_C; it falls with C1 and grows with C2."""
    return (C2 - C1) / (1 + 0.0225 * (C1 + C2))  # (8), (13), (19)


def _lightness_term(low: Array, high: Array, target: float) -> Array:
    """Give the least abs(dL'/S_L)."""
    near, _ = _magnitude(low - target, high - target)
    _, apart = _magnitude((low + target) / 2 - 50, (high + target) / 2 - 50)
    return near / (1 + 0.015 * apart**2 / np.sqrt(20 + apart**2))  # (18)


def _hue_of_box(a: Range, b: Range, g: Range) -> tuple[NDArray[np.bool_], Range]:
    """Give whether hue is undecided, and the range of h' [rad] where it is not."""
    a = np.minimum(g[0] * a[0], g[1] * a[0]), np.maximum(g[0] * a[1], g[1] * a[1])
    around = (a[0] <= 0) & (a[1] >= 0) & (b[0] <= 0) & (b[1] >= 0)
    middle = np.arctan2((b[0] + b[1]) / 2, (a[0] + a[1]) / 2)
    corners = np.stack([np.arctan2(y, x) for x in a for y in b])
    turned = np.remainder(corners - middle + np.pi, _TAU) - np.pi
    return around, (
        middle + turned.min(axis=0) - ROUNDING,
        middle + turned.max(axis=0) + ROUNDING,
    )


def _hue_of_target(a: float, b: float, g: Range) -> Range:
    """Give the range of h' [rad] of the target, which moves with G."""
    ends = np.arctan2(b, g[0] * a), np.arctan2(b, g[1] * a)
    return np.minimum(*ends) - ROUNDING, np.maximum(*ends) + ROUNDING


def _hue_and_chroma(
    c: Range,
    C1: Range,
    C2: Range,
    h1: Range,
    h2: Range,
    turns: Array,
    around: NDArray[np.bool_],
) -> Array:
    """Give the least c^2 + e^2 + R_T c e when h'_2 - h'_1 is taken `turns` back."""
    dh = [
        np.clip(d - turns * _TAU, -np.pi, np.pi) for d in (h2[0] - h1[1], h2[1] - h1[0])
    ]
    dh = [np.where(around, -np.pi, dh[0]), np.where(around, np.pi, dh[1])]  # (10)
    middle = (h1[0] + h1[1] + h2[0] + h2[1]) / 4 - turns * np.pi  # (14)
    half = np.where(around, np.pi, (h1[1] - h1[0] + h2[1] - h2[0]) / 4)
    T = _T_range(middle, half)
    least, most = _chroma_product(C1, C2, T)
    s = np.sin(dh[0] / 2), np.sin(dh[1] / 2)
    e = np.minimum(least * s[0], most * s[0]), np.maximum(least * s[1], most * s[1])
    C = (C1[0] + C2[0]) / 2, (C1[1] + C2[1]) / 2
    sine = _sine_range(middle, half)
    return np.minimum(
        _least_form(c, e, -sine[1] * _R_C(C[1])),  # (21); the form is linear in R_T,
        _least_form(c, e, -sine[0] * _R_C(C[0])),  # so one of its ends is the least
    )


def _T_range(middle: Array, half: Array) -> Range:
    """Enclose T of eq. (15) by its tangent and its greatest second derivative."""
    T = (
        1
        - 0.17 * np.cos(middle - np.radians(30))
        + 0.24 * np.cos(2 * middle)
        + 0.32 * np.cos(3 * middle + np.radians(6))
        - 0.20 * np.cos(4 * middle - np.radians(63))
    )
    slope = np.abs(
        0.17 * np.sin(middle - np.radians(30))
        - 0.48 * np.sin(2 * middle)
        - 0.96 * np.sin(3 * middle + np.radians(6))
        + 0.80 * np.sin(4 * middle - np.radians(63))
    )
    bend = 0.17 + 0.24 * 4 + 0.32 * 9 + 0.20 * 16
    swing = slope * half + bend / 2 * half**2 + ROUNDING
    return np.maximum(T - swing, 0.07), np.minimum(T + swing, 1.93)


def _chroma_product(C1: Range, C2: Range, T: Range) -> Range:
    """Enclose 2 sqrt(C1 C2)/S_H, which rises with either C to C_other + 1/k."""

    def product(x: Array, y: Array, t: Array) -> Array:
        return 2 * np.sqrt(x * y) / (1 + 0.0075 * (x + y) * t)  # (11), (13), (20)

    least = np.minimum.reduce([product(x, y, T[1]) for x in C1 for y in C2])
    crest = 1 / (0.0075 * T[0])
    most = np.maximum(
        product(np.clip(C2[1] + crest, *C1), C2[1], T[0]),
        product(C1[1], np.clip(C1[1] + crest, *C2), T[0]),
    )
    return least, most


def _sine_range(middle: Array, half: Array) -> Range:
    """Enclose sin(2 theta) of eq. (16), (21) for a mean hue middle +- half [rad]."""
    from_275 = np.degrees(np.remainder(middle - np.radians(95), _TAU)) - 180
    near, far = _magnitude(from_275 - np.degrees(half), from_275 + np.degrees(half))
    most = 30 * np.exp(-((near / 25) ** 2))
    least = np.maximum(30 * np.exp(-((far / 25) ** 2)) - _WRAP, 0)
    return np.sin(np.radians(2 * least)), np.sin(np.radians(2 * most) + ROUNDING)


def _R_C(C: Array) -> Array:
    """Give R_C of eq. (17), growing with the mean chroma."""
    return 2 * np.sqrt(C**7 / (C**7 + 25.0**7))


def _least_form(c: Range, e: Range, R_T: Array) -> Array:
    """Give the least c^2 + e^2 + R_T c e on a rectangle; convex, as abs(R_T) < 2."""

    def form(x: Array, y: Array) -> Array:
        return x**2 + y**2 + R_T * x * y

    sides = [form(x, np.clip(-R_T * x / 2, *e)) for x in c]
    sides += [form(np.clip(-R_T * y / 2, *c), y) for y in e]
    origin = (c[0] <= 0) & (c[1] >= 0) & (e[0] <= 0) & (e[1] >= 0)
    return np.where(origin, 0, np.minimum.reduce(sides))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Regions:
    """Flat convex regions of colours, each at its own lightness.

    A point of the plane becomes a colour by `to_colour`, in which a* rises with the
    first coordinate alone and b* falls with the second alone; so boxes stay boxes.

    Attributes
    ----------
    normals, offsets : ndarray, shape (n, k, 2) and (n, k)
        Tangents: every point of region n has normals @ point <= offsets.
    corners : ndarray, shape (n, k, 2)
        Points of the region in turn (anticlockwise): their polygon is inside it.
    to_colour, to_plane : callable
        (points (..., 2), region indices (...)) to Lab (..., 3), and back.
    """

    normals: Array
    offsets: Array
    corners: Array
    to_colour: Callable[[Array, Indices], Array]
    to_plane: Callable[[Array, Indices], Array]

    def touches(self, low: Array, high: Array, owners: Indices) -> NDArray[np.bool_]:
        """Tell which boxes of the plane no tangent parts from their region."""
        answer = np.ones(len(owners), dtype=bool)
        for part in _parts(len(owners)):
            normals = self.normals[owners[part]]
            middle, reach = (low + high)[part] / 2, (high - low)[part] / 2
            nearest = np.einsum("ikd,id->ik", normals, middle)
            nearest -= np.einsum("ikd,id->ik", np.abs(normals), reach)
            answer[part] = (nearest <= self.offsets[owners[part]]).all(axis=1)
        return answer

    def holds(self, points: Array, owners: Indices) -> NDArray[np.bool_]:
        """Tell which points lie in the inner polygon, to a rounding error."""
        corners = self.corners[owners]
        x, z = np.moveaxis(np.roll(corners, -1, axis=1) - corners, -1, 0)
        dx, dz = np.moveaxis(points[:, None] - corners, -1, 0)
        error = 1e-13 * (1 + np.abs(corners).max(axis=(1, 2))) ** 2
        left = (x * dz - z * dx >= -error[:, None]).all(axis=1)
        return left & self.touches(points, points, owners)


def least_difference(
    regions: Regions,
    target: Array,
    *,
    points: Array,
    tolerance: float,
    boxes: int,
) -> tuple[Array, Array]:
    """Bracket the least CIEDE2000 in each region by branch and bound.

    Parameters
    ----------
    regions : Regions
    target : ndarray, shape (3,)
        L*, a*, b*.
    points : ndarray, shape (n, 2)
        The best point known in each region.
    tolerance : float
        Wanted difference between the two ends. [CIEDE2000]
    boxes : int
        Budget for each region; when spent, its lower end is looser, and still true.

    Returns
    -------
    low : ndarray, shape (n,)
        No point of the region is nearer than this.
    points : ndarray, shape (n, 2)
        The best point found.
    """
    owners = np.arange(len(points))
    points = points.copy()
    high = delta_e_2000(regions.to_colour(points, owners), target)
    least, spent = high.copy(), np.zeros(len(points), dtype=int)
    ends = regions.corners.min(axis=1), regions.corners.max(axis=1)
    low, top = _Lab_box(regions, *_widened(*ends), owners)
    while owners.size:
        bound = delta_e_2000_at_least(low, top, target)
        keep = np.flatnonzero(bound < high[owners])
        plane = (
            regions.to_plane(low[keep], owners[keep]),
            regions.to_plane(top[keep], owners[keep]),
        )
        # b* falls with the second coordinate, so the two ends change places
        near = np.minimum(*plane), np.maximum(*plane)
        keep = keep[regions.touches(*_widened(*near), owners[keep])]
        owners, low, top, bound = owners[keep], low[keep], top[keep], bound[keep]
        _improve(regions, target, (low + top) / 2, owners, points, high)
        spent += np.bincount(owners, minlength=len(spent))
        closed = (bound >= high[owners] - tolerance) | (spent[owners] > boxes)
        np.minimum.at(least, owners[closed], bound[closed])
        owners, low, top = _halved(owners[~closed], low[~closed], top[~closed])
    return np.minimum(least, high), points


def _parts(count: int) -> list[slice]:
    """Cut a long list so that its tests against all tangents stay in the cache."""
    return [slice(start, start + 2048) for start in range(0, count, 2048)]


def _widened(low: Array, high: Array) -> Range:
    """Round a box of the plane outward."""
    return low - ROUNDING * (1 + np.abs(low)), high + ROUNDING * (1 + np.abs(high))


def _Lab_box(regions: Regions, low: Array, high: Array, owners: Indices) -> Range:
    """Give the box in CIELAB of a box of the plane."""
    ends = regions.to_colour(low, owners), regions.to_colour(high, owners)
    return np.minimum(*ends), np.maximum(*ends)


def _improve(
    regions: Regions,
    target: Array,
    middles: Array,
    owners: Indices,
    points: Array,
    high: Array,
) -> None:
    """Take over the best middle of a box in each region, where it is inside."""
    difference = delta_e_2000(middles, target)
    order = np.lexsort((difference, owners))
    _, first = np.unique(owners[order], return_index=True)
    best = order[first]
    best = best[difference[best] < high[owners[best]]]
    found = regions.to_plane(middles[best], owners[best])
    inside = regions.holds(found, owners[best])
    points[owners[best[inside]]] = found[inside]
    high[owners[best[inside]]] = difference[best[inside]]


def _halved(owners: Indices, low: Array, top: Array) -> tuple[Indices, Array, Array]:
    """Cut each box across its longer side."""
    size = top - low
    longer = size[:, 1:].argmax(axis=1) + 1
    row = np.arange(len(owners))
    middle = (low + top)[row, longer] / 2
    left, right = top.copy(), low.copy()
    left[row, longer] = right[row, longer] = middle
    return (
        np.concatenate([owners, owners]),
        np.concatenate([low, right]),
        np.concatenate([left, top]),
    )
