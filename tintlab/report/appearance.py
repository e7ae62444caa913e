"""The same glow by other conventions: asked for by name, never a silent change."""

from dataclasses import replace
from typing import Any

import numpy as np

from tintlab import colorimetry
from tintlab.glow import veil_XYZ
from tintlab.verdict import Prediction

LEAST_ROOM = 1.0  # [lx]; a room darker than this has no white to speak of


def extra(prediction: Prediction, *, more: bool) -> dict[str, Any]:
    """Return the colour relative to the room's own white, and on request the rest.

    A perfect white in the room is L* 100 and the eye adapts to it by CAT16 with
    L_A = 0.2 E / pi, at least 0.2 cd/m2. Above L* 100 there is no colour difference,
    only hue, chroma and luminance ratio.
    """
    look = prediction.look
    room = replace(look.room, illuminance=max(look.room.illuminance, LEAST_ROOM))
    white = veil_XYZ(room, np.ones_like(look.face))[1]
    adapting = 0.2 * room.illuminance / np.pi
    answer: dict[str, Any] = {}
    if look.luminance is not None:
        XYZ = look.XYZ / look.XYZ[1] * look.luminance / white[1]
        relative = colorimetry.adapt(
            XYZ, white=white / white[1], luminance=max(adapting, 0.2)
        )
        Lab = colorimetry.XYZ_to_Lab(relative)
        if Lab[0] <= 100:
            answer["room_white_Lab"] = [round(float(v), 2) for v in Lab]
        answer["room_white_hue"] = round(
            float(np.degrees(np.arctan2(Lab[2], Lab[1])) % 360), 1
        )
        answer["room_white_chroma"] = round(float(np.hypot(Lab[1], Lab[2])), 1)
        answer["room_white_luminance_ratio"] = round(look.luminance / white[1], 3)
        if more:
            seen = colorimetry.appearance(
                XYZ, white=white / white[1], luminance=max(adapting, 0.2)
            )
            answer.update({f"ciecam16_{key}": round(v, 2) for key, v in seen.items()})
    if more:
        others = colorimetry.other_observers(look.radiance, look.undyed)
        for name, Lab_list in others.items():
            words = name.removesuffix(" Standard Observer").replace(" ", "_").lower()
            answer[f"Lab_{words}"] = Lab_list
    return answer
