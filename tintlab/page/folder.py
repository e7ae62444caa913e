"""The folder that was opened: nothing outside of it is read or written for the page.

Names are resolved through every `..` and every symbolic link before they are judged.
Files are written beside their place, down to the disk, and moved there in one step.
"""

import os
import re
import shlex
import tempfile
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tintlab.document import LARGEST, Document, Trail, shown
from tintlab.errors import InsetError, PageError

LONGEST = 200  # [bytes] of a file name; file systems end at 255
MOST_FILES = 200  # in a list; a folder with more is not a project's
NAMING = ("file", "marks", "second")  # keys of inset and chips files that name one
_INSET = re.compile(r"^\s*\[?\[?\s*light\b", re.MULTILINE)
# device names of Windows, with or without an ending
_DEVICE = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Folder:
    """A folder with everything below it.

    Attributes
    ----------
    root : Path
        Absolute, without any symbolic link in it.
    """

    root: Path

    def inside(self, path: str | Path) -> Path:
        """Return the real path of a name; relative names start at the root.

        Raises
        ------
        PageError
            When it lies outside, through `..`, a link or an absolute path.
        """
        try:
            real = (self.root / path).resolve()
        except (OSError, RuntimeError, ValueError):  # a ring of links, a zero byte
            raise PageError(f"{shown(str(path))} is no usable file name") from None
        if not real.is_relative_to(self.root):
            raise PageError(
                f"{shown(str(path))} lies outside the opened folder "
                f'"{self.root.name}"; start the page again with the folder that holds '
                "it, as in: tintlab page FOLDER"
            )
        return real

    def named(self, name: str, ending: str) -> Path:
        """Return the path of a new file that somebody typed the name of.

        Parameters
        ----------
        name : str
            With or without the ending; may lead into a sub-folder that exists.
        ending : str
            ".toml", say; no other is accepted.

        Raises
        ------
        PageError
            When the name cannot be used on every system, or lies outside.
        """
        name = name.strip()
        name = name if name.lower().endswith(ending) else name + ending
        parts = name.replace("\\", "/").split("/")
        for part in parts:
            bad = part in ("", ending) or part != plain_name(part)
            if bad and part not in (".", ".."):
                raise PageError(
                    f"{shown(name)} cannot be a file name; use letters, digits, "
                    'spaces, "-", "_" and "."'
                )
        path = self.inside("/".join(parts))
        if not path.parent.is_dir():
            raise PageError(
                f"there is no folder {shown(path.parent.name)} here; make it first"
            )
        return path

    def check_named(self, path: Path, text: str) -> None:
        """Refuse a TOML text that names a file outside.

        Parameters
        ----------
        path : Path
            Of the file that holds the text; names in it start beside it.
        text : str

        Raises
        ------
        InsetError
            With the line; a text that is no TOML names nothing.
        """
        try:
            data = tomllib.loads(text)
        except (ValueError, RecursionError):
            return
        for trail, name in _named_files(data):
            try:
                self.inside(path.parent / name)
            except PageError as problem:
                here = Document(path=path, text=text, error=InsetError)
                here.fail(trail, str(problem))

    def check_shelf(self, shelf: Path) -> None:
        """Refuse a shelf of this folder that is a link to elsewhere, or holds one.

        Raises
        ------
        PageError
        """
        for path in (shelf, *shelf.glob("*"), *shelf.glob("*/*")):
            if path.is_symlink() and not path.resolve().is_relative_to(self.root):
                named = f"tintlab page --shelf {shlex.quote(str(path.resolve()))}"
                raise PageError(
                    f'"{path.relative_to(shelf.parent)}" is a link to a place outside '
                    "the opened folder; copy what it leads to, or name a whole shelf "
                    f"when you start the page: {named}"
                )

    def inset_files(self) -> list[Path]:
        """List the inset files in the folder and in the folders in it.

        Raises
        ------
        PageError
            When the folder cannot be read.
        """
        try:
            found = [path for path in self._candidates() if _is_inset(path)]
        except OSError as problem:
            raise PageError(
                f'cannot list the folder "{self.root}": {problem.strerror or problem}; '
                "check its rights"
            ) from None
        return found[:MOST_FILES]

    def _candidates(self) -> Iterator[Path]:
        here = sorted(self.root.iterdir())
        yield from (path for path in here if path.suffix == ".toml")
        for folder in here:
            hidden = folder.name.startswith(".") or folder.name == "shelf"
            if not hidden and self._readable(folder):
                yield from sorted(folder.glob("*.toml"))

    def _readable(self, folder: Path) -> bool:
        return (
            folder.is_dir()
            and folder.resolve().is_relative_to(self.root)
            and os.access(folder, os.R_OK | os.X_OK)
        )


def folder_of(path: Path) -> Folder:
    """Return the folder to open for a file or folder that the maker named.

    Raises
    ------
    PageError
        When there is no such thing, or it may not be read.
    """
    try:
        real = path.resolve(strict=True)
    except (OSError, RuntimeError, ValueError) as problem:
        reason = getattr(problem, "strerror", None) or "no such file or folder"
        raise PageError(
            f"cannot open {shown(str(path))}: {reason}; name an inset file, or a "
            "folder with some"
        ) from None
    root = real if real.is_dir() else real.parent
    if not os.access(root, os.R_OK | os.X_OK):
        raise PageError(f'the folder "{root}" may not be read; check its rights')
    return Folder(root=root)


def plain_name(name: str) -> str:
    """Return a file name without anything that a system could take amiss.

    Examples
    --------
    >>> plain_name("../../etc/IMG 12?.jpg")
    'IMG 12_.jpg'
    """
    last = re.split(r"[/\\]", name)[-1]
    short = re.sub(r"[^\w .()+-]", "_", last).strip(". ").encode()[-LONGEST:]
    plain = short.decode(errors="ignore").strip(". ")
    return f"_{plain}" if not plain or _DEVICE.fullmatch(plain) else plain


def _named_files(data: Any, trail: Trail = ()) -> Iterator[tuple[Trail, str]]:
    """Yield every file that a text names, with its place."""
    items = data.items() if isinstance(data, dict) else enumerate(data)
    for key, value in items:
        if isinstance(value, (dict, list)):
            yield from _named_files(value, (*trail, key))
        elif key in NAMING and isinstance(value, str):
            yield (*trail, key), value


def _is_inset(path: Path) -> bool:
    """Tell whether a file names a light, be it broken otherwise."""
    try:
        if path.stat().st_size > LARGEST:
            return False
        return bool(_INSET.search(path.read_text(encoding="utf-8-sig")))
    except (OSError, ValueError):
        return False


def put_in_place(path: Path, content: bytes, *, like: Path | None = None) -> None:
    """Write a file in one step; what was there before stays until it is whole.

    Parameters
    ----------
    path : Path
    content : bytes
    like : Path, optional
        File whose rights a new one gets; the maker's alone otherwise.

    Raises
    ------
    PageError
        When the folder or the file may not be written to, or the disk is full.
    """
    try:
        model = path if path.exists() else like
        if path.exists() and not os.access(path, os.W_OK):
            raise PageError(
                f'"{path.name}" is write-protected; save under another name'
            )
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.stem[:40]}-")
        temporary = Path(name)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            if model is not None and model.exists():
                temporary.chmod(model.stat().st_mode)
            temporary.replace(path)
        finally:
            temporary.unlink(missing_ok=True)
    except OSError as problem:
        raise cannot_write(path, problem) from None


def put_new(path: Path, content: bytes) -> None:
    """Write a file that must not be there yet.

    Raises
    ------
    PageError
        When the name is taken, or the folder may not be written to.
    """
    try:
        path.open("xb").close()
    except FileExistsError:
        raise PageError(
            f'there is a "{path.name}" in this folder already; choose another name'
        ) from None
    except OSError as problem:
        raise cannot_write(path, problem) from None
    try:
        put_in_place(path, content)
    except PageError:
        path.unlink(missing_ok=True)
        raise


def cannot_write(path: Path, problem: OSError) -> PageError:
    """Return the error of a file that could not be written."""
    return PageError(
        f'cannot write "{path}": {problem.strerror or problem}; nothing was changed; '
        "check the folder's rights and free space, or save under another name"
    )
