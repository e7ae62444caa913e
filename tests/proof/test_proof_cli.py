"""The command `proof`, as a maker runs it."""

import json
import os
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from tintlab.cli import main

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "demo/tug-lights/tug-lights-cyan-led.toml"
CORNERS = "60,40 140,40 140,100 60,100"


@pytest.fixture
def photo(tmp_path, monkeypatch):
    """Save a photo in a folder of its own and go there."""
    monkeypatch.chdir(tmp_path)
    codes = np.random.default_rng(3).integers(60, 170, (140, 200, 3)).astype(np.uint8)
    Image.fromarray(codes).save(tmp_path / "prop.jpg")
    return tmp_path / "prop.jpg"


def run(*words):
    return CliRunner().invoke(main, ["proof", *map(str, words)])


def refused(*words):
    done = run(*words)
    assert done.exit_code == 1, done.output
    assert done.stderr.count("\n") == 1
    assert done.stderr.startswith("Error: ")
    return done.stderr


def test_two_pictures_and_a_card(photo):
    done = run(DEMO, "--photo", photo, "--inset", CORNERS, "--pair", "pair.png")
    assert done.exit_code == 0, done.output
    for word in ("exposure card", "burnt out", "flicker", "simulated pictures"):
        assert word in done.output
    assert sorted(p.name for p in photo.parent.iterdir()) == [
        *("pair.png", "prop-eye.jpg", "prop-phone.jpg", "prop.jpg")
    ]
    with Image.open("prop-eye.jpg") as image:
        assert image.size == (200, 140)
    assert run(DEMO, "--photo", photo, "--inset", CORNERS).exit_code == 0  # again
    assert max(map(len, done.output.splitlines())) <= 100


def test_json_is_flat_and_complete(photo):
    done = run(DEMO, "--photo", photo, "--inset", CORNERS, "--json", "-o", "show")
    found = json.loads(done.stdout)
    assert found["files"]["eye"] == "show-eye.jpg"
    assert found["steps"][-1]["burnt"] == [0, 0, 0]
    assert found["clear_exposure"] <= found["steps"][0]["stops"]
    assert found["room"] == "dark house"
    assert Path("show-phone.jpg").exists()


def test_options_reach_the_picture(photo):
    words = (DEMO, "--photo", photo, "--inset", CORNERS, "--json")
    found = json.loads(
        run(*words, "--exposure", "-2.5", "--balance", "4500K", "--room", "hall").stdout
    )
    assert found["exposure"] == -2.5
    assert not found["exposure_automatic"]
    assert found["balance"] == 4500
    assert found["room"] == "hall"
    assert run(*words, "--balance", "auto", "--lit").exit_code == 0


def test_rooms_are_drawn(photo):
    tide = ROOT / "demo/tide-bell/tide-bell.toml"
    done = run(tide, "--rooms", "strip.png")
    assert done.exit_code == 0, done.output
    assert "dark house" in done.output
    with Image.open("strip.png") as image:
        assert image.width > image.height
    own = photo.parent / "own.toml"
    own.write_text(tide.read_text(encoding="utf-8"), encoding="utf-8")
    words = (own, "--shelf", tide.parent / "shelf", "--rooms", own)
    assert "would destroy the inset file" in refused(*words)


def test_wrong_command_lines(photo):
    assert run(DEMO).exit_code == 2
    assert run(DEMO, "--photo", photo).exit_code == 2
    words = (DEMO, "--photo", photo, "--inset", CORNERS)
    assert run(*words, "--rooms", "a.png").exit_code == 2
    done = run(DEMO, "--photo", photo, "--inset", CORNERS, "--balance", "warm")
    assert done.exit_code == 2
    assert "like 4500K" in done.output


def test_mistakes_get_one_line(photo, tmp_path):
    assert "outside the photo" in refused(
        DEMO, "--photo", photo, "--inset", "60,40 400,40 140,100 60,100"
    )
    assert "cannot read the photo" in refused(
        DEMO, "--photo", "none.jpg", "--inset", CORNERS
    )
    assert "neither a picture nor corners" in refused(
        DEMO, "--photo", photo, "--inset", "none.png"
    )
    assert "between 1500 and 25000 K" in refused(
        DEMO, "--photo", photo, "--inset", CORNERS, "--balance", "900"
    )
    assert "does not exist" in refused(
        DEMO, "--photo", photo, "--inset", CORNERS, "-o", tmp_path / "no" / "x"
    )
    assert [p.name for p in photo.parent.iterdir()] == ["prop.jpg"]


def test_a_photo_is_solid_where_it_glows(photo, tmp_path):
    """Clear elsewhere is fine: the prop may be cut out."""
    with Image.open(photo) as image:
        whole = image.convert("RGBA")
    alpha = np.zeros((140, 200), dtype=np.uint8)
    whole.putalpha(Image.fromarray(alpha))
    whole.save("clear.png")
    assert "transparent where" in refused(
        DEMO, "--photo", "clear.png", "--inset", CORNERS
    )
    assert not list(tmp_path.glob("*-eye*"))
    alpha[30:110, 50:150] = 255
    whole.putalpha(Image.fromarray(alpha))
    whole.save("cut.png")
    assert run(DEMO, "--photo", "cut.png", "--inset", CORNERS).exit_code == 0


def test_a_grey_mask_and_no_number_of_stops_are_refused(photo):
    mask = np.zeros((140, 200), dtype=np.uint8)
    mask[40:100, 60:140] = 100
    Image.fromarray(mask).save("grey.png")
    assert "paint the inset white" in refused(
        DEMO, "--photo", photo, "--inset", "grey.png"
    )
    words = (DEMO, "--photo", photo, "--inset", CORNERS, "--exposure", "nan")
    assert run(*words).exit_code == 2


def test_no_input_is_written_over(photo):
    before = photo.read_bytes()
    words = (DEMO, "--photo", photo, "--inset", CORNERS)
    assert "would destroy a file that is read" in refused(*words, "--pair", photo)
    Image.new("L", (200, 140)).save("mask.png")
    Path("prop-eye.jpg").write_bytes(before)
    assert "is no simulated picture" in refused(*words)
    assert Path("prop-eye.jpg").read_bytes() == before
    assert not Path("prop-phone.jpg").exists()


@pytest.mark.skipif(os.name == "nt" or os.geteuid() == 0, reason="root may write all")
def test_a_folder_that_cannot_be_written_to(photo, tmp_path):
    folder = tmp_path / "locked"
    folder.mkdir(mode=0o500)
    words = (DEMO, "--photo", photo, "--inset", CORNERS, "-o", folder)
    assert "choose another folder" in refused(*words)
