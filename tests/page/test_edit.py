"""One value of a TOML text is changed; everything else stays, to the letter."""

import copy
import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tomlkit.exceptions import TOMLKitError

from tintlab.errors import PageError
from tintlab.page import edit
from tintlab.page.edit import moved, value_at, with_inserted, with_value, without

ROOT = Path(__file__).resolve().parents[2]
DEMO = (ROOT / "demo/tide-bell/tide-bell.toml").read_text(encoding="utf-8")
INSETS = sorted(p for p in ROOT.glob("demo/*/*.toml"))

TEXT = """\
# a window

name = "x"   # its name
[target]
lab = [1, 2, 3]  # read from a painting

# the light
[[light]]
emitter = "red"

# the first layer
[[layer]] # one
kind = "cast"
dyes = [
    { bottle = "sea blue", dose = "4 drops" }, # mine
    # a word between
    { bottle = "straw", dose = "2 drops" }
]

# the second layer,
# in two lines
[[layer]]
kind = "gap"

[view]
room = "hall"
"""


def changed_lines(before, after):
    """Return the lines that went and the lines that came."""
    old, new = before.split("\n"), after.split("\n")
    return [x for x in old if x not in new], [x for x in new if x not in old]


# ------------------------------------------------------------------- values


def test_one_dose_changes_one_line():
    text = with_value(DEMO, ("layer", 2, "dyes", 0, "dose"), "5 drops")
    gone, come = changed_lines(DEMO, text)
    assert gone == ['    { bottle = "sea blue", dose = "4 drops" },']
    assert come == ['    { bottle = "sea blue", dose = "5 drops" },']


def test_a_comment_behind_a_value_stays():
    text = with_value(TEXT, ("target", "lab"), [4.5, 5, -6])
    assert "lab = [4.5, 5, -6]  # read from a painting" in text
    assert len(text.split("\n")) == len(TEXT.split("\n"))


def test_a_new_key_stands_in_its_table_before_the_blank_line():
    text = with_value(TEXT, ("target", "tolerance"), 5)
    assert "painting\ntolerance = 5\n\n# the light" in text


@pytest.mark.parametrize(
    ("keys", "value", "piece"),
    [
        (("notes",), "hi", 'name = "x"   # its name\nnotes = "hi"\n'),
        (("seen", "lab"), [1, 2, 3], "\n\n[seen]\nlab = [1, 2, 3]\n"),
        (("seen",), {"light": 0.3}, "\n\n[seen]\nlight = 0.3\n"),
        (
            ("light", 0, "coats"),
            [{"ink": "i", "coats": 2}],
            '[{ ink = "i", coats = 2 }]',
        ),
        (("light", 0, "coats", 0), {"ink": "i"}, 'coats = [{ ink = "i" }]'),
        (
            ("light", 1),
            {"emitter": "blue"},
            '[[light]]\nemitter = "blue"\n\n# the first',
        ),
        (("layer", 2), {"kind": "gap"}, '\n\n[[layer]]\nkind = "gap"\n\n[view]'),
        (("layer", 0, "dyes", 2), {"bottle": "b"}, '    { bottle = "b" }\n]'),
        (("target", "face", "weight"), 0.5, "face = { weight = 0.5 }"),
        (("battery", "cells"), 3, "[battery]\ncells = 3"),
    ],
)
def test_what_is_missing_is_made(keys, value, piece):
    text = with_value(TEXT, keys, value)
    assert piece in text
    assert value_at(tomllib.loads(text), keys) == value
    assert all(line in text for line in TEXT.split("\n") if line.startswith("#"))


def test_a_first_table_of_an_array_is_made_in_an_empty_text():
    text = with_value("", ("light", 0, "emitter"), "red")
    assert text == '[[light]]\nemitter = "red"\n'


@pytest.mark.parametrize(
    ("value", "written"),
    [
        (0.1 + 0.2, "0.3"),
        (np.float64(0.25), "0.25"),
        (np.int64(3), "3"),
        (True, "true"),
        ('3" mould\n\x7f\\', r'"3\" mould\n\u007f\\"'),
        ((1, 2), "[1, 2]"),
        ({"a b": 1, "c": []}, '{ "a b" = 1, c = [] }'),
    ],
)
def test_values_are_written_as_a_maker_would(value, written):
    text = with_value("x = 0\ny = 1\n", ("x",), value)
    assert written in text or isinstance(value, dict)
    assert with_value("[t]\nx = 0\n", ("t", "x"), value) == f"[t]\nx = {written}\n"


@pytest.mark.parametrize("value", [None, math.nan, math.inf, object(), {1: 2}, b"x"])
def test_what_toml_cannot_hold_is_refused(value):
    with pytest.raises(PageError, match="cannot hold"):
        with_value(TEXT, ("x",), value)


@pytest.mark.parametrize(
    "keys",
    [
        ("layer", 7, "kind"),
        ("layer", -1, "kind"),
        ("layer", -1),
        ("layer", "kind"),
        ("layer", 0, "dyes", 5),
        ("name", "x"),
        ("name", 0),
        ("target", "lab", 9),
        ("target", 0),
    ],
)
def test_a_place_that_is_not_there_is_refused(keys):
    for change in (
        lambda: with_value(TEXT, keys, "v"),
        lambda: without(TEXT, keys),
        lambda: with_inserted(TEXT, keys, "v"),
    ):
        with pytest.raises(PageError):
            change()


def test_a_broken_text_is_left_alone():
    for change in (
        lambda: with_value('name = "x\n', ("name",), "y"),
        lambda: without('name = "x\n', ("name",)),
    ):
        with pytest.raises(PageError, match="does not read"):
            change()


# ------------------------------------------------------------------- tables


def test_a_removed_layer_takes_its_own_comments_along_and_no_other():
    text = without(TEXT, ("layer", 0))
    assert "# the first layer" not in text
    assert "# the second layer,\n# in two lines\n[[layer]]\n" in text
    text = without(TEXT, ("layer", 1))
    assert "the second layer" not in text
    assert "# the first layer\n[[layer]] # one" in text


def test_a_moved_layer_takes_its_comments_along():
    text = moved(TEXT, ("layer", 0), 1)
    assert text.index("# the second layer,") < text.index("# the first layer")
    assert moved(text, ("layer", 1), 0) == TEXT


def test_a_layer_is_put_between_two():
    text = with_inserted(TEXT, ("layer", 1), {"kind": "film", "coats": [{"ink": "i"}]})
    block = '[[layer]]\nkind = "film"\ncoats = [{ ink = "i" }]\n\n# the second layer,'
    assert block in text
    assert without(text, ("layer", 1)) == TEXT


def test_sub_tables_go_with_their_table():
    text = '[[light]]\nemitter = "a"\n[[light.coats]]\nink = "i"\n\n[[light]]\nx = 1\n'
    assert without(text, ("light", 0)) == "[[light]]\nx = 1\n"
    assert tomllib.loads(moved(text, ("light", 0), 1))["light"][1]["coats"]


def test_the_last_of_its_name_leaves_nothing_behind():
    assert without('a = 1\n[[layer]]\nkind = "gap"\n', ("layer", 0)) == "a = 1\n"


def test_tables_written_inline_are_changed_as_lists():
    text = 'layer = [{ kind = "gap" }, { kind = "film" }]\n'
    assert moved(text, ("layer", 0), 1) == (
        'layer = [{ kind = "film" }, { kind = "gap" }]\n'
    )
    assert without(text, ("layer", 0)) == 'layer = [{ kind = "film" }]\n'
    assert tomllib.loads(with_inserted(text, ("layer", 2), {"kind": "cast"}))[
        "layer"
    ] == [{"kind": "gap"}, {"kind": "film"}, {"kind": "cast"}]


def test_headers_inside_texts_and_arrays_are_no_headers():
    text = (
        'notes = """\n[[layer]]\n# no comment\n"""\n[inset]\noutline = [\n[0, 0],\n'
        '[40, 0],\n[40, 60],\n]\n[[layer]]\nkind = "gap"\n'
    )
    grown = with_value(text, ("layer", 1), {"kind": "film"})
    assert grown == text + '\n[[layer]]\nkind = "film"\n'
    assert without(grown, ("layer", 1)).strip() == text.strip()


@pytest.mark.parametrize("path", INSETS, ids=lambda p: p.stem)
def test_every_value_of_every_demo_can_be_set_to_itself(path):
    text = path.read_text(encoding="utf-8")
    for keys, value in _leaves(tomllib.loads(text)):
        assert tomllib.loads(with_value(text, keys, value)) == tomllib.loads(text)


def _leaves(data, trail=()):
    items = data.items() if isinstance(data, dict) else enumerate(data)
    for key, value in items:
        if isinstance(value, (dict, list)):
            yield from _leaves(value, (*trail, key))
        else:
            yield (*trail, key), value


# ------------------------------------------------- any change, second opinion

values = st.one_of(
    st.text(max_size=8).filter(lambda t: t.isprintable()),
    st.integers(-(2**40), 2**40),
    st.floats(-1e6, 1e6).map(lambda x: round(x, 4)),
    st.booleans(),
)
tables = st.dictionaries(st.sampled_from(["kind", "dose", "é b"]), values, max_size=3)
changes = st.one_of(
    st.tuples(
        st.just("set"),
        st.sampled_from(
            [
                ("name",),
                ("target", "lab", 1),
                ("target", "tolerance"),
                ("layer", 0, "thickness"),
                ("layer", 0, "dyes", 0, "dose"),
                ("light", 0, "count"),
                ("view", "room"),
                ("inset", "size"),
            ]
        ),
        values,
    ),
    st.tuples(
        st.just("add"),
        st.sampled_from([("layer", 0), ("light", 0), ("layer", 0, "dyes", 0)]),
        tables,
    ),
    st.tuples(
        st.just("drop"),
        st.sampled_from(
            [
                ("layer", 0),
                ("light", 0),
                ("layer", 0, "dyes", 0),
                ("target",),
                ("view",),
            ]
        ),
        st.none(),
    ),
    st.tuples(st.just("move"), st.just(("layer", 0)), st.integers(0, 3)),
)


def _literally(data, what, keys, value):
    """Do to plain data what is asked of the text; the second implementation."""
    data = copy.deepcopy(data)
    holder = data
    for key in keys[:-1]:
        holder = holder[key]
    if what == "set":
        holder[keys[-1]] = value
    elif what == "add":
        holder.insert(keys[-1], value)
    elif what == "move":
        holder.insert(value, holder.pop(0))
    else:
        del holder[keys[-1]]
    return {k: v for k, v in data.items() if v != [] or k not in ("layer", "light")}


@settings(max_examples=100, deadline=None)
@given(st.sampled_from([TEXT, DEMO]), st.lists(changes, min_size=1, max_size=6))
def test_a_text_says_what_was_asked_and_keeps_its_comments(text, asked):
    for what, keys, value in asked:
        data = tomllib.loads(text)
        try:
            wanted = _literally(data, what, keys, value)
        except (KeyError, IndexError, TypeError, AttributeError):
            continue
        if what == "move" and value >= len(data["layer"]):
            continue
        call = {"set": with_value, "add": with_inserted, "move": moved}.get(what)
        comments = text.count("#")
        text = without(text, keys) if call is None else call(text, keys, value)
        assert tomllib.loads(text) == wanted
        if what != "drop":
            assert text.count("#") >= comments - (what == "set")


def test_a_table_is_replaced_in_its_place_and_what_stays_keeps_its_comment():
    text = with_value(TEXT, ("target",), {"lab": [1, 2, 3], "tolerance": 4})
    assert text == TEXT.replace("painting\n", "painting\ntolerance = 4\n")
    text = with_value(TEXT, ("target",), {"hex": "#35a78e"})
    assert '[target]\nhex = "#35a78e"\n\n# the light' in text
    text = with_value(TEXT, ("layer", 1), {"kind": "gap", "thickness": "1 mm"})
    assert text == TEXT.replace('kind = "gap"\n', 'kind = "gap"\nthickness = "1 mm"\n')


# ---------------------------------------------------------------- odd places


def test_an_item_past_the_end_is_begun_by_its_first_key():
    text = with_value(TEXT, ("layer", 0, "dyes", 2, "dose"), "1 drop")
    assert tomllib.loads(text)["layer"][0]["dyes"][2] == {"dose": "1 drop"}
    assert "# a word between" in text


def test_inserting_into_a_list_that_is_not_there_makes_it():
    text = with_inserted(TEXT, ("light", 0, "coats", 0), {"ink": "i"})
    assert 'emitter = "red"\ncoats = [{ ink = "i" }]\n' in text
    assert with_inserted("a = 1\n", ("layer", 0), {"kind": "gap"}) == (
        'a = 1\n\n[[layer]]\nkind = "gap"\n'
    )


def test_items_of_a_list_inside_a_table_are_moved():
    text = moved(TEXT, ("layer", 0, "dyes", 1), 0)
    names = [dye["bottle"] for dye in tomllib.loads(text)["layer"][0]["dyes"]]
    assert names == ["straw", "sea blue"]
    assert "# a word between" in text


@pytest.mark.parametrize(
    ("keys", "to"),
    [(("layer", 0), 2), (("layer", 0), -1), (("layer", 5), 0), (("name", 0), 0)],
)
def test_moving_to_or_from_nowhere_is_refused(keys, to):
    with pytest.raises(PageError):
        moved(TEXT, keys, to)


def test_a_layer_is_a_table():
    with pytest.raises(PageError, match="is a table"):
        with_value(TEXT, ("layer", 0), "gap")


def test_a_text_that_cannot_be_compared_is_left_alone():
    with pytest.raises(PageError, match="without touching"):
        with_value("x = nan\ny = 1\n", ("y",), 2)  # nan equals nothing, itself neither


def test_what_the_layout_keeper_refuses_is_told(monkeypatch):
    def refused(_):
        raise TOMLKitError

    monkeypatch.setattr(edit.tomlkit, "parse", refused)
    with pytest.raises(PageError, match="in the text itself"):
        with_value(TEXT, ("name",), "y")
