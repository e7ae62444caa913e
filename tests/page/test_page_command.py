"""The command `tintlab page`: what it says, asks and refuses."""

import shutil
import subprocess
import sys
import webbrowser
from pathlib import Path

import pytest
from click.testing import CliRunner

from tintlab import cli_page
from tintlab.cli import main
from tintlab.page import lan, server
from tintlab.page.server import Opened

ROOT = Path(__file__).resolve().parents[2]
OPENED = Opened(
    address="http://127.0.0.1:5/?secret=A",
    once="http://127.0.0.1:5/?secret=B",
    phone=None,
)


@pytest.fixture
def place(tmp_path):
    return Path(shutil.copytree(ROOT / "demo/tide-bell", tmp_path / "tide-bell"))


@pytest.fixture
def served(monkeypatch):
    """Put a stand-in in the place of the server; return what it was asked for."""
    asked = {"unsaved": (), "phone": None, "shown": []}

    def serve(books, *, port, lan, ready):
        asked.update(books=books, port=port, lan=lan)
        phone = f"http://{lan}:5/?secret=A" if lan else None
        ready(Opened(address=OPENED.address, once=OPENED.once, phone=phone))
        for book in books._open:
            book.put(("name",), "other")
        return books.unsaved() if asked["unsaved"] else []

    monkeypatch.setattr(server, "serve", serve)
    monkeypatch.setattr(server, "show", lambda *args: asked["shown"].append(args[0]))
    return asked


def run(*words, **more):
    return CliRunner().invoke(main, ["page", *map(str, words)], **more)


def test_it_opens_the_browser_with_a_key_that_opens_once(served, place):
    done = run(place)
    assert done.exit_code == 0
    assert OPENED.address in done.output
    assert served["shown"] == [OPENED.once]
    assert served["port"] == 0
    assert served["lan"] is None
    assert served["books"].first is None
    assert "stopped" in done.output


def test_no_open_and_a_port(served, place):
    assert run(place / "tide-bell.toml", "--no-open", "--port", 8000).exit_code == 0
    assert served["shown"] == []
    assert served["port"] == 8000
    assert served["books"].first == place / "tide-bell.toml"


def test_without_a_name_the_folder_one_stands_in_is_opened(served, place, monkeypatch):
    monkeypatch.chdir(place)
    assert run("--no-open").exit_code == 0
    assert served["books"].folder.root == place


def test_what_was_not_saved_is_told_and_kept(served, place):
    served["unsaved"] = True
    done = run(place / "tide-bell.toml")
    assert "tide-bell.toml.unsaved" in done.output
    text = (place / "tide-bell.toml.unsaved").read_text(encoding="utf-8")
    assert 'name = "other"' in text


def test_what_cannot_be_kept_is_told():
    assert "could not be kept" in cli_page._not_saved("x.toml", kept=False)


@pytest.mark.parametrize(
    ("words", "status", "says"),
    [
        (["none.toml"], 1, "cannot open"),
        (["--shelf", "none"], 1, "no folder"),
        (["--port", "70000"], 2, "range"),
        (["--port", "x"], 2, "not a valid"),
    ],
)
def test_mistakes_are_one_line(served, place, monkeypatch, words, status, says):
    monkeypatch.chdir(place)
    done = run(*words)
    assert done.exit_code == status
    assert says in done.output
    assert "books" not in served
    assert "Traceback" not in done.output


# ----------------------------------------------------------------------- lan


@pytest.fixture
def network(monkeypatch):
    monkeypatch.setattr(lan, "own_address", lambda: "192.168.1.5")
    monkeypatch.setattr(cli_page, "_asks", lambda: True)


@pytest.mark.usefixtures("network")
@pytest.mark.parametrize("answer", ["n\n", "\n", "no\n"])
def test_lan_asks_and_no_keeps_it_here(served, place, answer):
    done = run(place, "--lan", input=answer)
    assert "not encrypted" in done.output
    assert "It stays on this computer." in done.output
    assert served["lan"] is None
    assert "Scan this" not in done.output


@pytest.mark.usefixtures("network")
def test_lan_shows_the_code_after_a_yes(served, place):
    done = run(place, "--lan", input="y\n")
    assert served["lan"] == "192.168.1.5"
    assert "http://192.168.1.5:5/?secret=A" in done.output
    assert lan.code("http://192.168.1.5:5/?secret=A").count("█") == done.output.count(
        "█"
    )


@pytest.mark.usefixtures("network")
def test_no_answer_is_no(served, place):
    assert run(place, "--lan", input="").exit_code == 1
    assert "books" not in served


def test_lan_without_a_terminal_is_refused(served, place):
    done = run(place, "--lan", input="y\n")  # a pipe may not say yes
    assert done.exit_code == 1
    assert "no terminal to answer it in" in done.output
    assert "books" not in served


def test_a_terminal_without_blocks_shows_the_address(monkeypatch, capsys):
    def small(_):
        raise UnicodeEncodeError("cp1252", "█", 0, 1, "no such character")

    monkeypatch.setattr(lan, "code", small)
    cli_page._show_code("http://192.168.1.5:5/")
    assert "cannot show a code" in capsys.readouterr().out


# ------------------------------------------------------------------- browser


@pytest.mark.parametrize("found", [True, False, webbrowser.Error("none")])
def test_a_missing_browser_is_told(monkeypatch, found):
    def opened(address):
        assert address == OPENED.once
        if isinstance(found, Exception):
            raise found
        return found

    started, failed = [], []
    monkeypatch.setattr(server.webbrowser, "open", opened)
    monkeypatch.setattr(
        server.threading, "Thread", lambda target, **_: _Now(target, started)
    )
    server.show(OPENED.once, lambda: failed.append(1))
    assert started == [1]
    assert failed == ([] if found is True else [1])


class _Now:
    """A thread that is done when it was started."""

    def __init__(self, target, started):
        self.target, self.started = target, started

    def start(self):
        self.started.append(1)
        self.target()


# ------------------------------------------------------------------- missing


@pytest.mark.parametrize("missing", ["nicegui", "segno", "tomlkit"])
def test_without_the_extra_one_line_says_what_to_install(missing):
    code = (
        f"import sys; sys.modules[{missing!r}] = None\n"
        "from tintlab.cli import main\nmain(['page', '--no-open'])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False
    )
    assert done.returncode == 1
    assert done.stderr == (
        f"Error: the page needs {missing}, which is not installed; install it with: "
        "pip install 'tintlab[page]'\n"
    )
