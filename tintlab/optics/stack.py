"""A stack of slabs in air: what it reflects, lets through and shows head-on.

Slabs are plane, much wider than thick, and incoherent. Clear stacks are summed
exactly, ray by ray; stacks that scatter are solved on streams, with the regular part
still exact. Everything is computed per wavelength; no light changes its wavelength.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tintlab.errors import ModelError
from tintlab.optics.lights import Light, Rays, rays
from tintlab.optics.operators import (
    Material,
    Operator,
    flipped,
    stack_operator,
)
from tintlab.optics.quadrature import Array, lagrange, radau, stream_split
from tintlab.optics.rays import ray_sum

CHUNK_SCATTERING = 512  # wavelengths solved at once; bounds memory, fits the cache
CHUNK_CLEAR = 4096
LEAST_LOSS = 1e-13  # rays that lose less than this never left the regular part
TRUSTED = 0.02  # agreement of head-on radiance at two numbers of streams


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Slab:
    """One plane layer.

    Attributes
    ----------
    index : array_like, shape (..., n_wavelengths) or scalar
        Refractive index, at least 1; an air gap has index 1. [-]
    absorbed, scattered : array_like, shape (..., n_wavelengths) or scalar
        Napierian optical depths over the thickness. [-]
    anisotropy : array_like, shape (..., n_wavelengths) or scalar
        Mean cosine of one scattering, between -1 and 1. [-]

    Raises
    ------
    ModelError
        If a value is not finite or outside its range.
    """

    index: ArrayLike
    absorbed: ArrayLike
    scattered: ArrayLike = 0.0
    anisotropy: ArrayLike = 0.0

    def __post_init__(self) -> None:
        for field in fields(self):
            values = np.array(getattr(self, field.name), dtype=float)
            _check_field(field.name, values)
            values.setflags(write=False)
            object.__setattr__(self, field.name, values)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fluxes:
    """What becomes of one light; all arrays of the broadcast shape of the slabs.

    Attributes
    ----------
    reflectance, transmittance : ndarray, shape (..., n_wavelengths)
        Totals, both outer faces included. [-]
    regular : ndarray, shape (..., n_wavelengths)
        Transmitted without being scattered; a part of `transmittance`. [-]
    headon : ndarray, shape (..., n_wavelengths)
        Radiance along the normal of the transmitted light that is not regular, over
        that of a Lambertian exit of the whole incoming flux (L pi A / flux). [-]
    regular_headon : ndarray, shape (..., n_wavelengths)
        Regular transmittance of a ray along the normal. [-]
    """

    reflectance: Array
    transmittance: Array
    regular: Array
    headon: Array
    regular_headon: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Solution:
    """A stack lit by several lights, and by diffuse light from the viewer's side.

    Attributes
    ----------
    lights : tuple of Fluxes
        One for each light asked for, in that order.
    back_reflectance, back_transmittance : ndarray, shape (..., n_wavelengths)
        For Lambertian light from the viewer's side, faces included. [-]
    back_headon : ndarray, shape (..., n_wavelengths)
        Radiance along the normal towards the viewer under that light, over that of
        a perfect white; without the mirror image. [-]
    back_regular_normal : ndarray, shape (..., n_wavelengths)
        Mirror reflectance for a ray along the normal from the viewer's side. [-]
    """

    lights: tuple[Fluxes, ...]
    back_reflectance: Array
    back_transmittance: Array
    back_headon: Array
    back_regular_normal: Array


def fluxes(
    slabs: Sequence[Slab], *, light: Light = "normal", streams: int = 10
) -> Fluxes:
    """Light that a stack in air reflects and lets through.

    Parameters
    ----------
    slabs : sequence of Slab
        The slab nearest the light first. Neighbours touch; a gap is a slab of index 1.
    light : str, callable or pair
        "normal", "diffuse", a weight w(cosine) in flux per unit of the cosine in air
        (Lambertian is 2 m), or a pair (cosines, weights).
    streams : int
        Streams per hemisphere, at least 4.

    Returns
    -------
    Fluxes
        `headon` is NaN where it changes by more than 2 % at twice the streams.

    Raises
    ------
    ModelError
        For no slabs, an unknown light, shapes that do not fit.

    Examples
    --------
    >>> plate = Slab(index=1.5, absorbed=0.5)
    >>> print(f"{fluxes([plate]).transmittance:.4f}")
    0.5593
    """
    if not any(np.any(slab.scattered) for slab in slabs):
        return _clear(slabs, rays(light, streams=streams))
    found = solve(slabs, lights=(light,), streams=streams).lights[0]
    twice = solve(slabs, lights=(light,), streams=2 * streams).lights[0]
    headon = np.where(_agree(found.headon, twice.headon), found.headon, np.nan)
    return Fluxes(
        reflectance=found.reflectance,
        transmittance=found.transmittance,
        regular=found.regular,
        headon=headon,
        regular_headon=found.regular_headon,
    )


def _clear(slabs: Sequence[Slab], source: Rays) -> Fluxes:
    """One light through a stack in which nothing scatters: the ray sum by itself."""
    shape = _common_shape(slabs)
    flat = [_flat(slab, shape) for slab in slabs]
    size = max(1, int(np.prod(shape)))
    normal = source.cosines.tolist() == [1.0]
    cosines = np.append(source.cosines, 1.0)
    step = max(1, 8 * CHUNK_CLEAR // cosines.size)
    rows = np.empty((3, size))
    for start in range(0, size, step):
        some = [_cut(slab, start, start + step) for slab in flat]
        front, through, _ = ray_sum(
            indices=[slab.index for slab in some],
            depths=[slab.depth for slab in some],
            cosines=source.cosines if normal else cosines,
        )
        count = source.cosines.size
        for row, values in ((0, front), (1, through)):
            # a lone ray needs no sum, and a product with a (1,) vector is slow
            mean = values[:, 0] if normal else values[:, :count] @ source.weights
            rows[row, start : start + step] = mean
        rows[2, start : start + step] = through[:, -1]
    reflected, passed, along = rows.reshape(3, *shape)
    return Fluxes(
        reflectance=reflected,
        transmittance=passed,
        regular=passed,
        headon=np.zeros(shape),
        regular_headon=along,
    )


def headon_trusted(
    slabs: Sequence[Slab], *, light: Light = "normal", streams: int = 10
) -> NDArray[np.bool_]:
    """Whether head-on radiance has settled at this number of streams.

    Parameters
    ----------
    slabs, light, streams
        As for `fluxes`; give a few wavelengths only, the check is slow.

    Returns
    -------
    ndarray of bool, shape (..., n_wavelengths)
        True where `streams` and twice as many agree within 2 %.
    """
    once = solve(slabs, lights=(light,), streams=streams).lights[0].headon
    twice = solve(slabs, lights=(light,), streams=2 * streams).lights[0].headon
    return _agree(once, twice)


def solve(
    slabs: Sequence[Slab], *, lights: Sequence[Light], streams: int = 10
) -> Solution:
    """Solve a stack once for several lights and for both sides.

    Parameters
    ----------
    slabs : sequence of Slab
        The slab nearest the light first; fields broadcast over leading axes.
    lights : sequence of lights
        As for `fluxes`.
    streams : int
        Streams per hemisphere, at least 4.

    Returns
    -------
    Solution
        Head-on radiances as computed, without a check of their convergence.

    Raises
    ------
    ModelError
        For no slabs, an unknown light, shapes that do not fit.
    """
    shape = _common_shape(slabs)
    if streams < 4:
        raise ModelError(f"asked for {streams} streams; at least 4 are needed")
    sources = [rays(light, streams=streams) for light in lights]
    flat = [_flat(slab, shape) for slab in slabs]
    clear = not any(slab.scatters for slab in flat)
    size = max(1, int(np.prod(shape)))
    step = CHUNK_CLEAR if clear else CHUNK_SCATTERING
    rows = np.concatenate(
        [
            _solved(
                [_cut(slab, start, start + step) for slab in flat],
                sources=sources,
                streams=streams,
                count=min(step, size - start),
            )
            for start in range(0, size, step)
        ],
        axis=-1,
    )
    rows = rows.reshape(-1, *shape)
    return Solution(
        lights=tuple(
            Fluxes(
                reflectance=rows[5 * i],
                transmittance=rows[5 * i + 1],
                regular=rows[5 * i + 2],
                headon=rows[5 * i + 3],
                regular_headon=rows[5 * i + 4],
            )
            for i in range(len(sources))
        ),
        back_reflectance=rows[-4],
        back_transmittance=rows[-3],
        back_headon=rows[-2],
        back_regular_normal=rows[-1],
    )


def _solved(
    slabs: Sequence[Material], *, sources: Sequence[Rays], streams: int, count: int
) -> Array:
    """All results of one chunk, one row each, shape (n_results, count)."""
    every = [*sources, rays("diffuse", streams=streams)]
    scatters = any(slab.scatters for slab in slabs)
    escaping, trapped = stream_split(streams)
    if all(slab.is_gap for slab in slabs):
        escaping = streams
    if not scatters:
        escaping = 1  # the normal ray
    nodes, _ = radau(escaping)
    parts = [nodes, *(source.cosines for source in every)]
    sums = ray_sum(
        indices=[slab.index for slab in slabs],
        depths=[slab.depth for slab in slabs],
        cosines=np.concatenate(parts),
    )
    ends = np.cumsum([part.size for part in parts])[:-1]
    front, through, back = (np.split(x, ends, axis=-1) for x in sums)
    lit = behind = np.zeros((3, 1, escaping))
    if scatters:
        whole = stack_operator(slabs, escaping=escaping, trapped=trapped)
        lit = _scattered(whole, front[0], through[0])
        behind = _scattered(flipped(whole), back[0], through[0])
    rows: list[Array] = []
    for source, f, t in zip(every, front[1:], through[1:], strict=True):
        rows += [*_lit(source, lit, f, t), through[0][:, 0]]
    del rows[-5:]
    rows += _lit(every[-1], behind, back[-1], through[-1])[:2]
    entered = 1.0 - back[0][:, 0] - through[0][:, 0]
    rows += [behind[0, :, 0] * entered, back[0][:, 0]]
    return np.array([np.broadcast_to(row, (count,)) for row in rows])


def _scattered(whole: Operator, front: Array, through: Array) -> Array:
    """Share out, per stream in, the light that is no longer regular.

    Reflected and transmitted, as shares of what the regular part has lost: these are
    smooth in the cosine even where the face is not, and no energy is lost between
    streams and rays. Then the head-on radiance. Shape (3, n, n_streams).
    """
    nodes, weights = radau(front.shape[-1])
    etendue = 2.0 * nodes * weights
    root = np.sqrt(etendue)
    headon = whole.down[..., 0, :] / (root[0] * root)
    headon[..., 0] -= through[..., 0] / etendue[0]
    lost = 1.0 - front - through
    kept = lost > LEAST_LOSS
    share = np.where(kept, 1.0 / np.where(kept, lost, 1.0), 0.0)
    reflected = share * (root @ whole.front / root - front)
    transmitted = share * (root @ whole.down / root - through)
    return np.array(np.broadcast_arrays(reflected, transmitted, headon))


def _lit(source: Rays, shares: Array, front: Array, through: Array) -> list[Array]:
    """Reflectance, transmittance, regular part and head-on radiance of one light."""
    nodes, _ = radau(shares.shape[-1])
    onto = lagrange(nodes=nodes, points=source.cosines)
    lost = (source.weights * (1.0 - front - through)) @ onto
    reflected, transmitted = (lost * shares[:2]).sum(axis=-1)
    headon = shares[2] @ (source.weights @ onto)
    regular = through @ source.weights
    return [
        front @ source.weights + reflected,
        regular + transmitted,
        regular,
        headon,
    ]


def _agree(once: Array, twice: Array) -> NDArray[np.bool_]:
    return np.abs(once - twice) <= TRUSTED * np.abs(twice) + 1e-9


def _check_field(name: str, values: Array) -> None:
    least, most = {"index": (1.0, np.inf), "anisotropy": (-1.0, 1.0)}.get(
        name, (0.0, np.inf)
    )
    if not np.isfinite(values).all():
        raise ModelError(
            f"asked for a slab whose {name} is not a finite number everywhere; "
            "give a number for each wavelength"
        )
    if (values < least).any():
        raise ModelError(
            f"asked for a slab with {name} {values.min():g}; it cannot be below "
            f"{least:g}; check signs and units"
        )
    if name == "anisotropy" and (np.abs(values) >= most).any():
        raise ModelError(
            f"asked for a slab with anisotropy {values.flat[np.abs(values).argmax()]:g}"
            "; it must lie between -1 and 1"
        )


def _common_shape(slabs: Sequence[Slab]) -> tuple[int, ...]:
    if not slabs:
        raise ModelError("asked for a stack of no slabs; give at least one")
    shapes = [np.shape(getattr(s, field.name)) for s in slabs for field in fields(s)]
    try:
        return np.broadcast_shapes(*shapes)
    except ValueError:
        raise ModelError(
            f"asked for a stack of slabs with fields of shapes {sorted(set(shapes))}; "
            "they must broadcast, wavelength last"
        ) from None


def _flat(slab: Slab, shape: tuple[int, ...]) -> Material:
    """One row of values per field; a field that is the same everywhere keeps one."""
    rows = {}
    for field in fields(slab):
        values = np.asarray(getattr(slab, field.name))
        same = values.size > 0 and (values == values.flat[0]).all()
        row = values.reshape(-1)[:1] if same else np.broadcast_to(values, shape).ravel()
        rows[field.name] = row
    return Material(**rows)


def _cut(slab: Material, start: int, stop: int) -> Material:
    rows = {}
    for field in fields(slab):
        row = getattr(slab, field.name)
        rows[field.name] = row if row.size == 1 else row[start:stop]
    return Material(**rows)
