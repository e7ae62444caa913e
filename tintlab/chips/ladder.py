"""Test chips and what was read of them, as records.

A sight is always a ratio to the blank: an undyed chip over the same light. What stands
in a chips file, and how it is read, is in `tintlab.chips.ladder_file`.
"""

from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tintlab.colourants import Bottle, Colourant, Ink, in_cure
from tintlab.errors import InsetError
from tintlab.inset import Bathed, Coats, Dosed, Layer
from tintlab.materials import Diffuser, Emitter

Array = NDArray[np.float64]

# stray light over that of the blank: veiling glare and reflections in a phone's lens
# are 0.2 to 5 % (5-95 %), and what is left when an opaque patch took it out; assumed
STRAY, STRAY_LEFT = 0.01, 0.001


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sight:
    """What was read of one chip.

    Attributes
    ----------
    kind : str
        "camera", "light", "colour" or "spectrum".
    value, sigma : ndarray, shape (m,)
        Ratios to the blank and their standard errors; m is 3, 1, 3 or 0. [-]
    usable : ndarray of bool, shape (m,)
    common : float
        Relative error that all channels, and all chips of one picture, share. [-]
    file : Path or None
        Of a spectrum.
    """

    kind: str
    value: Array
    sigma: Array
    usable: NDArray[np.bool_]
    common: float = 0.0
    file: Path | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Chip:
    """One test piece: its name, its layer, and what was read of it."""

    name: str
    layer: Layer
    sight: Sight


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Weighed:
    """Mean mass of one drop [g] and its relative standard deviation [-]."""

    bottle: str
    drop: float
    deviation: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ladder:
    """A set of chips over one light.

    Attributes
    ----------
    emitter : Emitter
    under : Diffuser or None
    chips : tuple of Chip
    weighed : tuple of Weighed
    raw : bool
        Whether channel ratios are the sensor's own.
    tone : float
        Relative deviation of the unknown exponent of the camera's tone curve. [-]
    stray : float
        Median of the stray light that may still be in the readings, over the light of
        the blank. [-]
    key : str
        By which evidence from these chips is told from other evidence.
    together : dict of (str, str) to float
        Correlation of the errors of the log strengths of two bottles, as earlier chips
        left them. [-]
    """

    name: str
    path: Path
    emitter: Emitter
    under: Diffuser | None
    chips: tuple[Chip, ...]
    weighed: tuple[Weighed, ...] = ()
    raw: bool = False
    tone: float = 0.0
    stray: float = STRAY
    lot: str = ""
    key: str = ""
    notes: tuple[str, ...] = ()
    together: dict[tuple[str, str], float] = field(default_factory=dict)


def colourants(ladder: Ladder) -> dict[str, Colourant]:
    """Return every bottle and ink of a ladder by name."""
    found: dict[str, Colourant] = {}
    for chip in ladder.chips:
        layer = chip.layer
        parts = [
            *(d.colourant for d in layer.dosed),
            *(b.colourant for b in layer.bathed),
            *(c.ink for c in layer.coats),
        ]
        for one in parts:
            if not isinstance(one, Colourant):
                raise InsetError(
                    f'{ladder.path.name}: the chip "{chip.name}" holds the dye '
                    f'"{one.name}" by itself; chips teach about bottles and inks; '
                    "make a bottle of it first"
                )
            found[one.name] = one
    return found


def cures_of(ladder: Ladder, one: Colourant) -> tuple[str, ...]:
    """Return the cures that a bottle was cast in, the one it is known in first.

    One empty text when there is no cast chip of it, or none says in what it cured.
    """
    found = dict.fromkeys(
        chip.layer.cure
        for chip in ladder.chips
        for dosed in chip.layer.dosed
        if dosed.colourant.name == one.name
    )
    known = one.cure if isinstance(one, Bottle) else ""
    return tuple(sorted(found, key=lambda cure: cure != known)) or ("",)


def as_cast(one: Colourant, cure: str) -> Colourant:
    """Return a bottle as it is in one cure, an ink as it is."""
    return in_cure(one, cure) if isinstance(one, Bottle) else one


def with_colourants(ladder: Ladder, new: dict[str, Colourant]) -> Ladder:
    """Return the ladder with some bottles or inks exchanged, by name."""
    chips = tuple(replace(c, layer=exchanged(c.layer, new)) for c in ladder.chips)
    return replace(ladder, chips=chips)


def exchanged(layer: Layer, new: dict[str, Colourant]) -> Layer:
    """Return a layer with some bottles or inks exchanged, by name."""
    return replace(
        layer,
        dosed=tuple(_dosed(d, new) for d in layer.dosed),
        bathed=tuple(_bathed(b, new) for b in layer.bathed),
        coats=tuple(_coats(c, new) for c in layer.coats),
    )


def _bathed(bathed: Bathed, new: dict[str, Colourant]) -> Bathed:
    """Exchange the bottle; the bath's rate follows unless the chips file gave one."""
    old, bottle = bathed.colourant, new.get(bathed.colourant.name)
    if not isinstance(bottle, Bottle):
        return bathed
    return replace(
        bathed,
        colourant=bottle,
        rate=bathed.rate * bottle.bath_rate / old.bath_rate,
        saturation=bathed.saturation * bottle.bath_saturation / old.bath_saturation,
    )


def _coats(coats: Coats, new: dict[str, Colourant]) -> Coats:
    ink = new.get(coats.ink.name)
    return replace(coats, ink=ink) if isinstance(ink, Ink) else coats


def _dosed(dosed: Dosed, new: dict[str, Colourant]) -> Dosed:
    """Exchange the bottle; grams of liquid counted in drops follow its drop."""
    old, bottle = dosed.colourant, new.get(dosed.colourant.name)
    if not isinstance(old, Bottle) or not isinstance(bottle, Bottle):
        return dosed
    scale = bottle.drop / old.drop if dosed.dose.unit == "drops" else 1.0
    return replace(
        dosed,
        colourant=bottle,
        grams=dosed.grams * scale,
        per_kg=dosed.per_kg * scale,
    )
