"""The forward story: inset, stack, light, colour.

An inset becomes a `Piece` of numbers on the working grid. `radiance` sends the light
of every LED through coats, box and stack to the viewer; `look` turns what arrives
into the glow, the unlit face and their distance from the target.

Only head-on radiance counts, averaged over the face. The regular part (an image of
the LEDs) is spread over the face, the scattered part is what a frosted piece shows.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tintlab import yardstick
from tintlab.colorimetry import MAXIMUM_EFFICACY, XYZ_to_Lab, spectrum_to_XYZ
from tintlab.inset import Bathed, Cavity, Coats, Dosed, Inset, Layer, Light
from tintlab.materials import (
    Bottle,
    Dye,
    Ink,
    Medium,
    Room,
    dye_strength,
    emitter_power,
    shape_of,
)
from tintlab.optics import (
    Slab,
    Solution,
    beam_exponent,
    box_reflectance,
    coats_absorbance,
    direct_light,
    solve,
    uneven_transmittance,
)
from tintlab.spectrum import WAVELENGTHS
from tintlab.uptake import sheet_absorbance

Array = NDArray[np.float64]

LN10 = np.log(10.0)
FROSTED_SCATTERING, FROSTED_ANISOTROPY = 0.9, 0.8  # sanded face as a layer, assumed
FILM_INDEX = 1.5  # of an ink film by itself, assumed


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Beam:
    """One sort of LED, as numbers.

    Attributes
    ----------
    power : ndarray, shape (401,)
        Radiant power of all LEDs of this sort, before coats. [W/nm]
    exponent : float
        k of the intensity I cos^k. [-]
    share : float
        Of the power that meets the inset without touching a wall. [-]
    cosines, weights : ndarray, shape (n,)
        Air cosines of that light and the share of its flux at each.
    light : Light
    """

    power: Array
    exponent: float
    share: float
    cosines: Array
    weights: Array
    light: Light


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tint:
    """Something that absorbs and that the maker can change.

    Attributes
    ----------
    colourant : Bottle, Dye or Ink
    place : tuple of str and int
        ("slab", i) in the stack or ("light", j) on an LED.
    shape : ndarray, shape (401,)
        Absorbance relative to the peak absorbance. [-]
    absorbance : float
        Decadic peak absorbance across the whole layer. [-]
    unevenness : float
        Coefficient of variation of the thickness of coats. [-]
    origin : Dosed, Bathed or Coats
        What the maker wrote.
    """

    colourant: Bottle | Dye | Ink
    place: tuple[str, int]
    shape: Array
    absorbance: float
    unevenness: float
    origin: Dosed | Bathed | Coats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Piece:
    """An inset as numbers on the working grid.

    Attributes
    ----------
    beams : tuple of Beam
    slabs : tuple of Slab
        From the light to the viewer, without dyes and films.
    bodies : tuple of int
        For each slab the number of the layer it belongs to.
    tints : tuple of Tint
    back : ndarray, shape (401,)
        Reflectance that the box shows to light coming back from the inset. [-]
    area : float
        Of the face; 1 when the maker gave no size. [m2]
    leak : float
        Share of the undyed piece's light that reaches the viewer past all dyes in
        the stack (pinholes, edges); 0 unless something seen tells it. [-]
    """

    beams: tuple[Beam, ...]
    slabs: tuple[Slab, ...]
    bodies: tuple[int, ...]
    tints: tuple[Tint, ...]
    back: Array
    area: float
    leak: float = 0.0


def piece_of(inset: Inset) -> Piece:
    """Turn an inset into numbers."""
    slabs: list[Slab] = []
    bodies: list[int] = []
    tints: list[Tint] = []
    for number, layer in enumerate(inset.layers):
        added = _slabs(inset.layers, number)
        body = len(slabs) + (layer.back == "frosted" and layer.medium is not None)
        tints += _tints(layer, body)
        slabs += added
        bodies += [number] * len(added)
    for j, light in enumerate(inset.lights):
        tints += [_coat(coats, ("light", j)) for coats in light.coats]
    return Piece(
        beams=tuple(_beam(light, inset) for light in inset.lights),
        slabs=tuple(slabs) or (Slab(index=1.0, absorbed=0.0),),
        bodies=tuple(bodies) or (-1,),
        tints=tuple(tints),
        back=_back(inset.cavity, inset.size),
        area=float(np.prod(inset.size)) * 1e-6 if inset.size else 1.0,
    )


def _slabs(layers: Sequence[Layer], number: int) -> list[Slab]:
    """Slabs of one layer: its body, and a thin scattering one for a frosted face."""
    layer = layers[number]
    if layer.kind == "gap":
        return [Slab(index=1.0, absorbed=0.0)]
    if layer.diffuser is not None:
        sheet = layer.diffuser
        return [
            Slab(
                index=sheet.index,
                absorbed=sheet.absorption * layer.thickness,
                scattered=sheet.scattering * layer.thickness,
                anisotropy=sheet.anisotropy,
            )
        ]
    if layer.medium is None:
        return [Slab(index=_neighbour_index(layers, number), absorbed=0.0)]
    medium: Medium = layer.medium
    body = Slab(
        index=medium.index,
        absorbed=LN10 * medium.absorption * layer.thickness,
        scattered=medium.scattering * layer.thickness,
        anisotropy=medium.anisotropy,
    )
    frost = Slab(
        index=medium.index,
        absorbed=0.0,
        scattered=FROSTED_SCATTERING,
        anisotropy=FROSTED_ANISOTROPY,
    )
    front = [frost] if layer.back == "frosted" else []
    return [*front, body, *([frost] if layer.finish == "frosted" else [])]


def _neighbour_index(layers: Sequence[Layer], number: int) -> ArrayLike:
    """Index of what a film without carrier lies on: the layer before, or after."""
    for other in (number - 1, number + 1):
        if 0 <= other < len(layers):
            layer = layers[other]
            if layer.medium is not None:
                return layer.medium.index
            if layer.diffuser is not None:
                return layer.diffuser.index
    return FILM_INDEX


def _tints(layer: Layer, slab: int) -> list[Tint]:
    place = ("slab", slab)
    found = [_dosed(d, layer, place) for d in layer.dosed]
    found += [_bathed(b, layer, place) for b in layer.bathed]
    return found + [_coat(c, place) for c in layer.coats]


def strength(colourant: Bottle | Dye, medium: Medium) -> float:
    """Peak absorbance per mm for 1 g of a bottle or dye per kg of a medium."""
    if isinstance(colourant, Bottle):
        return colourant.strength
    return dye_strength(colourant, density=medium.density)


def _dosed(dosed: Dosed, layer: Layer, place: tuple[str, int]) -> Tint:
    """Absorbance of a cast layer: strength x dose x thickness (Beer-Lambert)."""
    medium = layer.medium
    if medium is None:
        raise TypeError("a dosed layer has a medium")
    per_mm = strength(dosed.colourant, medium) * dosed.per_kg
    return Tint(
        colourant=dosed.colourant,
        place=place,
        shape=shape_of(dosed.colourant),
        absorbance=per_mm * layer.thickness,
        unevenness=0.0,
        origin=dosed,
    )


def _bathed(bathed: Bathed, layer: Layer, place: tuple[str, int]) -> Tint:
    return Tint(
        colourant=bathed.colourant,
        place=place,
        shape=shape_of(bathed.colourant),
        absorbance=float(
            sheet_absorbance(
                minutes=bathed.minutes,
                rate=bathed.rate,
                saturation=bathed.saturation,
                thickness=layer.thickness,
                faces=bathed.faces,
            )
        ),
        unevenness=0.0,
        origin=bathed,
    )


def _coat(coats: Coats, place: tuple[str, int]) -> Tint:
    ink = coats.ink
    return Tint(
        colourant=ink,
        place=place,
        shape=shape_of(ink),
        absorbance=float(
            coats_absorbance(
                first=ink.peak_absorbance, coats=coats.count, gain=ink.gain
            )
        ),
        unevenness=ink.unevenness,
        origin=coats,
    )


def _beam(light: Light, inset: Inset) -> Beam:
    """Scale an emitter to its lumens and find where its light goes first."""
    power = emitter_power(light.emitter, junction=light.junction)
    per_watt = MAXIMUM_EFFICACY * float(spectrum_to_XYZ(power)[1])
    exponent = float(beam_exponent(light.beam))
    share, cosines, weights = 1.0, *_free_beam(exponent)
    if inset.cavity is not None and inset.size is not None:
        width, height = inset.size
        share, cosines, weights = direct_light(
            width=width,
            height=height,
            depth=inset.cavity.depth,
            positions=led_positions(light.count, light.pitch, inset.size),
            exponent=exponent,
        )
    return Beam(
        power=power * (light.lumens * light.count / per_watt),
        exponent=exponent,
        share=float(share),
        cosines=cosines,
        weights=weights,
        light=light,
    )


def _free_beam(exponent: float) -> tuple[Array, Array]:
    """Gauss nodes of the weight (k+1) m^k, by m = u^(1/(k+1)), u even on (0, 1)."""
    nodes, weights = np.polynomial.legendre.leggauss(24)
    return ((nodes + 1) / 2) ** (1 / (exponent + 1)), weights / 2


def led_positions(
    count: int, pitch: float | None, size: tuple[float, float]
) -> NDArray[np.float64]:
    """Lay LEDs on a grid in the middle of the back, shape (count, 2). [mm]"""
    width, height = size
    columns = int(np.clip(round(np.sqrt(count * width / height)), 1, count))
    rows = -(-count // columns)
    across = pitch or width / columns
    down = pitch or height / rows
    spots = [
        ((i % columns - (columns - 1) / 2) * across, (i // columns) * down)
        for i in range(count)
    ]
    x, y = np.array(spots, dtype=float).T
    y = y - (rows - 1) / 2 * down
    inside = 0.999
    return np.stack(
        [
            np.clip(x, -width / 2 * inside, width / 2 * inside),
            np.clip(y, -height / 2 * inside, height / 2 * inside),
        ],
        axis=-1,
    )


def _back(cavity: Cavity | None, size: tuple[float, float] | None) -> Array:
    """What comes back from the box; nothing without one."""
    if cavity is None or size is None:
        return np.zeros(WAVELENGTHS.size)
    width, height = size
    inside = 2 * width * height + 2 * (width + height) * cavity.depth
    opening = width * height / inside
    return box_reflectance(wall=cavity.wall.reflectance, opening_share=opening)


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


def thinned(piece: Piece, step: int) -> Piece:
    """Return the piece on every `step`-th wavelength, for sampling its optics."""

    def thin(values: ArrayLike) -> Array:
        array = np.asarray(values, dtype=float)
        return array[..., ::step] if array.ndim else array

    return replace(
        piece,
        slabs=tuple(
            replace(
                slab,
                index=thin(slab.index),
                absorbed=thin(slab.absorbed),
                scattered=thin(slab.scattered),
                anisotropy=thin(slab.anisotropy),
            )
            for slab in piece.slabs
        ),
        back=thin(piece.back),
    )


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
    inset directly, and the stack's R and head-on factors G for direct and diffuse
    light (d), the series of bounces sums to

    L = P / (pi A) [s G_0 + (s R_0 + 1 - s) rho G_d / (1 - rho R_d)].

    The first bounce of light that misses the inset has the same multiplier rho as
    light that comes back from it (integrating-sphere series; Goebel 1967).
    """
    again = _again(piece, solution)
    found = []
    for beam, passed, direct in zip(
        piece.beams, filters, solution.lights[:-1], strict=True
    ):
        image = direct.regular_headon * (beam.exponent + 1) / 2
        G_0 = direct.headon + image
        returned = beam.share * direct.reflectance + 1 - beam.share
        arriving = beam.share * G_0 + returned * again
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


def veil_XYZ(room: Room, face: Array) -> tuple[Array, Array]:
    """XYZ that the unlit face sends to the viewer, and that of a perfect white.

    Returns
    -------
    tuple of ndarray, shape (..., 3) and (3,)
        Y in cd/m2.
    """
    per_lux = room.power / spectrum_to_XYZ(room.power)[1]
    white = spectrum_to_XYZ(per_lux * room.illuminance / np.pi)
    return spectrum_to_XYZ(per_lux * room.illuminance / np.pi * face), white


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
