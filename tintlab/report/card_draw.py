"""Prints cards: pages of items to a PDF, or one page to a PNG (matplotlib)."""

from collections.abc import Sequence
from datetime import UTC, datetime
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib import font_manager
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties
from matplotlib.ft2font import LoadFlags
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from matplotlib.text import Text

from tintlab.errors import TintlabError
from tintlab.report.card_layout import ASCENT, POINT, Item, Page

FAMILY = "DejaVu Sans"  # comes with matplotlib
INCH = 25.4  # [mm]
DOTS = 150  # per inch of a PNG
SIGNS = {".pdf": b"%PDF", ".png": b"\x89PNG"}
LINES: dict[str, dict[str, Any]] = {
    "line": {"lw": 0.5, "color": "black"},
    "cut": {"lw": 0.25, "color": "#999999"},
    "fold": {"lw": 0.25, "color": "#999999", "ls": (0, (8, 12))},
}
MISSING = "\N{WHITE SQUARE}"


def _font(*, bold: bool) -> FontProperties:
    return FontProperties(family=FAMILY, weight="bold" if bold else "normal")


@cache
def _letters(bold: bool) -> frozenset[int]:
    """Code points that the font has."""
    font = font_manager.get_font(font_manager.findfont(_font(bold=bold)))
    return frozenset(font.get_charmap())


def printable(text: str) -> str:
    """Replace what the font lacks by a square, and control characters by a space."""
    have = _letters(bold=False) & _letters(bold=True)
    shown = "".join(c if c.isprintable() else " " for c in text)
    return "".join(c if ord(c) in have else MISSING for c in shown)


@lru_cache(maxsize=8192)
def _width(text: str, bold: bool) -> float:
    """Width of a text over the size of its type, by the outlines of its letters."""
    font = font_manager.get_font(font_manager.findfont(_font(bold=bold)))
    font.set_size(100, 72)
    font.set_text(printable(text), 0.0, flags=LoadFlags.NO_HINTING)
    return font.get_width_height()[0] / 64 / 100


def measure(text: str, size: float, bold: bool) -> float:
    """Width of a text in type of a size [pt]. [mm]"""
    return _width(text, bold) * size * POINT


def figure_of(page: Page) -> Figure:
    """Draw a page at its true size."""
    figure = Figure(figsize=(page.width / INCH, page.height / INCH), facecolor="white")
    FigureCanvasAgg(figure)
    for item in page.items:
        _DRAWN[item.kind](figure, page, item)
    return figure


def _text(figure: Figure, page: Page, item: Item) -> None:
    font = _font(bold=item.bold)
    font.set_size(item.size)
    text = Text(
        x=item.x / page.width,
        y=1 - (item.y + ASCENT * item.size * POINT) / page.height,
        text=printable(item.text),
        fontproperties=font,
        va="baseline",
        parse_math=False,
        transform=figure.transFigure,
        figure=figure,
    )
    figure.add_artist(text)


def _line(figure: Figure, page: Page, item: Item) -> None:
    x = [item.x / page.width, (item.x + item.width) / page.width]
    y = [1 - item.y / page.height, 1 - (item.y + item.height) / page.height]
    style = LINES[item.kind]
    figure.add_artist(Line2D(x, y, **style))


def _box(figure: Figure, page: Page, item: Item) -> None:
    figure.add_artist(
        Rectangle(
            (item.x / page.width, 1 - (item.y + item.height) / page.height),
            item.width / page.width,
            item.height / page.height,
            facecolor=item.fill or "white",
            edgecolor="#999999" if item.fill else "black",
            lw=0.25 if item.fill else 0.6,
            ls="-" if item.fill else "--",
            transform=figure.transFigure,
        )
    )


_DRAWN = {"text": _text, "line": _line, "cut": _line, "fold": _line, "box": _box}


def check(path: Path, *, inputs: Sequence[Path] = ()) -> None:
    """See that a card can go there, before anything is computed.

    Parameters
    ----------
    path : Path
    inputs : sequence of Path
        Never written over.

    Raises
    ------
    TintlabError
        For another ending, or a file in the way that is an input or no card.
    """
    ending = path.suffix.lower()
    if ending not in SIGNS:
        raise TintlabError(
            f'asked for the card "{path}"; a card ends in .pdf, or .png for a picture'
        )
    try:
        there = [one for one in inputs if one.exists()]
        if path.exists() and any(path.samefile(one) for one in there):
            raise TintlabError(
                f'"{path}" is one of the inset files; choose another name'
            )
        if path.exists():
            with path.open("rb") as file:  # bytes, no encoding
                start = file.read(4)
            if start and not start.startswith(SIGNS[ending]):
                raise TintlabError(
                    f'"{path}" is there already and is no card; choose another name'
                )
    except OSError as problem:
        raise _unwritable(path, problem) from None


def write(pages: Sequence[Page], path: Path, *, date: str) -> None:
    """Write pages as one PDF, or a single page as a PNG, whole or not at all.

    Parameters
    ----------
    pages : sequence of Page
    path : Path
        As `check` lets it pass.
    date : str
        Of the card; also that of the PDF, so that the same card has the same bytes.

    Raises
    ------
    TintlabError
        For a place that cannot be written, or a picture of several pages.
    """
    part = path.with_name(f".{path.name}.part")
    picture = path.suffix.lower() == ".png"
    if picture and len(pages) > 1:
        raise TintlabError(
            f"asked for a picture of {len(pages)} pages; write a .pdf, or fewer cards"
        )
    try:
        if picture:
            with mpl.rc_context({"text.hinting": "no_hinting"}):  # true widths
                figure_of(pages[0]).savefig(part, format="png", dpi=DOTS)
        else:
            _write_pdf(pages, part, date)
        part.replace(path)
    except OSError as problem:
        part.unlink(missing_ok=True)
        raise _unwritable(path, problem) from None


def _unwritable(path: Path, problem: OSError) -> TintlabError:
    return TintlabError(
        f'cannot write "{path}": {problem.strerror}; choose another place'
    )


def _write_pdf(pages: Sequence[Page], path: Path, date: str) -> None:
    """Write vectors with the letters' outlines as TrueType (type 42) fonts."""
    made = datetime.fromisoformat(date).replace(tzinfo=UTC)
    about = {"Title": "tintlab bench card", "CreationDate": made, "Producer": "tintlab"}
    with (
        mpl.rc_context({"pdf.fonttype": 42}),
        PdfPages(path, metadata={**about, "Creator": "tintlab"}) as pdf,
    ):
        for page in pages:
            pdf.savefig(figure_of(page))
