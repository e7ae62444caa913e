"""Reads batteries: capacity by load, and their voltage and resistance as they empty."""

from collections.abc import Callable
from typing import Any

import numpy as np

from tintlab.document import Section
from tintlab.materials import Battery
from tintlab.shelf.blocks import name_and_source, need, table

CAPACITY = ("current [mA]", "capacity [mAh]")
DISCHARGE = ("drawn [-]", "open voltage [V]", "resistance [ohm]")


def _battery(section: Section, _: Callable[[str, str], Any]) -> Battery:
    common, inner = name_and_source(section), need(section, "battery")
    capacity, discharge = need(section, "capacity"), need(section, "discharge")
    loads, course = table(capacity, CAPACITY), table(discharge, DISCHARGE)
    if (loads <= 0).any() or (np.diff(loads[:, 0]) <= 0).any():
        capacity.fail("table", "loads and capacities are above zero; loads rise")
    drawn, voltage, resistance = course.T
    if drawn[0] != 0 or drawn[-1] != 1 or (np.diff(drawn) <= 0).any():
        discharge.fail("table", "the share drawn rises from 0 in the first row to 1")
    if (np.diff(voltage) > 0).any() or voltage[-1] <= 0 or voltage[0] > 100:
        discharge.fail("table", "the open voltage falls, from 100 V or less, above 0")
    if (resistance < 0).any() or (resistance > 1e4).any():
        discharge.fail("table", "the resistance is 0 to 10000 ohm")
    battery = Battery(
        **common,
        nominal_voltage=inner.number("nominal_voltage", low=0.1, high=100),
        cut_off=inner.number("cut_off", low=0, high=float(voltage[0])),
        spread=inner.number("spread", 1.5, low=1, high=100),
        most_current=inner.number("most_current", None, low=0.001, high=1e6),
        capacity=loads,
        discharge=course,
        caution=inner.text("caution", ""),
    )
    for part in (inner, capacity, discharge):
        part.close()
    return battery


READERS = {"batteries": _battery}
