"""The small grid of chips that could be cast for the bottles and inks of an inset.

Whole drops, or a let-down where one drop is too much; strips pulled from a bath; coats
on a film. All aim at peak absorbances that a camera reads well.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from tintlab.colourants import Bottle, Colourant, Ink, in_cure
from tintlab.inset import Coats, Dosed, Inset, Layer
from tintlab.optics import coats_absorbance
from tintlab.piece import strength
from tintlab.solve.measures import SERIAL
from tintlab.units import Dose
from tintlab.uptake import sheet_absorbance

MOULD, BATCH = (0.5, 50.0), (1.0, 5000.0)  # [mm], [g]
AIM = (0.3, 0.9)  # peak absorbance of a chip that a camera reads well
FEWEST_DROPS, MOST_DROPS = 1, 40
LET_DOWNS = (10, 20, 50, 100, *SERIAL)  # parts of part A to one of liquid, by weight
GRAMS = (0.5, 1.0, 1.5, 2.0)  # [g] of a let-down in one chip's batch
MINUTES = (1.0, 2.0, 4.0, 8.0, 15.0, 30.0, 60.0)  # of a strip in the bath
EACH = 4  # candidates a bottle


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cast:
    """One chip to make.

    Attributes
    ----------
    name, colourant, amount : str
        "amount" is a dose, minutes or coats as it stands in a chips file.
    layer : Layer
    absorbance : float
        Expected peak absorbance. [-]
    """

    name: str
    colourant: str
    amount: str
    layer: Layer
    absorbance: float


def named(inset: Inset) -> dict[str, Colourant]:
    """Return the bottles, as they are in their cure, and inks of an inset by name."""
    found: dict[str, Colourant] = {}
    coats = [c for light in inset.lights for c in light.coats]
    for layer in inset.layers:
        parts = [d.colourant for d in layer.dosed]
        found |= {
            p.name: in_cure(p, layer.cure) for p in parts if isinstance(p, Bottle)
        }
        found |= {b.colourant.name: b.colourant for b in layer.bathed}
        coats += layer.coats
    return found | {c.ink.name: c.ink for c in coats}


def candidates(inset: Inset, *, batch: float, thickness: float) -> tuple[Cast, ...]:
    """Return a small grid of chips for every bottle and ink of an inset."""
    found: list[Cast] = []
    for layer in inset.layers:
        for dosed in layer.dosed:
            if isinstance(dosed.colourant, Bottle):
                bottle = in_cure(dosed.colourant, layer.cure)
                found += _doses(layer, bottle, batch, thickness)
        for bathed in layer.bathed:
            found += _picked(_strips(layer, bathed.colourant.name))
    coats = [c for light in inset.lights for c in light.coats]
    coats += [c for layer in inset.layers for c in layer.coats]
    for ink in {c.ink.name: c.ink for c in coats}.values():
        found += _picked(_coats(ink))
    unique = {(c.colourant, c.amount): c for c in found}
    return tuple(unique.values())


def _picked(every: Iterator[Cast]) -> list[Cast]:
    """Keep candidates in the range that a camera reads well, evenly spread."""
    casts = sorted(every, key=lambda c: c.absorbance)
    inside = [c for c in casts if AIM[0] <= c.absorbance <= AIM[1]]
    if not inside:
        middle = np.sqrt(AIM[0] * AIM[1])
        return sorted(casts, key=lambda c: abs(np.log(c.absorbance / middle)))[:1]
    at = np.linspace(0, len(inside) - 1, min(EACH, len(inside))).round().astype(int)
    return [inside[i] for i in dict.fromkeys(at.tolist())]


def _doses(layer: Layer, bottle: Bottle, batch: float, thickness: float) -> list[Cast]:
    """Whole drops; let down where one drop is too much."""
    medium = layer.medium
    if medium is None:
        raise TypeError("a dosed layer has a medium")
    per_gram = strength(bottle, medium) / batch * 1000 * thickness  # absorbance per g

    def cast(dose: Dose, grams: float) -> Cast:
        dosed = Dosed(
            colourant=bottle,
            dose=dose,
            grams=grams,
            per_kg=grams / (batch + grams) * 1000,
        )
        chip = replace(
            layer,
            thickness=thickness,
            batch=batch,
            dosed=(dosed,),
            finish="polished",
            back="polished",
        )
        return Cast(
            name=f"{bottle.name}, {dose}",
            colourant=bottle.name,
            amount=str(dose),
            layer=chip,
            absorbance=per_gram * grams,
        )

    if per_gram * bottle.drop <= AIM[1]:
        drops = range(FEWEST_DROPS, MOST_DROPS + 1)
        return _picked(
            cast(Dose(amount=n, unit="drops"), n * bottle.drop) for n in drops
        )
    return _picked(
        cast(Dose(amount=g, unit="g", let_down=1 / (1 + n)), g / (1 + n))
        for n in LET_DOWNS
        for g in GRAMS
    )


def _strips(layer: Layer, name: str) -> Iterator[Cast]:
    bathed = next(b for b in layer.bathed if b.colourant.name == name)
    for minutes in MINUTES:
        absorbance = sheet_absorbance(
            minutes=minutes,
            rate=bathed.rate,
            saturation=bathed.saturation,
            thickness=layer.thickness,
            faces=bathed.faces,
        )
        chip = replace(layer, bathed=(replace(bathed, minutes=minutes),))
        yield Cast(
            name=f"{name}, {minutes:g} min",
            colourant=name,
            amount=f"{minutes:g} min",
            layer=replace(chip, finish="polished", back="polished"),
            absorbance=float(absorbance),
        )


def _coats(ink: Ink) -> Iterator[Cast]:
    for count in (1, 2, 3, 4):
        absorbance = coats_absorbance(
            first=ink.peak_absorbance, coats=count, gain=ink.gain
        )
        yield Cast(
            name=f"{ink.name}, {count} coat" + "s" * (count > 1),
            colourant=ink.name,
            amount=f"{count} coat" + "s" * (count > 1),
            layer=Layer(kind="film", coats=(Coats(ink=ink, count=count),)),
            absorbance=float(absorbance),
        )
