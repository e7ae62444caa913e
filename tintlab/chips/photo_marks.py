"""Where the blank and the chips are in a photo: from words or from a small file.

A mark is a round patch or a rectangle, in pixels of the photo the right way up,
counted from the upper left corner. On the command line: `300,200` (a point),
`300,200,40` (with a radius) or `300,200,80,60` (left, top, width, height). In a file:

```toml
[[blank]]                 # several: one on either side removes vignetting
at = [100, 200]
radius = 30
[[chip]]
name = "2 drops"
box = [270, 170, 60, 60]
[[known]]                 # optional: a patch of known light against the blank
ratio = 0.25
at = [500, 200]
[dark]                    # optional: an opaque patch, shows the stray light
at = [600, 200]
```
"""

import math
from dataclasses import dataclass
from pathlib import Path

from tintlab import document
from tintlab.document import Section
from tintlab.errors import InsetError

DEFAULT_RADIUS = 0.015  # of the shorter side of the photo; assumed
KNOWN = (0.02, 0.98)  # ratios that a known patch may have


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One patch of a photo.

    Attributes
    ----------
    name : str
    at : tuple of float
        Column and row of the centre. [pixels]
    radius : float or None
        Of a round patch; None takes a share of the photo. [pixels]
    size : tuple of float or None
        Width and height of a rectangle about the centre, else None. [pixels]
    ratio : float or None
        Known light of this patch over that of the blank. [-]
    """

    name: str
    at: tuple[float, float]
    radius: float | None = None
    size: tuple[float, float] | None = None
    ratio: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """All patches of one photo.

    Attributes
    ----------
    blanks, chips, known : tuple of Mark
        Undyed chips (one or more), dyed chips, and patches of known ratio.
    dark : Mark or None
        An opaque patch, which shows nothing but stray light.
    """

    blanks: tuple[Mark, ...]
    chips: tuple[Mark, ...]
    known: tuple[Mark, ...] = ()
    dark: Mark | None = None


def parse_mark(text: str, *, name: str) -> Mark:
    """Read a patch as it is typed: `x,y`, `x,y,radius` or `x,y,width,height`.

    Raises
    ------
    InsetError
        When it is anything else.

    Examples
    --------
    >>> parse_mark("10,20,30,40", name="blank").at
    (25.0, 40.0)
    """
    try:
        numbers = [float(word) for word in text.split(",")]
    except ValueError:
        numbers = []
    if len(numbers) not in (2, 3, 4) or not all(map(math.isfinite, numbers)):
        raise InsetError(
            f'the patch "{text}" of {name} is not understood; write "300,200" (a '
            'point), "300,200,40" (with a radius) or "300,200,80,60" (left, top, '
            "width, height) in pixels"
        )
    if min(numbers[2:], default=1.0) <= 0:
        raise InsetError(
            f'the patch "{text}" of {name} has no size; give a radius, or width and '
            "height, of more than 0 pixels"
        )
    if len(numbers) == 4:
        return _box(name, numbers)
    radius = numbers[2] if len(numbers) == 3 else None
    return Mark(name=name, at=(numbers[0], numbers[1]), radius=radius)


def _box(name: str, numbers: list[float], ratio: float | None = None) -> Mark:
    left, top, width, height = numbers
    at = (left + width / 2, top + height / 2)
    return Mark(name=name, at=at, size=(width, height), ratio=ratio)


def parse_marks(
    *,
    blanks: tuple[str, ...],
    chips: tuple[str, ...],
    known: tuple[str, ...] = (),
    dark: str | None = None,
) -> Marks:
    """Read the marks of a command line.

    Parameters
    ----------
    blanks : tuple of str
        As for `parse_mark`.
    chips : tuple of str
        Name and patch, "2 drops=300,200".
    known : tuple of str
        Ratio and patch, "0.25=500,200".
    dark : str, optional

    Raises
    ------
    InsetError
        For a mark that is not understood, no blank, no chip, or one chip twice.
    """
    found_known = []
    for text in known:
        ratio, _, where = text.rpartition("=")
        mark = parse_mark(where, name=f"known {ratio}")
        found_known.append(_with_ratio(mark, _ratio(ratio)))
    named = [text.rpartition("=") for text in chips]
    return checked(
        Marks(
            blanks=tuple(parse_mark(text, name="blank") for text in blanks),
            chips=tuple(
                parse_mark(where, name=name.strip() or f"chip {i + 1}")
                for i, (name, _, where) in enumerate(named)
            ),
            known=tuple(found_known),
            dark=None if dark is None else parse_mark(dark, name="dark"),
        )
    )


def _ratio(text: str) -> float:
    try:
        ratio = float(text)
    except ValueError:
        ratio = math.nan
    if not KNOWN[0] <= ratio <= KNOWN[1]:
        raise InsetError(
            f'the known ratio "{text}" is not understood; write "0.25=500,200": light '
            f"of that patch over that of the blank, {KNOWN[0]:g} to {KNOWN[1]:g}"
        )
    return ratio


def _with_ratio(mark: Mark, ratio: float) -> Mark:
    return Mark(
        name=mark.name, at=mark.at, radius=mark.radius, size=mark.size, ratio=ratio
    )


def read_marks(path: Path) -> Marks:
    """Read the marks from a TOML file.

    Raises
    ------
    InsetError
        With file and line, for what is missing, unknown or impossible.
    """
    top = document.read(path, error=InsetError)
    blanks = _several(top, "blank")
    if not blanks:
        top.missing("blank", "there is no [blank], the undyed chip")
    chips = _several(top, "chip")
    if not chips:
        top.missing("chip", "there is no [[chip]]")
    known, dark = _several(top, "known"), top.section("dark")
    marks = Marks(
        blanks=tuple(_mark(section, "blank") for section in blanks),
        chips=tuple(_mark(s, f"chip {i + 1}") for i, s in enumerate(chips)),
        known=tuple(_mark(section, "known") for section in known),
        dark=None if dark is None else _mark(dark, "dark"),
    )
    top.close()
    return checked(marks)


def marks_of(
    file: Path | None,
    *,
    blanks: tuple[str, ...] = (),
    chips: tuple[str, ...] = (),
    known: tuple[str, ...] = (),
    dark: str | None = None,
) -> Marks:
    """Read marks from a file, or from a command line when there is none.

    Raises
    ------
    InsetError
        When both are given, and as for `read_marks` and `parse_marks`.
    """
    if file is None:
        return parse_marks(blanks=blanks, chips=chips, known=known, dark=dark)
    if blanks or chips or known or dark:
        raise InsetError(
            f'asked for the marks of "{file.name}" and for typed ones; keep one of them'
        )
    return read_marks(file)


def _several(top: Section, key: str) -> list[Section]:
    """Read `[key]` or `[[key]]`, whichever the maker wrote."""
    if isinstance(top.table.get(key), dict):
        one = top.section(key)
        return [] if one is None else [one]
    return top.sections(key)


def _mark(section: Section, name: str) -> Mark:
    chip, known = name.startswith("chip"), name == "known"
    if chip:
        name = section.text("name", name)
    ratio = section.number("ratio", low=KNOWN[0], high=KNOWN[1]) if known else None
    if known:
        name = f"known {ratio:g}"
    way = section.one_of("at", "box", required=True)
    if way == "box":
        numbers = section.numbers("box", 4)
        if min(numbers[2:]) <= 0:
            section.fail("box", "box = [left, top, width, height]: sizes above 0")
        mark = _box(name, numbers, ratio)
    else:
        at = section.numbers("at", 2)
        radius = None
        if section.has("radius"):
            radius = section.number("radius", low=0.5, high=1e5)
        mark = Mark(name=name, at=(at[0], at[1]), radius=radius, ratio=ratio)
    section.close()
    return mark


def checked(marks: Marks) -> Marks:
    """Refuse marks that cannot be meant.

    Raises
    ------
    InsetError
        Without a blank or a chip, for one name or one spot twice.
    """
    if not marks.blanks:
        raise InsetError(
            "no blank is marked; only chip over blank tells the dye, so mark the "
            "undyed chip, as in --blank 100,200"
        )
    if not marks.chips:
        raise InsetError('no chip is marked; mark one, as in --chip "2 drops=300,200"')
    seen: dict[str, Mark] = {}
    for mark in marks.chips:
        if mark.name in seen:
            raise InsetError(
                f'two chips are called "{mark.name}"; give each its own name'
            )
        seen[mark.name] = mark
    spots: dict[tuple[float, float], Mark] = {}
    for mark in (*marks.blanks, *marks.chips, *marks.known):
        if mark.at in spots:
            raise InsetError(
                f"{spots[mark.at].name} and {mark.name} are marked at the same spot "
                f"{mark.at[0]:g}, {mark.at[1]:g}; mark each where it is"
            )
        spots[mark.at] = mark
    return marks
