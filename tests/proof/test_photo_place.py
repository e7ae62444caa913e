"""Where the inset is: corners, masks, perspective."""

import numpy as np
import pytest
from PIL import Image, ImageDraw

from tintlab.errors import InsetError
from tintlab.proof.photo_place import homography, places, quadrilateral

SIZE = (200, 150)


@pytest.fixture
def mask(tmp_path):
    """Return a function that paints a mask picture and gives its name."""

    def paint(*shapes, size=SIZE, mode="L", name="mask.png"):
        image = Image.new(mode, size)
        draw = ImageDraw.Draw(image)
        white = {"L": 255, "RGB": (255,) * 3, "1": 1, "RGBA": (255,) * 4}[mode]
        for kind, points in shapes:
            getattr(draw, kind)(points, fill=white)
        image.save(tmp_path / name)
        return str(tmp_path / name)

    return paint


# ----------------------------------------------------------------------- homography


def test_four_corners_go_where_they_should():
    source = np.array([(0, 0), (4, 0), (4, 6), (0, 6)])
    target = np.array([(10, 12), (50, 20), (47, 80), (12, 70)])
    H = homography(source, target)
    mapped = np.c_[source, np.ones(4)] @ H.T
    assert mapped[:, :2] / mapped[:, 2:] == pytest.approx(target)


def test_the_middle_goes_to_the_crossing_of_the_diagonals():
    target = np.array([(10.0, 12.0), (50.0, 20.0), (47.0, 80.0), (12.0, 70.0)])
    H = homography([(-1, -1), (1, -1), (1, 1), (-1, 1)], target)
    a, c, b, d = target[0], target[2], target[1], target[3]
    system = np.stack([c - a, b - d], axis=1)
    share, _ = np.linalg.solve(system, b - a)
    u, v, w = H @ (0, 0, 1)
    assert (u / w, v / w) == pytest.approx(tuple(a + share * (c - a)))


def test_a_known_camera_is_found_again():
    # a plane that recedes: (x, y, z = x / 2) seen from 10 away, focal length 10
    def seen(x, y):
        return 10 * x / (10 + x / 2), 10 * y / (10 + x / 2)

    corners = [(-2, -3), (2, -3), (2, 3), (-2, 3)]
    H = homography(corners, [seen(*c) for c in corners])
    u, v, w = H @ (0.7, -1.3, 1)
    assert (u / w, v / w) == pytest.approx(seen(0.7, -1.3))


# -------------------------------------------------------------------------- corners


def test_corners_may_run_either_way():
    one = places("20,30 120,35 115,110 22,100", size=SIZE)[0]
    other = places("20,30 22,100 115,110 120,35", size=SIZE)[0]
    assert one.corners == pytest.approx(other.corners)
    assert not one.fitted


def test_coverage_is_the_area_of_the_polygon():
    place = places("20.25,30.5 120.75,35.1 115.3,110.8 22.6,100.2", size=SIZE)[0]
    x, y = place.corners.T
    area = abs((x * np.roll(y, -1) - np.roll(x, -1) * y).sum()) / 2
    assert place.coverage.sum() == pytest.approx(area, rel=1e-4)


def test_the_edge_is_shared_between_pixels():
    place = places("20.5,30.5 60.5,30.5 60.5,70.5 20.5,70.5", size=SIZE)[0]
    assert place.coverage[20, 0] == pytest.approx(0.5, abs=1e-6)
    assert place.coverage[0, 20] == pytest.approx(0.5, abs=1e-6)
    assert place.coverage[0, 0] == pytest.approx(0.25, abs=1e-6)
    assert place.coverage[20, 20] == 1


@pytest.mark.parametrize(
    ("corners", "words"),
    [
        ("20,30 120,35", "fewer than three corners"),
        ("20,30 120,35 115,1000 22,100", "outside the photo of 200 x 150"),
        ("20,30 -3,35 115,100 22,100", "corner -3,35 lies outside"),
        ("20,30 120,110 120,35 22,100", "crosses itself"),
        ("20,30 120,35 120,35 22,100", "crosses itself"),
        ("20,30 120,35 60,60 22,100", "have a dent"),
        ("20,30 21,30 21,31 20,31", "less than 16 pixels"),
        ("20,30 60,30 100,30 140,30", "crosses itself"),
        ("20,30 90,120 160,30 40,90 150,100 30,40", "crosses itself"),
    ],
)
def test_corners_that_cannot_be(corners, words):
    with pytest.raises(InsetError, match=words):
        places(corners, size=SIZE)


def test_more_corners_are_an_outline():
    place = places("60,20 100,40 110,80 60,110 20,80 25,40", size=SIZE)[0]
    assert place.fitted
    assert place.outlined
    inside = np.array([60, 65])
    edges = np.roll(place.corners, -1, axis=0) - place.corners
    turns = edges[:, 0] * (inside - place.corners)[:, 1]
    turns -= edges[:, 1] * (inside - place.corners)[:, 0]
    assert (turns > 0).all()


# ---------------------------------------------------------------------------- masks


def test_a_tilted_rectangle_is_found_in_a_mask(mask):
    corners = [(40, 30), (140, 50), (128, 110), (28, 90)]
    place = places(mask(("polygon", corners)), size=SIZE)[0]
    assert place.fitted
    assert place.corners == pytest.approx(np.array(corners), abs=1.6)


def test_a_round_mask_is_upright(mask):
    place = places(mask(("ellipse", (50, 40, 110, 80))), size=SIZE)[0]
    assert place.corners[0] == pytest.approx([50, 40], abs=1)
    assert place.corners[2] == pytest.approx([111, 81], abs=1)


def test_every_island_is_an_inset(mask):
    name = mask(("rectangle", (20, 40, 70, 80)), ("rectangle", (120, 40, 170, 80)))
    found = places(name, size=SIZE)
    assert [p.left for p in found] == [20, 120]


def test_specks_of_a_mask_are_left_out(mask):
    name = mask(("rectangle", (20, 40, 120, 120)), ("rectangle", (160, 40, 162, 42)))
    assert len(places(name, size=SIZE)) == 1


@pytest.mark.parametrize("mode", ["L", "RGB", "1", "RGBA"])
def test_masks_of_any_kind(mask, mode):
    place = places(mask(("rectangle", (20, 40, 69, 79)), mode=mode), size=SIZE)[0]
    assert place.coverage.shape == (40, 50)
    assert (place.coverage == 1).all()


def test_deep_grey_masks(tmp_path):
    values = np.zeros(SIZE[::-1], dtype=np.uint16)
    values[40:80, 20:70] = 65535
    values[39, 20:70] = 32768
    Image.fromarray(values).save(tmp_path / "deep.png")
    place = places(str(tmp_path / "deep.png"), size=SIZE)[0]
    assert place.coverage[0, 0] == pytest.approx(0.5, abs=1e-3)


def test_masks_that_cannot_be(mask, tmp_path):
    with pytest.raises(
        InsetError, match=r"has 100 x 90 pixels, the photo .* 200 x 150"
    ):
        places(mask(("rectangle", (20, 40, 70, 80)), size=(100, 90)), size=SIZE)
    with pytest.raises(InsetError, match="has no white area"):
        places(mask(), size=SIZE)
    with pytest.raises(InsetError, match="white nearly everywhere"):
        places(mask(("rectangle", (0, 0, 200, 150))), size=SIZE)
    with pytest.raises(InsetError, match="neither a picture nor corners"):
        places(str(tmp_path / "none.png"), size=SIZE)
    (tmp_path / "bad.png").write_bytes(b"no picture")
    with pytest.raises(InsetError, match="no picture that we can read"):
        places(str(tmp_path / "bad.png"), size=SIZE)


def test_few_points_get_their_box():
    assert quadrilateral([(0, 0), (4, 0), (2, 3)]).shape == (4, 2)
