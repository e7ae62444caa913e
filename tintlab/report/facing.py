"""The glow over the face in the flat object: evenness, thin and thick zones."""

from typing import Any

import numpy as np

from tintlab.colorimetry import XYZ_to_swatch
from tintlab.inset import Inset
from tintlab.proof.map_even import Evenness, Remedy, evenness_of, remedy_of
from tintlab.proof.map_zones import Zone, zones_of
from tintlab.report.data import exposed
from tintlab.report.words import described
from tintlab.verdict import Prediction

FIELDS = {
    "uniformity": "least luminance over the mean of the face [-]; null without a box",
    "brightest": "most luminance over the mean [-]",
    "contrast": "(max - min) / (max + min) [-]",
    "hot_spot": "whether bright spots show over the LEDs",
    "leds_show": "whether the LEDs themselves are seen through the stack",
    "depth_needed_mm": "depth of box that would even it out; null if none, or if even",
    "depth_light": "luminance with that depth over that of now [-]",
    "leds_needed": "LEDs on an even grid that would; null likewise",
    "led_spacing_mm": "their spacing",
    "evenness_words": "one sentence",
    "thin": "thinnest zone: thickness_mm, hex (exposed to match), Lab, luminance, "
    "light over that of the mean, words; null without one",
    "thick": "thickest zone, likewise",
}


def face_answer(prediction: Prediction) -> dict[str, Any] | None:
    """Return the keys of `FIELDS`, or None where nothing is known about the face."""
    inset = prediction.inset
    even = evenness_of(inset, prediction.piece)
    zones = zones_of(inset, prediction.piece, prediction.look)
    if even is None and not zones:
        return None
    remedy = Remedy() if even is None or even.even else remedy_of(inset)
    return {
        "uniformity": None if even is None else round(even.least, 3),
        "brightest": None if even is None else round(even.most, 3),
        "contrast": None if even is None else round(even.contrast, 3),
        "hot_spot": None if even is None else even.hot_spot,
        "leds_show": None if even is None else even.showing,
        "depth_needed_mm": _whole(remedy.depth),
        "depth_light": None if remedy.depth is None else _two(remedy.depth_light),
        "leds_needed": remedy.leds,
        "led_spacing_mm": _whole(remedy.spacing),
        "evenness_words": None if even is None else sentence(even, remedy),
        **{
            name: _zone(zones.get(name), inset, prediction.look.XYZ)
            for name in ("thin", "thick")
        },
    }


def sentence(even: Evenness, remedy: Remedy) -> str:
    """Say how even the face is and what would help."""
    text = (
        f"{even.least:.2f} of the mean where it is darkest, {even.most:.2f} where it "
        "is brightest"
    )
    if even.even:
        return f"{text}: even"
    text += _blame(even)
    ways = []
    if remedy.depth is not None:
        cost = round(100 * (1 - (remedy.depth_light or 1)))
        lost = f", which costs {cost} % of the light," if cost > 0 else ""
        ways.append(f"{_whole(remedy.depth):g} mm of depth{lost}")
    if remedy.leds is not None:
        ways.append(f"{remedy.leds} LEDs {_whole(remedy.spacing):g} mm apart")
    if ways:
        rest = "the rest" if even.showing else "it"
        return f"{text}; {' or '.join(ways)} would even out {rest}"
    if even.showing:
        return text
    if even.relief:
        return f"{text}; an even thickness would even it out"
    return f"{text}; neither depth nor more LEDs alone would even it out"


def _blame(even: Evenness) -> str:
    if even.showing:
        return (
            "; the LEDs themselves show through as bright dots, which a diffuser, or "
            "a denser one, hides"
        )
    if even.relief:
        return "; its thin places are brighter"
    return "; hot spots over the LEDs" if even.hot_spot else "; the edges fall off"


def face_lines(answer: dict[str, Any]) -> list[tuple[str, str]]:
    """Return labels and texts of what a terminal shows besides swatches."""
    if answer["evenness_words"] is None:
        return []
    return [("evenness", answer["evenness_words"])]


def zone_patches(answer: dict[str, Any]) -> list[tuple[str, str, str]]:
    """Return label, colour and words of the thin and the thick zone."""
    found = []
    for name in ("thin", "thick"):
        zone = answer[name]
        if zone is not None:
            depth = " + ".join(f"{v:g}" for v in zone["thickness_mm"])
            light = f"{zone['light']:g} x the light of the mean"
            words = f"{depth} mm: {zone['words']}, {light}"
            found.append((f"{name} zone", zone["hex"], words))
    return found


def _zone(zone: Zone | None, inset: Inset, mean: np.ndarray) -> dict[str, Any] | None:
    if zone is None:
        return None
    look = zone.look
    bright = look.luminance
    return {
        "thickness_mm": [float(f"{value:.3g}") for value in zone.thickness],
        "hex": XYZ_to_swatch(exposed(look.XYZ, inset.target)).hex,
        "Lab": [round(float(value), 2) for value in look.Lab],
        "luminance": None if bright is None else float(f"{bright:.4g}"),
        "light": _two(float(look.XYZ[1] / mean[1])),
        "words": described(look.Lab),
    }


def _whole(value: float | None) -> float | None:
    """Round up to whole millimetres, or to a tenth of a millimetre below ten."""
    if value is None:
        return None
    step = 1.0 if value >= 10 else 0.1
    return float(round(np.ceil(round(value / step, 6)) * step, 1))


def _two(value: float | None) -> float | None:
    return None if value is None else round(value, 2)
