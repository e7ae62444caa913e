"""A served page and a real browser for tests and benchmarks; nothing here is a test."""

import contextlib
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import urlsplit

from playwright.sync_api import Browser, Page, sync_playwright

DEMO = Path(__file__).resolve().parents[2] / "demo"
NAMES = ("chromium", "chromium-browser", "google-chrome")


def found() -> str | None:
    """Path of a Chromium on this computer, or None."""
    return next((path for name in NAMES if (path := shutil.which(name))), None)


@contextlib.contextmanager
def chromium() -> Iterator[Browser]:
    """Start Chromium without a window."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path=found(), args=["--no-sandbox"]
        )
        yield browser
        browser.close()


@dataclass
class Server:
    """A running "tintlab page"."""

    process: subprocess.Popen
    address: str
    said: list[str] = field(default_factory=list)


@contextlib.contextmanager
def served(path: Path, *options: str) -> Iterator[Server]:
    """Run "tintlab page" on a file or folder, and stop it as Ctrl-C does."""
    command = [sys.executable, "-m", "tintlab", "page", str(path), "--no-open"]
    process = subprocess.Popen(
        [*command, *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        encoding="utf-8",
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    said = []
    for line in process.stdout:
        said.append(line)
        if "http://" in line:
            break
    else:
        raise AssertionError("".join(said))
    server = Server(process=process, address=said[-1].strip(), said=said)
    try:
        yield server
    finally:
        process.send_signal(signal.SIGINT)
        try:
            server.said.append(process.communicate(timeout=15)[0])
        except subprocess.TimeoutExpired:
            process.kill()
            raise


@dataclass
class Watched:
    """A page and everything that went wrong or went out on it."""

    page: Page
    errors: list[str] = field(default_factory=list)
    hosts: set[str] = field(default_factory=set)


def watched(page: Page) -> Watched:
    """Listen to the console, to script errors and to every request of a page."""
    seen = Watched(page=page)

    def console(message: object) -> None:
        if message.type in ("error", "warning"):
            seen.errors.append(message.text)

    def request(one: object) -> None:
        parts = urlsplit(one.url)
        if parts.scheme not in ("data", "blob"):
            seen.hosts.add(parts.hostname or one.url)

    page.on("console", console)
    page.on("pageerror", lambda problem: seen.errors.append(str(problem)))
    page.on("request", request)
    page.on("websocket", lambda one: seen.hosts.add(urlsplit(one.url).hostname))
    return seen
