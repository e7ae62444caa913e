"""Drawings as SVG text: the piece in section, its spectrum, the limit of any dye.

Positions on the drawing are all that is reckoned here; colours and numbers come from
the library's answers.
"""

from html import escape
from typing import Any

from tintlab.page.controls import TIMES
from tintlab.report.glance import rainbow

Answer = dict[str, Any]
ROW = 58  # [px] height of a row beside the section, as in page.css
DRAWN = 300.0  # [px] height that light, box and layers fill together
THINNEST = 4.0  # [px] a layer is drawn at least this thick


# --------------------------------------------------------------- the spectrum

_LEFT, _TOP, _WIDE, _TALL = 34.0, 24.0, 640.0, 170.0
_LOW, _HIGH = 380.0, 780.0


def _x(wavelength: float) -> float:
    return _LEFT + (wavelength - _LOW) / (_HIGH - _LOW) * _WIDE


def _y(value: float) -> float:
    return _TOP + (1 - min(value, 1.05)) * _TALL


def _path(wavelengths: list[float], values: list[float]) -> str:
    points = (
        f"{_x(w):.1f},{_y(v):.1f}" for w, v in zip(wavelengths, values, strict=True)
    )
    return "M" + "L".join(points)


def spectrum(drawn: Answer, starved: Any) -> str:
    """Draw the light of the piece under that of the undyed piece."""
    base = _TOP + _TALL
    stops = "".join(
        f'<stop offset="{(w - _LOW) / (_HIGH - _LOW):.3f}" stop-color="{c}"/>'
        for w, c in rainbow()
    )
    bands = "".join(
        f'<rect x="{_x(a):.1f}" y="{_TOP}" width="{_x(b) - _x(a):.1f}" '
        f'height="{_TALL}" fill="url(#hatch)"/><text x="{(_x(a) + _x(b)) / 2:.1f}" '
        f'y="{_TOP - 5}" font-size="12" text-anchor="middle" fill="var(--quiet)">'
        "starved</text>"
        for a, b in starved
    )
    ticks = "".join(
        f'<text x="{_x(w):.1f}" y="{base + 21:.0f}" font-size="12" '
        f'text-anchor="middle" fill="var(--quiet)">{w}</text>'
        for w in range(400, 781, 50)
    )
    line = _path(drawn["wavelengths"], drawn["radiance"])
    bare = _path(drawn["wavelengths"], drawn["undyed"])
    ends = f"L{_x(_HIGH):.1f},{base}L{_x(_LOW):.1f},{base}Z"
    said = "spectrum of the glow under that of the undyed piece"
    for a, b in starved:
        said += f"; the light has almost nothing at {a:g} to {b:g} nm"
    return (
        f'<svg viewBox="0 0 {_LEFT + _WIDE + 12:.0f} {base + 30:.0f}" role="img" '
        f'aria-label="{said}"><defs><linearGradient id="rainbow" '
        f'gradientUnits="userSpaceOnUse" x1="{_x(_LOW)}" x2="{_x(_HIGH)}">{stops}'
        '</linearGradient><pattern id="hatch" width="7" height="7" '
        'patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="7" '
        'height="7" fill="none"/><path d="M0,0V7" stroke="var(--strong)" '
        f'stroke-width="1.4" opacity=".55"/></pattern></defs>{bands}'
        f'<path d="{line}{ends}" fill="url(#rainbow)" opacity=".8"/>'
        f'<path d="{bare}" fill="none" stroke="var(--strong)" stroke-width="1.6" '
        f'stroke-dasharray="5 4"/><path d="{line}" fill="none" stroke="var(--ink)" '
        f'stroke-width="1.8"/><path d="M{_LEFT},{base}H{_LEFT + _WIDE}" '
        f'stroke="var(--strong)"/>{ticks}</svg>'
        '<p class="small quiet">wavelength in nm; line: this piece, dashed: the same '
        "piece without dyes and films</p>"
    )


# ---------------------------------------------------------------- the section


def strata(drawn: Answer) -> list[Answer]:
    """Return the rows of the section, from the viewer down to the light.

    Each has `key` (what it edits), `title` and `words`.
    """
    rows: list[Answer] = [
        {
            "key": ("layer", number),
            "title": _title(layer),
            "words": layer["words"] or _bare(layer),
        }
        for number, layer in enumerate(drawn["layers"])
    ]
    lights = [
        {
            "key": ("light", number),
            "title": f"{light['count']} {TIMES} {light['name']}",
            "words": f"{light['lumens']:.3g} lm each"
            + (f", {light['words']}" if light["words"] else ""),
        }
        for number, light in enumerate(drawn["lights"])
    ]
    box = drawn["cavity"]
    if box is not None:
        row = {
            "key": ("cavity",),
            "title": f"box, {box['depth']:g} mm deep",
            "words": box["wall"],
        }
        lights = [*lights, row]
    return [*reversed(rows), *reversed(lights)]


def _title(layer: Answer) -> str:
    if layer["kind"] == "gap":
        return "air gap"
    name = layer["material"] or layer["kind"]
    if layer["kind"] == "film":
        return "film" if not layer["material"] else f"film on {name}"
    return f"{name}, {layer['thickness']:g} mm"


def _bare(layer: Answer) -> str:
    return {"gap": "between neighbours that do not touch", "diffuser": "scatters"}.get(
        layer["kind"], "no dye"
    )


def section(drawn: Answer, *, chosen: Any) -> str:
    """Draw the piece from the light below to the viewer above, with leader lines."""
    rows = strata(drawn)
    box = drawn["cavity"]
    depths = [layer["thickness"] for layer in drawn["layers"]]
    deep = box["depth"] if box else 8.0
    scale = min(9.0, DRAWN / max(sum(depths) + deep, 1e-6))
    heights = [max(THINNEST, d * scale) for d in depths]
    box_height = max(22.0, deep * scale)
    full = sum(heights) + box_height
    tall = max(ROW * len(rows), full + 70.0)
    wide = min(128.0, max(64.0, (drawn["size"] or (20.0, 0))[0] * scale))
    left, top = 6.0, (tall - full) / 2
    art = [_eye(left + wide / 2, top)]
    middles: dict[tuple[Any, ...], float] = {}
    at = top
    for number in range(len(depths) - 1, -1, -1):
        layer, high = drawn["layers"][number], heights[number]
        art.append(_stratum(layer, left, at, wide, high))
        middles["layer", number] = at + high / 2
        at += high
    art.append(_box(drawn, left, at, wide, box_height))
    middles[("cavity",)] = at + box_height * 0.4
    for number in range(len(drawn["lights"])):
        middles["light", number] = at + box_height - 5
    start = (tall - ROW * len(rows)) / 2
    for number, row in enumerate(rows):
        y1, y2 = middles[row["key"]], start + ROW * (number + 0.5)
        strong = row["key"] == chosen
        art.append(_leader(left + wide, y1, y2, strong=strong))
    stretched = any(d * scale < THINNEST for d in depths)
    note = "thin layers drawn thicker" if stretched else "true proportions"
    return (
        f'<svg viewBox="0 0 196 {tall:.0f}" height="{tall:.0f}" role="img" '
        f'aria-label="section of the piece, light below, viewer above; {note}">'
        f"{_DEFS}{''.join(art)}</svg>"
    )


_DEFS = (
    '<defs><pattern id="cloud" width="6" height="6" patternUnits="userSpaceOnUse">'
    '<circle cx="1.5" cy="1.5" r=".8" fill="var(--ink)" opacity=".45"/>'
    '<circle cx="4.5" cy="4.5" r=".8" fill="var(--ink)" opacity=".45"/>'
    "</pattern></defs>"
)


def _eye(x: float, top: float) -> str:
    y = top - 20
    return (
        f'<g fill="none" stroke="var(--quiet)" stroke-width="1.5">'
        f'<path d="M{x - 12},{y}'
        f"Q{x},{y - 10} {x + 12},{y}Q{x},{y + 10} {x - 12},{y}Z" + '"/>'
        f'<circle cx="{x}" cy="{y}" r="3.2" fill="var(--quiet)"/></g>'
    )


def _stratum(layer: Answer, x: float, y: float, wide: float, high: float) -> str:
    place = f'x="{x}" y="{y:.1f}" width="{wide:.1f}" height="{high:.1f}"'
    if layer["kind"] == "gap":
        return (
            f'<rect {place} fill="none" stroke="var(--line)" stroke-dasharray="3 3"/>'
        )
    art = (
        f'<rect class="body" {place} fill="{layer["hex"]}" stroke="var(--strong)" '
        'stroke-width=".75"/>'
    )
    return art + (f'<rect {place} fill="url(#cloud)"/>' if layer["cloudy"] else "")


def _box(drawn: Answer, x: float, y: float, wide: float, high: float) -> str:
    base = y + high
    art = []
    if drawn["cavity"]:
        art.append(
            f'<path d="M{x},{y:.1f}V{base:.1f}H{x + wide:.1f}V{y:.1f}" '
            'fill="var(--wash)" stroke="var(--ink)" stroke-width="3"/>'
        )
    else:
        art.append(
            f'<path d="M{x},{base:.1f}H{x + wide:.1f}" stroke="var(--strong)" '
            'stroke-width="1.5"/>'
        )
    for light in drawn["lights"]:
        for across in light["across"]:
            cx = x + wide * (0.5 + across * 0.92)
            art.append(
                f'<path d="M{cx - 6:.1f},{base - 2:.1f}v-4a6,6 0 0 1 12,0v4z" '
                f'fill="{light["hex"]}" stroke="var(--ink)" stroke-width="1"/>'
            )
    return "".join(art)


def _leader(x: float, y1: float, y2: float, *, strong: bool) -> str:
    colour, width = ("var(--accent)", 2) if strong else ("var(--strong)", 1)
    return (
        f'<path d="M{x - 8:.1f},{y1:.1f}H{x + 14:.1f}L186,{y2:.1f}H196" fill="none" '
        f'stroke="{colour}" stroke-width="{width}"/><circle cx="{x - 8:.1f}" '
        f'cy="{y1:.1f}" r="2.4" fill="{colour}"/>'
    )


# ------------------------------------------------------------------ the limit


def reach(answer: Answer) -> str:
    """Draw the limit over the light that is kept, and where the shelf's bottles lie."""
    curve = answer["free"]
    ends = [point["difference"] for point in answer["points"]]
    top = max([*curve["certified"], *ends, float(answer["tolerance"] or 0), 1.0])
    wide, tall, left = 620.0, 190.0, 46.0

    def at(share: float, gap: float) -> str:
        return f"{left + share * wide:.1f},{14 + (1 - min(gap / top, 1)) * tall:.1f}"

    line = "M" + "L".join(
        at(s, g)
        for s, g in zip(curve["light_kept"], curve["certified"], strict=True)
        if g is not None
    )
    dots = "".join(
        f'<circle cx="{at(p["light_kept"], p["difference"]).split(",")[0]}" '
        f'cy="{at(p["light_kept"], p["difference"]).split(",")[1]}" r="4" '
        f'fill="var(--card)" stroke="var(--ink)" stroke-width="1.5"><title>'
        f"{escape(p['what'])}</title></circle>"
        for p in answer["points"]
    )
    best = curve["best"]
    near = min(answer["points"], key=lambda p: p["difference"], default=None)
    limit = (
        f"certified limit {best['certified']:.2f}, at {best['light_kept'] * 100:.0f} % "
        "of the light"
    )
    told = [limit, f"smooth, dye-like bands come to about {answer['smooth']:.2f}"]
    if near is not None:
        told.append(
            f"your shelf: {near['what']}, {near['difference']:.2f}, keeping "
            f"{near['light_kept'] * 100:.0f} %"
        )
    tolerance = answer["tolerance"]
    wish = (
        f'<path d="M{at(0, tolerance)}L{at(1, tolerance)}" stroke="var(--accent)" '
        f'stroke-dasharray="6 4"/><text x="{left + wide}" '
        f'y="{float(at(1, tolerance).split(",")[1]) - 5:.1f}" font-size="12" '
        'text-anchor="end" fill="var(--accent)">tolerance</text>'
        if tolerance
        else ""
    )
    ticks = "".join(
        f'<text x="{left + s * wide:.0f}" y="{tall + 32:.0f}" font-size="12" '
        f'text-anchor="middle" fill="var(--quiet)">{s * 100:.0f} %</text>'
        for s in (0, 0.25, 0.5, 0.75, 1)
    )
    listed = "".join(f"<li>{escape(text)}</li>" for text in told)
    return (
        f'<ul class="plain">{listed}</ul><svg viewBox="0 0 {left + wide + 24:.0f} '
        f'{tall + 44:.0f}" role="img" aria-label="{escape("; ".join(told))}">'
        f'<path d="M{at(0, 0)}L{at(1, 0)}M{at(0, 0)}L{at(0, top)}" '
        f'stroke="var(--strong)" fill="none"/>{wish}<path d="{line}" fill="none" '
        f'stroke="var(--ink)" stroke-width="2"/>{dots}{ticks}'
        f'<text x="{left - 8}" y="20" font-size="12" text-anchor="end" '
        f'fill="var(--quiet)">{top:.0f}</text></svg>'
        '<p class="small quiet">light kept; height: difference; line: limit of any dye '
        "and film; circles: bottles of your shelf</p>"
    )
