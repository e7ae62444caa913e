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
from tintlab.colourants import Bottle, Dye, Ink, dye_strength, in_cure, shape_of
from tintlab.inset import Bathed, Coats, Dosed, Inset, Layer, Light, Outline
from tintlab.inset.relief import inside_of
from tintlab.inset.shapes import area, cells, contains
from tintlab.materials import Medium, emitter_power
from tintlab.optics import (
    Slab,
    beam_exponent,
    box_reflectance,
    coats_absorbance,
    direct_light_within,
    irradiance,
)
from tintlab.optics.quadrature import condensed
from tintlab.spectrum import WAVELENGTHS
from tintlab.uptake import sheet_absorbance

Array = NDArray[np.float64]

LN10 = np.log(10.0)
FROSTED_SCATTERING, FROSTED_ANISOTROPY = 0.9, 0.8  # sanded face as a layer, assumed
FILM_INDEX = 1.5  # of an ink film by itself, assumed
MOST_PLACES = 500  # of LEDs whose light is followed
SPOTS, LLOYD_ROUNDS = 81, 20  # where LEDs may sit along the longer side
MASK_CELLS, MOST_CELLS = 120, 800  # along the longer side of a mask
OUTERMOST = 0.999  # LEDs on a grid sit within this share of the box


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
        back=_back(inset),
        area=inset.outline.area * 1e-6 if inset.outline else 1.0,
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
    one = dosed.colourant
    one = in_cure(one, layer.cure) if isinstance(one, Bottle) else one
    per_mm = strength(one, medium) * dosed.per_kg
    return Tint(
        colourant=one,
        place=place,
        shape=shape_of(one),
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
    if inset.cavity is not None and inset.outline is not None:
        share, cosines, weights = _landing(
            inset.outline,
            depth=inset.cavity.depth,
            positions=led_positions(light, inset.outline),
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


def _landing(
    outline: Outline, *, depth: float, positions: Array, exponent: float
) -> tuple[float, Array, Array]:
    """Share of an LED's light that meets the inset at once, and its cosines."""
    share, cosines, weights = direct_light_within(
        corners=outline.corners, depth=depth, positions=positions, exponent=exponent
    )
    if outline.mask is None:
        return share, cosines, weights
    # behind a mask the part that meets its openings, by the cells of a grid
    longest = max(outline.size)
    cell = max(min(longest / MASK_CELLS, depth / 4), longest / MOST_CELLS)
    x, y = cells(outline.size, cell)
    points = np.stack(np.meshgrid(x, y), axis=-1)
    E, m = irradiance(
        points=points, positions=positions, depth=depth, exponent=exponent
    )
    open_ = inside_of(outline, x=x, y=y, cell=cell)[..., None]
    few, parts = condensed(nodes=m.ravel(), weights=(E * open_).ravel(), count=12)
    return share * float((E * open_).sum() / E.sum()), few, parts / parts.sum()


def led_positions(light: Light, outline: Outline) -> Array:
    """Lay LEDs on the back, as written or on a grid, shape (count, 2). [mm]

    In a round box or one with corners of its own they are strewn evenly, unless a
    pitch is given; a place outside then moves to the nearest one inside. Of more than
    500 LEDs, 500 drawn evenly stand for all.
    """
    strewn = light.pitch is None and outline.kind in ("circle", "polygon")
    if light.positions:
        places = _some(np.array(light.positions, dtype=float))
    elif strewn:
        places = _strewn(min(light.count, MOST_PLACES), _spots(outline))
    else:
        places = _some(_grid(light, outline.size))
    out = ~contains(outline.corners, places)
    if out.any():
        spots = _spots(outline)
        away = ((places[out, None] - spots) ** 2).sum(axis=-1)
        places[out] = spots[away.argmin(axis=1)]
    return places


def _spots(outline: Outline) -> Array:
    """Places inside an outline, on a fine grid, shape (n, 2)."""
    x, y = cells(outline.size, max(outline.size) / SPOTS)
    spots = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    return np.asarray(spots[contains(outline.corners, spots)])


def _strewn(count: int, spots: Array) -> Array:
    """Spread LEDs evenly: each in the middle of what lies nearest to it.

    Lloyd's rounds (IEEE Trans. Inf. Theory 28 (1982) 129; from memory), from places
    each as far as can be from those before it.
    """
    places = [spots[((spots - spots.mean(axis=0)) ** 2).sum(axis=1).argmin()]]
    nearest = ((spots - places[0]) ** 2).sum(axis=1)
    for _ in range(count - 1):
        places.append(spots[nearest.argmax()])
        nearest = np.minimum(nearest, ((spots - places[-1]) ** 2).sum(axis=1))
    found = np.array(places)
    for _ in range(LLOYD_ROUNDS):
        owner = ((spots[:, None] - found) ** 2).sum(axis=-1).argmin(axis=1)
        owned = np.maximum(np.bincount(owner, minlength=count), 1)
        sums = [np.bincount(owner, weights=w, minlength=count) for w in spots.T]
        found = np.stack(sums, axis=-1) / owned[:, None]
    # the middle of a bent region may lie outside; its nearest spot does not
    away = ((found[:, None] - spots) ** 2).sum(axis=-1)
    return np.asarray(spots[away.argmin(axis=1)])


def _some(places: Array) -> Array:
    if len(places) <= MOST_PLACES:
        return places
    # multiples of the golden ratio fall evenly, and across the rows of a grid
    golden = np.arange(MOST_PLACES) * (np.sqrt(5) - 1) / 2 % 1
    return np.asarray(places[(golden * len(places)).astype(int)])


def _grid(light: Light, size: tuple[float, float]) -> Array:
    """LEDs on a grid in the middle of the back, shape (count, 2). [mm]"""
    (width, height), count = size, light.count
    columns = int(np.clip(round(np.sqrt(count * width / height)), 1, count))
    rows = -(-count // columns)
    across, down = light.pitch or width / columns, light.pitch or height / rows
    row, column = np.divmod(np.arange(count), columns)
    in_row = np.where(row < rows - 1, columns, count - (rows - 1) * columns)
    x = (column - (in_row - 1) / 2) * across
    y = (row - (rows - 1) / 2) * down
    reach = OUTERMOST * np.array(size) / 2
    return np.clip(np.stack([x, y], axis=-1), -reach, reach)


def _back(inset: Inset) -> Array:
    """What comes back from the box; nothing without one."""
    if inset.cavity is None or inset.outline is None:
        return np.zeros(WAVELENGTHS.size)
    outline = inset.outline
    ends = 2 * area(outline.corners)
    inside = ends + outline.girth * inset.cavity.depth
    return box_reflectance(
        wall=inset.cavity.wall.reflectance, opening_share=outline.area / inside
    )


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
