"""Finds a material by name in the maker's folders and the shipped one.

The shipped shelf lies in the package `tintlab.spectra`; a maker's own folders, laid
out alike (`bottles/`, `inks/`, ...), are looked at first. Only the files that are
asked for are read, because a prediction should not wait for a hundred others.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import platformdirs

from tintlab import document
from tintlab.errors import ShelfError
from tintlab.shelf import batteries, colourants, surroundings

LONGEST = 100  # [characters] of a file stem; file systems end at 255 bytes

_READERS: dict[str, Callable[..., Any]] = {
    **surroundings.READERS,
    **colourants.READERS,
    **batteries.READERS,
}


@cache
def shipped() -> Path:
    """Return the folder of the shipped shelf."""
    return Path(str(resources.files("tintlab.spectra")))


def slug(name: str) -> str:
    """Return the file stem that belongs to a name.

    Examples
    --------
    >>> slug("White 4100 K")
    'white-4100-k'
    """
    return re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelf:
    """Folders with materials, the maker's own first.

    Attributes
    ----------
    folders : tuple of Path
        Looked through in this order; the shipped shelf comes last.
    """

    folders: tuple[Path, ...]

    def find(self, kind: str, name: str) -> Any:
        """Return the material of a kind by its name or alias.

        Parameters
        ----------
        kind : str
            A folder name: "emitters", "dyes", "inks", "bottles", "media", "walls",
            "diffusers", "rooms", "targets" or "batteries".
        name : str
            Case does not matter.

        Raises
        ------
        ShelfError
            When nothing has that name, with the nearest names.
        """
        for folder in self.folders:
            path = folder / kind / f"{slug(name)[:LONGEST]}.toml"
            if slug(name) and path.is_file():
                return self.read(kind, path)
        for path in self.files(kind):
            if name.lower() in [known.lower() for known in _names(path)]:
                return self.read(kind, path)
        near = (
            document.nearest(name, self.known(kind))
            or "nothing on the shelf is alike. "
        )
        count = len(self.names(kind))
        raise ShelfError(
            f'asked for "{name}" among the {kind}; {near}'
            f'"tintlab shelf list {kind}" names the {count} that we have'
        )

    def read(self, kind: str, path: Path) -> Any:
        """Read one file of a kind."""
        section = document.read(path, error=ShelfError)
        material = _READERS[kind](section, self.find)
        section.close()
        return replace(material, notes=tuple(section.document.notes))

    def files(self, kind: str) -> Iterator[Path]:
        """Yield the files of a kind; of two with one name the maker's own counts."""
        seen = set()
        for folder in self.folders:
            for path in sorted((folder / kind).glob("*.toml")):
                if path.stem not in seen:
                    seen.add(path.stem)
                    yield path

    def names(self, kind: str) -> list[str]:
        """List the names of a kind."""
        heads = [(_head(path).get("name"), path.stem) for path in self.files(kind)]
        return [name if isinstance(name, str) else stem for name, stem in heads]

    def known(self, kind: str) -> list[str]:
        """List the names and aliases of a kind."""
        return [name for path in self.files(kind) for name in _names(path)]

    def own_first(self, kind: str, *, every: bool = False) -> list[Any]:
        """Read the maker's own materials; the shipped ones too if there are none."""
        own = [p for p in self.files(kind) if not p.is_relative_to(shipped())]
        chosen = own if own and not every else list(self.files(kind))
        return [self.read(kind, path) for path in chosen]

    def all(self, kind: str) -> list[Any]:
        """Read every material of a kind."""
        return [self.read(kind, path) for path in self.files(kind)]


KINDS = (
    *("emitters", "dyes", "inks", "bottles", "media"),
    *("walls", "diffusers", "rooms", "targets", "batteries"),
)


def open_shelf(*folders: Path | None) -> Shelf:
    """Return a shelf of the maker's folders that exist, and the shipped one.

    Raises
    ------
    ShelfError
        When a folder has none of the sub-folders of a shelf.
    """
    own = []
    for folder in folders:
        if folder is None:
            continue
        if not any((folder / kind).is_dir() for kind in KINDS):
            raise ShelfError(
                f'asked for the shelf "{folder}", which has none of the folders '
                f"{', '.join(KINDS)}; make one, for example bottles/"
            )
        own.append(folder)
    return Shelf(folders=(*own, shipped()))


def begun(folder: Path) -> bool:
    """Whether a folder is there and holds anything yet."""
    return folder.is_dir() and any(folder.iterdir())


def shelf_for(inset_file: Path | None = None, own: tuple[Path, ...] = ()) -> Shelf:
    """Return the shelf that belongs to an inset file.

    Looked through in this order: the folders given, `shelf/` beside the file, the
    folder `shelf` in the platform's user-data folder, the shipped shelf.

    Parameters
    ----------
    inset_file : Path, optional
    own : tuple of Path
        Folders that the maker names; they must exist.
    """
    beside = inset_file.parent / "shelf" if inset_file else None
    user = Path(platformdirs.user_data_dir("tintlab")) / "shelf"
    for folder in own:
        if not folder.is_dir():
            raise ShelfError(
                f'asked for the shelf "{folder}", which is no folder; check its name'
            )
    found = [f for f in (beside, user) if f is not None and begun(f)]
    return open_shelf(*own, *found)


def _head(path: Path) -> dict[str, Any]:
    return document.read(path, error=ShelfError).table


def _names(path: Path) -> list[str]:
    """Return the name and the aliases of a file."""
    head = _head(path)
    aliases = head.get("aliases")
    names = [head.get("name"), *(aliases if isinstance(aliases, list) else [])]
    return [name for name in names if isinstance(name, str)]
