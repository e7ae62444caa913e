"""Answers of searches as HTML text: doses, corrections, chips, the shelf."""

import re
from html import escape
from typing import Any

from tintlab.page.parts import cautions, pair

Answer = dict[str, Any]
_COLOURS = re.compile(r"\x1b\[[0-9;]*m")  # of a terminal
MISFIT = 4.0  # squared error from which no cause explains what was seen


def command(text: str) -> str:
    """Show the command that gives the same answer, to be copied."""
    return (
        '<h3>the same on the command line</h3><pre class="command" tabindex="0">'
        f"{escape(text)}</pre>"
    )


def lines(texts: list[str]) -> str:
    """Show text as the command line lays it out, its colours left out."""
    plain = _COLOURS.sub("", "\n".join(texts))
    return f'<pre class="command" tabindex="0">{escape(plain)}</pre>'


def figure(value: float) -> str:
    """Write a difference: CIEDE2000, or u'v' when it is small."""
    return f"{value:.4f}" if abs(value) < 0.3 else f"{value:.1f}"


# ---------------------------------------------------------- doses and corrections


def recipe_words(recipe: Answer) -> str:
    """Write what a recipe gives, and what one step too many does."""
    low, high = recipe["difference_5_95"]
    gives = (
        f"difference {recipe['difference']:.3g} ({low:.3g} to {high:.3g}), light kept "
        f"{recipe['light_kept'] * 100:.0f} %: {recipe['verdict']}"
    )
    lines = [f"glow {recipe['glow_hex']} {recipe['glow_words']}", gives]
    for part in recipe["parts"]:
        lines.append(
            f"{part['bottle']}: one step less {part['difference_one_step_less']:.3g}, "
            f"one more {part['difference_one_step_more']:.3g}"
        )
        lines += [part["made_as"]] if part["made_as"] else []
    return '<div class="small">' + "<br>".join(map(escape, lines)) + "</div>"


def suspects(finding: Answer) -> str:
    """List what may be the cause, with how probable it is."""
    rows = [
        (one["probability"], f"{one['what']}: {one['change']}")
        for one in finding["suspects"][:5]
    ]
    rows.append((finding["nothing_is_off"], "nothing is off"))
    items = "".join(
        f"<li><b>{share * 100:.0f} %</b> {escape(text)}</li>" for share, text in rows
    )
    if finding["misfit"] > MISFIT:
        items += "<li>none of these explains it well; look for something else</li>"
    return (
        f'<ul class="plain">{items}</ul><p><b>look next:</b> '
        f"{escape(finding['next_look'])}</p>"
    )


def before_after(before: str, after: str, answer: Answer) -> str:
    """Draw the piece now, then after, with the target along the lower half."""
    target = answer["target_hex"]
    return (
        f'<div>{pair(before, target)}<div class="small quiet">now</div>'
        f'{pair(after, target)}<div class="small quiet">after'
        + (" | target" if target else "")
        + "</div></div>"
    )


def choice_words(take: Answer, now: float) -> str:
    """Write what a correction does and costs."""
    return (
        f'<div class="small">difference {figure(now)} → '
        f"<b>{figure(take['difference'])}</b>; {take['light_against_now'] * 100:.0f} % "
        f"of the light you have now; {take['hex']}</div>"
    )


def again_words(again: Answer) -> str:
    """Write what another pour does."""
    return (
        f'<div class="small">difference <b>{figure(again["difference"])}</b>, '
        f"{again['light_against_now'] * 100:.0f} % of the light you have now</div>"
    )


# ------------------------------------------------------------ chips and the shelf


def shelf_rows(rows: list[Answer]) -> str:
    """List materials: yours first, with the grade of what is known of each."""
    items = []
    for row in sorted(rows, key=lambda one: not one["own"]):
        colour = row["swatch"] or "none"
        mine = ", yours" if row["own"] else ""
        items.append(
            f'<li><i style="background:{colour}"></i><b>{escape(row["name"])}</b>'
            f'<em class="grade">{escape(str(row["evidence"]))}{mine}</em>'
            f"<span>{escape(row['what'])}</span></li>"
        )
    return f'<ul class="plain">{"".join(items)}</ul>'


def _made_in(chip: Answer) -> str:
    """Write how much resin takes a chip's dose, and how deep it is."""
    batch = "" if chip["batch"] is None else f" in {chip['batch']:g} g"
    return batch + ("" if chip["thickness"] is None else f", {chip['thickness']:g} mm")


def chip_plan(answer: Answer) -> str:
    """List the chips to cast, what they are worth, and the photo to take."""
    rows = "".join(
        f"<tr><td>{escape(chip['label'])}</td><td>{escape(chip['bottle'])}</td>"
        f"<td>{escape(str(chip['amount']))}{_made_in(chip)}</td>"
        f"<td>{chip['absorbance']:.2f}</td></tr>"
        for chip in answer["chips"]
    )
    worth = ""
    if answer["difference_5_95"] is not None:
        (a, b), (c, d) = answer["difference_5_95"], answer["difference_5_95_after"]
        form = ".4f" if answer["region"] else ".1f"
        worth = (
            f"<p>difference {a:{form}} to {b:{form}} now, <b>{c:{form}} to {d:{form}}"
            "</b> after the chips</p>"
        )
    steps = "".join(f"<li>{escape(text)}</li>" for text in answer["photo"])
    return (
        '<div class="scroll"><table class="numbers"><tr><th>label</th><th>bottle</th>'
        f"<th>dose</th><th>absorbance, if the label is right</th></tr>{rows}"
        "</table></div><p>and one undyed chip of the same body: the blank</p>"
        f"{worth}<h3>the one photo to take</h3><ol>{steps}</ol>"
        f"<h3>take care</h3>{cautions(answer['cautions'])}"
    )


def lesson(answer: Answer) -> str:
    """Write what chips taught, and whether they fit."""
    items = []
    for one in answer["learned"]:
        known = (
            f"known within a factor {one['after_spread']:.3g}, was "
            f"{one['before_spread']:.3g}"
            if one["file"]
            else "these chips say next to nothing about it"
        )
        items.append(
            f"<li><b>{escape(one['name'])}</b>: strength {one['before']:g} → "
            f"<b>{one['after']:g}</b>; {known}<br><span class='grade'>"
            f"{escape(one['before_grade'])} → {escape(one['after_grade'])}</span> "
            f"<span class='small quiet'>next: {escape(one['next'])}</span></li>"
        )
    fit = (
        "The chips agree with a clear dyed body."
        if answer["fits"]
        else "The chips do not fit a clear dyed body of these bottles over this LED."
    )
    doubts = "".join(
        f"<li><b>{escape(s['word'])}</b>: {escape(s['sentence'])}</li>"
        for s in answer["suspects"]
    )
    notes = "".join(f"<li>{escape(note)}</li>" for note in answer["notes"])
    return (
        f'<ul class="plain lesson">{"".join(items)}</ul><p>{fit}</p>'
        f'<ul class="plain small">{doubts}{notes}</ul>'
    )
