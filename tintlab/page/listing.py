"""The opened folder: its pieces, and a new one."""

import tomllib
from pathlib import Path
from urllib.parse import quote

from nicegui import ui

from tintlab.errors import TintlabError
from tintlab.page import parts
from tintlab.page.book import Books
from tintlab.page.controls import drawn, press, tag, tell

NEW = """\
name = "{name}"

[target]
hex = "#35a78e"
tolerance = 5

[inset]
size = "40 x 60 mm"

[[light]]
emitter = "white 4100 K"
count = 4
lumens = 5

[cavity]
depth = "25 mm"
wall = "white paint"

[[layer]]                 # from the light to the viewer
kind = "diffuser"
diffuser = "opal sheet"

[[layer]]
kind = "gap"

[[layer]]
kind = "cast"
medium = "epoxy"
thickness = "6 mm"
batch = "50 g"

[view]
room = "hall"
"""


def listing(books: Books) -> None:
    """List the inset files of the folder, and offer to begin another."""
    with tag("div", "page"):
        with tag("div", "top"):
            tag("span", "mark", "tintlab")
            tag("h1", "", books.folder.root.name)
        with tag("section", "sheet"):
            tag("h2", "", "Pieces in this folder")
            _pieces(books)
        with tag("section", "sheet"):
            tag("h2", "", "A new piece")
            with tag("div", "line"):
                name = ui.input(label="its name").props("outlined dense")
                name.classes("grow")
                press("begin", lambda: _begin(books, str(name.value)), kind="main")


def _pieces(books: Books) -> None:
    try:
        files = books.folder.inset_files()
    except TintlabError as problem:
        drawn(parts.trouble("This folder cannot be read", str(problem)))
        return
    if not files:
        tag("p", "quiet", "There is no inset file here yet.")
    with tag("ul", "plain pieces"):
        for path in files:
            shown = path.relative_to(books.folder.root).as_posix()
            with tag("li"), ui.link(target=address(shown)):
                tag("b", "", _name(path))
                tag("span", "small quiet", shown)


def address(file: str) -> str:
    """Return the address of the page of one file."""
    return f"/piece?file={quote(file)}"


def _name(path: Path) -> str:
    """Return what a file calls its piece, or that it does not read."""
    try:
        said = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except (OSError, ValueError, RecursionError):
        return "does not read; open it to mend it"
    return str(said.get("name", "without a name"))


def _begin(books: Books, name: str) -> None:
    plain = name.strip()
    if not plain:
        tell("give the piece a name", wrong=True)
        return
    try:
        text = NEW.format(name=plain.replace("\\", "").replace('"', "'"))
        book = books.create(plain, text)
    except TintlabError as problem:
        tell(str(problem), wrong=True)
        return
    ui.navigate.to(address(book.path.relative_to(books.folder.root).as_posix()))
