"""Putting a picture together in bands of rows, two at a time.

out = finish(photo * gain * (1 - c) (1 + spill) + glow * c + bloom), with c the coverage
by insets. `finish` sees only the pixels that need it: those of an inset and those that
leave 0 to 1; all others are codes of the photo that were lightened, or its own codes.
"""

import os
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tintlab.proof.photo_light import Grid, Plane, finer, stretched
from tintlab.proof.photo_place import Coverage, Place
from tintlab.proof.photo_space import Codes, Space

Array = NDArray[np.float64]
Finish = Callable[[Plane, Plane], Plane]
Visible = tuple[Plane, slice, int, int]  # stretched, its pixels across, rows from, to

BAND = 16  # [rows] at a time: what is worked on stays in cache
WORKERS = min(os.cpu_count() or 1, 4)
UNSEEN = 2e-5  # of the photo's white: light below it moves no code of 8 bits by 1/10


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Painting:
    """What is laid over a photo, in its linear units.

    Attributes
    ----------
    gain : ndarray, shape (3, 3)
        What becomes of the photo's own colours: exposure and white balance.
    spill : ndarray, shape (3, rows, columns)
        Coarse: light on the surroundings over that of the room. [-]
    white : float
        Photo's linear value of a white surface in the room; caps the spill.
    bloom : ndarray, shape (3, rows, columns)
        Coarse: light that is added everywhere.
    glows : sequence of (Place, coverage, planes)
        What replaces the photo; the planes have shape (3, height, width).
    finish : callable
        Takes pixels, shape (3, n), and what the photo shows there; returns 0 to 1.
    limit : float
        Value above which `finish` must see a pixel. [-]
    grid : Grid
    """

    gain: Array
    spill: Plane
    white: float
    bloom: Plane
    glows: Sequence[tuple[Place, Coverage, Plane]]
    finish: Finish
    limit: float
    grid: Grid


def painted(
    codes: Codes, space: Space, painting: Painting, progress: Callable[[float], None]
) -> Codes:
    """Paint over a photo.

    Parameters
    ----------
    codes : ndarray, shape (height, width, 3)
    space : Space
    painting : Painting
    progress : callable
        Told the share that is done.

    Returns
    -------
    ndarray, shape (height, width, 3)
    """
    out = np.empty_like(codes)
    starts = range(0, len(codes), BAND)
    bloom = [_visible(field, painting.grid, 1.0) for field in painting.bloom]
    spill = [_visible(field, painting.grid, painting.white) for field in painting.spill]

    def paint(top: int) -> None:
        _band(codes, space, painting, spill, bloom, out, top)

    with ThreadPoolExecutor(WORKERS) as pool:
        for i, _ in enumerate(pool.map(paint, starts)):
            progress((i + 1) / len(starts))
    return out


def _visible(field: Plane, grid: Grid, white: float) -> Visible | None:
    """Stretch the part of a coarse plane that changes anything; None for none."""
    seen = np.abs(field) * white > UNSEEN
    if not seen.any():
        return None
    rows, columns = (np.flatnonzero(seen.any(axis=axis)) for axis in (1, 0))
    first, last = max(int(columns[0]) - 1, 0), min(int(columns[-1]) + 2, grid.shape[1])
    return (
        stretched(field, grid, slice(first, last)),
        slice(first * grid.step, min(last * grid.step, grid.width)),
        (int(rows[0]) - 1) * grid.step,
        (int(rows[-1]) + 2) * grid.step,
    )


def _band(
    codes: Codes,
    space: Space,
    painting: Painting,
    spill: list[Visible | None],
    bloom: list[Visible | None],
    out: Codes,
    top: int,
) -> None:
    bottom = min(top + BAND, len(codes))
    base = _gained(codes[top:bottom], space, painting.gain)
    total = base.copy()
    for c, field in enumerate(spill):
        if field is not None and field[2] < bottom and top < field[3]:
            rows, columns, *_ = field
            back = np.minimum(base[c, :, columns], np.float32(painting.white))
            total[c, :, columns] += back * finer(rows, painting.grid, top, bottom)
    covered = np.zeros(total.shape[1:], dtype=bool)
    for place, coverage, glow in painting.glows:
        _lay(total, covered, place, coverage, glow, top)
    for c, field in enumerate(bloom):
        if field is not None and field[2] < bottom and top < field[3]:
            rows, columns, *_ = field
            total[c, :, columns] += finer(rows, painting.grid, top, bottom)
    for plane in total:
        if plane.max() > painting.limit or plane.min() < 0:
            covered |= (plane > painting.limit) | (plane < 0)
    if covered.any():
        total[:, covered] = painting.finish(total[:, covered], base[:, covered])
    space.codes(total, out[top:bottom])


def _gained(codes: Codes, space: Space, gain: Array) -> Plane:
    """Decode the photo and bring it to exposure and white balance."""
    if np.array_equal(gain, gain[0, 0] * np.eye(3)):
        return space.linear(codes, gain=float(gain[0, 0]))
    return np.tensordot(gain.astype(np.float32), space.linear(codes), axes=1)


def _lay(
    total: Plane,
    covered: NDArray[np.bool_],
    place: Place,
    coverage: Coverage,
    glow: Plane,
    top: int,
) -> None:
    """Replace what an inset covers in the rows from `top`."""
    height, width = coverage.shape
    first, last = max(place.top, top), min(place.top + height, top + total.shape[1])
    if first >= last:
        return
    own = np.s_[first - place.top : last - place.top]
    here = np.s_[first - top : last - top, place.left : place.left + width]
    c = coverage[own]
    total[:, here[0], here[1]] *= 1 - c
    total[:, here[0], here[1]] += c * glow[:, own]
    covered[here] |= c > 0
