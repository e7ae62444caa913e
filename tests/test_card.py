"""The bench card: what stands on it, that it fits, and that nothing is lost."""

import hashlib
import json
import os
import re
import subprocess
import sys
from dataclasses import replace
from functools import cache
from itertools import combinations, pairwise
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.text import Text
from PIL import Image
from published import Published, published

from tintlab import yardstick
from tintlab.cli import main
from tintlab.colorimetry import XYZ_to_Lab
from tintlab.errors import TintlabError
from tintlab.glow import look
from tintlab.inset import read_inset
from tintlab.report import card_draw, card_layout
from tintlab.report.card import FIELDS, card_answer, day, direction, step_errors
from tintlab.report.card_layout import (
    MARGIN,
    SHEETS,
    SIZES,
    SPARED,
    Block,
    Page,
    arranged,
    capital,
    panels,
    sheets,
    shortened,
    side_by_side,
    single,
    wrapped,
)
from tintlab.report.card_steps import (
    base,
    label,
    let_down_a,
    let_down_words,
    parts,
    steps,
)
from tintlab.shelf import shelf_for
from tintlab.units import dose
from tintlab.verdict import predict

ROOT = Path(__file__).resolve().parents[1]
BELL = ROOT / "demo" / "tide-bell" / "tide-bell.toml"
MASK = ROOT / "demo" / "kiln-mask" / "ember-thin.toml"
DEMOS = [
    path for path in sorted(ROOT.glob("demo/*/*.toml")) if "chips" not in path.name
]
DAY = "2026-11-25"


def run(*words):
    return CliRunner().invoke(main, [str(w) for w in words])


def read(path):
    return read_inset(path, shelf_for(path))


@cache
def card_of(path):
    return card_answer(predict(read(path)), date=DAY)


@pytest.fixture
def bell():
    return card_of(BELL)


# ------------------------------------------------------------------ what stands on it


def test_the_answer_is_as_documented(bell):
    assert list(bell) == list(FIELDS)
    assert bell["name"] == "Tide bell window"
    assert [row["dose"] for row in bell["doses"]] == ["4 drops", "2 drops"]
    assert bell["doses"][0]["grams"] == "0.1 g"  # 4 drops of 0.025 g
    assert bell["grade"] == "label-only (sea blue, straw)"
    assert bell["verdict"] == "can't tell, chip it"


def test_the_fingerprint_is_that_of_the_file(bell):
    digest = hashlib.sha256(BELL.read_bytes()).hexdigest()
    assert bell["fingerprint"] == digest[:8]


def test_resin_of_the_bell_by_hand(bell):
    """50 g at 100:45 by weight: A 34.48 g, B 15.52 g; an ounce is 28.35 g."""
    assert bell["resin"] == ["part A: 34.5 g (1.22 oz)", "part B: 15.5 g (0.547 oz)"]


@pytest.mark.parametrize("path", [BELL, MASK], ids=lambda p: p.stem)
def test_what_is_weighed_adds_up_to_the_batch(path):
    """Part A, part B and the part A of let-downs are the batch."""
    for layer in read(path).layers:
        if layer.batch is not None:
            total = sum(value for _, value in parts(layer)) + let_down_a(layer)
            assert total == pytest.approx(layer.batch, rel=1e-12)


def test_the_let_down_by_hand():
    """0.5 g of 50:1 in 1 oz at 1:1: of the 0.5 g, 0.4902 g is part A."""
    found = card_of(MASK)
    row = found["doses"][0]
    assert row["dose"] == "0.5 g of 50:1"
    assert row["let_down"] == "let down: 0.5 g ember in 25.0 g part A"
    assert found["resin"][0].startswith("part A: 13.7 g")  # 14.17 - 0.49
    assert found["resin"][1].startswith("part B: 14.2 g")


def test_a_weak_let_down_is_made_twice(inset_of):
    """(1 + 20)^2 = 441."""
    inset = inset_of(
        """
        [[light]]
        emitter = "red"
        [[layer]]
        kind = "cast"
        medium = "epoxy"
        mix = "2:1"
        thickness = "5 mm"
        batch = "50 g"
        dyes = [{ bottle = "blue resin dye", dose = "2 g of 440:1 let-down" }]
        """
    )
    (layer,) = inset.layers
    text = let_down_words(layer.dosed[0], layer, scale=0.1)
    assert text == (
        "let down twice: 0.5 g blue resin dye in 10.0 g part A, then 0.5 g of that in "
        "10.0 g part A"
    )
    more = replace(layer.dosed[0], dose=dose("200 g of 440:1 let-down"))
    more = replace(more, grams=200 / 441)
    assert let_down_words(more, layer, scale=0.1).endswith(
        "then 9.6 g of that in 192.0 g part A"  # 201.6 g, 200 g wanted
    )
    neat = 0.5 / 10.5 * 0.5 / 10.5  # g per g, as weighed
    assert neat == pytest.approx(1 / 441)


def test_order_of_work(bell):
    text = " ".join(bell["steps"])
    order = [
        "part A",
        "4 drops sea blue",
        "part B",
        "Pour 9 mm",
        "Cure",
        "Stack",
        "Light",
    ]
    places = [text.index(word) for word in order]
    assert places == sorted(places)


def test_deep_pours_share_the_dyed_part_a(inset_of):
    inset = inset_of(
        """
        [[light]]
        emitter = "red"
        [[layer]]
        kind = "cast"
        medium = "epoxy"
        mix = "2:1"
        thickness = "60 mm"
        batch = "90 g"
        """
    )
    deepest = inset.layers[0].medium.pour_depth
    text = " ".join(steps(inset))
    assert f"Split the dyed part A in {int(np.ceil(60 / deepest))}" in text


def test_two_castings_name_their_resins(inset_of):
    inset = inset_of("""
        [[light]]
        emitter = "white 4100 K"
        [[layer]]
        kind = "cast"
        medium = "epoxy"
        thickness = "3 mm"
        batch = "20 g"
        mix = "2:1 by weight"
        [[layer]]
        kind = "cast"
        medium = "aliphatic polyurethane"
        thickness = "3 mm"
        batch = "20 g"
        cure = "isocyanate"
    """)
    work = " ".join(steps(inset))
    assert "Weigh epoxy part A: 13.3 g" in work
    assert "Weigh aliphatic polyurethane, A + B: 20.0 g" in work


def test_a_bath_a_film_and_one_part_resin(inset_of):
    inset = inset_of(
        """
        [[light]]
        emitter = "red"
        [[layer]]
        kind = "sheet"
        medium = "PMMA sheet"
        thickness = "2 mm"
        dyes = [{ bottle = "blue disperse dye", time = "12 min", faces = 1 }]
        [[layer]]
        kind = "film"
        coats = [{ ink = "pink ink", coats = 2 }]
        [[layer]]
        kind = "cast"
        medium = "UV acrylic casting"
        thickness = "2 mm"
        batch = "10 g"
        finish = "frosted"
        """
    )
    text = " ".join(steps(inset))
    for words in (
        *("Mask the back", "Bath below 80 C: blue disperse dye, 12 min"),
        *("Film: 2 coats pink ink", "Weigh UV acrylic casting: 10.0 g (0.353 oz)"),
        "Frost the face",
    ):
        assert words in text, words
    assert base(inset.layers[2]) == "UV acrylic casting"


# ------------------------------------------------------------------ one step more


def test_a_drop_more_is_what_a_file_with_one_drop_more_says(tmp_path, bell):
    """The whole way through the file again."""
    text = BELL.read_text(encoding="utf-8").replace("4 drops", "5 drops")
    more = tmp_path / "more.toml"
    more.write_text(text, encoding="utf-8")
    now, after = (look(read_inset(p, shelf_for(BELL))) for p in (BELL, more))
    expected = float(yardstick.difference(after.XYZ, XYZ_to_Lab(now.XYZ)))
    darker = 100 * (1 - after.light_kept / now.light_kept)
    assert bell["step_errors"][0].startswith(
        f"1 drop more sea blue: {expected:.1f} bluer"
    )
    assert bell["step_errors"][0].endswith(f", {darker:.0f} % darker")


def test_steps_of_a_let_down_and_of_coats():
    errors = step_errors(predict(read(MASK)))
    assert errors[0].startswith("0.1 g more of 50:1 ember: ")
    assert errors[1].startswith("1 coat more orange ink: ")


@pytest.mark.parametrize(
    ("before", "after", "says"),
    [
        ([70, -48, 10], [70, -48, 4], "bluer"),
        ([70, -48, 10], [70, -48, 16], "yellower"),
        ([70, -20, -40], [70, -26, -37], "greener"),
        ([50, 5, -40], [50, 10, -39], "redder"),
        ([60, 60, 60], [60, 65, 65], "deeper"),
        ([60, 60, 60], [60, 50, 50], "paler"),
        ([60, 0, 1], [60, 9, 4], "redder"),
        ([60, 0, 0], [60, -1, -9], "bluer"),
        ([70, -48, 10], [70, -58, 4], "bluer and deeper"),
    ],
)
def test_directions(before, after, says):
    assert direction(before, after) == says


# ------------------------------------------------------------------ paper


@published(
    Published(source="ISO 216:2007, A6, width [mm]", given=("a6", 0), printed="105"),
    Published(source="ISO 216:2007, A6, height [mm]", given=("a6", 1), printed="148"),
    Published(source="ISO 216:2007, A4, width [mm]", given=("a4", 0), printed="210"),
    Published(source="ISO 216:2007, A4, height [mm]", given=("a4", 1), printed="297"),
    Published(
        source="half of letter, 5.5 in", given=("half-letter", 0), printed="139.7"
    ),
    Published(
        source="half of letter, 8.5 in", given=("half-letter", 1), printed="215.9"
    ),
    Published(source="letter, 8.5 in", given=("letter", 0), printed="215.9"),
    Published(source="letter, 11 in", given=("letter", 1), printed="279.4"),
)
def test_sizes_of_paper(check):
    name, side = check.given
    assert {**SIZES, **SHEETS}[name][side] == check.expected


def boxes(path):
    """MediaBox of every page, in mm."""
    found = re.findall(rb"/MediaBox \[ ?0 0 ([\d.]+) ([\d.]+) ?\]", path.read_bytes())
    return [tuple(float(v) * 25.4 / 72 for v in pair) for pair in found]


@pytest.mark.parametrize(
    ("size", "sheet", "expected"),
    [
        ("a6", None, [(105, 148)] * 2),
        ("half-letter", None, [(139.7, 215.9)]),
        ("a6", "a4", [(210, 297)]),
        ("half-letter", "letter", [(279.4, 215.9)]),
        ("a6", "letter", [(215.9, 279.4)]),
        ("half-letter", "a4", [(210, 297)]),
    ],
)
def test_pages_have_their_true_size(tmp_path, bell, size, sheet, expected):
    path = tmp_path / "card.pdf"
    cards = [panels(bell, size, card_draw.measure)]
    pages = sheets(cards, size, sheet) if sheet else single(cards, size)
    card_draw.write([replace(page, items=()) for page in pages], path, date=DAY)
    assert np.array(boxes(path)) == pytest.approx(np.array(expected), abs=0.05)


def test_the_pdf_is_vector_with_its_fonts_in_it(tmp_path):
    path = tmp_path / "card.pdf"
    run("card", BELL, "-o", path, "--date", DAY)
    content = path.read_bytes()
    assert content.startswith(b"%PDF-1.")
    assert content.rstrip().endswith(b"%%EOF")
    assert b"/FontFile2" in content  # TrueType, whole
    assert b"/Type3" not in content
    assert b"/Image" not in content.replace(b"/ImageC /ImageI", b"").replace(
        b"/ImageB", b""
    )
    assert b"D:20261125" in content
    assert [p.name for p in tmp_path.iterdir()] == ["card.pdf"]


def test_the_same_card_has_the_same_bytes(tmp_path):
    """In another process too, whatever its hash seed."""
    one, two, other = (tmp_path / f"{n}.pdf" for n in ("one", "two", "other"))
    run("card", BELL, "-o", one, "--date", DAY)
    words = ["card", str(BELL), "-o", str(two), "--date", DAY]
    seeded = {**os.environ, "PYTHONHASHSEED": "7"}
    subprocess.run([sys.executable, "-m", "tintlab", *words], check=True, env=seeded)
    assert one.read_bytes() == two.read_bytes()
    for path, date in ((two, DAY), (other, "2026-11-26")):
        card_draw.write([Page(width=105, height=148)], path, date=date)
    assert two.read_bytes() != other.read_bytes()


def test_cards_on_a_sheet(tmp_path, bell):
    path = tmp_path / "card.pdf"
    words = ["--sheet", "letter", "--size", "half-letter"]
    assert run("card", BELL, MASK, "-o", path, *words).exit_code == 0
    assert boxes(path)[0] == pytest.approx((279.4, 215.9), abs=0.05)
    assert len(boxes(path)) == 1
    folded = panels(bell, "a6", card_draw.measure)
    assert len(sheets([folded] * 3, "a6", "a4")) == 2  # two A6 cards on each A4


# ------------------------------------------------------------------ everything fits

LONG = "Window of the lower gallery, third from the left, for the second act, as it was"
NAMES = (
    f"{LONG} repainted after the fire of last spring",
    "Lünétte d'été à l'ombre, Ångström ΔE λ жар-птица 窓の光 🜂 " * 2,
    "W" * 120,
    "x^2 $\\alpha_1$ {braces} 100 % of #1 & <b>",
)


@pytest.fixture(scope="module")
def plain_crowd(tmp_path_factory):
    """Return the card of an inset with three bottles and six sorts of LED."""
    folder = tmp_path_factory.mktemp("crowd")
    (folder / "shelf" / "bottles").mkdir(parents=True)
    for letter in "QXZ":
        (folder / "shelf" / "bottles" / f"{letter}{letter}.toml".lower()).write_text(
            f'name = "{letter}{letter}"\n[source]\ncitation = "own"\n'
            'kind = "measured"\n[bottle]\nhue = "blue"\nstrength = 0.2\n'
            f'caution = "{letter}{letter}"\n[[dye]]\nname = "solvent blue 35"\n',
            encoding="utf-8",
        )
    lights = "".join(
        f'[[light]]\nemitter = "{led}"\ncount = 6\ncoats = [{{ ink = "pale blue ink", '
        "coats = 2 }]\n"
        for led in ("red", "green", "blue", "amber", "cyan", "violet")
    )
    doses = ("12 drops", "1.5 g of 440:1 let-down", "0.35 g of 50:1 let-down")
    dyes = "".join(
        f'{{ bottle = "{letter}{letter}", dose = "{dose}" }},\n'
        for letter, dose in zip("QXZ", doses, strict=True)
    )
    path = folder / "crowded.toml"
    path.write_text(
        'name = "QQ"\n[target]\nlab = [60, 10, 20]\n[inset]\nsize = "40 x 60 mm"\n'
        f'{lights}[cavity]\ndepth = "25 mm"\nwall = "white paint"\n'
        '[battery]\nkind = "Li-ion"\ncells = 2\nleds_per_string = 2\n'
        'current = "9 mA"\n[[layer]]\nkind = "cast"\nmedium = "polyester casting"\n'
        'mix = "100:2"\ncure = "peroxide"\nthickness = "60 mm"\nbatch = "800 g"\n'
        f'dyes = [\n{dyes}]\n[view]\nroom = "hall"\ndistance = "2 m"\n',
        encoding="utf-8",
    )
    words = ["-o", folder / "card.pdf", "--date", DAY, "--json"]
    done = run("card", path, *words)
    assert done.exit_code == 0, done.output
    return done.stdout


@pytest.fixture(params=range(len(NAMES)), ids=["long", "unicode", "one word", "signs"])
def crowded(request, plain_crowd):
    """Return that card with long names everywhere."""
    long = NAMES[request.param]
    name, short = (
        json.dumps(text, ensure_ascii=False)[1:-1] for text in (long, label(long))
    )
    text = re.sub(r"\"(QQ|XX|ZZ)\"", lambda _: f'"{name}"', plain_crowd)
    text = re.sub("QQ: QQ|XX: XX|ZZ: ZZ", lambda _: f"{name}: {name}", text)
    (answer,) = json.loads(re.sub("QQ|XX|ZZ", lambda _: short, text))
    return answer


def drawn_texts(page):
    """Each text's box as it is drawn, in mm from the top left, with its item."""
    figure = card_draw.figure_of(page)
    figure.set_dpi(300)
    renderer = figure.canvas.get_renderer()
    texts = figure.findobj(Text)
    with mpl.rc_context({"text.hinting": "no_hinting"}):  # as in the PDF
        extents = [text.get_window_extent(renderer) for text in texts]
    items = [item for item in page.items if item.kind == "text"]
    assert len(texts) == len(items)
    scale = 25.4 / 300
    for box, item in zip(extents, items, strict=True):
        yield (
            item,
            np.array(
                [
                    box.x0 * scale,
                    page.height - box.y1 * scale,
                    box.x1 * scale,
                    page.height - box.y0 * scale,
                ]
            ),
        )


def check_page(page):
    """No text outside its room or the margins, none over another or over a box."""
    found = list(drawn_texts(page))
    slack = 0.2  # [mm] two pixels
    for item, (left, top, right, bottom) in found:
        assert left >= item.x - slack, item.text
        assert right <= item.x + item.width + slack, item.text
        assert top >= item.y - slack, item.text
        assert bottom <= item.y + item.height + slack, item.text
    for (one, a), (two, b) in combinations(found, 2):
        across = min(a[2], b[2]) - max(a[0], b[0])
        down = min(a[3], b[3]) - max(a[1], b[1])
        assert across <= slack or down <= slack, f"{one.text} / {two.text}"
    for item, a in found:
        for other in page.items:
            if other.kind == "box":
                across = min(a[2], other.x + other.width) - max(a[0], other.x)
                down = min(a[3], other.y + other.height) - max(a[1], other.y)
                assert across <= slack or down <= slack, item.text


@pytest.mark.parametrize("size", SIZES)
def test_everything_fits_however_long_the_names_are(crowded, size):
    pages = single([panels(crowded, size, card_draw.measure)], size)
    for page in pages:
        for item in page.items:
            assert item.x >= MARGIN - 1e-9
            assert item.x + item.width <= page.width - MARGIN + 1e-6
            assert item.y + item.height <= page.height - MARGIN + 1e-6
        check_page(page)
    sizes = [i.size for page in pages for i in page.items if i.kind == "text"]
    assert min(sizes) >= 4.8  # [pt] smallest print
    written = " ".join(i.text for page in pages for i in page.items)
    for text in (
        *("12 drops", "1.5 g of 440:1", "0.35 g of 50:1", "0.3 g / 0.011 oz"),
        *("in 25.0 g part A", "then 0.5 g of that in 10.0 g part A"),
        *crowded["resin"],
        *("Read the safety sheets", "could be, 5-95 %"),
        *(text for text in crowded["blanks"] if text not in SPARED),
    ):
        assert text in written  # what is weighed is never lost
    for text in crowded["cautions"]:
        assert capital(text).replace(" ", "") in written.replace(" ", "")


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("path", DEMOS, ids=lambda p: p.stem)
def test_demo_cards_fit_and_lose_nothing_that_matters(path, size):
    answer = card_of(path)
    pages = single([panels(answer, size, card_draw.measure)], size)
    for page in pages:
        check_page(page)
    written = " ".join(i.text for page in pages for i in page.items)
    for text in (
        *(row["dose"] for row in answer["doses"]),
        *(row["bottle"] for row in answer["doses"]),
        *answer["blanks"],
        *("lit", "unlit", "could be, 5-95 %", "stick chip here"),
        *(DAY, answer["fingerprint"], "Evidence", "Read the safety sheets"),
    ):
        assert text in written
    marks = [i for page in pages for i in page.items if i.text == "!"]
    assert len(marks) == len(answer["cautions"])
    doses = [
        i.size
        for page in pages
        for i in page.items
        if any(i.text == row["dose"] for row in answer["doses"])
    ]
    assert min(doses) >= 16  # [pt] read from 60 cm: cap height 4 mm


def test_a_sheet_holds_its_cards_without_overlap(bell):
    card = panels(bell, "a6", card_draw.measure)
    (page,) = sheets([card, card], "a6", "a4")
    check_page(page)
    folds = [item for item in page.items if item.kind == "fold"]
    assert [item.x for item in folds] == [105, 105]
    assert [item.y for item in folds] == pytest.approx([0.5, 148.5])


# ------------------------------------------------------------------ layout by itself


def typed(text, size, bold):
    """Measure as a typewriter does."""
    return len(text) * size * (0.22 if bold else 0.2)


@given(st.text(max_size=200), st.floats(5, 60))
def test_no_line_is_too_wide_and_no_letter_is_lost(text, width):
    lines = wrapped(text, width, len)
    assert all(len(line) <= max(width, 1) for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


@given(st.text("abc ", max_size=200), st.integers(1, 4), st.integers(3, 30))
def test_shortened_ends_in_dots_when_something_is_lost(text, most, width):
    lines = wrapped(text, width, len)
    kept = shortened(lines, most, width, len)
    assert len(kept) <= most
    assert all(len(line) <= width for line in kept)
    assert kept == lines or kept[-1].endswith("…")


@given(
    st.lists(
        st.tuples(st.text("ab ", min_size=1, max_size=300), st.integers(0, 3)),
        max_size=12,
    )
)
def test_whatever_fits_is_inside_and_in_order(rows):
    blocks = [Block(kind="text", text=text, rank=rank) for text, rank in rows]
    try:
        items = arranged(blocks, width=60, height=80, measure=typed)
    except TintlabError:
        return
    for one, two in pairwise(items):
        assert two.y >= one.y + one.height - 1e-9
    for item in items:
        assert item.y + item.height <= 80 - MARGIN + 1e-9
        assert typed(item.text, item.size, item.bold) <= item.width + 1e-9


def test_too_much_for_any_card_is_an_error():
    blocks = [Block(kind="text", text="word") for _ in range(200)]
    with pytest.raises(TintlabError, match="more doses, LEDs and steps than a card"):
        arranged(blocks, width=60, height=80, measure=typed)


def test_least_important_goes_first():
    blocks = [
        Block(kind="text", text="must " * 40),
        Block(kind="text", text="may " * 400, rank=2),
        Block(kind="text", text="might " * 40, rank=3),
    ]
    items = arranged(blocks, width=60, height=80, measure=typed)
    text = " ".join(item.text for item in items)
    assert text.count("must") == 40
    assert "might" not in text
    assert text.endswith("…")


# ------------------------------------------------------------------ mistakes


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["-o", "card.txt"], "ends in .pdf"),
        (["-o", "none/card.pdf"], "No such file"),
        (["--date", "25.11.2026"], "asked for the date"),
        (["--date", "2026-13-01"], "asked for the date"),
        (["--date", "2026-1-1"], "asked for the date"),
        (["--room", "galery"], 'did you mean "gallery"?'),
        (["--scale", "0.1"], "no unit"),
    ],
)
def test_a_mistake_is_one_line(tmp_path, monkeypatch, words, says):
    monkeypatch.chdir(tmp_path)
    done = run("card", BELL, *words)
    assert done.exit_code == 1
    assert says in done.output
    assert done.output.startswith("Error: ")
    assert done.output.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_what_is_no_card_is_not_written_over(tmp_path):
    mine = tmp_path / "notes.pdf"
    mine.write_text("my notes", encoding="utf-8")
    assert "is no card" in run("card", BELL, "-o", mine).output
    assert mine.read_text(encoding="utf-8") == "my notes"
    inset = tmp_path / "piece.pdf"  # an inset file by another name
    inset.write_text('name = "x"\n[[light]]\nemitter = "red"\n', encoding="utf-8")
    assert "is one of the inset files" in run("card", inset, "-o", inset).output
    assert inset.read_text(encoding="utf-8").startswith("name")
    folder = tmp_path / "folder.pdf"
    folder.mkdir()
    done = run("card", BELL, "-o", folder)
    assert done.exit_code == 1
    assert done.output.count("\n") == 1


def test_an_input_that_is_missing_is_named(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path("card.pdf").write_bytes(b"%PDF-1.4 an older card")
    done = run("card", "nowhere.toml")
    assert done.exit_code == 1
    assert 'cannot read "nowhere.toml"' in done.output


def test_a_bare_led_has_a_card_too(inset_of):
    inset = inset_of('[[light]]\nemitter = "red"\n')
    answer = card_answer(predict(inset), date=DAY)
    assert answer["steps"] == ["Light it, look, write down what came out."]
    for page in single([panels(answer, "a6", card_draw.measure)], "a6"):
        check_page(page)


def test_a_card_may_be_written_over_a_card(tmp_path):
    path = tmp_path / "card.pdf"
    path.write_bytes(b"%PDF-1.4 an older card")
    assert run("card", BELL, "-o", path).exit_code == 0
    assert path.read_bytes().endswith(b"%%EOF\n")


def test_a_broken_write_leaves_nothing(tmp_path, monkeypatch):
    def broken(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(card_draw, "_write_pdf", broken)
    done = run("card", BELL, "-o", tmp_path / "card.pdf")
    assert "No space left on device" in done.output
    assert list(tmp_path.iterdir()) == []


def test_a_picture_of_one_page(tmp_path, bell):
    path = tmp_path / "card.png"
    pages = side_by_side([panels(bell, "a6", card_draw.measure)], "a6")
    card_draw.write(pages, path, date=DAY)
    with Image.open(path) as picture:
        assert picture.size == tuple(
            int(side / 25.4 * card_draw.DOTS) for side in (210, 148)
        )
    with pytest.raises(TintlabError, match="picture of 2 pages"):
        card_draw.write([*pages, *pages], path, date=DAY)


def test_days():
    assert day("2026-02-28") == "2026-02-28"
    assert re.fullmatch(r"\d{4}-\d\d-\d\d", day(None))
    with pytest.raises(TintlabError):
        day("2026-02-30")


def test_letters_that_the_font_lacks_become_squares():
    assert card_draw.printable("a窓\tb") == "a□ b"
    assert card_layout.capital("über") == "Über"
