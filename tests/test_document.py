"""Files that a maker wrote, every way to get one wrong, and the line that is named."""

import os
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tintlab import document
from tintlab.document import key_lines, nearest
from tintlab.errors import InsetError, TintlabError

ROOT = Path(__file__).resolve().parents[1]
FILES = [*ROOT.glob("spectra/**/*.toml"), *ROOT.glob("demo/**/*.toml")]


@pytest.fixture
def read(tmp_path):
    """Return a function that reads text, or bytes, as a file called x.toml."""

    def reader(content):
        path = tmp_path / "x.toml"
        if isinstance(content, str):
            content = content.encode()
        path.write_bytes(content)
        return document.read(path, error=InsetError)

    return reader


def message(call, *arguments, **named):
    """Return what an error says, which is one short line, and never a traceback."""
    with pytest.raises(InsetError) as error:
        call(*arguments, **named)
    text = str(error.value)
    assert "\n" not in text
    assert len(text) < 900
    return text


# ------------------------------------------------------------- lines of keys


def trails(value, trail=()):
    """Yield every trail of parsed TOML: the second opinion on `key_lines`."""
    items = value.items() if isinstance(value, dict) else enumerate(value)
    for step, inner in items:
        yield (*trail, step)
        if isinstance(inner, (dict, list)):
            yield from trails(inner, (*trail, step))


@pytest.mark.parametrize("path", FILES, ids=lambda p: f"{p.parent.name}/{p.stem}")
def test_every_key_of_every_file_has_its_line(path):
    text = path.read_text(encoding="utf-8")
    lines, rows = key_lines(text), text.split("\n")
    assert set(lines) == set(trails(tomllib.loads(text)))
    for trail, line in lines.items():
        if isinstance(trail[-1], str):
            assert trail[-1] in rows[line - 1]


AWKWARD = '''\
# a = 1
"quoted key" = "]"  # [x]
dotted.one.two = """
[not.a.table]
a = 1"""
'literal' = \'\'\'
b = 2\'\'\'
flat = [1, [2,
  3], {c = "=", d = [
    4]}]
empty = {}

[[list]]
e = 5
[[list.inner]]
f = 6
[[list]]
e = 7
[list.table]
"g" = {h = 8,"i,j" = "\\"]"}
'''
WANTED = {
    ("quoted key",): 2,
    ("dotted",): 3,
    ("dotted", "one"): 3,
    ("dotted", "one", "two"): 3,
    ("literal",): 6,
    ("flat",): 8,
    ("flat", 0): 8,
    ("flat", 1): 8,
    ("flat", 1, 0): 8,
    ("flat", 1, 1): 9,
    ("flat", 2): 9,
    ("flat", 2, "c"): 9,
    ("flat", 2, "d"): 9,
    ("flat", 2, "d", 0): 10,
    ("empty",): 11,
    ("list",): 13,
    ("list", 0): 13,
    ("list", 0, "e"): 14,
    ("list", 0, "inner"): 15,
    ("list", 0, "inner", 0): 15,
    ("list", 0, "inner", 0, "f"): 16,
    ("list", 1): 17,
    ("list", 1, "e"): 18,
    ("list", 1, "table"): 19,
    ("list", 1, "table", "g"): 20,
    ("list", 1, "table", "g", "h"): 20,
    ("list", 1, "table", "g", "i,j"): 20,
}


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_lines_of_an_awkward_file_by_hand(end):
    text = AWKWARD.replace("\n", end)
    assert key_lines(text) == WANTED
    assert set(WANTED) == set(trails(tomllib.loads(text)))


KEYS = st.sampled_from(["a", "b", "c d", "e.f"])
SCALARS = st.sampled_from(["1", '"["', "'}'", "true", "1.5", '"#"', '"a\\"b"'])


@st.composite
def values(draw, depth=2):
    """Write a TOML value: a scalar, an array over several lines, an inline table."""
    kind = draw(st.integers(0, 2)) if depth else 0
    if kind == 0:
        return draw(SCALARS)
    inner = draw(st.lists(values(depth=depth - 1), max_size=3))
    if kind == 1:
        return "[" + draw(st.sampled_from([", ", ",\n"])).join(inner) + "]"
    keys = draw(st.lists(KEYS, min_size=len(inner), max_size=len(inner), unique=True))
    return "{" + ", ".join(f'"{k}" = {v}' for k, v in zip(keys, inner)) + "}"  # noqa: B905


@given(st.lists(st.tuples(KEYS, values()), unique_by=lambda pair: pair[0]))
@settings(max_examples=50, deadline=None)
def test_lines_of_any_values(pairs):
    text = "".join(f'"{key}" = {value}\n# note [\n' for key, value in pairs)
    lines = key_lines(text)
    assert set(lines) == set(trails(tomllib.loads(text)))
    for trail, line in lines.items():
        if isinstance(trail[-1], str):
            assert f'"{trail[-1]}"' in text.split("\n")[line - 1]


# -------------------------------------------------------- files that are none


def test_a_missing_file(tmp_path):
    found = message(document.read, tmp_path / "no.toml", error=InsetError)
    assert 'cannot read "no.toml": No such file or directory; check its name' in found


def test_a_folder(tmp_path):
    found = message(document.read, tmp_path, error=InsetError)
    assert "which is a folder; name a file" in found


def test_an_unreadable_file(tmp_path, monkeypatch):
    path = tmp_path / "x.toml"
    path.write_text("a = 1", encoding="utf-8")

    def refuse(*_, **__):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    assert "x.toml" in message(document.read, path, error=InsetError)


def test_a_name_that_no_file_can_have(tmp_path):
    assert "null byte" in message(document.read, Path("a\0b"), error=InsetError)
    long = tmp_path / ("x" * 5000)
    assert "File name too long" in message(document.read, long, error=InsetError)


def test_a_huge_file_is_refused_without_reading_it(tmp_path):
    path = tmp_path / "x.toml"
    path.touch()
    os.truncate(path, 10**9)
    found = message(document.read, path, error=InsetError)
    assert "has 1000 MB; such a file has at most 4 MB; is it the right file?" in found


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="no such device here")
def test_a_file_without_an_end_is_refused():
    found = message(document.read, Path("/dev/zero"), error=InsetError)
    assert "has no end within 4 MB; name a plain file" in found


@pytest.mark.parametrize("content", ["", "\n\n", " \t\r\n", b"\n" * 9])
def test_an_empty_file(read, content):
    assert message(read, content) == "x.toml is empty; write the file first"


@pytest.mark.parametrize(
    ("content", "line"),
    [
        ('a = 1\nb = "caf\xe9"\n'.encode("latin-1"), 2),
        ('a = "x"\n'.encode("utf-16"), 1),
        (b"\x89PNG\r\n\x1a\n", 1),
        (b"a = 1\n\nb = 2 # \xff\n", 3),
    ],
)
def test_another_encoding(read, content, line):
    found = message(read, content)
    assert found.startswith(f"x.toml:{line}: this line is not UTF-8 text; save")


def test_a_byte_order_mark_and_windows_line_ends_are_fine(read):
    section = read(b"\xef\xbb\xbfa = 1\r\nb = 2\r\n")
    assert section.table == {"a": 1, "b": 2}
    assert section.document.line_of(("b",)) == 2


# --------------------------------------------------------------- broken TOML


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("a = \n", 1),
        ("a = 1\nb 2\n", 2),
        ("a = 1\n\n[b\nc = 2\n", 3),
        ("a = 1\na = 2\n", 2),  # a key twice
        ("[a]\nb = 1\n[a]\nc = 2\n", 3),  # a table twice
        ("a = 9 mm\n", 1),
        ('a = 1\nb = "x\nc = 2\n', 2),
        ("a = 1\nb = 'x\nc = 2\n", 3),  # the reader looks for ' to the end
        ('a = """\nnever closed\n', 2),
        ("a = [1, 2\nb = 3\n", 2),
        ("a = 1,5\n", 1),
        ("a = 2024-13-45\n", 1),
        ("a = 1\x00\n", 1),
        ("a = 1\n= 2\n", 2),
        ("a = tru\n", 1),
        ('a = "\\q"\n', 1),
        ("a: 1\n", 1),
        ("{}\n", 1),
    ],
)
def test_broken_toml_names_its_line(read, text, line):
    found = message(read, text)
    assert found.startswith(f"x.toml:{line}: ")
    assert 'a line is written key = "value"' in found


def test_a_number_of_thousands_of_digits(read):
    found = message(read, "a = 1\nb = " + "9" * 5000 + "\n")
    assert found == "x.toml:2: a number has thousands of digits; shorten it"


@pytest.mark.parametrize(("left", "right"), [("[", "]"), ("{a = ", "}")])
def test_deep_brackets(read, left, right):
    text = "a = 1\nb = " + left * 5000 + ("1" if left != "[" else "") + right * 5000
    assert message(read, text) == (
        "x.toml:2: brackets are nested too deeply; close some"
    )


def test_a_deep_dotted_key_is_shown_short(read):
    section = read("a" + ".b" * 3000 + " = 1\n")
    found = message(section.text, "a")
    assert found.startswith("x.toml:1: a = {'b': {'b':")
    assert found.endswith('is a table; a takes a text in quotes, "..."')


# ------------------------------------------------------------ values one by one

TEXT = """\
word = "yes"
number = 0.5
whole = 3
flag = true
list = [1, 2]
texts = ["a", "b"]
nothing = []
date = 2024-05-01
not_a_number = nan
endless = inf
HUGE = 1HUGE
[table]
inside = 1
[[tables]]
one = 1
[[tables]]
one = 2
""".replace("1HUGE", "1" + "0" * 400)


@pytest.mark.parametrize(
    ("method", "arguments", "says"),
    [
        ("text", ("number",), "2: number = 0.5 is a number; number takes a text in q"),
        ("text", ("flag",), "4: flag = True is true or false; flag takes a text"),
        ("text", ("date",), "8: date = datetime.date(2024, 5, 1) is a date; date"),
        ("text", ("missing",), '1: "missing" is missing in the file; add it'),
        ("number", ("word",), '1: word = "yes" is a text in quotes, "..."; word takes'),
        ("number", ("flag",), "4: flag = True is true or false; flag takes a number"),
        ("number", ("not_a_number",), "9: not_a_number = nan is no finite number"),
        ("number", ("endless",), "10: endless = inf is no finite number"),
        ("number", ("HUGE",), "is no finite number"),
        ("whole", ("number",), "2: number = 0.5 is a number; number takes a whole"),
        ("numbers", ("list", 3), "5: list = [1, 2]; list takes 3 finite numbers"),
        ("numbers", ("texts", 2), "6: texts = ['a', 'b']; texts takes 2 finite"),
        ("texts", ("list",), "5: list = [1, 2]; list takes texts"),
        ("section", ("number",), "2: number = 0.5 is a number; number takes a table"),
        ("section", ("tables",), "14: there is one tables only; write [tables]"),
        ("sections", ("table",), "12: there may be several table; write [[table]]"),
        ("sections", ("list",), "5: list takes tables like [[list]] or {...}"),
        ("sections", ("word",), '1: word = "yes" is a text'),
    ],
)
def test_a_value_of_another_kind(read, method, arguments, says):
    bounds = {"low": 0, "high": 9} if method == "whole" else {}
    section = read(TEXT)
    assert f"{says}" in message(getattr(section, method), *arguments, **bounds)


@pytest.mark.parametrize(
    ("bounds", "says"),
    [
        ({"low": 1}, "number = 0.5; give 1 or more"),
        ({"high": 0.2}, "number = 0.5; give at most 0.2"),
        ({"low": 2, "high": 9}, "number = 0.5; give 2 to 9"),
    ],
)
def test_a_number_outside_its_range(read, bounds, says):
    assert message(read(TEXT).number, "number", **bounds) == f"x.toml:2: {says}"


def test_percent_where_a_ratio_belongs(read):
    found = message(read("share = 20\n").number, "share", low=0, high=1)
    assert found == (
        "x.toml:1: share = 20; give 0 to 1; percent is written as a ratio, 20 % as 0.2"
    )


def test_right_values_come_back(read):
    section = read(TEXT)
    assert section.text("word") == "yes"
    assert section.text("missing", "default") == "default"
    assert section.number("number", low=0, high=1) == 0.5
    assert section.number("whole") == 3.0
    assert section.number("missing", None) is None
    assert section.whole("whole", low=0, high=3) == 3
    assert section.whole("missing", 2, low=0, high=3) == 2
    assert section.numbers("list", 2) == [1.0, 2.0]
    assert section.numbers("nothing", None) == []
    assert section.numbers("missing", 2, None) is None
    assert section.texts("texts") == ["a", "b"]
    assert section.section("table").number("inside") == 1
    assert section.section("missing") is None
    assert [s.number("one") for s in section.sections("tables")] == [1, 2]
    assert section.sections("missing") == []


def test_a_word_that_is_not_among_the_known(read):
    section = read('kind = "casst"\n')
    found = message(section.choice, "kind", ("cast", "sheet"))
    assert found == (
        'x.toml:1: kind = "casst" is not known; did you mean "cast"? choose one of: '
        "cast, sheet"
    )


# ------------------------------------------------------------- keys one by one


def test_an_unknown_key_is_named_with_its_line_and_the_nearest(read):
    section = read('name = "x"\n\nlumen = 3\n')
    section.has("name"), section.has("lumens")
    assert message(section.close) == (
        'x.toml:3: "lumen" is not a key of the file; did you mean "lumens"? known '
        "keys: name, lumens"
    )


def test_the_second_table_is_named_by_its_own_line(read):
    first, second = read(TEXT).sections("tables")
    first.has("one")
    first.close()
    assert message(second.close).startswith('x.toml:17: "one" is not a key of [tables]')


def test_a_missing_key_is_at_its_own_section_not_at_the_next_that_has_it(read):
    text = "[[layer]]\na = 1\n\n[[layer]]\na = 1\nthickness = 2\n"
    first, _ = read(text).sections("layer")
    assert message(first.text, "thickness").startswith("x.toml:1: ")


def test_a_missing_key_that_is_almost_there(read):
    section = read("[light]\nx = 1\nemiter = 2\n").section("light")
    assert message(section.text, "emitter") == (
        'x.toml:1: "emitter" is missing in [light]; line 3 has "emiter", write '
        '"emitter"'
    )


def test_one_of_several_keys(read):
    section = read("a = 1\nb = 2\nd = 3\n")
    assert section.one_of("a", "c") == "a"
    assert section.one_of("e", "f") is None
    assert message(section.one_of, "a", "b") == (
        "x.toml:2: the file has both a and b; keep one of them"
    )
    assert "the file needs e or f; add it" in message(
        section.one_of, "e", "f", required=True
    )


@pytest.mark.parametrize(
    ("word", "among", "wanted"),
    [
        ("lumen", ("lumens", "mcd"), 'did you mean "lumens"? '),
        ("PMMA SHEET", ("PMMA sheet", "PET film"), 'did you mean "PMMA sheet"? '),
        ("d65", ("D50", "D65"), 'did you mean "D65"? '),
        ("qqq", ("lumens", "mcd"), ""),
        ("", ("lumens",), ""),
        ("x" * 10**6, ("lumens",), ""),
    ],
)
def test_nearest(word, among, wanted):
    assert nearest(word, among) == wanted


def test_an_error_is_one_short_line_whatever_the_file_holds(read):
    name = "a\\nb\\tc " + "long " * 300 + "\\u0000"
    section = read(f'"{name}" = 1\n')
    found = message(section.close)
    assert found.startswith('x.toml:1: "a b c long long')


# ------------------------------------------------------------------ anything


@given(st.binary(max_size=200) | st.text(max_size=200).map(str.encode))
@settings(max_examples=150, deadline=None)
def test_no_bytes_whatever_escape_as_anything_but_our_error(tmp_path_factory, content):
    path = tmp_path_factory.mktemp("any") / "x.toml"
    path.write_bytes(content)
    try:
        section = document.read(path, error=InsetError)
        section.close()
    except TintlabError as error:
        assert "\n" not in str(error)  # noqa: PT017
    else:
        assert section.table == {}
