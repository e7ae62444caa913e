"""The record of a measured spectrum, and how the rows of a file become one.

Both formats end here: rows must go one way along the wavelengths, and a percent is
told from a ratio by what the file says, else by size. Nothing is mended in silence.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NoReturn

import numpy as np
from numpy.typing import NDArray

from tintlab.document import nearest
from tintlab.errors import SpectrumError
from tintlab.spectrum import WAVELENGTHS, Source

Array = NDArray[np.float64]

QUANTITIES = ("transmittance", "reflectance", "absorbance", "power")
UNKNOWN = ("unknown ratio", "unknown")
PARTNERS = {"transmittance": "absorbance", "absorbance": "transmittance"}
CLOSEST = 0.01  # [nm]; nearer rows make a cubic swing, assumed
LEEWAY = 0.05  # beyond 0 to 1 more than noise, assumed; of the peak for a power


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Measured:
    """One measured spectrum as it stands in a file.

    Attributes
    ----------
    wavelengths : ndarray, shape (n,)
        Rising, any step; read-only. [nm]
    values : ndarray, shape (n,)
        Ratio (never percent), decadic absorbance or relative power; read-only.
    quantity : str
        One of `QUANTITIES`; "unknown ratio" when only a percent sign is known;
        "unknown" when nothing is.
    source : Source
        Provenance.
    notes : tuple of str
        What was made of the file, in sentences for the maker.
    """

    wavelengths: Array
    values: Array
    quantity: str
    source: Source
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for name in ("wavelengths", "values"):
            array = np.array(getattr(self, name), dtype=float)
            array.setflags(write=False)
            object.__setattr__(self, name, array)
        known(self.quantity, (*QUANTITIES, *UNKNOWN))
        one_each = self.wavelengths.shape == self.values.shape == (self.values.size,)
        finite = np.isfinite(self.wavelengths).all() and np.isfinite(self.values).all()
        rising = one_each and (np.diff(self.wavelengths) > 0).all()
        if not (rising and finite and self.values.size > 1):
            raise SpectrumError(
                f"{self.source.citation} should be two or more rising wavelengths with "
                "one finite value each; mend its rows"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Columns:
    """Which columns are read, and what their header says."""

    wavelength: int
    value: int
    quantity: str
    percent: bool | None  # None: the header does not say
    notes: tuple[str, ...]


def measured_from(
    *,
    name: str,
    numbers: Sequence[int],
    pairs: Array,
    columns: Columns,
    expected: str | None,
    notes: tuple[str, ...],
) -> Measured:
    """Check order and unit of what was read, and make the record."""
    wavelengths, values = pairs.T
    if falls(name, numbers, wavelengths):
        wavelengths, values = wavelengths[::-1], values[::-1]
        notes = (*notes, "wavelengths fall in the file; the rows were turned round")
    quantity, percent = columns.quantity, columns.percent
    if quantity in UNKNOWN and expected and not (percent and expected == "absorbance"):
        quantity = expected
        notes = (*notes, f"nothing names the quantity; taken as {expected}, as asked")
    if quantity in ("transmittance", "reflectance", "unknown ratio"):
        values, note = as_ratio(name, wavelengths, values, percent)
        notes = (*notes, note)
    count = f"read {values.size} rows, {wavelengths[0]:g}-{wavelengths[-1]:g} nm"
    return Measured(
        wavelengths=wavelengths,
        values=values,
        quantity=quantity,
        source=Source(citation=f"own measurement {name}", kind="measured"),
        notes=(f"{count} in {_steps(wavelengths)}", *notes),
    )


def falls(name: str, numbers: Sequence[int], wavelengths: Array) -> bool:
    """Tell whether the wavelengths fall; refuse those that go back and forth."""
    if wavelengths.size < 2:
        fail(name, numbers[0], "the table has one row; a spectrum needs more")
    if wavelengths.max() < 10:
        raise SpectrumError(
            f"{name}: wavelengths of {wavelengths.min():g} to {wavelengths.max():g} "
            "look like micrometres; nanometres are needed; multiply them by 1000"
        )
    falling = bool(wavelengths[-1] < wavelengths[0])
    axis = -wavelengths if falling else wavelengths
    wrong = np.flatnonzero(np.diff(axis) < CLOSEST)
    if wrong.size:
        _refuse_order(name, numbers, wavelengths, int(wrong[0]) + 1)
    return falling


def _refuse_order(
    name: str, numbers: Sequence[int], wavelengths: Array, row: int
) -> NoReturn:
    here, line = wavelengths[row], numbers[row]
    same = np.flatnonzero(np.abs(wavelengths[:row] - here) < CLOSEST)
    if same.size:
        first = numbers[int(same[0])]
        fail(name, line, f"{here:g} nm stands here and in line {first}; keep one row")
    turn = f"{wavelengths[row - 1]:g} to {here:g} nm"
    fail(name, line, f"wavelengths turn back from {turn}; keep one sorted scan")


def _steps(wavelengths: Array) -> str:
    steps = np.diff(wavelengths)
    low, high = steps.min(), steps.max()
    if high - low < 0.01 * high:
        return f"{np.median(steps):.3g} nm steps"
    return f"steps of {low:.3g} to {high:.3g} nm"


def as_ratio(
    name: str, wavelengths: Array, values: Array, percent: bool | None
) -> tuple[Array, str]:
    """Turn percent into ratio, judged by the header or by size within 380-780 nm."""
    inside = inside_grid(wavelengths)
    largest = values[inside].max() if inside.any() else values.max()
    if percent:
        return values / 100, "percent turned into ratio because the header says so"
    if percent is False:
        return values, "values taken as a ratio because the header says so"
    because = f"because the largest is {largest:g} and no percent sign is there"
    if largest > 2:
        return values / 100, f"percent turned into ratio {because}"
    if largest <= 1 + LEEWAY:
        return values, f"values taken as a ratio {because}"
    raise SpectrumError(
        f"{name}: the largest value is {largest:g}, too large for a ratio and small "
        'for percent; write "%" or "ratio" in the header of its column'
    )


def inside_grid(wavelengths: Array) -> NDArray[np.bool_]:
    """Tell which wavelengths lie on the working grid's 380-780 nm."""
    return (wavelengths >= WAVELENGTHS[0]) & (wavelengths <= WAVELENGTHS[-1])


def fail(name: str, line: int, message: str) -> NoReturn:
    """Refuse a file with the line that is to be mended."""
    raise SpectrumError(f"{name}:{line}: {message}")


def known(word: str, among: tuple[str, ...]) -> None:
    """Refuse a word that is not among those we know."""
    if word not in among:
        raise SpectrumError(
            f'asked for "{word}"; {nearest(word, among)}choose one of: '
            f"{', '.join(among)}"
        )


def shown(text: str) -> str:
    """Make text from a file fit to be shown: printable and short."""
    text = "".join(c if c.isprintable() else " " for c in text.strip())
    return text if len(text) <= 60 else text[:57] + "..."
