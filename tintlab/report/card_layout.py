"""Finds a place for everything on a card, in mm, y down, before anything is drawn.

A panel is a column of blocks. All blocks of a panel share one scale of type, the
largest at which they fit; where even the smallest does not, blocks that matter least
are shortened to fewer lines, ending in an ellipsis, or left out. How wide a text is,
the caller's `measure` tells, so that no library is needed here.
"""

import re
from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from math import ceil
from typing import Any

from tintlab.errors import TintlabError
from tintlab.report.card_steps import label

Measure = Callable[[str, float, bool], float]  # text, size [pt], bold: width [mm]

POINT = 25.4 / 72  # [mm]
LEADING = 1.22  # line height over type size
ASCENT = 0.93  # baseline below the top of the line, over type size
LARGEST, SMALLEST = 1.5, 0.74
SCALES = (*(LARGEST * 0.97**i for i in range(24)), SMALLEST)  # largest first
MARGIN = 5.0  # [mm]
UNITS = "mm|m|g|oz|kg|cd/m|lm|K|C|%|min|h|ohm|mA|drops?|coats?"
TIE = "\N{NO-BREAK SPACE}"
FIRST = {  # what comes before a pour, by verdict
    "can't tell, chip it": ("Cast a chip first: a strength in it is a guess.",),
    "off": ("Off its target: find another dose first.",),
    "too dim": ("Too dim: less dye, or more light.",),
}
SPARED = ("Room, °C", "Next time")  # blanks that a crowded card goes without
DOTS = "\N{HORIZONTAL ELLIPSIS}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One thing to draw: a text, a line or a box, with the room that it has.

    Attributes
    ----------
    kind : str
        "text", "line", "box", or on a sheet "cut" and "fold".
    x, y, width, height : float
        Of its room, from the top left corner of the panel. [mm]
    text : str
    size : float
        [pt]
    bold : bool
    fill : str
        Colour of a box; "" for an outline.
    """

    kind: str
    x: float
    y: float
    width: float
    height: float
    text: str = ""
    size: float = 0.0
    bold: bool = False
    fill: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """One entry of a panel, before it has a place.

    Attributes
    ----------
    kind : str
        "text", "boxes" (swatches with a word below each), "blank" (a word and a line
        to write on) or "rule".
    text, size, bold
        As of an `Item`, at scale 1.
    marker, hang : str
        Hangs before a text, as "1."; the widest marker of a list.
    most : int
        Lines at the most.
    boxes : tuple
        Of (share of the width, fill, word); "" fill is an empty box.
    height : float
        Of boxes, or of a blank. [mm]
    before : float
        Space above. [mm]
    rank : int
        0 must be there; the highest rank is shortened and left out first.
    whole : bool
        Never shortened, as cautions are not.
    """

    kind: str
    text: str = ""
    size: float = 9.0
    bold: bool = False
    marker: str = ""
    hang: str = ""
    most: int = 99
    boxes: tuple[tuple[float, str, str], ...] = ()
    height: float = 0.0
    before: float = 0.6
    rank: int = 0
    whole: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """A page and what is on it.

    Attributes
    ----------
    width, height : float
        [mm]
    items : tuple of Item
    """

    width: float
    height: float
    items: tuple[Item, ...] = field(default=())


def wrapped(text: str, width: float, fits: Callable[[str], float]) -> list[str]:
    """Break a text into lines no wider than `width`; long words are cut.

    Parameters
    ----------
    text : str
    width : float
        [mm]
    fits : callable
        Width of a text. [mm]
    """
    lines, line = [], ""
    for word in _tied(text).split(" "):
        longer = f"{line} {word}" if line else word
        if fits(longer) <= width:
            line = longer
            continue
        if line:
            lines.append(line)
        line = word
        while fits(line) > width and len(line) > 1:
            cut = _longest(line, width, fits)
            lines.append(line[:cut])
            line = line[cut:]
    whole = [*lines, line] if line else lines
    return [one.replace(TIE, " ") for one in whole]


def _tied(text: str) -> str:
    """Tie numbers to their units, and let lines break at plain spaces only."""
    plain = re.sub(r"[ \t\n\r]+", " ", text).strip(" ")
    return re.sub(rf"(?<=\d) (?=(?:{UNITS})(?:\W|$))", TIE, plain)


def _longest(text: str, width: float, fits: Callable[[str], float]) -> int:
    """Count the characters that fit, at least one."""
    low, high = 1, len(text)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if fits(text[:middle]) <= width else (low, middle)
    return low


def shortened(
    lines: list[str], most: int, width: float, fits: Callable[[str], float]
) -> list[str]:
    """Keep the first lines; the last one ends in an ellipsis when some are lost."""
    if len(lines) <= most:
        return lines
    last = lines[most - 1]
    while last and fits(last + DOTS) > width:
        last = last[:-1]
    return [*lines[: most - 1], last.rstrip() + DOTS]


def arranged(
    blocks: Sequence[Block], *, width: float, height: float, measure: Measure
) -> list[Item]:
    """Place the blocks of a panel at the largest scale of type at which they fit.

    Parameters
    ----------
    blocks : sequence of Block
    width, height : float
        Of the panel, margins included. [mm]
    measure : callable
        Width of a text of a size and weight. [mm]

    Returns
    -------
    list of Item
        Space that is left is given to the blanks, to write on.
    """
    inner, room = width - 2 * MARGIN, height - 2 * MARGIN
    kept = list(blocks)

    def spare(scale: float) -> float:
        return room - _stacked(kept, inner, scale, measure)[1]

    while (missing := -spare(SMALLEST)) > 0:
        kept = _less(kept, inner, missing, measure)
    scale = SCALES[bisect_left(SCALES, 0.0, hi=len(SCALES) - 1, key=spare)]
    return _filled(kept, inner, scale, measure, spare(scale))


def _less(
    blocks: list[Block], width: float, missing: float, measure: Measure
) -> list[Block]:
    """Take as many lines as are too many, or one block, from what matters least."""
    rank = max(block.rank for block in blocks)
    rows = [
        0 if block.whole else len(_lines(block, width, SMALLEST, measure))
        for block in blocks
    ]
    victim = max(i for i, block in enumerate(blocks) if block.rank == rank)
    if rank == 0:
        victim = max(range(len(rows)), key=lambda i: (rows[i], i))
        if rows[victim] <= 1:
            raise TintlabError(
                "this inset has more doses, LEDs and steps than a card holds; take a "
                'larger one, --size half-letter, or print "tintlab glow"'
            )
    if rows[victim] <= 1:
        return blocks[:victim] + blocks[victim + 1 :]
    tall = LEADING * blocks[victim].size * SMALLEST * POINT
    fewer = 1 if rank == 0 else min(ceil(missing / tall), rows[victim] - 1)
    blocks[victim] = replace(blocks[victim], most=rows[victim] - fewer)
    return blocks


def _filled(
    blocks: list[Block], width: float, scale: float, measure: Measure, spare: float
) -> list[Item]:
    """Give what is left to the blanks, up to twice their height."""
    blanks = sum(block.kind == "blank" for block in blocks)
    more = min(spare / blanks, 4.0) if blanks else 0.0
    grown = [
        replace(block, height=block.height + more / scale)
        if block.kind == "blank"
        else block
        for block in blocks
    ]
    return _stacked(grown, width, scale, measure)[0]


def _stacked(
    blocks: Sequence[Block], width: float, scale: float, measure: Measure
) -> tuple[list[Item], float]:
    """Place blocks below each other; return them and where the last one ends."""
    items: list[Item] = []
    y = MARGIN
    for i, block in enumerate(blocks):
        y += block.before * scale * (i > 0)
        added, y = _PLACED[block.kind](block, y, width, scale, measure)
        items += added
    return items, y - MARGIN


def _fits(block: Block, scale: float, measure: Measure) -> Callable[[str], float]:
    return lambda text: measure(text, block.size * scale, block.bold)


def _lines(block: Block, width: float, scale: float, measure: Measure) -> list[str]:
    if block.kind != "text":
        return []
    fits = _fits(block, scale, measure)
    room = width - _hang(block, scale, measure)
    return shortened(wrapped(block.text, room, fits), block.most, room, fits)


def _hang(block: Block, scale: float, measure: Measure) -> float:
    """Width of the marker and the gap behind it. [mm]"""
    if not block.marker:
        return 0.0
    size = block.size * scale
    widest = block.hang or block.marker
    return measure(widest, size, True) + 0.45 * size * POINT


def _text(
    block: Block, y: float, width: float, scale: float, measure: Measure
) -> tuple[list[Item], float]:
    size = block.size * scale
    tall, hang = LEADING * size * POINT, _hang(block, scale, measure)
    items = []
    if block.marker:
        items.append(
            Item(
                kind="text",
                x=MARGIN,
                y=y,
                width=hang,
                height=tall,
                text=block.marker,
                size=size,
                bold=True,
            )
        )
    for text in _lines(block, width, scale, measure):
        items.append(
            Item(
                kind="text",
                x=MARGIN + hang,
                y=y,
                width=width - hang,
                height=tall,
                text=text,
                size=size,
                bold=block.bold,
            )
        )
        y += tall
    return items, y


def _boxes(
    block: Block, y: float, width: float, scale: float, measure: Measure
) -> tuple[list[Item], float]:
    size, gap = block.size * min(scale, 1.0), 1.5
    tall, high = LEADING * size * POINT, block.height * scale
    items, x = [], MARGIN
    groups = len([1 for _, _, word in block.boxes if word])
    usable = width - gap * (groups - 1)
    for share, fill, word in block.boxes:
        x += gap * bool(word) * (x > MARGIN)
        own = share * usable
        items.append(Item(kind="box", x=x, y=y, width=own, height=high, fill=fill))
        if word:
            items += _caption(word, x, y + high, block, size, width, usable, measure)
        x += own
    return items, y + high + tall


def _caption(
    word: str,
    x: float,
    y: float,
    block: Block,
    size: float,
    width: float,
    usable: float,
    measure: Measure,
) -> list[Item]:
    """Write the word below a box and the nameless ones that follow it."""
    names = [i for i, (_, _, other) in enumerate(block.boxes) if other]
    here = next(i for i in names if block.boxes[i][2] == word)
    after = [i for i in names if i > here]
    until = after[0] if after else len(block.boxes)
    own = sum(share for share, _, _ in block.boxes[here:until]) * usable
    own = min(own, MARGIN + width - x)

    def fits(text: str) -> float:
        return measure(text, size, block.bold)

    lines = shortened(wrapped(word, own, fits), 1, own, fits)
    tall = LEADING * size * POINT
    return [
        Item(kind="text", x=x, y=y, width=own, height=tall, text=text, size=size)
        for text in lines
    ]


def _blank(
    block: Block, y: float, width: float, scale: float, measure: Measure
) -> tuple[list[Item], float]:
    size = block.size * scale
    high = max(block.height * scale, LEADING * size * POINT)
    tall = LEADING * size * POINT
    fits = _fits(block, scale, measure)
    own = min(fits(block.text), width / 2)
    text = shortened(wrapped(block.text, own + 0.01, fits), 1, own + 0.01, fits)[0]
    label = Item(
        kind="text",
        x=MARGIN,
        y=y + high - tall,
        width=own + 0.02,
        height=tall,
        text=text,
        size=size,
        bold=block.bold,
    )
    start = own + 1.5
    line = Item(
        kind="line", x=MARGIN + start, y=y + high, width=width - start, height=0.0
    )
    return [label, line], y + high


def _rule(
    block: Block, y: float, width: float, scale: float, measure: Measure
) -> tuple[list[Item], float]:
    del block, scale, measure
    return [Item(kind="line", x=MARGIN, y=y, width=width, height=0.0)], y + 0.3


_PLACED: dict[str, Callable[..., tuple[list[Item], float]]] = {
    "text": _text,
    "boxes": _boxes,
    "blank": _blank,
    "rule": _rule,
}


# ------------------------------------------------------------------ what goes where


def front(answer: dict[str, Any]) -> list[Block]:
    """Return what to do: name, doses, resin, step errors, LEDs, order of work."""
    doses = [block for row in answer["doses"] for block in _dose(row)]
    errors = [f"{text}." for text in answer["step_errors"]]
    numbers = [f"{i}." for i in range(1, len(answer["steps"]) + 1)]
    widest = "8" * len(str(len(numbers))) + "."
    work = [
        replace(block, marker=number, hang=widest)
        for number, block in zip(
            numbers, _rows(answer["steps"], 0.5, 0.5, size=9.5, most=4), strict=True
        )
    ]
    return [
        Block(kind="text", text=answer["name"], size=14, bold=True, most=2),
        *([Block(kind="rule", before=1.0)] if doses or answer["resin"] else []),
        *_rows(FIRST.get(answer["verdict"], ()), 1.0, 0.2, size=9.5, bold=True, rank=1),
        *doses,
        *_rows(answer["resin"], 1.8, 0.2, size=12, bold=True, most=2),
        *_rows(errors, 1.4, 0.2, size=8.5, most=2, rank=2),
        Block(kind="rule", before=1.2),
        *_rows(answer["lights"], 0.4, 0.4, size=9, bold=True, most=4, rank=1),
        Block(kind="rule", before=1.2, rank=1),
        *work,
    ]


def _rows(texts: Sequence[str], first: float, then: float, **look: Any) -> list[Block]:
    """Return one block a text, `first` [mm] below what is above, `then` [mm] apart."""
    return [
        Block(kind="text", text=text, before=then if i else first, **look)
        for i, text in enumerate(texts)
    ]


def _dose(row: dict[str, Any]) -> list[Block]:
    masses = " / ".join(text for text in (row["grams"], row["ounces"]) if text)
    named = f"{label(row['bottle'])}, {masses}"
    made = [row["let_down"]] if row["let_down"] else []
    return [
        Block(kind="text", text=row["dose"], size=21, bold=True, most=2, before=1.4),
        Block(kind="text", text=named, size=12, most=2, before=0.0),
        *_rows(made, 0.2, 0.2, size=9.5, most=3),
    ]


def back(answer: dict[str, Any]) -> list[Block]:
    """Return what to expect, room for the chip and for what came out, cautions."""
    verdict = f"{answer['verdict'].upper()}. " if answer["verdict"] else ""
    expect = [
        f"{verdict}{capital('; '.join(answer['expect']))}.",
        f"Evidence: {answer['grade']}",
    ]
    words = capital(f"{answer['glow_words']}; unlit {answer['face_words']}")
    warnings = [capital(text) for text in answer["cautions"]]
    care = _rows(warnings, 1.6, 0.2, size=6.5, marker="!", whole=True)
    foot = f"tintlab {answer['date']}, {answer['file']}, {answer['fingerprint']}"
    return [
        Block(kind="boxes", boxes=_swatches(answer), height=17, size=7),
        Block(kind="text", text=words, size=8.5, bold=True, most=2, before=0.8),
        *_rows(expect, 0.3, 0.3, size=8, most=4, rank=1),
        *_rows(answer["battery"], 0.8, 0.1, size=8, most=2, rank=2),
        Block(kind="rule", before=1.0),
        *(
            Block(
                kind="blank",
                text=text,
                size=8.5,
                height=6.4,
                before=0.0,
                rank=3 if text in SPARED else 0,
            )
            for text in answer["blanks"]
        ),
        *care,
        Block(kind="text", text=foot, size=6.5, most=1, before=1.2),
    ]


def capital(text: str) -> str:
    """Begin a sentence."""
    return text[:1].upper() + text[1:]


def _swatches(answer: dict[str, Any]) -> tuple[tuple[float, str, str], ...]:
    """Glow, spread, unlit face, target, and an empty box for the chip."""
    spread = [(0.28 / 5, colour, "") for colour in answer["spread_hex"]]
    spread[0] = (spread[0][0], spread[0][1], "could be, 5-95 %")
    boxes = [(0.18, answer["glow_hex"], "lit"), *spread]
    left = 0.54
    if answer["target_hex"]:
        boxes.append((0.13, answer["target_hex"], "target"))
        left -= 0.13
    boxes.append((0.13, answer["face_hex"], "unlit"))
    return (*boxes, (left - 0.13, "", "stick chip here"))


# ------------------------------------------------------------------ sizes of paper

SIZES = {"a6": (105.0, 148.0), "half-letter": (139.7, 215.9)}  # ISO 216; inches
SHEETS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}


def panels(
    answer: dict[str, Any], size: str, measure: Measure
) -> list[tuple[Item, ...]]:
    """Return the panels of one card: front and back of A6, one of half-letter."""
    width, height = SIZES[size]
    sides = [front(answer), back(answer)]
    if size == "half-letter":
        sides = [[*sides[0], Block(kind="rule", before=1.4), *sides[1]]]
    return [
        tuple(arranged(blocks, width=width, height=height, measure=measure))
        for blocks in sides
    ]


def single(cards: Sequence[list[tuple[Item, ...]]], size: str) -> list[Page]:
    """Every panel on a page of its own."""
    width, height = SIZES[size]
    return [
        Page(width=width, height=height, items=items)
        for card in cards
        for items in card
    ]


def side_by_side(cards: Sequence[list[tuple[Item, ...]]], size: str) -> list[Page]:
    """All panels in a row on one page, for a picture."""
    width, height = SIZES[size]
    panels_all = [items for card in cards for items in card]
    items = [
        _moved(item, i * width, 0.0)
        for i, panel in enumerate(panels_all)
        for item in panel
    ]
    return [Page(width=width * len(panels_all), height=height, items=tuple(items))]


def sheets(
    cards: Sequence[list[tuple[Item, ...]]], size: str, sheet: str
) -> list[Page]:
    """Several cards on a sheet; the two sides of one beside each other, to fold.

    The sheet is turned so that it holds the most cards.
    """
    width, height = SIZES[size]
    across = len(cards[0]) * width
    wide, tall = max(
        (SHEETS[sheet], SHEETS[sheet][::-1]),
        key=lambda s: int(s[0] / across + 1e-9) * int(s[1] / height + 1e-9),
    )
    columns, rows = int(wide / across + 1e-9), int(tall / height + 1e-9)
    left, top = (wide - columns * across) / 2, (tall - rows * height) / 2
    pages = []
    for start in range(0, len(cards), columns * rows):
        items: list[Item] = []
        for i, card in enumerate(cards[start : start + columns * rows]):
            x = left + i % columns * across
            y = top + i // columns * height
            items += _cut_marks(x, y, across, height)
            items += [
                Item(kind="fold", x=x + j * width, y=y, width=0.0, height=height)
                for j in range(1, len(card))
            ]
            for j, panel in enumerate(card):
                items += [_moved(item, x + j * width, y) for item in panel]
        pages.append(Page(width=wide, height=tall, items=tuple(items)))
    return pages


def _moved(item: Item, x: float, y: float) -> Item:
    return replace(item, x=item.x + x, y=item.y + y)


def _cut_marks(x: float, y: float, width: float, height: float) -> list[Item]:
    """Outline a card as four thin lines to cut along."""
    corners = [(x, y), (x + width, y), (x + width, y + height), (x, y + height), (x, y)]
    return [
        Item(kind="cut", x=min(a, c), y=min(b, d), width=abs(a - c), height=abs(b - d))
        for (a, b), (c, d) in pairwise(corners)
    ]
