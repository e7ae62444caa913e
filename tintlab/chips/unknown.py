"""What is not known about a set of chips, one standard normal number each.

As in `tintlab.spread`, with what comes on top of it in a picture: stray light, the
tone curve and the camera itself.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from tintlab.causes import CALIPER, OWN_GLOW, THICKNESS, Z95, dose_deviation
from tintlab.chips import camera
from tintlab.chips.ladder import Chip, Ladder, as_cast, colourants, cures_of
from tintlab.colourants import (
    CURED_SHIFT,
    CURED_SPREAD,
    Bottle,
    Colourant,
    Ink,
    shape_spread,
)
from tintlab.inset import Coats, Dosed, Inset, Layer, Light
from tintlab.materials import Room
from tintlab.piece import Tint, piece_of
from tintlab.spectrum import WAVELENGTHS, Source

STRAY_LOG = 1.0  # log deviation of the stray light; assumed, as all below
SHARE = float(np.log(1.5) / Z95)  # log deviation of a second dye's share; assumed
GAIN = float(np.log(1.25) / Z95)  # of the gain of further coats; assumed
DROP_COUNT = 0.08  # relative deviation of one drop; that of n is this over sqrt n
LEVEL = 0.02  # relative deviation of a chip's light: where it lies; assumed
COAT = 0.1  # relative deviation of one coat from the ink's mean; assumed
LOOSE = 1.0  # log deviation of a dose that may have been miscounted
BLEACHED = 2.5  # 5-95 % factor of a strength that the cure attacks; assumed
SCATTER = 0.5  # grey loss over the dye's own, one deviation; assumed


@dataclass(frozen=True, slots=True, kw_only=True)
class Unknown:
    """One number that is not known.

    Attributes
    ----------
    kind : str
        "strength", "drop", "share", "shift", "width", "gain", "stray", "tone",
        "level", "camera", "bin", "thickness", "dose", "own glow" or "scatter"; of a
        cure "bleach", a factor on the strength, and "cure shift".
    name : str
        Of the bottle, ink or chip it belongs to.
    number : int
        Which dye, direction, tint or cure.
    deviation : float
        One standard deviation: logarithm, or nm for a shift.
    """

    kind: str
    name: str = ""
    number: int = 0
    deviation: float = 1.0


def chip_inset(ladder: Ladder, layer: Layer) -> Inset:
    """Return a chip, over its diffuser if there is one, as an inset.

    The light is white of equal energy in the LED's beam, so that what is solved holds
    for every LED.
    """
    even = replace(
        ladder.emitter, power=np.ones(WAVELENGTHS.size), lobes=np.empty((0, 5))
    )
    light = Light(
        emitter=even,
        count=1,
        lumens=1.0,
        assumed=False,
        beam=ladder.emitter.beam,
        pitch=None,
        junction=None,
        coats=(),
    )
    under: list[Layer] = []
    if ladder.under is not None:
        sheet = Layer(
            kind="diffuser", diffuser=ladder.under, thickness=ladder.under.thickness
        )
        under = [sheet, Layer(kind="gap")]
    room = Room(
        name="dark",
        source=Source(citation="assumed", kind="assumed"),
        illuminance=0.0,
        power=np.zeros(WAVELENGTHS.size),
        white="",
        surround="dark",
    )
    return Inset(
        name=ladder.name,
        path=ladder.path,
        size=None,
        lights=(light,),
        layers=(*under, layer),
        room=room,
    )


def unknowns_of(ladder: Ladder) -> list[Unknown]:
    """List everything that is not known about a ladder."""
    found: list[Unknown] = []
    for one in colourants(ladder).values():
        found += _of_colourant(ladder, one)
    if any(chip.sight.kind == "camera" for chip in ladder.chips):
        found += [Unknown(kind="stray", deviation=STRAY_LOG)]
        found += [Unknown(kind="tone", deviation=ladder.tone), Unknown(kind="level")]
        found += [Unknown(kind="camera", number=i) for i in range(camera.DIRECTIONS)]
    if any(chip.sight.kind in ("camera", "light") for chip in ladder.chips):
        axes = 1 if ladder.emitter.kind == "single colour" else 2
        found += [Unknown(kind="bin", number=i) for i in range(axes)]
    for chip in ladder.chips:
        found += _of_chip(ladder, chip)
    return [u for u in found if u.deviation > 0]


def _of_colourant(ladder: Ladder, one: Colourant) -> list[Unknown]:
    name, cures = one.name, cures_of(ladder, one)
    known, one = one, as_cast(one, cures[0])
    log = float(np.log(one.spread) / Z95)
    found = [Unknown(kind="strength", name=name, deviation=log)]
    doses = [d for c in ladder.chips for d in c.layer.dosed if d.colourant.name == name]
    if isinstance(one, Bottle) and any(d.dose.unit == "drops" for d in doses):
        log = float(np.log(one.drop_spread) / Z95)
        found.append(Unknown(kind="drop", name=name, deviation=log))
    shift, width = shape_spread(one)
    wide = float(np.log(width) / Z95)
    found += [
        Unknown(kind="shift", name=name, deviation=shift),
        Unknown(kind="width", name=name, deviation=wide),
    ]
    if isinstance(known, Bottle):
        found += _of_cures(ladder, known, cures)
    if one.grade != "metered":
        found += [
            Unknown(kind="share", name=name, number=j, deviation=SHARE)
            for j in range(1, len(one.dyes))
        ]
    if any(dye.fluoresces for dye, _ in one.dyes):
        found.append(Unknown(kind="own glow", name=name, deviation=OWN_GLOW))
    counts = {c.count for chip in ladder.chips for c in chip.layer.coats
              if c.ink.name == name}  # fmt: skip
    if isinstance(one, Ink) and max(counts) > 1:
        found.append(Unknown(kind="gain", name=name, deviation=GAIN))
    return found


def _of_cures(ladder: Ladder, one: Bottle, cures: tuple[str, ...]) -> Iterator[Unknown]:
    """What a cure may do to a dye, against the first of the cures.

    In one cure alone nothing tells bleaching from a weak bottle; it is listed there
    only when the cure is known to attack the dye, which makes the prior wider.
    """
    first = as_cast(one, cures[0])
    for j, cure in enumerate(cures):
        attacked = _attacked(ladder, one, cure)
        if j == 0 and not attacked:
            continue
        log = float(np.log(BLEACHED if attacked else CURED_SPREAD) / Z95)
        shift = CURED_SHIFT if j else 0.0
        if cure in {known.cure for known in one.cures}:  # chips of it were read before
            here = as_cast(one, cure)
            log = min(log, float(np.hypot(*np.log([here.spread, first.spread])) / Z95))
            two = np.hypot(shape_spread(here)[0], shape_spread(first)[0])
            shift = min(shift, float(two))
        yield Unknown(kind="bleach", name=one.name, number=j, deviation=log)
        yield Unknown(kind="cure shift", name=one.name, number=j, deviation=shift)


def _attacked(ladder: Ladder, one: Bottle, cure: str) -> bool:
    """Whether a medium says that this cure attacks a class of dye in the bottle."""
    classes = {dye.dye_class for dye, _ in one.dyes}
    return any(
        chip.layer.cure == cure
        and chip.layer.medium is not None
        and classes & set(chip.layer.medium.cures.get(cure, ()))
        for chip in ladder.chips
        if any(d.colourant.name == one.name for d in chip.layer.dosed)
    )


def _of_chip(ladder: Ladder, chip: Chip) -> list[Unknown]:
    layer, found = chip.layer, []
    if chip.sight.kind == "camera":
        found.append(Unknown(kind="level", name=chip.name, deviation=LEVEL))
    if layer.dosed:
        off = max(THICKNESS, CALIPER / layer.thickness)
        found.append(Unknown(kind="thickness", name=chip.name, deviation=off))
    for j, tint in enumerate(piece_of(chip_inset(ladder, layer)).tints):
        off = _dose_error(tint)
        found.append(Unknown(kind="dose", name=chip.name, number=j, deviation=off))
    return found


def _dose_error(tint: Tint) -> float:
    """Relative deviation of one dose; a bottle's mean drop is an unknown by itself."""
    origin = tint.origin
    if isinstance(origin, Coats):
        return COAT / float(np.sqrt(max(origin.count, 1)))
    if isinstance(origin, Dosed) and origin.dose.unit == "drops":
        return DROP_COUNT / float(np.sqrt(max(origin.dose.amount, 1.0)))
    return dose_deviation(tint)
