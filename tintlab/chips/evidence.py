"""Evidence: what chips said of a bottle or ink, and how it is put together.

A learned file holds three things: the numbers that everything reckons with; `[label]`,
what was known before any chip; and one `[[evidence]]` for each set of chips. The
numbers are always label and evidence multiplied (Gaussians in the logarithm), so the
order does not matter, reading the same chips again replaces their own evidence only,
and evidence can be taken out again. Two sets of chips read by one camera share its
faults, which the product does not know; no spread goes below `LEAST` without a
spectrometer.

Evidence belongs to the cure of its chips. Of chips in several cures each cure has its
own; seen from another cure, evidence is as much less sure as a cure may move a dye.

The strengths of bottles that share a ladder have errors that hang together. Their
correlation is kept and counts when both are learned anew: mixed chips of two blues tell
their sum (correlation -0.9), and strengths learned in turn come within 4 % of those
learned at once, instead of 43 % off. A spread leaves it out: it is 0.2 where each chip
holds one bottle, and even 0.5 moves the 5-95 % ends of the demo's glow by less than
0.6 CIEDE2000.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tintlab.causes import Z95
from tintlab.colourants import (
    CURED_SHIFT,
    CURED_SPREAD,
    Bottle,
    Colourant,
    Cured,
    Ink,
    shape_spread,
)

Array = NDArray[np.float64]

LEAST = 1.05  # a spread below this is not believed without a spectrometer; assumed
KNOWN_DROP = 1.1  # a 5-95 % factor up to this counts as a drop that was weighed
# what is left when dosing by the same drop as the chips; assumed. Above KNOWN_DROP, so
# that more chips dosed by that drop still count by the drop
REPEATED_DROP = 1.12
APART = 1.2  # absorbances nearer than this factor are one dose
METERED = "spectrum"
SAFE_DEVIATION = 1e-4


@dataclass(frozen=True, slots=True, kw_only=True)
class Gaussian:
    """A number with its standard deviation."""

    mean: float
    deviation: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What one set of chips says of one colourant, its prior taken out.

    Attributes
    ----------
    key, chips, date, lot, kind : str
        Which chips, and how they were read.
    doses : tuple of float
        Peak absorbances of the chips. [-]
    strength : Gaussian
        Natural logarithm of the strength that bands as wide as the dyes' would have;
        bands learned to be wider have a lower maximum and the same area.
    by_drop : bool
        Whether the strength is that of liquid counted in drops of `drop` grams each,
        whatever a drop weighs.
    drop : float
        [g]
    shift, width : Gaussian or None
        Band shift [nm] and natural logarithm of the band's width over the dyes'.
    shares : tuple of float
        Of the dyes, in the order of the file; empty for one dye. [-]
    gain : float or None
        Of further coats of an ink. [-]
    cure : str
        In which the chips were cast; empty when it is not known.
    others : dict of str to float
        Correlation of the error of log strength with that of other bottles. [-]
    """

    key: str
    chips: str
    kind: str
    doses: tuple[float, ...]
    strength: Gaussian
    by_drop: bool = False
    drop: float = 0.0
    shift: Gaussian | None = None
    width: Gaussian | None = None
    shares: tuple[float, ...] = ()
    gain: float | None = None
    date: str = ""
    lot: str = ""
    cure: str = ""
    others: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Story:
    """What a file says of how it came by its numbers.

    Attributes
    ----------
    label : Colourant
        As it was before any chip.
    evidence : tuple of Evidence
    """

    label: Colourant
    evidence: tuple[Evidence, ...] = ()


# ------------------------------------------------------------ combining


def key_of(one: Colourant, *, bathed: bool = False) -> str:
    """Return the key of the number that chips teach."""
    if isinstance(one, Ink):
        return "peak_absorbance"
    return "bath_rate" if bathed else "strength"


def without(story: Story, key: str) -> Story:
    """Return the story without the evidence of one set of chips."""
    kept = tuple(e for e in story.evidence if e.key != key)
    return replace(story, evidence=kept)


def combined(story: Story) -> Colourant:
    """Multiply label and evidence.

    The numbers of a bottle are those in the cure of its first evidence; what is known
    of other cures stands beside them.
    """
    cures = list(dict.fromkeys(e.cure for e in story.evidence if e.cure))
    one = _in(story, cures[0] if cures else "")
    if not isinstance(one, Bottle) or not cures:
        return one
    others = {cure: _in(story, cure) for cure in cures[1:]}
    found = tuple(
        Cured(cure=c, strength=o.strength, spread=o.spread, shift=o.shift)
        for c, o in others.items()
        if isinstance(o, Bottle)
    )
    return replace(one, cure=cures[0], cures=found)


def seen_from(cure: str, evidence: Sequence[Evidence]) -> list[Evidence]:
    """Return evidence as it counts in one cure.

    Of one set of chips only those in this cure count, when there are some. Otherwise
    chips of another cure count, less sure.
    """
    own = {e.key for e in evidence if e.cure == cure}
    found = []
    for one in evidence:
        if not cure or one.cure in ("", cure):
            found.append(one)
        elif one.key not in own:
            wide = float(np.log(CURED_SPREAD) / Z95)
            shift = one.shift and _widened(one.shift, CURED_SHIFT)
            strength = _widened(one.strength, wide)
            found.append(replace(one, strength=strength, shift=shift))
    return found


def _widened(one: Gaussian, by: float) -> Gaussian:
    return replace(one, deviation=float(np.hypot(one.deviation, by)))


def _in(story: Story, cure: str) -> Colourant:
    """Multiply label and evidence as they are in one cure.

    A spectrometer's evidence, which brings its own curve, counts alone. By-drop
    evidence stays by the drop as long as nothing else is known; once the drop was
    weighed, or grams were dosed, it is turned into strength by the gram with the
    uncertainty of the drop.
    """
    one, evidence = story.label, seen_from(cure, story.evidence)
    if not evidence:
        return one
    spectra = [e for e in evidence if METERED in e.kind]
    evidence = spectra or evidence  # a measured curve leaves no other shape to speak of
    bathed = any("bath" in e.kind for e in evidence)
    key = key_of(one, bathed=bathed)
    wide = float(np.log(one.width[0])) if one.width else 0.0
    before = Gaussian(
        mean=float(np.log(getattr(one, key))) + wide,
        deviation=float(np.log(one.spread) / Z95),
    )
    changed: dict[str, Any] = {}
    seen = [e.strength for e in evidence]
    if isinstance(one, Bottle) and any(e.by_drop for e in evidence):
        off = float(np.log(one.drop_spread) / Z95)
        if all(e.by_drop for e in evidence) and one.drop_spread > KNOWN_DROP:
            before = replace(before, deviation=float(np.hypot(before.deviation, off)))
            changed["drop_spread"] = REPEATED_DROP
            off = 0.0
        seen = [_by_gram(e, one.drop, off) for e in evidence]
    shift, width = prior_shape(one)
    shift = product(shift, [e.shift for e in evidence if e.shift])
    width = product(width, [e.width for e in evidence if e.width])
    after = product(before, seen)
    strength = float(np.exp(after.mean - width.mean))
    changed |= {key: strength, "grade": grade(evidence)}
    if bathed and isinstance(one, Bottle):
        changed["bath_saturation"] = one.bath_saturation * strength / one.bath_rate
    changed["spread"] = max(float(np.exp(Z95 * after.deviation)), _least(evidence))
    if any(e.shift for e in evidence):
        changed["shift"] = (shift.mean, shift.deviation)
    if any(e.width for e in evidence):
        changed["width"] = (
            float(np.exp(width.mean)),
            float(np.exp(Z95 * width.deviation)),
        )
    newest = evidence[-1]
    if newest.shares and len(newest.shares) == len(one.dyes):
        dyes = [dye for dye, _ in one.dyes]
        changed["dyes"] = tuple(zip(dyes, newest.shares, strict=True))
    if isinstance(one, Ink) and newest.gain is not None:
        changed["gain"] = newest.gain
    if isinstance(one, Bottle):
        changed |= {"lot": newest.lot or one.lot, "date": newest.date}
    return replace(one, **changed)


def _by_gram(evidence: Evidence, drop: float, deviation: float) -> Gaussian:
    """Turn the strength of a drop into that of a gram, for drops of `drop` grams."""
    if not evidence.by_drop:
        return evidence.strength
    return Gaussian(
        mean=evidence.strength.mean + float(np.log(evidence.drop / drop)),
        deviation=float(np.hypot(evidence.strength.deviation, deviation)),
    )


def product(prior: Gaussian, seen: Sequence[Gaussian]) -> Gaussian:
    """Multiply Gaussians: weights are the inverse squares of the deviations.

    Examples
    --------
    >>> one = Gaussian(mean=0.0, deviation=1.0)
    >>> product(one, [Gaussian(mean=2.0, deviation=1.0)]).mean
    1.0
    """
    every = [prior, *seen]
    weights = [max(one.deviation, SAFE_DEVIATION) ** -2 for one in every]
    total = sum(weights)
    mean = sum(w * one.mean for w, one in zip(weights, every, strict=True)) / total
    return Gaussian(mean=float(mean), deviation=float(total**-0.5))


def weights(deviations: Sequence[float | None]) -> Array:
    """Share of each piece of evidence in a product: inverse squares over their sum."""
    precision = np.array([d**-2 if d else 0.0 for d in deviations])
    return np.asarray(precision / max(precision.sum(), 1e-300))


def between(one: Story, other: Story, name: str) -> float:
    """Correlation of two bottles' strengths, the other's called `name`.

    r = sum over sets k of chips of sqrt(w_k v_k) r_k, with w and v the shares of the
    sets in the product for either bottle.
    """
    w, v = (weights([e.strength.deviation for e in s.evidence]) for s in (one, other))
    shares = {
        (e.key, e.cure): share for e, share in zip(other.evidence, v, strict=True)
    }
    return sum(
        e.others.get(name, 0.0) * float(np.sqrt(share * shares.get((e.key, e.cure), 0)))
        for e, share in zip(one.evidence, w, strict=True)
    )


def grade(evidence: Sequence[Evidence]) -> str:
    """Return the grade that the evidence deserves."""
    if any(METERED in e.kind for e in evidence):
        return "metered"
    doses = [dose for e in evidence for dose in e.doses]
    return "laddered" if distinct(doses) > 1 else "chipped"


def _least(evidence: Sequence[Evidence]) -> float:
    return 1.0 if grade(evidence) == "metered" else LEAST


def distinct(doses: Sequence[float]) -> int:
    """Count absorbances that differ by more than a fifth."""
    count, last = 0, 0.0
    for dose in sorted(doses):
        if dose > last * APART:
            count, last = count + 1, dose
    return count


def prior_shape(one: Colourant) -> tuple[Gaussian, Gaussian]:
    """Return the prior of band shift [nm] and of log band width."""
    shift, width = shape_spread(one)
    here = one.shift[0] if one.shift else 0.0
    wide = float(np.log(one.width[0])) if one.width else 0.0
    return (
        Gaussian(mean=here, deviation=shift),
        Gaussian(mean=wide, deviation=float(np.log(width) / Z95)),
    )
