"""The strip of rooms as a figure: pictures pixel by pixel, words under each."""

import textwrap
from collections.abc import Sequence

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from tintlab.proof.strip import RoomView, Strip

DPI = 100
MARGIN, GAP, SEAM = 18, 16, 2  # [pixels] around, between rooms, between lit and unlit
LINE = 16  # [pixels] of a line of words
HEAD, SMALL = 9.5, 8.5  # [points]
LETTER = 5.75  # [pixels] mean width of a letter of SMALL; measured, on the safe side
INK, PALE = "#222222", "#666666"


def strip_figure(
    strip: Strip, captions: Sequence[tuple[str, str]], title: str, footer: str
) -> Figure:
    """Lay out the rooms of a strip side by side.

    Parameters
    ----------
    strip : Strip
    captions : sequence of tuple of str
        A heading and words for each room.
    title, footer : str
        Above and below; wrapped to the width.
    """
    height, wide = strip.views[0].lit.shape[:2]
    pair = 2 * wide + SEAM
    width = 2 * MARGIN + len(strip.views) * (pair + GAP) - GAP
    above = _wrapped(title, (width - 2 * MARGIN) * SMALL / HEAD / 1.3)
    below = _wrapped(footer, width - 2 * MARGIN)
    words = [
        (_wrapped(head, pair * SMALL / HEAD / 1.1), _lines(text, pair))
        for head, text in captions
    ]
    deepest = max(len(head) + len(text) for head, text in words)
    tops = MARGIN + LINE * len(above) * 1.2 + 8
    whole = tops + height + 8 + LINE * (deepest + 0.8 + len(below)) + MARGIN
    figure = Figure(figsize=(width / DPI, whole / DPI), dpi=DPI)
    FigureCanvasAgg(figure)
    _write(figure, above, MARGIN, MARGIN, size=11, ink=INK)
    for i, (view, (head, text)) in enumerate(zip(strip.views, words, strict=True)):
        left = MARGIN + i * (pair + GAP)
        _picture(figure, view, left, tops)
        at = tops + height + 8
        _write(figure, head, left, at, size=HEAD, ink=INK, weight="bold")
        at += LINE * len(head)
        _write(figure, text, left, at, size=SMALL, ink=INK)
    _write(
        figure, below, MARGIN, whole - MARGIN - LINE * len(below), size=SMALL, ink=PALE
    )
    return figure


def _wrapped(text: str, pixels: float) -> list[str]:
    return textwrap.wrap(text, max(int(pixels / LETTER), 8)) or [""]


def _lines(text: str, pixels: float) -> list[str]:
    return [part for one in text.splitlines() for part in _wrapped(one, pixels)]


def _write(
    figure: Figure,
    lines: Sequence[str],
    left: float,
    top: float,
    *,
    size: float,
    ink: str,
    weight: str = "normal",
) -> None:
    """Write lines from a place in pixels, counted from the upper left corner."""
    width, height = figure.get_size_inches() * DPI
    for i, words in enumerate(lines):
        figure.text(
            left / width,
            1 - (top + i * LINE) / height,
            words,
            size=size,
            color=ink,
            weight=weight,
            va="top",
            parse_math=False,
        )


def _picture(figure: Figure, view: RoomView, left: float, top: float) -> None:
    """Put the lit and the unlit picture side by side, pixel on pixel."""
    seam = np.ones((view.lit.shape[0], SEAM, 3))
    both = np.concatenate([view.lit, seam, view.unlit], axis=1)
    codes = np.rint(both * 255).astype(np.uint8)
    height = float(figure.get_size_inches()[1] * DPI)
    figure.figimage(codes, round(left), round(height - top - view.lit.shape[0]))
