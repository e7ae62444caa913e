"""The glow over the face against `glow.look`, closed forms and symmetry."""

from dataclasses import replace

import numpy as np
import pytest
from PIL import Image

from tintlab.colorimetry import MAXIMUM_EFFICACY, spectrum_to_XYZ
from tintlab.errors import ModelError
from tintlab.glow import look
from tintlab.inset import shapes
from tintlab.piece import led_positions, piece_of
from tintlab.proof.face import FaceMap, face_map, xyz_responses
from tintlab.proof.map_direct import dots, landing
from tintlab.proof.map_stack import NODES, parts_of
from tintlab.proof.map_zones import zones_of
from tintlab.spectrum import WAVELENGTHS

R = xyz_responses()
L_SHAPE = [[0, 0], [40, 0], [40, 20], [20, 20], [20, 60], [0, 60]]
PIECE = """
    [inset]
    {outline}
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
    {thickness}
    batch = "100 g"
    dyes = [{{ dye = "brilliant blue", dose = "0.3 mg" }}]
    {faces}
"""
OPAL = '[[layer]]\nkind = "diffuser"\ndiffuser = "opal sheet"\n[[layer]]\nkind = "gap"'
SIZE = 'size = "40 x 60 mm"'


@pytest.fixture
def piece(inset_of):
    """Return a function that reads a lit box, clear unless layers are given."""

    def read(
        outline=SIZE,
        light="count = 6",
        depth=25,
        wall="white paint",
        layers="",
        thickness='thickness = "9 mm"',
        faces="",
    ):
        return inset_of(
            PIECE.format(
                outline=outline,
                light=light,
                depth=depth,
                wall=wall,
                layers="\n".join(" " * 4 + line for line in layers.split("\n")),
                thickness=thickness,
                faces=faces,
            )
        )

    return read


def mean_of(found):
    weights = found.inside[..., None]
    return (weights * found.values).sum(axis=(0, 1)) / weights.sum()


def head_on(inset):
    return MAXIMUM_EFFICACY * spectrum_to_XYZ(look(inset).radiance)


# ---- identities: the mean is the glow ----------------------------------------------


def test_responses_are_those_of_the_observer():
    power = np.random.default_rng(1).random(WAVELENGTHS.size)
    np.testing.assert_allclose(R @ power, 683 * spectrum_to_XYZ(power), rtol=1e-12)


@pytest.mark.parametrize(
    "changes",
    [
        {},
        {"layers": OPAL},
        {"layers": OPAL, "depth": 4},
        {"faces": 'back = "frosted"'},
        {"faces": 'finish = "frosted"'},
        {"outline": 'diameter = "30 mm"', "layers": OPAL},
        {"outline": f"outline = {L_SHAPE}", "layers": OPAL, "light": "count = 4"},
        {"light": 'count = 2\nbeam = "30 deg"\ncoats = [{ink = "pink ink"}]'},
    ],
    ids=str,
)
def test_mean_over_the_face_is_the_glow(piece, changes):
    inset = piece(**changes)
    found = face_map(inset, responses=R)
    np.testing.assert_allclose(mean_of(found), head_on(inset), rtol=1e-3)


def test_mean_behind_a_mask(piece, tmp_path):
    window = np.zeros((60, 40), dtype=np.uint8)
    window[5:25, 5:35] = 255
    window[35:55, 5:20] = 255
    Image.fromarray(window).save(tmp_path / "m.png")
    inset = piece(outline=f'{SIZE}\nmask = "m.png"', layers=OPAL)
    found = face_map(inset, responses=R, spacing=1.0)
    np.testing.assert_allclose(mean_of(found), head_on(inset), rtol=1e-3)
    np.testing.assert_allclose(found.inside, window / 255.0, atol=1e-9)


def test_the_mean_needs_no_help(piece):
    """The direct part is scaled to the mean of `glow`: by less than 1 in 1000.

    Two independent sums meet here, over the azimuth and over the cells.
    """
    for outline in (SIZE, 'diameter = "40 mm"', f"outline = {L_SHAPE}"):
        for depth in (5, 25, 60):
            inset = piece(outline=outline, depth=depth, layers=OPAL, light="count = 5")
            numbers, outline_ = piece_of(inset), inset.outline
            cell = max(outline_.size) / 80
            x, y = shapes.cells(outline_.size, cell)
            inside = shapes.covered(outline_.corners, x=x, y=y, cell=cell)
            field = landing(
                x=x, y=y, cell=cell, outline=outline_, depth=depth,
                positions=led_positions(inset.lights[0], outline_),
                exponent=numbers.beams[0].exponent,
            )  # fmt: skip
            parts = parts_of(numbers, R)
            summed = (inside[..., None] * (field @ parts.scattered[0])).sum((0, 1))
            found = summed * cell**2 / (numbers.area * 1e6) * 1e6
            np.testing.assert_allclose(found, parts.scattered_mean[0], rtol=1.2e-3)
            energy = (field.sum(axis=-1) * inside).sum() * cell**2
            assert energy == pytest.approx(numbers.beams[0].share, rel=1.2e-3)


def test_parts_add_up_to_the_glow(piece):
    inset = piece(layers=OPAL)
    parts = parts_of(piece_of(inset), R)
    whole = (parts.scattered_mean + parts.image + parts.recycled).sum(axis=0)
    np.testing.assert_allclose(whole, head_on(inset), rtol=1e-9)


def test_light_that_leaks_is_in_the_map(piece):
    inset = piece(layers=OPAL)
    numbers = replace(piece_of(inset), leak=0.1)
    found = face_map(inset, responses=R, piece=numbers)
    expected = 683 * spectrum_to_XYZ(look(inset, piece=numbers).radiance)
    np.testing.assert_allclose(mean_of(found), expected, rtol=1e-3)


def test_a_box_without_recycling_shows_direct_light_only(piece):
    """Walls that return nothing: what is left falls off as the law of Lambert.

    An LED on the axis of a box with a window of thin film, which hardly blurs: the
    ratio of two places is that of their irradiances times the head-on factors of
    their incidence.
    """
    film = '[[layer]]\nkind = "diffuser"\ndiffuser = "frosted film"'
    inset = piece(light="positions = [[0, 0]]", layers=film, depth=30)
    black = replace(
        inset.cavity, wall=replace(inset.cavity.wall, reflectance=np.zeros(401))
    )
    inset = replace(inset, cavity=black)
    found = face_map(inset, responses=R, spacing=1.0)
    parts = parts_of(piece_of(inset), R)
    assert parts.recycled.max() == 0
    Y = found.values[..., 1]
    near, far = Y[30, 30], Y[45, 30]  # at (10.5, 0.5) and (10.5, 15.5) mm
    cosines = np.array([30 / np.sqrt(900 + 10.5**2 + v**2) for v in (0.5, 15.5)])
    of_incidence = np.polyval(np.polyfit(NODES, parts.scattered[0, :, 1], 5), cosines)
    expected = (cosines**4 * of_incidence)[1] / (cosines**4 * of_incidence)[0]
    assert far / near == pytest.approx(expected, rel=0.01)


def test_leds_look_nearer_through_a_clear_body(piece):
    """On a frosted front behind 9 mm of index n: the box and 9 / n deep."""
    inset = piece(
        light='positions = [[0, 0]]\nbeam = "120 deg"',
        depth=20,
        faces='finish = "frosted"',
    )
    black = replace(
        inset.cavity, wall=replace(inset.cavity.wall, reflectance=np.zeros(401))
    )
    inset = replace(inset, cavity=black)
    found = face_map(inset, responses=R, spacing=1.0)
    parts = parts_of(piece_of(inset), R)
    index = np.mean(piece_of(inset).slabs[0].index)
    h = 20 + 9 / index
    at = np.array([3.5, 12.5])  # beside the dot of the LED
    cosines = h / np.hypot(h, np.hypot(at, 0.5))
    head = np.polyval(np.polyfit(NODES, parts.scattered[0, :, 1], 5), cosines)
    Y = found.values[30, [23, 32], 1]
    expected = cosines**4 * head
    assert Y[1] / Y[0] == pytest.approx(expected[1] / expected[0], rel=5e-3)


# ---- symmetry and limits -----------------------------------------------------------


def test_a_symmetric_box_glows_symmetrically(piece):
    Y = face_map(piece(layers=OPAL), responses=R).values[..., 1]
    np.testing.assert_allclose(Y, Y[::-1], rtol=1e-9)
    np.testing.assert_allclose(Y, Y[:, ::-1], rtol=1e-9)


def test_the_glow_follows_the_leds(piece):
    """y is down: an LED at y = +20 lights the lower rows."""
    found = face_map(
        piece(layers=OPAL, light="positions = [[-10, 20]]"), responses=R, spacing=2.0
    )
    row, column = np.unravel_index(found.values[..., 1].argmax(), found.inside.shape)
    assert found.y[row] == pytest.approx(20, abs=2)
    assert found.x[column] == pytest.approx(-10, abs=2)


def test_a_deep_box_is_even_between_the_images_of_its_leds(piece):
    Y = face_map(piece(layers=OPAL, depth=200), responses=R).values[..., 1]
    assert 0.97 * np.median(Y) < Y.min()
    assert np.quantile(Y, 0.8) < 1.03 * np.median(Y)


def test_without_a_box_the_face_is_even(piece):
    inset = replace(piece(layers=OPAL), cavity=None)
    found = face_map(inset, responses=R)
    assert np.ptp(found.values[..., 1]) == pytest.approx(0, abs=1e-9)
    np.testing.assert_allclose(mean_of(found), head_on(inset), rtol=1e-9)


def test_a_clear_piece_shows_its_leds_and_an_even_box(piece):
    """Six discs of 5 mm; between them only what the box sends round."""
    inset = piece()
    found = face_map(inset, responses=R, spacing=0.5)
    parts = parts_of(piece_of(inset), R)
    Y = found.values[..., 1]
    between = Y.min()
    np.testing.assert_allclose(between, parts.recycled[0, 1], rtol=1e-9)
    lit = 0.25 * (between * 1.001 < Y).sum()
    assert lit == pytest.approx(6 * np.pi * 2.5**2, rel=0.2)  # and their rims
    disc = Y.max() - between
    image = parts.image[0, 1] * 2400 / (6 * np.pi * 2.5**2)
    assert disc == pytest.approx(image, rel=0.01)


def test_a_smaller_package_is_a_brighter_dot():
    x, y = shapes.cells((20, 20), 0.25)
    inside = np.ones((80, 80))
    peaks = [
        dots(
            x=x, y=y, cell=0.25, inside=inside, positions=np.zeros((1, 2)), package=d
        ).max()
        for d in (3.0, 6.0)
    ]
    assert peaks[0] / peaks[1] == pytest.approx(4, rel=1e-2)


def test_spacing_and_grid(piece):
    found = face_map(piece(layers=OPAL), responses=R, spacing=1.0)
    assert found.values.shape == (60, 40, 3)
    assert (found.x[0], found.y[0]) == (-19.5, -29.5)
    assert found.inside.min() == 1
    coarse = face_map(piece(layers=OPAL), responses=R, spacing=2.0)
    ours = found.values.reshape(30, 2, 20, 2, 3).mean(axis=(1, 3))
    np.testing.assert_allclose(coarse.values, ours, rtol=0.02)


def test_any_responses_will_do(piece):
    """Values are linear in the responses."""
    inset = piece(layers=OPAL)
    two = face_map(inset, responses=[R[1], R[0] + 2 * R[2]], spacing=3.0).values
    three = face_map(inset, responses=R, spacing=3.0).values
    np.testing.assert_allclose(two[..., 0], three[..., 1], rtol=1e-9)
    np.testing.assert_allclose(
        two[..., 1], three[..., 0] + 2 * three[..., 2], rtol=1e-3
    )


# ---- relief ------------------------------------------------------------------------

RELIEF = 'thickness_map = {file = "r.png", black = "3 mm", white = "15 mm"}'


def test_a_relief_of_one_grey_is_an_even_body(piece, tmp_path):
    Image.new("L", (4, 6), 102).save(tmp_path / "r.png")  # 0.4: 7.8 mm
    with_map = piece(layers=OPAL, thickness=RELIEF)
    even = piece(layers=OPAL, thickness='thickness = "7.8 mm"')
    one, other = (
        face_map(i, responses=R, spacing=2.0).values for i in (with_map, even)
    )
    np.testing.assert_allclose(one, other, rtol=1e-9)
    np.testing.assert_allclose(look(with_map).Lab, look(even).Lab, atol=1e-9)


def test_thick_places_follow_beer_and_lambert(piece, tmp_path):
    """A clear stack without first-pass light: Y at 3, 9 and 15 mm by its spectrum."""
    steps = np.repeat([0, 128, 255], 20).astype(np.uint8)
    Image.fromarray(np.tile(steps, (40, 1))).save(tmp_path / "r.png")
    inset = piece(
        outline='size = "60 x 40 mm"', thickness=RELIEF, light="positions = [[0, 0]]"
    )
    eye = np.eye(WAVELENGTHS.size)[[70, 170, 240]]  # 450, 550 and 620 nm
    found = face_map(inset, responses=eye, spacing=2.0)
    thin, thick = found.values[0, 2], found.values[0, -3]
    by_hand = []
    for depth in (3.0, 15.0):
        flat = replace(
            inset.layers[-1], thickness=depth, relief=None, thin=None, thick=None
        )
        numbers = piece_of(replace(inset, layers=(flat,)))
        by_hand.append(parts_of(numbers, eye, like=parts_of(piece_of(inset), eye)))
    # seven thicknesses are solved, those between are interpolated
    np.testing.assert_allclose(thin, by_hand[0].recycled[0], rtol=1e-5)
    np.testing.assert_allclose(thick, by_hand[1].recycled[0], rtol=1e-5)
    assert (thick < thin).all()
    # between two thicknesses of a clear body each wavelength falls exponentially,
    # but for the small share that goes back and forth between its faces
    middle = found.values[0, 14]
    np.testing.assert_allclose(middle, np.sqrt(thin * thick), rtol=0.02)


def test_zones_are_looks_at_their_thickness(piece):
    """With no box to share, a zone is the piece cast that thin."""
    text = 'thickness = "9 mm"\nthin = "4 mm"\nthick = "14 mm"'
    inset = replace(piece(layers=OPAL, thickness=text), cavity=None)
    whole = look(inset)
    zones = zones_of(inset, piece_of(inset), whole)
    for name, depth in (("thin", 4.0), ("thick", 14.0)):
        cast = replace(inset.layers[-1], thickness=depth)
        alone = look(replace(inset, layers=(*inset.layers[:-1], cast)))
        np.testing.assert_allclose(zones[name].look.radiance, alone.radiance, rtol=1e-9)
        assert zones[name].thickness == (depth,)
    assert zones["thin"].look.light_kept > whole.light_kept
    assert zones["thick"].look.light_kept < whole.light_kept


def test_no_zones_without_thin_and_thick(piece):
    inset = piece(layers=OPAL)
    assert zones_of(inset, piece_of(inset), look(inset)) == {}


# ---- errors ------------------------------------------------------------------------


def test_what_cannot_be_asked(piece, inset_of):
    bare = inset_of('[[light]]\nemitter = "red"\n')
    with pytest.raises(ModelError, match="whose size is not known"):
        face_map(bare, responses=R)
    for spacing in (-1.0, 1e-5):
        with pytest.raises(ModelError, match="give a spacing"):
            face_map(piece(), responses=R, spacing=spacing)


def test_a_map_is_read_only(piece):
    found = face_map(piece(), responses=R, spacing=5.0)
    assert isinstance(found, FaceMap)
    with pytest.raises(ValueError, match="read-only"):
        found.values[0, 0, 0] = 1
