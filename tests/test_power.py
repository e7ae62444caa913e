"""An inset on its battery: charge and energy, light, run time, and every mistake."""

import json
import re

import numpy as np
import pytest
from click.testing import CliRunner

from tintlab.cli import main
from tintlab.errors import InsetError, ShelfError
from tintlab.glow import look
from tintlab.piece import piece_of
from tintlab.power import (
    ALINGAP,
    DARK,
    FLAT,
    INGAN,
    family,
    parts_XYZ,
    powered,
    read_supply,
    wanted_current,
)
from tintlab.report.powering import FIELDS
from tintlab.shelf import open_shelf

WHITE = """
[inset]
size = "20 x 20 mm"
[[light]]
emitter = "white 4100 K"
count = 2
lumens = 3
at = "20 mA"
"""
MIXED = """
[inset]
size = "20 x 20 mm"
[[light]]
emitter = "blue"
lumens = 1
at = "20 mA"
[[light]]
emitter = "red"
lumens = 2
at = "20 mA"
"""
KINDS = ["lithium coin", "AA alkaline", "AAA alkaline", "AA NiMH", "Li-ion", "Li-po"]
ENOUGH = {"AA alkaline": 3, "AAA alkaline": 3, "AA NiMH": 3}


@pytest.fixture
def run(inset_of):
    """Return a function that runs an inset with a [battery] to flat."""

    def go(battery, text=WHITE):
        inset = inset_of(f"{text}\n[battery]\n{battery}\n")
        supply = read_supply(inset, open_shelf())
        return powered(inset, supply, piece_of(inset)), inset

    return go


def battery(kind, more=""):
    return f'kind = "{kind}"\ncells = {ENOUGH.get(kind, 1)}\n{more}'


# ------------------------------------------------------------------ the batteries


@pytest.mark.parametrize(
    ("kind", "fresh", "cut_off", "least", "most", "ohm"),
    [
        # CR2032: secondary sources, published and checked; the others from memory
        ("lithium coin", (2.9, 3.3), (2.0, 2.0), 120, 235, (10, 20)),
        ("AA alkaline", (1.5, 1.6), (0.9, 0.9), 1800, 2600, (0.15, 0.30)),
        ("AAA alkaline", (1.5, 1.6), (0.9, 0.9), 860, 1200, (0.25, 0.6)),
        ("AA NiMH", (1.4, 1.4), (0.9, 1.1), 1900, 2500, (0.02, 0.05)),
        ("Li-ion", (4.2, 4.2), (2.5, 3.0), 2000, 3500, (0.02, 0.08)),
        ("Li-po", (4.2, 4.2), (2.5, 3.0), 100, 1000, (0.1, 0.3)),
    ],
)
def test_figures_lie_in_their_ranges(kind, fresh, cut_off, least, most, ohm):
    cell = open_shelf().find("batteries", kind)
    assert fresh[0] <= cell.discharge[0, 1] <= fresh[1]
    assert cut_off[0] <= cell.cut_off <= cut_off[1]
    assert cell.capacity[:, 1].min() >= least
    assert cell.capacity[:, 1].max() <= most
    assert ohm[0] <= cell.discharge[0, 2] <= ohm[1]
    assert (np.diff(cell.discharge[:, 2]) >= 0).all()


# ------------------------------------------------------------------ charge, energy


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("more", ['resistor = "47 ohm"', 'current = "8 mA"'])
def test_no_more_charge_and_energy_than_the_battery_has(run, kind, more):
    found, _ = run(battery(kind, more))
    cell = found.supply.battery
    t, I = found.hours[: found.end + 1], found.load[: found.end + 1]
    charge = float(np.trapezoid(I, t))
    most = cell.capacity[:, 1].max()
    assert 0 < charge <= most * (1 + 1e-3)
    mean = charge / t[-1]
    assert t[-1] * mean <= most * (1 + 1e-3)
    energy = float(np.trapezoid(I * found.terminal[: found.end + 1], t))
    assert energy <= most * found.supply.cells * cell.discharge[0, 1]
    assert energy >= charge * found.terminal[found.end] * (1 - 1e-6)


@pytest.mark.parametrize("kind", KINDS)
def test_everything_falls_and_time_runs(run, kind):
    found, _ = run(battery(kind, 'resistor = "47 ohm"'))
    upto = slice(0, found.end + 1)
    assert (np.diff(found.current[:, upto]) <= 1e-12).all()
    assert (np.diff(found.light[upto]) <= 1e-12).all()
    assert (np.diff(found.hours) > 0).all()
    assert (found.terminal[upto] >= found.supply.cells * 1e-9).all()


def test_capacity_that_the_maker_writes_sets_the_time(run):
    one, _ = run(battery("Li-po", 'resistor = "47 ohm"\ncapacity = "150 mAh"'))
    two, _ = run(battery("Li-po", 'resistor = "47 ohm"\ncapacity = "300 mAh"'))
    assert two.hours[two.end] == pytest.approx(2 * one.hours[one.end])


def test_a_second_row_of_cells_gives_at_least_twice_the_time(run):
    """Half the load from each: the same charge at the least, and less sag."""
    one, _ = run('kind = "AA alkaline"\ncells = 3\nresistor = "47 ohm"')
    two, _ = run('kind = "AA alkaline"\ncells = 3\nparallel = 2\nresistor = "47 ohm"')
    assert 2 <= two.hours[two.end] / one.hours[one.end] < 2.3


# ------------------------------------------------------------------ light


@pytest.mark.parametrize("text", [WHITE, MIXED])
def test_parts_of_the_glow_add_up_to_the_look(inset_of, text):
    inset = inset_of(text)
    parts = parts_XYZ(piece_of(inset))
    seen = look(inset)
    glow = seen.luminance - seen.face_luminance
    assert parts.shape == (len(inset.lights), 3)
    assert parts[:, 1].sum() == pytest.approx(glow, rel=1e-9)


def test_a_driver_at_the_stated_current_gives_the_stated_light(run):
    found, inset = run('kind = "Li-ion"\ndriver = "current"\ncurrent = "20 mA"')
    seen = look(inset)
    assert found.light[: found.end + 1] == pytest.approx(1.0)
    assert found.XYZ[0, 1] == pytest.approx(seen.luminance - seen.face_luminance)
    assert found.half_light is None
    # 2 LEDs of 3.1 V and 20 mA through 85 % from 4.2 V behind 0.05 ohm
    watts = 2 * 3.1 * 20 / 0.85
    assert found.load[0] * found.terminal[0] == pytest.approx(watts)


def test_the_resistor_gives_about_the_wanted_current(run):
    found, _ = run('kind = "Li-ion"\ncurrent = "15 mA"')
    assert found.strings[0].resistor > 0
    assert 13.5 < found.current[0, 0] <= 15.0


def test_light_goes_less_than_the_current_where_efficiency_droops(run):
    found, inset = run('kind = "Li-ion"\nresistor = "33 ohm"')
    ratio = found.current[0] / 20
    assert found.light == pytest.approx(ratio**INGAN.droop)
    assert family(inset.lights[0]) is INGAN


def test_a_mix_turns_as_the_battery_empties_and_one_sort_does_not(run):
    """Blue needs more volts than red, so it dims first."""
    mixed, inset = run('kind = "Li-ion"\nresistor = "100 ohm"', MIXED)
    assert [family(light) for light in inset.lights] == [INGAN, ALINGAP]
    assert mixed.drift[mixed.end] > 5
    blue, red = mixed.current[:, mixed.end] / mixed.current[:, 0]
    assert blue < red
    plain, _ = run('kind = "lithium coin"')
    assert np.abs(plain.drift).max() < 1e-6


def test_it_ends_by_light_voltage_or_charge(run):
    fading, _ = run('kind = "lithium coin"')
    assert fading.why == "light"
    assert fading.light[fading.end] >= FLAT * fading.light[0]
    assert fading.light[fading.end + 1] < FLAT * fading.light[0]
    stopped, _ = run('kind = "Li-ion"\nresistor = "47 ohm"')
    assert stopped.why in ("voltage", "charge")
    assert stopped.terminal[stopped.end] >= 3.0
    steady, _ = run('kind = "AA NiMH"\ncells = 3\ndriver = "current"\ncurrent = "5 mA"')
    assert steady.why == "voltage"


def test_half_light_comes_between_fresh_and_flat(run):
    found, _ = run('kind = "AAA alkaline"\ncells = 2\nresistor = "10 ohm"')
    at = np.interp(found.half_light, found.hours, found.light / found.light[0])
    assert at == pytest.approx(0.5, abs=1e-3)
    assert 0 < found.half_light < found.hours[found.end]


def test_too_few_volts_stay_dark(run):
    found, _ = run('kind = "AA NiMH"')
    assert found.why == "dark"
    assert found.light[0] < DARK
    assert found.half_light is None
    weak, _ = run('kind = "lithium coin"\ndriver = "current"\ncurrent = "60 mA"')
    assert weak.why == "dark"  # 3.15 V behind 15 ohm give at most 165 mW


def test_current_to_aim_at(inset_of):
    """The maker's; else what a coin cell allows its strings; else the stated one."""
    for more, expected in (
        ('kind = "lithium coin"', 5.0),
        ('kind = "lithium coin"\nparallel = 2', 10.0),
        ('kind = "lithium coin"\ncurrent = "3 mA"', 3.0),
        ('kind = "Li-ion"', 20.0),
    ):
        inset = inset_of(f"{WHITE}\n[battery]\n{more}\n")
        assert wanted_current(inset, read_supply(inset, open_shelf())) == expected


def test_strings_in_series_share_a_current(run):
    found, _ = run('kind = "Li-ion"\ncells = 2\nleds_per_string = 2\ncurrent = "10 mA"')
    (strings,) = found.strings
    assert (strings.count, strings.in_series) == (1, 2)
    assert found.load[0] == pytest.approx(found.current[0, 0])


# ------------------------------------------------------------------ mistakes


@pytest.mark.parametrize(
    ("text", "line", "says"),
    [
        ("cells = 2", 10, '"kind" is missing in [battery]'),
        ('kind = "coin sell"', 11, 'did you mean "coin cell"'),
        ('kind = "AA"\ncells = 0', 12, "cells = 0"),
        ('kind = "AA"\nresistor = "100"', 12, "has no unit"),
        ('kind = "AA"\nresistor = "-5 ohm"', 12, "0 ohm or more"),
        ('kind = "AA"\nresistor = "5 mA"', 12, "is no unit for this"),
        ('kind = "AA"\nleds_per_string = 3', 12, "do not make whole strings of 3"),
        ('kind = "AA"\ndriver = "boost"', 12, "choose one of: resistor, current"),
        ('kind = "AA"\ndriver = "current"', 10, "needs current"),
        (
            'kind = "AA"\ndriver = "current"\ncurrent = "5 mA"\nresistor = "9 ohm"',
            14,
            "needs no resistor",
        ),
        ('kind = "AA"\nefficiency = 85', 12, "percent is written as a ratio"),
        ('kind = "AA"\ncell = 2', 12, 'did you mean "cells"'),
    ],
)
def test_a_mistake_names_its_line(inset_of, text, line, says):
    inset = inset_of(f"{WHITE}[battery]\n{text}\n")
    with pytest.raises(InsetError) as raised:
        read_supply(inset, open_shelf())
    assert says in str(raised.value)
    assert str(raised.value).startswith(f"piece.toml:{line}: ")


CELL = '''\
name = "mine"
[source]
citation = "own measurement"
kind = "measured"
[battery]
nominal_voltage = 1.5
cut_off = 0.9
[capacity]
columns = ["current [mA]", "capacity [mAh]"]
table = """
10 1000
100 800
"""
[discharge]
columns = ["drawn [-]", "open voltage [V]", "resistance [ohm]"]
table = """
0 1.6 0.3
1 0.9 0.6
"""
'''


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("100 800", "5 800", "loads rise"),
        ("10 1000", "0 1000", "above zero"),
        ("0 1.6", "0.1 1.6", "rises from 0 in the first row to 1"),
        ("1 0.9 0.6", "1 1.7 0.6", "the open voltage falls"),
        ("1 0.9 0.6", "1 0.9 -1", "0 to 10000 ohm"),
        ("cut_off = 0.9", "cut_off = 2", "cut_off = 2"),
        ("cut_off = 0.9", "cutoff = 0.9", 'has "cutoff", write "cut_off"'),
    ],
)
def test_a_battery_of_ones_own_and_its_mistakes(tmp_path, old, new, says):
    (tmp_path / "batteries").mkdir()
    path = tmp_path / "batteries" / "mine.toml"
    path.write_text(CELL, encoding="utf-8")
    assert open_shelf(tmp_path).find("batteries", "mine").discharge.shape == (2, 3)
    assert CELL.count(old) == 1
    path.write_text(CELL.replace(old, new), encoding="utf-8")
    with pytest.raises(ShelfError, match=re.escape(says)):
        open_shelf(tmp_path).find("batteries", "mine")


@pytest.mark.parametrize(("peak", "volts"), [(630, 2.0), (590, 2.0), (525, 3.0)])
def test_an_led_without_a_voltage_gets_that_of_its_colour(tmp_path, peak, volts):
    (tmp_path / "emitters").mkdir()
    (tmp_path / "emitters" / "mine.toml").write_text(
        'name = "mine"\n[source]\ncitation = "own"\nkind = "assumed"\n[emitter]\n'
        'kind = "single colour"\nmodel = "lobes"\n[data]\ncolumns = ["peak [nm]", '
        '"width [nm]", "power [-]", "shift [nm/K]", "change [1/K]"]\n'
        f'table = """\n{peak} 20 1.0 0.1 -0.002\n"""\n',
        encoding="utf-8",
    )
    found = open_shelf(tmp_path).find("emitters", "mine")
    assert found.forward_voltage == volts


def test_no_battery_is_none(inset_of):
    assert read_supply(inset_of(WHITE), open_shelf()) is None


# ------------------------------------------------------------------ what is printed


def glow(tmp_path, text, *words):
    path = tmp_path / "piece.toml"
    path.write_text(f'name = "piece"\n{text}', encoding="utf-8")
    done = CliRunner().invoke(main, ["glow", str(path), *words])
    assert done.exit_code == 0, done.output
    return done.output


def test_glow_prints_the_battery(tmp_path):
    text = glow(tmp_path, WHITE + '[battery]\nkind = "lithium coin"\n')
    for words in (
        *("battery      lithium coin, no resistor", "fresh / half / flat"),
        *("half the light after", "flat after", "usual ceiling", "ohm in each string"),
        *("a swallowed coin cell", "3 to 30 times a second", "is not known"),
    ):
        assert words in text, words
    assert max(map(len, text.splitlines())) <= 80


def test_json_has_the_battery_as_documented(tmp_path):
    text = WHITE + '[battery]\nkind = "Li-ion"\nresistor = "56 ohm"\n'
    answer = json.loads(glow(tmp_path, text, "--json"))["battery"]
    assert list(answer) == list(FIELDS)
    low, high = answer["hours_5_95"]
    assert low < answer["hours"] < high
    assert answer["resistor_power"][0] == pytest.approx(
        56 * (answer["led_current"][0][0] / 1000) ** 2, rel=0.01
    )
    assert json.loads(glow(tmp_path, WHITE, "--json"))["battery"] is None


def test_a_dark_battery_is_said_and_does_not_stop_the_glow(tmp_path):
    text = glow(tmp_path, WHITE + '[battery]\nkind = "AA NiMH"\n')
    assert "cannot light the LEDs: 1.2 V against 3.1 V" in text


def test_over_the_stated_current_is_said(tmp_path):
    text = " ".join(glow(tmp_path, WHITE + '[battery]\nkind = "Li-ion"\n').split())
    assert "times the 20 mA" in text
    assert "runs at about" in text
    assert "do not look into it from arm's length" in text
    assert text.count("this face is bright") == 1  # 23,000 cd/m2 on this battery
