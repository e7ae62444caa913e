"""The lines of a text table, cut into cells.

Delimiter and decimal sign are found by trying all of them on the last lines.
"""

import csv
import re
from dataclasses import dataclass

from tintlab.measured.record import fail

LONGEST_LINE = 100_000  # [characters]; a row of a table is far shorter

_DIALECTS = (  # delimiter (None: blanks), decimal sign; of equals the first counts
    *(("\t", "."), ("\t", ","), (";", "."), (";", ",")),
    *((",", "."), (",", ","), (None, "."), (None, ",")),
)
_EXPONENT = r"(?:[eE][+-]?[0-9]+)?"
NUMBERS = {
    ".": re.compile(rf"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+){_EXPONENT}"),
    ",": re.compile(rf"[+-]?(?:[0-9]+(?:,[0-9]+)?|,[0-9]+){_EXPONENT}"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line that is not blank: number, cells, which of them are numbers."""

    number: int
    text: str
    cells: tuple[str, ...]
    numeric: tuple[bool, ...]


def raw_lines(name: str, text: str) -> list[tuple[int, str]]:
    """Number the lines and leave out those that are blank."""
    found = []
    for number, line in enumerate(text.splitlines(), start=1):
        if len(line) > LONGEST_LINE:
            fail(name, number, "this line is too long for a table; is it one?")
        if line.strip(" \t,;"):
            found.append((number, line.replace("\N{MINUS SIGN}", "-")))
    return found


def split(text: str, delimiter: str | None) -> tuple[str, ...]:
    """Split a line; blank cells at its end do not count."""
    if delimiter is None:
        return tuple(text.split())
    row = next(csv.reader([text], delimiter=delimiter, skipinitialspace=True))
    cells = [cell.strip() for cell in row]
    while cells and not cells[-1]:
        cells.pop()
    return tuple(cells)


def line_of(number: int, text: str, delimiter: str | None, decimal: str) -> Line:
    """Cut a line into cells; a comment has none."""
    comment = text.lstrip().startswith("#")
    cells = () if comment else split(text, delimiter)
    pattern = NUMBERS[decimal]
    numeric = tuple(pattern.fullmatch(cell) is not None for cell in cells)
    return Line(number=number, text=text, cells=cells, numeric=numeric)


def dialect_of(raw: list[tuple[int, str]]) -> tuple[str | None, str]:
    """Choose the delimiter and decimal sign that make most rows of numbers.

    Rows of nothing but numbers count first: "380,5 0,91" is two numbers, not three
    cells with two numbers among them. The last lines decide, because a long preamble
    may stand before the table.
    """

    def rows(dialect: tuple[str | None, str]) -> tuple[int, int]:
        found = [line_of(*line, *dialect).numeric for line in raw[-300:]]
        several = [numeric for numeric in found if sum(numeric) > 1]
        return sum(all(numeric) for numeric in several), len(several)

    return max(_DIALECTS, key=rows)
