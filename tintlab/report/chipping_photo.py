"""What a photo of chips, of a bare LED, or of reference art told: text and JSON."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from tintlab.chips.aim import Aim
from tintlab.chips.keep import Kept
from tintlab.chips.photo import PhotoReadings
from tintlab.chips.photo_emitter import Resemblance
from tintlab.chips.photo_patch import CHANNELS
from tintlab.chips.story_file import quoted
from tintlab.colorimetry import (
    Lab_to_XYZ,
    XYZ_to_swatch,
    XYZ_to_xy,
    spectrum_to_XYZ,
)
from tintlab.report.text import block, line, remark
from tintlab.report.words import described

Answer = dict[str, Any]


def readings_answer(found: PhotoReadings) -> Answer:
    """Return a flat object: linear ratios to the blank, their errors, the evidence."""
    return {
        "photo": found.path.name,
        "evidence": found.evidence,
        "tone_exponent": round(found.tone.gamma, 4),
        "tone_exponent_sigma": round(found.tone.gamma_sigma, 4),
        "tone_offset": round(found.tone.offset, 5),
        "second_exposure": _rounded(found.exposure),
        "stray": None if found.stray is None else [_rounded(v) for v in found.stray],
        "chips": [
            {
                "name": one.name,
                "ratio": [
                    _rounded(r) if u else None
                    for r, u in zip(one.ratio, one.usable, strict=True)
                ],
                "sigma": [
                    _rounded(s) if u else None
                    for s, u in zip(one.sigma, one.usable, strict=True)
                ],
                "notes": list(one.notes),
            }
            for one in found.readings
        ],
        "notes": list(found.notes),
    }


def _rounded(value: float | None) -> float | None:
    return None if value is None else float(f"{float(value):.4g}")


_EVIDENCE = {
    "raw": "camera raw, linear by itself",
    "checked": "a developed picture whose tones a known ratio confirms",
    "unchecked": "a developed picture whose tones nothing checks",
}


def readings_text(answer: Answer) -> str:
    """Write the ratios of every chip, with a line to paste into a chips file."""
    lines = [f"{answer['photo']}: light through each chip over the blank, linear", ""]
    width = max(len(chip["name"]) for chip in answer["chips"]) + 2
    head = "".join(f"{name:>18}" for name in CHANNELS)
    lines.append(f"  {'':<{width}}{head}")
    for chip in answer["chips"]:
        cells = [
            "not used" if r is None else f"{r:.3f} +- {s:.3f}"
            for r, s in zip(chip["ratio"], chip["sigma"], strict=True)
        ]
        lines.append(f"  {chip['name']:<{width}}" + "".join(f"{c:>18}" for c in cells))
    lines += ["", line("evidence", _EVIDENCE[answer["evidence"]])]
    if answer["evidence"] == "checked":
        lines.append(
            line(
                "tone curve",
                f"exponent {answer['tone_exponent']:.3f} +- "
                f"{answer['tone_exponent_sigma']:.3f} against sRGB, taken out",
            )
        )
    if answer["second_exposure"] is not None:
        lines.append(
            line("second", f"{answer['second_exposure']:.3g} times the exposure")
        )
    if answer["stray"] is not None:
        shown = ", ".join(f"{v * 100:.1f} %" for v in answer["stray"])
        lines.append(line("stray light", f"{shown} of the blank, taken out"))
    lines.append("")
    for chip in answer["chips"]:
        lines += [remark(chip["name"], note) for note in chip["notes"]]
    lines += [remark("note", note) for note in answer["notes"]]
    lines += ["", "  To paste into a chips file, where the photo is not named:"]
    return "\n".join([*lines, "", *_pasted(answer)])


def _pasted(answer: Answer) -> list[str]:
    """Write [camera] and the ratios; 0 is a channel that is not used."""
    kind = "raw" if answer["evidence"] == "raw" else "jpeg"
    lines = ["[camera]", f'kind = "{kind}"']
    lines += ["checked = true"] if answer["evidence"] == "checked" else []
    lines += ["dark = true"] if answer["stray"] is not None else []
    for chip in answer["chips"]:
        numbers = ", ".join(f"{ratio or 0:.4g}" for ratio in chip["ratio"])
        lines += ["[[chip]]", f"name = {quoted(chip['name'])}", f"ratio = [{numbers}]"]
    return lines


def emitter_answer(found: Resemblance | None, kept: Kept | None = None) -> Answer:
    """Return a flat object: probabilities of families and of lights, what was kept."""
    light = None if kept is None else kept.light
    return {
        "channels": None if found is None else [_rounded(v) for v in found.ratio],
        "resembles": None if found is None else found.resembles,
        "families": {}
        if found is None
        else {name: round(p, 3) for name, p in found.families.items()},
        "lights": []
        if found is None
        else [
            {"name": one.name, "family": one.family, "probability": round(p, 3)}
            for one in found.likely
            if (p := one.probability) >= 0.005
        ],
        "light": None if light is None else light.name,
        "light_evidence": None if light is None else light.source.citation,
        "light_hex": None
        if light is None
        else XYZ_to_swatch(LIT * _unit(spectrum_to_XYZ(light.power))).hex,
        "light_xy": None
        if light is None
        else [round(float(v), 4) for v in XYZ_to_xy(spectrum_to_XYZ(light.power))],
        "light_bin_nm": light.peak_spread if light and light.peak_spread else None,
        "light_bin_steps": light.steps if light and light.steps else None,
        "notes": [] if found is None else list(found.notes),
        "written": [] if kept is None else [str(path) for path in kept.written],
    }


LIT = 0.6  # Y at which a light is shown


def _unit(XYZ: Any) -> Any:
    return XYZ / XYZ[1]


def emitter_text(answer: Answer) -> str:
    """Write what the LED may be, and what was kept."""
    lines = []
    if answer["lights"]:
        lines += ["What this LED may be, of the lights on the shelf", ""]
        lines += [
            f"  {p * 100:>3.0f} %  {name}"
            for name, p in answer["families"].items()
            if p >= 0.01
        ]
        lines += ["", "  one by one"]
        lines += [
            f"  {one['probability'] * 100:>3.0f} %  {one['name']}"
            for one in answer["lights"][:6]
        ]
        lines.append("")
    if answer["light"] is not None:
        x, y = answer["light_xy"]
        wide = (
            f"peak within {answer['light_bin_nm']:.0f} nm"
            if answer["light_bin_nm"]
            else f"bin of {answer['light_bin_steps']:.0f} steps"
        )
        lines += [
            f"  {'light':<12} {block(answer['light_hex'])} {answer['light']}",
            line("", f"{answer['light_evidence']}: x {x:.3f} y {y:.3f}, {wide}"),
            "",
        ]
    lines += [remark("note", note) for note in answer["notes"]]
    lines += [f"wrote {path}" for path in answer["written"]]
    return "\n".join(lines).rstrip()


def aim_answer(found: Aim, pictures: Sequence[Path]) -> Answer:
    """Return a flat object: the target, its suggested tolerance, what was left out."""
    Lab = [round(float(v), 1) for v in found.Lab]
    swatch = XYZ_to_swatch(Lab_to_XYZ(found.Lab))
    return {
        "pictures": [path.name for path in pictures],
        "lab": Lab,
        "hex": swatch.hex,
        "words": described(found.Lab),
        "tolerance": found.tolerance,
        "lightness": "free",
        "clipped": round(found.clipped, 3),
        "halo": round(found.halo, 3),
        "at_edge_of_srgb": round(found.at_edge, 3),
        "each_lab": [[round(float(v), 1) for v in one] for one in found.each],
        "each_hex": [XYZ_to_swatch(Lab_to_XYZ(one)).hex for one in found.each],
        "target_lines": target_lines(Lab, found.tolerance),
        "notes": list(found.notes),
    }


def target_lines(Lab: Sequence[float], tolerance: float) -> str:
    """Write the table to paste into an inset file."""
    numbers = ", ".join(f"{np.round(v, 1):g}" for v in Lab)
    return f'[target]\nlab = [{numbers}]\ntolerance = {tolerance:g}\nlightness = "free"'


def aim_text(answer: Answer) -> str:
    """Write the swatch, what was left out, and the lines to paste."""
    lines = [
        f"  {'target':<12} {block(answer['hex'])} {answer['hex']}  {answer['words']}"
    ]
    if len(answer["each_hex"]) > 1:
        lines += [
            f"  {'':<12} {block(colour)} {colour}  {name}"
            for colour, name in zip(answer["each_hex"], answer["pictures"], strict=True)
        ]
    lines.append(
        line(
            "left out",
            f"{answer['clipped'] * 100:.0f} % burnt-out core, "
            f"{answer['halo'] * 100:.0f} % halo",
        )
    )
    lines += [remark("note", note) for note in answer["notes"]]
    return "\n".join([*lines, "", answer["target_lines"]])
