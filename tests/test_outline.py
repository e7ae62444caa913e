"""Outlines, masks, relief maps and LED places, as a maker writes and draws them."""

import numpy as np
import pytest
from PIL import Image

from tintlab.errors import InsetError
from tintlab.inset import shapes
from tintlab.piece import led_positions, piece_of

L_SHAPE = np.array([[0, 0], [40, 0], [40, 20], [20, 20], [20, 60], [0, 60]], float)
BOX = """
    [inset]
    {outline}
    [[light]]
    emitter = "white 4100 K"
    lumens = 5
    {light}
    [cavity]
    depth = "20 mm"
    wall = "white paint"
    [[layer]]
    kind = "diffuser"
    diffuser = "opal sheet"
    [[layer]]
    kind = "gap"
    [[layer]]
    kind = "cast"
    medium = "epoxy"
    {thickness}
"""


@pytest.fixture
def box(inset_of):
    """Return a function that reads a lit box with some lines of its own."""

    def read(outline='size = "40 x 60 mm"', light="", thickness='thickness = "9 mm"'):
        return inset_of(BOX.format(outline=outline, light=light, thickness=thickness))

    return read


def draw(path, values):
    """Save grey values, 0 to 1, as a 16-bit picture."""
    codes = np.round(np.asarray(values) * 65535).astype(np.uint16)
    Image.fromarray(codes).save(path)


# ---- identities and closed forms of plane shapes -----------------------------------


def test_area_and_girth_by_hand():
    assert shapes.area(shapes.rectangle(40, 60)) == 2400
    assert shapes.girth(shapes.rectangle(40, 60)) == 200
    assert shapes.area(L_SHAPE) == 40 * 20 + 20 * 40
    assert shapes.girth(L_SHAPE) == 200
    assert shapes.area(shapes.circle(30)) == pytest.approx(np.pi * 225, rel=1e-12)


def test_cells_inside_a_polygon_add_up_to_its_area():
    corners = np.array([[-20, -30], [18, -22], [3, 5], [20, 30], [-11, 14.0]])
    x, y = shapes.cells((40, 60), 0.7)
    inside = shapes.covered(corners, x=x, y=y, cell=0.7)
    assert inside.sum() * 0.49 == pytest.approx(shapes.area(corners), rel=1e-3)
    assert (inside >= 0).all()
    assert (inside <= 1 + 1e-12).all()


def test_cells_of_a_rectangle_are_exact():
    x, y = shapes.cells((4, 6), 1.0)
    assert shapes.covered(shapes.rectangle(4, 6), x=x, y=y, cell=1).min() == 1
    x, y = shapes.cells((4.5, 6), 1.0)  # half a cell juts out, shared by both sides
    half = shapes.covered(shapes.rectangle(4.5, 6), x=x, y=y, cell=1)
    np.testing.assert_allclose(half[0], [0.75, 1, 1, 1, 0.75])


def test_points_inside_a_shape_with_a_dent():
    points = [[10, 10], [30, 10], [10, 50], [30, 50], [-1, 10]]
    expected = [True, True, True, False, False]
    assert shapes.contains(L_SHAPE, points).tolist() == expected
    assert shapes.convex(shapes.circle(5))
    assert not shapes.convex(L_SHAPE)
    assert not shapes.convex(L_SHAPE[::-1])


def test_a_bow_tie_crosses_itself():
    assert shapes.crosses_itself([[0, 0], [4, 4], [4, 0], [0, 4]])
    assert shapes.crosses_itself([[0, 0], [4, 0], [2, 0], [2, 3]])  # goes back
    assert not shapes.crosses_itself(L_SHAPE)
    assert not shapes.crosses_itself(shapes.circle(9))


def test_means_over_cells_keep_the_mean_of_a_picture():
    picture = np.random.default_rng(2).random((37, 23))
    x, y = shapes.cells((40, 60), 2.0)
    means = shapes.cell_means(picture, size=(40, 60), x=x, y=y, cell=2.0)
    assert means.shape == (30, 20)
    assert means.mean() == pytest.approx(picture.mean(), rel=1e-12)
    ramp = shapes.cell_means([[0.0, 1.0]], size=(40, 60), x=x, y=y, cell=2.0)
    np.testing.assert_allclose(ramp[0], np.repeat([0.0, 1.0], 10))


# ---- the box behind an outline ---------------------------------------------------


def test_back_of_a_round_box_by_its_series(box):
    """rho f / (1 - rho (1 - f)) with f = opening / (two ends and the wall)."""
    inset = box('diameter = "30 mm"')
    rho = inset.cavity.wall.reflectance
    ends = np.pi * 15**2
    f = ends / (2 * ends + np.pi * 30 * 20)
    np.testing.assert_allclose(
        piece_of(inset).back, rho * f / (1 - rho * (1 - f)), rtol=5e-4
    )
    assert piece_of(inset).area == pytest.approx(ends * 1e-6)


def test_a_white_mask_is_no_mask(box, tmp_path):
    Image.new("L", (20, 30), 255).save(tmp_path / "all.png")
    masked = piece_of(box('size = "40 x 60 mm"\nmask = "all.png"'))
    plain = piece_of(box())
    assert masked.area == pytest.approx(plain.area, rel=1e-12)
    np.testing.assert_allclose(masked.back, plain.back, rtol=1e-12)
    assert masked.beams[0].share == pytest.approx(plain.beams[0].share, rel=1e-9)
    a, b = (p.beams[0].cosines @ p.beams[0].weights for p in (masked, plain))
    assert a == pytest.approx(b, rel=1e-3)


def test_a_mask_lets_out_its_white_part(box, tmp_path):
    """An even mask of half grey lets half of everything out."""
    Image.new("L", (4, 6), 51).save(tmp_path / "fifth.png")  # 51 / 255 = 0.2
    masked = piece_of(box('size = "40 x 60 mm"\nmask = "fifth.png"'))
    plain = piece_of(box())
    assert masked.area == pytest.approx(0.2 * plain.area, rel=1e-12)
    assert masked.beams[0].share == pytest.approx(0.2 * plain.beams[0].share, rel=1e-9)
    rho, f = box().cavity.wall.reflectance, 0.2 * 2400 / (4800 + 200 * 20)
    np.testing.assert_allclose(masked.back, rho * f / (1 - rho * (1 - f)), rtol=1e-12)


def test_a_mask_is_read_the_right_way_up(box, tmp_path):
    picture = Image.new("L", (4, 8), 0)
    picture.paste(255, (0, 0, 4, 2))  # white at the top
    picture.save(tmp_path / "top.png")
    mask = box('size = "40 x 60 mm"\nmask = "top.png"').outline.mask
    assert mask[0].min() == 1
    assert mask[-1].max() == 0


def test_see_through_and_palette_and_colour_masks(box, tmp_path):
    clear = Image.new("RGBA", (4, 6), (255, 255, 255, 0))
    clear.paste((255, 255, 255, 255), (0, 0, 2, 6))
    clear.save(tmp_path / "m.png")
    text = 'size = "40 x 60 mm"\nmask = "m.png"'
    assert box(text).outline.area == pytest.approx(1200)
    clear.convert("RGB").convert("P").save(tmp_path / "m.png")
    assert box(text).outline.area == pytest.approx(2400)  # its alpha is gone
    clear.convert("L").convert("CMYK").save(tmp_path / "m.tif")
    assert box(text.replace("png", "tif")).outline.area == pytest.approx(2400, rel=0.02)


def test_a_stretched_mask_is_noted(box, tmp_path):
    Image.new("L", (60, 60), 255).save(tmp_path / "m.png")
    inset = box('size = "40 x 60 mm"\nmask = "m.png"')
    assert any("stretched to fit" in note for note in inset.notes)
    Image.new("L", (40, 60), 255).save(tmp_path / "m.png")
    fitting = box('size = "40 x 60 mm"\nmask = "m.png"')
    assert not any("stretched" in note for note in fitting.notes)


# ---- where the LEDs sit ----------------------------------------------------------


def test_leds_sit_where_they_are_written(box):
    inset = box(light="positions = [[-10, 0], [10, 5.5]]")
    assert inset.lights[0].count == 2
    places = led_positions(inset.lights[0], inset.outline)
    assert places.tolist() == [[-10, 0], [10, 5.5]]


def test_leds_on_the_grid_written_out_are_the_grid(box):
    grid = box(light='count = 6\npitch = "15 mm"')
    places = led_positions(grid.lights[0], grid.outline)
    written = box(light=f"positions = {places.tolist()}")
    assert piece_of(written).beams[0].share == piece_of(grid).beams[0].share


def test_the_last_row_of_a_grid_is_in_the_middle(box):
    inset = box(light='count = 3\npitch = "10 mm"')
    places = led_positions(inset.lights[0], inset.outline)
    assert places.tolist() == [[0, -10], [0, 0], [0, 10]]
    five = box(outline='size = "40 x 40 mm"', light='count = 5\npitch = "10 mm"')
    rows = led_positions(five.lights[0], five.outline)
    assert rows[:, 0].sum() == pytest.approx(0)


def test_no_led_stands_outside_its_box(box):
    for outline in ('diameter = "40 mm"', f"outline = {L_SHAPE.tolist()}"):
        inset = box(outline, light="count = 12")
        places = led_positions(inset.lights[0], inset.outline)
        assert len(places) == 12
        assert shapes.contains(inset.outline.corners, places).all()


def test_leds_in_a_round_box_are_strewn_evenly(box):
    """One in the middle; of seven, six around one, as pennies lie."""
    one = box('diameter = "40 mm"')
    places = led_positions(one.lights[0], one.outline)
    np.testing.assert_allclose(places, [[0, 0]], atol=0.3)
    seven = box('diameter = "40 mm"', light="count = 7")
    places = led_positions(seven.lights[0], seven.outline)
    away = np.hypot(*(places[:, None] - places).T) + 100 * np.eye(7)
    middle = np.hypot(*places.T).argmin()
    assert np.hypot(*places[middle]) < 1
    assert (
        np.delete(away[middle], middle).min()
        > 0.9 * np.delete(away[middle], middle).max()
    )
    assert away.min() > 10


def test_many_leds_are_followed_by_some(box):
    """500 of 4,000 stand for all; the share of direct light hardly changes."""
    many = piece_of(box(light="count = 4000")).beams[0]
    all_but = piece_of(box(light="count = 486")).beams[0]
    assert len(led_positions(many.light, box().outline)) == 500
    assert many.share == pytest.approx(all_but.share, rel=0.01)
    assert many.power.sum() / all_but.power.sum() == pytest.approx(4000 / 486)


# ---- uneven bodies ---------------------------------------------------------------


def test_a_relief_has_its_mean_ends_and_note(box, tmp_path):
    draw(tmp_path / "r.png", [[0.0, 0.5], [0.5, 1.0]])
    text = 'thickness_map = {file = "r.png", black = "3 mm", white = "9 mm"}'
    inset = box(thickness=text)
    layer = inset.layers[-1]
    assert layer.thickness == pytest.approx(6, rel=1e-4)
    assert (layer.thin, layer.thick) == pytest.approx((3, 9))
    assert any("thickness map" in note and "6 mm" in note for note in inset.notes)


def test_a_relief_counts_within_the_outline_only(box, tmp_path):
    """Thick corners outside of a round piece do not matter."""
    y, x = np.mgrid[-1:1:201j, -1:1:201j]
    draw(tmp_path / "r.png", np.where(np.hypot(x, y) < 1.02, 0.0, 1.0))
    text = 'thickness_map = {file = "r.png", black = "3 mm", white = "90 mm"}'
    layer = box('diameter = "30 mm"', thickness=text).layers[-1]
    assert layer.thickness == pytest.approx(3, abs=0.2)


def test_sixteen_bits_are_kept(box, tmp_path):
    draw(tmp_path / "r.png", np.full((3, 2), 12345 / 65535))
    text = 'thickness_map = {file = "r.png", black = "0 mm", white = "65.535 mm"}'
    assert box(thickness=text).layers[-1].thickness == pytest.approx(12.345, rel=1e-6)


def test_a_large_relief_is_averaged_down(box, tmp_path):
    draw(tmp_path / "r.png", np.tile([0.25, 0.75], (2100, 1050)))
    text = 'thickness_map = {file = "r.png", black = "0 mm", white = "10 mm"}'
    layer = box(thickness=text).layers[-1]
    assert max(layer.relief.shape) <= 1000
    assert layer.thickness == pytest.approx(5, rel=1e-4)


def test_thin_and_thick_beside_the_mean(box):
    layer = box(thickness='thickness = "6 mm"\nthin = "4 mm"\nthick = "9 mm"').layers[
        -1
    ]
    assert (layer.thin, layer.thickness, layer.thick) == (4, 6, 9)


# ---- mistakes --------------------------------------------------------------------

MISTAKES = [
    ({"outline": 'diameter = "30 mm"\nmask = "m.png"'}, "needs the size"),
    ({"outline": 'size = "4 x 6 mm"\nmask = "no.png"'}, 'cannot read .* "no.png"'),
    ({"outline": 'size = "4 x 6 mm"\nmask = "text.png"'}, "no picture"),
    ({"outline": 'size = "4 x 6 mm"\nmask = "black.png"'}, "is black"),
    ({"outline": 'size = "4 x 6 mm"\nmask = "cut.png"'}, "cannot read the picture"),
    ({"outline": 'size = "4 x 6 mm"\nmask = "deep.tif"'}, "16-bit grey"),
    ({"outline": "outline = [[0, 0], [4, 4], [4, 0], [0, 4]]"}, "encloses no area"),
    ({"outline": "outline = [[0, 0], [4, 4], [4, 0], [0, 5]]"}, "crosses or touches"),
    ({"outline": f"outline = {[[i, i * i] for i in range(500)]}"}, "500 corners"),
    ({"light": "positions = [[0, 40]]"}, "outside the 40 x 60 mm box"),
    ({"light": "positions = [[1, 2, 3]]"}, "pairs of mm"),
    ({"light": "positions = []"}, "pairs of mm"),
    ({"light": "positions = [[0, 0]]\ncount = 2"}, "positions has 1 places"),
    ({"light": 'positions = [[0, 0]]\npitch = "5 mm"'}, "both pitch and positions"),
    ({"thickness": 'thickness = "6 mm"\nthin = "7 mm"'}, "wrong side of the mean"),
    ({"thickness": 'thickness = "6 mm"\nthick = "5 mm"'}, "wrong side of the mean"),
    ({"thickness": 'thickness_map = {file = "m.png", black = "3 mm"}'}, "white"),
    (
        {
            "thickness": 'thickness_map = {file = "m.png", black = "3 mm", '
            'white = "9 mm"}\nthick = "9 mm"'
        },
        "leave it out",
    ),
    (
        {
            "thickness": 'thickness_map = {file = "m.png", black = "0 mm", '
            'white = "0 mm"}'
        },
        "both zero",
    ),
    (
        {
            "thickness": 'thickness_map = {file = "m.png", black = "-1 mm", '
            'white = "2 mm"}'
        },
        "zero or more",
    ),
    ({"thickness": 'thickness = "1 mm"\nthickness_map = {file = "m.png"}'}, "both"),
]


@pytest.mark.parametrize(("lines", "says"), MISTAKES, ids=lambda x: str(x)[:40])
def test_a_mistake_says_what_to_do(box, tmp_path, lines, says):
    Image.new("L", (4, 6), 255).save(tmp_path / "m.png")
    Image.new("L", (4, 6), 0).save(tmp_path / "black.png")
    Image.new("F", (4, 6), 3.5).save(tmp_path / "deep.tif")
    (tmp_path / "text.png").write_text("not a picture", encoding="utf-8")
    noise = np.random.default_rng(0).integers(0, 255, (90, 60), dtype=np.uint8)
    Image.fromarray(noise).save(tmp_path / "cut.png")
    whole = (tmp_path / "cut.png").read_bytes()
    (tmp_path / "cut.png").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(InsetError, match=says):
        box(**lines)


def test_two_relief_maps_are_one_too_many(box, tmp_path):
    Image.new("L", (4, 6), 255).save(tmp_path / "m.png")
    relief = 'thickness_map = {file = "m.png", black = "3 mm", white = "9 mm"}'
    twice = f'{relief}\n[[layer]]\nkind = "cast"\nmedium = "epoxy"\n{relief}'
    with pytest.raises(InsetError, match="second thickness map"):
        box(thickness=twice)


def test_places_need_a_size(inset_of):
    with pytest.raises(InsetError, match="need the size"):
        inset_of('[[light]]\nemitter = "red"\npositions = [[0, 0]]\n')
