"""What a maker reads in the terminal: swatches first, numbers second."""

import textwrap
from typing import Any

import click

from tintlab.report.facing import face_lines, zone_patches

WIDTH = 78


def block(colour: str, width: int = 6) -> str:
    """Return a block of true colour; plain text when colours are off."""
    digits = colour.removeprefix("#")
    r, g, b = (int(digits[i : i + 2], 16) for i in (0, 2, 4))
    return click.style(" " * width, bg=(r, g, b))


def line(label: str, text: str) -> str:
    """Write a labelled line, wrapped."""
    indent = " " * 15
    wrapped = textwrap.wrap(text, WIDTH - 15) or [""]
    return f"  {label:<12} " + f"\n{indent}".join(wrapped)


def _patch(label: str, colour: str, words: str) -> str:
    return f"  {label:<12} {block(colour)} {colour}  {words}"


def remark(name: str, sentence: str) -> str:
    """Write a remark as a list item."""
    return textwrap.fill(
        f"{name}: {sentence}", WIDTH, initial_indent="  - ", subsequent_indent="    "
    )


def amount(value: float) -> str:
    """Write a positive number with three significant figures, never as 1e+03."""
    return f"{float(f'{value:.3g}'):,g}" if value >= 1 else f"{value:.3g}"


def _range(ends: list[float] | None, form: str) -> str:
    return "" if ends is None else f" ({ends[0]:{form}} to {ends[1]:{form}})"


def glow_text(answer: dict[str, Any]) -> str:
    """Write one prediction."""
    beyond = "  (beyond sRGB)" if answer["glow_beyond_srgb"] else ""
    lines = [
        f"{answer['name']}, in {answer['room']} ({answer['room_illuminance']:g} lx)",
        "",
        _patch("glow", answer["glow_hex"], answer["glow_words"] + beyond),
        _patch("face, unlit", answer["face_hex"], answer["face_words"]),
    ]
    if answer["target_hex"]:
        own = answer["target_hex_written"]
        other = f"; brightened to compare, {own} as written"
        words = answer["target_words"] + (other if own != answer["target_hex"] else "")
        lines.append(_patch("target", answer["target_hex"], words))
    if answer["target_region"]:
        lines.append(line("target", f"the region {answer['target_region']}"))
    patches = "".join(block(colour, 4) for colour in answer["spread_hex"])
    ends = f"{answer['spread_hex'][0]} to {answer['spread_hex'][-1]}"
    lines.append(f"  {'could be':<12} {patches} {ends}, 5 to 95 %")
    if answer["over_face"]:
        lines += [_patch(*patch) for patch in zone_patches(answer["over_face"])]
    lines.append("")
    if answer["verdict"]:
        lines.append(line("verdict", answer["verdict"].upper()))
        lines.append(line("", answer["reason"]))
    else:
        lines.append(line("verdict", f"none: {answer['reason']}"))
    lines += _numbers(answer)
    if answer["over_face"]:
        lines += [line(*pair) for pair in face_lines(answer["over_face"])]
    if answer["causes"]:
        named = [f"{c['label']} {c['share'] * 100:.0f} %" for c in answer["causes"][:4]]
        if answer["together"] > 0.03:
            named.append(f"together {answer['together'] * 100:.0f} %")
        lines.append(line("why unsure", ", ".join(named)))
    if answer["starved"]:
        bands = ", ".join(f"{a:g} to {b:g} nm" for a, b in answer["starved"])
        lines.append(line("starved", f"this light has almost nothing at {bands}"))
    if answer["battery"]:
        lines += battery_lines(answer["battery"])
    lines.append("")
    for flag in answer["flags"]:
        lines.append(remark(flag["name"], flag["sentence"]))
    lines += [remark("note", note) for note in answer["notes"]]
    if answer["battery"]:
        lines += [remark("battery", note) for note in answer["battery"]["notes"]]
    lines += ["", "  Take care:"]
    lines += [
        textwrap.fill(text, WIDTH, initial_indent="  - ", subsequent_indent="    ")
        for text in answer["cautions"]
    ]
    return "\n".join(lines).rstrip()


def _numbers(answer: dict[str, Any]) -> list[str]:
    lines = []
    if answer["difference"] is not None:
        lines.append(line("difference", _difference(answer)))
    kept, ends = answer["light_kept"] * 100, answer["light_kept_5_95"]
    lines.append(
        line(
            "light kept",
            f"{kept:.0f} % ({ends[0] * 100:.0f} to {ends[1] * 100:.0f} %) of the same "
            "piece without dyes and films",
        )
    )
    if answer["luminance"] is None:
        lines.append(line("luminance", "unknown: write [inset] size for cd/m2"))
    else:
        face = answer["face_luminance"]
        lines.append(
            line(
                "luminance",
                f"{amount(answer['luminance'])} cd/m2 ("
                f"{' to '.join(amount(v) for v in answer['luminance_5_95'])}); "
                f"unlit face {amount(face)}",
            )
        )
    L, a, b = answer["glow_Lab"]
    x, y = answer["glow_xy"]
    u, v = answer["glow_uv"]
    lines.append(line("CIELAB", f"L* {L:.1f}  a* {a:.1f}  b* {b:.1f}"))
    lines.append(line("chromaticity", f"x {x:.4f} y {y:.4f}   u' {u:.4f} v' {v:.4f}"))
    wave = answer["dominant_wavelength"]
    if wave is not None:
        name = "dominant" if wave > 0 else "complement"
        lines.append(line(name, f"{abs(wave):g} nm about D65"))
    return lines


def _difference(answer: dict[str, Any]) -> str:
    ends = answer["difference_5_95"]
    if answer["target_region"]:
        side = "inside" if answer["difference"] <= 0 else "outside"
        return (
            f"{abs(answer['difference']):.4f} in u'v' {side} the nearest edge; "
            f"{answer['within'] * 100:.0f} % of the plausible outcomes are inside"
        )
    policy = {"free": "lightness free", "match": "lightness matched"}
    text = (
        f"{answer['difference']:.1f}{_range(ends, '.1f')} CIEDE2000, "
        f"{policy[answer['lightness']]}; tolerance {answer['tolerance']:g}"
    )
    if answer["exposure"] is not None:
        text += f"; exposure {answer['exposure']:+.1f} stops"
    return text


def rooms_text(answers: list[dict[str, Any]]) -> str:
    """Write one line a room, darkest first."""
    lines = [answers[0]["name"], ""]
    for answer in sorted(answers, key=lambda a: a["room_illuminance"]):
        gap = "" if answer["difference"] is None else f"{answer['difference']:6.1f}"
        if answer["target_region"]:
            gap = f"{answer['difference']:+.4f}"
        bright = answer["luminance"]
        lines.append(
            f"  {block(answer['glow_hex'])} {block(answer['face_hex'])} "
            f"{answer['room']:<12} {answer['room_illuminance']:>7g} lx  lit "
            f"{answer['glow_hex']}  unlit {answer['face_hex']}  "
            + ("" if bright is None else f"{amount(bright)} cd/m2  ")
            + f"{gap}  {answer['verdict']}"
        )
    return "\n".join(lines)


def extra_text(extra: dict[str, Any]) -> str:
    """Write what was asked for beyond the yardstick."""
    lines = ["  by other conventions"]
    for key, value in extra.items():
        shown = "  ".join(f"{v:g}" for v in value) if isinstance(value, list) else value
        lines.append(f"    {key.replace('_', ' '):<32} {shown}")
    return "\n".join(lines)


def duration(value: float | None) -> str:
    """Write a time as a maker says it."""
    if value is None:
        return "never"
    if value < 1:
        return f"{value * 60:.2g} min"
    return f"{value:.2g} h" if value < 72 else f"{value / 24:.2g} days"


def battery_lines(answer: dict[str, Any]) -> list[str]:
    """Write the block for a terminal."""
    lines = [line("battery", answer["battery"])]
    if answer["hours"] is not None:
        currents = [
            " / ".join(f"{v:.3g}" for v in one) for one in answer["led_current"]
        ]
        lines.append(
            line("an LED gets", f"{' and '.join(currents)} mA fresh / half / flat")
        )
        lines.append(line("on battery", bright_words(answer)))
        lines.append(line("lasts", lasts_words(answer)))
    return lines


def bright_words(answer: dict[str, Any]) -> str:
    """Say how bright it is fresh, half drawn and flat."""
    if answer["luminance"] is not None:
        shown = " / ".join(amount(v) for v in answer["luminance"]) + " cd/m2"
    else:
        shown = " / ".join(f"{100 * v:.0f} %" for v in answer["light"])
    text = f"{shown} fresh / half / flat"
    if answer["drift"][-1] >= 1:
        text += f"; its hue turns by {answer['drift'][-1]:.1f} CIEDE2000"
    return text


def lasts_words(answer: dict[str, Any]) -> str:
    """Say how long it lasts."""
    half, (low, high) = answer["hours_half_light"], answer["hours_5_95"]
    flat = f"flat after {duration(answer['hours'])}"
    if low < high:
        flat += f" ({duration(low)} to {duration(high)})"
    if half is None:
        return f"{flat}, with more than half of its light until then"
    return f"half the light after {duration(half)}, {flat}"
