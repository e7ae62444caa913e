"""Long work in other processes: the spread of an answer, and searches with a stop.

A job is named "module:function" and is imported where it runs, so that the server
starts without what only its searches need.
"""

import asyncio
import importlib
import multiprocessing as mp
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from multiprocessing.context import BaseContext
from pathlib import Path
from typing import Any

from tintlab.errors import OutOfReach, TintlabError
from tintlab.page.child import end_with_parent

Answer = dict[str, Any]
Say = Callable[[str], None]

OFTEN = 0.1  # [s] between looks at what a search has to say
JOBS = "tintlab.page.jobs"
STOPPED = "stopped; nothing was changed"
BROKEN = (
    "the search ended by itself; try once more, and close other programs if memory is "
    "short"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A piece as it stands on the page, saved or not."""

    text: str
    path: Path
    own_shelf: tuple[Path, ...] = ()
    options: dict[str, Any] = field(default_factory=dict)


def start_method() -> BaseContext:
    """Return how processes start: from a clean server where the system has that."""
    methods = mp.get_all_start_methods()
    context = mp.get_context("forkserver" if "forkserver" in methods else "spawn")
    context.set_forkserver_preload([JOBS])
    return context


def job_of(name: str) -> Callable[..., Any]:
    """Import a job of this package by its name, as in "jobs:trim_search"."""
    module, _, function = name.partition(":")
    job: Callable[..., Any] = getattr(
        importlib.import_module(f"tintlab.page.{module}"), function
    )
    return job


def _soon(name: str, asked: Asked) -> Answer:
    """Run a short job; `Workshop.soon` sends it to the process that stays."""
    answer: Answer = job_of(name)(asked)
    return answer


def _child(name: str, asked: Asked, pipe: Connection) -> None:
    """Run a search and send what it says; a maker's mistake is one sentence."""
    end_with_parent()
    try:
        search = job_of(name)
        pipe.send(("done", search(asked, lambda text: pipe.send(("says", text)))))
    except OutOfReach as problem:
        pipe.send(("beyond", str(problem)))
    except TintlabError as problem:
        pipe.send(("wrong", str(problem)))
    finally:
        pipe.close()


class Search:
    """One long search in a process of its own, which can be stopped at any time."""

    def __init__(self, job: str, asked: Asked, context: BaseContext) -> None:
        self._ours, theirs = context.Pipe(duplex=False)
        self._process = context.Process(  # type: ignore[attr-defined]
            target=_child, args=(job, asked, theirs), daemon=True
        )
        self._process.start()
        theirs.close()
        self.stopped = False

    @property
    def running(self) -> bool:
        """Whether it has not ended yet."""
        return bool(self._process.is_alive())

    async def result(self, says: Say) -> Any:
        """Wait for the answer, handing on what the search says meanwhile.

        Raises
        ------
        TintlabError
            As the search raised it, or when its process ended without an answer.
        """
        while True:
            kind, value = await self._heard()
            if kind == "done":
                return value
            if kind == "beyond":
                raise OutOfReach(value)
            if kind == "wrong":
                raise TintlabError(value)
            says(value)

    async def _heard(self) -> tuple[str, Any]:
        """Wait for the next thing that the search sends."""
        while not self._ours.poll():
            if not self._process.is_alive() and not self._ours.poll():
                raise TintlabError(STOPPED if self.stopped else BROKEN)
            await asyncio.sleep(OFTEN)
        try:
            heard: tuple[str, Any] = self._ours.recv()
        except EOFError:
            raise TintlabError(STOPPED if self.stopped else BROKEN) from None
        return heard

    def stop(self) -> None:
        """End the search; nothing of it is kept."""
        self.stopped = True
        if self._process.is_alive():
            self._process.terminate()


class Workshop:
    """The processes of one server: one that stays for spreads, one for each search."""

    def __init__(self) -> None:
        self._context = start_method()
        self._pool: ProcessPoolExecutor | None = None
        self._searches: list[Search] = []

    async def soon(self, job: str, asked: Asked) -> Answer:
        """Run a short job in the process that stays."""
        if self._pool is None:
            self._pool = ProcessPoolExecutor(
                1, mp_context=self._context, initializer=end_with_parent
            )
        # its process starts at the first job, which takes seconds: not in the loop
        try:
            found = await asyncio.to_thread(self._pool.submit, _soon, job, asked)
            return await asyncio.wrap_future(found)
        except BrokenProcessPool:
            self._pool = None
            raise TintlabError(BROKEN) from None

    def search(self, job: str, asked: Asked) -> Search:
        """Start a long search."""
        found = Search(job, asked, self._context)
        self._searches = [*(one for one in self._searches if one.running), found]
        return found

    def close(self) -> None:
        """End every process."""
        for one in self._searches:
            one.stop()
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)
            self._pool = None
