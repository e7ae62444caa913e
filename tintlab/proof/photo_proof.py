"""From a photo file to two simulated ones: the whole way."""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
from PIL import Image

from tintlab.errors import InsetError
from tintlab.inset import Inset
from tintlab.proof.photo_exposure import ExposureCard, exposure_card
from tintlab.proof.photo_file import Picture, read_picture
from tintlab.proof.photo_place import Place, places
from tintlab.proof.photo_scene import Scene, Wish, scene
from tintlab.proof.photo_space import Codes
from tintlab.proof.photo_versions import eye_version, phone_version
from tintlab.proof.photo_write import (
    check_targets,
    encoded,
    encoded_pair,
    labelled,
    pair_kind,
    target_names,
    write_all,
)

PAIR = 640  # [pixels] of the longer side of each picture of a pair
VERSIONS = {
    "eye": (eye_version, "as an adapted eye sees the inset lit"),
    "phone": (phone_version, "as a phone records the inset lit"),
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Proof:
    """What was made.

    Attributes
    ----------
    scene : Scene
    card : ExposureCard
    files : dict of str to Path
        "eye", "phone" and perhaps "pair".
    """

    scene: Scene
    card: ExposureCard
    files: dict[str, Path]


def make(
    inset: Inset,
    wish: Wish,
    *,
    photo: Path,
    marks: Sequence[str],
    where: Path | None,
    pair: Path | None = None,
    inputs: Sequence[Path] = (),
    progress: Callable[[str], None] | None = None,
) -> Proof:
    """Repaint a photo with the inset lit and write both versions, or nothing.

    Parameters
    ----------
    inset : Inset
    wish : Wish
    photo : Path
    marks : sequence of str
        Where insets are: corners or mask pictures.
    where : Path or None
        A folder or a name; beside the photo unless given.
    pair : Path, optional
        Of a small picture of both versions.
    inputs : sequence of Path
        More files that must not be written over.
    progress : callable
        Told what is being done.

    Returns
    -------
    Proof

    Raises
    ------
    InsetError
        For a photo, a mask, corners or a place to write to that cannot be used.
    """
    tell = progress or _silent
    tell("photo")
    picture = read_picture(photo)
    found = [p for mark in marks for p in places(mark, size=picture.size)]
    _check_solid(picture, found)
    files = dict(zip(VERSIONS, target_names(where, picture), strict=True))
    if pair is not None:
        pair_kind(pair)
        files["pair"] = pair
    read = [*inputs, photo, *(Path(m) for m in marks)]
    check_targets(list(files.values()), read)
    tell("glow")
    setting = scene(inset, picture, found, wish)
    waiting, small = {}, []
    with ThreadPoolExecutor(1) as pool:  # one is encoded while the other is painted
        for name, (paint, note) in VERSIONS.items():
            tell(name)
            codes = labelled(paint(setting, partial(_share, tell, name)))
            waiting[files[name]] = pool.submit(encoded, codes, picture, note=note)
            if pair is not None:
                small.append(_smaller(codes))
        card = exposure_card(setting)
        contents = {path: job.result() for path, job in waiting.items()}
    if pair is not None:
        contents[pair] = encoded_pair(small, pair)
    write_all(contents)
    return Proof(scene=setting, card=card, files=files)


def _check_solid(picture: Picture, found: Sequence[Place]) -> None:
    """Refuse a photo that is transparent where the glow would be."""
    if picture.alpha is None:
        return
    for place in found:
        rows, columns = place.coverage.shape
        there = picture.alpha[place.top :, place.left :][:rows, :columns]
        if (there[place.coverage > 0.5] < np.iinfo(np.uint8).max).any():
            raise InsetError(
                f'the photo "{picture.path.name}" is transparent where the inset is, '
                "so its glow would not show; save the photo without transparency"
            )


def _silent(stage: str) -> None:
    """Tell nobody."""


def _share(tell: Callable[[str], None], name: str, share: float) -> None:
    tell(f"{name} {share:.0%}")


def _smaller(codes: Codes) -> Codes:
    """Scale a picture down for the pair, at 8 bits."""
    if codes.dtype != np.uint8:
        codes = (codes // 257).astype(np.uint8)
    image = Image.fromarray(codes)
    image.thumbnail((PAIR, PAIR), Image.Resampling.LANCZOS, reducing_gap=2.0)
    return labelled(np.array(image))
