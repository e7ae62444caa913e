"""From a file to the record: which reader a file goes to."""

from pathlib import Path

from tintlab.errors import SpectrumError
from tintlab.measured.record import QUANTITIES, Measured, known
from tintlab.measured.tables import read_table
from tintlab.measured.tm27 import read_tm27

TABLES = (".csv", ".txt", ".tsv")


def read_measured(path: Path, *, expected: str | None = None) -> Measured:
    """Read a measured spectrum: a table (.csv, .txt, .tsv) or IES TM-27 (.spdx).

    Parameters
    ----------
    path : Path
        A table has one wavelength and one or more values in a row, separated by
        commas, semicolons, tabs or blanks; decimal commas, lines that begin with #
        and text before and after the table are understood.
    expected : str, optional
        One of `QUANTITIES`: chooses among columns, and names a column without a name.

    Returns
    -------
    Measured

    Raises
    ------
    SpectrumError
        With file and line, when the file can be read in more than one way or none.
    """
    if expected is not None:
        known(expected, QUANTITIES)
    suffix = path.suffix.lower()
    if suffix == ".spdx":
        return read_tm27(path, expected)
    if suffix not in TABLES:
        raise SpectrumError(
            f'asked for the spectrum "{path.name}"; {", ".join(TABLES)} and .spdx can '
            "be read; save the table as .csv"
        )
    return read_table(path, expected)
