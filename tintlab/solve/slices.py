"""The colours of one share of light kept: flat slices, bounded from both sides.

At one share of light kept, all that filters can do is a flat convex slice of colour
space. A `Question` holds the coordinates in which it is flat, a `Rim` the tangents
that bound it and the points where they touch, which are colours of filters that are 0
or 1 but for one bin. `bracket` refines the rims of many slices at once where it
matters and hands them to branch and bound.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tintlab.colorimetry import (
    Lab_to_XYZ,
    XYZ_to_Lab,
    delta_e_2000,
    tables,
)
from tintlab.errors import TintlabError
from tintlab.solve.interval import (
    Regions,
    delta_e_2000_at_least,
    least_difference,
)
from tintlab.starved import checked_light

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

TANGENTS = 64  # of the rim, before refinement; a multiple of 4, so the axes are in it
ROUNDS = 24  # of refinement of the rim, at most
BOXES = 20_000  # for one share, at most; then `low` stays looser, and true
LEAST_SHARE = 1e-4
SNAP = 1e-12  # a bin this near to 0 or 1 is there
SLACK = 1e-9  # outward rounding of every tangent, in units of the white


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Question:
    """A light and target, in the coordinates of the search.

    A point is X/Y and Z/Y of the filtered light without veil, in units of the white:
    `places` (n, 2) are the points of the single `bins` (n,), `weights` (n,) their Y.
    """

    bins: Indices
    weights: Array
    places: Array
    target: Array
    common: float | None  # Y to which "free" scales both colours; None: "match"
    veil: Array  # in units of the white
    level: float = 1.0  # Y of all the light

    def gain(self, shares: Array) -> Array:
        """Give the factor by which XYZ are scaled before they are judged."""
        if self.common is None:
            return np.ones_like(shares)
        return self.common / (shares * self.level + self.veil[1])

    def Lab(self, points: Array, shares: Array) -> Array:
        """Convert points (..., 2) at their shares (...) to CIELAB (..., 3)."""
        x, z = np.moveaxis(points, -1, 0)
        Y = self.level * shares[..., None]
        ratio = np.stack([x, np.ones_like(x), z], axis=-1) * Y
        return XYZ_to_Lab(
            (ratio + self.veil) * self.gain(shares)[..., None], np.ones(3)
        )

    def points(self, Lab: Array, shares: Array) -> Array:
        """Undo `Lab`, but for L*, which belongs to the share."""
        ratio = Lab_to_XYZ(Lab, np.ones(3)) / self.gain(shares)[..., None] - self.veil
        return ratio[..., ::2] / (self.level * shares[..., None])

    def differs(self, points: Array, shares: Array) -> Array:
        """Give the CIEDE2000 of points (..., 2) from the target."""
        return delta_e_2000(self.Lab(points, shares), self.target)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rim:
    """Tangents of the slices in rising order of slice and angle, and where they touch.

    `owners` (m,) number the slices; `normals`, `points` (m, 2); `offsets` (m,).
    """

    owners: Indices
    normals: Array
    offsets: Array
    points: Array

    def starts(self) -> Indices:
        """Give the first tangent of each slice."""
        return np.flatnonzero(np.diff(self.owners, prepend=-1))

    def following(self) -> Indices:
        """Give the next tangent round the slice, for each."""
        first = self.starts()
        answer = np.arange(1, len(self.owners) + 1)
        answer[np.append(first[1:], len(self.owners)) - 1] = first
        return answer


def checked_shares(light_kept: ArrayLike) -> Array:
    """Return the shares in rising order, each once."""
    shares = np.unique(np.asarray(light_kept, dtype=float))
    if not shares.size or not (shares[0] >= LEAST_SHARE and shares[-1] <= 1):
        raise TintlabError(
            f"asked for the reach at light kept {shares}; it is a share, from "
            f"{LEAST_SHARE:g} to 1; give shares in that range"
        )
    return shares


def question_of(
    power: ArrayLike,
    target: ArrayLike,
    lightness: str,
    veil: ArrayLike | None,
    level: float = 1.0,
) -> Question:
    """Check what is asked and bring it to the coordinates of the search."""
    if lightness not in {"free", "match"}:
        raise TintlabError(
            f'asked for the lightness policy "{lightness}"; we have "free" and '
            '"match"; choose one'
        )
    Lab = np.asarray(target, dtype=float)
    if Lab.shape != (3,) or not np.isfinite(Lab).all() or not 0 < Lab[0] <= 100:
        raise TintlabError(
            f"asked for the target {Lab}; a target is L*, a*, b* with L* above 0 "
            "and at most 100; give such a Lab"
        )
    added = np.zeros(3) if veil is None else np.asarray(veil, dtype=float)
    if added.shape != (3,) or not np.isfinite(added).all() or added.min() < 0:
        raise TintlabError(
            f"asked for the veil {added}; a veil is X, Y, Z, none below 0; give that"
        )
    if not (np.isfinite(level) and level > 0):
        raise TintlabError(
            f"asked for a light whose Y is {level}; give its Y above 0, where 1 is "
            "L* = 100"
        )
    common = None
    if lightness == "free":
        XYZ = Lab_to_XYZ(Lab)
        common = float(Lab_to_XYZ((max(Lab[0], 50.0), 0.0, 0.0))[1])
        Lab = XYZ_to_Lab(XYZ * common / XYZ[1])
    per_bin = checked_light(power)[:, None] * tables().observer
    per_bin = per_bin / per_bin[:, 1].sum()
    bins = np.flatnonzero(per_bin[:, 1] > np.finfo(float).tiny)
    X, Y, Z = (per_bin[bins] / tables().white).T
    return Question(
        bins=bins,
        weights=Y,
        places=np.stack([X / Y, Z / Y], axis=-1),
        target=Lab,
        common=common,
        veil=added / tables().white,
        level=level,
    )


def around(count: int) -> Array:
    """Give unit vectors (count, 2) evenly round the circle, the axes exactly."""
    angles = 2 * np.pi * np.arange(count) / count
    return np.round(np.stack([np.cos(angles), np.sin(angles)], axis=-1), 15)


def filled(question: Question, normals: Array, shares: Array) -> Array:
    """Give the light (m, n) that is farthest along each normal at its share.

    The bins are taken in falling order of their place along the normal until the
    share is full: 0 or 1, with one partial bin.
    """
    order = np.argsort(-(normals @ question.places.T), axis=1)
    weights = question.weights[order]
    before = np.cumsum(weights, axis=1) - weights
    taken = np.clip(shares[:, None] - before, 0, weights)
    light = np.empty_like(taken)
    np.put_along_axis(light, order, taken, axis=1)
    return light


def _tangents(
    question: Question, owners: Indices, normals: Array, shares: Array
) -> Rim:
    """Touch the slices `owners` (m,), whose shares are `shares` (n,), along normals."""
    own = shares[owners]
    points = filled(question, normals, own) @ question.places / own[:, None]
    offsets = (normals * points).sum(axis=1)
    offsets += SLACK * (1 + np.abs(points).max(axis=1))
    return Rim(owners=owners, normals=normals, offsets=offsets, points=points)


def _merged(rim: Rim, more: Rim) -> Rim:
    """Join tangents and put them in order again."""
    owners, normals, offsets, points = (
        np.concatenate([getattr(rim, name), getattr(more, name)])
        for name in Rim.__slots__
    )
    angles = np.arctan2(normals[:, 1], normals[:, 0]) % (2 * np.pi)
    order = np.lexsort((angles, owners))
    return Rim(
        owners=owners[order],
        normals=normals[order],
        offsets=offsets[order],
        points=points[order],
    )


def _nearest(question: Question, rim: Rim, shares: Array, zooms: int) -> Array:
    """Find the best point (n, 2) on the polygon of touching points of each slice."""
    after, starts = rim.points[rim.following()], rim.starts()
    along, own = np.linspace(0, 1, 9), shares[rim.owners][:, None]
    steps = rim.points[:, None] + along[:, None] * (after - rim.points)[:, None]
    difference = question.differs(steps, np.broadcast_to(own, steps.shape[:2]))
    least = difference.min(axis=1)
    equal = np.flatnonzero(least == np.minimum.reduceat(least, starts)[rim.owners])
    chord = equal[np.unique(rim.owners[equal], return_index=True)[1]]
    place, reach = along[difference[chord].argmin(axis=1)], 1.0
    begin, side = rim.points[chord], (after - rim.points)[chord]
    for _ in range(zooms):
        reach /= 4
        near = np.clip(place[:, None] + reach * (along - 0.5), 0, 1)
        steps = begin[:, None] + near[..., None] * side[:, None]
        difference = question.differs(
            steps, np.broadcast_to(shares[:, None], near.shape)
        )
        place = near[np.arange(len(near)), difference.argmin(axis=1)]
    return begin + place[:, None] * side


def _loose(
    question: Question, rim: Rim, shares: Array, wanted: Array, slack: float
) -> tuple[Indices, Array]:
    """Find the chords whose tangents leave room that matters, and their normals.

    Room matters when its corner is more than `slack` from the chord in CIELAB and a
    colour there might differ by less than `wanted` (n,). Only the effort depends on
    it: the tangents bound the slice in any case.
    """
    n, m = rim.normals, rim.normals[rim.following()]
    p, q = rim.points, rim.points[rim.following()]
    h, k = rim.offsets, rim.offsets[rim.following()]
    det = _turn(n, m)
    apart = np.hypot(*(q - p).T)
    open_ = np.flatnonzero((det > SLACK) & (apart > SLACK))
    n, m, p, q, h, k, det, apart = (v[open_] for v in (n, m, p, q, h, k, det, apart))
    x = (h * m[:, 1] - k * n[:, 1]) / det
    z = (n[:, 0] * k - m[:, 0] * h) / det
    own = shares[rim.owners[open_]]
    corners = np.stack(
        [question.Lab(point, own) for point in (p, np.stack([x, z], axis=-1), q)]
    )
    bound = delta_e_2000_at_least(corners.min(0), corners.max(0), question.target)
    side, room = (corners[2] - corners[0])[:, 1:], (corners[1] - corners[0])[:, 1:]
    height = np.abs(_turn(side, room)) / np.maximum(np.hypot(*side.T), SLACK)
    keep = (height > slack) & (bound < wanted[rim.owners[open_]])
    normals = np.stack([q[:, 1] - p[:, 1], p[:, 0] - q[:, 0]], axis=-1) / apart[:, None]
    # a normal that is one of its neighbours again teaches nothing
    keep &= (_turn(n, normals) > SNAP) & (_turn(normals, m) > SNAP)
    return rim.owners[open_[keep]], normals[keep]


def _turn(one: Array, other: Array) -> Array:
    """Give the cross product of vectors (m, 2): above 0 when `other` is to the left."""
    return one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]


def bracket(
    question: Question, shares: Array, tolerance: float
) -> tuple[Array, Array, Rim]:
    """Bracket the least CIEDE2000 at each share.

    Returns
    -------
    low : ndarray, shape (n,)
        The certified limit. [CIEDE2000]
    points : ndarray, shape (n, 2)
        The best points, inside the polygon of the rim.
    rim : Rim
        The tangents of all slices.
    """
    owners = np.repeat(np.arange(len(shares)), TANGENTS)
    normals = np.tile(around(TANGENTS), (len(shares), 1))
    rim = _tangents(question, owners, normals, shares)
    for _ in range(ROUNDS):
        high = question.differs(_nearest(question, rim, shares, 0), shares)
        owners, normals = _loose(
            question, rim, shares, high - tolerance / 4, tolerance / 40
        )
        if not owners.size:
            break
        rim = _merged(rim, _tangents(question, owners, normals, shares))
    regions = _regions(question, rim, shares)
    points = _nearest(question, rim, shares, 8)
    aim = question.Lab(points, shares)
    aim[:, 1:] = question.target[1:]
    aim = question.points(aim, shares)
    inside = regions.holds(aim, np.arange(len(shares)))
    points = np.where(inside[:, None], aim, points)
    low, points = least_difference(
        regions, question.target, points=points, tolerance=tolerance, boxes=BOXES
    )
    return low, points, rim


def _regions(question: Question, rim: Rim, shares: Array) -> Regions:
    """Lay the tangents of the slices side by side, padded with idle ones."""
    starts = rim.starts()
    counts = np.diff(np.append(starts, len(rim.owners)))
    columns = np.arange(counts.max())
    index = starts[:, None] + np.minimum(columns, counts[:, None] - 1)
    real = columns < counts[:, None]
    return Regions(
        normals=np.where(real[..., None], rim.normals[index], 0.0),
        offsets=np.where(real, rim.offsets[index], np.inf),
        corners=rim.points[index],
        to_colour=lambda points, owners: question.Lab(points, shares[owners]),
        to_plane=lambda Lab, owners: question.points(Lab, shares[owners]),
    )
