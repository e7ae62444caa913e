"""What was seen of a finished piece, each sight as numbers with an error.

A colour by eye or from a picture counts at one luminance only, because the exposure of
a look is not known; a photo counts by its channel ratios to the bare LED. Every sight
can say what it would be of plausible pieces.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tintlab import yardstick
from tintlab.causes import Draw
from tintlab.colorimetry import Lab_to_XYZ, XYZ_to_Lab, hex_to_XYZ
from tintlab.errors import InsetError, ShelfError
from tintlab.glow import Look, look
from tintlab.inset import Inset
from tintlab.piece import Piece
from tintlab.shelf import Shelf
from tintlab.solve.trim import with_emitter
from tintlab.spread import outcomes

Array = NDArray[np.float64]
Outcome = Callable[[Draw], tuple[Array, Array, Array]]

KEYS = ("lab", "hex", "photo", "light", "second", "sure")
SURE_LAB = 5.0  # CIELAB error of a colour estimated by eye or from a photo; assumed
SURE_PHOTO = 0.15  # relative error of a channel ratio, camera included; assumed
SURE_LIGHT = 0.08  # relative error of a light-meter ratio; assumed
LEVEL = 0.3  # common luminance of compared colours


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sight:
    """One thing that was seen.

    Attributes
    ----------
    name : str
    value : ndarray, shape (m,)
    sigma : ndarray, shape (m,)
        Error of each number.
    predict : callable
        From draws to what would be seen, shape (n, m).
    """

    name: str
    value: Array
    sigma: Array
    predict: Callable[[Draw], Array]


def sights_of(inset: Inset, piece: Piece, now: Look, shelf: Shelf) -> list[Sight]:
    """Read `[seen]` of an inset file, set against the piece that it looks like `now`.

    Raises
    ------
    InsetError
        When it holds nothing that can be used, or something unknown.
    """
    said = inset.seen
    unknown = [key for key in said if key not in KEYS]
    if unknown:
        raise InsetError(
            f'{inset.path.name}: "{unknown[0]}" is not a key of [seen]; known keys: '
            f"{', '.join(KEYS)}"
        )
    outcome = outcomes(piece, now)
    sure = float(said.get("sure", SURE_LAB))
    found = []
    if "lab" in said or "hex" in said:
        found.append(_colour_sight("colour", _lab(said, inset), outcome, sure))
    if "photo" in said:
        found.append(_photo_sight(_numbers(said["photo"], 3, "photo", inset), outcome))
    if "light" in said:
        found.append(_light_sight(float(said["light"]), outcome))
    if "second" in said:
        second = said["second"]
        if not isinstance(second, dict) or "emitter" not in second:
            raise InsetError(
                f"{inset.path.name}: second takes an LED and a colour: second = "
                '{ emitter = "white 2730 K", lab = [60, 10, 20] }'
            )
        try:
            emitter = shelf.find("emitters", str(second["emitter"]))
        except ShelfError as problem:
            raise InsetError(f"{inset.path.name}: second: {problem}") from None
        other = with_emitter(piece, emitter)
        under = outcomes(other, look(inset, piece=other))
        name = f"colour under {emitter.name}"
        found.append(_colour_sight(name, _lab(second, inset), under, sure))
    if not found:
        raise InsetError(
            f"{inset.path.name}: [seen] has nothing to go by; add lab, hex, photo, "
            "light or second"
        )
    return found


def _lab(said: dict[str, object], inset: Inset) -> Array:
    if "hex" in said:
        return XYZ_to_Lab(hex_to_XYZ(str(said["hex"])))
    return _numbers(said.get("lab"), 3, "lab", inset)


def _numbers(values: object, count: int, key: str, inset: Inset) -> Array:
    rows = values if isinstance(values, list) else []
    if len(rows) != count or not all(isinstance(v, (int, float)) for v in rows):
        raise InsetError(
            f"{inset.path.name}: [seen] {key} takes {count} numbers in brackets"
        )
    return np.array(rows, dtype=float)


def _level(XYZ: Array) -> Array:
    return XYZ_to_Lab(yardstick.scaled(XYZ, LEVEL))[..., 1:]


def _colour_sight(name: str, Lab: Array, outcome: Outcome, sure: float) -> Sight:
    """Hue and chroma at one luminance; the exposure of a look is not known."""
    from_Lab = yardstick.scaled(Lab_to_XYZ(Lab), LEVEL)
    return Sight(
        name=name,
        value=XYZ_to_Lab(from_Lab)[1:],
        sigma=np.full(2, sure),
        predict=lambda draw: _level(outcome(draw)[0]),
    )


def _photo_sight(ratio: Array, outcome: Outcome) -> Sight:
    """Red over green and blue over green of piece over bare LED, by a plain camera."""
    if (ratio <= 0).any():
        raise InsetError("[seen] photo: the three ratios are above zero")
    logs = np.log(ratio)

    def predict(draw: Draw) -> Array:
        none = np.zeros_like(draw.scale)
        bare = replace(draw, scale=none, own=none, leak=np.zeros_like(draw.leak))
        log = np.log(camera(outcome(draw)[0]) / camera(outcome(bare)[0]))
        return np.stack([log[:, 0] - log[:, 1], log[:, 2] - log[:, 1]], axis=-1)

    return Sight(
        name="photo",
        value=np.array([logs[0] - logs[1], logs[2] - logs[1]]),
        sigma=np.full(2, SURE_PHOTO * np.sqrt(2)),
        predict=predict,
    )


def camera(XYZ: Array) -> Array:
    """Red, green and blue of a plain camera: X less its blue lobe, Y, Z; assumed."""
    X, Y, Z = np.moveaxis(XYZ, -1, 0)
    return np.maximum(np.stack([X - 0.19 * Z, Y, Z], axis=-1), 1e-6)


def _light_sight(ratio: float, outcome: Outcome) -> Sight:
    if ratio <= 0:
        raise InsetError("[seen] light: the ratio to the undyed piece is above zero")
    return Sight(
        name="light",
        value=np.array([np.log(ratio)]),
        sigma=np.array([SURE_LIGHT]),
        predict=lambda draw: np.log(np.maximum(outcome(draw)[1], 1e-6))[:, None],
    )
