"""What chips taught, and which chips to cast: text and JSON."""

import textwrap
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from tintlab.cautions import cautions
from tintlab.chips.casts import Cast
from tintlab.chips.keep import Plan
from tintlab.chips.ladder import Ladder
from tintlab.chips.learn import Lesson, quantity
from tintlab.chips.metered import Metered
from tintlab.chips.plan import Advice
from tintlab.chips.story_file import quoted
from tintlab.colourants import Bottle, Colourant
from tintlab.report.text import WIDTH, line, remark
from tintlab.solve.measures import SERIAL

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
FINER = "camera raw, a second exposure, or more chips narrow it"

FOREIGN = 15.0  # [nm] of a band, beyond what solvents and resins do; common practice


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
    cast = key == "strength"  # a spectrum teaches about bottles in cast chips only
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
        "cure": after.cure if isinstance(after, Bottle) else "",
        "cures": [
            {
                "cure": one.cure,
                "after": _figures(one.strength),
                "after_spread": _figures(one.spread, 3),
                "shift": None
                if one.shift is None
                else [_figures(v, 3) for v in one.shift],
            }
            for one in (after.cures if isinstance(after, Bottle) else ())
        ],
        "file": None if plan is None else str(plan.path),
        "next": FINER if after.grade == "laddered" and not cast else NEXT[after.grade],
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
    lines += [line("", text) for text in _band(one)]
    if one["cure"]:
        lines.append(line("", f"as cured by {one['cure']}, like the chips"))
    for other in one["cures"]:
        factor, spread = other["after"] / one["after"], other["after_spread"]
        low, high = other["after"] / spread, other["after"] * spread
        lines.append(
            line(
                f"  {other['cure']}",
                f"{other['after']:g} ({low:.2g} to {high:.2g}) in this cure, "
                f"{factor:.2f} times as much",
            )
        )
        lines += [line("", text) for text in _band(other)]
    lines.append(line("next", one["next"]))
    return lines


def _band(one: Answer) -> list[str]:
    """Say where the band lies, when it is not where the dye's file has it."""
    if one["shift"] is None or abs(one["shift"][0]) <= one["shift"][1]:
        return []
    shift = one["shift"][0]
    text = f"its band lies {shift:+.0f} nm off its dye's"
    if abs(shift) > FOREIGN:
        text += (
            ", more than resins move a dye: is it another dye, or another bottle in "
            "the picture?"
        )
    return [text]


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


PHOTO = (
    ("lay blank and chips side by side over one LED, no light past their edges; with "
    "room, a blank at either end"),
    "dark room, camera square above; lock exposure, focus and white balance",
    ("nothing clipped: the blank bright, yet below nine tenths of full in every "
    "channel; raw or manual mode if the camera has it"),
    "then the same scene again, two stops darker: it checks the tone curve",
)  # fmt: skip


def plan_answer(advice: Advice, *, batch: float) -> Answer:
    """Return a flat object of which chips to cast, and why."""
    before, after = advice.before, advice.after
    return {
        "name": advice.inset.name,
        "emitter": advice.ladder.emitter.name,
        "under": None if advice.ladder.under is None else advice.ladder.under.name,
        "chips": [
            {
                "label": cast.name,
                "bottle": cast.colourant,
                "amount": cast.amount,
                "batch": batch if cast.layer.dosed else None,
                "thickness": cast.layer.thickness if cast.layer.medium else None,
                "absorbance": round(cast.absorbance, 3),
            }
            for cast in advice.casts
        ],
        "steps": [
            {"chips": [c.name for c in step.casts], "left": round(step.left, 3)}
            for step in advice.steps
        ],
        "factors": {
            name: [round(v, 3) for v in pair] for name, pair in advice.factors.items()
        },
        "difference_5_95": _ends(before.difference),
        "difference_5_95_after": _ends(after.difference),
        "within": None if before.within is None else round(before.within, 3),
        "within_after": None if after.within is None else round(after.within, 3),
        "weigh": list(advice.weigh),
        "region": bool(advice.inset.target and advice.inset.target.region),
        "photo": list(PHOTO),
        "cautions": cautions(advice.inset, None),
    }


def _ends(values: Any) -> list[float] | None:
    if values is None:
        return None
    return [round(float(v), 4) for v in np.percentile(values, [5, 95])]


def plan_text(answer: Answer) -> str:
    """Write which chips to cast, the labels, and the photo to take."""
    lines = [f"Chips for {answer['name']}", ""]
    for number, chip in enumerate(answer["chips"], 1):
        depth = "" if chip["thickness"] is None else f", {chip['thickness']:g} mm"
        batch = "" if chip["batch"] is None else f" in {chip['batch']:g} g"
        lines.append(
            line(
                f"chip {number}",
                f"{chip['bottle']}: {chip['amount']}{_twice(chip)}{batch}{depth}; "
                f"peak absorbance {chip['absorbance']:.2f} if the label is right",
            )
        )
    lines.append(line("blank", "one undyed chip of the same body and thickness"))
    lines += ["", *_worth_lines(answer), ""]
    lines.append("  Labels to cut out:")
    lines += _strip(answer)
    lines += ["", "  The one photo to take:"]
    lines += [_item(f"{i}.", text) for i, text in enumerate(answer["photo"], 1)]
    if answer["weigh"]:
        names = " and of ".join(answer["weigh"])
        lines += ["", line("and once", f"weigh 50 drops of {names}; write it in")]
    lines += ["", "  Take care:"]
    lines += [_item("-", text) for text in answer["cautions"]]
    return "\n".join(lines)


def _item(mark: str, text: str) -> str:
    """Write one item of a list, wrapped."""
    indent = f"  {mark} "
    return textwrap.fill(
        text, WIDTH, initial_indent=indent, subsequent_indent=" " * len(indent)
    )


def _twice(chip: Answer) -> str:
    """Say how a weak let-down is made."""
    for ratio, each in SERIAL.items():
        if f" {ratio}:1 " in chip["amount"]:
            return f" (let down twice, {each}:1 each)"
    return ""


def _worth_lines(answer: Answer) -> list[str]:
    lines = [
        line(name, f"known within a factor {before:.3g} -> {after:.3g}")
        for name, (before, after) in answer["factors"].items()
    ]
    ends = answer["difference_5_95"], answer["difference_5_95_after"]
    if ends[0] is not None:
        form, unit = (".4f", "u'v'") if answer["region"] else (".1f", "CIEDE2000")
        now, then = (f"{low:{form}} to {high:{form}}" for low, high in ends)
        lines.append(line("difference", f"{now} now, {then} {unit} after the chips"))
        lines.append(
            line(
                "within",
                f"{answer['within'] * 100:.0f} % of the plausible outcomes now, "
                f"{answer['within_after'] * 100:.0f} % after",
            )
        )
        if answer["within_after"] < 0.1:
            lines.append(
                line("", "this dose misses the target, chips or not: dose it first")
            )
    steps = ", ".join(
        f"{step['left'] * 100:.0f} % after {len(step['chips'])} "
        f"chip{'s' * (len(step['chips']) != 1)}"
        for step in answer["steps"][1:]
    )
    lines.append(line("worth", f"spread in colour that is left: {steps}"))
    return lines


def _strip(answer: Answer) -> list[str]:
    texts = ["BLANK", *(chip["label"] for chip in answer["chips"])]
    inner = [f" {text} " for text in texts]
    rule = "+".join("-" * len(text) for text in inner)
    rows: list[str] = []
    if len(rule) <= 74:
        return [f"  +{rule}+", f"  |{'|'.join(inner)}|", f"  +{rule}+"]
    for text in inner:
        edge = f"  +{'-' * len(text)}+"
        rows += [edge, f"  |{text}|"]
    return [*rows, f"  +{'-' * len(inner[-1])}+"]


def chips_file(answer: Answer, advice: Advice) -> str:
    """Write the chips file to fill in when the photo is taken."""
    lines = [f"name = {quoted(answer['name'] + ', chips')}"]
    lines.append(f"emitter = {quoted(answer['emitter'])}")
    if answer["under"]:
        lines.append(f"under = {quoted(answer['under'])}")
    lines += ["", "[photo]", 'file = "chips.jpg"', 'marks = "marks.toml"']
    lines += ['# second = "chips-darker.jpg"']
    for chip, cast in zip(answer["chips"], advice.casts, strict=True):
        lines += ["", "[[chip]]", f"name = {quoted(chip['label'])}"]
        lines += _layer_lines(cast)
    for name in answer["weigh"]:
        lines += ["", "# [[weighed]]", f"# bottle = {quoted(name)}"]
        lines += ["# drops = 50", '# mass = "1.25 g"']
    return "\n".join(lines) + "\n"


def _layer_lines(cast: Cast) -> list[str]:
    layer, name = cast.layer, quoted(cast.colourant)
    if layer.coats:
        return [f"coats = [{{ ink = {name}, coats = {layer.coats[0].count} }}]"]
    lines = [f"medium = {quoted(layer.medium.name)}"] if layer.medium else []
    lines.append(f'thickness = "{layer.thickness:g} mm"')
    if layer.bathed:
        time = f"{layer.bathed[0].minutes:g} min"
        return [*lines, f'dyes = [{{ bottle = {name}, time = "{time}" }}]']
    lines.append(f'batch = "{layer.batch:g} g"')
    lines += [f'cure = "{layer.cure}"'] if layer.cure else []
    return [*lines, f'dyes = [{{ bottle = {name}, dose = "{cast.amount}" }}]']
