"""The bench card: everything that stands on it, as one flat object.

`card_layout` finds it places, `card_draw` prints it. A card says what to do, what to
expect, and leaves room for what really happened.
"""

import hashlib
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date as calendar
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tintlab import cautions, yardstick
from tintlab.colorimetry import XYZ_to_Lab
from tintlab.colourants import GRADES, Bottle, Ink
from tintlab.errors import TintlabError
from tintlab.glow import face_factor, radiance, seen, solve_piece, tint_depths
from tintlab.inset import Coats, Dosed, Inset, Layer
from tintlab.piece import piece_of
from tintlab.report.card_steps import (
    bath_row,
    bottles_of,
    coats_words,
    dose_row,
    label,
    mass,
    named,
    parts,
    steps,
)
from tintlab.report.data import flat
from tintlab.report.text import amount, bright_words, lasts_words
from tintlab.verdict import Prediction

Array = NDArray[np.float64]

SHORT = {
    cautions.RESIN: "Uncured resin: gloves, fresh air, no skin. Deep pours heat up.",
    cautions.ISOCYANATE: "Isocyanate: extraction; never warm or spray it.",
    cautions.PEROXIDE: "Peroxide: no flame; never mix it with cobalt.",
    cautions.SOLVENT: "Alcohol ink burns: no flame, fresh air.",
    cautions.BATH: "Hot bath scalds: cover, gloves, air, no food pot.",
    cautions.BATTERY: "Resistor or driver for every string. No cells in resin. Button "
    "cells behind a screw, away from children.",
    cautions.BRIGHT: "Bright: do not stare from near. No flashing at 3 to 30 a second.",
    cautions.LAST: "Read the safety sheets; local codes come first. Every caution in "
    "full: tintlab glow.",
}
WORDS = ((25, "redder"), (95, "yellower"), (165, "greener"), (260, "bluer"))
LEAST = 0.05  # CIEDE2000 that is named
NEUTRAL = 5.0  # CIELAB chroma below which a colour has no hue to turn; assumed
BLANKS = (
    *("Date", "Room, \N{DEGREE SIGN}C", "Real drops, g", "Real depth", "Looked like"),
    "Next time",
)

FIELDS = {
    "name": "of the inset",
    "date": "of the card",
    "file": "name of the inset file",
    "fingerprint": "first 8 digits of the SHA-256 of its bytes",
    "doses": "bottle, dose, grams, ounces, let-down, one row each",
    "resin": "what to weigh of it, the part A of let-downs taken off",
    "step_errors": "what one drop, scale step, minute or coat more does",
    "lights": "LEDs and their coats",
    "steps": "the order of work",
    "glow_hex": "as in tintlab glow",
    "face_hex": "as in tintlab glow",
    "target_hex": "as in tintlab glow",
    "spread_hex": "as in tintlab glow",
    "glow_words": "lit, in words",
    "face_words": "unlit, in words",
    "expect": "difference, light kept and luminance with their spread",
    "verdict": "as in tintlab glow",
    "grade": "worst evidence of a bottle or ink in it",
    "battery": "how bright and how long; empty without [battery]",
    "cautions": "short forms of the usual ones",
    "blanks": "what to fill in",
}


def day(text: str | None) -> str:
    """Return a date as it is printed; today unless given.

    Raises
    ------
    TintlabError
        When the text is no date.
    """
    if text is None:
        return datetime.now().astimezone().date().isoformat()
    try:
        if re.fullmatch(r"\d{4}-\d\d-\d\d", text, re.ASCII):
            return calendar.fromisoformat(text).isoformat()
    except ValueError:
        pass
    raise TintlabError(
        f'asked for the date "{text}"; write year, month and day, as in 2026-11-25'
    )


def card_answer(
    prediction: Prediction,
    *,
    date: str,
    scale: float = 0.1,
    battery: dict[str, Any] | None = None,
) -> dict[str, Any]:
    """Return everything that stands on a card, with the keys of `FIELDS`.

    Parameters
    ----------
    prediction : Prediction
    date : str
        As it is printed.
    scale : float
        Step of the maker's scale. [g]
    battery : dict, optional
        From `powering.battery_answer`.
    """
    inset, said = prediction.inset, flat(prediction, battery)
    content = inset.path.read_bytes()
    answer = {
        "name": inset.name,
        "date": date,
        "file": inset.path.name,
        "fingerprint": hashlib.sha256(content).hexdigest()[:8],
        "doses": [row for layer in inset.layers for row in _rows(layer, scale)],
        "resin": _resin(inset),
        "step_errors": step_errors(prediction, scale=scale),
        "lights": _lights(inset),
        "steps": steps(inset, supply="" if battery is None else battery["battery"]),
        **{
            key: said[key]
            for key in (
                *("glow_hex", "face_hex", "target_hex", "spread_hex"),
                *("glow_words", "face_words"),
            )
        },
        "expect": _expected(said),
        "verdict": said["verdict"],
        "grade": _grade(inset),
        "battery": _battery(battery),
        "cautions": [SHORT.get(text, text) for text in said["cautions"]],
        "blanks": list(BLANKS),
    }
    if answer.keys() != FIELDS.keys():
        raise KeyError(answer.keys() ^ FIELDS.keys())
    return answer


def _rows(layer: Layer, scale: float) -> list[dict[str, Any]]:
    rows = [dose_row(dosed, layer, scale=scale) for dosed in layer.dosed]
    return rows + [bath_row(bathed) for bathed in layer.bathed]


def _resin(inset: Inset) -> list[str]:
    casts = [layer for layer in inset.layers if layer.kind == "cast"]
    return [
        f"{named(part, layer, casts)}: {mass(value)}"
        for layer in casts
        for part, value in parts(layer)
    ]


def _lights(inset: Inset) -> list[str]:
    """LEDs and coats; coats that all LEDs share are said once."""
    sorts, coated = [], []
    for light in inset.lights:
        about = "about " if light.assumed else ""
        sorts.append(
            f"{light.count} \N{MULTIPLICATION SIGN} {label(light.emitter.name)}, "
            f"{about}{light.lumens:.3g} lm each"
        )
        coated.append(", ".join(coats_words(one) for one in light.coats if one.count))
    if len(set(coated)) == 1:
        sorts = ["; ".join(sorts)]
        coated = coated[:1]
    found = [
        sort + (f"; on each {coats}" if coats else "")
        for sort, coats in zip(sorts, coated, strict=True)
    ]
    for layer in inset.layers:
        if layer.coats:
            coats = [coats_words(one) for one in layer.coats if one.count]
            found.append(f"film: {', '.join(coats) or 'no coat'}")
    return found


def _expected(said: dict[str, Any]) -> list[str]:
    found = []
    low, high = said["light_kept_5_95"]
    if said["target_region"]:
        side = "inside" if said["difference"] <= 0 else "outside"
        found.append(
            f"{side} {said['target_region']}; {said['within'] * 100:.0f} % of what "
            "could be is inside"
        )
    elif said["difference"] is not None:
        ends = said["difference_5_95"]
        found.append(
            f"off by {said['difference']:.1f} ({ends[0]:.1f} to {ends[1]:.1f}), "
            f"tolerance {said['tolerance']:g}"
        )
    found.append(
        f"light kept {said['light_kept'] * 100:.0f} % ({low * 100:.0f} to "
        f"{high * 100:.0f} %)"
    )
    if said["luminance"] is not None:
        ends = " to ".join(amount(v) for v in said["luminance_5_95"])
        found.append(
            f"{amount(said['luminance'])} cd/m\N{SUPERSCRIPT TWO} ({ends}) in "
            f"{said['room']}"
        )
    return found


def _grade(inset: Inset) -> str:
    found: list[Bottle | Ink] = [c.ink for light in inset.lights for c in light.coats]
    for layer in inset.layers:
        found += bottles_of(layer)
        found += [coats.ink for coats in layer.coats]
    if not found:
        return "no bottle or ink in it"
    worst = min(GRADES.index(one.grade) for one in found)
    names = dict.fromkeys(
        label(o.name) for o in found if GRADES.index(o.grade) == worst
    )
    return f"{GRADES[worst]} ({', '.join(names)})"


def _battery(battery: dict[str, Any] | None) -> list[str]:
    if battery is None:
        return []
    if battery["hours"] is None:
        return [battery["battery"], "this battery cannot light them"]
    bright = bright_words(battery).replace("m2", "m\N{SUPERSCRIPT TWO}")
    return [battery["battery"], bright, lasts_words(battery)]


# ------------------------------------------------------------------ one step more


def step_errors(prediction: Prediction, *, scale: float = 0.1) -> list[str]:
    """Say what one step more of everything that is measured out does to the glow.

    The difference is CIEDE2000 at equal brightness from the glow as planned.
    """
    piece, now, found = prediction.piece, prediction.look, []
    depths, _ = tint_depths(piece)
    solution = solve_piece(piece, depths)
    for step, moved in _moved(prediction.inset, scale):
        tints = piece_of(replace(moved, cavity=None)).tints  # the box stays as it is
        deeper, filters = tint_depths(piece, [t.absorbance * t.shape for t in tints])
        same = all(map(np.array_equal, deeper, depths))
        solved = solution if same else solve_piece(piece, deeper)
        lit = radiance(piece, solved, filters)
        after = seen(moved, now.room, lit, now.undyed, face_factor(piece, solved))
        words = _change(now.XYZ, after.XYZ)
        light = after.light_kept / now.light_kept - 1 if now.light_kept else 0.0
        found.append(f"{step}: {words}{_dimmer(light)}")
    return found


def _moved(inset: Inset, scale: float) -> Iterator[tuple[str, Inset]]:
    """Yield every measurable step in words and the inset after it."""
    for number, layer in enumerate(inset.layers):
        for i, dosed in enumerate(layer.dosed):
            step, neat = _step(dosed, layer, scale)
            changed = _dosed_more(layer, i, neat)
            yield f"{step} {label(dosed.colourant.name)}", _with(inset, number, changed)
        for i, bathed in enumerate(layer.bathed):
            longer = [*layer.bathed]
            longer[i] = replace(bathed, minutes=bathed.minutes + 1)
            changed = replace(layer, bathed=tuple(longer))
            yield (
                f"1 min more {label(bathed.colourant.name)}",
                _with(inset, number, changed),
            )
        for words, coats in _more_coats(layer.coats):
            yield words, _with(inset, number, replace(layer, coats=coats))
    for j, light in enumerate(inset.lights):
        for words, coats in _more_coats(light.coats):
            lights = [*inset.lights]
            lights[j] = replace(light, coats=coats)
            yield words, replace(inset, lights=tuple(lights))


def _step(dosed: Dosed, layer: Layer, scale: float) -> tuple[str, float]:
    """Return the smallest step of a dose in words, and in the bottle's own liquid. [g]

    A tenth where the file names no batch, so that nothing is weighed.
    """
    if dosed.dose.unit == "drops":
        return "1 drop more", getattr(dosed.colourant, "drop", 0.0)
    if layer.batch is None:
        return "a tenth more", dosed.grams / 10
    ratio = 1 / dosed.dose.let_down - 1
    diluted = f" of {ratio:.4g}:1" if ratio else ""
    return f"{scale:g} g more{diluted}", scale * dosed.dose.let_down


def _dosed_more(layer: Layer, i: int, neat: float) -> Layer:
    """Return a layer with some grams more of one bottle's own liquid."""
    own = [dosed.grams for dosed in layer.dosed]
    own[i] += neat
    body = (layer.batch or 1000.0) + sum(own)
    return replace(
        layer,
        dosed=tuple(
            replace(dosed, grams=g, per_kg=g / body * 1000)
            for dosed, g in zip(layer.dosed, own, strict=True)
        ),
    )


def _more_coats(
    coats: tuple[Coats, ...],
) -> Iterator[tuple[str, tuple[Coats, ...]]]:
    for i, one in enumerate(coats):
        more = [*coats]
        more[i] = replace(one, count=one.count + 1)
        yield f"1 coat more {label(one.ink.name)}", tuple(more)


def _with(inset: Inset, number: int, layer: Layer) -> Inset:
    layers = (*inset.layers[:number], layer, *inset.layers[number + 1 :])
    return replace(inset, layers=layers)


def _change(before: Array, after: Array) -> str:
    """Write a change of colour at equal brightness: "2.9 bluer"."""
    Lab = XYZ_to_Lab(before)
    size = float(yardstick.difference(after, Lab))
    if size < LEAST:
        return "no change of hue"
    level = yardstick.common_luminance(Lab)
    one, two = (XYZ_to_Lab(yardstick.scaled(v, level)) for v in (before, after))
    return f"{size:.1f} {direction(one, two)}"


def direction(before: ArrayLike, after: ArrayLike) -> str:
    """Name the way from one CIELAB colour to another of the same L*.

    "deeper" or "paler" where much of it is chroma; where much is hue, the next of red,
    yellow, green and blue in the direction of the turn, at CIELAB hues of 25, 95, 165
    and 260 degrees (near the unique hues; from memory). Chroma and hue are weighed as
    by CIE94 (CIE 116-1995). From nearly neutral, the nearest of the four hues.

    Examples
    --------
    >>> direction([70, -48, 10], [70, -48, 4])
    'bluer'
    """
    one, two = np.asarray(before, dtype=float), np.asarray(after, dtype=float)
    start, end = (np.degrees(np.arctan2(v[2], v[1])) for v in (one, two))
    if np.hypot(*one[1:]) < NEUTRAL:
        way = np.degrees(np.arctan2(*(two - one)[:0:-1]))
        return min((abs(_turn(way - hue)), word) for hue, word in WORDS)[1]
    C_1, C_2, turn = np.hypot(*one[1:]), np.hypot(*two[1:]), _turn(end - start)
    C = np.sqrt(C_1 * C_2)
    chroma = (C_2 - C_1) / (1 + 0.045 * C)
    hue = 2 * C * np.sin(np.radians(turn / 2)) / (1 + 0.015 * C)
    words, much = [], 0.5 * np.hypot(chroma, hue)
    if abs(hue) >= much:
        sign = 1 if turn > 0 else -1
        words.append(min((sign * (at - end) % 360, word) for at, word in WORDS)[1])
    if abs(chroma) >= much:
        words.append("deeper" if chroma > 0 else "paler")
    return " and ".join(words)


def _turn(angle: float) -> float:
    """Return an angle as -180 to 180. [deg]"""
    return float((angle + 180) % 360 - 180)


def _dimmer(change: float) -> str:
    if abs(change) < 0.005:
        return ""
    return f", {abs(change) * 100:.0f} % {'darker' if change < 0 else 'brighter'}"
