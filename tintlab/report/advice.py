"""Trims and reaches, as flat objects and as text."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tintlab.colorimetry import Lab_to_XYZ, XYZ_to_swatch
from tintlab.glow import Look, look
from tintlab.inset import Inset
from tintlab.report.data import YARDSTICK, exposed, flat
from tintlab.report.text import block, line, remark
from tintlab.solve.dose import Doses, Part
from tintlab.solve.front import Choice
from tintlab.solve.limits import Limits
from tintlab.solve.seen import Finding
from tintlab.solve.trim import Fix, Trim
from tintlab.spectrum import WAVELENGTHS
from tintlab.starved import starved_words
from tintlab.verdict import predict

Array = NDArray[np.float64]

PLACES = {"led": "on each LED", "viewer": "on the face"}
ROWS = 6  # of a front that are printed
INK_FLAGS = ("glows by itself", "fades")  # of those that coats bring along
BANDS = 3  # passbands of an ideal filter that are printed; more are in the JSON


def words_of(fix: Fix, choice: Choice) -> str:
    """Name a combination: "2 coats of pink ink on each LED"."""
    coats = [
        f"{count} coat{'s' * (count > 1)} of {fix.inks[ink].name}"
        for ink, count in choice.combination
    ]
    text = " and ".join(coats) if coats else "no coat"
    return f"{text} {PLACES[fix.side]}" if coats else text


def _choice(inset: Inset, fix: Fix, choice: Choice) -> dict[str, Any]:
    return {
        "coats": [
            {"ink": fix.inks[ink].name, "coats": count}
            for ink, count in choice.combination
        ],
        "words": words_of(fix, choice),
        "difference": round(choice.difference, 4),
        "light_kept": round(choice.light_kept, 5),
        "light_against_now": round(fix.against_now(choice), 4),
        "hex": XYZ_to_swatch(exposed(choice.XYZ, inset.target)).hex,
    }


def _sureness(inset: Inset, fix: Fix) -> dict[str, Any]:
    """How sure the choice of one side is, and what to know of its inks."""
    found = predict(inset, piece=fix.coated())
    said = flat(found)
    own = [f for f in said["flags"] if f["name"] in INK_FLAGS]
    return {
        "difference_5_95": said["difference_5_95"],
        "light_kept_5_95": said["light_kept_5_95"],
        "within": said["within"],
        "flags": own if fix.choice.combination else [],
    }


def trim_answer(
    inset: Inset, found: Trim, finding: Finding | None, again: Doses | None
) -> dict[str, Any]:
    """Return everything that was weighed for a finished piece."""
    fixes: list[dict[str, Any]] = [
        {
            "side": fix.side,
            "emitter": fix.emitter,
            "take": _choice(inset, fix, fix.choice) | _sureness(inset, fix),
            "front": [_choice(inset, fix, choice) for choice in fix.answer.front[:40]],
            "front_size": len(fix.answer.front),
            "combinations": fix.answer.total,
            "proof": fix.answer.proof,
        }
        for fix in found.fixes
    ]
    return {
        "name": inset.name,
        "difference": round(found.difference, 4),
        "target_hex": _target_hex(inset),
        "tolerance": None if inset.target is None else inset.target.tolerance,
        "fixes": fixes,
        "pour_again": None if again is None else _again(found, again),
        "limit_of_any_film": None
        if found.left is None
        else {
            "certified": round(found.left.best.low, 4),
            "reached": round(found.left.best.high, 4),
            "share_of_light_now": round(found.left.best.share, 4),
        },
        "starved": starved_words(found.fixes[0].before.radiance),
        "finding": None if finding is None else _finding(finding),
        "sentence": sentence(inset, found, again, [fix["take"] for fix in fixes]),
        "yardstick": YARDSTICK,
    }


def shown(seen: Look, inset: Inset) -> str:
    """Return the swatch of a piece as it is."""
    return XYZ_to_swatch(exposed(seen.XYZ, inset.target)).hex


def _target_hex(inset: Inset) -> str | None:
    if inset.target is None or inset.target.Lab is None:
        return None
    return XYZ_to_swatch(exposed(Lab_to_XYZ(inset.target.Lab), inset.target)).hex


def _finding(finding: Finding) -> dict[str, Any]:
    return {
        "suspects": [
            {
                "what": suspect.label,
                "probability": round(suspect.probability, 3),
                "change": suspect.change,
            }
            for suspect in finding.suspects
        ],
        "nothing_is_off": round(finding.nothing, 3),
        "next_look": finding.next_look,
        "strength_factors": {k: round(v, 3) for k, v in finding.strengths.items()},
        "misfit": round(finding.misfit, 3),
    }


def _again(found: Trim, again: Doses) -> dict[str, Any]:
    recipe = again.recipes[0]
    now = found.fixes[0].before.light_kept
    return {
        "doses": [
            f"{p.dose or f'{p.minutes:g} min'} {p.bottle.name}" for p in recipe.parts
        ],
        "hex": shown(look(recipe.inset), recipe.inset),
        "difference": round(recipe.difference, 4),
        "light_kept": round(recipe.light_kept, 4),
        "light_against_now": round(recipe.light_kept / max(now, 1e-9), 3),
    }


def sentence(
    inset: Inset, found: Trim, again: Doses | None, takes: Sequence[dict[str, Any]]
) -> str:
    """Say in plain words what to do; `takes` are the choices of the fixes."""
    said = []
    tolerance = 0.0
    if inset.target is not None and inset.target.region is None:
        tolerance = inset.target.tolerance
    start = _number(found.difference)
    best = None
    for fix, take in zip(found.fixes, takes, strict=True):
        choice, sure = fix.choice, _sure(take)
        if fix.emitter:
            said.append(
                f"{fix.emitter} instead, {words_of(fix, choice)}: {start} -> "
                f"{_number(choice.difference)}{sure}, "
                f"{fix.against_now(choice) * 100:.0f} % of the light you have now."
            )
        elif choice.combination:
            said.append(
                f"{words_of(fix, choice)}: {start} -> {_number(choice.difference)}"
                f"{sure}, keeps {fix.against_now(choice) * 100:.0f} % of the light now."
            )
            best = min(choice.difference, best if best is not None else 1e9)
    if best is None and found.difference <= tolerance:
        said.insert(0, f"It is within tolerance as it is ({start}).")
    elif best is None:
        said.insert(0, "No coat of these inks brings it nearer.")
    left = found.left
    nearest = found.difference if best is None else best
    if left is not None and nearest > tolerance:
        if left.best.low > tolerance:
            said.append(
                "What is left cannot be filmed away: no film of any kind comes nearer "
                f"than {_number(left.best.low)}, because "
                f"{starved_words(found.fixes[0].before.radiance)}."
            )
        else:
            said.append(
                "Films that are not on this shelf could do it: the limit is "
                f"{_number(left.best.low)}."
            )
    if again is not None:
        recipe = again.recipes[0]
        gain = recipe.light_kept / max(found.fixes[0].before.light_kept, 1e-9)
        nearer = recipe.difference < nearest - 0.5
        if nearer or gain > 1.3:
            doses = " + ".join(written(part) for part in recipe.parts)
            merit = "comes nearer" if nearer else "keeps more light"
            said.append(
                f"Pouring again {merit}: {doses}: {start} -> "
                f"{_number(recipe.difference)}, {gain * 100:.0f} % of the light you "
                "have now."
            )
    return " ".join(said)


def _sure(take: dict[str, Any]) -> str:
    """Write the range of a choice, and what makes it unsure."""
    low, high = take["difference_5_95"]
    glows = [f for f in take["flags"] if f["name"] == "glows by itself"]
    words = "; an ink in it glows by itself, so try one LED first" if glows else ""
    return f" ({_number(low)} to {_number(high)} plausible{words})"


def written(part: Part) -> str:
    """Write one bottle of a recipe: "4 drops sea blue"."""
    how = f"{part.minutes:g} min" if part.minutes is not None else str(part.dose)
    return f"{how} {part.bottle.name}"


def _number(value: float) -> str:
    """Write a CIEDE2000, or a distance in u'v', which is far smaller."""
    return f"{value:.4f}" if abs(value) < 0.1 else f"{value:.1f}"


def _gap(value: float) -> str:
    return f"{value:.1f}"


def trim_text(answer: dict[str, Any]) -> str:
    """Write a trim: the sentence, then each side's front."""
    lines = [f"{answer['name']}: difference {_number(answer['difference'])}"]
    if answer["finding"]:
        lines += ["", *_finding_lines(answer["finding"])]
    lines += ["", line("do", answer["sentence"])]
    flags = [flag for fix in answer["fixes"] for flag in fix["take"]["flags"]]
    texts = dict.fromkeys(remark(f["name"], f["sentence"]) for f in flags)
    lines += ["", *texts] if texts else []
    for fix in answer["fixes"]:
        title = (
            fix["emitter"]
            or {"led": "LED side", "viewer": "viewer's side"}[fix["side"]]
        )
        lines += ["", f"  {title}  (coats, difference, light kept of now)"]
        others = [c for c in fix["front"] if c["coats"] != fix["take"]["coats"]]
        rows = [fix["take"], *others]
        lines += [
            f"    {block(row['hex'], 4)} {_number(row['difference']):>7} "
            f"{row['light_against_now'] * 100:>4.0f} %  {row['words']}"
            for row in rows[:ROWS]
        ]
        more = fix["front_size"] - min(ROWS, len(rows))
        if more > 0:
            lines.append(f"         and {more} more compromises, see --json")
        lines.append(f"    {fix['proof']}")
    return "\n".join(lines)


def _finding_lines(finding: dict[str, Any]) -> list[str]:
    lines = ["  why it is off, from what was seen"]
    lines += [
        f"    {suspect['probability'] * 100:>4.0f} %  {suspect['what']}: "
        f"{suspect['change']}"
        for suspect in finding["suspects"][:5]
    ]
    lines.append(f"    {finding['nothing_is_off'] * 100:>4.0f} %  nothing is off")
    if finding["misfit"] > 4:
        lines.append("    none of these explains it well; look for something else")
    lines.append(line("look next", finding["next_look"]))
    return lines


def passbands(transmittance: Array) -> list[tuple[int, int, float]]:
    """Write a filter down as runs of equal transmittance: first and last nm, value.

    Runs that pass nothing are left out.
    """
    values = np.round(transmittance, 4)
    edges = np.flatnonzero(np.diff(values)) + 1
    first, last = np.append(0, edges), np.append(edges, values.size) - 1
    return [
        (int(WAVELENGTHS[a]), int(WAVELENGTHS[b]), float(values[a]))
        for a, b in zip(first, last, strict=True)
        if values[a] > 0
    ]


def reach_answer(inset: Inset, found: Limits) -> dict[str, Any]:
    """Return the limit of any filter as a flat object."""
    answer: dict[str, Any] = {"name": inset.name, "target_hex": _target_hex(inset)}
    for policy, curve in found.curves.items():
        answer[policy] = {
            "light_kept": [round(float(v), 5) for v in curve.shares],
            "certified": [round(float(v), 4) for v in curve.low],
            "explicit_filter": [round(float(v), 4) for v in curve.high],
            "best": {
                "certified": round(curve.best.low, 4),
                "explicit_filter": round(curve.best.high, 4),
                "light_kept": round(curve.best.share, 4),
                "filter": passbands(curve.best.filter),
            },
        }
    answer["room"] = inset.room.name
    answer["room_light"] = round(found.level - 1, 4)
    answer["smooth"] = round(found.smooth, 4)
    answer["points"] = [
        {
            "what": point.what,
            "difference": round(point.difference, 4),
            "light_kept": round(point.light_kept, 4),
        }
        for point in found.points
    ]
    answer["starved"] = found.words
    answer["tolerance"] = None if inset.target is None else inset.target.tolerance
    answer["not_covered"] = (
        "fluorescence, added scatter, reflecting films, removed surfaces, another LED "
        "or drive"
    )
    answer["yardstick"] = YARDSTICK
    return answer


def reach_text(answer: dict[str, Any]) -> str:
    """Write the limit: three numbers, and why."""
    lines = [
        f"{answer['name']}: what no dye or film on this LED can do",
        "",
        "  difference, CIEDE2000, with lightness free and matched",
    ]
    policies = {"free": "free", "match": "matched"}
    for policy, words in policies.items():
        best = answer[policy]["best"]
        lines.append(
            line(
                words,
                f"nothing comes nearer than {_gap(best['certified'])} "
                f"(an ideal filter reaches {_gap(best['explicit_filter'])}, keeping "
                f"{best['light_kept'] * 100:.0f} % of the light)",
            )
        )
        passes = [f"{a} to {b} nm" for a, b, value in best["filter"] if value > 0.5]
        if 0 < len(passes) <= BANDS:
            lines.append(line("", f"that filter passes {' and '.join(passes)}"))
    lines.append(
        line("dye-like", f"smooth bands come to about {_gap(answer['smooth'])}")
    )
    if answer["points"]:
        near = min(answer["points"], key=lambda p: p["difference"])
        lines.append(
            line(
                "your shelf",
                f"{near['what']}: {_gap(near['difference'])}, keeping "
                f"{near['light_kept'] * 100:.0f} %",
            )
        )
    lines += [
        line("the light", answer["starved"]),
        "",
        "  light kept    free: at least (ideal)    match: at least (ideal)",
    ]
    free, match = answer["free"], answer["match"]
    for i in range(0, len(free["light_kept"]), max(1, len(free["light_kept"]) // 10)):
        lines.append(
            f"  {free['light_kept'][i] * 100:>8.1f} %   "
            f"{free['certified'][i]:>8.2f} ({free['explicit_filter'][i]:.2f})"
            f"          {match['certified'][i]:>8.2f} "
            f"({match['explicit_filter'][i]:.2f})"
        )
    if answer["room_light"] >= 0.005:
        lines.append(
            line(
                "room",
                f"light of the {answer['room']} counts: the undyed face sends back "
                f"{answer['room_light'] * 100:.0f} % of what the LEDs send through",
            )
        )
    lines += ["", line("not covered", answer["not_covered"])]
    return "\n".join(lines)
