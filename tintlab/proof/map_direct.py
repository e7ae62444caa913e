"""Direct light of the LEDs on the inset, and the images of the LEDs themselves."""

import numpy as np
from numpy.typing import NDArray

from tintlab.inset import Outline
from tintlab.inset.shapes import circle, contains, convex, covered
from tintlab.optics import irradiance
from tintlab.proof.map_stack import NODES

Array = NDArray[np.float64]

FINEST = 8  # samples per cell and way, where an LED is close
AT_ONCE = 2_000_000  # samples times LEDs


def landing(
    *,
    x: Array,
    y: Array,
    cell: float,
    outline: Outline,
    positions: Array,
    depth: float,
    exponent: float,
) -> Array:
    """Direct irradiance, sorted by incidence.

    Parameters
    ----------
    x, y : ndarray, shapes (n_x,) and (n_y,)
        Centres of the cells. [mm]
    cell : float
        [mm]
    outline : Outline
    positions : ndarray, shape (n_leds, 2)
        [mm]
    depth : float
        From the LEDs to the plane. [mm]
    exponent : float
        k of the intensity I cos^k. [-]

    Returns
    -------
    ndarray, shape (n_y, n_x, n_nodes)
        Mean of the LEDs, per flux of one, times the Lagrange polynomials of `NODES`
        at the cosine of incidence; the sum over nodes is the irradiance. [1/mm2]
    """
    fine = int(np.clip(np.ceil(2 * cell / depth), 1, FINEST))
    offsets = ((np.arange(fine) + 0.5) / fine - 0.5) * cell
    columns = (x[:, None] + offsets).ravel()
    rows = (y[:, None] + offsets).ravel()
    points = np.stack(np.meshgrid(columns, rows), axis=-1)
    shadows = not convex(outline.corners)
    moments = np.zeros((*points.shape[:2], NODES.size))  # sums of E m^p
    step = max(1, AT_ONCE // (points.shape[0] * points.shape[1]))
    for start in range(0, len(positions), step):
        some = positions[start : start + step]
        E, m = irradiance(points=points, positions=some, depth=depth, exponent=exponent)
        if shadows:
            E = E * ~_hidden(points, some, outline.corners, fine)
        for power in range(NODES.size):
            moments[..., power] += E.sum(axis=-1)
            E = E * m
    moments = moments.reshape(y.size, fine, x.size, fine, NODES.size).mean(axis=(1, 3))
    polynomials = np.linalg.inv(np.vander(NODES, increasing=True))
    return np.asarray(moments @ polynomials / len(positions))


def _hidden(
    points: Array, positions: Array, corners: Array, reach: int
) -> NDArray[np.bool_]:
    """Whether a wall stands between a point and an LED, shape (n_y, n_x, n_leds).

    A point just outside the outline, in a cell that lies partly inside, is as lit as
    its neighbour inside; `reach` says how many points such a cell spans.
    """
    hidden = np.zeros((*points.shape[:2], len(positions)), dtype=bool)
    towards = positions - points[..., None, :]
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        side, away = end - start, (start - points)[..., None, :]
        across = _cross(towards, side)
        with np.errstate(divide="ignore", invalid="ignore"):
            along, met = _cross(away, side) / across, _cross(away, towards) / across
        hidden |= (along > 0) & (along < 1) & (met >= 0) & (met <= 1)
    known = contains(corners, points)
    for _ in range(reach):
        for axis in (0, 1):
            for way in (1, -1):
                new = np.roll(known, way, axis) & ~known
                hidden[new] = np.roll(hidden, way, axis)[new]
                known = known | new
    return hidden


def _cross(a: Array, b: Array) -> Array:
    return np.asarray(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0])


def dots(
    *,
    x: Array,
    y: Array,
    cell: float,
    inside: Array,
    positions: Array,
    package: float,
) -> Array:
    """Images of the LEDs: even discs of the package's diameter, seen head-on.

    Returns
    -------
    ndarray, shape (n_y, n_x)
        Mean over `inside` is 1; even where no LED can be seen. [-]
    """
    found = np.zeros_like(inside)
    disc = circle(package)
    for place in positions:
        columns = np.flatnonzero(np.abs(x - place[0]) < package / 2 + cell)
        rows = np.flatnonzero(np.abs(y - place[1]) < package / 2 + cell)
        if columns.size == 0 or rows.size == 0:
            continue
        some = np.ix_(rows, columns)
        found[some] += covered(disc + place, x=x[columns], y=y[rows], cell=cell)
    total = (found * inside).sum()
    if total == 0:
        return np.ones_like(inside)
    return np.asarray(found * inside.sum() / total)
