"""The glow over the face of an inset, head-on, room light left out.

Values are linear and absolute: radiance weighted by responses, which are colour
matching functions or the sensitivities of a camera. The mean over the outline is the
head-on radiance of `tintlab.glow`.
"""

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tintlab.colorimetry import MAXIMUM_EFFICACY, spectrum_to_XYZ
from tintlab.errors import ModelError
from tintlab.inset import Inset, Outline
from tintlab.inset.relief import inside_of
from tintlab.inset.shapes import cell_means, cells
from tintlab.optics.quadrature import lagrange
from tintlab.piece import Piece, led_positions, piece_of
from tintlab.proof.map_blur import apparent_depth, blurred, sheets_of, transfer_of
from tintlab.proof.map_direct import dots, landing
from tintlab.proof.map_stack import Parts, parts_of, sampled
from tintlab.spectrum import WAVELENGTHS

Array = NDArray[np.float64]

SAMPLES = 80  # along the longer side, unless a spacing is asked for
MOST_SAMPLES = 2000
KNOTS = 7  # thicknesses solved for a relief


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FaceMap:
    """Glow over the face of an inset, head-on, room light left out.

    Attributes
    ----------
    spacing : float
        Between samples, both ways. [mm]
    x : ndarray, shape (n_x,)
        Sample centres, from the middle of the inset to the right. [mm]
    y : ndarray, shape (n_y,)
        The same, downwards as in pictures. [mm]
    inside : ndarray, shape (n_y, n_x)
        Share of each cell inside the outline, 0 to 1. [-]
    values : ndarray, shape (n_y, n_x, n_responses)
        Radiance weighted by each response; cd/m2 for those of `xyz_responses`.
        [W/(m2 sr), weighted]
    """

    spacing: float
    x: Array
    y: Array
    inside: Array
    values: Array

    def __post_init__(self) -> None:
        for field in fields(self)[1:]:
            values = np.array(getattr(self, field.name), dtype=float)
            values.setflags(write=False)
            object.__setattr__(self, field.name, values)


def xyz_responses() -> Array:
    """Return 683 lm/W times the CIE 1931 colour matching functions, shape (3, 401)."""
    return MAXIMUM_EFFICACY * spectrum_to_XYZ(np.eye(WAVELENGTHS.size)).T


def face_map(
    inset: Inset,
    *,
    responses: ArrayLike,
    spacing: float | None = None,
    piece: Piece | None = None,
) -> FaceMap:
    """Glow over the face of an inset.

    Parameters
    ----------
    inset : Inset
        With a size. Without a box behind it the light is even, since nobody knows
        where the LEDs are.
    responses : array_like, shape (n_responses, 401)
        Weights per nm, such as `xyz_responses()`.
    spacing : float, optional
        Between samples; 80 of them on the longer side unless given. [mm]
    piece : Piece, optional
        The numbers of the inset, when they are at hand.

    Returns
    -------
    FaceMap

    Raises
    ------
    ModelError
        When the inset has no size, or the spacing makes no sensible grid.

    Notes
    -----
    The direct light of an LED falls off by the inverse square and cosine laws; what
    a stack makes of it head-on depends on its incidence (`map_stack`) and is spread
    sideways (`map_blur`). The regular part shows each LED as an even disc, and what
    the box recycles is even. A relief changes the layer's own thickness from place
    to place; the box sees the mean.
    """
    outline = inset.outline
    if outline is None:
        raise ModelError(
            f'asked for the glow over the face of "{inset.name}", whose size is not '
            'known; write [inset] with size = "40 x 60 mm"'
        )
    cell = _checked(spacing or max(outline.size) / SAMPLES, outline)
    piece = piece or piece_of(inset)
    return mapped(inset, piece, np.asarray(responses, dtype=float), cell=cell)


def mapped(
    inset: Inset,
    piece: Piece,
    weights: Array,
    *,
    cell: float,
    step: int = 1,
    images: bool = True,
) -> FaceMap:
    """Work out a face map.

    Parameters
    ----------
    inset, piece, weights, cell
        As for `face_map`, checked.
    step : int
        Piece and weights hold every `step`-th wavelength only.
    images : bool
        Whether the images of the LEDs are drawn in.
    """
    outline = inset.outline
    if outline is None:
        raise TypeError("the caller has seen the outline")
    x, y = cells(outline.size, cell)
    inside = inside_of(outline, x=x, y=y, cell=cell)
    mean = parts_of(piece, weights)
    places = _places(inset, outline, x=x, y=y, cell=cell)
    ways = [
        _ways(inset, piece, i, mean=mean, x=x, y=y, cell=cell, inside=inside)
        for i in range(len(piece.beams))
    ]
    values = np.zeros((y.size, x.size, len(weights)))
    for share, local in _zones(inset, piece, weights, mean, places, step):
        for i, (direct, scale, image) in enumerate(ways):
            if direct is None:
                here = local.scattered_mean[i]
            else:
                here = direct @ local.scattered[i] * scale
            if images:
                here = here + image[..., None] * local.image[i]
            here = here + local.recycled[i]
            values += share[..., None] * here
    return FaceMap(spacing=cell, x=x, y=y, inside=inside, values=values)


def _checked(cell: float, outline: Outline) -> float:
    most = max(outline.size) / cell if cell > 0 else np.inf
    if not (cell > 0 and most <= MOST_SAMPLES):
        raise ModelError(
            f"asked for samples every {cell:g} mm over {outline.size[0]:g} x "
            f"{outline.size[1]:g} mm; give a spacing above 0 and at most "
            f"{MOST_SAMPLES} samples a side"
        )
    return cell


def _ways(
    inset: Inset,
    piece: Piece,
    i: int,
    *,
    mean: Parts,
    x: Array,
    y: Array,
    cell: float,
    inside: Array,
) -> tuple[Array | None, Array, Array]:
    """Pattern of one sort of LED: direct light, its scale per response, images."""
    beam, outline = piece.beams[i], inset.outline
    even = np.ones_like(inside)
    if inset.cavity is None or outline is None:
        return None, np.ones(1), even
    positions = led_positions(beam.light, outline)
    sheets = sheets_of(inset, piece)
    direct = 1e6 * landing(
        x=x,
        y=y,
        cell=cell,
        outline=outline,
        positions=positions,
        depth=inset.cavity.depth + apparent_depth(sheets),
        exponent=beam.exponent,
    )  # 1/mm2 to 1/m2
    image = dots(
        x=x, y=y, cell=cell, inside=inside, positions=positions,
        package=beam.light.package,
    )  # fmt: skip
    lobe = mean.scattered[i].sum(axis=-1)
    if not lobe.any():
        return direct, np.zeros(mean.image.shape[-1]), image
    direct = blurred(
        direct, inside=inside, cell=cell, transfer=transfer_of(sheets, lobe)
    )
    found = (inside[..., None] * (direct @ mean.scattered[i])).sum(axis=(0, 1))
    wanted = mean.scattered_mean[i] * inside.sum()
    scale = np.divide(wanted, found, out=np.zeros_like(found), where=found != 0)
    return direct, scale, image


def _places(
    inset: Inset, outline: Outline, *, x: Array, y: Array, cell: float
) -> tuple[int, Array] | None:
    """Number of the layer with a relief and its thickness over the face. [mm]"""
    for number, layer in enumerate(inset.layers):
        if layer.relief is not None:
            local = cell_means(layer.relief, size=outline.size, x=x, y=y, cell=cell)
            return number, local
    return None


def _zones(
    inset: Inset,
    piece: Piece,
    responses: Array,
    mean: Parts,
    places: tuple[int, Array] | None,
    step: int,
) -> Iterator[tuple[Array, Parts]]:
    """Yield parts at some thicknesses and their weight at every place.

    The weights are the Lagrange polynomials of Chebyshev nodes between the thinnest
    and the thickest place.
    """
    if places is None or np.ptp(places[1]) < 1e-9 * places[1].max():
        yield np.ones((1, 1)), mean
        return
    number, local = places
    low, high = local.min(), local.max()
    angles = np.pi * (np.arange(KNOTS) + 0.5) / KNOTS
    knots = (low + high) / 2 + (high - low) / 2 * np.cos(angles)
    shares = lagrange(nodes=knots, points=local.ravel()).reshape(*local.shape, KNOTS)
    for k, thickness in enumerate(knots):
        own = with_thickness(inset, piece, {number: float(thickness)}, step=step)
        yield shares[..., k], parts_of(own, responses, like=mean)


def with_thickness(
    inset: Inset, piece: Piece, thickness: dict[int, float], *, step: int = 1
) -> Piece:
    """Return a piece with some of its layers at another thickness. [mm]

    Its LEDs, box and leak stay as they are.
    """
    layers = list(inset.layers)
    for number, value in thickness.items():
        layers[number] = replace(layers[number], thickness=value)
    other = sampled(piece_of(replace(inset, layers=tuple(layers))), step)
    return replace(piece, slabs=other.slabs, tints=other.tints)
