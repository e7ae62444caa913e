"""The shelf: a plain list with grades, at hand in every room."""

from nicegui import ui

from tintlab.errors import TintlabError
from tintlab.page import answers, parts
from tintlab.page.controls import choose, drawn, press, tag
from tintlab.page.tab import Tab
from tintlab.report import shelves

FIRST = "bottles"


def shelf_dialog(tab: Tab) -> None:
    """Open the list, one kind of material at a time."""

    def fill(kind: str) -> None:
        room.clear()
        with room:
            try:
                rows = shelves.listing(tab.book.shelf, kind)
            except TintlabError as problem:
                drawn(parts.trouble("This kind cannot be listed", str(problem)))
                return
            drawn(answers.shelf_rows(rows))

    with ui.dialog() as dialog, tag("div", "shelf"):
        with tag("div", "line"):
            with tag("div", "grow"):
                tag("h2", "", "On your shelf")
            press("close", dialog.close)
        kinds = [row["kind"] for row in shelves.listing(tab.book.shelf, None)]
        with tag("div", "line"):
            choose("kind", kinds, FIRST, fill)
        room = tag("div")

        fill(FIRST)
    dialog.value = True
