"""What one place of the face sends to a viewer head-on, per response.

The same bookkeeping as `tintlab.glow.transfers`, kept apart by way: light scattered
towards the viewer on its first pass, the image of the LEDs, and light that the box
sends round again.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tintlab.glow import tint_depths, transfers
from tintlab.optics import Solution, solve
from tintlab.optics.quadrature import radau, stream_split
from tintlab.piece import Piece, thinned

Array = NDArray[np.float64]

STREAMS = 10
NODES = radau(stream_split(STREAMS)[0])[0]  # air cosines of the streams that leave


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Parts:
    """Radiance of one place, weighted by each response, for each sort of LED.

    Attributes
    ----------
    scattered : ndarray, shape (n_beams, n_nodes, n_responses)
        Per direct irradiance per flux, for incidence at each of `NODES`; it is a
        polynomial in the cosine. [1/sr, weighted W]
    scattered_mean, image, recycled : ndarray, shape (n_beams, n_responses)
        Means over the face of the three ways. [W/(m2 sr), weighted]
    returned : tuple of ndarray, shape (n_wavelengths,)
        Of each sort of LED, light in the box after the first pass, per flux. [-]
    closing : ndarray, shape (n_wavelengths,)
        rho / (1 - rho R_d): what the box makes of it. [-]
    """

    scattered: Array
    scattered_mean: Array
    image: Array
    recycled: Array
    returned: tuple[Array, ...]
    closing: Array


def sampled(piece: Piece, step: int) -> Piece:
    """Return the piece on every `step`-th wavelength, each standing for `step` nm."""
    return replace(
        thinned(piece, step),
        beams=tuple(replace(b, power=b.power[::step] * step) for b in piece.beams),
        tints=tuple(replace(t, shape=t.shape[::step]) for t in piece.tints),
    )


def parts_of(piece: Piece, responses: Array, *, like: Parts | None = None) -> Parts:
    """Work out the parts of a piece.

    Parameters
    ----------
    piece : Piece
    responses : ndarray, shape (n_responses, n_wavelengths)
    like : Parts, optional
        Of the piece whose box this place shares, where its own thickness differs.

    Returns
    -------
    Parts
        With the light that leaks past the dyes, if the piece has a leak.
    """
    depths, filters = tint_depths(piece)
    found = _parts(piece, depths, filters, responses, like)
    if not piece.leak:
        return found
    clear, _ = tint_depths(replace(piece, tints=()))
    past = _parts(piece, clear, filters, responses, like)
    return replace(
        found,
        scattered=found.scattered + piece.leak * past.scattered,
        scattered_mean=found.scattered_mean + piece.leak * past.scattered_mean,
        image=found.image + piece.leak * past.image,
        recycled=found.recycled + piece.leak * past.recycled,
    )


def _parts(
    piece: Piece,
    depths: Sequence[Array],
    filters: Sequence[Array],
    responses: Array,
    like: Parts | None,
) -> Parts:
    at_nodes, solution = _solved(piece, depths)
    diffuse = solution.lights[-1]
    G_d = diffuse.headon + diffuse.regular_headon
    closing = piece.back / (1 - piece.back * diffuse.reflectance)
    returned = tuple(
        beam.share * direct.reflectance + 1 - beam.share
        for beam, direct in zip(piece.beams, solution.lights[:-1], strict=True)
    )
    whole = transfers(piece, solution, filters)
    rows = []
    for i, beam in enumerate(piece.beams):
        weights = responses * beam.power  # (n_responses, n_wavelengths)
        lit = filters[i] / (np.pi * piece.area)
        first = lit * beam.share * solution.lights[i].headon
        image = whole[i] - first - lit * returned[i] * closing * G_d
        shared = (returned[i], closing) if like is None else (
            like.returned[i],
            like.closing,
        )  # fmt: skip
        again = lit * shared[0] * shared[1] * G_d
        rows.append(
            (
                (at_nodes * filters[i] / np.pi) @ weights.T,
                weights @ first,
                weights @ np.maximum(image, 0.0),
                weights @ again,
            )
        )
    scattered, mean, image_, recycled = (np.array(r) for r in zip(*rows, strict=True))
    return Parts(
        scattered=scattered,
        scattered_mean=mean,
        image=image_,
        recycled=recycled,
        returned=returned,
        closing=np.asarray(closing),
    )


def _solved(piece: Piece, depths: Sequence[Array]) -> tuple[Array, Solution]:
    """Head-on radiance for light at each node, and the piece's own solution."""
    slabs = [
        replace(slab, absorbed=np.asarray(slab.absorbed) + depth)
        for slab, depth in zip(piece.slabs, depths, strict=True)
    ]
    direct = [(beam.cosines, beam.weights) for beam in piece.beams]
    nodes = []
    if scatters(piece):
        nodes = [(np.array([node]), np.ones(1)) for node in NODES]
    solution = solve(slabs, lights=[*nodes, *direct, "diffuse"], streams=STREAMS)
    own = replace(solution, lights=solution.lights[len(nodes) :])
    if not nodes:
        return np.zeros((NODES.size, piece.back.size)), own
    return np.array([light.headon for light in solution.lights[: len(nodes)]]), own


def scatters(piece: Piece) -> bool:
    """Whether anything in the stack scatters."""
    return any(np.any(np.asarray(slab.scattered) > 0) for slab in piece.slabs)
