"""The glow and what is said of it, as HTML text.

No colour and no number is made here; positions on the drawing are all that is reckoned.
Every swatch has its words beside it, so that nothing is told by colour alone.
"""

from html import escape
from typing import Any

from tintlab.report.text import amount

Answer = dict[str, Any]
MARKS = {  # a shape for each verdict, so that it is not told by words alone
    "on": "●",
    "near": "◐",
    "off": "○",
    "too dim": "▽",
    "can't tell, chip it": "◌",
}
WIDEST, WINDOW = 300.0, 204.0  # [px] width and height that the drawn inset fills
COLOUR_VISION = (
    "One man in twelve and one woman in two hundred see colours unlike most others: "
    "go by the words and the difference, and ask someone else to look."
)


def trouble(title: str, text: str) -> str:
    """Write what is wrong and what to do."""
    return (
        f'<div class="trouble" role="alert"><b>{escape(title)}</b><br>'
        f"{escape(text)}</div>"
    )


def patch(colour: str | None, words: str) -> str:
    """Write a swatch and what it is."""
    square = f'<i class="patch" style="background:{colour}"></i>' if colour else ""
    return f"{square}{escape(words)}"


def pair(one: str, other: str | None) -> str:
    """Draw two colours edge to edge on neutral grey."""
    second = f'<i style="background:{other}"></i>' if other else ""
    return f'<div class="pairing"><i style="background:{one}"></i>{second}</div>'


# ------------------------------------------------------------------- the glow


def viewing(now: Answer, whole: Answer | None, *, section: Answer) -> str:
    """Draw the glow edge to edge with its target, in the outline of the inset."""
    beyond = " (beyond sRGB)" if now["glow_beyond_srgb"] else ""
    rows = [("glow", f"{now['glow_hex']} {now['glow_words']}{beyond}", "")]
    if now["target_hex"]:
        rows.append(("target", f"{now['target_hex']} {now['target_words']}", ""))
    if now["target_region"]:
        rows.append(("target", f"the region {now['target_region']}", ""))
    face = patch(now["face_hex"], f"{now['face_hex']} {now['face_words']}")
    listed = "".join(f"<dt>{a}</dt><dd>{escape(b)}</dd>" for a, b, _ in rows)
    listed += f'<dt class="roomy">unlit</dt><dd class="roomy">{face}</dd>'
    return (
        f'<div class="viewing">{_window(now, section)}'
        f"<dl>{listed}</dl>{_could_be(whole)}</div>"
    )


def _window(now: Answer, section: Answer) -> str:
    width, height = section["size"] or (1.0, 1.0)
    scale = min(WIDEST / width, WINDOW / height)
    across, tall = width * scale, height * scale
    other = now["target_hex"] or now["glow_hex"]
    corners = section["corners"] or [[-0.5, -0.5], [0.5, -0.5], [0.5, 0.5], [-0.5, 0.5]]
    points = " ".join(
        f"{across / 2 + x * scale:.1f},{tall / 2 + y * scale:.1f}" for x, y in corners
    )
    shape = f'<polygon points="{points}"/>'
    said = f"glow {now['glow_words']}"
    if now["target_hex"]:
        said += f", beside the target, {now['target_words']}"
    return (
        f'<svg class="window" role="img" aria-label="{escape(said)}" '
        f'width="{across:.0f}" height="{tall:.0f}" '
        f'viewBox="0 0 {across:.1f} {tall:.1f}"><clipPath id="outline">{shape}'
        f'</clipPath><g clip-path="url(#outline)">'
        f'<rect class="glow" width="{across / 2:.2f}" height="{tall}" '
        f'fill="{now["glow_hex"]}"/>'
        f'<rect x="{across / 2:.2f}" width="{across / 2:.2f}" height="{tall}" '
        f'fill="{other}"/></g></svg>'
    )


def _could_be(whole: Answer | None) -> str:
    if whole is None:
        return (
            '<div class="roomy small" style="min-height:56px">could be: reckoning '
            "what else it may become ...</div>"
        )
    strip = "".join(f'<i style="background:{c}"></i>' for c in whole["spread_hex"])
    ends = f"{whole['spread_hex'][0]} to {whole['spread_hex'][-1]}"
    return (
        f'<div class="roomy small" style="min-height:56px"><div class="strip" '
        f'role="img" aria-label="could be {ends}">{strip}</div>could be {ends}, '
        "5 to 95 %</div>"
    )


# ------------------------------------------------------------------ the words


def said(now: Answer, whole: Answer | None, *, least: float) -> str:
    """Write verdict, reason and figures; what the spread tells once it is there."""
    return (
        f'<div class="said" aria-live="polite">{_verdict(whole)}'
        f'<dl class="figures">{_figures(now, whole, least)}</dl></div>'
    )


def _verdict(whole: Answer | None) -> str:
    if whole is None:
        return (
            '<div class="verdict waiting" id="verdict">... looking</div>'
            '<p class="small roomy waiting">&nbsp;<br>&nbsp;</p>'
        )
    word = whole["verdict"] or "no target yet"
    mark = MARKS.get(whole["verdict"], "\N{EN DASH}")
    return (
        f'<div class="verdict" id="verdict"><span aria-hidden="true">{mark}</span>'
        f"<span>{escape(word)}</span></div>"
        f'<p class="small roomy" style="min-height:3em">{escape(whole["reason"])}</p>'
    )


def _between(ends: list[float] | None, form: str, unit: str = "") -> str:
    if ends is None:
        return ""
    return f" ({ends[0]:{form}} to {ends[1]:{form}}{unit})"


def _figures(now: Answer, whole: Answer | None, least: float) -> str:
    spread = whole or {}
    rows = []
    if now["difference"] is not None:
        rows.append(("difference", _difference(now, spread)))
    rows.append(("light kept", _kept(now, spread, least)))
    if now["luminance"] is None:
        rows.append(("luminance", "write the inset's size for cd/m²"))
    else:
        bright = spread.get("luminance_5_95")
        more = f" ({' to '.join(amount(v) for v in bright)})" if bright else ""
        text = (
            f'{amount(now["luminance"])}{more} cd/m²<span class="roomy">; unlit face '
            f"{amount(now['face_luminance'])}</span>"
        )
        rows.append(("luminance", text))
    text = "".join(f"<dt>{a}</dt><dd>{b}</dd>" for a, b in rows)
    if spread.get("causes"):
        named = "; ".join(
            f"{c['label']} {c['share'] * 100:.0f} %" for c in spread["causes"][:3]
        )
        text += (
            f'<dt class="roomy">why unsure</dt><dd class="roomy">{escape(named)}</dd>'
        )
    return text


def _difference(now: Answer, spread: Answer) -> str:
    if now["target_region"]:
        side = "inside" if now["difference"] <= 0 else "outside"
        sure = spread.get("within")
        share = "" if sure is None else f"; {sure * 100:.0f} % of what it may be inside"
        return (
            f"<b id=\"difference\">{abs(now['difference']):.4f}</b> in u'v' {side} "
            f'the nearest edge<span class="roomy">{share}</span>'
        )
    ends = _between(spread.get("difference_5_95"), ".1f")
    return (
        f'<b id="difference">{now["difference"]:.1f}</b>{ends} CIEDE2000'
        f'<span class="roomy">; tolerance {now["tolerance"]:g}</span>'
    )


def _kept(now: Answer, spread: Answer, least: float) -> str:
    kept, ends = now["light_kept"] * 100, spread.get("light_kept_5_95")
    bar = f'<i style="width:{kept:.1f}%;background:{now["glow_hex"]}"></i>'
    if ends:
        low, high = (100 * v for v in ends)
        bar += f'<u style="left:{low:.1f}%;width:{high - low:.1f}%"></u>'
    if least:
        bar += f'<s style="left:{least * 100:.1f}%" title="least that is wanted"></s>'
    text = f'<b>{kept:.0f} %</b><span class="narrow"> light kept</span>'
    if ends:
        text += f" ({ends[0] * 100:.0f} to {ends[1] * 100:.0f} %)"
    if least:
        text += f'<span class="roomy">; at least {least * 100:.0f} % wanted</span>'
    return (
        f'<div class="kept" role="img" aria-label="light kept {kept:.0f} %">{bar}</div>'
        f"{text}"
    )


def remarks(whole: Answer) -> str:
    """List flags and notes."""
    flags = [(f["name"], f["sentence"]) for f in whole["flags"]]
    flags += [("note", note) for note in whole["notes"]]
    items = "".join(f"<li><b>{escape(a)}</b>: {escape(b)}</li>" for a, b in flags)
    return f'<ul class="plain small">{items}</ul>' if items else ""


def cautions(texts: list[str]) -> str:
    """List the usual cautions."""
    items = "".join(f"<li>{escape(text)}</li>" for text in texts)
    return f'<ul class="plain small">{items}</ul>'
