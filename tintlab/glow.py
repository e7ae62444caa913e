"""The forward story: inset, stack, light, colour.

An inset has become a `Piece` of numbers on the working grid (`tintlab.piece`).
`radiance` sends the light of every LED through coats, box and stack to the viewer;
`look` turns what arrives into the glow, the unlit face and their distance from the
target.

Only head-on radiance counts, averaged over the face. The regular part (an image of
the LEDs) is spread over the face, the scattered part is what a frosted piece shows.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tintlab import yardstick
from tintlab.colorimetry import MAXIMUM_EFFICACY, XYZ_to_Lab, spectrum_to_XYZ
from tintlab.inset import Inset
from tintlab.materials import Room
from tintlab.optics import Solution, solve, uneven_transmittance
from tintlab.piece import Piece, piece_of
from tintlab.spectrum import WAVELENGTHS

Array = NDArray[np.float64]


def tint_depths(
    piece: Piece, absorbances: ArrayLike | None = None
) -> tuple[list[Array], list[Array]]:
    """Napierian depth of the tints in each slab, and transmittance on each LED.

    Parameters
    ----------
    piece : Piece
    absorbances : array_like, shape (..., n_tints, n_wavelengths), optional
        Decadic absorbance of each tint; those of the piece unless given.

    Returns
    -------
    tuple of list of ndarray
        Depths for each slab, transmittances for each beam: (..., n_wavelengths).
    """
    if absorbances is None:
        absorbances = [tint.absorbance * tint.shape for tint in piece.tints]
    values = np.asarray(absorbances, dtype=float)
    if not piece.tints:
        values = np.zeros((0, piece.back.size))
    shape = (*values.shape[:-2], values.shape[-1])
    depths = [np.zeros(shape) for _ in piece.slabs]
    filters = [np.ones(shape) for _ in piece.beams]
    for i, tint in enumerate(piece.tints):
        passed = uneven_transmittance(
            absorbance=values[..., i, :], variation=tint.unevenness
        )
        where, number = tint.place
        if where == "light":
            filters[number] = filters[number] * passed
        else:
            depths[number] = depths[number] - np.log(np.maximum(passed, 1e-300))
    return depths, filters


def solve_piece(
    piece: Piece, depths: Sequence[Array], *, streams: int = 10
) -> Solution:
    """Solve the stack for the direct light of each beam and for diffuse light."""
    slabs = [
        replace(slab, absorbed=np.asarray(slab.absorbed) + depth)
        for slab, depth in zip(piece.slabs, depths, strict=True)
    ]
    direct = [(beam.cosines, beam.weights) for beam in piece.beams]
    return solve(slabs, lights=[*direct, "diffuse"], streams=streams)


def transfers(
    piece: Piece, solution: Solution, filters: Sequence[Array]
) -> list[Array]:
    """Head-on radiance per watt of each sort of LED, averaged over the face.

    Parameters
    ----------
    piece : Piece
    solution : Solution
        From `solve_piece`.
    filters : sequence of array_like, shape (..., 401)
        Transmittance of the coats on each sort of LED.

    Returns
    -------
    list of ndarray, shape (..., 401)
        One for each beam. [1/(m2 sr)]

    Notes
    -----
    With the box's back reflectance rho, the share s of an LED's light that meets the
    inset directly, the stack's R and head-on factors G for direct and diffuse light
    (d), and its regular transmittance tau along the axis, the series of bounces sums to

    L = P / (pi A) [s G_0 + (k + 1)/2 tau + (s R_0 + 1 - s) rho G_d / (1 - rho R_d)].

    The second term is the image of the LED: its intensity along the axis is
    P (k + 1) / (2 pi), whatever the box does to the rest of its light.

    The first bounce of light that misses the inset has the same multiplier rho as
    light that comes back from it (integrating-sphere series; Goebel 1967).
    """
    again = _again(piece, solution)
    found = []
    for beam, passed, direct in zip(
        piece.beams, filters, solution.lights[:-1], strict=True
    ):
        image = direct.regular_headon * (beam.exponent + 1) / 2
        returned = beam.share * direct.reflectance + 1 - beam.share
        arriving = beam.share * direct.headon + image + returned * again
        found.append(passed * arriving / (np.pi * piece.area))
    return found


def radiance(piece: Piece, solution: Solution, filters: Sequence[Array]) -> Array:
    """Head-on spectral radiance, averaged over the face. [W/(m2 sr nm)]"""
    parts = transfers(piece, solution, filters)
    return np.asarray(
        sum(b.power * part for b, part in zip(piece.beams, parts, strict=True))
    )


def _again(piece: Piece, solution: Solution) -> Array:
    """Rho G_d / (1 - rho R_d): what light in the box still sends to the viewer."""
    diffuse = solution.lights[-1]
    G_d = diffuse.headon + diffuse.regular_headon
    return np.asarray(piece.back * G_d / (1 - piece.back * diffuse.reflectance))


def face_factor(piece: Piece, solution: Solution) -> Array:
    """Radiance factor of the unlit face, head-on, its mirror image left out.

    Room light falls diffusely on the face, part of it crosses the stack, is
    reflected by the box and crosses again.
    """
    again = _again(piece, solution)
    return np.asarray(solution.back_headon + solution.back_transmittance * again)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Look:
    """What one piece looks like in one room.

    Attributes
    ----------
    room : Room
    radiance, undyed : ndarray, shape (401,)
        Head-on, of the piece and of the same piece without dyes and films.
        [W/(m2 sr nm)]
    face : ndarray, shape (401,)
        Radiance factor of the unlit face. [-]
    XYZ : ndarray, shape (3,)
        Of glow and veil together; Y = 1 is the undyed piece. [-]
    veil : ndarray, shape (3,)
        Room light that the face sends back, on the same scale. [-]
    Lab : ndarray, shape (3,)
        Of `XYZ`, relative to D65.
    face_Lab : ndarray, shape (3,)
        Of the unlit face, relative to the white of the room.
    light_kept : float
        Y without veil, relative to the undyed piece. [-]
    luminance, face_luminance : float or None
        Of glow and veil together, and of the unlit face; None without a size.
        [cd/m2]
    """

    room: Room
    radiance: Array
    undyed: Array
    face: Array
    XYZ: Array
    veil: Array
    Lab: Array
    face_Lab: Array
    light_kept: float
    luminance: float | None
    face_luminance: float | None


def look(inset: Inset, *, room: Room | None = None, piece: Piece | None = None) -> Look:
    """Predict what an inset looks like, lit and unlit.

    Parameters
    ----------
    inset : Inset
    room : Room, optional
        Instead of the one in the file.
    piece : Piece, optional
        The numbers of the inset, when they are at hand.

    Returns
    -------
    Look
    """
    room = room or inset.room
    piece = piece or piece_of(inset)
    depths, filters = tint_depths(piece)
    solution = solve_piece(piece, depths)
    plain = undyed(piece)
    lit = radiance(piece, solution, filters) + leaked(piece, filters)
    return seen(inset, room, lit, plain, face_factor(piece, solution))


def undyed(piece: Piece) -> Array:
    """Head-on radiance of the piece with every dye and film at 0, shape (401,)."""
    clear = replace(piece, tints=())
    depths, filters = tint_depths(clear)
    return radiance(clear, solve_piece(clear, depths), filters)


def leaked(piece: Piece, filters: Sequence[Array]) -> Array:
    """Light that leaks past the dyes of the stack, but not past coats on the LEDs."""
    if not piece.leak:
        return np.zeros(WAVELENGTHS.size)
    clear = replace(piece, tints=())
    depths, _ = tint_depths(clear)
    return piece.leak * radiance(clear, solve_piece(clear, depths), filters)


def white_in(room: Room) -> Array:
    """Spectral radiance of a perfect white in a room, shape (401,). [W/(m2 sr nm)]"""
    per_lux = room.power / (MAXIMUM_EFFICACY * spectrum_to_XYZ(room.power)[1])
    return np.asarray(per_lux * room.illuminance / np.pi)


def with_veil(inset: Inset, room: Room, lit: Array, face: Array) -> Array:
    """Head-on radiance of glow and veil together; without a size there is no veil."""
    return lit + white_in(room) * face if inset.size else lit


def veil_XYZ(room: Room, face: Array) -> tuple[Array, Array]:
    """XYZ that the unlit face sends to the viewer, and that of a perfect white.

    Returns
    -------
    tuple of ndarray, shape (..., 3) and (3,)
        Y in cd/m2.
    """
    white = MAXIMUM_EFFICACY * white_in(room)
    return spectrum_to_XYZ(white * face), spectrum_to_XYZ(white)


def seen(inset: Inset, room: Room, lit: Array, plain: Array, face: Array) -> Look:
    """Turn radiances into colours by the yardstick."""
    glow = MAXIMUM_EFFICACY * spectrum_to_XYZ(lit)
    anchor = MAXIMUM_EFFICACY * spectrum_to_XYZ(plain)[1]
    veil, _ = veil_XYZ(room, face)
    scale = 1.0 if inset.size else 0.0  # without a size there are no cd/m2
    XYZ = (glow + scale * veil) / anchor
    one_lux = veil_XYZ(replace(room, illuminance=1.0), face)
    return Look(
        room=room,
        radiance=lit,
        undyed=plain,
        face=face,
        XYZ=XYZ,
        veil=scale * veil / anchor,
        Lab=XYZ_to_Lab(XYZ),
        face_Lab=XYZ_to_Lab(one_lux[0] / one_lux[1][1], one_lux[1] / one_lux[1][1]),
        light_kept=float(glow[1] / anchor),
        luminance=float(glow[1] + veil[1]) if inset.size else None,
        face_luminance=float(veil[1]) if inset.size else None,
    )


def miss(inset: Inset, XYZ: ArrayLike) -> Array | None:
    """Distance of glows, shape (..., 3), from the inset's target, if it has one.

    CIEDE2000 under the target's policy, or the signed distance in u'v' to the edge of
    its region.
    """
    target = inset.target
    if target is None:
        return None
    if target.region is not None:
        return yardstick.region_distance(XYZ, target.region.corners)
    if target.Lab is None:
        return None
    return yardstick.difference(XYZ, target.Lab, lightness=target.lightness)
