"""The shelf file of a bottle, an ink or a light that was learned: written and read.

A maker can read it: numbers that everything reckons with, what was known before any
chip, and what each set of chips said.
"""

import json
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tintlab import document
from tintlab.causes import Z95
from tintlab.chips.evidence import SAFE_DEVIATION, Evidence, Gaussian, Story, key_of
from tintlab.chips.lights import Told
from tintlab.colourants import Bottle, Colourant, Ink
from tintlab.document import Section
from tintlab.errors import ShelfError
from tintlab.materials import Emitter
from tintlab.spectrum import WAVELENGTHS, Source

Array = NDArray[np.float64]

CITATION = "own test chips"


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
        back |= {"cure": "", "cures": ()}
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
        cure=section.text("cure", ""),
        others=_others(section),
    )
    section.close()
    return evidence


def _others(section: Section) -> dict[str, float]:
    """Read `with`: correlations with the strengths of other bottles."""
    table = section.section("with")
    if table is None:
        return {}
    return {name: table.number(name, low=-1, high=1) for name in table.table}


def _logs(two: Sequence[float]) -> Gaussian:
    deviation = max(float(np.log(two[1]) / Z95), SAFE_DEVIATION)
    return Gaussian(mean=float(np.log(two[0])), deviation=deviation)


# ------------------------------------------------------------ writing


def quoted(text: str) -> str:
    r"""Write a TOML string; JSON's escapes are a part of TOML's.

    Examples
    --------
    >>> quoted('3" mould')
    '"3\\" mould"'
    """
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _key(text: str) -> str:
    """Write a key, in quotes where it needs them."""
    return text if re.fullmatch(r"[A-Za-z0-9_-]+", text) else quoted(text)


def _number(value: float) -> str:
    return f"{float(f'{value:.5g}')!r}".removesuffix(".0") if value else "0"


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, (tuple, list)):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    if isinstance(value, dict):
        inside = ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items())
        return f"{{ {inside} }}"
    return _number(float(value))


def _table(header: str, rows: dict[str, Any]) -> Iterator[str]:
    yield ""
    yield header
    for key, value in rows.items():
        if value not in (None, "", (), {}):
            yield f"{key} = {_value(value)}"


def colourant_lines(one: Colourant, story: Story, dye: str | None) -> Iterator[str]:
    """Write a bottle or ink with its story."""
    label = story.label
    yield f"name = {quoted(one.name)}"
    learned = bool(story.evidence)
    source = {
        "citation": CITATION if learned else label.source.citation,
        "kind": "learned" if learned else label.source.kind,
        "note": "" if learned else label.source.note,
    }
    yield from _table("[source]", source)
    yield from _table("[ink]" if isinstance(one, Ink) else "[bottle]", _own(one))
    if isinstance(one, Bottle):
        for cured in one.cures:
            rows = {"strength": [cured.strength, cured.spread], "shift": cured.shift}
            yield from _table(f"[cure.{_key(cured.cure)}]", rows)
    shares = [(dye, 1.0)] if dye else [(d.name, share) for d, share in one.dyes]
    for name, share in shares:
        yield from _table("[[dye]]", {"name": name, "share": share})
    if not learned:
        return
    yield ""
    yield "# What was known before any chip. The numbers above are this and the"
    yield "# evidence below together; leave both, so that more chips can be counted."
    yield from list(_table("[label]", _label_rows(label, story, dye)))[1:]
    for evidence in story.evidence:
        yield from _table("[[evidence]]", _evidence_rows(evidence))


def _own(one: Colourant) -> dict[str, Any]:
    common: dict[str, Any] = {"hue": one.hue, "grade": one.grade}
    if isinstance(one, Ink):
        common |= {
            "peak_absorbance": one.peak_absorbance,
            "spread": one.spread,
            "gain": one.gain,
            "unevenness": one.unevenness,
            "broadening": one.broadening,
        }
    if isinstance(one, Bottle):
        common |= {
            "strength": one.strength,
            "spread": one.spread,
            "density": one.density,
            "drop": one.drop,
            "drop_spread": one.drop_spread,
            "bath_rate": one.bath_rate,
            "bath_saturation": one.bath_saturation,
            "carrier": one.carrier,
            "lot": one.lot,
            "date": one.date,
            "cure": one.cure,
        }
    return common | {
        "shift": one.shift,
        "width": one.width,
        "caution": one.caution,
    }


def _label_rows(label: Colourant, story: Story, dye: str | None) -> dict[str, Any]:
    bathed = any("bath" in e.kind for e in story.evidence)
    key = key_of(label, bathed=bathed)
    rows = {key: getattr(label, key), "spread": label.spread}
    if isinstance(label, Bottle):
        rows |= {"drop": label.drop, "drop_spread": label.drop_spread}
        rows |= {"bath_saturation": label.bath_saturation} if bathed else {}
    if isinstance(label, Ink):
        rows["gain"] = label.gain
    if len(label.dyes) > 1 and dye is None:
        rows["shares"] = [share for _, share in label.dyes]
    source = label.source
    return rows | {
        "citation": source.citation,
        "kind": source.kind,
        "note": source.note,
    }


def _written(one: Gaussian | None) -> list[float] | None:
    if one is None:
        return None
    return [float(np.exp(one.mean)), float(np.exp(Z95 * one.deviation))]


def _evidence_rows(one: Evidence) -> dict[str, Any]:
    shift = None if one.shift is None else [one.shift.mean, one.shift.deviation]
    return {
        "key": one.key,
        "chips": one.chips,
        "date": one.date,
        "lot": one.lot,
        "kind": one.kind,
        "cure": one.cure,
        "doses": list(one.doses),
        "strength": _written(one.strength),
        "by_drop": one.by_drop or None,
        "drop": one.drop if one.by_drop else None,
        "shift": shift,
        "width": _written(one.width),
        "shares": list(one.shares) or None,
        "gain": one.gain,
        "with": {name: round(r, 3) for name, r in one.others.items()},
    }


def dye_lines(one: Colourant, name: str, curve: Array, date: str) -> Iterator[str]:
    """Write a measured curve as a dye, every nanometre."""
    old = one.dyes[0][0]
    yield f"name = {quoted(name)}"
    source = {
        "citation": "own measurement",
        "kind": "measured",
        "conditions": f"in a test chip of {one.name}, {date}",
    }
    yield from _table("[source]", source)
    fluoresces = any(dye.fluoresces for dye, _ in one.dyes)
    yield from _table(
        "[dye]",
        {
            "class": old.dye_class,
            "hue": one.hue,
            "uses": list(old.uses),
            "fluoresces": fluoresces,
            "fades": old.fades,
            "caution": old.caution,
        },
    )
    peak = float(WAVELENGTHS[np.argmax(curve)])
    yield from _table("[strength]", {"peak": peak})
    yield from _table("[shape]", {"form": "table", "shift": 0.0, "delta_e": 0.5})
    yield "broadening = 1"
    yield 'columns = ["wavelength [nm]", "absorbance [-]"]'
    yield 'table = """'
    for wavelength, value in zip(WAVELENGTHS, curve, strict=True):
        yield f"{wavelength:.0f} {max(value, 0.0):.5f}"
    yield '"""'
    yield ""


def light_lines(one: Emitter, told: Sequence[Told]) -> Iterator[str]:
    """Write a light with its evidence."""
    yield f"name = {quoted(one.name)}"
    source = {"citation": one.source.citation, "kind": one.source.kind}
    yield from _table("[source]", {**source, "note": one.source.note})
    rows = {
        "kind": one.kind,
        "model": "lobes" if one.lobes.size else "table",
        "grade": one.grade,
        "date": one.date,
        "steps": one.steps or None,
        "peak_spread": one.peak_spread or None,
        "beam": one.beam,
        "reference_temperature": one.reference_temperature,
        "forward_voltage": one.forward_voltage,
        "efficacy": one.efficacy,
        "colour_temperature": one.colour_temperature,
    }
    yield from _table("[emitter]", rows)
    yield ""
    yield "[data]"
    if one.lobes.size:
        yield (
            'columns = ["peak [nm]", "width [nm]", "power [-]", "shift [nm/K]", '
            '"change [1/K]"]'
        )
        values = [" ".join(_number(float(v)) for v in row) for row in one.lobes]
    else:
        yield 'columns = ["wavelength [nm]", "power [1/nm]"]'
        values = [
            f"{wavelength:.0f} {value:.5f}"
            for wavelength, value in zip(WAVELENGTHS, one.power, strict=True)
        ]
    yield 'table = """'
    yield from values
    yield '"""'
    for part in told:
        shares = {n: p for n, p in (part.lights or {}).items() if p >= 0.001}
        row = {
            "kind": part.kind,
            "value": part.value or None,
            "lights": shares,
            "origin": part.origin,
            "date": part.date,
        }
        yield from _table("[[evidence]]", row)
