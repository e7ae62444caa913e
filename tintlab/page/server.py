"""The server of the page: one process, on this computer only, as long as it is wanted.

It listens before anything is announced, so that the printed address is right; it ends
with Ctrl-C, and puts what is not saved beside its file.
"""

import asyncio
import contextlib
import logging
import multiprocessing
import signal
import socket
import threading
import webbrowser
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass
from multiprocessing import forkserver
from pathlib import Path

import uvicorn
from fastapi import FastAPI
from nicegui import ui

from tintlab.errors import PageError
from tintlab.page import app as rooms
from tintlab.page.book import Book, Books
from tintlab.page.safety import MOST_BODY, Door, Guard

HERE = "127.0.0.1"
OFTEN = 2.0  # [s] between looks for texts that are not saved
PATIENCE = 1  # [s] for open connections when it ends
LATER = 60.0  # [s] that a page waits for its server, asleep or out of reach
FAVICON = Path(__file__).with_name("favicon.svg")

# A page that lost its server says so; one whose server was started again is told by /,
# which answers 403 for the cookie of the earlier run
STALE = """
<script>
  addEventListener('load', () => {
    if (!window.socket) return;
    let looking = null;
    const look = async () => {
      try {
        const found = await fetch('/', {method: 'HEAD', cache: 'no-store'});
        if (found.status === 403) { window.tintlabDirty = false; location.reload(); }
      } catch {
        const lines = document.querySelectorAll('#popup span');
        lines[0].textContent = 'tintlab does not answer.';
        lines[1].textContent = 'Is “tintlab page” still running in its window? ' +
          'Start it there again; what was not saved is kept and comes back.';
      }
    };
    window.socket.on('disconnect', () => { looking ??= setInterval(look, 2000); });
    window.socket.on('connect', () => { clearInterval(looking); looking = null; });
  });
</script>
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """What is known once the server listens.

    Attributes
    ----------
    address : str
        To open the page on this computer, with its key.
    once : str
        The same, with a key that opens once.
    phone : str or None
        To open it on a phone in the same network, with its key.
    """

    address: str
    once: str
    phone: str | None


def listening(host: str, port: int) -> socket.socket:
    """Return a socket that listens; port 0 takes a free one.

    Raises
    ------
    PageError
        When the port is taken or not allowed.
    """
    opened = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    # take a port that was left a moment ago, but never share one (Windows would)
    exclusive = getattr(socket, "SO_EXCLUSIVEADDRUSE", socket.SO_REUSEADDR)
    opened.setsockopt(socket.SOL_SOCKET, exclusive, 1)
    try:
        opened.bind((host, port))
        opened.listen(128)
    except (OSError, OverflowError) as problem:
        opened.close()
        reason = getattr(problem, "strerror", None) or problem
        raise PageError(
            f"cannot open the page at {host}:{port}: {reason}; leave --port out to "
            "take a free one, or give another"
        ) from None
    return opened


def guarded(books: Books, door: Door) -> Guard:
    """Return the whole application behind its door.

    NiceGUI keeps one application for the process, so this is called once in it.
    """
    outer = FastAPI(
        docs_url=None, redoc_url=None, openapi_url=None, lifespan=_keeping(books)
    )
    ui.add_head_html(STALE, shared=True)
    rooms.register(books)
    ui.run_with(
        outer,
        title="tintlab",
        favicon=FAVICON,
        dark=None,
        language="en-US",
        tailwind=False,
        reconnect_timeout=LATER,
        binding_refresh_interval=None,
        show_welcome_message=False,
    )
    return Guard(outer, door)


def _keeping(
    books: Books,
) -> Callable[[FastAPI], contextlib.AbstractAsyncContextManager[None]]:
    """Return a lifespan in which texts that are not saved are kept beside their files.

    A page can end without a word: a battery, a closed lid, a killed program.
    """

    @contextlib.asynccontextmanager
    async def lifespan(_: FastAPI) -> AsyncIterator[None]:
        async def keep() -> None:
            while True:
                await asyncio.sleep(OFTEN)
                books.keep_unsaved()

        task = asyncio.create_task(keep())
        yield
        task.cancel()
        books.keep_unsaved()
        # what still runs is cut off now, which is no news for anyone
        logging.getLogger("nicegui").setLevel(logging.CRITICAL + 1)

    return lifespan


def serve(
    books: Books,
    *,
    port: int = 0,
    lan: str | None = None,
    ready: Callable[[Opened], None],
) -> list[Book]:
    """Serve the page until it is stopped.

    Parameters
    ----------
    books : Books
    port : int
        0 takes a free one.
    lan : str, optional
        Address on the network to listen at as well.
    ready : callable
        Told how to open the page, once it listens.

    Returns
    -------
    list of Book
        What was not saved.

    Raises
    ------
    PageError
        When the port is taken.
    """
    sockets = [listening(HERE, port)]
    port = sockets[0].getsockname()[1]
    if lan is not None:
        sockets.append(listening(lan, port))
    names = [HERE, "localhost", "[::1]", *([lan] if lan else [])]
    door = Door(hosts=tuple(f"{name}:{port}" for name in names))
    guard = guarded(books, door)
    server = uvicorn.Server(_config(guard))
    if threading.current_thread() is threading.main_thread():
        _start_helpers()
        _end_with_terminal()
    ready(
        Opened(
            address=door.address(),
            once=door.address(key=guard.ticket()),
            phone=door.address(f"{lan}:{port}") if lan else None,
        )
    )
    with contextlib.suppress(KeyboardInterrupt):  # Ctrl-C is how it ends
        server.run(sockets=sockets)
    return books.unsaved()


def _start_helpers() -> None:
    """Start the server of the helping processes, deaf to Ctrl-C, which is for us."""
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        forkserver.ensure_running()
    finally:
        signal.signal(signal.SIGINT, before)


def _end_with_terminal() -> None:
    """Stop in good order too when the terminal's window is closed, or by `kill`."""

    def stop(*_: object) -> None:
        raise KeyboardInterrupt  # uvicorn raises its signals anew when it has ended

    signal.signal(signal.SIGTERM, stop)
    if hasattr(signal, "SIGHUP"):
        signal.signal(signal.SIGHUP, lambda *_: signal.raise_signal(signal.SIGTERM))


def _config(guard: Guard) -> uvicorn.Config:
    logging.getLogger("uvicorn.error").setLevel(logging.CRITICAL)
    logging.getLogger("nicegui").setLevel(logging.ERROR)
    return uvicorn.Config(
        guard,
        log_config=None,
        access_log=False,  # it would hold the secret
        proxy_headers=False,  # no header decides who is asking
        server_header=False,
        ws_max_size=MOST_BODY,
        timeout_graceful_shutdown=PATIENCE,
        lifespan="on",
    )


def show(address: str, failed: Callable[[], None]) -> None:
    """Open the maker's browser; a browser that needs this terminal waits in a thread.

    Parameters
    ----------
    address : str
    failed : callable
        Called when there is no browser to open.
    """

    def opening() -> None:
        try:
            found = webbrowser.open(address)
        except (webbrowser.Error, OSError):
            found = False
        if not found:
            failed()

    threading.Thread(target=opening, daemon=True, name="browser").start()
