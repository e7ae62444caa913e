"""Plane outlines: corners in mm, x to the right and y down as in pictures.

A circle is a polygon of 64 sides and the same area: its girth is 0.04 % long.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

SIDES = 64  # of the polygon that stands for a circle
SCANLINES = 16  # per row of cells


def rectangle(width: float, height: float) -> Array:
    """Return the corners of a rectangle around the origin, shape (4, 2)."""
    return np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [width / 2, height / 2]


def circle(diameter: float) -> Array:
    """Return the corners of a polygon of the area of a circle, shape (64, 2)."""
    angles = 2 * np.pi * (np.arange(SIDES) + 0.5) / SIDES
    turn = 2 * np.pi / SIDES
    radius = diameter / 2 * np.sqrt(turn / np.sin(turn))
    return radius * np.stack([np.cos(angles), np.sin(angles)], axis=-1)


def area(corners: ArrayLike) -> float:
    """Return the area of a simple polygon, shape (n, 2), by the shoelace sum."""
    x, y = np.asarray(corners, dtype=float).T
    return float(abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2)


def girth(corners: ArrayLike) -> float:
    """Return the length of the edge of a polygon, shape (n, 2)."""
    places = np.asarray(corners, dtype=float)
    return float(np.hypot(*(np.roll(places, -1, axis=0) - places).T).sum())


def contains(corners: ArrayLike, points: ArrayLike) -> NDArray[np.bool_]:
    """Tell which points lie inside a polygon: an odd number of edges to their right.

    Parameters
    ----------
    corners : array_like, shape (n, 2)
    points : array_like, shape (..., 2)

    Returns
    -------
    ndarray of bool, shape (...)
    """
    a = np.asarray(corners, dtype=float)
    b = np.roll(a, -1, axis=0)
    x, y = np.moveaxis(np.asarray(points, dtype=float)[..., None, :], -1, 0)
    astride = (a[:, 1] > y) != (b[:, 1] > y)
    rise = np.where(a[:, 1] == b[:, 1], 1.0, b[:, 1] - a[:, 1])
    crossing = a[:, 0] + (y - a[:, 1]) / rise * (b[:, 0] - a[:, 0])
    return np.asarray((astride & (x < crossing)).sum(axis=-1) % 2 == 1)


def crosses_itself(corners: ArrayLike) -> bool:
    """Tell whether two edges of a polygon cross or touch besides at a corner."""
    a = np.asarray(corners, dtype=float)
    b = np.roll(a, -1, axis=0)
    n = len(a)
    for i in range(n):
        for j in range(i + 1, n):
            if j == i + 1 or (i == 0 and j == n - 1):
                continue  # neighbours share a corner
            if _meet(a[i], b[i], a[j], b[j]):
                return True
    return False


def _meet(a: Array, b: Array, c: Array, d: Array) -> bool:
    def side(p: Array, q: Array, r: Array) -> float:
        value = (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])
        return float(np.sign(value))

    if side(a, b, c) == side(a, b, d) == 0:  # on one line
        along = int(abs(b[1] - a[1]) > abs(b[0] - a[0]))
        low, high = sorted((a[along], b[along]))
        return bool(max(c[along], d[along]) >= low and min(c[along], d[along]) <= high)
    return side(a, b, c) * side(a, b, d) <= 0 and side(c, d, a) * side(c, d, b) <= 0


def convex(corners: ArrayLike) -> bool:
    """Tell whether a simple polygon turns one way only."""
    a = np.asarray(corners, dtype=float)
    u = np.roll(a, -1, axis=0) - a
    v = np.roll(u, -1, axis=0)
    turns = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    slack = 1e-9 * area(a)
    return bool((turns >= -slack).all() or (turns <= slack).all())


def covered(corners: ArrayLike, *, x: ArrayLike, y: ArrayLike, cell: float) -> Array:
    """Share of each square cell of a grid that lies inside a polygon.

    Parameters
    ----------
    corners : array_like, shape (n, 2)
    x, y : array_like, shapes (n_x,) and (n_y,)
        Centres of the cells. [mm]
    cell : float
        Side of a cell. [mm]

    Returns
    -------
    ndarray, shape (n_y, n_x)
        Exact along x, on 16 lines for each row. [-]
    """
    a = np.asarray(corners, dtype=float)
    b = np.roll(a, -1, axis=0)
    steps = (np.arange(SCANLINES) + 0.5) / SCANLINES - 0.5
    lines = (np.asarray(y, dtype=float)[:, None] + cell * steps).ravel()[:, None]
    astride = (a[:, 1] > lines) != (b[:, 1] > lines)
    rise = np.where(a[:, 1] == b[:, 1], 1.0, b[:, 1] - a[:, 1])
    crossing = a[:, 0] + (lines - a[:, 1]) / rise * (b[:, 0] - a[:, 0])
    most = max(2, int(astride.sum(axis=-1).max()))
    ends = np.sort(np.where(astride, crossing, np.inf), axis=-1)[:, :most]
    left = np.asarray(x, dtype=float) - cell / 2
    reach = np.clip(ends[..., None] - left, 0.0, cell)
    # inside lies between the 1st and 2nd crossing, the 3rd and 4th ...
    length = (reach[:, 1::2] - reach[:, ::2]).sum(axis=1)
    return np.asarray(
        length.reshape(-1, SCANLINES, left.size).mean(axis=1) / cell, dtype=float
    )


def cells(size: tuple[float, float], cell: float) -> tuple[Array, Array]:
    """Return the centres of square cells that cover a size, (n_x,) and (n_y,). [mm]"""
    counts = [max(1, int(np.ceil(side / cell - 1e-6))) for side in size]
    across, down = ((np.arange(float(n)) - (n - 1) / 2) * cell for n in counts)
    return np.asarray(across), np.asarray(down)


def cell_means(
    picture: ArrayLike,
    *,
    size: tuple[float, float],
    x: ArrayLike,
    y: ArrayLike,
    cell: float,
) -> Array:
    """Average a picture over the cells of a grid.

    Parameters
    ----------
    picture : array_like, shape (rows, columns)
        Even over each of its pixels; it covers `size`.
    size : tuple of float
        Width and height, around the origin. [mm]
    x, y : array_like, shapes (n_x,) and (n_y,)
        Centres of the cells. [mm]
    cell : float
        Side of a cell. [mm]

    Returns
    -------
    ndarray, shape (n_y, n_x)
        Means over what of each cell the picture covers; a cell outside takes the
        nearest pixel.
    """
    values = np.asarray(picture, dtype=float)
    across = _overlaps(values.shape[1], size[0], np.asarray(x, dtype=float), cell)
    down = _overlaps(values.shape[0], size[1], np.asarray(y, dtype=float), cell)
    return np.asarray(down @ values @ across.T)


def _overlaps(pixels: int, side: float, centres: Array, cell: float) -> Array:
    """Weights of each pixel in each cell along one axis; rows sum to 1."""
    edges = (np.arange(pixels + 1) / pixels - 0.5) * side
    low = np.maximum(centres[:, None] - cell / 2, edges[:-1])
    high = np.minimum(centres[:, None] + cell / 2, edges[1:])
    length = np.maximum(high - low, 0.0)
    middles = (edges[1:] + edges[:-1]) / 2
    nearest = np.abs(centres[:, None] - middles).argmin(axis=1)
    outside = length.sum(axis=1) == 0
    length[outside, nearest[outside]] = 1.0
    return length / length.sum(axis=1, keepdims=True)
