"""Text tables (.csv, .txt, .tsv): a wavelength and one or more values in a row.

A row that cannot be read is refused with its line; text before and after the table
is left out, and said to be.
"""

from collections import Counter
from pathlib import Path
from typing import NoReturn

import numpy as np

from tintlab.document import read_text
from tintlab.errors import SpectrumError
from tintlab.measured.headers import columns_of, header_of
from tintlab.measured.lines import Line, dialect_of, line_of, raw_lines
from tintlab.measured.record import Columns, Measured, fail, measured_from, shown

LARGEST_TABLE = 50_000_000  # [bytes]
_NO_NUMBERS = ("", "nan", "-nan", "inf", "-inf", "n/a", "na", "#n/a", "null", "-", "--")


def read_table(path: Path, expected: str | None) -> Measured:
    """Read a text table; `read_measured` says what is understood."""
    name = path.name
    raw = raw_lines(name, read_text(path, error=SpectrumError, largest=LARGEST_TABLE))
    delimiter, decimal = dialect_of(raw)
    lines = [line_of(number, text, delimiter, decimal) for number, text in raw]
    rows, before, notes = _table(name, lines, delimiter)
    width = max(len(row.cells) for row in rows)
    header = header_of(name, before, width, delimiter)
    if not header and delimiter == ",":
        _refuse_two_commas(name, rows)
    columns = columns_of(name, header, rows, expected)
    pairs = [_pair(name, row, columns, decimal) for row in rows]
    return measured_from(
        name=name,
        numbers=[row.number for row in rows],
        pairs=np.array(pairs),
        columns=columns,
        expected=expected,
        notes=(*columns.notes, *notes),
    )


def _table(
    name: str, lines: list[Line], delimiter: str | None
) -> tuple[list[Line], list[Line], tuple[str, ...]]:
    """Part the rows of the table from the lines before it and the text after it.

    The table starts with the first row that has numbers where most rows have them;
    from there to the last number every line must be a row.
    """
    patterns = Counter(line.numeric for line in lines if sum(line.numeric) > 1)
    if not patterns:
        _refuse_no_table(name, lines)
    usual = patterns.most_common(1)[0][0]
    start = next(i for i, line in enumerate(lines) if line.numeric == usual)
    stop = max(i for i, line in enumerate(lines) if any(line.numeric)) + 1
    rows = [line for line in lines[start:stop] if line.cells]
    for row in rows:
        if any(row.numeric[len(usual) :]):
            fail(
                name,
                row.number,
                f'"{shown(row.text)}" has {len(row.cells)} cells where most rows have '
                f"{len(usual)}; mend this row",
            )
    _refuse_lost_rows(name, lines[:start], len(usual), delimiter)
    after = sum(bool(line.cells) for line in lines[stop:])
    note = f"left out {after} line{'s' * (after > 1)} of text after the table"
    return rows, lines[:start], (note,) if after else ()


def _refuse_no_table(name: str, lines: list[Line]) -> NoReturn:
    single = [line for line in lines if line.numeric == (True,)]
    if single:
        fail(
            name,
            single[0].number,
            "the file has one column of numbers; a wavelength and a value are needed "
            "in each row",
        )
    raise SpectrumError(
        f"{name} has no row with a wavelength and a value; write rows like "
        '"380, 0.91" in plain numbers'
    )


def _refuse_lost_rows(
    name: str, before: list[Line], width: int, delimiter: str | None
) -> None:
    """Refuse rows with holes at the top, which could pass for text before the table."""
    for line in reversed([line for line in before if line.cells]):
        first, *others = line.numeric
        row = len(line.cells) == width or (delimiter or "\n") in line.text
        no_wavelength = line.cells[0].lower() in _NO_NUMBERS and any(others)
        if not (row and (first or no_wavelength)):
            return
        _refuse_hole(name, line)


def _refuse_hole(name: str, line: Line) -> NoReturn:
    fail(
        name,
        line.number,
        f'"{shown(line.text)}" lacks a wavelength or a value; mend or remove this row',
    )


def _refuse_two_commas(name: str, rows: list[Line]) -> None:
    """Refuse 380,0,91 without a header: three numbers, or 380 and 0.91?"""
    whole = not any("." in cell for row in rows for cell in row.cells)
    if whole and len(rows[0].cells) > 2:
        fail(
            name,
            rows[0].number,
            f'"{shown(rows[0].text)}" may have decimal commas or more columns; put '
            'semicolons between the columns, or a header like "nm,%T" above them',
        )


def _pair(name: str, row: Line, columns: Columns, decimal: str) -> tuple[float, float]:
    """Return wavelength and value of a row."""
    for i in (columns.wavelength, columns.value):
        if i >= len(row.cells) or not row.numeric[i]:
            _refuse_hole(name, row)
    wavelength, value = (
        float(row.cells[i].replace(decimal, "."))
        for i in (columns.wavelength, columns.value)
    )
    if not (np.isfinite(wavelength) and np.isfinite(value)):
        _refuse_hole(name, row)
    return wavelength, value
