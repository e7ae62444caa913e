"""How even a face is, what evens it out, and how it is shown."""

import json
from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from tintlab.cli import main
from tintlab.piece import piece_of
from tintlab.proof.face import FaceMap
from tintlab.proof.map_even import (
    EVEN,
    SPOT,
    evenness_of,
    figures,
    led_places,
    remedy_of,
)
from tintlab.report import data, facing, text
from tintlab.report.facemap import face_figure
from tintlab.verdict import predict

PIECE = """
[inset]
size = "60 x 60 mm"
[[light]]
emitter = "white 4100 K"
lumens = 5
{light}
[cavity]
depth = "{depth} mm"
wall = "{wall}"
{layers}
[[layer]]
kind = "cast"
medium = "epoxy"
thickness = "9 mm"
{zones}
batch = "100 g"
dyes = [{{ dye = "brilliant blue", dose = "0.3 mg" }}]
[target]
hex = "#2fa3c9"
"""
OPAL = '[[layer]]\nkind = "diffuser"\ndiffuser = "opal sheet"\n[[layer]]\nkind = "gap"'


@pytest.fixture
def piece(inset_of):
    def read(light="count = 4", depth=25, wall="white paint", layers=OPAL, zones=""):
        return inset_of(
            PIECE.format(
                light=light, depth=depth, wall=wall, layers=layers, zones=zones
            )
        )

    return read


# ---- identities --------------------------------------------------------------------


def test_figures_by_hand():
    values = np.array([[1.0, 2.0], [3.0, 6.0]])[..., None]
    face = FaceMap(
        spacing=1.0, x=[0, 1], y=[0, 1], inside=[[1, 1], [1, 0.1]], values=values
    )
    least, most, contrast = figures(face, response=0)
    mean = (1 + 2 + 3 + 0.6) / 3.1
    assert (least, most) == pytest.approx((1 / mean, 3 / mean))  # 6 is outside
    assert contrast == pytest.approx((3 - 1) / (3 + 1))


def test_nothing_to_judge_without_a_box(piece):
    assert evenness_of(replace(piece(), cavity=None)) is None
    assert led_places(replace(piece(), cavity=None)) == []


# ---- common practice of the trade ----------------------------------------------------


def test_leds_no_farther_apart_than_the_box_is_deep(piece):
    """Common practice for light boxes: spacing up to the depth shows no spots."""
    many = evenness_of(piece(light="count = 16", depth=15))  # 15 mm apart
    assert not many.hot_spot
    assert many.least > 0.6
    few = evenness_of(piece(light="count = 4", depth=8))  # 30 mm apart
    assert few.hot_spot
    assert not few.even


def test_wide_beams_are_more_even(piece):
    narrow, wide = (
        evenness_of(piece(light=f'count = 4\nbeam = "{beam} deg"'))
        for beam in (40, 120)
    )
    assert narrow.least < wide.least


def test_white_walls_even_out(piece):
    dark, white = (
        evenness_of(piece(wall=wall)).least for wall in ("black paint", "white paint")
    )
    assert dark < white


def test_bare_leds_show_through_a_clear_piece(piece):
    bare = evenness_of(piece(layers=""))
    assert bare.showing
    assert bare.hot_spot
    assert bare.most > 3
    assert not evenness_of(piece()).showing


# ---- remedies do what they say -------------------------------------------------------


def test_the_depth_named_is_the_least_that_is_even(piece):
    inset = piece(light="count = 4", depth=8)
    remedy = remedy_of(inset)
    assert remedy.depth > 8
    at = [
        evenness_of(replace(inset, cavity=replace(inset.cavity, depth=d)))
        for d in (remedy.depth * 1.001, remedy.depth * 0.97)
    ]
    assert at[0].even
    assert not at[1].even
    assert 0 < remedy.depth_light < 1


def test_the_leds_named_make_it_even(piece):
    inset = piece(light='count = 4\npitch = "15 mm"', depth=30)
    remedy = remedy_of(inset)
    assert remedy.leds >= 4
    assert remedy.spacing == pytest.approx(np.sqrt(3600 / remedy.leds))
    light = inset.lights[0]
    more = replace(
        light,
        count=remedy.leds,
        pitch=None,
        lumens=light.lumens * 4 / remedy.leds,
    )
    assert evenness_of(replace(inset, lights=(more,))).even


def test_an_even_face_needs_nothing(piece):
    inset = piece(light="count = 16", depth=40)
    even = evenness_of(inset)
    assert even.least >= EVEN
    assert even.most <= SPOT
    remedy = remedy_of(inset)
    assert (remedy.depth, remedy.leds) == (None, None)
    assert facing.sentence(even, remedy).endswith(": even")


def test_luminance_alone_is_judged_the_same_on_fewer_wavelengths(piece):
    """Every 20 nm against every 1 nm."""
    from tintlab.proof.face import face_map, xyz_responses  # noqa: PLC0415

    inset = piece(depth=12)
    fine = figures(face_map(inset, responses=xyz_responses(), spacing=60 / 40))
    coarse = evenness_of(inset)
    assert (coarse.least, coarse.most) == pytest.approx(fine[:2], rel=5e-3)


# ---- what is shown -------------------------------------------------------------------

ZONES = 'thin = "4 mm"\nthick = "14 mm"'


def test_the_flat_object_has_the_face(piece):
    prediction = predict(piece(zones=ZONES, depth=8))
    over = facing.face_answer(prediction)
    assert over.keys() == facing.FIELDS.keys()
    answer = data.flat(prediction, None, over)
    json.loads(data.as_json(answer))
    assert answer["over_face"]["thin"]["thickness_mm"] == [4.0]
    assert over["thin"]["light"] > 1 > over["thick"]["light"]
    shown = text.glow_text(answer)
    assert "thin zone" in shown
    assert "evenness" in shown
    assert "of depth" in shown


def test_nothing_is_said_of_a_face_nobody_knows(piece):
    prediction = predict(replace(piece(), cavity=None))
    assert facing.face_answer(prediction) is None
    assert "evenness" not in text.glow_text(data.flat(prediction))


def test_sentences_for_every_case(piece):
    spots = piece(depth=8)
    said = facing.sentence(evenness_of(spots), remedy_of(spots))
    assert "hot spots over the LEDs" in said
    bare = piece(layers="")
    said = facing.sentence(evenness_of(bare), remedy_of(bare))
    assert "a denser one, hides" in said
    corner = piece(light="positions = [[-29, -29]]", depth=10, wall="black paint")
    said = facing.sentence(evenness_of(corner), remedy_of(corner))
    assert "LEDs" in said


def test_a_relief_is_told_from_hot_spots(piece):
    steps = np.repeat([0, 255], 20).astype(np.uint8)
    flat = piece(light="count = 16", depth=40)
    relief = np.where(np.tile(steps, (40, 1)) > 0, 3.0, 40.0)
    layer = replace(flat.layers[-1], relief=relief)
    found = evenness_of(replace(flat, layers=(*flat.layers[:-1], layer)))
    assert evenness_of(flat).even
    assert found.relief
    assert not found.even
    assert not found.hot_spot
    said = facing.sentence(found, remedy_of(flat))
    assert "its thin places are brighter" in said


def test_the_map_is_drawn(piece):
    for inset in (
        piece(zones=ZONES),
        piece(layers=""),
        replace(piece(), cavity=None),
    ):
        prediction = predict(inset)
        over = facing.face_answer(prediction)
        figure = face_figure(prediction, data.flat(prediction, None, over), over)
        figure.draw_without_rendering()
        pixels = np.asarray(figure.axes[0].images[0].get_array())
        assert np.isfinite(pixels).all()
        assert pixels[..., 1].mean() > pixels[..., 0].mean()  # dyed a little blue


def test_the_command_draws_the_map(tmp_path, piece):
    inset = piece(zones=ZONES)
    picture = tmp_path / "face.png"
    done = CliRunner().invoke(
        main, ["glow", str(inset.path), "--map", str(picture), "--json"]
    )
    assert done.exit_code == 0, done.output
    with Image.open(picture) as drawn:
        assert drawn.size[0] > 600
    found = json.loads(done.stdout)["over_face"]
    assert found["uniformity"] == pytest.approx(
        evenness_of(inset, piece_of(inset)).least, abs=1e-3
    )


@pytest.mark.parametrize("option", ["--map", "--plot"])
def test_no_picture_is_drawn_over_an_input(tmp_path, inset_of, option):
    mask = tmp_path / "window.png"
    Image.new("L", (6, 6), 255).save(mask)
    before = mask.read_bytes()
    inset = inset_of(
        PIECE.format(
            light="", depth=25, wall="white paint", layers="", zones=""
        ).replace('"60 x 60 mm"', '"60 x 60 mm"\nmask = "window.png"')
    )
    assert inset.pictures == (mask,)
    done = CliRunner().invoke(main, ["glow", str(inset.path), option, str(mask)])
    assert done.exit_code == 1
    assert "choose another name" in done.output
    assert mask.read_bytes() == before


def test_no_map_without_a_size(tmp_path):
    file = tmp_path / "bare.toml"
    file.write_text('name = "x"\n[[light]]\nemitter = "red"\n', encoding="utf-8")
    done = CliRunner().invoke(
        main, ["glow", str(file), "--map", str(tmp_path / "face.png")]
    )
    assert done.exit_code == 1
    assert "whose size is not known" in done.output
    assert not (tmp_path / "face.png").exists()
