"""What chips taught, and which chips to cast: text and JSON."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tintlab.chips.keep import Plan
from tintlab.chips.ladder import Ladder
from tintlab.chips.learn import Lesson, quantity
from tintlab.chips.metered import Metered
from tintlab.materials import Bottle, Colourant
from tintlab.report.text import line, remark

Answer = dict[str, Any]

UNITS = {
    "strength": "per mm for 1 g/kg",
    "peak_absorbance": "a coat",
    "bath_rate": "a face and root minute",
}
CHANNELS = ("red", "green", "blue", "light", "X", "Y", "Z")
NEXT = {
    "label-only": "one chip, read over a known LED, makes it chipped",
    "chipped": "a second chip, deeper or paler by half, makes it laddered",
    "laddered": "a spectrometer's reading of a chip would make it metered",
    "metered": "nothing: this is as good as it gets",
}


def _figures(value: float, digits: int = 4) -> float:
    return float(f"{value:.{digits}g}")


def lesson_answer(
    lesson: Lesson, plans: Sequence[Plan | None], written: Sequence[Path]
) -> Answer:
    """Return a flat object of what a ladder taught."""
    ladder, fit = lesson.ladder, lesson.fit
    return {
        "name": ladder.name,
        "emitter": ladder.emitter.name,
        "fits": lesson.fits,
        "chance": _figures(fit.chance, 2),
        "suspects": [
            {"word": s.word, "sentence": s.sentence, "gain": round(s.gain, 1)}
            for s in lesson.suspects
        ],
        "readings": [
            {
                "chip": ladder.chips[int(owner)].name,
                "channel": CHANNELS[int(channel)],
                "read": round(float(value), 4),
                "sigma": round(float(sigma), 4),
                "expected": round(float(expected), 4),
            }
            for owner, channel, value, sigma, expected in zip(
                fit.model.owner,
                fit.model.channel,
                fit.model.value,
                fit.model.sigma,
                fit.read,
                strict=True,
            )
        ],
        "learned": [
            _learned(ladder, one.prior, plan)
            for one, plan in zip(lesson.learned, plans, strict=True)
        ],
        "notes": list(ladder.notes),
        "written": [str(path) for path in written],
    }


def metered_answer(
    ladder: Ladder,
    found: Sequence[Metered],
    plans: Sequence[Plan | None],
    written: Sequence[Path],
) -> Answer:
    """Return the same object for chips that a spectrometer has read."""
    return {
        "name": ladder.name,
        "emitter": ladder.emitter.name,
        "fits": True,
        "chance": None,
        "suspects": [],
        "readings": [],
        "learned": [
            _learned(ladder, one.learned.prior, plan)
            for one, plan in zip(found, plans, strict=True)
        ],
        "notes": [note for one in found for note in one.notes],
        "written": [str(path) for path in written],
    }


def _learned(ladder: Ladder, prior: Colourant, plan: Plan | None) -> Answer:
    """Say what is known of one bottle or ink before and after."""
    key = quantity(ladder, prior)
    after = prior if plan is None else plan.after
    by_drop = (
        isinstance(prior, Bottle)
        and isinstance(after, Bottle)
        and after.drop_spread < prior.drop_spread
        and after.drop == prior.drop
    )
    return {
        "name": prior.name,
        "quantity": key,
        "before": _figures(getattr(prior, key)),
        "before_spread": _figures(prior.spread, 3),
        "before_grade": prior.grade,
        "after": _figures(getattr(after, key)),
        "after_spread": _figures(after.spread, 3),
        "after_grade": after.grade,
        "by_drop": by_drop,
        "drop": after.drop if isinstance(after, Bottle) else None,
        "drop_spread": after.drop_spread if isinstance(after, Bottle) else None,
        "shift": None if after.shift is None else [_figures(v, 3) for v in after.shift],
        "width": None if after.width is None else [_figures(v, 3) for v in after.width],
        "file": None if plan is None else str(plan.path),
        "next": NEXT[after.grade],
    }


def lesson_text(answer: Answer) -> str:
    """Write what chips taught."""
    lines = [f"{answer['name']}, over {answer['emitter']}", ""]
    for one in answer["learned"]:
        lines += _learned_lines(one)
    if answer["chance"] is not None:
        lines.append(line("fit", _fit_words(answer)))
    lines += [remark(s["word"], s["sentence"]) for s in answer["suspects"]]
    for chip in dict.fromkeys(r["chip"] for r in answer["readings"]):
        rows = [r for r in answer["readings"] if r["chip"] == chip]
        said = ", ".join(
            f"{r['channel']} {r['read']:.3f} ({r['expected']:.3f})" for r in rows
        )
        lines.append(line(chip, f"{said}; read (expected)"))
    lines += ["", *(remark("note", note) for note in answer["notes"])]
    return "\n".join(lines).rstrip()


def _fit_words(answer: Answer) -> str:
    if answer["fits"]:
        return "the chips agree with a clear dyed body"
    text = "THE CHIPS DO NOT FIT a clear dyed body of these bottles over this LED"
    if not answer["suspects"]:
        text += "; nothing that was tried explains it: read and cast them again"
    return text


def _learned_lines(one: Answer) -> list[str]:
    unit = UNITS[one["quantity"]]
    before, after = (
        f"{one[w]:g} ({one[w] / one[w + '_spread']:.2g} to "
        f"{one[w] * one[w + '_spread']:.2g})"
        for w in ("before", "after")
    )
    lines = [line(one["name"], f"{before} -> {after} absorbance {unit}")]
    if one["file"] is None:
        return [*lines, line("", "these chips say next to nothing about it")]
    lines.append(
        line(
            "",
            f"{one['before_grade']} -> {one['after_grade']}; known within a factor "
            f"{one['after_spread']:.3g}, was {one['before_spread']:.3g}",
        )
    )
    if one["by_drop"]:
        lines.append(
            line(
                "",
                f"by the drop: reckoned with drops of {one['drop'] * 1000:.3g} mg; "
                "keep to drops, or weigh 50 of them before you dose grams",
            )
        )
    if one["shift"] is not None and abs(one["shift"][0]) > one["shift"][1]:
        lines.append(line("", f"its band lies {one['shift'][0]:+.0f} nm off its dye's"))
    lines.append(line("next", one["next"]))
    return lines


def kept_text(answer: Answer, *, keep: bool) -> str:
    """Say what was written or would be."""
    if answer["written"]:
        return "\n".join(f"wrote {path}" for path in answer["written"])
    files = [one["file"] for one in answer["learned"] if one["file"]]
    if not files:
        return "nothing to write"
    if keep:
        return "nothing written: it stands there already"
    return f"nothing written; --keep writes {', '.join(files)}"
