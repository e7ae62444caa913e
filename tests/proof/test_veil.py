"""Room light on the face against closed forms, and the least light against verdicts."""

from dataclasses import replace

import numpy as np
import pytest

from tintlab.colorimetry import spectrum_to_XYZ
from tintlab.errors import ModelError
from tintlab.glow import look
from tintlab.optics import Slab
from tintlab.piece import piece_of
from tintlab.proof import veil
from tintlab.proof.veil import least_light, mirrored, room_light
from tintlab.shelf import shelf_for
from tintlab.verdict import TOO_DIM, predict

WINDOW = """
    {target}
    [inset]
    size = "40 x 60 mm"
    [[light]]
    emitter = "white 4100 K"
    count = 4
    lumens = {lumens}
    [cavity]
    depth = "25 mm"
    wall = "white paint"
    [[layer]]
    kind = "cast"
    medium = "epoxy"
    thickness = "9 mm"
    batch = "50 g"
    finish = "{finish}"
    dyes = [{{ bottle = "blue resin dye", dose = "{drops} drops" }}]
"""
BLUE = """
    [target]
    lab = [60, -20, -35]
    tolerance = {}
"""


@pytest.fixture
def shelf(tmp_path):
    return shelf_for(tmp_path / "piece.toml")


@pytest.fixture
def window(inset_of):
    def make(*, lumens=5.0, target="", finish="polished", drops=1):
        return inset_of(
            WINDOW.format(lumens=lumens, target=target, finish=finish, drops=drops)
        )

    return make


def scene(inset, room):
    piece = piece_of(inset)
    seen = look(inset, room=room, piece=piece)
    return seen, room_light(inset, seen, piece)


# ------------------------------------------------------------------- closed forms


def plate(m, *, n, depth):
    """T and R of a clear dyed plate (Stokes 1862) from the air cosine.

    Each face has the mean reflectance of both polarisations, as `tintlab.optics` takes
    it; polarisations kept apart give 0.5 % more below.
    """
    inner = np.sqrt(1 - (1 - m**2) / n**2)
    r_s = (m - n * inner) / (m + n * inner)
    r_p = (n * m - inner) / (n * m + inner)
    r, t = (r_s**2 + r_p**2) / 2, np.exp(-depth / inner)
    T = (1 - r) ** 2 * t / (1 - r**2 * t**2)
    R = r + r * t**2 * (1 - r) ** 2 / (1 - r**2 * t**2)
    return T, R


@pytest.mark.parametrize("depth", [0.0, 0.4, 1.5])
def test_room_light_is_tinted_twice_by_the_closed_form(window, shelf, depth):
    # enters (T_d), meets the box (rho), the plate again (R_d), leaves head-on (T_0)
    n, rho, hall = 1.5, 0.6, shelf.find("rooms", "hall")
    inset = window()
    piece = replace(
        piece_of(inset),
        slabs=(Slab(index=n, absorbed=depth),),
        bodies=(0,),
        tints=(),
        back=np.full(401, rho),
    )
    seen = look(inset, room=hall, piece=piece)
    x, w = np.polynomial.legendre.leggauss(200)
    m = (x + 1) / 2
    T, R = plate(m, n=n, depth=depth)
    T_d, R_d = (w * m * T).sum(), (w * m * R).sum()
    T_0, _ = plate(np.array(1.0), n=n, depth=depth)
    expected = T_d * T_0 * rho / (1 - rho * R_d)
    assert seen.face == pytest.approx(np.full(401, float(expected)), rel=1e-6)
    light = room_light(inset, seen, piece)
    assert light.unlit[1] == pytest.approx(300 / np.pi * float(expected), rel=1e-6)


def test_four_percent_of_a_white_wall_is_mirrored(window, shelf):
    shade = shelf.find("rooms", "shade")
    piece = replace(piece_of(window()), slabs=(Slab(index=1.5, absorbed=0.0),))
    assert mirrored(shade, piece)[1] == pytest.approx(0.04 * 5000 / np.pi, rel=1e-9)
    lamp = mirrored(shade, piece, factor=300.0)
    assert lamp == pytest.approx(300 * mirrored(shade, piece))


def test_frosted_face_mirrors_nothing(window, shelf):
    hall = shelf.find("rooms", "hall")
    assert scene(window(), hall)[1].mirror[1] > 3
    assert scene(window(finish="frosted"), hall)[1].mirror[1] == 0


# --------------------------------------------------------------------- identities


def test_lit_is_glow_and_veil_and_agrees_with_the_look(window, shelf):
    for name in ("dark house", "hall", "sun"):
        room = shelf.find("rooms", name)
        seen, light = scene(window(), room)
        assert light.lit[1] == pytest.approx(seen.luminance, rel=1e-12)
        assert light.unlit[1] == pytest.approx(seen.face_luminance, rel=1e-12)
        assert light.white[1] == pytest.approx(room.illuminance / np.pi, rel=1e-12)
        assert light.contrast == pytest.approx(seen.luminance / seen.face_luminance)


def test_without_room_light_nothing_veils(window, shelf):
    night = replace(shelf.find("rooms", "dark house"), illuminance=0.0)
    seen, light = scene(window(), night)
    assert light.unlit[1] == 0
    assert light.contrast == np.inf
    assert least_light(window(), seen).luminance == pytest.approx(veil.PHOTOPIC)


# -------------------------------------- the least light against the verdict itself


@pytest.mark.parametrize("room", ["hall", "sun"])
def test_least_light_is_where_too_dim_begins(window, shelf, room):
    target = BLUE.format(60)  # so wide that the colour asks for nothing
    inset, where = window(target=target), shelf.find("rooms", room)
    least = least_light(inset, look(inset, room=where))
    assert least.limit == "veil"
    assert least.within
    for factor, dim in ((0.998, True), (1.002, False)):
        at = window(target=target, lumens=5.0 * least.level * factor)
        assert (predict(at, room=where).verdict == TOO_DIM) is dim


def test_least_light_is_where_the_tolerance_begins(window, shelf):
    where = shelf.find("rooms", "sun")
    own = look(window(), room=shelf.find("rooms", "dark house")).Lab
    tolerance = 1.0
    target = f"""
        [target]
        lab = {[round(float(v), 4) for v in own]}
        tolerance = {tolerance}
    """
    least = least_light(window(target=target), look(window(), room=where))
    assert least.limit == "colour"
    assert least.within
    for factor, within in ((0.99, False), (1.01, True)):
        at = window(target=target, lumens=5.0 * least.level * factor)
        gap = predict(at, room=where).difference
        assert (gap <= tolerance) is within
    assert least.difference == pytest.approx(tolerance, abs=1e-3)


def test_out_of_reach_colour_is_said_and_the_best_is_sought(window, shelf):
    where = shelf.find("rooms", "sun")
    red = BLUE.format(2).replace("-20, -35", "70, 40")
    least = least_light(window(target=red), look(window(), room=where))
    assert least.within is False
    assert least.difference > 20


def test_in_the_dark_the_eye_asks_for_five_candelas(window, shelf):
    where = shelf.find("rooms", "dark house")
    inset = window()
    least = least_light(inset, look(inset, room=where))
    assert least.limit == "dark eye"
    at = window(lumens=5.0 * least.level)
    assert look(at, room=where).luminance == pytest.approx(veil.PHOTOPIC, rel=1e-6)


def test_twice_the_leds_need_half_the_level(window, shelf):
    where = shelf.find("rooms", "shade")
    found = [
        least_light(one, look(one, room=where))
        for one in (window(), window(lumens=10.0))
    ]
    assert found[1].level == pytest.approx(found[0].level / 2, rel=1e-9)
    assert found[1].luminance == pytest.approx(found[0].luminance, rel=1e-9)
    assert found[0].difference is None
    assert found[0].within is None


def test_level_is_over_the_light_of_the_file(window, shelf):
    where = shelf.find("rooms", "hall")
    inset = window()
    seen, light = scene(inset, where)
    least = least_light(inset, seen)
    assert least.luminance == pytest.approx(least.level * light.glow[1], rel=1e-12)
    assert spectrum_to_XYZ(seen.radiance)[1] * 683 == pytest.approx(light.glow[1])


# ------------------------------------------------------------------------- errors


def test_without_a_size_there_are_no_rooms(inset_of, shelf):
    inset = inset_of("""
        [[light]]
        emitter = "white 4100 K"
        lumens = 5
        [[layer]]
        kind = "cast"
        medium = "epoxy"
        thickness = "9 mm"
    """)
    with pytest.raises(ModelError, match="write \\[inset\\] with size"):
        scene(inset, shelf.find("rooms", "hall"))


def test_no_light_at_all_is_said(window, shelf):
    inset, where = window(), shelf.find("rooms", "hall")
    dark = replace(look(inset, room=where), radiance=np.zeros(401))
    with pytest.raises(ModelError, match="lets none out"):
        least_light(inset, dark)
