"""The working copy of an inset file: its text is the truth, and every step is kept.

Two open pages share one `Book` of a file, so that neither loses what the other did. A
text that does not read is kept as it is, beside the last good reading. All changes are
made from one thread, the server's own; what it says may be asked for from any.
"""

import os
import shlex
import threading
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tintlab import document
from tintlab.document import Trail
from tintlab.errors import InsetError, PageError, TintlabError
from tintlab.inset import Inset, read_inset
from tintlab.page import edit, unsaved
from tintlab.page.folder import Folder, folder_of, put_in_place, put_new
from tintlab.page.steps import Steps
from tintlab.shelf import Shelf, shelf_for

BOM = b"\xef\xbb\xbf"


class ChangedOnDisk(PageError):
    """A file that somebody changed while it was open here.

    Attributes
    ----------
    mine, theirs : str
        The text of the page and the text on disk; neither is lost.
    """

    def __init__(self, message: str, *, mine: str, theirs: str) -> None:
        super().__init__(message)
        self.mine = mine
        self.theirs = theirs


class Book:
    """One opened inset file.

    Parameters
    ----------
    path : Path
        Inside the folder.
    folder : Folder
    own_shelf : tuple of Path
        Shelf folders that the maker named.

    Raises
    ------
    TintlabError
        When the file cannot be read as text at all.
    """

    def __init__(
        self, *, path: Path, folder: Folder, own_shelf: tuple[Path, ...] = ()
    ) -> None:
        self.path = folder.inside(path)
        self.folder = folder
        self.note = ""  # what opening it brought to light, in a sentence
        self._own_shelf = own_shelf
        self._disk = b""  # the file as it was last read or written here
        self._saved = ""
        self._events = 0  # what shows and is no change of the text
        self._inset: Inset | None = None
        self._problem: str | None = None
        self._read_at = self._kept_at = -1
        self._reading = threading.Lock()
        self._steps = Steps(self._from_disk())
        self._read()
        self._recover()

    @property
    def version(self) -> int:
        """A number that rises with everything that a page would show."""
        return self._steps.moves + self._events

    # --------------------------------------------------------------- reading

    @property
    def shelf(self) -> Shelf:
        """The shelf that belongs to the file, as it is now.

        Without the one beside it, should that lead out of the opened folder.
        """
        try:
            self.folder.check_shelf(self.path.parent / "shelf")
        except PageError:
            return shelf_for(None, self._own_shelf)
        return shelf_for(self.path, self._own_shelf)

    @property
    def text(self) -> str:
        """The text, saved or not."""
        return self._steps.text

    @property
    def dirty(self) -> bool:
        """Whether the text differs from what was last read or saved."""
        return self.text != self._saved

    @property
    def inset(self) -> Inset | None:
        """The last good reading of the text; None if it never read."""
        self._read()
        return self._inset

    @property
    def problem(self) -> str | None:
        """Why the text does not read, with file and line; None when it does."""
        self._read()
        return self._problem

    def get(self, keys: Trail, default: Any = None) -> Any:
        """Return what is written at a place, as in ("layer", 2, "dyes", 0, "dose").

        While the text is no TOML, `default`.
        """
        try:
            return edit.value_at(edit.parsed(self.text), keys, default)
        except PageError:
            return default

    def refresh(self) -> None:
        """Read again with a shelf that has changed; the text stays."""
        self._events += 1

    def _read(self) -> None:
        with self._reading:
            version, text = self.version, self.text
            if self._read_at == version:
                return
            try:
                self.folder.check_named(self.path, text)
                self.folder.check_shelf(self.path.parent / "shelf")
                self._inset = read_inset(self.path, self.shelf, text=text)
                self._problem = None
            except TintlabError as problem:
                self._problem = str(problem)
            self._read_at = version

    # -------------------------------------------------------------- changing

    def put(self, keys: Trail, value: Any, *, token: str = "") -> None:
        """Write a value at a place; tables and lists on the way are made.

        Parameters
        ----------
        keys : tuple
            A position one past the end of a list appends to it.
        value : text, number, bool, or a list or dict of such
        token : str, optional
            Steps in a row with the same token are one step for `undo`: the many values
            of one drag.

        Raises
        ------
        PageError
            When the text is no TOML, there is no such place, or no such value.
        """
        self._steps.add(edit.with_value(self.text, keys, value), token)

    def insert(self, keys: Trail, value: Any) -> None:
        """Put a value, or a whole [[table]] as a dict, before the one at a position."""
        self._steps.add(edit.with_inserted(self.text, keys, value))

    def remove(self, keys: Trail) -> None:
        """Take out a value, a table, or an item of a list."""
        self._steps.add(edit.without(self.text, keys))

    def move(self, keys: Trail, to: int) -> None:
        """Move an item of a list to another position."""
        self._steps.add(edit.moved(self.text, keys, to))

    def rewrite(self, text: str) -> None:
        """Take a whole text, from an editor; it may be broken and is kept all the same.

        Raises
        ------
        PageError
            When it is larger than a file may be, or no text that a file could hold.
        """
        try:
            size = len(text.encode("utf-8"))
        except UnicodeEncodeError:
            raise PageError(
                "this text has half of a character in it; paste it again"
            ) from None
        if size > document.LARGEST:
            raise PageError(
                f"this text has {size / 1e6:.0f} MB; an inset file has at most "
                f"{document.LARGEST / 1e6:.0f} MB"
            )
        self._steps.add(text.replace("\r\n", "\n"))

    def group(self) -> AbstractContextManager[None]:
        """Make several changes one step; if one fails, none of them is made."""
        return self._steps.group()

    @property
    def can_undo(self) -> bool:
        """Whether there is a step to take back."""
        return self._steps.can_undo

    @property
    def can_redo(self) -> bool:
        """Whether a step was taken back that can be made again."""
        return self._steps.can_redo

    def undo(self) -> None:
        """Take the last step back, if there is one."""
        self._steps.undo()

    def redo(self) -> None:
        """Make the step again that was taken back last, if there is one."""
        self._steps.redo()

    # ------------------------------------------------------------------ disk

    def changed_on_disk(self) -> bool:
        """Tell whether the file now says something else than when it was read here."""
        try:
            return self.path.read_bytes() != self._disk
        except OSError:
            return False  # gone or locked; saving tells

    def vanished(self) -> bool:
        """Tell whether the file is gone; saving writes it anew."""
        return not self.path.exists()

    def save(self, *, force: bool = False) -> None:
        """Write the text in the place of the file, in one step.

        Parameters
        ----------
        force : bool
            Also when the file was changed meanwhile; what it said is kept beside it
            with `.old` behind its name.

        Raises
        ------
        ChangedOnDisk
            With both texts; nothing is written.
        PageError
            When it cannot be written.
        """
        changed = self.changed_on_disk()
        if changed and not force:
            theirs = self.path.read_bytes().decode("utf-8", errors="replace")
            raise ChangedOnDisk(
                f'"{self.path.name}" was changed outside this page since it was read; '
                "take over what it says now, keep yours over it, or save yours under "
                "another name",
                mine=self.text,
                theirs=theirs,
            )
        if changed:
            old = self.path.with_name(self.path.name + ".old")
            theirs_now = self.path.read_bytes()
            put_in_place(self.folder.inside(old), theirs_now, like=self.path)
        content = self._content()
        put = put_new if self.vanished() else put_in_place
        put(self.folder.inside(self.path), content)
        self._is_saved(content)

    def save_as(self, name: str) -> None:
        """Write the text to a new file and go on with that one.

        Raises
        ------
        PageError
            When the name is taken or lies outside the opened folder.
        """
        path = self.folder.named(name, ".toml")
        content = self._content()
        put_new(path, content)
        unsaved.forget(self.path)
        self.path = path
        self._is_saved(content)

    def reload(self) -> None:
        """Take over what the file says now; `undo` brings back what was here.

        Raises
        ------
        TintlabError
            When the file cannot be read as text.
        """
        self._steps.add(self._from_disk())
        unsaved.forget(self.path)
        self._events += 1

    def _from_disk(self) -> str:
        text = document.read_text(self.path, error=InsetError)
        self._disk = self.path.read_bytes()
        self._saved = text.replace("\r\n", "\n")
        return self._saved

    def _content(self) -> bytes:
        """Return the text as bytes, with the line ends that the file has."""
        crlf = self._disk.count(b"\r\n") * 2 > self._disk.count(b"\n")
        text = self.text.replace("\n", "\r\n") if crlf else self.text
        return self._disk[: len(BOM) * self._disk.startswith(BOM)] + text.encode(
            "utf-8"
        )

    def _is_saved(self, content: bytes) -> None:
        self._disk, self._saved = content, self.text
        self._steps.settle()
        unsaved.forget(self.path)
        self._events += 1

    # --------------------------------------------------------------- unsaved

    def keep_unsaved(self) -> bool:
        """Put a text that is not saved beside its file, for a page that ends too soon.

        Returns
        -------
        bool
            Whether there is such a text and it lies there now.
        """
        if not self.dirty:
            unsaved.forget(self.path)
            return False
        version = self.version
        if self._kept_at != version:
            try:
                unsaved.keep(self.folder, self.path, text=self.text, over=self._disk)
            except PageError:
                return False  # a folder without rights; saving will tell
            self._kept_at = version
        return True

    def _recover(self) -> None:
        """Bring back what an earlier page could not save, over nothing newer."""
        rest = unsaved.find(self.folder, self.path, over=self._disk)
        if rest is None or rest.text == self.text:
            return
        if rest.fits:
            self._steps.add(rest.text)
            self.note = (
                "what was changed here last time and not saved is back; save it, or "
                "undo to drop it"
            )
            return
        own = unsaved.set_aside(self.path, rest.text)
        if own is not None:
            self.note = (
                f'"{self.path.name}" was changed since the page had changes of it '
                f'that were not saved; those are in "{own.name}"'
            )

    # --------------------------------------------------------------- command

    def command(self, *words: str) -> str:
        """Return the command line that gives the same answer.

        Parameters
        ----------
        *words : str
            The command and its options; "glow" when left out.

        Returns
        -------
        str
            For a text that is not saved, it says so in front.
        """
        name, *options = words or ("glow",)
        shelves = [word for path in self._own_shelf for word in ("--shelf", str(path))]
        line = shlex.join(
            ["tintlab", *name.split(), _from_here(self.path), *options, *shelves]
        )
        return f"save first, then: {line}" if self.dirty else line


def _from_here(path: Path) -> str:
    """Return a path as one would type it in the folder that the page was started in."""
    here = Path.cwd()
    return os.fspath(path.relative_to(here) if path.is_relative_to(here) else path)


@dataclass(slots=True, kw_only=True)
class Books:
    """The books of one opened folder: one of each file, however many pages show it.

    Attributes
    ----------
    folder : Folder
    own_shelf : tuple of Path
    first : Path or None
        The file that the page was opened with.
    """

    folder: Folder
    own_shelf: tuple[Path, ...] = ()
    first: Path | None = None
    _open: list[Book] = field(default_factory=list)

    def open(self, path: str | Path) -> Book:
        """Return the book of a file; relative names start at the opened folder.

        Raises
        ------
        TintlabError
            When it lies outside, is gone, or cannot be read as text.
        """
        real = self.folder.inside(path)
        for book in self._open:
            if book.path == real:
                return book
        if real.suffix.lower() != ".toml":
            raise PageError(f'"{real.name}" is no inset file; these end in .toml')
        book = Book(path=real, folder=self.folder, own_shelf=self.own_shelf)
        self._open.append(book)
        return book

    def create(self, name: str, text: str) -> Book:
        """Write a new inset file and open it.

        Raises
        ------
        PageError
            When the name is taken or lies outside the opened folder.
        """
        path = self.folder.named(name, ".toml")
        put_new(path, text.encode("utf-8"))
        return self.open(path)

    def keep_unsaved(self) -> list[Book]:
        """Keep every text that is not saved beside its file; return those books."""
        return [book for book in self._open if book.keep_unsaved()]

    def unsaved(self) -> list[Book]:
        """Return the books whose text is not saved."""
        return [book for book in self._open if book.dirty]


def open_books(path: Path, own_shelf: tuple[Path, ...] = ()) -> Books:
    """Return the books of a file or folder that the maker named.

    Raises
    ------
    TintlabError
        When it is not there, may not be read, or a shelf that was named is none.
    """
    folder = folder_of(path)
    shelf_for(None, own_shelf)  # tells of a folder that is no shelf
    own_shelf = tuple(shelf.resolve() for shelf in own_shelf)
    if path.is_dir():
        return Books(folder=folder, own_shelf=own_shelf)
    books = Books(folder=folder, own_shelf=own_shelf, first=path.resolve())
    books.open(path.resolve())
    return books
