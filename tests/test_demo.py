"""Every demo runs, and shows what it is there to show."""

import json
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from tintlab.cli import main

DEMO = Path(__file__).resolve().parents[1] / "demo"
FILES = sorted(DEMO.glob("*/*.toml"))


def answer(file):
    done = CliRunner().invoke(main, ["glow", str(DEMO / file), "--json"])
    assert done.exit_code == 0, done.output
    return json.loads(done.output)


@pytest.mark.parametrize("file", FILES, ids=lambda p: p.stem)
def test_demo_runs_and_says_that_it_is_invented(file):
    assert "invented" in file.read_text(encoding="utf-8")
    answer(file)


def test_there_are_three_scenarios():
    assert {p.parent.name for p in FILES} == {"tide-bell", "tug-lights", "kiln-mask"}


def test_tide_bell_cannot_be_told_before_a_chip():
    found = answer("tide-bell/tide-bell.toml")
    assert found["verdict"] == "can't tell, chip it"
    assert found["difference"] < 5
    assert found["causes"][0]["label"] == "strength of sea blue"


def test_tug_lights_start_from_the_right_led():
    white = answer("tug-lights/tug-lights.toml")
    cyan = answer("tug-lights/tug-lights-cyan-led.toml")
    assert white["difference"] < 0
    assert cyan["difference"] < 0
    assert cyan["within"] > white["within"]
    assert cyan["light_kept"] > 2 * white["light_kept"]


def test_kiln_mask_turns_redder_with_depth():
    thin = answer("kiln-mask/ember-thin.toml")
    thick = answer("kiln-mask/ember-thick.toml")
    assert thick["dominant_wavelength"] > thin["dominant_wavelength"] + 5
    assert thick["light_kept"] < thin["light_kept"]


# ------------------------------------------------------------------ the README

README = (DEMO.parent / "README.md").read_text(encoding="utf-8")


def test_readme_shows_the_real_output():
    shown = README.split("```text\n")[1].split("\n```")[0]
    done = CliRunner().invoke(main, ["glow", str(DEMO / "tide-bell/tide-bell.toml")])
    assert shown in done.output


def test_readme_quotes_the_real_file():
    file = (DEMO / "tide-bell/tide-bell.toml").read_text(encoding="utf-8")
    quoted = README.split("```toml\n")[1].split("\n```")[0]
    lines = set(file.splitlines())
    assert all(line in lines for line in quoted.splitlines() if line.strip())


def test_readme_names_every_command():
    import test_cli  # noqa: PLC0415

    for words, command in test_cli.commands():
        if not isinstance(command, click.Group):
            assert f"`tintlab {' '.join(words)}" in README
