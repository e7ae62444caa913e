"""Bright or dim, and for how long: the LEDs of an inset on their battery.

`[battery]` of the inset file becomes a `Supply`. `powered` runs it down: the currents
of the strings while the battery empties, the light that they give through the piece,
and when it is half and when it is flat. The light of an inset file is what its LEDs
give at their stated current; a battery only scales it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tintlab import document, yardstick
from tintlab.circuit import (
    THERMAL_VOLTAGE,
    Diode,
    Strings,
    bus_voltage,
    capacity_at,
    diode_voltage,
    driven_current,
    hours,
    preferred_at_least,
    series_resistor,
    string_current,
)
from tintlab.colorimetry import MAXIMUM_EFFICACY, XYZ_to_Lab, spectrum_to_XYZ
from tintlab.document import Document, Section
from tintlab.errors import InsetError
from tintlab.glow import solve_piece, tint_depths, transfers
from tintlab.inset import Inset, Light
from tintlab.inset.fields import find, quantity
from tintlab.materials import Battery
from tintlab.piece import Piece
from tintlab.shelf import Shelf
from tintlab.units import CURRENTS

Array = NDArray[np.float64]

RESISTANCES = {**dict.fromkeys(("ohm", "ohms", "\N{OHM SIGN}"), 1.0), "kohm": 1000.0}
CHARGES = {"mAh": 1.0, "Ah": 1000.0}
STATED_AT = 20.0  # [mA] of an LED whose file names no current; common practice
LONG_WAVE = 2.6  # [V] below this an LED is a red or amber one (AlInGaP)
STEPS = 401  # of the charge, from fresh to flat
FLAT = 0.1  # of the fresh light: nobody calls that lit; assumed
DARK = 0.002  # of the stated light; assumed
EFFICIENCY = 0.85  # of a driver of constant current; assumed
PER_WATT = 300.0  # [K/W] junction of a 5 mm or small chip LED in free air; assumed
AMBIENT = 25.0  # [C]


@dataclass(frozen=True, slots=True, kw_only=True)
class Family:
    """How the LEDs of one semiconductor behave; all from memory.

    Attributes
    ----------
    name : str
    ideality : float
        n of Shockley's diode. [-]
    drop : float
        Across the series resistance at the stated current. [V]
    droop : float
        k of light ~ current^k. [-]
    """

    name: str
    ideality: float
    drop: float
    droop: float


ALINGAP = Family(name="AlInGaP", ideality=2.0, drop=0.10, droop=1.0)
INGAN = Family(name="InGaN", ideality=3.0, drop=0.20, droop=0.9)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Supply:
    """What feeds the LEDs.

    Attributes
    ----------
    battery : Battery
        One cell.
    cells, parallel : int
        In series, and such rows side by side.
    in_series : int
        LEDs in each string.
    driver : str
        "resistor" or "current" (constant current).
    resistor : float or None
        Of each string; None when the maker names none. [ohm]
    current : float or None
        Wanted in each string. [mA]
    capacity : float or None
        Of one cell, when the maker writes it. [mAh]
    efficiency : float
        Of the driver. [-]
    """

    battery: Battery
    cells: int
    parallel: int
    in_series: int
    driver: str
    resistor: float | None
    current: float | None
    capacity: float | None
    efficiency: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Powered:
    """An inset on its battery, from fresh to flat.

    The last axis runs over the charge drawn, n steps; the first over the lights.

    Attributes
    ----------
    supply : Supply
    strings : tuple of Strings
        One sort for each sort of LED.
    drawn : ndarray, shape (n,)
        Share of the charge. [-]
    hours : ndarray, shape (n,)
        [h]
    current : ndarray, shape (n_lights, n)
        Of one LED. [mA]
    load, terminal : ndarray, shape (n,)
        Of the whole battery. [mA], [V]
    light : ndarray, shape (n,)
        Y of the glow over that at the stated currents. [-]
    XYZ : ndarray, shape (n, 3)
        Of the glow; Y in cd/m2 when the inset has a size.
    drift : ndarray, shape (n,)
        CIEDE2000 from the fresh glow at equal brightness: the mix of LEDs only.
    end : int
        Step at which it is flat.
    why : str
        What ends it: "voltage", "light" or "charge"; "dark" when it never lights.
    wanted : tuple of float
        Resistor of each string for the wanted current; negative: too weak. [ohm]
    """

    supply: Supply
    strings: tuple[Strings, ...]
    drawn: Array
    hours: Array
    current: Array
    load: Array
    terminal: Array
    light: Array
    XYZ: Array
    drift: Array
    end: int
    why: str
    wanted: tuple[float, ...]

    @property
    def half_light(self) -> float | None:
        """Time until half of the fresh light is left [h]; None if it is flat before."""
        shares = self.light[: self.end + 1] / self.light[0]
        if self.why == "dark" or shares[-1] > 0.5:
            return None
        return float(np.interp(-0.5, -shares, self.hours[: self.end + 1]))


def read_supply(inset: Inset, shelf: Shelf) -> Supply | None:
    """Read `[battery]` of an inset file; None without one.

    Raises
    ------
    InsetError
        With file and line, for what is missing, unknown or cannot be.
    """
    if not inset.battery:
        return None
    text = document.read_text(inset.path, error=InsetError)
    section = Section(
        document=Document(path=inset.path, text=text, error=InsetError),
        table=inset.battery,
        trail=("battery",),
    )
    driver = section.choice("driver", ("resistor", "current"), "resistor")
    supply = Supply(
        battery=find(section, "kind", shelf, "batteries"),
        cells=section.whole("cells", 1, low=1, high=100),
        parallel=section.whole("parallel", 1, low=1, high=100),
        in_series=section.whole("leds_per_string", 1, low=1, high=100),
        driver=driver,
        resistor=quantity(
            section, "resistor", RESISTANCES, "100 ohm", None, positive=False
        ),
        current=quantity(section, "current", CURRENTS, "10 mA", None),
        capacity=quantity(section, "capacity", CHARGES, "500 mAh", None),
        efficiency=section.number("efficiency", EFFICIENCY, low=0.05, high=1),
    )
    section.close()
    _check(section, supply, inset)
    return supply


def _check(section: Section, supply: Supply, inset: Inset) -> None:
    if supply.resistor is not None and supply.resistor < 0:
        section.fail("resistor", "a resistor is 0 ohm or more")
    if supply.driver == "current" and supply.current is None:
        section.missing("current", "a driver of constant current needs current")
    if supply.driver == "current" and supply.resistor:
        section.fail("resistor", 'driver = "current" needs no resistor; leave it out')
    for light in inset.lights:
        if light.count % supply.in_series:
            section.fail(
                "leds_per_string",
                f'{light.count} LEDs "{light.emitter.name}" do not make whole strings '
                f"of {supply.in_series}; a string holds LEDs of one sort",
            )


def family(light: Light) -> Family:
    """Tell the semiconductor of an LED from its forward voltage."""
    return ALINGAP if light.emitter.forward_voltage < LONG_WAVE else INGAN


def diode_of(light: Light) -> Diode:
    """Return an LED as a diode, through its typical voltage at its stated current."""
    kind = family(light)
    return Diode(
        current=light.at or STATED_AT,
        voltage=light.emitter.forward_voltage,
        slope=kind.ideality * THERMAL_VOLTAGE,
        drop=kind.drop,
    )


def light_share(light: Light, *, current: Array) -> Array:
    """Light of an LED over that at its stated current: (I / I_0)^k. [-]

    k is below 1 where efficiency droops with the current; assumed, not fitted.
    """
    return np.asarray((current / (light.at or STATED_AT)) ** family(light).droop)


def parts_XYZ(piece: Piece) -> Array:
    """XYZ of the glow from each sort of LED at its stated current, shape (n, 3)."""
    depths, filters = tint_depths(piece)
    parts = transfers(piece, solve_piece(piece, depths), filters)
    lit = [b.power * part for b, part in zip(piece.beams, parts, strict=True)]
    return MAXIMUM_EFFICACY * spectrum_to_XYZ(np.array(lit))


def wanted_current(inset: Inset, supply: Supply) -> float:
    """Return the string current to aim at: the maker's, or what LEDs and cells allow.

    Returns
    -------
    float
        [mA]
    """
    if supply.current is not None:
        return supply.current
    stated = min(light.at or STATED_AT for light in inset.lights)
    most = supply.battery.most_current
    if most is None:
        return stated
    strings = sum(light.count // supply.in_series for light in inset.lights)
    return min(stated, most * supply.parallel / strings)


def wanted_resistors(inset: Inset, supply: Supply) -> tuple[float, ...]:
    """Resistor of each string for the wanted current, on the fresh battery. [ohm]"""
    _, voltage, resistance = supply.battery.discharge[0]
    strings = sum(light.count // supply.in_series for light in inset.lights)
    return tuple(
        series_resistor(
            diode_of(light),
            current=wanted_current(inset, supply),
            in_series=supply.in_series,
            strings=strings,
            open_voltage=supply.cells * voltage,
            resistance=supply.cells / supply.parallel * resistance,
        )
        for light in inset.lights
    )


def strings_of(inset: Inset, supply: Supply) -> tuple[Strings, ...]:
    """Return the strings; a wanted current without a resistor takes the next of E24."""
    wanted = wanted_resistors(inset, supply)
    chosen: list[float] = [supply.resistor or 0.0] * len(inset.lights)
    if supply.resistor is None and supply.current and supply.driver == "resistor":
        chosen = [preferred_at_least(one) for one in wanted]
    return tuple(
        Strings(
            diode=diode_of(light),
            in_series=supply.in_series,
            count=light.count // supply.in_series,
            resistor=resistor,
        )
        for light, resistor in zip(inset.lights, chosen, strict=True)
    )


def powered(inset: Inset, supply: Supply, piece: Piece) -> Powered:
    """Run the LEDs of an inset on their battery, from fresh to flat."""
    strings = strings_of(inset, supply)
    drawn = np.linspace(0.0, 1.0, STEPS)
    share, voltage, resistance = supply.battery.discharge.T
    E = supply.cells * np.interp(drawn, share, voltage)
    R = supply.cells / supply.parallel * np.interp(drawn, share, resistance)
    current, load = _currents(supply, strings, E, R)
    terminal = E - R * load / 1000
    factors = np.array(
        [light_share(q, current=i) for q, i in zip(inset.lights, current, strict=True)]
    )
    stated = parts_XYZ(piece)
    XYZ = factors.T @ stated
    light = XYZ[:, 1] / stated[:, 1].sum()
    end, why = _end(supply, light, terminal)
    cell = load / supply.parallel
    charge = supply.capacity or capacity_at(supply.battery.capacity, current=cell)
    return Powered(
        supply=supply,
        strings=strings,
        drawn=drawn,
        hours=hours(
            drawn,
            current=np.where(np.isfinite(cell), np.maximum(cell, 1e-9), 1e9),
            capacity=np.broadcast_to(charge, cell.shape),
        ),
        current=current,
        load=load,
        terminal=terminal,
        light=light,
        XYZ=XYZ,
        drift=yardstick.difference(XYZ, XYZ_to_Lab(XYZ[0] / stated[:, 1].sum())),
        end=end,
        why=why,
        wanted=wanted_resistors(inset, supply),
    )


def _currents(
    supply: Supply, strings: tuple[Strings, ...], E: Array, R: Array
) -> tuple[Array, Array]:
    """Current of each sort of LED, shape (n_lights, n), and of the battery. [mA]"""
    if supply.driver == "resistor":
        V = bus_voltage(strings, open_voltage=E, resistance=R)
        each = np.array([string_current(s, voltage=V) for s in strings])
        counts = np.array([s.count for s in strings], dtype=float)
        return each, counts @ each
    I = supply.current or 0.0
    power = sum(
        s.count * s.in_series * I * float(diode_voltage(s.diode, current=I))
        for s in strings
    )
    load = driven_current(power=power / supply.efficiency, open_voltage=E, resistance=R)
    return np.full((len(strings), E.size), I), load


def _end(supply: Supply, light: Array, terminal: Array) -> tuple[int, str]:
    """Find the step at which it is flat, and why."""
    if not light[0] > DARK or not np.isfinite(terminal[0]):
        return 0, "dark"
    empty = ~(terminal >= supply.cells * supply.battery.cut_off)
    dim = light < FLAT * light[0]
    over = np.flatnonzero(empty | dim)
    if not over.size:
        return light.size - 1, "charge"
    first = int(over[0])
    return max(first - 1, 0), "light" if dim[first] else "voltage"
