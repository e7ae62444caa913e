"""Texts that were not saved: kept beside their files, and found again.

A page can end without a word: a battery, a closed lid, a killed program. What it had
not saved lies in a file with `.unsaved` behind the name. Its first line says over which
state of the file, so that it is never put over a newer one.
"""

import hashlib
from dataclasses import dataclass
from pathlib import Path

from tintlab import document
from tintlab.errors import PageError
from tintlab.page.folder import Folder, put_in_place, put_new

ENDING = ".unsaved"
MARK = "# not saved by the page, over "
MOST_ALIKE = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """A text that was found again; `fits` when its file is still as it was then."""

    text: str
    fits: bool


def keep(folder: Folder, path: Path, *, text: str, over: bytes) -> None:
    """Put a text beside its file.

    Parameters
    ----------
    folder : Folder
    path : Path
        The inset file.
    text : str
    over : bytes
        What the file says.

    Raises
    ------
    PageError
        When the folder may not be written to.
    """
    content = f"{_first_line(over)}\n{text}".encode()
    put_in_place(folder.inside(_beside(path)), content, like=path)


def find(folder: Folder, path: Path, *, over: bytes) -> Rest | None:
    """Return what was kept of a file; None when there is nothing that reads."""
    try:
        found = document.read_text(folder.inside(_beside(path)), error=PageError)
    except PageError:
        return None
    first, _, text = found.partition("\n")
    text = text if first.startswith(MARK) else found
    return Rest(text=text, fits=first == _first_line(over))


def set_aside(path: Path, text: str) -> Path | None:
    """Give a text that does not fit its file any more a file of its own.

    Returns
    -------
    Path or None
        None when the folder takes no file; the text stays where it was kept.
    """
    names = (f"-{n}" if n > 1 else "" for n in range(1, MOST_ALIKE))
    for number in names:
        own = path.with_name(f"{path.stem}-unsaved{number}.toml")
        try:
            put_new(own, text.encode("utf-8"))
        except PageError:
            continue
        forget(path)
        return own
    return None


def forget(path: Path) -> None:
    """Remove what was kept of a file."""
    try:
        _beside(path).unlink(missing_ok=True)
    except OSError:
        return  # a folder without rights holds none of ours


def _beside(path: Path) -> Path:
    return path.with_name(path.name + ENDING)


def _first_line(over: bytes) -> str:
    return f"{MARK}{hashlib.sha256(over).hexdigest()}"
