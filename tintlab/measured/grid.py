"""From the record to the working grid, by a cubic that says what it made up.

Ends that were not measured, values that cannot be and steps too wide to follow are
refused; noise beyond the possible range is set to its limit, with a note.
"""

import numpy as np
from scipy.interpolate import CubicSpline

from tintlab.errors import SpectrumError
from tintlab.measured.record import (
    CLOSEST,
    LEEWAY,
    PARTNERS,
    QUANTITIES,
    UNKNOWN,
    Array,
    Measured,
    as_ratio,
    inside_grid,
    known,
)
from tintlab.spectrum import WAVELENGTHS

WIDEST = 50.0  # [nm]; over a wider gap a cubic is a guess, assumed
LONGEST_HOLD = 30.0  # [nm]
WORTH_A_NOTE = 0.002  # of 1, or of the peak for a power
LEAST_TRANSMITTANCE = 1e-4
GREATEST_ABSORBANCE = 10.0  # no instrument measures more, from memory


def to_grid(
    measured: Measured, *, quantity: str, edges: str = "refuse"
) -> tuple[Array, tuple[str, ...]]:
    """Interpolate a measured spectrum to the working grid.

    Parameters
    ----------
    measured : Measured
    quantity : str
        What is wanted, one of `QUANTITIES`; transmittance and decadic absorbance are
        turned into each other.
    edges : str
        "refuse" a file that does not cover 380-780 nm, or "hold" the first and last
        value constant over at most 30 nm at either end.

    Returns
    -------
    values : ndarray, shape (401,)
        On `WAVELENGTHS`; a ratio is 0 to 1, an absorbance or a power at least 0.
    notes : tuple of str
        Those of `measured`, then what was done here.

    Raises
    ------
    SpectrumError
        Another quantity, ends that are missing, values that cannot be, steps too wide.

    Notes
    -----
    A cubic spline with not-a-knot ends [1]_. From 5 nm steps a straight line between
    the rows costs up to 6.6 CIEDE2000 on single-colour lights seen through dyes, the
    cubic at most 0.16; from 10 nm steps the cubic costs up to 5 (own study of 2,033
    pairs of light and film).

    References
    ----------
    .. [1] C. de Boor, A Practical Guide to Splines (1978), chapter IV.
    """
    known(quantity, QUANTITIES)
    known(edges, ("refuse", "hold"))
    values, kind, notes = _as_quantity(measured, quantity)
    held = _held_ends(measured, edges)
    _check_range(measured, values, kind)
    first, last = measured.wavelengths[[0, -1]]
    spline = CubicSpline(measured.wavelengths, values, bc_type="not-a-knot")
    curve = spline(WAVELENGTHS.clip(first, last))
    steps = _judge_steps(measured, curve, kind)
    curve, cut = _within_limits(curve, kind)
    curve, turned = _turned(curve, kind, quantity)
    return curve, (*measured.notes, *notes, *held, *steps, *cut, *turned)


def _as_quantity(
    measured: Measured, quantity: str
) -> tuple[Array, str, tuple[str, ...]]:
    """Return values, what they are, and notes; refuse what cannot be turned."""
    kind, name = measured.quantity, measured.source.citation
    if kind in (quantity, PARTNERS.get(quantity)):
        return measured.values, kind, ()
    if kind not in UNKNOWN or (kind == "unknown ratio" and quantity == "absorbance"):
        what = "percent or ratio of something" if kind in UNKNOWN else kind
        raise SpectrumError(
            f"asked for {quantity}, but {name} holds {what}; name the right column in "
            "its header or give another file"
        )
    note = f"nothing names the quantity; taken as {quantity}, as asked"
    if kind == "unknown" and quantity in ("transmittance", "reflectance"):
        values, unit = as_ratio(name, measured.wavelengths, measured.values, None)
        return values, quantity, (note, unit)
    return measured.values, quantity, (note,)


def _held_ends(measured: Measured, edges: str) -> tuple[str, ...]:
    """Refuse missing ends, or say which are held."""
    first, last = measured.wavelengths[[0, -1]]
    low, high = WAVELENGTHS[[0, -1]]
    missing = max(first - low, high - last)
    if missing <= 0:
        return ()
    if edges == "refuse" or missing > LONGEST_HOLD:
        raise SpectrumError(
            f"{measured.source.citation} covers {first:g}-{last:g} nm; "
            f"{low:g}-{high:g} nm are needed; measure or export the missing end"
            f"{_hold_advice(edges)}"
        )
    spans = []
    if first > low:
        spans.append(f"{low:g}-{first:g} nm held at the value of {first:g} nm")
    if last < high:
        spans.append(f"{last:g}-{high:g} nm held at the value of {last:g} nm")
    return tuple(f"not measured: {span}" for span in spans)


def _hold_advice(edges: str) -> str:
    if edges == "refuse":
        return f', or hold up to {LONGEST_HOLD:g} nm of it constant (edges="hold")'
    return f"; at most {LONGEST_HOLD:g} nm at either end can be held"


def _check_range(measured: Measured, values: Array, kind: str) -> None:
    """Refuse values, within 380-780 nm, that are more than noise away from sense."""
    inside = inside_grid(measured.wavelengths)
    where, found = measured.wavelengths[inside], values[inside]
    if not found.size:
        return
    peak = found.max() if kind == "power" else 1.0
    highest = {"power": np.inf, "absorbance": GREATEST_ABSORBANCE}.get(kind, 1 + LEEWAY)
    for i, wrong in (
        (int(found.argmin()), found.min() < -LEEWAY * max(peak, 0.0)),
        (int(found.argmax()), found.max() > highest),
    ):
        if wrong:
            raise SpectrumError(
                f"{measured.source.citation} has {kind} {found[i]:.4g} at "
                f"{where[i]:g} nm, which is more than noise; check its unit and repeat "
                "the dark and the blank reading"
            )


def _judge_steps(measured: Measured, curve: Array, kind: str) -> tuple[str, ...]:
    """Warn of wide steps; refuse those that miss a narrow line."""
    axis = measured.wavelengths
    low = max(int(np.searchsorted(axis, WAVELENGTHS[0], side="right")) - 1, 0)
    high = int(np.searchsorted(axis, WAVELENGTHS[-1])) + 1
    steps = np.diff(axis[low:high])
    i = int(steps.argmax())
    step, start, name = steps[i], axis[low + i], measured.source.citation
    if step > WIDEST:
        raise SpectrumError(
            f"{name} has nothing between {start:g} and {start + step:g} nm; at most "
            f"{WIDEST:g} nm are interpolated; measure the rows between"
        )
    if step <= 5.0 + CLOSEST:
        return ()
    if step >= 20 and kind == "power" and _narrowest(curve) < 2 * step:
        raise SpectrumError(
            f"{name} has steps of {step:g} nm and a line {_narrowest(curve):.0f} nm "
            "wide, which such steps cannot follow; measure in steps of 5 nm or less"
        )
    cost = "20 nm data can be 29" if step >= 20 else "10 nm data can be 4"
    where = f"the widest step is {step:.3g} nm, after {start:g} nm"
    return (f"{where}; {cost} CIEDE2000 off with a single-colour light",)


def _narrowest(curve: Array) -> float:
    """Return the least full width at half maximum of the curve's lines. [nm]

    Lines below a fifth of the highest are passed over. Gaussian lines of 10 to 25 nm
    in steps of 20 nm come out 23 to 37 nm wide by where the rows fall, so that a width
    below two steps means "not resolved".
    """
    middle = curve[1:-1]
    top = (middle > curve[:-2]) & (middle >= curve[2:]) & (middle > curve.max() / 5)
    widths = [np.inf]
    for i in np.flatnonzero(top) + 1:
        below = np.flatnonzero(curve < curve[i] / 2)
        left, right = below[below < i], below[below > i]
        if left.size and right.size:
            widths.append(float(right[0] - left[-1] - 1))
    return min(widths)


def _within_limits(curve: Array, kind: str) -> tuple[Array, tuple[str, ...]]:
    """Set what leaves the possible range to its limit, and say so."""
    high = 1.0 if kind in ("transmittance", "reflectance") else np.inf
    worth = WORTH_A_NOTE * (curve.max() if kind == "power" else 1.0)
    low, top = int(curve.argmin()), int(curve.argmax())
    notes = []
    if curve[low] < -worth:
        where = f"{curve[low]:.3g} at {WAVELENGTHS[low]:g} nm"
        notes.append(f"{kind} down to {where} set to 0")
    if curve[top] > high + worth:
        where = f"{curve[top]:.4g} at {WAVELENGTHS[top]:g} nm"
        notes.append(f"{kind} up to {where} set to 1")
    return curve.clip(0.0, high), tuple(notes)


def _turned(curve: Array, kind: str, quantity: str) -> tuple[Array, tuple[str, ...]]:
    """Turn transmittance into decadic absorbance or back."""
    if kind == quantity:
        return curve, ()
    if quantity == "transmittance":
        return 10.0**-curve, ("absorbance turned into transmittance",)
    floored = int((curve < LEAST_TRANSMITTANCE).sum())
    notes = ["transmittance turned into absorbance, faces not taken off"]
    if floored:
        notes.append(
            f"transmittance below {LEAST_TRANSMITTANCE:g} at {floored} nm taken as "
            f"{LEAST_TRANSMITTANCE:g}, absorbance 4"
        )
    return -np.log10(curve.clip(LEAST_TRANSMITTANCE)), tuple(notes)
