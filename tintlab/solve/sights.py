"""What was seen of a finished piece, each sight as numbers with an error.

A colour by eye or from a picture counts at one luminance only, because the exposure of
a look is not known; a photo counts by its channel ratios to the bare LED. Every sight
can say what it would be of plausible pieces.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tintlab import document, yardstick
from tintlab.causes import Draw
from tintlab.colorimetry import Lab_to_XYZ, XYZ_to_Lab, hex_to_XYZ
from tintlab.document import Document, Section
from tintlab.errors import InsetError
from tintlab.glow import Look, look
from tintlab.inset import Inset
from tintlab.inset.fields import find, parse
from tintlab.inset.target import read_lab
from tintlab.piece import Piece
from tintlab.shelf import Shelf
from tintlab.solve.trim import with_emitter
from tintlab.spread import outcomes

Array = NDArray[np.float64]
Outcome = Callable[[Draw], tuple[Array, Array, Array]]

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
    said = _section(inset)
    outcome = outcomes(piece, now)
    sure = said.number("sure", SURE_LAB, low=0.1, high=100)
    found = []
    if said.one_of("lab", "hex"):
        found.append(_colour_sight("colour", _lab(said), outcome, sure))
    photo = said.numbers("photo", 3, None)
    if photo is not None:
        if min(photo) <= 0:
            said.fail("photo", f"photo = {photo}; the three ratios are above zero")
        found.append(_photo_sight(np.array(photo), outcome))
    if said.has("light"):
        ratio = said.share("light", low=1e-5, high=1.5)
        found.append(_light_sight(ratio, outcome))
    second = said.section("second")
    if second is not None:
        emitter = find(second, "emitter", shelf, "emitters")
        second.one_of("lab", "hex", required=True)
        other = with_emitter(piece, emitter)
        under = outcomes(other, look(inset, piece=other))
        name = f"colour under {emitter.name}"
        found.append(_colour_sight(name, _lab(second), under, sure))
        second.close()
    said.close()
    if not found:
        said.missing(
            "lab", "[seen] has nothing to go by: lab, hex, photo, light, second"
        )
    return found


def _section(inset: Inset) -> Section:
    """`[seen]` of the inset's file, whose mistakes are named with their line."""
    text = document.read_text(inset.path, error=InsetError)
    whole = Document(path=inset.path, text=text, error=InsetError)
    return Section(document=whole, table=inset.seen, trail=("seen",))


def _lab(said: Section) -> Array:
    if "hex" in said.table:
        return XYZ_to_Lab(parse(said, "hex", hex_to_XYZ, said.text("hex")))
    return read_lab(said, "lab")


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
    return Sight(
        name="light",
        value=np.array([np.log(ratio)]),
        sigma=np.array([SURE_LIGHT]),
        predict=lambda draw: np.log(np.maximum(outcome(draw)[1], 1e-6))[:, None],
    )
