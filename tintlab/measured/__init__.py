"""Measured spectra: from an instrument's file to the working grid.

Two steps, because a person wants to see the first before trusting the second:
`read_measured` takes the numbers as they stand and says in plain sentences what it
made of the file; `to_grid` interpolates cubically to 380-780 nm. What is ambiguous is
refused with file and line: a row that cannot be read is never skipped, and no end is
made up. Whether a transmittance includes the two faces of the sample is known to the
caller alone; `internal_transmittance` takes them off.
"""

from tintlab.measured.faces import internal_transmittance
from tintlab.measured.grid import to_grid
from tintlab.measured.read import read_measured
from tintlab.measured.record import QUANTITIES, UNKNOWN, Measured

__all__ = [
    "QUANTITIES",
    "UNKNOWN",
    "Measured",
    "internal_transmittance",
    "read_measured",
    "to_grid",
]
