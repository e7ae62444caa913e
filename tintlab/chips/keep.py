"""Writing what was learned to the maker's shelf, whole or not at all.

The text is written beside its place, read back as the shelf would read it, and only
then moved there in one step. The file that was there is kept with `.old` behind its
name.
"""

import os
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tintlab.chips.evidence import Evidence, between, combined, without
from tintlab.chips.ladder import Ladder, colourants, with_colourants
from tintlab.chips.learn import Learned
from tintlab.chips.lights import Told, light_of, seen_in, told_of
from tintlab.chips.photo_emitter import Resemblance
from tintlab.chips.story_file import (
    colourant_lines,
    dye_lines,
    light_lines,
    story_of,
)
from tintlab.colourants import Bottle, Colourant, Ink
from tintlab.errors import ShelfError
from tintlab.materials import Emitter
from tintlab.shelf import LONGEST, Shelf, open_shelf, shipped, slug

Array = NDArray[np.float64]

ROUNDING = 1e-3  # difference of logarithms that writing five figures explains


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Plan:
    """What is to be written: where, the text, and what was there before.

    Attributes
    ----------
    path : Path
    text : str
    before, after : Colourant
    dyes : dict of str to str
        Texts of dye files that it needs, by file name (a spectrometer's curve).
    """

    path: Path
    text: str
    before: Colourant
    after: Colourant
    dyes: dict[str, str]


def with_priors(ladder: Ladder) -> Ladder:
    """Take earlier evidence from these very chips out of a ladder's bottles."""
    stories = {
        name: without(story_of(one), ladder.key)
        for name, one in colourants(ladder).items()
    }
    ladder = with_colourants(ladder, {n: combined(s) for n, s in stories.items()})
    together = {
        (a, b): r
        for a, b in combinations(stories, 2)
        if (r := between(stories[a], stories[b], b))
    }
    return replace(ladder, together=together)


def planned(
    learned: Learned,
    *,
    folder: Path,
    date: str,
    dye: tuple[str, Array] | None = None,
    elsewhere: bool = False,
) -> Plan | None:
    """Put new evidence to the old and say what would be written; None for nothing new.

    Parameters
    ----------
    learned : Learned
    folder : Path
        The maker's shelf, for a material that is not on it yet.
    date : str
        Of today.
    dye : (str, ndarray), optional
        Name and measured curve of the colourant's own dye, from a spectrometer.
    elsewhere : bool
        Write to `folder` although the material is on another shelf of the maker's.
    """
    if not learned.every and learned.weighed is None:
        return None
    story = told = story_of(learned.prior)
    if learned.weighed is not None and isinstance(story.label, Bottle):
        drop, spread = learned.weighed
        if (
            abs(np.log(drop / story.label.drop))
            + abs(np.log(spread / story.label.drop_spread))
            > ROUNDING
        ):
            label = replace(story.label, drop=drop, drop_spread=spread)
            story = replace(story, label=label)
    if learned.every:
        new = [replace(one, date=date) for one in learned.every]
        if not all(any(_alike(old, one) for old in story.evidence) for one in new):
            kept = without(story, new[0].key).evidence
            story = replace(story, evidence=(*kept, *new))
    after, one = combined(story), learned.prior
    here = Path(one.path)
    own = bool(one.path) and not here.is_relative_to(shipped())
    kind = "inks" if isinstance(one, Ink) else "bottles"
    path = here
    if elsewhere or not own:
        path = folder / kind / f"{slug(one.name)}.toml"
    dyes = {}
    if dye is not None:
        dyes[f"{slug(dye[0])}.toml"] = "\n".join(dye_lines(after, *dye, date))
    text = (
        "\n".join(colourant_lines(after, story, None if dye is None else dye[0])) + "\n"
    )
    if story is told and path.is_file():  # nothing new: rounding must not move it
        text, dyes = path.read_text(encoding="utf-8"), {}
    return Plan(path=path, text=text, before=one, after=after, dyes=dyes)


def _alike(old: Evidence, new: Evidence) -> bool:
    """Whether the same chips say the same again, but for rounding."""
    a, b = old.strength, new.strength
    return (
        (old.key, old.kind, old.cure, old.by_drop)
        == (new.key, new.kind, new.cure, new.by_drop)
        and len(old.doses) == len(new.doses)
        and abs(a.mean - b.mean) < 0.03 * b.deviation
        and abs(a.deviation - b.deviation) < 0.03 * b.deviation
    )


def write(plan: Plan) -> list[Path]:
    """Write a plan and return the files that were changed.

    Raises
    ------
    ShelfError
        When the place cannot be written to, or the text would not be read back.
    """
    folder = plan.path.parent.parent
    files = {folder / "dyes" / name: text for name, text in plan.dyes.items()}
    files[plan.path] = plan.text
    return [path for path, text in files.items() if _replaced(path, text)]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kept:
    """A light that was made of what is known, its evidence, and what was written."""

    light: Emitter
    told: tuple[Told, ...]
    written: tuple[Path, ...]


def borrowable(shelf: Shelf) -> list[Emitter]:
    """Return the lights that a spectrum can be borrowed from: none that was so made."""
    return [e for e in shelf.all("emitters") if e.source.kind != "learned"]


def kept_light(
    name: str | None,
    seen: Resemblance | None,
    sheet: Told | None,
    *,
    photo: Path | None,
    date: str,
    folder: Path,
    shelf: Shelf,
    lights: Sequence[Emitter],
) -> Kept | None:
    """Put evidence about a light to what is known of it, and write it if it has a name.

    Parameters
    ----------
    name : str or None
        As the light is to be called; None writes nothing.
    seen : Resemblance or None
        What a picture, `photo`, told.
    sheet : Told or None
        What a data sheet told.
    date : str
        Of today.
    folder : Path
        The maker's shelf.
    shelf : Shelf
        On which the name may be taken.
    lights : sequence of Emitter
        To borrow a spectrum from.

    Returns
    -------
    Kept or None
        None when there is no data sheet and nothing is to be kept.

    Raises
    ------
    ShelfError
        When the name is taken by a light that no picture and no data sheet made, and
        as for `tintlab.chips.lights.light_of`.
    """
    if seen is None and sheet is None:
        raise ShelfError(
            "asked about an LED of which nothing is told; give a photo of it on a "
            "white card with --at, or --dominant, --peak or --kelvin of its data sheet"
        )
    if name is None and sheet is None:
        return None
    new = [] if sheet is None else [sheet]
    if seen is not None and photo is not None:
        new.insert(0, seen_in(seen, origin=photo.name, date=date))
    if name is None:
        light = light_of("this light", new, lights)
        return Kept(light=light, told=tuple(new), written=())
    path = folder / "emitters" / f"{slug(name)[:LONGEST]}.toml"
    before: tuple[Told, ...] = ()
    if slug(name) and path.is_file():
        old = open_shelf(folder).read("emitters", path)
        before, name = told_of(old), old.name
    if not slug(name) or (not before and (path.is_file() or _taken(name, shelf))):
        raise ShelfError(
            f'asked to keep a light called "{name}", which '
            f"{'the shelf has already' if slug(name) else 'is no name'}; choose another"
        )
    again = {(one.kind, one.origin, one.value) for one in new}
    told = (*(t for t in before if (t.kind, t.origin, t.value) not in again), *new)
    light = light_of(name, told, lights)
    text = "\n".join(light_lines(light, told)) + "\n"
    return Kept(
        light=light, told=told, written=(path,) if _replaced(path, text) else ()
    )


def _taken(name: str, shelf: Shelf) -> bool:
    try:
        shelf.find("emitters", name)
    except ShelfError:
        return False
    return True


def write_new(path: Path, text: str) -> None:
    """Write a file that must not be there yet.

    Raises
    ------
    ShelfError
    """
    try:
        with path.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError:
        raise ShelfError(
            f'"{path}" is there already; name another file, or remove it first'
        ) from None
    except OSError as problem:
        raise ShelfError(
            f'cannot write "{path}": {problem.strerror or problem}; check the folder'
        ) from None


def _replaced(path: Path, text: str) -> bool:
    """Put a text in the place of a file; False when it stands there already."""
    if path.is_file() and path.read_bytes() == text.encode("utf-8"):
        return False
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        temporary = _beside(path, text)
        try:
            open_shelf(path.parent.parent).read(path.parent.name, temporary)
            _keep_old(path)
            temporary.replace(path)
        finally:
            temporary.unlink(missing_ok=True)
    except OSError as problem:
        raise ShelfError(
            f'cannot write "{path}": {problem.strerror or problem}; nothing was '
            "changed; check the folder, or name another with --into"
        ) from None
    return True


def _beside(path: Path, text: str) -> Path:
    """Write to a file of its own in the same folder, down to the disk."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.stem}-")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(text.encode("utf-8"))
            file.flush()
            os.fsync(file.fileno())
        Path(name).chmod(path.stat().st_mode if path.is_file() else 0o644)
    except OSError:
        Path(name).unlink(missing_ok=True)
        raise
    return Path(name)


def _keep_old(path: Path) -> None:
    """Copy what is there to a name that no shelf reads."""
    if not path.is_file():
        return
    copy = _beside(path, path.read_text(encoding="utf-8"))
    try:
        copy.replace(path.with_name(path.name + ".old"))
    finally:
        copy.unlink(missing_ok=True)


def found_shelf(file: Path, own: Sequence[Path]) -> Path:
    """Return the maker's shelf that belongs to a chips file, made when need be."""
    beside, above = file.parent / "shelf", file.absolute().parent.parent / "shelf"
    for folder in (*own, beside, above):
        if folder.is_dir():
            return folder
    return file.parent / "shelf"
