"""The strip of rooms: what its pictures must show, and what it says and writes."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tintlab.cautions import BRIGHT
from tintlab.colorimetry import Lab_to_XYZ
from tintlab.errors import TintlabError
from tintlab.glow import look
from tintlab.inset import read_inset
from tintlab.proof import eye
from tintlab.proof.face import face_map, xyz_responses
from tintlab.proof.strip import (
    BODY,
    CARD,
    PROP,
    ROOMS,
    _scene,
    _span,
    five_rooms,
    room_strip,
)
from tintlab.report import strips
from tintlab.report.strip_plot import DPI, GAP, MARGIN, strip_figure
from tintlab.shelf import shelf_for

DEMO = Path(__file__).resolve().parents[2] / "demo" / "tide-bell"
FILE = DEMO / "tide-bell.toml"


@pytest.fixture(scope="module")
def shelf():
    return shelf_for(FILE)


@pytest.fixture(scope="module")
def inset(shelf):
    return read_inset(FILE, shelf)


@pytest.fixture(scope="module")
def strip(inset, shelf):
    return room_strip(inset, five_rooms(inset, shelf), height=100)


@pytest.fixture(scope="module")
def answer(strip):
    return strips.strip_answer(strip)


def view(strip, name):
    return next(one for one in strip.views if one.light.room.name == name)


def grey(codes):
    """Luminance of coded sRGB by the standard's decoding, white at 1."""
    linear = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
    return linear @ (0.2126, 0.7152, 0.0722)


def middle(picture, share=0.2):
    rows, columns = picture.shape[:2]
    i, j = int(rows * share), int(columns * share)
    return picture[rows // 2 - i : rows // 2 + i, columns // 2 - j : columns // 2 + j]


# ------------------------------------------------------------- which rooms, how far


def test_five_rooms_are_those_of_the_shelf_darkest_first(inset, shelf):
    rooms = five_rooms(inset, shelf)
    assert {room.name for room in rooms} == set(ROOMS)
    levels = [room.illuminance for room in rooms]
    assert levels == sorted(levels)


def test_own_room_takes_the_place_of_the_one_alike(inset, shelf):
    gallery = replace(inset, room=shelf.find("rooms", "gallery"))
    names = [room.name for room in five_rooms(gallery, shelf)]
    assert len(names) == 5
    assert "gallery" in names
    assert "hall" not in names


def test_angles_are_those_of_the_distance_in_the_file(strip, inset):
    # 40 x 60 mm from 2 m
    assert not strip.assumed
    assert strip.degrees[0] == pytest.approx(2 * np.degrees(np.arctan(20 / 2000)))
    assert strip.degrees[1] == pytest.approx(1.7187, abs=1e-4)
    near = room_strip(inset, strip_rooms(strip, 1), distance=500.0, height=40)
    assert near.degrees[1] == pytest.approx(6.867, abs=1e-3)
    nowhere = room_strip(
        replace(inset, distance=None), strip_rooms(strip, 1), height=40
    )
    assert nowhere.assumed
    assert nowhere.distance == 2000


def strip_rooms(strip, count):
    return [one.light.room for one in strip.views[:count]]


# ------------------------------------------------------------ what a picture shows


def test_pictures_are_coded_srgb(strip):
    for one in strip.views:
        for picture in (one.lit, one.unlit):
            assert picture.shape == (100, 66, 3)
            assert picture.min() >= 0
            assert picture.max() <= 1


def test_dark_house_is_dark_and_its_window_glows(strip):
    one = view(strip, "dark house")
    assert grey(one.unlit).max() < 0.15
    assert grey(one.unlit)[:, :4].max() < 0.02
    lit = grey(one.lit)
    assert middle(lit).min() > 0.5
    assert np.median(lit[-12:]) < 0.1


def test_brighter_rooms_wash_the_glow_out(strip):
    contrasts = [one.light.contrast for one in strip.views]
    assert contrasts == sorted(contrasts, reverse=True)
    lit = [middle(grey(one.lit)).mean() for one in strip.views]
    unlit = [middle(grey(one.unlit)).mean() for one in strip.views]
    seen = (np.array(lit) + 0.05) / (np.array(unlit) + 0.05)
    assert seen[0] > 8
    assert seen[-1] < 1.6
    assert seen[-1] == seen.min()


def test_unlit_prop_and_card_have_their_own_greys(strip):
    # under daylight of D65 to which the eye is adapted: plain luminance factors
    one = view(strip, "shade")
    light = grey(one.unlit)
    assert light.max() == pytest.approx(CARD, rel=0.01)
    assert np.median(light) == pytest.approx(PROP, rel=0.15)
    row = one.unlit[20, 10:56].mean(axis=0)
    assert np.ptp(row) < 0.01  # neutral


def test_unlit_inset_shows_the_face_of_the_glow_command(strip, inset, shelf):
    # CAT16 to D65 of the unlit face over the room's white; the swatch of "glow"
    face = look(inset, room=shelf.find("rooms", "shade")).face_Lab
    expected = eye.to_display(Lab_to_XYZ(face), white_luminance=1.0)
    found = middle(view(strip, "shade").unlit).mean(axis=(0, 1))
    assert found == pytest.approx(expected, abs=0.02)


def test_drawn_inset_keeps_its_area_and_its_mean_light(strip, inset):
    found = face_map(inset, responses=xyz_responses())
    drawn = _scene(found, _span(inset.size), 200)
    pixel = _span(inset.size) / drawn.inside.shape[0]
    assert drawn.inside.sum() * pixel**2 == pytest.approx(40 * 60, rel=0.01)
    mean = (drawn.inside * drawn.glow).sum(axis=(0, 1)) / drawn.inside.sum()
    assert mean == pytest.approx(view(strip, "hall").light.glow, rel=0.01)


def test_seen_from_very_far_it_still_has_a_picture(inset, strip):
    far = room_strip(inset, strip_rooms(strip, 1), distance=1e8, height=40)
    assert np.isfinite(far.views[0].lit).all()
    assert far.views[0].drowned == 0


def test_lit_inset_in_shade_has_its_luminance_and_hue(strip):
    one = view(strip, "shade")
    codes = middle(one.lit).mean(axis=(0, 1))
    assert codes[1] > codes[2] > codes[0]  # green of blue, as the target
    assert eye.display_share(0.2 * 5000 / np.pi, surround="average") == 1


def test_halo_follows_the_window_not_the_picture(inset, strip):
    rooms = strip_rooms(strip, 1)
    old = room_strip(inset, rooms, age=75.0, height=60).views[0]
    young = room_strip(inset, rooms, age=20.0, height=60).views[0]
    assert old.drowned > young.drowned > 1


def test_room_without_any_light(inset, shelf):
    night = replace(shelf.find("rooms", "dark house"), illuminance=0.0)
    found = room_strip(inset, [night], height=40)
    one = found.views[0]
    assert np.isfinite(one.lit).all()
    assert one.unlit.max() == 0
    assert middle(grey(one.lit)).min() > 0.4
    words = strips.strip_text(strips.strip_answer(found))
    assert "no room light" in words
    assert "glare" not in words


def test_round_and_wide_insets_fit(inset_of, shelf):
    for size in ('size = "200 x 30 mm"', 'diameter = "20 mm"', 'size = "8 x 90 mm"'):
        piece = inset_of(f"""
            [inset]
            {size}
            [[light]]
            emitter = "white 4100 K"
            lumens = 5
            [[layer]]
            kind = "cast"
            medium = "epoxy"
            thickness = "9 mm"
        """)
        one = room_strip(piece, [shelf.find("rooms", "hall")], height=80).views[0]
        lit = grey(one.lit) - grey(one.unlit)
        assert lit[40, 26] > 0.2
        assert lit[:, 0].max() < 0.5 * lit[40, 26]
        assert lit[0].max() < 0.5 * lit[40, 26]
    assert BODY < 1


# ----------------------------------------------------------------- what it says


def test_answer_has_its_fields_and_is_json(answer):
    assert answer.keys() == strips.FIELDS.keys()
    for room in answer["rooms"]:
        assert room.keys() == strips.ROOM_FIELDS.keys()
    assert json.loads(json.dumps(answer, allow_nan=False)) == answer


def test_numbers_are_those_of_the_glow_command(answer, inset, shelf):
    for room in answer["rooms"]:
        seen = look(inset, room=shelf.find("rooms", room["room"]))
        assert room["lit_XYZ"][1] == pytest.approx(seen.luminance, rel=1e-4)
        assert room["unlit_XYZ"][1] == pytest.approx(seen.face_luminance, rel=1e-4)
        low, high = room["least_level_5_95"]
        assert low < room["least_level"] < high


def test_text_says_the_verdict_and_the_least_light_of_each_room(answer):
    text = strips.strip_text(answer)
    assert max(len(row) for row in text.splitlines()) <= 78
    for room in answer["rooms"]:
        assert room["room"] in text
    assert "too dim" in text
    assert "needs 5 times the LED light" in text  # pinned, 2026-11-25: in sun
    assert "reads from" in text
    assert "simulated" in text
    assert "\N{NO-BREAK SPACE}" not in text


def test_a_dazzling_face_has_its_caution(strip, answer):
    assert answer["cautions"] == []
    first = strip.views[0]
    bright = replace(first, light=replace(first.light, glow=first.light.glow * 10))
    louder = strips.strip_answer(replace(strip, views=(bright,)))
    assert louder["cautions"] == [BRIGHT]
    assert "do not look into it" in " ".join(strips.strip_text(louder).split())


def test_whole_numbers_never_turn_into_powers_of_ten(answer):
    room = dict(answer["rooms"][0], contrast=1.2e7, least_level=4321.0)
    assert strips.contrast_words(room) == "12,000,000:1"
    words = strips.strip_text(dict(answer, rooms=[room]))
    assert "4,300 times" in words
    assert "e+" not in words


def test_words_stay_under_their_pictures(strip, answer):
    long = "A very long name of an inset that goes on " * 6
    rooms = [
        dict(room, room=f"room with a long name of its own {i}" * 2)
        for i, room in enumerate(answer["rooms"])
    ]
    wordy = dict(answer, name=long, rooms=rooms)
    figure = strip_figure(
        strip, strips.captions(wordy), strips.title(wordy), strips.footer(wordy)
    )
    width, height = figure.get_size_inches() * DPI
    drawn = figure.canvas.get_renderer()
    boxes = [text.get_window_extent(drawn) for text in figure.texts]
    for box in boxes:
        assert box.x0 >= MARGIN - 2
        assert box.x1 <= width
        assert box.y0 >= 0
        assert box.y1 <= height
    pair = 2 * strip.views[0].lit.shape[1] + 2
    columns = [MARGIN + i * (pair + GAP) for i in range(5)]
    for text, box in zip(figure.texts, boxes, strict=True):
        at = min(columns, key=lambda left, x=box.x0: abs(left - x))
        whole = text.get_text() in f"{strips.title(wordy)} {strips.footer(wordy)}"
        assert whole or box.x1 < at + pair + GAP
    for i, a in enumerate(boxes):
        assert not any(
            a.x0 < b.x1 and b.x0 < a.x1 and a.y0 + 1 < b.y1 and b.y0 + 1 < a.y1
            for b in boxes[i + 1 :]
        )


# --------------------------------------------------------------- what it writes


def test_picture_is_written_whole_and_says_that_it_is_simulated(
    strip, inset, shelf, tmp_path, monkeypatch
):
    monkeypatch.setattr(strips, "room_strip", lambda *_, **__: strip)
    path = tmp_path / "rooms.png"
    told = strips.write_strip(inset, shelf, path)
    assert told[0].startswith("Tide bell window, seen from 2 m")
    with Image.open(path) as picture:
        assert "simulated" in picture.info["Description"]
        assert picture.size[0] > 600
    strips.write_strip(inset, shelf, path)  # over its own kind
    assert [one.name for one in tmp_path.iterdir()] == ["rooms.png"]


@pytest.mark.parametrize(
    ("name", "words"),
    [("rooms.jpg", "ends in"), ("none/rooms.png", "does not exist"),
     ("art.png", "no simulated picture")],
)  # fmt: skip
def test_places_that_are_refused_before_work_begins(
    inset, shelf, tmp_path, monkeypatch, name, words
):
    monkeypatch.setattr(strips, "room_strip", lambda *_, **__: pytest.fail("worked"))
    art = tmp_path / "art.png"
    Image.new("RGB", (20, 20), "red").save(art)
    before = art.read_bytes()
    with pytest.raises(TintlabError, match=words):
        strips.write_strip(inset, shelf, tmp_path / name)
    assert art.read_bytes() == before
    assert [one.name for one in tmp_path.iterdir()] == ["art.png"]


def test_without_a_size_there_is_no_strip(inset_of, shelf):
    piece = inset_of("""
        [[light]]
        emitter = "white 4100 K"
        lumens = 5
        [[layer]]
        kind = "cast"
        medium = "epoxy"
        thickness = "9 mm"
    """)
    with pytest.raises(TintlabError, match="size"):
        room_strip(piece, [shelf.find("rooms", "hall")])


@pytest.mark.parametrize("distance", [1e-3, 20.0])
def test_too_near_to_see_the_whole(inset, shelf, distance):
    with pytest.raises(TintlabError, match="larger distance"):
        room_strip(inset, [shelf.find("rooms", "hall")], distance=distance)


def test_demo_picture_is_the_demos_own():
    path = DEMO / "rooms.png"
    assert path.stat().st_size < 200_000
    with Image.open(path) as picture:
        assert "simulated" in picture.info["Description"]
