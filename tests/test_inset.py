"""The inset file: doses by hand and by official text, and every mistake in one line."""

import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image
from published import Published, published

from tintlab.colorimetry import XYZ_to_Lab, hex_to_XYZ
from tintlab.errors import InsetError, TintlabError
from tintlab.inset import read_inset
from tintlab.piece import piece_of
from tintlab.shelf import open_shelf, shelf_for

DEMO = Path(__file__).resolve().parents[1] / "demo" / "tide-bell"

PIECE = """\
name = "Window"

[target]
lab = [62, -38, 4]
tolerance = 5
min_light_kept = 0.2

[inset]
size = "40 x 60 mm"

[[light]]
emitter = "white 4100 K"
count = 6
lumens = 5
pitch = "15 mm"
coats = [{ink = "pink ink", coats = 2}]

[cavity]
depth = "25 mm"
wall = "white paint"

[[layer]]
kind = "diffuser"
diffuser = "frosted film"

[[layer]]
kind = "gap"

[[layer]]
kind = "cast"
medium = "epoxy"
mix = "100:45 by weight"
thickness = "9 mm"
batch = "50 g"
dyes = [
    {bottle = "blue resin dye", dose = "4 drops"},
    {bottle = "yellow resin dye", dose = "2 drops"},
]

[[layer]]
kind = "sheet"
medium = "PMMA sheet"
thickness = "2 mm"
dyes = [{bottle = "blue disperse dye", time = "10 min"}]

[view]
room = "hall"
distance = "2 m"
"""


# One drop is 0.025 g and the strength a round number, whatever the shipped shelf says.
BOTTLE = """\
name = "{name}"
[source]
citation = "for this test"
kind = "assumed"
[bottle]
hue = "any"
strength = 0.1
drop = 0.025
[[dye]]
name = "solvent blue 104"
"""


@pytest.fixture
def read(tmp_path):
    """Return a function that reads text as the inset file p.toml."""
    folder = tmp_path / "shelf" / "bottles"
    folder.mkdir(parents=True)
    for name in ("blue resin dye", "yellow resin dye"):
        path = folder / f"{name.replace(' ', '-')}.toml"
        path.write_text(BOTTLE.format(name=name), encoding="utf-8")

    def reader(text):
        path = tmp_path / "p.toml"
        path.write_text(text, encoding="utf-8")
        return read_inset(path, shelf_for(path))

    return reader


def swapped(old, new):
    """PIECE with one thing written differently."""
    assert PIECE.count(old) == 1, old
    return PIECE.replace(old, new)


# ------------------------------------------------------------------ read right


def test_everything_is_where_it_was_written(read):
    inset = read(PIECE)
    assert (inset.name, inset.size, inset.round) == ("Window", (40.0, 60.0), False)
    assert inset.target.Lab.tolist() == [62, -38, 4]
    assert (inset.target.tolerance, inset.target.min_light_kept) == (5, 0.2)
    assert (inset.target.lightness, inset.target.region) == ("free", None)
    (light,) = inset.lights
    assert (light.emitter.name, light.count, light.lumens) == ("white 4100 K", 6, 5)
    assert (light.assumed, light.pitch, light.junction) == (False, 15, None)
    assert [(c.ink.name, c.count) for c in light.coats] == [("pink ink", 2)]
    assert (inset.cavity.depth, inset.cavity.wall.name) == (25, "white paint")
    kinds = [layer.kind for layer in inset.layers]
    assert kinds == ["diffuser", "gap", "cast", "sheet"]
    cast, sheet = inset.layers[2:]
    assert (cast.medium.name, cast.thickness, cast.batch) == ("epoxy", 9, 50)
    assert (sheet.bathed[0].minutes, sheet.bathed[0].faces) == (10, 2)
    assert (inset.room.name, inset.distance) == ("hall", 2000)
    assert inset.notes == ()


def test_what_may_be_left_out(read):
    inset = read('name = "x"\n[[light]]\nemitter = "red"\n')
    assert (inset.size, inset.cavity, inset.target, inset.layers) == (
        None,
        None,
        None,
        (),
    )
    assert inset.room.name == "dark house"
    assert inset.lights[0].assumed
    assert 'the light of "red" is assumed' in inset.notes[0]


def test_order_of_keys_and_sections_does_not_matter(read):
    head, *parts = PIECE.split("\n\n")
    lights_and_layers = [p for p in parts if p.startswith("[[")]
    others = [p for p in parts if not p.startswith("[[")]
    turned = "\n\n".join([head, *others[::-1], *lights_and_layers])
    first, second = read(PIECE), read(turned)
    assert [x.kind for x in first.layers] == [x.kind for x in second.layers]
    assert first.target.Lab.tolist() == second.target.Lab.tolist()


@pytest.mark.parametrize(
    ("written", "lumens"),
    [
        ("lumens = 5", 5.0),
        # I cos^k with k = 1 within 120 degrees: flux = pi I; 1000 mcd is 1 cd
        ('mcd = 1000\nbeam = "120 deg"', np.pi),
        # k = ln 0.5 / ln cos 15 deg = 19.9937: flux = 2 pi I / 20.9937
        ('mcd = 3000\nbeam = "30 deg"', 0.897866),
        # 3.1 V (of white 4100 K) x 20 mA x 90 lm/W
        ("", 5.58),
        ('current = "10 mA"', 2.79),
    ],
)
def test_light_of_an_led_by_hand(read, written, lumens):
    found = read(swapped("lumens = 5", written)).lights[0]
    assert found.lumens == pytest.approx(lumens, rel=2e-5)
    assert found.assumed == ("lumens" not in written and "mcd" not in written)


def test_outlines_by_hand(read):
    size = 'size = "40 x 60 mm"'
    plain = read(PIECE).outline
    assert (plain.kind, plain.area, plain.girth) == ("rectangle", 2400.0, 200.0)
    round_piece = read(swapped(size, 'diameter = "30 mm"'))
    assert round_piece.round
    assert round_piece.size == pytest.approx((30, 30))
    assert round_piece.outline.area == pytest.approx(np.pi * 15**2)
    assert round_piece.outline.girth == pytest.approx(np.pi * 30, rel=5e-4)
    triangle = read(swapped(size, "outline = [[0, 0], [40, 0], [0, 60]]")).outline
    assert triangle.area == pytest.approx(40 * 60 / 2)
    assert triangle.girth == pytest.approx(100 + np.hypot(40, 60))
    assert triangle.size == (40, 60)
    assert triangle.corners.tolist() == [[-20, -30], [20, -30], [-20, 30]]
    inches = read(swapped(size, 'size = "1 1/2 x 2 inch"'))
    assert inches.size == pytest.approx((38.1, 50.8))


def test_targets_in_every_way(read, tmp_path):
    lab = "lab = [62, -38, 4]"
    wanted = XYZ_to_Lab(hex_to_XYZ("#2fa39a"))
    assert read(swapped(lab, 'hex = "#2fa39a"')).target.Lab == pytest.approx(wanted)
    Image.new("RGB", (9, 9), (47, 163, 154)).save(tmp_path / "art.png")
    picture = 'picture = {file = "art.png", at = [4, 4]}'
    assert read(swapped(lab, picture)).target.Lab == pytest.approx(wanted)
    region = read(swapped(lab, 'region = "ship green"')).target
    assert (region.Lab, region.region.name) == (None, "ship green")


def test_a_clipped_patch_is_noted(read, tmp_path):
    Image.new("RGB", (9, 9), (255, 163, 154)).save(tmp_path / "art.png")
    picture = 'picture = {file = "art.png", at = [4, 4], radius = 2}'
    inset = read(swapped("lab = [62, -38, 4]", picture))
    assert inset.target.clipped == 1.0
    assert inset.notes[0].startswith("100 % of the target patch is clipped in the pic")


# ------------------------------------------------------------- doses by hand

# 0.025 g a drop; epoxy: 1.15 g/cm3


@pytest.mark.parametrize(
    ("first", "second", "grams", "per_kg"),
    [
        # 4 x 0.025 = 0.1 g and 2 x 0.025 = 0.05 g in 50.15 g
        ("4 drops", "2 drops", 0.1, 1.9940180),
        ("4 drops", "0 g", 0.1, 1.9960080),  # 0.1 / 50.1
        ("20 mg", "0 g", 0.02, 0.3998401),  # 0.02 / 50.02
        ("0.3 %", "0 g", 0.15, 2.9910269),  # 50 g x 0.003 / 50.15
        # part A is 50 x 100 / 145 = 34.482759 g; 0.5 per hundred of it
        ("0.5 phr", "0 g", 0.1724138, 3.4364261),
        # 2 g hold 2 / 51 g of liquid; their part A belongs to the batch
        ("2 g of 50:1 let-down", "0 g", 0.0392157, 0.7836991),
        ("10 drops of 9:1 let-down", "0 g", 0.025, 0.4997501),
        ("1/10 oz", "0 g", 2.8349523, 53.6567592),
    ],
)
def test_dose(read, first, second, grams, per_kg):
    text = PIECE.replace('"4 drops"', f'"{first}"').replace('"2 drops"', f'"{second}"')
    dosed = read(text).layers[2].dosed[0]
    assert dosed.grams == pytest.approx(grams, rel=1e-6)
    assert dosed.per_kg == pytest.approx(per_kg, rel=1e-6)


@pytest.mark.parametrize(
    ("batch", "grams"),
    [
        ("50 g", 50),
        ("1 oz", 28.349523),
        ("50 ml", 57.5),
        ("50\tmL", 57.5),
        ("5e1 ml", 57.5),
        ("+50 ml", 57.5),
        ("2 fl oz", 68.019118),
        ("0.05 L", 57.5),
    ],
)
def test_batch_by_weight_and_by_volume(read, batch, grams):
    found = read(swapped('batch = "50 g"', f'batch = "{batch}"')).layers[2].batch
    assert found == pytest.approx(grams, rel=1e-6)


def test_parts_per_hundred_of_a_mix_by_volume(read):
    """2:1 by volume: two thirds are part A (equal densities assumed)."""
    text = swapped("100:45 by weight", "2:1 by volume").replace("4 drops", "0.6 phr")
    assert read(text).layers[2].dosed[0].grams == pytest.approx(50 * 2 / 3 * 0.006)


def test_a_share_needs_no_batch(read):
    text = swapped('batch = "50 g"\n', "").replace("4 drops", "0.3 %")
    dosed = read(text.replace("2 drops", "0 %")).layers[2].dosed[0]
    assert dosed.per_kg == pytest.approx(3 / 1.003)


def test_two_halves_of_a_dose_are_the_dose(read):
    whole = piece_of(read(PIECE))
    row = '    {bottle = "blue resin dye", dose = "4 drops"},\n'
    halves = piece_of(read(swapped(row, 2 * row.replace("4", "2"))))
    found = [sum(t.absorbance * t.shape for t in p.tints) for p in (whole, halves)]
    assert found[0] == pytest.approx(found[1], rel=1e-12)


def test_absorbance_goes_with_thickness(read):
    thin = piece_of(read(PIECE)).tints
    thick = piece_of(read(swapped("9 mm", "18 mm"))).tints
    for one, two in zip(thin, thick, strict=True):
        factor = 2 if "resin" in one.colourant.name else 1
        assert two.absorbance == pytest.approx(factor * one.absorbance)


# --------------------------------------------------- doses by the official text
# E(1%,1cm) of the EU purity criteria for food colours: absorbance of 10 g/L in 1 cm.
# Through our own arithmetic: 10 mg dosed into 1 kg of water (1 L), 10 mm thick.

OFFICIAL = (
    "Directive 95/45/EC as amended (French transposition, order of 2 October 1997, "
    "Annex VI-A, consolidated), E(1%,1cm)"
)
TABLE = {
    # name: (wavelength [nm], E)
    "tartrazine": (426, "530"),
    "quinoline yellow": (411, "865"),
    "sunset yellow": (485, "555"),
    "carmoisine": (516, "510"),
    "amaranth": (520, "440"),
    "ponceau 4R": (505, "430"),
    "erythrosine": (526, "1100"),
    "red 2G": (532, "620"),
    "allura red": (504, "540"),
    "patent blue V": (638, "2000"),
    "indigotine": (610, "480"),
    "brilliant blue": (630, "1630"),
    "green S": (632, "1720"),
    "brilliant black": (570, "530"),
    "curcumin": (426, "1607"),
    "riboflavin": (444, "328"),
}
WATER = """\
name = "water"
[source]
citation = "for this test: 1 kg is 1 L"
kind = "assumed"
[medium]
kind = "cast"
density = 1.0
[index]
form = "abbe"
d = 1.333
abbe = 55.8
[absorption]
columns = ["wavelength [nm]", "absorbance per mm [-]"]
table = \"\"\"
380 0
780 0
\"\"\"
"""


@pytest.fixture
def in_water(tmp_path, inset_of):
    """Return a function: the only tint of a dye that is weighed into water."""
    folder = tmp_path / "shelf" / "media"
    folder.mkdir(parents=True)
    (folder / "water.toml").write_text(WATER, encoding="utf-8")

    def tint(name, *, dose, batch, thickness):
        inset = inset_of(f"""
            [[light]]
            emitter = "white 4100 K"
            [[layer]]
            kind = "cast"
            medium = "water"
            thickness = "{thickness}"
            batch = "{batch}"
            dyes = [{{dye = "{name}", dose = "{dose}"}}]
        """)
        (found,) = piece_of(inset).tints
        return found

    return tint


@published(
    *(
        Published(
            source=f"{OFFICIAL}, {name}",
            printed=printed,
            given={"name": name, "nm": nm},
        )
        for name, (nm, printed) in TABLE.items()
    )
)
def test_official_strength_by_our_own_doses(check, in_water):
    tint = in_water(check.given["name"], dose="10 mg", batch="1 kg", thickness="10 mm")
    curve = tint.absorbance * tint.shape
    assert 1000 * curve.max() == pytest.approx(check.expected, abs=check.half_digit)
    # a fitted shape comes from another source, which has its maximum elsewhere
    off = 9 if tint.colourant.form == "bands" else 1
    assert 380 + np.argmax(curve) == pytest.approx(check.given["nm"], abs=off)


@published(
    Published(
        source=f"{OFFICIAL} 1630 at 630 nm: brilliant blue FCF, 10 mg/L in 1 cm",
        printed="1.630",
        given={
            "name": "brilliant blue FCF",
            "nm": 630,
            "doses": {"dose": "10 mg", "batch": "1 L", "thickness": "1 cm"},
        },
    ),
    Published(
        source=f"{OFFICIAL} 530 at 426 nm: tartrazine, 0.005 % in 2 mm",
        printed="0.530",
        given={
            "name": "tartrazine",
            "nm": 426,
            "doses": {"dose": "0.005 %", "batch": "50 g", "thickness": "2 mm"},
        },
    ),
    Published(
        source=f"{OFFICIAL} 540 at 504 nm: allura red, 1 mg in 30 mL, 5 mm",
        printed="0.900",
        given={
            "name": "allura red",
            "nm": 504,
            "doses": {"dose": "1 mg", "batch": "30 mL", "thickness": "5 mm"},
        },
    ),
)
def test_a_weighed_solution(check, in_water):
    tint = in_water(check.given["name"], **check.given["doses"])
    found = (tint.absorbance * tint.shape)[check.given["nm"] - 380]
    assert found == pytest.approx(check.expected, abs=check.half_digit)


# ----------------------------------------------------------------- mistakes

MISTAKES = [
    # the whole file
    ('name = "Window"', "", 1, '"name" is missing in the file; add it, for example'),
    ('name = "Window"', "name = 5", 1, "name = 5 is a whole number; name takes a text"),
    ('name = "Window"', 'nane = "Window"', 1, 'line 1 has "nane", write "name"'),
    ("[view]", "[veiw]", 46, '"veiw" is not a key of the file; did you mean "view"?'),
    ("[view]", "[[view]]", 46, "there is one view only; write [view]"),
    ("[[light]]", "[light]", 11, "there may be several light; write [[light]]"),
    ("[[light]]", "[[lights]]", 1, 'there is no [[light]]; line 11 has "lights", wri'),
    # target
    ("lab = [62, -38, 4]", "", 3, "[target] needs lab or hex or picture or region"),
    ("lab = [62, -38, 4]", 'hxe = "#aabbcc"', 3, 'line 4 has "hxe", write "hex"'),
    ("lab =", 'hex = "#aabbcc"\nlab =', 4, "has both lab and hex; keep one of them"),
    ("[62, -38, 4]", "[62, -38]", 4, "lab = [62, -38]; lab takes 3 finite numbers"),
    ("[62, -38, 4]", "[62, nan, 4]", 4, "lab takes 3 finite numbers"),
    ("[62, -38, 4]", "[62, inf, 4]", 4, "lab takes 3 finite numbers"),
    ("[62, -38, 4]", "[true, 0, 4]", 4, "lab takes 3 finite numbers"),
    ("[62, -38, 4]", '"62 -38 4"', 4, 'lab = "62 -38 4" is a text in quotes'),
    ("[62, -38, 4]", "[620, -38, 4]", 4, "L* is 0 to 100, a* and b* within 200"),
    ("[62, -38, 4]", "[62, -380, 4]", 4, "L* is 0 to 100, a* and b* within 200"),
    ("lab = [62, -38, 4]", 'hex = "teal"', 4, 'a colour is written "#2fa39a"'),
    ("lab = [62, -38, 4]", "hex = 123456", 4, "hex = 123456 is a whole number; hex"),
    ("lab = [62, -38, 4]", 'region = "green"', 4, 'did you mean "ship green"?'),
    ("lab = [62, -38, 4]", 'picture = "a.png"', 4, "picture takes a table"),
    ("lab = [62, -38, 4]", "picture = {at = [1, 2]}", 4, '"file" is missing in [targ'),
    ("lab = [62, -38, 4]", 'picture = {file = "a.png"}', 4, '"at" is missing in'),
    (
        "lab = [62, -38, 4]",
        'picture = {file = "a.png", at = [1, 2]}',
        4,
        'cannot read the picture "a.png": No such file',
    ),
    (
        "lab = [62, -38, 4]",
        'picture.file = "viewpoint.png"\npicture.at = [1, 2]',
        4,  # the file is at fault, though its name holds the word "point"
        'cannot read the picture "viewpoint.png"',
    ),
    (
        "lab = [62, -38, 4]",
        'picture = {file = "a.png", at = [1, 2], radius = -1}',
        4,
        "radius = -1; give 0 to 2000",
    ),
    ("tolerance = 5", 'tolerance = "5"', 5, 'tolerance = "5" is a text'),
    ("tolerance = 5", "tolerance = -5", 5, "tolerance = -5; give 0 to 100"),
    ("tolerance = 5", "tolerence = 5", 5, 'did you mean "tolerance"?'),
    ("kept = 0.2", "kept = 20", 6, "percent is written as a ratio, 20 % as 0.2"),
    ("kept = 0.2", "kept = 0.2 %", 6, "a line is written key"),
    ("kept = 0.2", 'kept = 0.2\nlightness = "fre"', 7, 'did you mean "free"?'),
    # inset
    ('"40 x 60 mm"', '"40 x 60"', 9, 'size: "60" has no unit; write it as in'),
    ('"40 x 60 mm"', '"40 mm"', 9, 'is no size; write "40 x 60 mm", or diameter'),
    ('"40 x 60 mm"', '"0 x 60 mm"', 9, "both sides are more than zero"),
    ('"40 x 60 mm"', '"-40 x 60 mm"', 9, "both sides are more than zero"),
    ('"40 x 60 mm"', '"1e9 x 60 mm"', 9, "cannot be meant; check number and unit"),
    ('"40 x 60 mm"', "[40, 60]", 9, "size = [40, 60] is a list, [...]; size takes"),
    ("size =", "sise =", 9, '"sise" is not a key of [inset]; did you mean "size"?'),
    (
        "size =",
        'diameter = "3 mm"\nsize =',
        9,
        "[inset] has both size and diameter; keep one of them",
    ),
    ('size = "40 x 60 mm"', 'diameter = "0 mm"', 9, "must be more than zero"),
    ('size = "40 x 60 mm"', "diameter = 30", 9, "diameter = 30 has no unit; write it"),
    ('size = "40 x 60 mm"', "outline = [1, 2]", 9, "outline takes three corners in mm"),
    ('size = "40 x 60 mm"', "outline = []", 9, "outline takes three corners in mm"),
    (
        'size = "40 x 60 mm"',
        "outline = [[0, 0], [9, 0], [9]]",
        9,
        "outline takes three corners in mm",
    ),
    (
        'size = "40 x 60 mm"',
        "outline = [[0, 0], [4, 4], [8, 8]]",
        9,
        "this outline encloses no area; check its corners",
    ),
    (
        'size = "40 x 60 mm"',
        "outline = [[0, 0], [1e300, 0], [0, 1e300]]",
        9,
        "more than a kilometre wide; use mm",
    ),
    # light
    ("emitter =", "emiter =", 11, 'line 12 has "emiter", write "emitter"'),
    ('"white 4100 K"', '"white 4200 K"', 12, 'did you mean "white 4100 K"?'),
    ('"white 4100 K"', '"qqqq"', 12, "nothing on the shelf is alike"),
    ('"white 4100 K"', '""', 12, 'asked for "" among the emitters'),
    ('"white 4100 K"', '"a\\nb"', 12, 'asked for "a b" among the emitters'),
    ('"white 4100 K"', f'"{"w" * 400}"', 12, "www...www"),
    ('"white 4100 K"', "4100", 12, "emitter = 4100 is a whole number; emitter takes"),
    ("count = 6", "count = 0", 13, "count = 0; give 1 to 100000"),
    ("count = 6", "count = -1", 13, "count = -1; give 1 to 100000"),
    ("count = 6", "count = 2.5", 13, "count = 2.5 is a number; count takes a whole"),
    ("count = 6", "count = true", 13, "count = True is true or false; count takes"),
    ("lumens = 5", "lumens = 0", 14, "this LED gives no light; write its lumens"),
    ("lumens = 5", "mcd = 0", 14, "this LED gives no light; write its lumens"),
    ("lumens = 5", "lumens = -5", 14, "lumens = -5; give 0 to 1e+06"),
    ("lumens = 5", "lumens = nan", 14, "lumens = nan is no finite number"),
    ("lumens = 5", "lumens = inf", 14, "lumens = inf is no finite number"),
    ("lumens = 5", f"lumens = 1{'0' * 400}", 14, "is no finite number"),
    ("lumens = 5", 'lumens = "5 lm"', 14, 'lumens = "5 lm" is a text in quotes'),
    (
        "lumens = 5",
        "lumen = 5",
        14,
        '"lumen" is not a key of [light]; did you mean "lu',
    ),
    ("lumens = 5", "lumens = 5\nmcd = 9", 15, "[light] has both lumens and mcd"),
    ("lumens = 5", 'mcd = 9\nbeam = "180 deg"', 15, "a beam of 180 deg; give 1 to 179"),
    ("lumens = 5", 'mcd = 9\nbeam = "30"', 15, 'beam: "30" has no unit'),
    ("lumens = 5", 'current = "20 mm"', 14, '"mm" in "20 mm" is no unit for this'),
    ("lumens = 5", 'junction = "-300 C"', 14, "a junction of -300 C; give -60 to 200"),
    ('pitch = "15 mm"', "pitch = 15", 15, "pitch = 15 has no unit; write it in quotes"),
    ('pitch = "15 mm"', 'pitch = "0 mm"', 15, "must be more than zero"),
    ("coats = 2", "coats = 1.5", 16, "coats = 1.5 is a number; coats takes a whole"),
    ("coats = 2", "coats = -1", 16, "coats = -1; give 0 to 20"),
    ("coats = 2", "coats = 21", 16, "coats = 21; give 0 to 20"),
    ("coats = 2", "coat = 2", 16, '"coat" is not a key of [light.coats]; did you mean'),
    ("pink ink", "punk ink", 16, 'did you mean "pink ink"?'),
    ('[{ink = "pink ink", coats = 2}]', "2", 16, "coats = 2 is a whole number; coats"),
    ('[{ink = "pink ink", coats = 2}]', '["pink"]', 16, "coats takes tables like"),
    # cavity
    ('depth = "25 mm"\n', "", 18, '"depth" is missing in [cavity]; add it'),
    ('depth = "25 mm"', 'depth = "-25 mm"', 19, 'depth = "-25 mm" must be more than'),
    ("white paint", "whit paint", 20, 'did you mean "white paint"?'),
    ('wall = "white paint"', "wall = 0.8", 20, "wall = 0.8 is a number; wall takes a"),
    # layers
    ('kind = "cast"', "", 29, '"kind" is missing in [layer]; add it, for example'),
    ('"cast"', '"casst"', 30, 'kind = "casst" is not known; did you mean "cast"?'),
    ('"cast"', '"resin"', 30, "choose one of: cast, sheet, film, diffuser, gap"),
    ("frosted film", "frosty film", 24, 'did you mean "frosted film"?'),
    ('kind = "gap"', 'kind = "gap"\nwidth = 3', 28, '"width" is not a key of [layer]'),
    ('"epoxy"', '"epoxi"', 31, 'did you mean "epoxy"?'),
    ("100:45 by weight", "100/45", 32, 'mix: "100/45" is no mixing ratio; write'),
    ("100:45 by weight", "0:45", 32, "part A is more than zero"),
    ('thickness = "9 mm"', "", 29, '"thickness" is missing in [layer]; add it'),
    ('thickness = "9 mm"', "thickness = 9", 33, "thickness = 9 has no unit; write it"),
    ('thickness = "9 mm"', 'thickness = "9"', 33, 'thickness: "9" has no unit'),
    ('thickness = "9 mm"', 'thickness = "-9 mm"', 33, "must be more than zero"),
    ('thickness = "9 mm"', 'thickness = "0 mm"', 33, "must be more than zero"),
    ('thickness = "9 mm"', 'thickness = "9,5 mm"', 33, "has a decimal comma"),
    ('thickness = "9 mm"', 'thickness = "1e300 mm"', 33, "cannot be meant"),
    ('thickness = "9 mm"', 'thickness = "1e-300 mm"', 33, "cannot be meant"),
    ('thickness = "9 mm"', "thickness = nan", 33, "thickness = nan is a number"),
    ('thickness = "9 mm"', "thickness = true", 33, "thickness = True is true or false"),
    ('thickness = "9 mm"', 'thikness = "9 mm"', 29, 'line 33 has "thikness", write'),
    ('batch = "50 g"', "", 29, 'a dose in drops or grams needs batch = "50 g"'),
    ('batch = "50 g"', 'batch = "50"', 34, 'batch: "50" has no unit'),
    ('batch = "50 g"', "batch = 50", 34, "batch = 50 has no unit; write it in quotes"),
    ('batch = "50 g"', 'batch = "0 g"', 34, 'batch = "0 g" must be more than zero'),
    ('batch = "50 g"', 'batch = "50 mm"', 34, '"mm" in "50 mm" is no unit for this'),
    ('"4 drops"', '"4"', 36, 'dose: "4" has no unit; write it as in "4 drops"'),
    ('"4 drops"', "4", 36, "dose = 4 is a whole number; dose takes a text in quotes"),
    ('"4 drops"', '"-4 drops"', 36, 'dose: "-4 drops" is negative'),
    ('"2 drops"', '"2 blobs"', 37, '"blobs" in "2 blobs" is no unit for this'),
    ('"2 drops"', '"9 kg"', 37, "9000 g is more than ten batches; check the unit"),
    ('"2 drops"', '"1 g of -1:1 let-down"', 37, "is negative"),
    ('dose = "2 drops"', 'doze = "2 drops"', 37, 'line 37 has "doze", write "dose"'),
    ("yellow resin dye", "yelow resin dye", 37, 'did you mean "yellow resin dye"?'),
    ('bottle = "yellow resin dye", ', "", 37, "[layer.dyes] needs bottle or dye"),
    (
        'bottle = "yellow resin dye"',
        'bottle = "yellow resin dye", dye = "tartrazine"',
        37,
        "[layer.dyes] has both bottle and dye; keep one of them",
    ),
    (
        'bottle = "yellow resin dye"',
        'dye = "tartrazine"',
        37,
        "a dye by itself is dosed by mass; drops need a bottle",
    ),
    ('time = "10 min"', "time = 10", 44, "time = 10 has no unit; write it in quotes"),
    ('time = "10 min"', 'time = "-10 min"', 44, "the time in the bath is zero or more"),
    (
        'time = "10 min"',
        'time = "1 min", faces = 3',
        44,
        "faces = 2, or 1 with a masked",
    ),
    ('time = "10 min"', 'time = "1 min", rate = -1', 44, "rate = -1; give 0 to 100"),
    ('time = "10 min"', 'dose = "4 drops"', 44, '"time" is missing in [layer.dyes]'),
    # view
    ('"hall"', '"hal"', 47, 'did you mean "hall"?'),
    ('distance = "2 m"', 'distance = "2 miles"', 48, '"miles" in "2 miles" is no unit'),
    ('distance = "2 m"', 'distance = "0 m"', 48, "must be more than zero"),
]


@pytest.mark.parametrize(
    ("old", "new", "line", "says"),
    MISTAKES,
    ids=[f"{line} {new or 'no ' + old}"[:40] for old, new, line, _ in MISTAKES],
)
def test_a_mistake_has_its_line_and_says_what_to_do(read, old, new, line, says):
    with pytest.raises(InsetError) as error:
        read(swapped(old, new))
    text = str(error.value)
    assert text.startswith(f"p.toml:{line}: ")
    assert says in text
    assert "\n" not in text
    assert len(text) < 500


def test_a_point_outside_the_picture_is_at_its_own_line(read, tmp_path):
    Image.new("RGB", (9, 9)).save(tmp_path / "a.png")
    picture = 'picture.file = "a.png"\npicture.at = [9, 2]'
    with pytest.raises(InsetError, match=r"^p\.toml:5: the point 9, 2 lies outside"):
        read(swapped("lab = [62, -38, 4]", picture))


def test_a_mistake_in_a_material_names_both_files(read, tmp_path):
    folder = tmp_path / "shelf" / "inks"
    folder.mkdir(parents=True)
    (folder / "pink-ink.toml").write_text('name = "pink ink"\n', encoding="utf-8")
    with pytest.raises(
        InsetError, match=r'^p\.toml:16: pink-ink\.toml:1: "pink ink" h'
    ):
        read(PIECE)


# ------------------------------------------------------------------ anything

TEXT = (DEMO / "tide-bell.toml").read_text(encoding="utf-8")
SHELF = open_shelf(DEMO / "shelf")
VALUES = (
    st.sampled_from(
        """0|-1|1|1e308|1e-308|nan|inf|true|""|"x"|"9 mm"|"-9 mm"|"0 mm"|"1e300 mm"|[]|
    [1, 2]|[nan, nan, nan]|{}|{a = 1}|[[1, 2], [3, 4], [5, 7]]|1979-05-27|"\\u0000"|
    "a\\nb"|[true, false]|[[]]|[{}]|"4 drops"|"1e200 g"|"50 %"|"epoxy"|"straw"|0.5|
    [50, 5, 5]|"#123456"|"2:1"|"40 x 60 mm"|'|"|[|=""".replace("\n    ", "").split("|")
    )
    | st.floats().map(repr)
    | st.integers(-(10**30), 10**30).map(str)
)
EDITS = st.lists(
    st.tuples(
        st.sampled_from(["drop", "twice", "value", "inner", "byte"]),
        st.integers(0, 60),
        st.integers(0, 255),
        VALUES,
    ),
    min_size=1,
    max_size=4,
)


def edited(text, edits):
    """Damage a text as a hasty hand, or a bad disk, would."""
    for kind, place, byte, value in edits:
        rows = text.split("\n")
        at = place % len(rows)
        key, equals, rest = rows[at].partition("=")
        before, quote, after = rest.partition('"')
        if kind == "drop":
            del rows[at]
        elif kind == "twice":
            rows.insert(byte % len(rows), rows[at])
        elif kind == "value" and equals:
            rows[at] = f"{key}= {value}"
        elif kind == "inner" and quote:
            rows[at] = key + equals + before + value + after.partition('"')[2]
        elif kind == "byte" and rows[at]:
            column = byte % len(rows[at])
            rows[at] = rows[at][:column] + chr(byte) + rows[at][column + 1 :]
        text = "\n".join(rows)
    return text


def complaint(path):
    """Return what reading a file says against it, or nothing."""
    try:
        read_inset(path, SHELF)
    except TintlabError as error:
        return str(error)
    return ""


@given(EDITS)
@settings(
    max_examples=200,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_no_edit_whatever_escapes_as_anything_but_our_error(tmp_path, edits):
    text = edited(TEXT, edits)
    path = tmp_path / "p.toml"
    path.write_text(text, encoding="utf-8")
    said = complaint(path)
    if said:
        found = re.fullmatch(r"p\.toml:(\d+): .+", said)
        assert found, said
        assert 1 <= int(found[1]) <= text.count("\n") + 1


def test_the_edits_do_break_and_do_not_break_files(tmp_path):
    """So that the test above cannot pass by never reading anything."""
    path = tmp_path / "p.toml"
    path.write_text(edited(TEXT, [("drop", 1, 0, "")]), encoding="utf-8")
    assert complaint(path) == ""
    path.write_text(edited(TEXT, [("byte", 2, 4, "")]), encoding="utf-8")
    assert complaint(path).startswith("p.toml:3: ")
