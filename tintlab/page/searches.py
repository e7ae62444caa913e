"""A button for a long search: it says what it does, can be stopped, blocks nothing.

A search and its answer belong to the tab, not to the room: they are still there when
the maker comes back from another room.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from nicegui import background_tasks

from tintlab.errors import TintlabError
from tintlab.page import controls, parts
from tintlab.page.controls import drawn, press, tag
from tintlab.page.tab import Tab
from tintlab.page.work import Search

Options = Callable[[], dict[str, Any]]
Show = Callable[[Any], None]

OLDER = "This was found for the piece as it was before the last change."


@dataclass(slots=True, kw_only=True, eq=False)
class Found:
    """A search of one tab: running, answered, or failed."""

    search: Search | None = None
    says: str = ""
    answer: Any = None
    problem: str = ""
    text: str = ""
    offer: "Offer | None" = None


class Offer:
    """The button of one search, its progress and stop, and room for its answer."""

    def __init__(
        self, tab: Tab, text: str, job: str, options: Options, show: Show
    ) -> None:
        self._tab, self._job, self._options, self._show = tab, job, options, show
        self._found: Found = tab.bench.setdefault(f"search {text} {job}", Found())
        self._found.offer = self
        with tag("div", "line"):
            self._start = press(text, self._begin, kind="main")
            self._stop = press("stop", self._end)
            with tag("span", "quiet small").props('role="status"'):
                self._says = controls.words("")
        self._room = tag("div")
        self.refresh()

    def refresh(self) -> None:
        """Show how the search stands."""
        found = self._found
        if self._room.is_deleted:
            return
        running = found.search is not None
        self._start.set_visibility(not running)
        self._stop.set_visibility(running)
        self._says.set_text(found.says)
        if running:
            return
        self._room.clear()
        with self._room:
            if found.problem:
                drawn(parts.trouble("No answer", found.problem))
            elif found.answer is not None:
                if found.text != self._tab.book.text:
                    tag("p", "small quiet", OLDER)
                self._show(found.answer)

    def _begin(self) -> None:
        found = self._found
        if found.search is not None:
            return
        found.answer, found.problem = None, ""
        try:
            asked = self._tab.asked(**self._options())
        except TintlabError as problem:
            found.problem = str(problem)
            self.refresh()
            return
        self._room.clear()
        found.text, found.says = asked.text, "starting ..."
        found.search = self._tab.workshop.search(self._job, asked)
        self.refresh()
        background_tasks.create(_follow(found, found.search), name=self._job)

    def _end(self) -> None:
        if self._found.search is not None:
            self._found.search.stop()


async def _follow(found: Found, search: Search) -> None:
    """Wait for the answer, whichever room is shown meanwhile."""

    def hear(text: str) -> None:
        found.says = f"{text} ..."
        if found.offer is not None:
            found.offer.refresh()

    try:
        found.answer = await search.result(hear)
    except TintlabError as problem:
        found.problem = str(problem)
    found.search, found.says = None, ""
    if found.offer is not None:
        found.offer.refresh()


def offer(tab: Tab, text: str, job: str, options: Options, show: Show) -> None:
    """Add the button of a search; `show` lays its answer out below."""
    Offer(tab, text, job, options, show)
