"""LEDs on a battery as a circuit: hand sums, limits, and a second solver."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from published import Published, published
from scipy.optimize import brentq

from tintlab.circuit import (
    E12,
    E24,
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

RED = Diode(current=20, voltage=2.0, slope=2 * THERMAL_VOLTAGE, drop=0.1)
BLUE = Diode(current=20, voltage=3.1, slope=3 * THERMAL_VOLTAGE, drop=0.2)

# ------------------------------------------------------------------ published


@published(
    Published(source="k T / q at 298.15 K, NIST, from memory [mV]", printed="25.69"),
)
def test_thermal_voltage(check):
    assert pytest.approx(check.expected, abs=check.half_digit) == THERMAL_VOLTAGE * 1000


@published(
    Published(source="2.303 k T / q at 25 C, textbooks [mV a decade]", printed="59.16"),
)
def test_a_decade_of_current_of_an_ideal_diode(check):
    ideal = Diode(current=1, voltage=0.6, slope=THERMAL_VOLTAGE, drop=0.0)
    rise = diode_voltage(ideal, current=10.0) - diode_voltage(ideal, current=1.0)
    assert float(rise) * 1000 == pytest.approx(check.expected, abs=check.half_digit)


def resistor(voltage, led, current, in_series=1):
    diode = Diode(current=current, voltage=led, slope=0.05, drop=0.1)
    return series_resistor(
        diode,
        current=current,
        in_series=in_series,
        strings=1,
        open_voltage=voltage,
        resistance=0.0,
    )


@published(
    Published(source="Ohm: (9 - 2) V / 20 mA", given=(9, 2.0, 20), printed="350"),
    Published(source="Ohm: (5 - 3.2) V / 15 mA", given=(5, 3.2, 15), printed="120"),
    Published(source="Ohm: (12 - 3 x 3.2) / 20", given=(12, 3.2, 20, 3), printed="120"),
    Published(source="Ohm: (3 - 3.1) V / 20 mA", given=(3, 3.1, 20), printed="-5.0"),
)
def test_series_resistor_by_hand(check):
    assert resistor(*check.given) == pytest.approx(check.expected, abs=1e-9)


def test_the_inner_resistance_and_the_other_strings_are_taken_off():
    R = series_resistor(
        RED, current=20, in_series=1, strings=3, open_voltage=5.0, resistance=10.0
    )
    assert pytest.approx((5.0 - 3 * 0.02 * 10 - 2.0) / 0.02) == R


def test_preferred_numbers_of_iec_60063():
    """IEC 60063:2015, E12 and E24."""
    assert E12 == (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82)
    assert (
        *(10, 11, 12, 13, 15, 16, 18, 20, 22, 24, 27, 30),
        *(33, 36, 39, 43, 47, 51, 56, 62, 68, 75, 82, 91),
    ) == E24
    exact = 10 ** (1 + np.arange(24) / 24)
    assert np.abs(np.array(E24) / exact - 1).max() < 0.06  # the standard's own rounding


@given(st.floats(0.1, 9e5))
def test_the_next_preferred_value_is_near_above(resistance):
    found = preferred_at_least(resistance)
    assert 1 - 1e-9 <= found / resistance <= 15 / 13 + 1e-9  # the widest gap
    digits = float(f"{found:.6g}") / 10 ** np.floor(np.log10(found) - 1 + 1e-9)
    assert round(digits, 6) in {*E24, 100}


@pytest.mark.parametrize(
    ("wanted", "found"),
    [(47, 47), (48, 51), (92, 100), (350, 360), (0.5, 0.51), (1000, 1000), (-3, 0)],
)
def test_preferred_values_by_hand(wanted, found):
    assert preferred_at_least(wanted) == pytest.approx(found)
    assert preferred_at_least(82.5, E12) == pytest.approx(100)


# ------------------------------------------------------------------ limits


def test_without_series_resistance_it_is_shockleys_diode():
    bare = Diode(current=20, voltage=3.1, slope=0.07, drop=0.0)
    strings = Strings(diode=bare, in_series=1, count=1, resistor=0.0)
    V = np.array([2.0, 2.7, 3.1, 3.2])
    expected = 20 * np.exp((V - 3.1) / 0.07)
    assert string_current(strings, voltage=V) == pytest.approx(expected, rel=1e-12)


def test_with_a_steep_knee_it_is_the_straight_line():
    """V = V_f + r (I - I_ref), the simple model of textbooks."""
    steep = Diode(current=20, voltage=3.1, slope=1e-6, drop=0.2)
    strings = Strings(diode=steep, in_series=2, count=1, resistor=100.0)
    V = np.array([6.5, 9.0, 12.0])
    expected = (V - 2 * (3.1 - 0.2)) / (2 * 0.2 / 0.020 + 100) * 1000
    assert string_current(strings, voltage=V) == pytest.approx(expected, rel=1e-4)


def test_the_known_point_is_on_the_curve():
    assert float(diode_voltage(BLUE, current=20)) == 3.1
    strings = Strings(diode=BLUE, in_series=1, count=1, resistor=0.0)
    assert float(string_current(strings, voltage=3.1)) == pytest.approx(20, rel=1e-12)


# ------------------------------------------------------------------ second solver


@given(
    voltage=st.floats(1.0, 15.0),
    resistor=st.floats(0.0, 500.0),
    in_series=st.integers(1, 4),
    diode=st.sampled_from([RED, BLUE]),
)
def test_string_current_solves_the_loop(voltage, resistor, in_series, diode):
    strings = Strings(diode=diode, in_series=in_series, count=1, resistor=resistor)
    I = float(string_current(strings, voltage=voltage))

    def loop(x):
        current = diode.current * np.exp(x)
        across = in_series * float(diode_voltage(diode, current=current))
        return across + resistor * current / 1000 - voltage

    expected = diode.current * np.exp(brentq(loop, -300, 8, xtol=1e-13))
    assert pytest.approx(expected, rel=1e-8) == I


def test_two_sorts_on_one_battery_against_root_finding():
    sorts = [
        Strings(diode=RED, in_series=1, count=3, resistor=47.0),
        Strings(diode=BLUE, in_series=1, count=2, resistor=10.0),
    ]
    for E, R in ((3.0, 15.0), (4.2, 0.05), (2.2, 90.0)):
        V = float(bus_voltage(sorts, open_voltage=E, resistance=R))

        def kirchhoff(bus, E=E, R=R):
            drawn = 0.0
            for s in sorts:
                drawn += s.count * float(string_current(s, voltage=bus))
            return (E - bus) / R * 1000 - drawn

        assert pytest.approx(brentq(kirchhoff, 0, E, xtol=1e-13), abs=1e-9) == V


def test_energy_adds_up():
    strings = Strings(diode=BLUE, in_series=1, count=2, resistor=22.0)
    V = float(bus_voltage([strings], open_voltage=4.0, resistance=3.0))
    I = float(string_current(strings, voltage=V))
    led = float(diode_voltage(BLUE, current=I))
    battery = 4.0 * 2 * I
    parts = 2 * (led * I + 22 * I**2 / 1000) + 3 * (2 * I) ** 2 / 1000
    assert parts == pytest.approx(battery, rel=1e-9)


def test_a_stiff_battery_keeps_its_voltage():
    strings = Strings(diode=BLUE, in_series=1, count=2, resistor=22.0)
    assert float(bus_voltage([strings], open_voltage=4.0, resistance=0.0)) == 4.0


@given(st.floats(0.1, 200.0), st.floats(1.0, 12.0), st.floats(0.0, 50.0))
def test_a_driver_takes_its_power_or_fails(power, E, R):
    I = float(driven_current(power=power, open_voltage=E, resistance=R))
    if 4 * R * power / 1000 > E**2:
        assert np.isnan(I)
    else:
        assert pytest.approx(power, rel=1e-9) == I * (E - R * I / 1000)
        assert R * I / 1000 <= E / 2 * (1 + 1e-6)  # the root below the greatest power


# ------------------------------------------------------------------ charge and time


def test_capacity_is_linear_in_the_logarithm_of_the_load():
    loads = [[0.2, 228], [15, 135]]
    middle = np.sqrt(0.2 * 15)
    found = capacity_at(loads, current=[0.01, 0.2, middle, 15, 100])
    assert found == pytest.approx([228, 228, (228 + 135) / 2, 135, 135])


def test_time_at_a_steady_load_is_charge_over_current():
    x = np.linspace(0, 1, 11)
    found = hours(x, current=np.full(11, 5.0), capacity=np.full(11, 200.0))
    assert found == pytest.approx(x * 40)


def test_time_at_a_falling_load_by_its_integral():
    """I = I_0 (1 - x / 2): t = Q / I_0 2 ln 2."""
    x = np.linspace(0, 1, 4001)
    found = hours(x, current=10 * (1 - x / 2), capacity=np.full(x.size, 100.0))
    assert found[-1] == pytest.approx(10 * 2 * np.log(2), rel=1e-6)


@given(st.lists(st.floats(1.0, 3.3), min_size=2, max_size=6))
def test_more_voltage_is_never_less_current(voltages):
    strings = Strings(diode=BLUE, in_series=1, count=1, resistor=5.0)
    V = np.sort(voltages)
    assert (np.diff(string_current(strings, voltage=V)) >= 0).all()
