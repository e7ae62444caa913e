"""How far a glow is from what was wanted.

A lit inset shines by itself and pictures are exposed at will, so a difference needs
two conventions, and every result states both. The white is D65, and L* = 100 is the
head-on luminance of the same piece with the absorption of every dye and film at 0.
The lightness policy is "free" (glow and target are both scaled to the larger of the
target's L* and 50, as in pictures exposed to match) or "match" (no scaling).
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tintlab.colorimetry import (
    Lab_to_XYZ,
    XYZ_to_Lab,
    XYZ_to_uv,
    delta_e_2000,
    delta_e_2000_parts,
)

Array = NDArray[np.float64]

LEAST_LIGHTNESS = 50.0  # L* to which darker targets are brightened under "free"
POLICIES = ("free", "match")


def common_luminance(target: ArrayLike) -> float:
    """Return the Y to which both sides are scaled under "free" (1 is L* = 100)."""
    lightness = max(float(np.asarray(target)[0]), LEAST_LIGHTNESS)
    return float(Lab_to_XYZ([lightness, 0.0, 0.0])[1])


def scaled(XYZ: ArrayLike, luminance: float) -> Array:
    """Scale XYZ, shape (..., 3), to the luminance Y; black stays black."""
    XYZ = np.asarray(XYZ, dtype=float)
    Y = XYZ[..., 1:2]
    return np.where(Y > 0, XYZ * luminance / np.where(Y > 0, Y, 1.0), 0.0)


def compared(target: ArrayLike, *, lightness: str) -> Array:
    """Return the target's Lab as it is compared under a policy, shape (3,)."""
    target = np.asarray(target, dtype=float)
    if lightness == "match" or target[0] <= 0:
        return target
    return XYZ_to_Lab(scaled(Lab_to_XYZ(target), common_luminance(target)))


def difference(XYZ: ArrayLike, target: ArrayLike, *, lightness: str = "free") -> Array:
    """CIEDE2000 between glows and a target under a lightness policy.

    Parameters
    ----------
    XYZ : array_like, shape (..., 3)
        Relative to the undyed piece (Y = 1).
    target : array_like, shape (3,)
        Lab relative to D65.
    lightness : str
        "free" or "match".

    Returns
    -------
    ndarray, shape (...)
    """
    return delta_e_2000(*_sides(XYZ, target, lightness))


def difference_parts(
    XYZ: ArrayLike, target: ArrayLike, *, lightness: str = "free"
) -> Array:
    """Parts of `difference`, shape (..., 3), whose squares add to its square."""
    return delta_e_2000_parts(*_sides(XYZ, target, lightness))


def _sides(XYZ: ArrayLike, target: ArrayLike, lightness: str) -> tuple[Array, Array]:
    """Lab of glows and of the target, as they are compared."""
    XYZ = np.asarray(XYZ, dtype=float)
    if lightness == "free":
        XYZ = scaled(XYZ, common_luminance(target))
    return XYZ_to_Lab(XYZ), compared(target, lightness=lightness)


def exposed(XYZ: ArrayLike, target: ArrayLike | None) -> Array:
    """Expose a colour, shape (3,), as a swatch shows it.

    With the Lab of a target under "free" it comes to the common luminance, as the
    target's own swatch does; else nothing changes but what is brighter than display
    white, which a veil can be.
    """
    XYZ = np.asarray(XYZ, dtype=float)
    if target is not None:
        return scaled(XYZ, common_luminance(target))
    return XYZ / max(float(XYZ[1]), 1.0)


def stops(XYZ: ArrayLike, target: ArrayLike) -> float:
    """Exposure that brings a glow to the common luminance of "free". [stops]"""
    Y = float(np.asarray(XYZ)[1])
    return float(np.log2(common_luminance(target) / Y)) if Y > 0 else float("inf")


def region_distance(XYZ: ArrayLike, corners: ArrayLike) -> Array:
    """Signed distance in u'v' to the nearest edge of a region; negative inside.

    Parameters
    ----------
    XYZ : array_like, shape (..., 3)
    corners : array_like, shape (n, 2)
        x, y in order around the region; re-entrant corners are allowed.

    Returns
    -------
    ndarray, shape (...)
        Infinite for black, which has no chromaticity.
    """
    _, signed = _from_edge(XYZ, corners)
    return signed


def region_parts(XYZ: ArrayLike, corners: ArrayLike, *, inside: float) -> Array:
    """Give the way in u'v' from glows to a region, shape (..., 2).

    Its length is how much farther in a glow should be to lie `inside` the nearest edge;
    0 for one that does. Least squares over it leads into the region.
    """
    away, signed = _from_edge(XYZ, corners)
    missing = np.maximum(signed + inside, 0.0)
    at_edge = np.abs(signed) < 1e-12
    unit = away / np.where(at_edge, np.inf, signed)[..., None]
    return unit * missing[..., None]


def _from_edge(XYZ: ArrayLike, corners: ArrayLike) -> tuple[Array, Array]:
    """Way in u'v' from the nearest point of the edge, and its signed length."""
    x, y = np.asarray(corners, dtype=float).T
    edge = XYZ_to_uv(np.stack([x, y, 1 - x - y], axis=-1))
    point = XYZ_to_uv(XYZ)[..., None, :]
    start, along = edge, np.roll(edge, -1, axis=0) - edge
    length = (along**2).sum(-1)  # 0 between repeated corners
    share = ((point - start) * along).sum(-1) / np.where(length > 0, length, 1.0)
    foot = start + np.clip(share, 0, 1)[..., None] * along
    away = point - foot
    distance = np.hypot(*np.moveaxis(away, -1, 0))
    nearest = distance.argmin(axis=-1)[..., None]
    away = np.take_along_axis(away, nearest[..., None], axis=-2)[..., 0, :]
    distance = np.take_along_axis(distance, nearest, axis=-1)[..., 0]
    signed = np.where(_inside(point, start, along), -distance, distance)
    return away, np.where(np.isnan(signed), np.inf, signed)


def _inside(point: Array, start: Array, along: Array) -> NDArray[np.bool_]:
    """Even-odd rule: count the edges that a ray towards +u crosses."""
    end = start + along
    crosses = (start[:, 1] > point[..., 1]) != (end[:, 1] > point[..., 1])
    slope = np.where(along[:, 1] == 0, 1.0, along[:, 1])
    at = start[:, 0] + (point[..., 1] - start[:, 1]) / slope * along[:, 0]
    return (crosses & (point[..., 0] < at)).sum(axis=-1) % 2 == 1
