"""The command line as a maker types it."""

import json
import subprocess
import sys
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from tintlab import cli_parts
from tintlab.cli import main
from tintlab.report.data import FIELDS

ROOT = Path(__file__).resolve().parents[1]
DEMO = ROOT / "demo" / "tide-bell" / "tide-bell.toml"


def run(*words, **more):
    return CliRunner().invoke(main, [str(w) for w in words], **more)


def commands(group=main, path=()):
    """Yield every command with its words."""
    for name, command in group.commands.items():
        if isinstance(command, click.Group):
            yield (*path, name), command
            yield from commands(command, (*path, name))
        else:
            yield (*path, name), command


# ------------------------------------------------------------------ help


@pytest.mark.parametrize("found", list(commands()), ids=lambda c: " ".join(c[0]))
def test_every_command_has_help_and_an_example(found):
    words, command = found
    text = run(*words, "-h").output
    assert command.help
    assert "Example:" in text
    assert f"tintlab {' '.join(words)}" in text


# the page serves until it is stopped: tests/page/test_server.py starts and stops it
ENDING = [found for found in commands() if found[0] != ("page",)]


@pytest.mark.parametrize("found", ENDING, ids=lambda c: " ".join(c[0]))
def test_every_example_runs(found, tmp_path, monkeypatch):
    _, command = found
    line = command.help.split("Example:")[1].strip().splitlines()[0]
    assert line.startswith("tintlab ")
    argv = [w.strip('"') for w in _split(line)][1:]
    argv = [str(ROOT / w) if w.startswith("demo/") else w for w in argv]
    monkeypatch.chdir(tmp_path)
    done = run(*argv)
    assert done.exit_code == 0, done.output


def _split(line):
    import shlex  # noqa: PLC0415

    return shlex.split(line)


def test_help_needs_no_numpy():
    code = (
        "import sys; from tintlab.cli import main\n"
        "try: main(['--help'])\n"
        "except SystemExit: pass\n"
        "sys.exit('numpy' in sys.modules)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, check=False
    )
    assert done.returncode == 0


# ------------------------------------------------------------------ glow


def test_glow_says_everything():
    text = run("glow", DEMO).output
    for word in (
        *("glow", "face, unlit", "target", "could be", "verdict", "difference"),
        *("light kept", "luminance", "CIELAB", "chromaticity", "why unsure"),
        "Take care",
    ):
        assert word in text, word
    assert max(map(len, text.splitlines())) <= 100
    assert "\x1b" not in text  # no colour codes when piped


def test_json_is_flat_and_documented():
    answer = json.loads(run("glow", DEMO, "--json").output)
    assert list(answer) == list(FIELDS)
    assert answer["verdict"] == "can't tell, chip it"
    low, high = answer["difference_5_95"]
    assert low <= answer["difference"] <= high + 30


def test_rooms_gives_one_answer_a_room():
    answers = json.loads(run("glow", DEMO, "--rooms", "--json").output)
    names = {a["room"] for a in answers}
    assert {"dark house", "stage wash", "gallery", "hall", "shade", "sun"} <= names
    text = run("glow", DEMO, "--rooms").output
    assert all(name in text for name in names)


def test_room_by_name_and_unknown_room():
    assert json.loads(run("glow", DEMO, "--room", "sun", "--json").output)["room"] == (
        "sun"
    )
    done = run("glow", DEMO, "--room", "galery")
    assert done.exit_code == 1
    assert 'did you mean "gallery"?' in done.output


def test_plot_is_a_picture(tmp_path):
    target = tmp_path / "glow.png"
    assert run("glow", DEMO, "--plot", target).exit_code == 0
    assert target.read_bytes().startswith(b"\x89PNG")
    assert target.stat().st_size > 20_000
    assert [p.name for p in tmp_path.iterdir()] == ["glow.png"]


def test_plot_refuses_other_endings_and_bad_folders(tmp_path):
    for name in ("glow.txt", "none/glow.png"):
        done = run("glow", DEMO, "--plot", tmp_path / name)
        assert done.exit_code == 1
        assert done.output.count("\n") == 1


@pytest.mark.filterwarnings("ignore::UserWarning")
def test_room_white_and_other_observers():
    text = run("glow", DEMO, "--white", "room", "--more").output
    assert "room white hue" in text
    assert "ciecam16 Q" in text
    assert "Lab cie 1964 10 degree" in text


def test_terminal_shows_true_colour_and_no_color_is_honoured(monkeypatch):
    import tintlab.cli as cli  # noqa: PLC0415, PLR0402

    class Terminal:
        def isatty(self):
            return True

        def __getattr__(self, name):
            return getattr(sys.__stdout__, name)

    shown = []
    monkeypatch.setattr(
        cli.click, "echo", lambda _text, color=None, **_: shown.append(color)
    )
    monkeypatch.setattr(cli_parts.sys, "stdout", Terminal())
    cli_parts.say("x")
    monkeypatch.setenv("NO_COLOR", "1")
    cli_parts.say("x")
    assert shown == [True, False]


# ------------------------------------------------------------------ mistakes


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('name = "x"\n[[light]]\nemiter = "red"\n', 'x.toml:2: "emitter" is missing'),
        ('name = "x"\n[[light]]\nemitter = "redd"\n', 'did you mean "red"?'),
        ('name = "x"\n', "there is no [[light]]"),
        ("name = \n", "x.toml:1:"),
        ("", "is empty"),
        (
            'name = "x"\n[[light]]\nemitter = "red"\nlumen = 3\n',
            'x.toml:4: "lumen" is not a key of [light]; did you mean "lumens"?',
        ),
    ],
)
def test_a_mistake_is_one_line_and_exit_1(tmp_path, text, says):
    path = tmp_path / "x.toml"
    path.write_text(text, encoding="utf-8")
    done = run("glow", path)
    assert done.exit_code == 1
    assert says in done.output
    assert done.output.startswith("Error: ")
    assert done.output.count("\n") == 1


def test_missing_file():
    done = run("glow", "nowhere.toml")
    assert done.exit_code == 1
    assert "cannot read" in done.output


def test_wrong_option_is_exit_2():
    assert run("glow", DEMO, "--colour").exit_code == 2


# ------------------------------------------------------------------ shelf


def test_shelf_counts_and_lists():
    assert "emitters" in run("shelf", "list").output
    text = run("shelf", "list", "inks").output
    assert "pink ink" in text
    rows = json.loads(run("shelf", "list", "media", "--json").output)
    assert len(rows) >= 12


def test_shelf_search_and_show():
    assert "crystal violet" in run("shelf", "search", "42555").output
    text = run("shelf", "show", "pink ink").output
    assert "label-only" in text
    assert "to raise it" in text
    assert "citation" in text
    assert run("shelf", "search", "unobtainium").exit_code == 1


@pytest.mark.parametrize("name", ["white 4100 K", "crystal violet", "epoxy", "hall"])
def test_shelf_plot(tmp_path, name):
    target = tmp_path / "one.png"
    assert run("shelf", "show", name, "--plot", target).exit_code == 0
    assert target.read_bytes().startswith(b"\x89PNG")


def test_shelf_plot_without_a_spectrum(tmp_path):
    done = run("shelf", "show", "opal sheet", "--plot", tmp_path / "one.png")
    assert done.exit_code == 1
    assert "has no spectrum" in done.output


def test_own_shelf_adds_and_overrides(tmp_path):
    folder = tmp_path / "bottles"
    folder.mkdir()
    (folder / "my-blue.toml").write_text(
        'name = "my blue"\n[source]\ncitation = "own measurement"\n'
        'kind = "measured"\n[bottle]\nhue = "blue"\nstrength = 0.2\n'
        '[[dye]]\nname = "solvent blue 35"\n',
        encoding="utf-8",
    )
    assert "my blue" in run("shelf", "list", "bottles", "--shelf", tmp_path).output
    assert "(yours)" in run("shelf", "list", "bottles", "--shelf", tmp_path).output
    done = run("shelf", "show", "my blue")
    assert done.exit_code == 1
    missing = run("shelf", "list", "--shelf", tmp_path / "none")
    assert missing.exit_code == 1
