"""The demo: a foreign camera's photo gives the hidden strengths back."""

import importlib.util
import json
import shutil

import numpy as np
import pytest
from click.testing import CliRunner
from ladders import DEMO

from tintlab.cli import main
from tintlab.colourants import Bottle
from tintlab.shelf import open_shelf

CHIPS = DEMO / "chips"


@pytest.fixture(scope="module")
def script():
    spec = importlib.util.spec_from_file_location("make", CHIPS / "make_chips.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def run(*words):
    return CliRunner().invoke(main, [str(w) for w in words])


def truth(script, bottle: Bottle, *, drop):
    """Strength by the gram, or by a drop as heavy as the label says."""
    return bottle.strength * script.HIDDEN[bottle.name] * (drop or 1.0)


def test_learn_finds_the_hidden_strengths_within_the_stated_spread(script):
    done = run("chip", "learn", CHIPS / "chips.toml", "--json")
    assert done.exit_code == 0, done.output
    answer = json.loads(done.output)
    assert answer["fits"]
    assert answer["written"] == []
    shelf = open_shelf(DEMO / "shelf")
    for one in answer["learned"]:
        bottle = shelf.find("bottles", one["name"])
        true = truth(script, bottle, drop=script.DROP if one["by_drop"] else None)
        assert one["before_spread"] == 3
        assert one["after_spread"] < 1.6
        assert one["after"] / one["after_spread"] < true
        assert true < one["after"] * one["after_spread"]
        assert one["after_grade"] == "laddered"
    # sea blue's drops were weighed, straw's were not
    assert [one["by_drop"] for one in answer["learned"]] == [False, True]


def test_the_pictures_are_those_of_the_script(script, tmp_path):
    """The hidden strengths make a difference, and nobody touched the pictures."""
    script.main(tmp_path)
    for name in ("chips.jpg", "chips-darker.jpg"):
        made = script.Image.open(tmp_path / name)
        kept = script.Image.open(CHIPS / name)
        difference = np.asarray(made, dtype=float) - np.asarray(kept, dtype=float)
        assert np.abs(difference).mean() < 1.0
    assert (tmp_path / "marks.toml").read_text(encoding="utf-8") == (
        CHIPS / "marks.toml"
    ).read_text(encoding="utf-8")
    assert sum(p.stat().st_size for p in CHIPS.glob("*.jpg")) < 300_000


def test_keep_writes_to_the_bottle_s_shelf_and_says_so(tmp_path):
    shutil.copytree(DEMO, tmp_path / "tide-bell")
    file = tmp_path / "tide-bell" / "chips" / "chips.toml"
    before = json.loads(run("glow", tmp_path / "tide-bell" / "tide-bell.toml",
                            "--json").output)  # fmt: skip
    done = run("chip", "learn", file, "--keep")
    assert done.exit_code == 0, done.output
    assert done.output.count("wrote ") == 2
    after = json.loads(run("glow", tmp_path / "tide-bell" / "tide-bell.toml",
                           "--json").output)  # fmt: skip
    assert np.ptp(after["difference_5_95"]) < np.ptp(before["difference_5_95"])
    again = run("chip", "learn", file, "--keep")
    assert "stands there already" in again.output
    shown = run(
        "shelf", "show", "sea blue", "--shelf", tmp_path / "tide-bell" / "shelf"
    )
    assert "laddered" in shown.output
    assert "own test chips" in shown.output


def test_chips_that_do_not_fit_are_not_written(tmp_path):
    shutil.copytree(DEMO, tmp_path / "tide-bell")
    file = tmp_path / "tide-bell" / "chips" / "chips.toml"
    text = file.read_text(encoding="utf-8").replace('"4 drops"', '"14 drops"')
    file.write_text(text, encoding="utf-8")
    shelf = tmp_path / "tide-bell" / "shelf" / "bottles"
    old = {p.name: p.read_bytes() for p in shelf.iterdir()}
    done = run("chip", "learn", file, "--keep")
    assert done.exit_code == 1
    assert "DO NOT FIT" in done.output
    assert "drop error" in done.output
    assert {p.name: p.read_bytes() for p in shelf.iterdir()} == old


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('file = "chips.jpg"', 'file = "none.jpg"', "none.jpg"),
        ('marks = "marks.toml"', "", '"marks" is missing'),
        ('name = "blue 2"', 'name = "bleu 2"', 'did you mean "blue 2"?'),
        ('second = "chips-darker.jpg"', 'second = "chips.jpg"', "stops shorter"),
    ],
)
def test_mistakes_about_the_photo_are_one_line(tmp_path, old, new, says):
    shutil.copytree(DEMO, tmp_path / "tide-bell")
    file = tmp_path / "tide-bell" / "chips" / "chips.toml"
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new), encoding="utf-8")
    done = run("chip", "learn", file)
    assert done.exit_code == 1
    assert says in done.output
    assert done.output.count("\n") == 1
