"""Operators on streams: what a part of a stack does to light from either side.

Stream powers are divided by the square root of their etendue, so that transmission
upward is the transpose of transmission downward (reciprocity) and reflections are
symmetric. Slabs that touch share their streams; across an air gap only the escaping
ones travel, so each touching group brings its own trapped streams.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np

from tintlab.optics.fresnel import invariant_reflectance
from tintlab.optics.layer import LEAST_DEPTH, modes, operators
from tintlab.optics.quadrature import Array, gauss, radau
from tintlab.optics.rays import ray_sum

SAME_INDEX = 1e-4  # indices closer than this share one zone of trapped streams
NARROWEST = 1e-6  # least width of a zone, where indices cross


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Operator:
    """Reflection and transmission of a part of a stack.

    Attributes
    ----------
    front, back, down : ndarray, shape (..., N, N)
        Reflection from the light's side and from the viewer's side, transmission
        towards the viewer; column = stream in, row = stream out.
    """

    front: Array
    back: Array
    down: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Material:
    """Fields of one slab for a flat batch; every array has shape (n,) or (1,)."""

    index: Array
    absorbed: Array
    scattered: Array
    anisotropy: Array

    @property
    def depth(self) -> Array:
        """Napierian extinction depth."""
        return self.absorbed + self.scattered

    @property
    def scatters(self) -> bool:
        """Whether it scatters anywhere."""
        return bool(self.scattered.any())

    @property
    def is_gap(self) -> bool:
        """Whether it has the index of air everywhere."""
        return bool((self.index == 1.0).all())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Streams:
    """Directions of a touching group: Snell invariants squared, and etendue."""

    invariants: Array
    etendue: Array

    def inside(self, index: Array) -> tuple[Array, Array]:
        """Cosines and weights in a medium; weight 0 where a stream cannot exist."""
        squares = 1.0 - self.invariants / index[..., None] ** 2
        exists = squares > 1e-12
        cosines = np.sqrt(np.where(exists, squares, 1.0))
        weights = self.etendue / (2.0 * index[..., None] ** 2 * cosines)
        return cosines, np.where(exists, weights, 0.0)


def star(one: Operator, two: Operator) -> Operator:
    """Operator of one part in front of another.

    Parameters
    ----------
    one, two : Operator
        `one` is nearer the light.

    Returns
    -------
    Operator
        All bounces between the two included.

    References
    ----------
    [1] I. P. Grant and G. E. Hunt, Proc. R. Soc. A 313 (1969) 183; from memory.
    """
    identity = np.eye(one.down.shape[-1])
    M = np.linalg.inv(identity - one.back @ two.front)
    onward = two.down @ M
    return Operator(
        down=onward @ one.down,
        front=one.front + _turned(one.down) @ (two.front @ M) @ one.down,
        back=two.back + onward @ one.back @ _turned(two.down),
    )


def face_before(reflectance: Array, part: Operator) -> Operator:
    """Operator of one face in front of a part.

    Parameters
    ----------
    reflectance : ndarray, shape (..., N)
        Of the face, per stream, the same from both sides. [-]
    part : Operator
        What the face covers.

    Returns
    -------
    Operator
        With the face on the light's side.
    """
    r, t = reflectance[..., None, :], 1.0 - reflectance[..., None, :]
    identity = np.eye(reflectance.shape[-1])
    M = np.linalg.inv(identity - _turned(r) * part.front)
    onward = part.down @ M
    return Operator(
        down=onward * t,
        front=r * identity + _turned(t) * (part.front @ M) * t,
        back=part.back + (onward * r) @ _turned(part.down),
    )


def flipped(part: Operator) -> Operator:
    """Return the operator of the same part turned over."""
    return Operator(front=part.back, back=part.front, down=_turned(part.down))


def stack_operator(
    slabs: Sequence[Material], *, escaping: int, trapped: int
) -> Operator:
    """Operator of a whole stack in air, on the escaping streams.

    Parameters
    ----------
    slabs : sequence of Material
        The slab nearest the light first.
    escaping, trapped : int
        Streams in the escape cone, and in each zone of trapped light.

    Returns
    -------
    Operator, shape (n, escaping, escaping)
        Stream 0 is the normal.
    """
    parts = [
        _group(run, escaping, trapped)
        if any(slab.scatters for slab in run)
        else _clear(run, escaping)
        for run in _runs(slabs)
    ]
    return reduce(star, parts)


def _moments(escaping: int, trapped: int, level: int) -> int:
    """Legendre moments for a slab with so many zones of trapped light; even."""
    count = escaping + trapped * level + 2
    return count + count % 2


def _runs(slabs: Sequence[Material]) -> list[list[Material]]:
    """Split a stack at its air gaps; join neighbours in which nothing scatters."""
    groups: list[list[Material]] = []
    for slab in slabs:
        if groups and not slab.is_gap and not groups[-1][-1].is_gap:
            groups[-1].append(slab)
        else:
            groups.append([slab])
    runs: list[list[Material]] = []
    for group in groups:
        clear = not any(slab.scatters for slab in group)
        if clear and runs and not any(slab.scatters for slab in runs[-1]):
            runs[-1].extend(group)
        else:
            runs.append(group)
    return runs


def _clear(run: Sequence[Material], escaping: int) -> Operator:
    cosines, _ = radau(escaping)
    front, through, back = ray_sum(
        indices=[slab.index for slab in run],
        depths=[slab.depth for slab in run],
        cosines=cosines,
    )
    one = np.eye(escaping)
    return Operator(
        front=front[..., None] * one,
        back=back[..., None] * one,
        down=through[..., None] * one,
    )


def _group(run: Sequence[Material], escaping: int, trapped: int) -> Operator:
    """Operator of slabs in contact, with both outer faces, on escaping streams."""
    streams, levels = _streams(run, escaping, trapped)
    layers = [
        _layer(slab, streams, _moments(escaping, trapped, level))
        for slab, level in zip(run, levels, strict=True)
    ]
    air = np.ones(1)
    r = _face(streams, run[-1].index, air)
    part = flipped(_faced(r, layers[-1]))
    # from the viewer's side to the light, so that each face lies before its slab
    for i in reversed(range(len(run) - 1)):
        part = _faced(_face(streams, run[i].index, run[i + 1].index), part)
        before = star if run[i].scatters else _dyed_before
        part = before(layers[i], part)
    part = _faced(_face(streams, run[0].index, air), part)
    leave = np.s_[..., :escaping, :escaping]
    return Operator(
        front=part.front[leave], back=part.back[leave], down=part.down[leave]
    )


def _layer(slab: Material, streams: Streams, moments: int) -> Operator:
    cosines, weights = streams.inside(slab.index)
    if slab.scatters:
        depth = np.maximum(slab.depth, LEAST_DEPTH)
        material = modes(
            cosines=cosines,
            weights=weights,
            albedo=slab.scattered / depth,
            anisotropy=slab.anisotropy,
            moments=moments,
        )
        reflection, transmission = operators(material, depth=depth)
    else:
        depth = np.maximum(slab.depth, LEAST_DEPTH)[..., None]
        through = np.exp(-depth / cosines)
        transmission = through[..., None] * np.eye(through.shape[-1])
        reflection = np.zeros_like(transmission)
    return Operator(front=reflection, back=reflection, down=transmission)


def _faced(reflectance: Array, part: Operator) -> Operator:
    """Put a face before a part, unless it reflects nothing at all."""
    return face_before(reflectance, part) if reflectance.any() else part


def _dyed_before(layer: Operator, part: Operator) -> Operator:
    """Operator of a layer that only absorbs in front of a part."""
    through = np.diagonal(layer.down, axis1=-2, axis2=-1)
    return Operator(
        front=through[..., :, None] * part.front * through[..., None, :],
        back=part.back,
        down=part.down * through[..., None, :],
    )


def _face(streams: Streams, index: Array, other: Array) -> Array:
    """Reflectance of a face per stream; 1 where it exists on one side only."""
    near, near_weights = streams.inside(index)
    far, far_weights = streams.inside(other)
    r = invariant_reflectance(
        n_from=index[..., None],
        n_into=other[..., None],
        cosine_from=near,
        cosine_into=far,
    )
    here, there = near_weights > 0.0, far_weights > 0.0
    return np.where(here & there, r, np.where(here | there, 1.0, 0.0))


def _streams(
    run: Sequence[Material], escaping: int, trapped: int
) -> tuple[Streams, list[int]]:
    """Streams of a touching group, and how many trapped zones each slab carries.

    The trapped light of a medium lies in zones that end at its own index and at that
    of every thinner medium in contact with it.
    """
    means = [float(slab.index.mean()) for slab in run]
    zones: list[list[int]] = []
    for i in sorted(range(len(run)), key=means.__getitem__):
        if run[i].is_gap:
            continue
        apart = run[i].index - run[zones[-1][0]].index if zones else np.inf
        if np.abs(apart).max() < SAME_INDEX:
            zones[-1].append(i)
        else:
            zones.append([i])
    # light trapped in a clear slab alone is never fed
    while zones and not any(run[i].scatters for i in zones[-1]):
        zones.pop()
    levels = [0] * len(run)
    for level, zone in enumerate(zones, start=1):
        for i in zone:
            levels[i] = level
    cosines, weights = radau(escaping)
    invariants, etendue = [1.0 - cosines**2], [2.0 * cosines * weights]
    lower = np.ones(1)
    for edge in _edges(run, zones):
        upper = np.maximum(edge, lower + NARROWEST)
        x, step = gauss(trapped)
        widest = np.sqrt(1.0 - (lower / upper) ** 2)[..., None]
        n = upper[..., None]
        invariants.append(n**2 * (1.0 - (widest * x) ** 2))
        etendue.append(2.0 * n**2 * widest**2 * x * step)
        lower = upper
    return Streams(invariants=_joined(invariants), etendue=_joined(etendue)), levels


def _edges(run: Sequence[Material], zones: Sequence[Sequence[int]]) -> list[Array]:
    """Where each zone ends, rising at every wavelength even if indices cross."""
    tops = [
        np.max(np.broadcast_arrays(*(run[i].index for i in zone)), axis=0)
        for zone in zones
    ]
    return list(np.sort(np.broadcast_arrays(*tops), axis=0)) if tops else []


def _joined(parts: Sequence[Array]) -> Array:
    shape = np.broadcast_shapes(*(part.shape[:-1] for part in parts))
    return np.concatenate(
        [np.broadcast_to(part, (*shape, part.shape[-1])) for part in parts], axis=-1
    )


def _turned(matrix: Array) -> Array:
    return np.swapaxes(matrix, -1, -2)
