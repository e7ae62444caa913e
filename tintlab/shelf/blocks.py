"""What every file of the shelf has: name, source, spectra, tables of numbers."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from tintlab import document
from tintlab.document import Section
from tintlab.errors import TintlabError
from tintlab.spectrum import WAVELENGTHS, Source

Array = NDArray[np.float64]

SOURCE_KINDS = (
    *("measured", "published", "fitted", "digitised", "learned"),
    *("memory", "assumed"),
)
MOST = 1e12  # of any number in a table; more is a slip, and squares would overflow


def name_and_source(section: Section) -> dict[str, Any]:
    """Read the name and the source, which every file has."""
    name = section.text("name")
    section.texts("aliases", [])
    source = section.section("source")
    if source is None:
        section.missing("source", f'"{name}" has no [source]')
    record = Source(
        citation=source.text("citation"),
        kind=source.choice("kind", SOURCE_KINDS),
        **{
            key: source.text(key, "")
            for key in ("where", "licence", "conditions", "uncertainty", "note")
        },
    )
    source.close()
    return {"name": name, "source": record, "path": str(section.document.path)}


def need(section: Section, key: str) -> Section:
    """Return a sub-table that must be there."""
    inner = section.section(key)
    if inner is None:
        section.missing(key, f"[{key}] is missing")
    return inner


def table(section: Section, columns: tuple[str, ...]) -> Array:
    """Read a block of numbers whose columns are named with their units.

    Returns
    -------
    ndarray, shape (n_rows, n_columns)

    Raises
    ------
    ShelfError
        Naming the row: another number of columns, no number, not finite.
    """
    named = section.take("columns", list)
    if tuple(named) != columns:
        wanted = ", ".join(f'"{column}"' for column in columns)
        section.fail("columns", f"columns = {document.shown(named)}; write [{wanted}]")
    text, rows = section.text("table"), []
    below = _first_row(section, text)
    for offset, line in enumerate(text.splitlines()):
        if not line.strip():
            continue
        try:
            row = [float(cell) for cell in line.split()]
        except ValueError:
            row = []
        if len(row) != len(columns) or not all(abs(number) <= MOST for number in row):
            section.fail(
                "table",
                f'the row "{line.strip()}" should be {len(columns)} numbers: '
                f"{', '.join(columns)}",
                below=below + offset,
            )
        rows.append(row)
    if not rows:
        section.fail("table", "the table is empty; add rows of numbers")
    return np.array(rows)


def _first_row(section: Section, text: str) -> int:
    """Count the lines from `table =` to the first row; TOML drops a leading newline."""
    start = section.document.line_of((*section.trail, "table"))
    line = section.document.text.split("\n")[start - 1]
    return int(line.rstrip().endswith(('"""', "'''")) and "\n" in text)


def on_grid(section: Section, column: str, quantity: str) -> Array:
    """Read a spectrum, from the file itself or from a measured file beside it.

    A short table of a smooth material is joined by a monotone line between its rows;
    measured files are interpolated cubically by `tintlab.measured`.
    """
    if section.has("file"):
        from tintlab import measured  # noqa: PLC0415  scipy, for this only

        path = section.document.path.parent / section.text("file")
        edges = section.choice("edges", ("refuse", "hold"), "refuse")
        try:
            found = measured.read_measured(path, expected=quantity)
            values, notes = measured.to_grid(found, quantity=quantity, edges=edges)
        except TintlabError as problem:
            section.fail("file", str(problem))
        section.document.notes.extend(notes)
        return values
    wavelengths, values = table(section, ("wavelength [nm]", column)).T
    if not (np.diff(wavelengths) > 0).all():
        section.fail("table", "wavelengths must rise from row to row; sort the rows")
    if wavelengths[0] > WAVELENGTHS[0] or wavelengths[-1] < WAVELENGTHS[-1]:
        section.fail(
            "table",
            f"the table covers {wavelengths[0]:g}-{wavelengths[-1]:g} nm; 380-780 nm "
            "are needed; add the missing end",
        )
    if (values < 0).any() or (quantity != "power" and (values > 5).any()):
        section.fail(
            "table",
            f"{column} goes from {values.min():g} to {values.max():g}, which cannot "
            "be; percent is written as a ratio, 20 % as 0.2",
        )
    return np.interp(WAVELENGTHS, wavelengths, values)


def pair(section: Section, key: str, default: Any) -> Any:
    """Read two numbers that belong together."""
    values = section.numbers(key, 2, default)
    return None if values is None else (values[0], values[1])


def span(section: Section, key: str, default: list[float]) -> tuple[float, float]:
    """Read the lower and the upper end of a range of numbers from 0 up."""
    low, high = section.numbers(key, 2, default)
    if not 0 <= low <= high:
        section.fail(key, f"{key} = [{low:g}, {high:g}]; give the lower number first")
    return low, high
