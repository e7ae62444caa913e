"""What a dose is searched for, as numbers: the target, the layer, bottles and stack."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tintlab import yardstick
from tintlab.colorimetry import (
    MAXIMUM_EFFICACY,
    XYZ_to_Lab,
    delta_e_2000,
    delta_e_2000_parts,
    spectrum_to_XYZ,
    tables,
)
from tintlab.colourants import Bottle, in_cure, shape_of
from tintlab.errors import InsetError
from tintlab.glow import undyed, white_in
from tintlab.inset import Inset, Layer, Target
from tintlab.piece import LN10, piece_of
from tintlab.solve.response import Response, response_of
from tintlab.uptake import sheet_absorbance

Array = NDArray[np.float64]

LONGEST = 120  # [min] in a bath
LOADING = 0.05  # of liquid colourant where the medium names no limit; common practice
STEP = 4  # [nm] of the search; doses are scored at 1 nm
WELL_INSIDE = 0.004  # u'v' from the edge of a region, beyond which all is as good


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Problem:
    """Everything the search needs, as numbers.

    Attributes
    ----------
    inset, target, layer, number
        What is asked, the layer and its position.
    bottles : tuple of Bottle
    shapes : ndarray, shape (n_bottles, n_wavelengths)
    caps : ndarray, shape (n_bottles,)
        Largest peak absorbance that the loading limit or the bath allows.
    fine, coarse : Response
        At 1 nm and at `STEP` nm.
    anchor : float
        Luminance of the undyed piece. [cd/m2]
    room : ndarray, shape (401,)
        Spectral radiance of a perfect white in the room. [W/(m2 sr nm)]
    """

    inset: Inset
    target: Target
    layer: Layer
    number: int
    bottles: tuple[Bottle, ...]
    shapes: Array
    caps: Array
    fine: Response
    coarse: Response
    anchor: float
    room: Array

    def seen(
        self, amounts: Array, which: NDArray[np.intp], step: int = 1
    ) -> tuple[Array, Array]:
        """XYZ of glow and veil, and of the face, for doses of shape (..., k)."""
        depth = self.depth(amounts, which, step)
        response = self.fine if step == 1 else self.coarse
        return self.colours(*response.radiance_and_face(depth), step)

    def depth(self, amounts: Array, which: NDArray[np.intp], step: int) -> Array:
        """Napierian depth of doses, shape (..., n_wavelengths)."""
        shapes = self.shapes[:, ::step][which]
        return LN10 * np.einsum("...k,...kw->...w", amounts, shapes)

    def colours(self, lit: Array, face: Array, step: int) -> tuple[Array, Array]:
        """XYZ of glow and veil, and of the face, from radiance and face factor."""
        weights = tables().observer[::step] * step * MAXIMUM_EFFICACY
        glow = lit @ weights / self.anchor
        room = self.room[::step]
        white = (room @ weights)[1]
        veil = (face * room) @ weights
        kept = 1.0 if self.inset.size else 0.0
        return glow + kept * veil / self.anchor, veil / white if white > 0 else veil

    def difference(self, glow: Array, face: Array) -> Array:
        """The number that is minimised, shape (...)."""
        target = self.target
        if target.region is not None:
            # well inside is inside: the rest is decided by light and dye
            far = yardstick.region_distance(glow, target.region.corners)
            return np.maximum(far, -WELL_INSIDE)
        if target.Lab is None:
            raise InsetError("the target has no colour")
        gap = yardstick.difference(glow, target.Lab, lightness=target.lightness)
        if target.face_Lab is None:
            return gap
        unlit = delta_e_2000(XYZ_to_Lab(_as_daylight(self, face)), target.face_Lab)
        return (1 - target.face_weight) * gap + target.face_weight * unlit

    def parts(self, glow: Array, face: Array) -> Array:
        """Residuals (..., m) whose squares add to the square of `difference`.

        For a region they lead well inside it, and with a wanted face both squares are
        weighted instead of both differences.
        """
        target = self.target
        if target.region is not None:
            corners = target.region.corners
            return 500 * yardstick.region_parts(glow, corners, inside=WELL_INSIDE)
        if target.Lab is None:
            raise InsetError("the target has no colour")
        r = yardstick.difference_parts(glow, target.Lab, lightness=target.lightness)
        if target.face_Lab is None:
            return r
        Lab = XYZ_to_Lab(_as_daylight(self, face))
        unlit = delta_e_2000_parts(Lab, target.face_Lab)
        w = target.face_weight
        return np.concatenate([np.sqrt(1 - w) * r, np.sqrt(w) * unlit], axis=-1)

    def light_kept(self, amounts: Array, which: NDArray[np.intp]) -> Array:
        """Y of the glow without veil over that of the undyed piece."""
        lit = self.fine.radiance(self.depth(amounts, which, 1))
        return spectrum_to_XYZ(lit)[..., 1] * MAXIMUM_EFFICACY / self.anchor


def _as_daylight(problem: Problem, face: Array) -> Array:
    """Face XYZ relative to the room's white, on the scale of D65 (as `glow.seen`)."""
    white = spectrum_to_XYZ(problem.room)
    return face / (white / white[1]) * tables().white


def problem_of(
    inset: Inset, bottles: Sequence[Bottle], *, layer: int | None = None
) -> Problem:
    """Prepare the search; see `doses`."""
    if inset.target is None:
        raise InsetError(
            f'"{inset.name}" has no [target]; a dose is found for a colour that is '
            "wanted: add lab, hex, picture or region"
        )
    number = layer_number(inset, layer)
    chosen = inset.layers[number]
    if not bottles:
        raise InsetError(
            "there is no bottle to choose from; name some with --bottle, or put your "
            "own into shelf/bottles/"
        )
    bottles = [in_cure(bottle, chosen.cure) for bottle in bottles]
    bare = replace(chosen, dosed=(), bathed=())
    layers = (*inset.layers[:number], bare, *inset.layers[number + 1 :])
    plain = replace(inset, layers=layers)
    piece = piece_of(plain)
    body = piece.bodies.index(number) + (
        chosen.back == "frosted" and chosen.medium is not None
    )
    fine = response_of(piece, body)
    room = white_in(inset.room)
    if not room.any():
        room = inset.room.power * 1e-12
    return Problem(
        inset=plain,
        target=inset.target,
        layer=chosen,
        number=number,
        bottles=tuple(bottles),
        shapes=np.stack([shape_of(bottle) for bottle in bottles]),
        caps=np.array([_cap(chosen, bottle) for bottle in bottles]),
        fine=fine,
        coarse=fine.thinned(STEP),
        anchor=float(spectrum_to_XYZ(undyed(piece))[1] * MAXIMUM_EFFICACY),
        room=room,
    )


def layer_number(inset: Inset, layer: int | None) -> int:
    """Return the position of the layer to dose: the last cast one, or last sheet."""
    able = [i for i, one in enumerate(inset.layers) if one.kind in ("cast", "sheet")]
    if layer is not None:
        if layer not in able:
            raise InsetError(
                f"asked to dose layer {layer + 1}; layers that can be dosed: "
                f"{', '.join(str(i + 1) for i in able) or 'none'}"
            )
        return layer
    cast = [i for i in able if inset.layers[i].kind == "cast"]
    if not able:
        raise InsetError(
            f'"{inset.name}" has no cast layer and no sheet; add a [[layer]] to dose'
        )
    return (cast or able)[-1]


def _cap(layer: Layer, bottle: Bottle) -> float:
    """Largest peak absorbance of one bottle by itself."""
    if layer.kind == "sheet":
        return float(bath(layer, bottle, LONGEST))
    if layer.batch is None:
        raise InsetError('the cast layer needs its batch = "50 g" before it is dosed')
    limit = LOADING if layer.medium is None else layer.medium.loading_limit or LOADING
    return bottle.strength * limit * 1000 * layer.thickness


def bath(layer: Layer, bottle: Bottle, minutes: ArrayLike) -> Array:
    """Peak absorbance of a sheet after some minutes in a bath of one bottle."""
    return sheet_absorbance(
        minutes=minutes,
        rate=bottle.bath_rate,
        saturation=bottle.bath_saturation,
        thickness=layer.thickness,
    )
