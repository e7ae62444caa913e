"""LEDs on a battery: pure functions on numbers.

Currents are in mA, voltages in V, resistances in ohm, charges in mAh, times in h. A
string is LEDs in series with their resistor; strings stand in parallel on the battery,
which is an open voltage behind an inner resistance.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import wrightomega

Array = NDArray[np.float64]

# k T / q at 25 C, from the exact constants of the SI (2019)
THERMAL_VOLTAGE = 1.380649e-23 * 298.15 / 1.602176634e-19  # [V]
HALVINGS = 60  # of a bracket in which a voltage lies

# IEC 60063, preferred numbers of one decade
E12 = (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82)
E24 = tuple(sorted((*E12, 11, 13, 16, 20, 24, 30, 36, 43, 51, 62, 75, 91)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Diode:
    """An LED as a diode with series resistance, through one known point.

    Attributes
    ----------
    current, voltage : float
        The point that the data sheet gives. [mA], [V]
    slope : float
        n k T / q: rise of the voltage for e times the current. [V]
    drop : float
        Part of the voltage at that point that is across the series resistance. [V]
    """

    current: float
    voltage: float
    slope: float
    drop: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Strings:
    """Equal strings in parallel.

    Attributes
    ----------
    diode : Diode
    in_series : int
        LEDs in each string.
    count : int
        Strings in parallel.
    resistor : float
        In each string. [ohm]
    """

    diode: Diode
    in_series: int
    count: int
    resistor: float


def diode_voltage(diode: Diode, *, current: ArrayLike) -> Array:
    """Forward voltage of one LED, same shape as `current`. [V]

    Shockley's diode (1949) far above its saturation current, with a series resistance,
    written from the known point (I_0, V_0) with a drop D = r I_0:

    V = V_0 + n k T / q ln(I / I_0) + D (I / I_0 - 1).
    """
    ratio = np.asarray(current, dtype=float) / diode.current
    return diode.voltage + diode.slope * np.log(ratio) + diode.drop * (ratio - 1)


def string_current(strings: Strings, *, voltage: ArrayLike) -> Array:
    """Current of one string on a voltage, same shape as `voltage`. [mA]

    With x = ln(I / I_0) the string's voltage is linear in x and e^x:

    x + a e^x = c,   I = I_0 omega(c + ln a) / a,

    with omega the Wright function, omega(z) = W(e^z) (Banwell and Jayakumar 2000,
    Electronics Letters 36:291, give the same solution by Lambert's W; from memory).
    """
    diode, n = strings.diode, strings.in_series
    slope = n * diode.slope
    a = (n * diode.drop + strings.resistor * diode.current / 1000) / slope
    c = (np.asarray(voltage, dtype=float) - n * (diode.voltage - diode.drop)) / slope
    if a == 0:
        return diode.current * np.exp(np.minimum(c, 700.0))
    return np.asarray(diode.current * wrightomega(c + np.log(a)).real / a)


def bus_voltage(
    strings: Sequence[Strings], *, open_voltage: ArrayLike, resistance: ArrayLike
) -> Array:
    """Voltage at the battery's terminals with all strings on it.

    Parameters
    ----------
    strings : sequence of Strings
    open_voltage, resistance : array_like, broadcast together
        Of the whole battery. [V], [ohm]

    Returns
    -------
    ndarray
        The V at which V + R sum N_j I_j(V) / 1000 equals the open voltage. [V]
    """
    E, R = np.broadcast_arrays(
        np.asarray(open_voltage, dtype=float), np.asarray(resistance, dtype=float)
    )
    low, high = np.zeros(E.shape), E.copy()
    for _ in range(HALVINGS):  # the left side rises with V
        V = (low + high) / 2
        drawn = sum(s.count * string_current(s, voltage=V) for s in strings)
        above = V + R * drawn / 1000 > E
        low, high = np.where(above, low, V), np.where(above, V, high)
    return np.where(R == 0, E, (low + high) / 2)


def driven_current(
    *, power: ArrayLike, open_voltage: ArrayLike, resistance: ArrayLike
) -> Array:
    """Battery current that feeds a driver of constant power. [mA]

    P = (E - R I) I, the smaller root: I = 2 P / (E + sqrt(E^2 - 4 R P)).

    Parameters
    ----------
    power : array_like
        Into the driver. [mW]
    open_voltage, resistance : array_like
        Of the whole battery. [V], [ohm]

    Returns
    -------
    ndarray
        Not a number where the battery cannot give that power.
    """
    P, E, R = (np.asarray(v, dtype=float) for v in (power, open_voltage, resistance))
    square = E**2 - 4 * R * P / 1000
    root = np.sqrt(np.where(square >= 0, square, np.nan))
    return np.asarray(2 * P / (E + root))


def capacity_at(loads: ArrayLike, *, current: ArrayLike) -> Array:
    """Charge that one cell gives at a steady load, linear in the logarithm. [mAh]

    Parameters
    ----------
    loads : array_like, shape (n, 2)
        Load [mA] and capacity [mAh]; held beyond the first and last load.
    current : array_like
        [mA]
    """
    load, charge = np.asarray(loads, dtype=float).T
    at = np.log(np.maximum(np.asarray(current, dtype=float), 1e-12))
    return np.interp(at, np.log(load), charge)


def hours(drawn: ArrayLike, *, current: ArrayLike, capacity: ArrayLike) -> Array:
    """Time at which each share of the charge has been drawn, shape (n,). [h]

    Each share uses up capacity as fast as the load of that moment would:
    t = integral Q(I) / I d(share), by the trapezium rule.

    Parameters
    ----------
    drawn, current, capacity : array_like, shape (n,)
        Share drawn [-], load [mA] and capacity at that load [mAh].
    """
    x, I, Q = (np.asarray(v, dtype=float) for v in (drawn, current, capacity))
    rate = Q / I
    steps = np.diff(x) * (rate[1:] + rate[:-1]) / 2
    return np.concatenate([[0.0], np.cumsum(steps)])


def series_resistor(
    diode: Diode,
    *,
    current: float,
    in_series: int,
    strings: int,
    open_voltage: float,
    resistance: float,
) -> float:
    """Resistor of each string for a wanted current, by Ohm's law. [ohm]

    Parameters
    ----------
    diode : Diode
    current : float
        Wanted in each string. [mA]
    in_series, strings : int
        LEDs in a string, and strings in parallel.
    open_voltage, resistance : float
        Of the fresh battery. [V], [ohm]

    Returns
    -------
    float
        Negative when the battery is too weak for that current.
    """
    across = in_series * float(diode_voltage(diode, current=current))
    left = open_voltage - resistance * strings * current / 1000 - across
    return left / current * 1000


def preferred_at_least(resistance: float, series: Sequence[int] = E24) -> float:
    """Return the next preferred value that is not smaller (IEC 60063). [ohm]

    Examples
    --------
    >>> preferred_at_least(48.0)
    51.0
    """
    if resistance <= 0:
        return 0.0
    decade = 10.0 ** (np.floor(np.log10(resistance)) - 1)
    tried = [*(n * decade for n in series), 100 * decade]
    return float(next(v for v in tried if v >= resistance * (1 - 1e-9)))
