"""The page itself: the piece in a viewing booth, and four rooms of work beside it.

The maker's moments, as drawn before anything was laid out. An evening with the art on
the knees: what should it glow like? (*aim*: a spot in a picture, a colour, how near is
near enough.) The bench, before the pour: what is it made of? (*build*: the piece cut
open, from the LED up to the eye, one drop more or less, and the glow beside the target
at once.) The lit piece in the hand, and it is wrong: (*fix*: what do I see, what may be
the cause, which coat, which pour.) The days between: chips on the windowsill, a photo,
a card for the glove (*make*). Whatever the moment, the same two things are looked at:
the glow against the target on neutral grey, and how sure that is. So these stay in
sight, on a wide screen at the left, on a phone at the top with the rooms under the
thumb. The shelf, a plain list, is one press away everywhere.
"""

import json
from pathlib import Path
from typing import Any

from fastapi import HTTPException
from fastapi.responses import FileResponse
from nicegui import app, ui

from tintlab.errors import TintlabError
from tintlab.page import parts, rooms_aim, rooms_build, rooms_fix, rooms_make
from tintlab.page.book import Book, Books, ChangedOnDisk
from tintlab.page.controls import choose, drawn, press, tag, words
from tintlab.page.file_dialog import file_dialog, mend, readable
from tintlab.page.listing import listing
from tintlab.page.shelf_list import shelf_dialog
from tintlab.page.tab import Tab, View
from tintlab.page.work import Workshop

STYLE = Path(__file__).with_name("page.css")
ROOMS = {
    "aim": ("Aim", "what it should glow like", rooms_aim.build),
    "build": ("Build", "what it is made of", rooms_build.build),
    "fix": ("Fix", "it came out wrong", rooms_fix.build),
    "make": ("Make", "chips, proof, card", rooms_make.build),
}
PICTURES = (".jpg", ".jpeg", ".png", ".webp", ".gif")
OFTEN = 0.7  # [s] between looks at what other tabs did
PATIENCE = 10.0  # [s] for a page to answer
SOON = 0.3  # [s] until a new page has told its surround
DISK = 3.0  # [s] between looks at the file on disk

SCRIPT = """
<script>
  addEventListener('beforeunload', e => {
    if (window.tintlabDirty) e.preventDefault();
  });
  document.documentElement.lang = 'en-GB';
  if (matchMedia('(prefers-color-scheme: dark)').matches)
    document.documentElement.classList.add('surround-dark');
  addEventListener('keydown', e => {
    if (!(e.ctrlKey || e.metaKey)) return;
    const typing = e.target.matches(
      'textarea, input:not([type=range], [type=checkbox])');
    const z = e.shiftKey ? 'redo' : 'undo';
    const what = {s: 'save', z: z, y: 'redo'}[e.key.toLowerCase()];
    if (!what || (typing && what !== 'save')) return;
    e.preventDefault();
    emitEvent('tintlab-' + what);
  });
</script>
"""


def register(books: Books) -> None:
    """Put the page's addresses on NiceGUI's app."""
    workshop = Workshop()
    app.on_shutdown(workshop.close)

    @ui.page("/", title="tintlab")
    def home() -> None:
        if books.first is None:
            _plain_page()
            listing(books)
        else:
            _opened(books, books.first, workshop)

    @ui.page("/piece", title="tintlab")
    def piece(file: str) -> None:
        _opened(books, Path(file), workshop)

    @ui.page("/list", title="tintlab")
    def pieces() -> None:
        _plain_page()
        listing(books)

    @app.get("/picture")
    def picture(file: str) -> FileResponse:
        try:
            path = books.folder.inside(file)
        except TintlabError:
            raise HTTPException(404) from None
        if path.suffix.lower() not in PICTURES or not path.is_file():
            raise HTTPException(404)
        return FileResponse(path)


def _plain_page() -> None:
    ui.add_css(STYLE)
    ui.add_head_html(SCRIPT)
    ui.colors(primary="var(--accent)")


def _opened(books: Books, path: Path, workshop: Workshop) -> None:
    _plain_page()
    try:
        tab = Tab(books.open(path), workshop, books.own_shelf)
    except TintlabError as problem:
        with tag("div", "page"):
            drawn(parts.trouble("This file cannot be opened", str(problem)))
            ui.link("what else is in the folder", "/list")
        return
    ui.page_title(f"{tab.book.get(('name',)) or path.name} - tintlab")
    with tag("div", "page"):
        tag("a", "skip", "to the work").props('href="#work"')
        _top(tab)
        complaint = drawn("")
        _rooms(tab)
        with tag("div", "work").props('id="work"'):
            _booth(tab)
            room = tag("div", "room")
    _follow(tab, room, complaint)


def _top(tab: Tab) -> None:
    """Draw the name of the piece, its state, and what can be done with the file."""
    with tag("header", "top"):
        tag("a", "mark", "tintlab").props('href="/list"')
        with tag("h1"):
            name = words(str(tab.book.get(("name",)) or tab.book.path.name))
        with tag("span", "state").props('role="status"'):
            state = words("")
        with tag("div", "tools"):
            press("shelf", lambda: shelf_dialog(tab))
            press("file", lambda: file_dialog(tab))
            undo = press("undo", lambda: _step(tab, "undo"))
            redo = press("redo", lambda: _step(tab, "redo"))
            press("save", lambda: save(tab), kind="main")
    ui.on("tintlab-save", lambda: save(tab))
    ui.on("tintlab-undo", lambda: _step(tab, "undo"))
    ui.on("tintlab-redo", lambda: _step(tab, "redo"))
    shown: dict[str, Any] = {}

    def refresh() -> None:
        book = tab.book
        if shown.get("version") == (book.version, book.dirty):
            return
        shown["version"] = (book.version, book.dirty)
        state.set_text("changed, not saved" if book.dirty else "as saved")
        name.set_text(str(book.get(("name",)) or book.path.name))
        for button, able in ((undo, book.can_undo), (redo, book.can_redo)):
            button.classes(add="" if able else "off", remove="off" if able else "")
            button.props["aria-disabled"] = "false" if able else "true"
        tab.client.run_javascript(f"window.tintlabDirty = {json.dumps(book.dirty)}")

    tab.refresh_top = refresh


def _step(tab: Tab, way: str) -> None:
    tab.change(tab.book.undo if way == "undo" else tab.book.redo)


def save(tab: Tab) -> None:
    """Save the book; when the file was changed meanwhile, ask what to keep."""
    try:
        tab.book.save()
    except ChangedOnDisk as problem:
        _two_versions(tab, str(problem))
        return
    except TintlabError as problem:
        tab.tell(str(problem), wrong=True)
        return
    tab.refresh_top()
    tab.tell(f"saved {tab.book.path.name}")


def _two_versions(tab: Tab, text: str) -> None:
    with ui.dialog() as dialog, tag("div", "shelf"):
        tag("h2", "", "The file was changed elsewhere")
        tag("p", "", text)

        def keep(what: str) -> None:
            dialog.close()
            try:
                if what == "mine":
                    tab.book.save(force=True)
                elif what == "theirs":
                    tab.book.reload()
                else:
                    tab.book.save_as(_beside(tab.book))
            except TintlabError as problem:
                tab.tell(str(problem), wrong=True)
                return
            tab.changed(rebuild=True)
            tab.refresh_top()

        with tag("div", "line"):
            press("save this page's version over it", lambda: keep("mine"))
            press("take the version on disk", lambda: keep("theirs"))
            press("save this one beside it", lambda: keep("beside"), kind="main")
    dialog.value = True


def _beside(book: Book) -> str:
    """Find a free name beside a file."""
    path, root = book.path, book.folder.root
    numbers = (path.with_name(f"{path.stem}-{n}.toml") for n in range(2, 1000))
    return next(p for p in numbers if not p.exists()).relative_to(root).as_posix()


def _rooms(tab: Tab) -> None:
    with tag("nav", "rooms").props('aria-label="rooms"'):
        buttons = {}
        for key, (name, what, _) in ROOMS.items():
            button = tag("button").props('type="button"')
            with button:
                tag("b", "", name)
                tag("span", "", what)
            button.on("click", lambda key=key: go(key))
            buttons[key] = button

    def go(key: str) -> None:
        tab.room = key
        for one, button in buttons.items():
            button.props["aria-current"] = "page" if one == key else "false"
            button.update()
        tab.rebuild()

    tab.go = go
    for one, button in buttons.items():
        button.props["aria-current"] = "page" if one == tab.room else "false"


def _booth(tab: Tab) -> None:
    """Draw the glow beside its target, and how sure that is; always in sight."""

    async def flip(way: str = "toggle") -> None:
        try:
            dark = await tab.client.run_javascript(
                f"document.documentElement.classList.{way}('surround-dark')",
                timeout=PATIENCE,
            )
        except TimeoutError:
            return  # a page that has gone, or hangs
        surround.props["aria-pressed"] = json.dumps(bool(dark))

    def enter(name: str) -> None:
        if name != _room_of(tab):
            tab.put(("view", "room"), name)

    with tag("aside", "booth").props('aria-label="what it looks like"'):
        with tag("div", "sight"):
            window, figures = drawn("", "window-part"), drawn("", "figures-part")
        with tag("div", "line beside"):
            names = tab.book.shelf.names("rooms")
            there = choose("seen in", names, _room_of(tab), enter)
            surround = press("dark surround", flip, on=False)
        with tag("details", "beside"):
            tag("summary", "", "how to judge it")
            tag(
                "p",
                "small",
                "Glow and target meet at the middle line: when it vanishes they match "
                "on this screen. Try the dark and the light surround, and step back. "
                + parts.COLOUR_VISION,
            )

    def paint(view: View) -> None:
        there.set_value(_room_of(tab))
        inset = view.inset
        least = inset.target.min_light_kept if inset.target else 0.0
        window.set_content(parts.viewing(view.now, view.whole, section=view.section))
        figures.set_content(parts.said(view.now, view.whole, least=least))

    tab.booth_painter = paint
    ui.timer(SOON, lambda: flip("contains"), once=True)


def _room_of(tab: Tab) -> str:
    return str(tab.book.get(("view", "room")) or "dark house")


def _follow(tab: Tab, room: Any, complaint: ui.html) -> None:
    """Fill the room, and keep the page in step with the book and the file."""

    def rebuild() -> None:
        tab.painters = [tab.booth_painter]
        room.clear()
        with room:
            if readable(tab):
                ROOMS[tab.room][2](tab)
            else:
                with tag("section", "sheet"):
                    mend(tab)

    shown: dict[str, str] = {}

    def complain(problem: str | None) -> None:
        text = (
            ""
            if problem is None
            else parts.trouble(
                "The file does not read; what you see is its last good state", problem
            )
        )
        if shown.get("problem") != text:
            shown["problem"] = text
            complaint.set_content(text)

    warned: dict[str, bool] = {}

    def disk() -> None:
        if tab.book.vanished() and not warned.get("gone"):
            tab.tell(f"{tab.book.path.name} is gone; saving writes it anew", wrong=True)
        warned["gone"] = tab.book.vanished()
        changed = tab.book.changed_on_disk()
        if changed and not warned.get("said"):
            tab.tell(
                f"{tab.book.path.name} was changed by another program; saving will ask "
                "which version to keep",
                wrong=True,
            )
        warned["said"] = changed

    def tick() -> None:
        tab.follow()
        tab.refresh_top()

    tab.rebuild, tab.problem = rebuild, complain
    if tab.book.note:
        tab.tell(tab.book.note, wrong=True)
    rebuild()
    tab.refresh_top()
    tab.look()
    ui.timer(OFTEN, tick)
    ui.timer(DISK, disk)
