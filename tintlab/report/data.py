"""The flat object that `--json`, the text and every other skin are made from."""

import json
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from tintlab import yardstick
from tintlab.cautions import cautions
from tintlab.colorimetry import (
    Lab_to_XYZ,
    XYZ_to_swatch,
    XYZ_to_uv,
    XYZ_to_xy,
    dominant_wavelength,
)
from tintlab.inset import Target
from tintlab.report.words import described
from tintlab.spread import plausible
from tintlab.starved import starved_bands
from tintlab.verdict import Prediction

FIELDS = {
    "name": "of the inset",
    "room": "room preset",
    "room_illuminance": "on the face [lx]",
    "glow_hex": "lit look in that room, sRGB, exposed to match under free",
    "glow_beyond_srgb": "whether the screen cannot show it",
    "glow_grey_added": "share of neutral light mixed in to show it [-]",
    "glow_Lab": "CIELAB of glow and veil; white D65, L* 100 is the undyed piece",
    "glow_xy": "CIE 1931 chromaticity",
    "glow_uv": "CIE 1976 chromaticity u', v'",
    "glow_words": "in words",
    "dominant_wavelength": "about D65 [nm]; negative: complementary; null: none",
    "luminance": "of glow and veil, mean over the face [cd/m2]; null without a size",
    "luminance_5_95": "its spread [cd/m2]",
    "light_kept": "Y over that of the undyed piece, without veil [-]",
    "light_kept_5_95": "its spread [-]",
    "face_hex": "unlit look in that room, sRGB",
    "face_Lab": "CIELAB of the unlit face; its white is the room's",
    "face_words": "in words",
    "face_luminance": "unlit [cd/m2]; null without a size",
    "target_hex": "sRGB, exposed as compared; null without a colour target",
    "target_hex_written": "sRGB at its own lightness",
    "target_words": "in words",
    "target_Lab": "CIELAB relative to D65; null without a colour target",
    "target_region": "name of the region; null without one",
    "tolerance": "CIEDE2000",
    "lightness": "policy of the difference: free or match",
    "difference": "CIEDE2000, or u'v' to the edge of the region (negative inside)",
    "difference_5_95": "its spread",
    "exposure": "stops to the common luminance under free",
    "within": "share of plausible outcomes within the tolerance [-]",
    "verdict": "one of: can't tell, chip it; too dim; on; near; off; or empty",
    "reason": "one sentence",
    "Lab_5": "5 % points of L*, a*, b* one by one",
    "Lab_95": "95 % points",
    "spread_hex": "plausible outcomes from one end to the other, sRGB",
    "causes": "largest first: label, share of Var(a*) + Var(b*) [-]",
    "together": "share left for causes acting together [-]",
    "starved": "bands in which the light itself has nothing [nm]",
    "flags": "name and sentence",
    "over_face": "evenness and zones, see facing.FIELDS; null when not asked for",
    "battery": "what its battery makes of it, see powering.FIELDS; null without one",
    "cautions": "the usual ones for these materials",
    "notes": "what was assumed in reading the file",
    "yardstick": "the conventions behind the numbers",
}

YARDSTICK = (
    "CIE 1931 2 degree observer; white D65; L* = 100 is the head-on luminance of the "
    "same piece with every dye and film at 0"
)


def flat(
    prediction: Prediction,
    battery: dict[str, Any] | None = None,
    over_face: dict[str, Any] | None = None,
) -> dict[str, Any]:
    """Return everything that one answer carries, with the keys of `FIELDS`."""
    inset, look, spread = prediction.inset, prediction.look, prediction.spread
    target = inset.target
    shown = XYZ_to_swatch(exposed(look.XYZ, target))
    face = XYZ_to_swatch(Lab_to_XYZ(look.face_Lab))
    wanted = None if target is None else target.Lab
    causes = [
        {"label": cause.label, "share": _rounded(share, 4)}
        for cause, share in spread.causes
        if share > 5e-4
    ]
    answer = {
        "name": inset.name,
        "room": look.room.name,
        "room_illuminance": look.room.illuminance,
        "glow_hex": shown.hex,
        "glow_beyond_srgb": shown.beyond_srgb,
        "glow_grey_added": _rounded(shown.grey_added, 3),
        "glow_Lab": _rounded(look.Lab, 2),
        "glow_xy": _rounded(XYZ_to_xy(look.XYZ), 4),
        "glow_uv": _rounded(XYZ_to_uv(look.XYZ), 4),
        "glow_words": described(look.Lab),
        "dominant_wavelength": dominant_wavelength(look.XYZ),
        "luminance": _rounded(look.luminance, 3),
        "luminance_5_95": None
        if look.luminance is None
        else _ends(spread.luminance_ratio * look.luminance, 3),
        "light_kept": _rounded(look.light_kept, 4),
        "light_kept_5_95": _ends(spread.light_kept, 4),
        "face_hex": face.hex,
        "face_Lab": _rounded(look.face_Lab, 2),
        "face_words": described(look.face_Lab),
        "face_luminance": _rounded(look.face_luminance, 3),
        "target_hex": None
        if wanted is None
        else XYZ_to_swatch(exposed(Lab_to_XYZ(wanted), target)).hex,
        "target_hex_written": None
        if wanted is None
        else XYZ_to_swatch(Lab_to_XYZ(wanted)).hex,
        "target_words": None if wanted is None else described(wanted),
        "target_Lab": None if wanted is None else _rounded(wanted, 2),
        "target_region": target.region.name if target and target.region else None,
        "tolerance": target.tolerance if target else None,
        "lightness": target.lightness if target else None,
        "difference": _rounded(prediction.difference, 4),
        "difference_5_95": None
        if spread.difference is None
        else _ends(spread.difference, 4),
        "exposure": _rounded(prediction.exposure, 2),
        "within": _rounded(spread.within, 3),
        "verdict": prediction.verdict,
        "reason": prediction.reason,
        "Lab_5": _rounded(np.percentile(spread.Lab, 5, axis=0), 2),
        "Lab_95": _rounded(np.percentile(spread.Lab, 95, axis=0), 2),
        "spread_hex": [
            XYZ_to_swatch(exposed(XYZ, target)).hex
            for XYZ in plausible(spread, (0.05, 0.28, 0.5, 0.72, 0.95))
        ],
        "causes": causes,
        "together": _rounded(spread.together, 4),
        "starved": starved_bands(look.undyed, narrowest=15),
        "flags": [
            {"name": flag.name, "sentence": flag.sentence} for flag in prediction.flags
        ],
        "over_face": over_face,
        "battery": battery,
        "cautions": [
            *dict.fromkeys(
                [
                    *([] if battery is None else battery["cautions"]),
                    *cautions(inset, look.luminance),
                ]
            )
        ],
        "notes": list(inset.notes),
        "yardstick": YARDSTICK,
    }
    if answer.keys() != FIELDS.keys():
        raise KeyError(answer.keys() ^ FIELDS.keys())
    return answer


def exposed(XYZ: ArrayLike, target: Target | None) -> np.ndarray:
    """Expose a colour as it is compared, so that swatches can be held side by side."""
    free = target is not None and target.lightness == "free"
    return yardstick.exposed(XYZ, target.Lab if target is not None and free else None)


def _rounded(value: Any, digits: int) -> Any:
    """Round numbers for reading; small ones keep `digits` significant figures."""
    if value is None:
        return None
    if np.ndim(value):
        return [_rounded(v, digits) for v in value]
    number = float(value)
    if not np.isfinite(number):
        return None
    if abs(number) >= 1000:
        return float(f"{number:.4g}")
    return round(number, digits)


def _ends(values: np.ndarray, digits: int) -> list[float]:
    return _rounded(np.percentile(values, [5, 95]), digits)


def as_json(answer: Any) -> str:
    """Write an answer, or a list of them, as JSON."""
    return json.dumps(answer, ensure_ascii=False, indent=1, allow_nan=False)
