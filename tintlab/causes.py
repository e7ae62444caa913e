"""What is not known exactly about a piece, each cause as one normal number.

Every cause is a standard normal number z: log-normal for strengths, doses, drops and
thickness (5-95 % at z = -+1.645), shifts and widths for band shapes, a disc for the
bin of an LED. A cause moves a `Draw`, n plausible pieces at once; `tintlab.spread`
finds what comes out of them.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from tintlab.colourants import (
    Bottle,
    Colourant,
    Dye,
    Ink,
    dyes_of,
    shape_spread,
    unmeasured,
)
from tintlab.inset import Bathed, Dosed, Inset
from tintlab.piece import Piece, Tint
from tintlab.spectrum import WAVELENGTHS

Array = NDArray[np.float64]

Z95 = NormalDist().inv_cdf(0.95)  # 1.645
THICKNESS = 0.03  # standard deviation of a layer's thickness, at least; assumed
CALIPER = 0.1  # [mm] standard deviation of a thickness taken with calipers; assumed
SCALE = 0.1  # [g] step of the scale; half of it is the limit of a reading
FINE = 0.05  # relative standard deviation of a dose below half a step; assumed
LIGHT = 0.15  # relative standard deviation of stated lumens; assumed
LIGHT_ASSUMED = 0.45  # the same where lumens are a typical value; assumed
OWN_GLOW = 0.15  # share of absorbed light given back, one deviation; assumed
PUMP = 500.0  # [nm] light below this makes fluorescent dyes glow


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cause:
    """One thing that is not known exactly.

    Attributes
    ----------
    label : str
        In a maker's words.
    kind : str
        "strength", "shape", "dose", "thickness", "coats", "bin" or "light".
    name : str
        Of the material it belongs to.
    unmeasured : bool
        True when a test chip would settle it.
    move : callable
        Takes a `Draw` and z of shape (n,) and returns the moved `Draw`.
    """

    label: str
    kind: str
    name: str
    unmeasured: bool
    move: Callable[["Draw", Array], "Draw"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Draw:
    """n plausible pieces.

    Attributes
    ----------
    scale, shift, broadening : ndarray, shape (n, n_tints)
        Of each tint: factor on its absorbance, band shift [nm], width factor.
    tilt : ndarray, shape (n, n_beams, 2)
        Steps within the bin of each LED, in standard deviations.
    light : ndarray, shape (n,)
        Factor on all light.
    own : ndarray, shape (n, n_tints)
        Share of the absorbed light that a fluorescent dye gives back.
    leak : ndarray, shape (n,)
        Share of the undyed piece's light that gets past the dyes.
    """

    scale: Array
    shift: Array
    broadening: Array
    tilt: Array
    light: Array
    own: Array
    leak: Array


def blank(n: int, piece: Piece) -> Draw:
    """Return n draws in which nothing is moved."""
    tints = (n, len(piece.tints))
    return Draw(
        scale=np.ones(tints),
        shift=np.zeros(tints),
        broadening=np.ones(tints),
        tilt=np.zeros((n, len(piece.beams), 2)),
        light=np.ones(n),
        own=np.zeros(tints),
        leak=np.full(n, piece.leak),
    )


def causes_of(inset: Inset, piece: Piece) -> list[Cause]:
    """List everything about a piece that is not known exactly."""
    causes: list[Cause] = []
    causes += _strength_causes(piece)
    causes += _shape_causes(piece)
    causes += _own_glow_causes(piece)
    causes += _dose_causes(piece)
    causes += _thickness_causes(inset, piece)
    for j, light in enumerate(inset.lights):
        causes += _bin_causes(j, light.emitter.name, light.emitter.kind)
    assumed = any(light.assumed for light in inset.lights)
    causes.append(_light_cause(LIGHT_ASSUMED if assumed else LIGHT))
    return causes


def _tints_of(piece: Piece, colourant: Colourant | Dye) -> list[int]:
    return [i for i, tint in enumerate(piece.tints) if tint.colourant is colourant]


def _colourants(piece: Piece) -> list[Bottle | Dye | Ink]:
    return list({id(tint.colourant): tint.colourant for tint in piece.tints}.values())


def draw_scales(
    columns: Sequence[int], deviation: float
) -> Callable[[Draw, Array], Draw]:
    """Return a move that scales some tints log-normally."""

    def move(draw: Draw, z: Array) -> Draw:
        scale = draw.scale.copy()
        scale[:, columns] *= np.exp(z * deviation)[:, None]
        return replace(draw, scale=scale)

    return move


def _strength_causes(piece: Piece) -> list[Cause]:
    found = []
    for one in _colourants(piece):
        spread = one.strength_spread if isinstance(one, Dye) else one.spread
        if spread > 1:
            found.append(
                Cause(
                    label=f"strength of {one.name}",
                    kind="strength",
                    name=one.name,
                    unmeasured=unmeasured(one),
                    move=draw_scales(_tints_of(piece, one), np.log(spread) / Z95),
                )
            )
    return found


def _shape_causes(piece: Piece) -> list[Cause]:
    """Band shift ("hue") and width ("purity"); a metered colourant has neither."""
    found = []
    for one in _colourants(piece):
        shift, width = shape_spread(one)
        wide = np.log(width) / Z95
        columns = _tints_of(piece, one)
        for label, by, width in (("hue", shift, 0.0), ("purity", 0.0, wide)):
            if by > 0 or width > 0:
                found.append(
                    Cause(
                        label=f"{label} of {one.name}",
                        kind="shape",
                        name=one.name,
                        unmeasured=unmeasured(one),
                        move=_moves(columns, by, width),
                    )
                )
    return found


def _moves(
    columns: Sequence[int], shift: float, wide: float
) -> Callable[[Draw, Array], Draw]:
    def move(draw: Draw, z: Array) -> Draw:
        shifts, widths = draw.shift.copy(), draw.broadening.copy()
        shifts[:, columns] += (z * shift)[:, None]
        widths[:, columns] *= np.exp(z * wide)[:, None]
        return replace(draw, shift=shifts, broadening=widths)

    return move


def glowing(piece: Piece) -> list[int]:
    """Return the tints that fluoresce and meet blue or violet light."""
    power: Array = np.asarray(sum(beam.power for beam in piece.beams))
    pumped = power[WAVELENGTHS < PUMP].sum() > 0.05 * power.sum()
    return [
        i
        for i, tint in enumerate(piece.tints)
        if pumped
        and tint.absorbance > 0
        and any(dye.fluoresces for dye in dyes_of(tint.colourant))
    ]


def _own_glow_causes(piece: Piece) -> list[Cause]:
    columns = glowing(piece)

    def move(draw: Draw, z: Array) -> Draw:
        own = draw.own.copy()
        own[:, columns] += np.abs(z)[:, None] * OWN_GLOW
        return replace(draw, own=own)

    names = ", ".join(dict.fromkeys(piece.tints[i].colourant.name for i in columns))
    label = f"own glow of {names}"
    one = Cause(label=label, kind="own glow", name=names, unmeasured=True, move=move)
    return [one] if columns else []


def _dose_causes(piece: Piece) -> list[Cause]:
    found = []
    for i, tint in enumerate(piece.tints):
        deviation = dose_deviation(tint)
        if deviation > 0:
            found.append(
                Cause(
                    label=f"dose of {tint.colourant.name}",
                    kind="dose",
                    name=tint.colourant.name,
                    unmeasured=False,
                    move=draw_scales([i], deviation),
                )
            )
    return found


def dose_deviation(tint: Tint) -> float:
    """Relative standard deviation of what is measured out."""
    origin = tint.origin
    if isinstance(origin, Bathed):
        return 0.1  # a minute or a degree more or less; assumed
    if not isinstance(origin, Dosed) or origin.grams <= 0:
        return 0.0
    if origin.dose.unit == "drops" and isinstance(origin.colourant, Bottle):
        return float(np.log(origin.colourant.drop_spread) / Z95)
    weighed = origin.grams / origin.dose.let_down
    if weighed < SCALE / 2:
        return FINE
    return float(SCALE / 2 / np.sqrt(3) / weighed)


def _thickness_causes(inset: Inset, piece: Piece) -> list[Cause]:
    found = []
    for number, layer in enumerate(inset.layers):
        columns = [
            i
            for i, tint in enumerate(piece.tints)
            if tint.place[0] == "slab"
            and piece.bodies[tint.place[1]] == number
            and isinstance(tint.origin, Dosed)
        ]
        if columns:
            deviation = max(THICKNESS, CALIPER / layer.thickness)
            found.append(
                Cause(
                    label=f"thickness of layer {number + 1}",
                    kind="thickness",
                    name="",
                    unmeasured=False,
                    move=draw_scales(columns, deviation),
                )
            )
    return found


def _bin_causes(j: int, name: str, kind: str) -> list[Cause]:
    def along(axis: int) -> Callable[[Draw, Array], Draw]:
        def move(draw: Draw, z: Array) -> Draw:
            tilt = draw.tilt.copy()
            tilt[:, j, axis] += z
            return replace(draw, tilt=tilt)

        return move

    axes = (0,) if kind == "single colour" else (0, 1)
    words = ("LED bin", "LED bin, second axis")
    return [
        Cause(
            label=f"{words[axis]} of {name}",
            kind="bin",
            name=name,
            unmeasured=False,
            move=along(axis),
        )
        for axis in axes
    ]


def _light_cause(deviation: float) -> Cause:
    def move(draw: Draw, z: Array) -> Draw:
        return replace(draw, light=draw.light * np.exp(z * deviation))

    return Cause(
        label="light output", kind="light", name="", unmeasured=False, move=move
    )
