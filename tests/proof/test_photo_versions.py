"""The two versions and the exposure card: linear light in, honest pictures out."""

import textwrap
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from tintlab.colorimetry import spectrum_to_XYZ, tables
from tintlab.errors import InsetError
from tintlab.inset import read_inset
from tintlab.proof import eye, photo_light
from tintlab.proof.camera import camera, develop
from tintlab.proof.face import face_map, xyz_responses
from tintlab.proof.photo_exposure import exposure_card, flicker_free
from tintlab.proof.photo_file import Shot, read_picture
from tintlab.proof.photo_place import places
from tintlab.proof.photo_scene import Wish, scene
from tintlab.proof.photo_versions import eye_version, gleaming, phone_version
from tintlab.shelf import shelf_for

PIECE = """
name = "test window"
[inset]
size = "40 x 30 mm"
[[light]]
emitter = "green"
count = 4
lumens = 0.05
[cavity]
depth = "30 mm"
wall = "white paint"
[[layer]]
kind = "diffuser"
diffuser = "frosted film"
[[layer]]
kind = "gap"
[[layer]]
kind = "cast"
medium = "epoxy"
thickness = "6 mm"
batch = "50 g"
[view]
room = "hall"
"""
CORNERS = "60,40 140,40 140,100 60,100"


def quiet(share):
    del share


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Return an inset, its shelf and a function that sets a scene."""
    folder = tmp_path_factory.mktemp("proof")
    file = folder / "piece.toml"
    file.write_text(textwrap.dedent(PIECE), encoding="utf-8")
    shelf = shelf_for(file)
    inset = read_inset(file, shelf)
    random = np.random.default_rng(3)
    codes = random.integers(60, 170, (140, 200, 3)).astype(np.uint8)
    codes[40:100, 60:140] = 0
    Image.fromarray(codes).save(folder / "prop.png")
    picture = read_picture(folder / "prop.png")

    def set_scene(*, photo=picture, corners=CORNERS, room="hall", **wish):
        wanted = Wish(room=shelf.find("rooms", room), **wish)
        return scene(inset, photo, places(corners, size=photo.size), wanted)

    return inset, shelf, picture, set_scene


def without_light(setting):
    """Return a scene whose insets send no light at all."""
    patches = tuple(replace(p, glow=np.zeros_like(p.glow)) for p in setting.patches)
    light = tuple(np.zeros_like(one) for one in setting.light)
    return replace(setting, patches=patches, light=light, exposure=0.0, eye_gain=1.0)


# ----------------------------------------------------------------------- identities


@pytest.mark.parametrize("version", [eye_version, phone_version])
def test_no_light_changes_nothing(made, version):
    _, _, picture, set_scene = made
    out = version(without_light(set_scene()), quiet)
    assert (out == picture.codes).all()  # the inset was black already


@pytest.mark.parametrize("version", [eye_version, phone_version])
def test_a_sixteen_bit_photo_stays_as_it_is(made, version, tmp_path):
    _, _, picture, set_scene = made
    from tintlab.proof.photo_write import encoded  # noqa: PLC0415

    deep = np.random.default_rng(1).integers(9000, 40000, picture.codes.shape)
    deep[40:100, 60:140] = 0
    deep = deep.astype(np.uint16)
    (tmp_path / "deep.png").write_bytes(encoded(deep, picture, note="test"))
    photo = read_picture(tmp_path / "deep.png")
    out = version(without_light(set_scene(photo=photo)), quiet)
    assert out.dtype == np.uint16
    assert (out == deep).all()


def test_half_covered_pixels_are_mixed_as_light(made):
    _, _, picture, set_scene = made
    corners = "60.5,40 140.5,40 140.5,100 60.5,100"
    setting = without_light(set_scene(corners=corners))
    lit = tuple(replace(p, glow=p.glow + np.float32(0.3)) for p in setting.patches)
    out = phone_version(replace(setting, patches=lit), quiet)
    decoded = tables().decoded
    stays = 1 - photo_light.flare_kernel(setting.grid).sum()
    photo = decoded[picture.codes[50:90, 140]]
    assert decoded[out[50:90, 140]] == pytest.approx(
        (photo + 0.3 * stays) / 2, abs=0.005
    )


def test_exposure_scales_linear_light(made):
    _, _, picture, set_scene = made
    setting = replace(without_light(set_scene()), exposure=-1.0)
    out = phone_version(setting, quiet)
    decoded = tables().decoded
    assert decoded[out] == pytest.approx(decoded[picture.codes] / 2, abs=0.004)


def test_the_glow_of_the_map_reaches_the_scene(made):
    inset, _, _, set_scene = made
    setting = set_scene()
    mean = face_map(inset, responses=xyz_responses()).values[..., 1].mean()
    patch = setting.patches[0]
    seen = patch.glow[1][patch.coverage > 0.99].mean() * setting.unit
    assert setting.glow_mean == pytest.approx(seen, rel=0.02)
    assert setting.glow_mean > mean  # the veil comes on top


def test_the_unit_is_the_grey_of_the_room(made):
    _, shelf, picture, set_scene = made
    setting = set_scene()
    outside = np.ones(picture.codes.shape[:2], dtype=bool)
    outside[40:100, 60:140] = False
    Y = tables().decoded[picture.codes] @ tables().rgb_to_XYZ[1]
    room = shelf.find("rooms", "hall")
    grey = 0.18 * room.illuminance / np.pi  # cd/m2 of the mean of the surroundings
    assert setting.unit * Y[outside].mean() == pytest.approx(grey, rel=1e-6)
    assert set_scene(room="gallery").unit == pytest.approx(setting.unit / 2)


def test_a_dark_photo_holds_the_scale(made, tmp_path):
    _, _, picture, set_scene = made
    Image.fromarray(picture.codes // 8).save(tmp_path / "dark.png")
    setting = set_scene(photo=read_picture(tmp_path / "dark.png"))
    assert setting.held
    assert setting.white == 0.5


# ------------------------------------------------------- the versions, second ways


def test_the_phone_develops_what_its_sensor_gets(made):
    inset, _, _, set_scene = made
    setting = set_scene(exposure=-1.0)
    out = phone_version(setting, quiet)
    patch = setting.patches[0]
    used = camera(inset.room.power)
    stays = 1 - photo_light.flare_kernel(setting.grid).sum()
    balanced = patch.glow[3:, 30, 40] * stays * 0.5
    bloom = photo_light.spread_out(
        setting.light[0][3:] * 0.5, photo_light.flare_kernel(setting.grid)
    )
    step = setting.grid.step
    balanced = balanced + bloom[:, 70 // step, 100 // step]
    want = develop(balanced / used.gains, used)
    assert tables().decoded[out[70, 100]] == pytest.approx(want, abs=0.02)


def test_the_phone_clips_and_the_eye_keeps_the_hue(made):
    inset, _, _, set_scene = made
    setting = set_scene(exposure=4.0)
    patch = setting.patches[0]
    XYZ = patch.glow[:3, 30, 40]
    white = spectrum_to_XYZ(inset.room.power)
    degree = eye.degree_of_adaptation(0.2 * 300 / np.pi, surround="average")
    wanted = eye.adapt(XYZ, white_from=white, white_to=tables().white, degree=degree)
    seen = tables().rgb_to_XYZ @ tables().decoded[eye_version(setting, quiet)[70, 100]]
    assert abs(_hue(wanted) - _hue(seen)) < 4
    assert phone_version(setting, quiet)[70, 100].max() == 255


def _hue(XYZ):
    a, b = (eye.OKLAB @ np.cbrt(eye.OKLAB_CONES @ XYZ))[1:]
    return np.degrees(np.arctan2(b, a))


def test_a_brighter_glow_looks_brighter_to_the_eye():
    light = np.array([0.05, 0.5, 0.3])[:, None] * 2.0 ** np.arange(-1, 9)
    shown = gleaming(light.astype("f4"), knee=0.6, to_XYZ=tables().rgb_to_XYZ)
    Y = tables().rgb_to_XYZ[1] @ shown
    assert (np.diff(Y) > 0).all()
    assert shown.max() <= 1


def test_the_eye_leaves_the_photo_alone():
    light = np.random.default_rng(0).uniform(0, 0.6, (3, 500)).astype("f4")
    shown = gleaming(light.copy(), knee=0.6, to_XYZ=tables().rgb_to_XYZ)
    assert shown == pytest.approx(light, abs=1e-6)
    full = light / 0.6
    same = gleaming(full.copy(), knee=1.0, to_XYZ=tables().rgb_to_XYZ)
    assert same == pytest.approx(full, abs=1e-6)


def test_a_meter_keeps_the_mean_of_the_frame(made):
    setting = made[3]()
    Y = tables().decoded[setting.picture.codes] @ tables().rgb_to_XYZ[1]
    added = sum(one[1].sum() for one in setting.light) * setting.grid.step**2
    lit = Y.mean() + added / Y.size
    assert lit * 2.0**setting.exposure == pytest.approx(Y.mean(), rel=1e-3)


# -------------------------------------------------------------------- what is wished


def test_white_balance_turns_the_picture(made):
    _, _, picture, set_scene = made

    def mean(balance):
        setting = without_light(set_scene(balance=balance))
        return phone_version(setting, quiet)[:35].mean(axis=(0, 1))

    grey = picture.codes[:35].mean(axis=(0, 1))
    assert mean("room") == pytest.approx(grey)
    warm, cold = mean(9000.0), mean(2800.0)
    assert warm[0] / warm[2] > 1.1 > cold[0] / cold[2]


def test_automatic_balance_works_against_the_glow(made):
    setting = made[3](balance="auto", exposure=0.0)
    room, auto = setting.camera.gains, setting.set_camera.gains
    # much green light: green is gained less than by the room's white
    assert auto[1] / auto[0] < room[1] / room[0]
    assert auto.min() == pytest.approx(1.0)


def test_mirror_images_on_an_unlit_face_stay(made, tmp_path):
    _, _, picture, set_scene = made
    codes = picture.codes.copy()
    codes[60:66, 90:100] = 230
    Image.fromarray(codes).save(tmp_path / "gloss.png")
    photo = read_picture(tmp_path / "gloss.png")
    plain, gloss = set_scene(), set_scene(photo=photo)
    extra = gloss.patches[0].glow[4] - plain.patches[0].glow[4] * (
        plain.unit / gloss.unit
    )
    assert extra[22, 35] == pytest.approx(tables().decoded[230], abs=0.05)
    assert extra[40, 60] == pytest.approx(0, abs=0.01)
    lit = set_scene(photo=photo, lit=True)
    assert lit.patches[0].glow[4, 22, 35] == pytest.approx(
        lit.patches[0].glow[4, 50, 35], rel=0.2
    )


def test_a_lit_photo_is_not_lit_twice(made, tmp_path):
    _, _, picture, set_scene = made
    codes = picture.codes.copy()
    codes[40:100, 60:140] = 255
    Image.fromarray(codes).save(tmp_path / "lit.png")
    photo = read_picture(tmp_path / "lit.png")
    lit, unlit = set_scene(photo=photo, lit=True), set_scene(photo=photo)
    assert lit.light[0][1].sum() < unlit.light[0][1].sum()


def test_scenes_that_cannot_be(made, tmp_path):
    inset, _, picture, set_scene = made
    Image.fromarray(picture.codes * 0).save(tmp_path / "black.png")
    with pytest.raises(InsetError, match="is black around the inset"):
        set_scene(photo=read_picture(tmp_path / "black.png"))
    with pytest.raises(InsetError, match="whose size is not known"):
        scene(
            replace(inset, size=None),
            picture,
            places(CORNERS, size=picture.size),
            Wish(room=inset.room),
        )


# ----------------------------------------------------------------- the exposure card


def test_at_the_clear_exposure_no_channel_is_full(made):
    setting = made[3]()
    card = exposure_card(setting)
    fill = setting.peak[3:] * 2.0**card.clear
    assert fill.max() <= 1
    assert fill.max() > 2 ** (-1 / 3)  # a third of a stop more would be too much
    assert card.first_full == ("red", "green", "blue")[fill.argmax()]
    assert card.steps[-1].stops == pytest.approx(card.clear)
    assert card.steps[-1].burnt == (0.0, 0.0, 0.0)


def test_the_shutter_follows_the_exposure_data_of_the_photo(made):
    _, _, picture, set_scene = made
    shot = Shot(seconds=1 / 50, aperture=2.8, iso=400)
    card = exposure_card(set_scene(photo=replace(picture, shot=shot)))
    assert card.noted
    assert card.seconds == pytest.approx(2.0**card.clear / 50)
    # 120 N2 / (S t) = 120 * 7.84 / 8 = 117.6 cd/m2 fill the sensor
    assert card.photo_lux == pytest.approx(117.6 * np.pi * set_scene().white, rel=1e-3)


def test_without_exposure_data_the_speed_of_the_standard_is_taken(made):
    setting = made[3]()
    card = exposure_card(setting)
    assert not card.noted
    assert card.photo_lux is None
    # ISO 12232: 78 lx s / 100 = 0.65 L t / 2^2
    full = 0.78 * 4 / (0.65 * setting.unit)
    assert card.seconds == pytest.approx(full * 2.0**card.clear)


def test_burnt_shares_fall_with_the_exposure(made):
    card = exposure_card(made[3](exposure=5.0))
    burnt = np.array([step.burnt for step in card.steps])
    assert burnt[0].max() > 0.9
    assert (np.diff(burnt, axis=0) <= 1e-9).all()


@pytest.mark.parametrize(
    ("longest", "times"),
    [
        (1 / 30, [1 / 120, 1 / 100, 1 / 60, 1 / 50, 1 / 30]),
        (1 / 110, [1 / 120]),
        (1 / 500, []),
    ],
)
def test_shutters_catch_whole_flickers(longest, times):
    assert flicker_free(longest) == pytest.approx(tuple(times))
