"""One browser tab on one book: what it shows, and how it keeps up with the hand.

A move of a slider changes the book's text; a worker thread then looks at the newest
text (moves in between are skipped), and the page repaints from that look. When the hand
rests, the spread and the verdict follow from a process of their own. Other tabs on the
same book notice by its version.
"""

import asyncio
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from nicegui import background_tasks, run, ui

from tintlab.errors import TintlabError
from tintlab.glow import Look
from tintlab.inset import Inset
from tintlab.page.book import Book
from tintlab.page.controls import tell
from tintlab.page.work import Asked, Workshop
from tintlab.piece import Piece, piece_of
from tintlab.report.glance import curves, glance, look_again, section

Answer = dict[str, Any]

REST = 0.25  # [s] without a move, after which the spread is reckoned
DRAG = 1.5  # [s] within which moves of one control are one step to undo


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class View:
    """What one version of the book looks like; `whole` follows with its spread."""

    version: int
    inset: Inset
    now: Answer
    curves: Answer
    section: Answer
    whole: Answer | None = None
    problem: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Sight:
    """One look at an inset: its colours, its curves, its section; and what it saw."""

    now: Answer
    curves: Answer
    section: Answer
    before: tuple[Piece, Look]


def seen(inset: Inset, before: tuple[Piece, Look] | None = None) -> Sight:
    """Look at an inset once, with an earlier look at hand."""
    piece = piece_of(inset)
    view = look_again(inset, piece, before=before)
    return Sight(
        now=glance(inset, view),
        curves=curves(view),
        section=section(inset, piece),
        before=(piece, view),
    )


class Tab:
    """The state of one open page."""

    def __init__(
        self, book: Book, workshop: Workshop, own_shelf: tuple[Path, ...]
    ) -> None:
        self.client = ui.context.client
        self.book = book
        self.workshop = workshop
        self.own_shelf = own_shelf
        self.view: View | None = None
        self.room = "build"
        self.chosen: tuple[Any, ...] | None = None
        self.painters: list[Callable[[View], None]] = []
        self.rebuild: Callable[[], None] = lambda: None
        self.problem: Callable[[str | None], None] = lambda _: None
        self.bench: dict[str, Any] = {}  # what lies in the rooms and in no file
        self.refresh_top: Callable[[], None] = lambda: None
        self.booth_painter: Callable[[View], None] = lambda _: None
        self.go: Callable[[str], None] = lambda _: None
        self._before: tuple[Piece, Look] | None = None
        self._busy = False
        self._wanted = 0
        self._held: tuple[Any, ...] = ()
        self._moved, self._hands = 0.0, 0
        self._built = book.version

    # ------------------------------------------------------------- changing

    def put(self, keys: tuple[Any, ...], value: object, *, drag: bool = False) -> None:
        """Write one value into the book; a drag of one control is one undo step."""
        token = self._token(keys) if drag else ""
        self.change(lambda: self.book.put(keys, value, token=token), rebuild=not drag)

    def remove(self, keys: tuple[Any, ...]) -> None:
        """Take one value out of the book."""
        self.change(lambda: self.book.remove(keys))

    def change(self, what: Callable[[], Any], *, rebuild: bool = True) -> None:
        """Change the book and show it; what cannot be done is said."""
        try:
            what()
        except TintlabError as problem:
            self.tell(str(problem), wrong=True)
        self.changed(rebuild=rebuild)

    def tell(self, text: str, *, wrong: bool = False) -> None:
        """Say something at the foot of the page, whatever became of the button."""
        with self.client:
            tell(text, wrong=wrong)

    def _token(self, keys: tuple[Any, ...]) -> str:
        """Name a movement of the hand: one control, without a rest in between."""
        now = asyncio.get_running_loop().time()
        if keys != self._held or now - self._moved > DRAG:
            self._hands += 1
        self._held, self._moved = keys, now
        return f"{id(self)}-{self._hands}"

    def changed(self, *, rebuild: bool) -> None:
        """Show the newest text; `rebuild` also draws the controls again."""
        if rebuild:
            self.rebuild()
        self._built = self.book.version
        self.look()

    def follow(self) -> None:
        """Notice what another tab has done to the book."""
        if self.book.version != self._built:
            self.changed(rebuild=True)

    def asked(self, **options: Any) -> Asked:
        """Return the piece as it stands, for a search."""
        return Asked(
            text=self.book.text,
            path=self.book.path,
            own_shelf=self.own_shelf,
            options=options,
        )

    # -------------------------------------------------------------- looking

    def look(self) -> None:
        """Repaint soon; the latest text wins."""
        self._wanted += 1
        if not self._busy:
            self._busy = True
            background_tasks.create(self._catch_up(), name="look")

    async def _catch_up(self) -> None:
        try:
            done = 0
            while done != self._wanted:
                done = self._wanted
                await self._look_once()
        finally:
            self._busy = False
        background_tasks.create(self._spread(done), name="spread")

    async def _look_once(self) -> None:
        book = self.book
        version = book.version
        try:
            found = await run.io_bound(_looked, book, self._before)
        except TintlabError as wrong:
            self.problem(str(wrong))
            return
        if found is None or self.client.content.is_deleted:
            return  # the server stops, or the tab was closed
        inset, problem, sight = found
        self.problem(problem)
        if inset is None or sight is None:
            return
        self._before = sight.before
        self._paint(
            View(
                version=version,
                inset=inset,
                now=sight.now,
                curves=sight.curves,
                section=sight.section,
                problem=problem,
            )
        )

    async def _spread(self, wanted: int) -> None:
        await asyncio.sleep(REST)
        view = self.view
        if wanted != self._wanted or view is None or view.problem is not None:
            return
        try:
            whole = await self.workshop.soon("jobs:glow", self.asked())
        except TintlabError as wrong:
            self.problem(str(wrong))
            return
        if wanted == self._wanted and self.view is view:
            self._paint(
                View(
                    version=view.version,
                    inset=view.inset,
                    now=view.now,
                    curves=view.curves,
                    section=view.section,
                    whole=whole,
                )
            )

    def _paint(self, view: View) -> None:
        if self.client.content.is_deleted:
            return
        self.view = view
        for painter in self.painters:
            painter(view)


def _looked(
    book: Book, before: tuple[Piece, Look] | None
) -> tuple[Inset | None, str | None, Sight | None]:
    """Read the newest text and look at it; at the last good one if it does not read."""
    inset = book.inset
    return inset, book.problem, None if inset is None else seen(inset, before)
