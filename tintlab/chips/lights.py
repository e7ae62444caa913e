"""A light of the maker's own, from a data sheet's nm or K, or from a picture of it.

The spectrum is borrowed from the shelf: a single colour is the nearest light of the
shelf moved to its wavelength, a white is mixed of its neighbours in reciprocal colour
temperature. What is not known goes into the width of its bin. The file keeps every
piece of evidence, so that more can be added: a data sheet counts before pictures, and
the probabilities that several pictures give are averaged, as one camera's faults are in
all of them.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from tintlab import document
from tintlab.chips.photo_emitter import Resemblance, family_of
from tintlab.colorimetry import XYZ_to_uv, dominant_wavelength, spectrum_to_XYZ
from tintlab.document import Section
from tintlab.errors import ShelfError
from tintlab.materials import Emitter, lobes_power
from tintlab.spectrum import Source
from tintlab.spread import BIN_STEP

SHEETS = {"peak": "nm", "dominant": "nm", "kelvin": "K"}
SHEET_STEPS = 7.0  # bin of a white that only its K tells; about a quadrangle of ANSI
# C78.377 (from memory)
SHEET_NM = 4.0  # half width of the bin of a single colour that its nm tells; assumed
BETWEEN_NM, BETWEEN_STEPS = (
    8.0,
    7.0,
)  # what lies between the lights of the shelf; assumed
FARTHEST = 25.0  # [nm] from the nearest light of the shelf
SURE = 0.6  # least probability of the family for which a picture alone is kept; assumed
AGREES = 0.1  # least probability of a sheet's like in a picture of it; assumed
ALIKE = 0.04  # distance in u'v' up to which lights are alike in a picture; assumed
PLAIN_WHITE = re.compile(r"(cool )?white \d+ K")  # one blue chip under phosphor


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """One thing that is known of a light.

    Attributes
    ----------
    kind : str
        "peak", "dominant", "kelvin" or "picture".
    value : float
        Of a data sheet. [nm] or [K]
    lights : dict of str to float
        Probability of each light of the shelf, from a picture. [-]
    origin, date : str
    """

    kind: str
    value: float = 0.0
    lights: dict[str, float] | None = None
    origin: str = ""
    date: str = ""


def seen_in(found: Resemblance, *, origin: str, date: str) -> Told:
    """Return what a picture told.

    Raises
    ------
    ShelfError
        When nothing on the shelf looks like it.
    """
    if not found.resembles:
        raise ShelfError(
            "asked to keep a light that resembles none of the shelf; give the peak in "
            "nm or the colour temperature in K of its data sheet"
        )
    lights = {one.name: one.probability for one in found.likely}
    return Told(kind="picture", lights=lights, origin=origin, date=date)


def sheet_of(
    *, peak: float | None, dominant: float | None, kelvin: float | None, date: str
) -> Told | None:
    """Return what a data sheet tells; None for nothing.

    Raises
    ------
    ShelfError
        For two values, or one that no visible light has.
    """
    given = {"peak": peak, "dominant": dominant, "kelvin": kelvin}
    found = [(kind, value) for kind, value in given.items() if value is not None]
    if not found:
        return None
    if len(found) > 1:
        raise ShelfError(
            f"asked for a light by {' and '.join(kind for kind, _ in found)}; give one "
            "of them, the dominant wavelength of a colour or the K of a white"
        )
    kind, value = found[0]
    low, high = (1000.0, 40_000.0) if kind == "kelvin" else (380.0, 780.0)
    if not low <= value <= high:
        raise ShelfError(
            f"asked for a light of {value:g} {SHEETS[kind]}; a {kind} is {low:g} to "
            f"{high:g} {SHEETS[kind]}"
        )
    return Told(kind=kind, value=value, date=date)


def told_of(emitter: Emitter) -> tuple[Told, ...]:
    """Read the evidence in the file of a light that was kept before."""
    top = document.read(Path(emitter.path), error=ShelfError)
    return tuple(_told(section) for section in top.sections("evidence"))


def _told(section: Section) -> Told:
    kind = section.choice("kind", (*SHEETS, "picture"))
    lights = None
    if kind == "picture":
        table = section.take("lights", dict)
        shares = Section(document=section.document, table=table)
        lights = {name: shares.number(name, low=0, high=1) for name in table}
    told = Told(
        kind=kind,
        value=0.0 if lights else section.number("value", low=200, high=1e6),
        lights=lights,
        origin=section.text("origin", ""),
        date=section.text("date", ""),
    )
    section.close()
    return told


def light_of(name: str, told: Sequence[Told], shelf: Sequence[Emitter]) -> Emitter:
    """Make a light of what is known.

    Parameters
    ----------
    name : str
    told : sequence of Told
        Oldest first; the newest data sheet counts.
    shelf : sequence of Emitter
        Lights to borrow a spectrum from.

    Raises
    ------
    ShelfError
        When the evidence does not settle the family, contradicts itself, or lies
        beyond the lights of the shelf.
    """
    sheets = [one for one in told if one.kind in SHEETS]
    pictures = _averaged([one.lights for one in told if one.lights])
    if sheets:
        new = _by_sheet(sheets[-1], shelf)
        _refuse_other(new, sheets[-1], pictures, shelf)
    else:
        new = _by_picture(pictures, shelf)
    said = ", ".join(sorted({_words(one) for one in told}))
    source = Source(
        citation=f"own evidence: {said}",
        kind="learned",
        note=f'spectrum borrowed from "{new.name}" and its neighbours on the shelf',
    )
    return replace(
        new, name=name, source=source, grade="label-only", date=told[-1].date, notes=()
    )


def _words(told: Told) -> str:
    if told.kind == "picture":
        return "a picture"
    named = {"peak": "peak at ", "dominant": "dominant wavelength ", "kelvin": ""}
    return f"data sheet, {named[told.kind]}{told.value:g} {SHEETS[told.kind]}"


def _averaged(tables: Sequence[dict[str, float]]) -> dict[str, float]:
    names = dict.fromkeys(name for table in tables for name in table)
    return {n: sum(t.get(n, 0.0) for t in tables) / len(tables) for n in names}


# ------------------------------------------------------------ data sheets


def _by_sheet(told: Told, shelf: Sequence[Emitter]) -> Emitter:
    if told.kind == "kelvin":
        return _mixed(told.value, shelf)
    singles = [e for e in shelf if e.kind == "single colour" and e.lobes.size]
    here = np.array([_wavelength(e, told.kind) for e in singles])
    i = int(np.argmin(np.abs(here - told.value)))
    if abs(here[i] - told.value) > FARTHEST:
        raise ShelfError(
            f"asked for a light of {told.value:g} nm; the nearest on the shelf, "
            f'"{singles[i].name}", has {here[i]:.0f} nm, too far to borrow its '
            "spectrum; a spectrometer's file can be put on the shelf instead"
        )
    return replace(_moved(singles[i], told), peak_spread=SHEET_NM)


def _wavelength(emitter: Emitter, kind: str) -> float:
    if kind == "peak":
        return float(emitter.lobes[emitter.lobes[:, 2].argmax(), 0])
    return dominant_wavelength(spectrum_to_XYZ(emitter.power)) or 0.0


def _moved(emitter: Emitter, told: Told) -> Emitter:
    """Move a single colour until its wavelength is the one that is told.

    Dominant wavelengths are reckoned about D65 to 1 nm; data sheets take the
    equal-energy white, which makes no difference at that step from 450 nm up.
    """
    shifts = np.arange(-FARTHEST - 15, FARTHEST + 15.5, 0.5)
    if told.kind == "peak":
        shift = told.value - _wavelength(emitter, "peak")
    else:
        away = [
            abs((dominant_wavelength(spectrum_to_XYZ(power)) or 0.0) - told.value)
            for power in (lobes_power(emitter.lobes, shift=s) for s in shifts)
        ]
        shift = float(shifts[np.array(away) == min(away)].mean())
    lobes = emitter.lobes.copy()
    lobes[:, 0] += shift
    return replace(emitter, lobes=lobes, power=lobes_power(lobes))


def _mixed(kelvin: float, shelf: Sequence[Emitter]) -> Emitter:
    """Mix a white of its two neighbours, linearly in reciprocal temperature."""
    whites = [e for e in shelf if PLAIN_WHITE.fullmatch(e.name)]
    whites.sort(key=lambda e: -(e.colour_temperature or 0.0))
    mired = np.array([1e6 / (e.colour_temperature or 1.0) for e in whites])
    wanted = 1e6 / kelvin
    if not mired[0] <= wanted <= mired[-1]:
        raise ShelfError(
            f"asked for a white of {kelvin:g} K; the whites of the shelf have "
            f"{1e6 / mired[-1]:.0f} to {1e6 / mired[0]:.0f} K; take the nearest of them"
        )
    i = int(np.clip(np.searchsorted(mired, wanted), 1, len(whites) - 1))
    share = (wanted - mired[i - 1]) / (mired[i] - mired[i - 1])
    nearest = whites[i] if share > 0.5 else whites[i - 1]
    return replace(
        _blend(nearest, {whites[i - 1]: 1 - share, whites[i]: share}),
        steps=SHEET_STEPS,
        colour_temperature=kelvin,
    )


def _blend(like: Emitter, shares: dict[Emitter, float]) -> Emitter:
    """Mix lights of equal luminous power."""
    power = sum(w * e.power / spectrum_to_XYZ(e.power)[1] for e, w in shares.items())
    power = np.asarray(power)
    return replace(like, power=power / power.max(), lobes=np.empty((0, 5)))


def _refuse_other(
    new: Emitter, told: Told, pictures: dict[str, float], shelf: Sequence[Emitter]
) -> None:
    """Refuse a data sheet that pictures of the light contradict."""
    if not pictures:
        return
    uv = XYZ_to_uv(spectrum_to_XYZ(new.power))
    alike = sum(
        pictures.get(one.name, 0.0)
        for one in shelf
        if np.hypot(*(XYZ_to_uv(spectrum_to_XYZ(one.power)) - uv)) < ALIKE
    )
    if alike < AGREES:
        families = _families(pictures, shelf)
        likely = max(families, key=lambda name: families[name])
        raise ShelfError(
            f"the {_words(told)}, is {family_of(new)}, but the picture looks like "
            f"{likely} ({families[likely]:.0%}); check which light it was, and keep "
            "two lights under two names"
        )


# ------------------------------------------------------------ pictures


def _families(pictures: dict[str, float], shelf: Sequence[Emitter]) -> dict[str, float]:
    found: dict[str, float] = {}
    for one in shelf:
        word = family_of(one)
        found[word] = found.get(word, 0.0) + pictures.get(one.name, 0.0)
    return found


def _by_picture(pictures: dict[str, float], shelf: Sequence[Emitter]) -> Emitter:
    """Mean of the likeliest family, its bin as wide as the family is."""
    families = _families(pictures, shelf)
    family = max(families, key=lambda name: families[name])
    if families[family] < SURE:
        told = ", ".join(
            f"{name} {share:.0%}"
            for name, share in sorted(families.items(), key=lambda item: -item[1])[:3]
        )
        raise ShelfError(
            f"the picture does not settle what light it is ({told}); add the peak in "
            "nm or the colour temperature in K of the data sheet"
        )
    members = [e for e in shelf if family_of(e) == family]
    shares = np.array([pictures.get(e.name, 0.0) for e in members]) / families[family]
    best = members[int(shares.argmax())]
    if best.kind == "single colour" and best.lobes.size:
        peaks = np.array([_wavelength(e, "peak") for e in members])
        mean = float(shares @ peaks)
        off = float(np.sqrt(shares @ (peaks - mean) ** 2))
        # a bin is evenly filled: its half width is root 3 times its deviation
        half = np.hypot(max(best.peak_spread, BETWEEN_NM), np.sqrt(3) * off)
        moved = _moved(best, Told(kind="peak", value=mean))
        return replace(moved, peak_spread=float(half))
    uv = np.array([XYZ_to_uv(spectrum_to_XYZ(e.power)) for e in members])
    variance = float(shares @ ((uv - shares @ uv) ** 2).sum(axis=-1)) / 2
    # half a bin's radius is one deviation along each axis, as in `tintlab.spread`
    steps = np.hypot(BETWEEN_STEPS, 2 * np.sqrt(variance) / BIN_STEP)
    kelvin = [e.colour_temperature for e in members]
    return replace(
        _blend(best, dict(zip(members, shares, strict=True))),
        steps=float(steps),
        colour_temperature=_mean_kelvin(shares, kelvin),
    )


def _mean_kelvin(shares: np.ndarray, kelvin: Sequence[float | None]) -> float | None:
    if None in kelvin:
        return None
    mired = [1e6 / k for k in kelvin if k]
    return float(round(1e6 / float(shares @ mired), -1))
