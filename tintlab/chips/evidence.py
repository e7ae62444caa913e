"""Evidence: what chips said of a bottle or ink, and how it is put together.

A learned file holds three things: the numbers that everything reckons with; `[label]`,
what was known before any chip; and one `[[evidence]]` for each set of chips. The
numbers are always label and evidence multiplied (Gaussians in the logarithm), so the
order does not matter, reading the same chips again replaces their own evidence only,
and evidence can be taken out again. Two sets of chips read by one camera share its
faults, which the product does not know; no spread goes below `LEAST` without a
spectrometer.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from tintlab import document
from tintlab.causes import Z95
from tintlab.colourants import Bottle, Colourant, Ink, shape_spread
from tintlab.document import Section
from tintlab.errors import ShelfError
from tintlab.spectrum import Source

LEAST = 1.05  # a spread below this is not believed without a spectrometer; assumed
KNOWN_DROP = 1.1  # a 5-95 % factor up to this counts as a drop that was weighed
REPEATED_DROP = 1.1  # what is left when dosing by the same drop as the chips; assumed
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

    By-drop evidence stays by the drop as long as nothing else is known; once the drop
    was weighed, or grams were dosed, it is turned into strength by the gram with the
    uncertainty of the drop.
    """
    one, evidence = story.label, story.evidence
    if not evidence:
        return one
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


def grade(evidence: Sequence[Evidence]) -> str:
    """Return the grade that the evidence deserves."""
    if any(METERED in e.kind for e in evidence):
        return "metered"
    doses = [dose for e in evidence for dose in e.doses]
    return "laddered" if distinct(doses) > 1 else "chipped"


def _least(evidence: Sequence[Evidence]) -> float:
    return 1.0 if grade(evidence) == "metered" else LEAST


# ------------------------------------------------------------ reading


def story_of(one: Colourant) -> Story:
    """Read `[label]` and `[[evidence]]` of the file that a colourant came from.

    Raises
    ------
    ShelfError
        With file and line.
    """
    path = Path(one.path)
    if not one.path or not path.is_file():
        return Story(label=one)
    top = document.read(path, error=ShelfError)
    label = top.section("label")
    evidence = tuple(_evidence(s) for s in top.sections("evidence"))
    if label is None:
        if evidence:
            top.missing("label", "there is [[evidence]] without a [label]")
        return Story(label=one)
    key = label.one_of("strength", "peak_absorbance", "bath_rate", required=True)
    back: dict[str, Any] = {
        str(key): label.number(str(key), low=1e-9, high=1e6),
        "spread": label.number("spread", low=1, high=1000),
        "grade": "label-only",
        "shift": None,
        "width": None,
        "source": Source(
            citation=label.text("citation", "a label"),
            kind=label.text("kind", "assumed"),
            note=label.text("note", ""),
        ),
    }
    if isinstance(one, Bottle):
        back["drop"] = label.number("drop", one.drop, low=0.0005, high=0.5)
        spread = label.number("drop_spread", one.drop_spread, low=1, high=100)
        back["drop_spread"] = spread
        back["bath_saturation"] = label.number(
            "bath_saturation", one.bath_saturation, low=0.01, high=1000
        )
    if isinstance(one, Ink):
        back["gain"] = label.number("gain", one.gain, low=0, high=2)
    shares = label.numbers("shares", len(one.dyes), [share for _, share in one.dyes])
    dyes = [dye for dye, _ in one.dyes]
    back["dyes"] = tuple(zip(dyes, shares, strict=True))
    label.close()
    return Story(label=replace(one, **back), evidence=evidence)


def _evidence(section: Section) -> Evidence:
    def pair(key: str, *, log: bool) -> Gaussian | None:
        two = section.numbers(key, 2, None)
        if two is None:
            return None
        if two[1] <= 0 or (log and (two[0] <= 0 or two[1] < 1)):
            section.fail(key, f"{key} = {two}; a value and its spread")
        return _logs(two) if log else Gaussian(mean=two[0], deviation=two[1])

    strength = pair("strength", log=True)
    if strength is None:
        section.missing("strength", "evidence needs strength = [value, spread]")
    evidence = Evidence(
        key=section.text("key"),
        chips=section.text("chips"),
        kind=section.text("kind"),
        doses=tuple(section.numbers("doses", None, [])),
        strength=strength,
        by_drop=section.take("by_drop", bool, False),
        drop=section.number("drop", 0.0, low=0, high=0.5),
        shift=pair("shift", log=False),
        width=pair("width", log=True),
        shares=tuple(section.numbers("shares", None, [])),
        gain=section.number("gain", None, low=0, high=2),
        date=section.text("date", ""),
        lot=section.text("lot", ""),
    )
    section.close()
    return evidence


def _logs(two: Sequence[float]) -> Gaussian:
    deviation = max(float(np.log(two[1]) / Z95), SAFE_DEVIATION)
    return Gaussian(mean=float(np.log(two[0])), deviation=deviation)


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
