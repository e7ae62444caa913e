"""Make: chips that teach what a bottle holds, the proof in a photo, and the card."""

from typing import Any

from tintlab.errors import TintlabError
from tintlab.page import answers, searches
from tintlab.page.chips_page import learning
from tintlab.page.controls import drawn, press, tag
from tintlab.page.folder import put_new
from tintlab.page.papers import card, proof
from tintlab.page.tab import Tab

Table = dict[str, Any]


def build(tab: Tab) -> None:
    """Fill the room."""
    with tag("section", "sheet"):
        tag("h2", "", "Which chips to cast")
        _plan(tab)
    with tag("section", "sheet"):
        tag("h2", "", "Learn from chips")
        learning(tab)
    with tag("section", "sheet"):
        tag("h2", "", "See it in the prop")
        proof(tab)
    with tag("section", "sheet"):
        tag("h2", "", "The bench card")
        card(tab)
    with tag("section", "sheet"):
        tag("h2", "", "On the command line")
        line = drawn("")

        def paint(_: object) -> None:
            line.set_content(answers.command(tab.book.command("glow")))

        tab.painters.append(paint)
        paint(None)


def _plan(tab: Tab) -> None:
    tag(
        "p",
        "quiet small",
        "Of a grid of doses, those chips whose photo narrows the spread of this glow "
        "most; and the one photo to take.",
    )

    def show(answer: Table) -> None:
        drawn(answers.chip_plan(answer))
        press(
            "write the chips file to fill in",
            lambda: _write(tab, answer["file_text"]),
            kind="main",
        )
        drawn(answers.command(tab.book.command("chip plan")))

    searches.offer(tab, "plan the chips", "jobs:chip_plan", dict, show)


def _write(tab: Tab, text: str) -> None:
    path = tab.book.path
    name = path.with_name(f"{path.stem}-chips.toml")
    try:
        put_new(tab.book.folder.inside(name), text.encode("utf-8"))
    except TintlabError as problem:
        tab.tell(str(problem), wrong=True)
        return
    tab.tell(f"wrote {name.name}")
