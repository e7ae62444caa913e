"""An inset as numbers on the working grid: beams, slabs, tints and the box.

A cast layer obeys Beer and Lambert, a dyed sheet the law of its bath, coats on an LED
their own. A frosted face is a thin layer that scatters, and the LEDs lie on a grid
behind the inset.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tintlab.colorimetry import MAXIMUM_EFFICACY, spectrum_to_XYZ
from tintlab.colourants import Bottle, Dye, Ink, dye_strength, shape_of
from tintlab.inset import Bathed, Cavity, Coats, Dosed, Inset, Layer, Light
from tintlab.materials import Medium, emitter_power
from tintlab.optics import (
    Slab,
    beam_exponent,
    box_reflectance,
    coats_absorbance,
    direct_light,
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
