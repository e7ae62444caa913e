"""What the header of a table says: which columns, which quantity, which unit.

All words that are understood or refused stand here, as patterns of lower-case text.
"""

import re
from dataclasses import dataclass
from itertools import zip_longest

from tintlab.measured.lines import Line, split
from tintlab.measured.record import PARTNERS, Columns, fail, shown

_WAVELENGTH = re.compile(r"wavelen|lambda|λ|wellenl|^\W*(?:nm|wl)\b|[\[(]nm[\])]")
_WAVENUMBER = re.compile(r"wavenumber|\bcm\W{0,2}1")
_TWO_NAMES = re.compile(
    r"(\W*(?:wavelength|lambda|λ|nm)\b(?:\s*[\[(/]\s*nm\s*[\])]?)?)\s+(.+)",
    re.IGNORECASE,
)
_PERCENT = re.compile(r"%|percent|prozent|\bpct\b")
_RATIO = re.compile(r"\bratio\b|\bfraction\b|[\[(]-[\])]|\b0\s*(?:-|to|\.\.+)\s*1\b")
_UNITS = re.compile(r"[\W_]*(?:nm|%|percent|ratio|a\.?u\.?|m?w\W.*nm.*|)[\W_]*")
_LETTERS = {
    **dict.fromkeys(("t", "τ"), "transmittance"),
    **dict.fromkeys(("r", "ρ"), "reflectance"),  # noqa: RUF001  (rho is meant)
    **dict.fromkeys(("a", "abs", "od"), "absorbance"),
}
_WORDS = {
    "absorbance": re.compile(r"absorban|optical density|extin[ck]tion"),
    "transmittance": re.compile(r"transmitt?ance|transmissi"),
    "reflectance": re.compile(r"reflectan|reflecti|remission"),
    "power": re.compile(
        r"power|radian|flux|intensity|emission|\bspd\b|\bcounts?\b|w\W{1,3}nm"
    ),
}
_REFUSED = (
    (
        re.compile(r"absorptance|absorption"),
        "is not the decadic absorbance; export transmittance or absorbance",
    ),
    (
        re.compile(r"photon|quanta|[uµμ]mol"),
        "counts photons; divide each value by its wavelength and call it power",
    ),
    (re.compile(r"\bdb\b|decibel"), "is in decibel; export a ratio or percent"),
)
_REFUSED_ABSORBANCE = (
    (
        re.compile(r"(?:/|\bper)\s*cm\b|\bcm\s*(?:\^?-\s*1|⁻¹)"),
        "is per cm; divide it by 10 and call it absorbance per mm",
    ),
    (
        re.compile(r"napier|neper|\bln\b|base e"),
        "is Napierian; divide it by 2.3026 and call it absorbance",
    ),
    (_PERCENT, "is an absorbance in percent, which is none; name what was measured"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Header:
    """The names of the columns and the line where they stand."""

    number: int
    cells: tuple[str, ...]


def header_of(
    name: str, before: list[Line], width: int, delimiter: str | None
) -> Header | None:
    """Find the names of the columns in the line, or two lines, before the table."""
    found: Header | None = None
    for line in reversed(before[-3:]):
        cells = _header_cells(line.text, delimiter, width)
        if len(cells) < width:
            if not found and not line.cells:
                continue  # a comment between names and table
            if not found:
                _refuse_width(name, line.number, cells, width, delimiter)
            break
        if found:  # a line of names above one of units
            pairs = zip_longest(cells, found.cells, fillvalue="")
            cells = tuple(f"{word} {unit}".strip() for word, unit in pairs)
        found = Header(number=line.number, cells=cells)
        if not all(_UNITS.fullmatch(cell.lower()) for cell in cells):
            break
    meant = found and any(_means_something(cell.lower()) for cell in found.cells)
    return found if meant else None


def _refuse_width(
    name: str, line: int, cells: tuple[str, ...], width: int, delimiter: str | None
) -> None:
    """Refuse names for fewer columns than the rows have."""
    if delimiter and len(cells) > 1 and any(_means_something(c.lower()) for c in cells):
        fail(
            name,
            line,
            f"the header names {len(cells)} columns and the rows have {width}; if "
            "numbers have decimal commas, put semicolons between the columns",
        )


def _means_something(cell: str) -> bool:
    words = (_WAVELENGTH, _WAVENUMBER, _PERCENT, _RATIO, *(w for w, _ in _REFUSED))
    return _quantity(cell) is not None or any(word.search(cell) for word in words)


def _header_cells(text: str, delimiter: str | None, width: int) -> tuple[str, ...]:
    """Split a header; one between blanks may have blanks inside its names."""
    text = text.strip().lstrip("#").strip()
    if delimiter is not None:
        return split(text, delimiter)
    for cells in (re.split(r"\s{2,}|\t", text), text.split()):
        if len(cells) == width:
            return tuple(cells)
    halves = _TWO_NAMES.fullmatch(text)
    return halves.groups() if halves and width == 2 else ()


def columns_of(
    name: str, header: Header | None, rows: list[Line], expected: str | None
) -> Columns:
    """Choose the columns by their names, else the first two that are not blank."""
    width = max(len(row.cells) for row in rows)
    names = header.cells if header else ("",) * width
    cells = [cell.lower() for cell in names]
    filled = [
        i
        for i in range(len(cells))
        if cells[i] or any(any(r.cells[i : i + 1]) for r in rows)
    ]
    wavelength = next((i for i in filled if _WAVELENGTH.search(cells[i])), filled[0])
    values = [i for i in filled if i != wavelength]
    wanted = (expected, PARTNERS.get(expected or ""))
    named = [i for q in wanted for i in values if q and _quantity(cells[i]) == q]
    named += [i for i in values if _quantity(cells[i])]
    value = (named or values)[0]
    if header:
        _refuse_names(name, header, wavelength, value)
    found, percent = _quantity(cells[value]), None
    if _PERCENT.search(cells[value]) or _RATIO.search(cells[value]):
        percent = _PERCENT.search(cells[value]) is not None
    taken = f'"{shown(names[wavelength])}" and "{shown(names[value])}"'
    notes = [
        f"header {taken} taken as wavelength in nm and {found or 'value'}"
        + {True: " in percent", False: " as a ratio", None: ""}[percent]
        if header
        else "no header: the first column taken as wavelength in nm, the next as value"
    ]
    if len(values) > 1:
        notes.append(f"value columns left out: {len(values) - 1}")
    return Columns(
        wavelength=wavelength,
        value=value,
        quantity=found or ("unknown" if percent is None else "unknown ratio"),
        percent=percent,
        notes=tuple(notes),
    )


def _quantity(cell: str) -> str | None:
    """Name the quantity of a column from its lower-case header."""
    letter = re.sub(r"\[.*?\]|\(.*?\)|[%\s/_]", "", cell)
    if letter in _LETTERS:
        return _LETTERS[letter]
    return next((name for name, word in _WORDS.items() if word.search(cell)), None)


def _refuse_names(name: str, header: Header, wavelength: int, value: int) -> None:
    """Refuse columns that are named as something else than we take."""
    axis, cell = header.cells[wavelength].lower(), header.cells[value].lower()
    if _WAVENUMBER.search(axis):
        fail(name, header.number, "the rows are wavenumbers; export wavelengths in nm")
    of_absorbance = _REFUSED_ABSORBANCE if _quantity(cell) == "absorbance" else ()
    for word, advice in (*_REFUSED, *of_absorbance):
        if word.search(cell):
            column = shown(header.cells[value])
            fail(name, header.number, f'the column "{column}" {advice}')
