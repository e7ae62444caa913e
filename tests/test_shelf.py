"""The shelf: how a name is found, and every mistake in a file of it in one line."""

import re

import numpy as np
import platformdirs
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tintlab.colourants import Bottle, Dye, Ink, shape_of
from tintlab.errors import ShelfError, TintlabError
from tintlab.shelf import KINDS, open_shelf, shelf_for, shipped, slug
from tintlab.spectrum import WAVELENGTHS

SOURCE = """\
[source]
citation = "for this test"
kind = "assumed"

"""
# the first line of each body is line 6 of its file
FILES = {
    "emitters": """\
[emitter]
kind = "single colour"
model = "lobes"
beam = 120

[data]
columns = ["peak [nm]", "width [nm]", "power [-]", "shift [nm/K]", "change [1/K]"]
table = \"\"\"
592  15  1.0  0.1  -0.01
610  20  0.5  0.1  -0.01
\"\"\"
""",
    "dyes": """\
[dye]
class = "azo"
hue = "red"
uses = ["ink"]
fluoresces = false

[strength]
peak = 500
molar_absorptivity = 25000
molar_mass = 400

[shape]
form = "bands"
valid = [400, 700]
columns = ["centre [nm]", "height [-]", "width [1/cm]"]
table = \"\"\"
500  1.0  3000
460  0.3  4000
\"\"\"
""",
    "bottles": """\
[bottle]
hue = "blue"
strength = 0.06
density = 0.9
drop = 0.025

[[dye]]
name = "solvent blue 104"

[[dye]]
name = "solvent blue 36"
share = 0.5
""",
    "inks": """\
[ink]
hue = "pink"
peak_absorbance = 0.5

[[dye]]
name = "rhodamine 6G"
""",
    "media": """\
[medium]
kind = "cast"
density = 1.1
thickness = [3, 25]

[index]
form = "sellmeier"
B = [1.2]
C = [0.01]

[absorption]
columns = ["wavelength [nm]", "absorbance per mm [-]"]
table = \"\"\"
380 0.01
780 0.001
\"\"\"

[cures]
amine = ["azo"]
""",
    "walls": """\
[wall]
finish = "matt"

[data]
columns = ["wavelength [nm]", "reflectance [-]"]
table = \"\"\"
380 0.5
500 0.8
780 0.9
\"\"\"
""",
    "diffusers": """\
[diffuser]
index = 1.49
thickness = 3
scattering = 2
anisotropy = 0.85
absorption = 0.002
""",
    "rooms": """\
[room]
illuminance = 300
white = "LED-B3"
""",
    "batteries": """\
[battery]
nominal_voltage = 1.5
cut_off = 0.9

[capacity]
columns = ["current [mA]", "capacity [mAh]"]
table = \"\"\"
10   1000
100  800
\"\"\"

[discharge]
columns = ["drawn [-]", "open voltage [V]", "resistance [ohm]"]
table = \"\"\"
0  1.6  0.3
1  0.9  0.6
\"\"\"
""",
    "targets": """\
[region]
columns = ["x [-]", "y [-]"]
table = \"\"\"
0.30 0.30
0.40 0.30
0.35 0.40
\"\"\"
""",
}


@pytest.fixture
def place(tmp_path):
    """Return a function that puts a file on the maker's own shelf, and the shelf."""

    def put(kind, content, stem="x"):
        folder = tmp_path / "shelf" / kind
        folder.mkdir(parents=True, exist_ok=True)
        (folder / f"{stem}.toml").write_text(content, encoding="utf-8")
        return open_shelf(tmp_path / "shelf")

    return put


@pytest.fixture
def own(place):
    """Return the same function for a file with name and source."""

    def put(kind, text, name="mine", stem="x"):
        return place(kind, f'name = "{name}"\n\n' + SOURCE + text, stem)

    return put


# ----------------------------------------------------------------- read right


@pytest.mark.parametrize("kind", KINDS)
def test_a_file_of_each_kind(own, kind):
    found = own(kind, FILES[kind]).find(kind, "mine")
    assert found.name == "mine"
    assert found.source.citation == "for this test"
    assert found.path.endswith("x.toml")


def test_values_are_those_of_the_file(own):
    bottle = own("bottles", FILES["bottles"]).find("bottles", "mine")
    assert (bottle.strength, bottle.density, bottle.drop) == (0.06, 0.9, 0.025)
    assert [(d.name, share) for d, share in bottle.dyes] == [
        ("solvent blue 104", 1.0),
        ("solvent blue 36", 0.5),
    ]
    medium = own("media", FILES["media"]).find("media", "mine")
    n = np.sqrt(1 + 1.2 * 0.5**2 / (0.5**2 - 0.01))  # Sellmeier at 0.5 um, by hand
    assert medium.index[WAVELENGTHS == 500] == pytest.approx(n)
    assert medium.cures == {"amine": ("azo",)}
    wall = own("walls", FILES["walls"]).find("walls", "mine")
    assert wall.reflectance[[0, 60, 120, 400]] == pytest.approx([0.5, 0.65, 0.8, 0.9])
    region = own("targets", FILES["targets"]).find("targets", "mine")
    assert region.corners.tolist() == [[0.3, 0.3], [0.4, 0.3], [0.35, 0.4]]


@pytest.mark.parametrize("kind", KINDS)
def test_every_shipped_file_is_read_and_found_by_its_name_in_any_case(kind):
    shelf = open_shelf()
    names = shelf.names(kind)
    assert len(shelf.all(kind)) == len(names) == len(set(names)) > 0
    for name in names:
        assert shelf.find(kind, name.upper()).name == name


def test_infrared_terms_of_an_index_are_allowed(own):
    """Borosilicate crown, glass code 517642: n_d 1.5168 (data sheet, from memory)."""
    text = FILES["media"].replace("[1.2]", "[1.03961212, 0.231792344, 1.01046945]")
    text = text.replace("[0.01]", "[0.00600069867, 0.0200179144, 103.560653]")
    index = own("media", text).find("media", "mine").index
    assert np.interp(587.56, WAVELENGTHS, index) == pytest.approx(1.5168, abs=5e-5)


# ----------------------------------------------------------- finding a name


def test_names_aliases_and_file_stems(own):
    shelf = own("walls", FILES["walls"], name="Grey Felt", stem="felt")
    assert shelf.find("walls", "grey felt").name == "Grey Felt"
    assert shelf.find("walls", "felt").name == "Grey Felt"
    assert shelf.find("walls", "matt white paint").name == "white paint"  # an alias


def test_the_makers_own_comes_first(own):
    shelf = own("walls", FILES["walls"], name="white paint", stem="white-paint")
    assert shelf.find("walls", "white paint").source.citation == "for this test"
    assert shelf.names("walls").count("white paint") == 1
    assert len(shelf.names("walls")) == len(open_shelf().names("walls"))


def test_a_missing_name_has_the_nearest(own):
    shelf = own("walls", FILES["walls"])
    with pytest.raises(ShelfError) as error:
        shelf.find("walls", "whit pain")
    assert str(error.value) == (
        'asked for "whit pain" among the walls; did you mean "white paint"? "tintlab '
        f'shelf list walls" names the {len(open_shelf().names("walls")) + 1} that we '
        "have"
    )


def test_a_typo_in_an_alias_has_the_alias():
    with pytest.raises(ShelfError, match='did you mean "warm white"'):
        open_shelf().find("emitters", "warm wite")
    assert open_shelf().find("emitters", "warm white").name == "white 3000 K"


@pytest.mark.parametrize(
    "name",
    ["", " ", "../walls/white-paint", "a" * 5000, "a\0b", "\N{SNOWMAN}", "*.toml"],
)
def test_odd_names_are_not_found(name):
    with pytest.raises(ShelfError, match="asked for"):
        open_shelf().find("inks", name)


def test_slug():
    assert slug("White 4100 K") == "white-4100-k"
    assert slug(" -- ") == ""


def test_shelves_are_looked_through_in_order(tmp_path, monkeypatch):
    """The folders given, the one beside the file, the user's, the shipped one."""
    user = tmp_path / "user"
    monkeypatch.setattr(platformdirs, "user_data_dir", lambda _: str(user))
    given = tmp_path / "given"
    for folder in (given, tmp_path / "shelf", user / "shelf"):
        (folder / "inks").mkdir(parents=True)
    found = shelf_for(tmp_path / "piece.toml", (given,)).folders
    assert found == (given, tmp_path / "shelf", user / "shelf", shipped())
    assert shelf_for().folders == (user / "shelf", shipped())


def test_a_shelf_that_is_none(tmp_path):
    with pytest.raises(ShelfError, match="which is no folder; check its name"):
        shelf_for(own=(tmp_path / "nowhere",))
    with pytest.raises(ShelfError, match="has none of the folders emitters, dyes"):
        open_shelf(tmp_path)


# ----------------------------------------------------------------- mistakes

MISTAKES = [
    # every file
    ("walls", 'citation = "for this test"\n', "", 3, '"citation" is missing in [sou'),
    (
        "walls",
        'kind = "assumed"',
        'kind = "guessed"',
        5,
        "choose one of: measured, pub",
    ),
    ("walls", "[source]", "[sorce]", 1, '"mine" has no [source]; line 3 has "sorce"'),
    (
        "walls",
        'kind = "assumed"',
        'kind = "memory"\nyear = 1',
        6,
        '"year" is not a key',
    ),
    ("walls", 'finish = "matt"', "finish = 1", 8, "finish = 1 is a whole number"),
    ("walls", 'finish = "matt"', 'finsh = "matt"', 8, 'did you mean "finish"?'),
    (
        "walls",
        "[wall]",
        "[wal]",
        1,
        '[wall] is missing; line 7 has "wal", write "wall"',
    ),
    ("walls", "[data]", "[daat]", 1, '[data] is missing; line 10 has "daat"'),
    # tables
    (
        "walls",
        '"reflectance [-]"',
        '"reflectance [%]"',
        11,
        'write ["wavelength [nm]", ',
    ),
    (
        "walls",
        '"reflectance [-]"',
        "5",
        11,
        'write ["wavelength [nm]", "reflectance [-]',
    ),
    ("walls", "500 0.8", "500 eighty", 14, 'the row "500 eighty" should be 2 numbers'),
    ("walls", "500 0.8", "500", 14, 'the row "500" should be 2 numbers: wavelength'),
    (
        "walls",
        "500 0.8",
        "500 0.8 0.9",
        14,
        'the row "500 0.8 0.9" should be 2 numbers',
    ),
    ("walls", "500 0.8", "500 0,8", 14, 'the row "500 0,8" should be 2 numbers'),
    ("walls", "500 0.8", "500 nan", 14, 'the row "500 nan" should be 2 numbers'),
    ("walls", "500 0.8", "500 inf", 14, 'the row "500 inf" should be 2 numbers'),
    ("walls", "500 0.8", "500 1e300", 14, 'the row "500 1e300" should be 2 numbers'),
    ("walls", "500 0.8", "\n\n500 x", 16, 'the row "500 x" should be 2 numbers'),
    ("walls", "500 0.8", "300 0.8", 12, "wavelengths must rise from row to row"),
    ("walls", "500 0.8", "380 0.8", 12, "wavelengths must rise from row to row"),
    ("walls", "780 0.9", "700 0.9", 12, "covers 380-700 nm; 380-780 nm are needed"),
    ("walls", "500 0.8", "500 80", 12, "percent is written as a ratio, 20 % as 0.2"),
    ("walls", "500 0.8", "500 -0.1", 12, "goes from -0.1 to 0.9, which cannot be"),
    ("walls", "500 0.8", "500 1.2", 10, "a reflectance above 1; percent is written"),
    ("walls", "380 0.5\n500 0.8\n780 0.9\n", "", 12, "the table is empty; add rows"),
    # emitters
    ("emitters", '"lobes"', '"lobe"', 9, 'did you mean "lobes"?'),
    ("emitters", '"lobes"', '"cie"\nkey = "D66"', 10, 'did you mean "D65"?'),
    ("emitters", '"lobes"', '"cie"', 7, '"key" is missing in [emitter]'),
    ("emitters", '"single colour"', '"one colour"', 8, "choose one of: white, single"),
    ("emitters", "beam = 120", "beam = 0", 10, "beam = 0; give 1 to 179"),
    ("emitters", "beam = 120", "efficacy = 900", 10, "efficacy = 900; give 0 to 683"),
    ("emitters", "592  15", "592  0", 14, "a lobe is narrower than 1 nm"),
    ("emitters", "15  1.0", "15  -1.0", 14, "or has negative power"),
    (
        "emitters",
        "610  20  0.5",
        "610  20",
        16,
        "should be 5 numbers: peak [nm], width",
    ),
    # dyes
    ("dyes", '"azo"', '"azzo"', 8, 'class = "azzo" is not known; did you mean "azo"?'),
    ("dyes", "uses = [", "uses = [1, ", 10, "uses = [1, 'ink']; uses takes texts"),
    ("dyes", 'uses = ["ink"]', 'uses = "ink"', 10, 'uses = "ink" is a text in quotes'),
    ("dyes", "= false", '= "no"', 11, "fluoresces takes true or false"),
    ("dyes", "peak = 500", "peak = 5000", 14, "peak = 5000; give 200 to 1100"),
    ("dyes", "molar_mass = 400", "molar_mass = 0", 16, "molar_mass = 0; give 1 to"),
    ("dyes", "[400, 700]", "[700, 400]", 20, "give the lower number first"),
    ("dyes", "[400, 700]", "[400]", 20, "valid = [400]; valid takes 2 finite numbers"),
    ("dyes", '"bands"', '"lines"', 19, "choose one of: bands, log-normal, table"),
    ("dyes", "500  1.0  3000", "0  1.0  3000", 22, "a band has its centre at 200-1100"),
    ("dyes", "500  1.0  3000", "500  1.0  0", 22, "a band has its centre at 200-1100"),
    ("dyes", "500  1.0", "500  -1.0", 22, "band heights are not negative"),
    ("dyes", "valid =", "second = [500, 1e9]\nvalid =", 20, "give nm and height"),
    (
        "dyes",
        "500  1.0  3000\n460  0.3  4000",
        "210  1.0  300",
        19,
        "this dye absorbs next to nothing within 380-780 nm",
    ),
    # bottles and inks
    ("bottles", "strength = 0.06", "", 7, '"strength" is missing in [bottle]; add it'),
    (
        "bottles",
        "strength = 0.06",
        "strength = -1",
        9,
        "strength = -1; give 0 to 1e+06",
    ),
    ("bottles", "density = 0.9", "density = 900", 10, "density = 900; give 0.3 to 3"),
    ("bottles", "drop = 0.025", 'drop = "0.025 g"', 11, 'drop = "0.025 g" is a text'),
    ("bottles", "solvent blue 104", "solvent blu 104", 14, "did you mean"),
    ("bottles", "share = 0.5", "share = -0.5", 18, "share = -0.5; give 0 to 1000"),
    ("bottles", "share = 0.5", "part = 0.5", 18, '"part" is not a key of [dye]'),
    ("inks", '[[dye]]\nname = "rhodamine 6G"', "", 1, "[[dye]] is missing, a dye of"),
    (
        "inks",
        '"rhodamine 6G"',
        '"rhodamine 6G"\nshare = 0',
        11,
        "every share of the dy",
    ),
    (
        "inks",
        "peak_absorbance = 0.5",
        "unevenness = 30",
        7,
        '"peak_absorbance" is missi',
    ),
    ("inks", "= 0.5", "= 0.5\nunevenness = 30", 10, "percent is written as a ratio"),
    # media
    ("media", "density = 1.1", "density = 1100", 9, "density = 1100; give 0.5 to 4"),
    ("media", "[3, 25]", "[25, 3]", 10, "give the lower number first"),
    ("media", '"sellmeier"', '"abbe"\nd = 15', 14, "d = 15; give 1.2 to 2.5"),
    ("media", "C = [0.01]", "C = [0.01, 0.02]", 15, "B has 1 terms and C has 2"),
    ("media", "C = [0.01]", "C = [0.25]", 15, "a term of C lies within 380-780 nm"),
    ("media", "B = [1.2]", 'B = ["a"]', 14, "B = ['a']; B takes finite numbers"),
    ("media", "B = [1.2]", "B = [-3]", 14, "these terms give no index of 1 to 4"),
    (
        "media",
        '["azo"]',
        '["azzo"]',
        25,
        '"azzo" is no class of dyes; did you mean "az',
    ),
    ("media", '["azo"]', '"azo"', 25, 'amine = "azo" is a text in quotes'),
    ("media", '["azo"]', "5", 25, "amine = 5 is a whole number; amine takes a list"),
    ("media", "380 0.01", "380 50", 19, "percent is written as a ratio"),
    (
        "media",
        "[cures]",
        'file = "no.csv"\n[cures]',
        17,
        '"thickness" is missing in [a',
    ),
    (
        "media",
        "[cures]",
        'file = "no.csv"\nthickness = 2\n[cures]',
        24,
        'cannot read "no.csv": No such file',
    ),
    # the rest
    ("diffusers", "index = 1.49", "index = 0", 8, "index = 0; give 1 to 2.5"),
    ("diffusers", "= 0.85", "= 1", 11, "anisotropy = 1; give -0.99 to 0.99"),
    ("rooms", '"LED-B3"', '"LED-B9"', 9, 'did you mean "LED-B'),
    ("rooms", "= 300", "= -1", 8, "illuminance = -1; give 0 to 200000"),
    ("rooms", "= 300", '= "300 lx"', 8, 'illuminance = "300 lx" is a text in quotes'),
    ("targets", "0.35 0.40\n", "", 9, "a region has three corners or more"),
    ("targets", "0.35 0.40", "0.70 0.40", 9, "x + y up to 1 in each"),
]


@pytest.mark.parametrize(
    ("kind", "old", "new", "line", "says"),
    MISTAKES,
    ids=[
        f"{kind} {line} {new or 'no ' + old}"[:50]
        for kind, old, new, line, _ in MISTAKES
    ],
)
def test_a_mistake_has_its_line_and_says_what_to_do(place, kind, old, new, line, says):
    whole = 'name = "mine"\n\n' + SOURCE + FILES[kind]
    assert whole.count(old) == 1, old
    shelf = place(kind, whole.replace(old, new))
    with pytest.raises(ShelfError) as error:
        shelf.find(kind, "x")
    text = str(error.value)
    assert text.startswith(f"x.toml:{line}: ")
    assert says in text
    assert "\n" not in text
    assert len(text) < 600


@pytest.mark.parametrize("wrong", ["5", '"abc"', "[1]", "{a.b.c = 1}"])
def test_aliases_that_are_no_list_are_refused_and_harm_no_other_name(place, wrong):
    head = f'name = "mine"\naliases = {wrong}\n'
    shelf = place("walls", head + SOURCE + FILES["walls"])
    with pytest.raises(ShelfError, match=r"^x\.toml:2: aliases = "):
        shelf.find("walls", "x")
    assert shelf.find("walls", "matt white paint").name == "white paint"


@pytest.mark.parametrize("wrong", ["", "name = 5\n", "name" + ".a" * 500 + " = 1\n"])
def test_a_name_that_is_none(place, wrong):
    shelf = place("walls", wrong + SOURCE + FILES["walls"])
    with pytest.raises(ShelfError, match=r"^x\.toml:1: "):
        shelf.find("walls", "x")
    with pytest.raises(ShelfError, match="asked for"):
        shelf.find("walls", "no such wall")


# ------------------------------------------------------------------ anything

SHIPPED = {
    kind: [path.read_text(encoding="utf-8") for path in open_shelf().files(kind)][:8]
    for kind in KINDS
}
VALUES = st.sampled_from(
    """0|-1|1|1e308|1e-308|nan|inf|true|""|"x"|[]|[1, 2]|[nan, nan]|{}|{a = 1}|
    [[1, 2], [3, 4]]|1979-05-27|"\\u0000"|"a\\nb"|[true, false]|[{}]|["azo"]|"D65"|
    [1e300, 1e300]|"bands"|"table"|"lobes"|"cie"|0.5|200|"|[""".replace(
        "\n    ", ""
    ).split("|")
) | st.floats().map(repr)
EDITS = st.lists(
    st.tuples(
        st.sampled_from(["drop", "twice", "value", "number", "byte"]),
        st.integers(0, 80),
        st.integers(0, 255),
        VALUES,
    ),
    min_size=1,
    max_size=3,
)


def edited(text, edits):
    """Damage a text as a hasty hand, or a bad disk, would."""
    for kind, place, byte, value in edits:
        rows = text.split("\n")
        at = place % len(rows)
        key, equals, _ = rows[at].partition("=")
        if kind == "drop":
            del rows[at]
        elif kind == "twice":
            rows.insert(byte % len(rows), rows[at])
        elif kind == "value" and equals:
            rows[at] = f"{key}= {value}"
        elif kind == "number":
            words = re.split(r"(\d[\d.]*)", rows[at])
            if len(words) > 1:
                words[1 + 2 * (byte % (len(words) // 2))] = value
            rows[at] = "".join(words)
        elif kind == "byte" and rows[at]:
            column = byte % len(rows[at])
            rows[at] = rows[at][:column] + chr(byte) + rows[at][column + 1 :]
        text = "\n".join(rows)
    return text


def outcome(kind, path):
    """Read one file: the material or what is said against it."""
    try:
        return open_shelf(path.parents[1]).read(kind, path)
    except TintlabError as error:
        return str(error)


@given(st.sampled_from(KINDS), st.integers(0, 7), EDITS)
@settings(
    max_examples=250,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
def test_no_edit_whatever_escapes_as_anything_but_our_error(
    tmp_path, kind, number, edits
):
    folder = tmp_path / kind
    folder.mkdir(exist_ok=True)
    text = edited(SHIPPED[kind][number % len(SHIPPED[kind])], edits)
    (folder / "x.toml").write_text(text, encoding="utf-8")
    found = outcome(kind, folder / "x.toml")
    if isinstance(found, str):
        said = re.fullmatch(r"x\.toml:(\d+): .+|x\.toml is empty; .+", found)
        assert said, found
        assert 1 <= int(said[1] or 1) <= text.count("\n") + 1
    elif isinstance(found, (Dye, Bottle, Ink)):
        shape = shape_of(found, shift=5.0, broadening=1.3)
        assert np.isfinite(shape).all()
        assert (shape >= 0).all()
