"""The props of the demos: rendered by us, fit for a proof."""

import runpy
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tintlab.proof.photo_file import read_picture
from tintlab.proof.photo_place import places
from tintlab.proof.photo_write import is_ours

DEMO = Path(__file__).resolve().parents[2] / "demo"
PROPS = {  # scenario: mask, number of insets, width over height of the inset
    "tide-bell": ("window.png", 1, 40 / 60),
    "tug-lights": ("lens.png", 1, 1.0),
    "kiln-mask": ("eyes.png", 2, 28 / 18),
}


@pytest.mark.parametrize("name", PROPS)
def test_photo_and_mask_fit(name):
    mask, count, shape = PROPS[name]
    picture = read_picture(DEMO / name / "prop.jpg")
    found = places(str(DEMO / name / mask), size=picture.size)
    assert len(found) == count
    for place in found:
        sides = np.linalg.norm(np.diff(place.corners, axis=0), axis=1)
        assert sides[0] / sides[1] == pytest.approx(shape, rel=0.25)


@pytest.mark.parametrize("name", PROPS)
def test_pictures_are_small_and_marked(name):
    assert (DEMO / name / "prop.jpg").stat().st_size < 150_000
    assert (DEMO / name / "proof.jpg").stat().st_size < 150_000
    assert is_ours(DEMO / name / "proof.jpg")


@pytest.mark.parametrize("name", PROPS)
def test_the_props_are_made_by_the_demo(name, tmp_path):
    mask = PROPS[name][0]
    script = runpy.run_path(str(DEMO / name / "make_prop.py"))
    script["photograph"](script["SCENE"], tmp_path, width=24, height=32, mask=mask)
    with Image.open(tmp_path / "prop.jpg") as small:
        made = np.asarray(small, dtype=float)
        size = small.size
    with Image.open(DEMO / name / "prop.jpg") as large:
        kept = np.asarray(large.resize(size, Image.Resampling.BOX), dtype=float)
    # one ray for a pixel against many: the same picture, but coarser
    assert np.corrcoef(made.ravel(), kept.ravel())[0, 1] > 0.9
