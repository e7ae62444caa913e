"""An inset on its battery, as a flat object; `text` writes it."""

from typing import Any

import numpy as np

from tintlab.cautions import BRIGHT, BRIGHT_FROM
from tintlab.circuit import diode_voltage, preferred_at_least
from tintlab.inset import Inset, Light
from tintlab.power import (
    AMBIENT,
    EFFICIENCY,
    PER_WATT,
    STATED_AT,
    Powered,
    Supply,
    family,
    powered,
    wanted_current,
)
from tintlab.verdict import Prediction

WARM = 60.0  # [C] at the plastic, assumed; resins and inks soften or yellow above
BARE = 1.0  # [cd] of one bare LED that dazzles at arm's length; assumed
OVER = 1.25  # fresh current over the stated one that is worth a note; assumed
BURNS = 2.0  # times the stated current, common practice for a limit
HARDLY = 0.01  # of the stated current: no light to speak of

FLASHING = (
    "let it glow or fade slowly: light that flashes 3 to 30 times a second can bring "
    "on a seizure"
)

FIELDS = {
    "battery": "in words",
    "evidence": "kind of source of the battery's figures",
    "led_current": "of one LED of each sort: fresh, half drawn, flat [mA]",
    "load": "of the whole battery: fresh, half drawn, flat [mA]",
    "open_voltage": "of the whole battery, fresh [V]",
    "resistor": "of each string, for each sort of LED [ohm]; null with a driver",
    "resistor_power": "in each resistor, fresh [W]; null with a driver",
    "resistor_wanted": "E24 value for wanted_current [ohm]; null: battery too weak",
    "wanted_current": "the maker's, or what LED and cells allow [mA]",
    "light": "over that at the stated currents: fresh, half drawn, flat [-]",
    "luminance": "of glow and veil: fresh, half drawn, flat [cd/m2]; null: no size",
    "hours_half_light": "until half of the fresh light [h]; null: flat before that",
    "hours": "until it is flat [h]; null when it never lights",
    "hours_5_95": "its spread by the capacity alone [h]",
    "ends_by": "voltage, light (a tenth of the fresh), charge, or dark",
    "drift": "CIEDE2000 from fresh to half drawn and flat, by the mix of LEDs",
    "led_power": "of one LED of each sort, fresh [W]",
    "junction": "of each sort, fresh, in free air of 25 C; assumed [C]",
    "notes": "what was assumed, and what to do",
    "cautions": "the usual ones",
}


def battery_answer(
    prediction: Prediction, supply: Supply | None
) -> dict[str, Any] | None:
    """Return what a battery makes of an inset, with the keys of `FIELDS`."""
    if supply is None:
        return None
    inset = prediction.inset
    run = powered(inset, supply, prediction.piece)
    when = [0, run.end // 2, run.end]
    fresh = [float(one[0]) for one in run.current]
    watts = _led_watts(run, fresh)
    resists = supply.driver == "resistor"
    spread = 1.0 if supply.capacity else supply.battery.spread
    lit = run.why != "dark"
    veil = prediction.look.face_luminance
    bright: list[float | None] | None = None
    if inset.size is not None and veil is not None:
        bright = [_round(run.XYZ[k, 1] + veil) for k in when]
    answer = {
        "battery": _words(supply, run),
        "evidence": supply.battery.source.kind,
        "led_current": [[_round(one[k]) for k in when] for one in run.current],
        "load": [_round(run.load[k]) for k in when],
        "open_voltage": _round(supply.cells * supply.battery.discharge[0, 1]),
        "resistor": [s.resistor for s in run.strings] if resists else None,
        "resistor_power": [
            _round(s.resistor * (i / 1000) ** 2)
            for s, i in zip(run.strings, fresh, strict=True)
        ]
        if resists
        else None,
        "resistor_wanted": _suggested(run) if resists else None,
        "wanted_current": _round(wanted_current(inset, supply)),
        "light": [_round(run.light[k]) for k in when],
        "luminance": bright,
        "hours_half_light": None if run.half_light is None else _round(run.half_light),
        "hours": _round(run.hours[run.end]) if lit else None,
        "hours_5_95": [
            _round(run.hours[run.end] / spread),
            _round(run.hours[run.end] * spread),
        ]
        if lit
        else None,
        "ends_by": run.why,
        "drift": [round(float(run.drift[k]), 2) for k in when[1:]],
        "led_power": [_round(w) for w in watts],
        "junction": [round(AMBIENT + PER_WATT * w) for w in watts],
        "notes": _notes(inset, supply, run, watts),
        "cautions": [
            *_overloads(inset, run),
            *_cautions(inset, supply, run, watts),
            *([BRIGHT] if bright and (bright[0] or 0) > BRIGHT_FROM else []),
        ],
    }
    if answer.keys() != FIELDS.keys():
        raise KeyError(answer.keys() ^ FIELDS.keys())
    return answer


def _round(value: float) -> float | None:
    """Three significant figures; None for what is no number."""
    return float(f"{value:.3g}") if np.isfinite(value) else None


def _led_watts(run: Powered, fresh: list[float]) -> list[float]:
    """Electrical power of one LED of each sort. [W]"""
    return [
        float(diode_voltage(s.diode, current=max(i, 1e-9))) * i / 1000
        for s, i in zip(run.strings, fresh, strict=True)
    ]


def _suggested(run: Powered) -> list[float | None]:
    return [preferred_at_least(r) if r >= 0 else None for r in run.wanted]


def _words(supply: Supply, run: Powered) -> str:
    """Name the battery and what is between it and the LEDs."""
    many = supply.cells * supply.parallel
    text = supply.battery.name if many == 1 else f"{many} {supply.battery.name}"
    if many > 1 and supply.parallel == 1:
        text += " in series"
    elif many > 1 and supply.cells == 1:
        text += " side by side"
    elif many > 1:
        text += f", rows of {supply.cells} in series"
    if supply.driver == "current":
        return f"{text}, driver of {supply.current:g} mA a string"
    values = sorted({s.resistor for s in run.strings})
    ohms = " and ".join(f"{v:g} ohm" for v in values if v) or _none(run)
    strings = sum(s.count for s in run.strings)
    return f"{text}, {ohms}" + (" a string" if strings > 1 and any(values) else "")


def _none(run: Powered) -> str:
    """Say that there is no resistor, and which one there should be."""
    wanted = [f"{v:g} ohm" for v in dict.fromkeys(_suggested(run)) if v]
    first = f" (put {' and '.join(wanted)} into each string)" if wanted else ""
    return f"no resistor{first}"


def _notes(inset: Inset, supply: Supply, run: Powered, watts: list[float]) -> list[str]:
    notes = []
    battery, load = supply.battery, float(run.load[0]) / supply.parallel
    most = battery.most_current
    hardly = all(
        one[0] < HARDLY * (light.at or STATED_AT)
        for light, one in zip(inset.lights, run.current, strict=True)
    )
    if run.why == "dark" or hardly:
        need = max(s.in_series * s.diode.voltage for s in run.strings)
        have = supply.cells * battery.nominal_voltage
        notes.append(
            f"this battery cannot light the LEDs: {have:g} V against {need:g} V of a "
            "string; take more cells in series, or a driver that boosts"
        )
    if most is not None and load > most:
        notes.append(
            f"{load:.2g} mA from each cell, of which about {most:g} mA is the usual "
            f"ceiling: it sags and lasts less{_advice(inset, supply, run)}"
        )
    elif supply.driver == "resistor" and not any(s.resistor for s in run.strings):
        notes.append(
            "no resistor: only the cell's own resistance holds the current"
            + _advice(inset, supply, run)
        )
    for light, one in zip(inset.lights, run.current, strict=True):
        stated = light.at or STATED_AT
        if one[0] > OVER * stated:
            notes.append(
                f"{light.emitter.name}: {one[0]:.3g} mA fresh, {one[0] / stated:.1f} "
                f"times the {stated:g} mA that its light is stated at: stay below the "
                "limit of its data sheet; light and time are rough so far above it"
            )
        notes.append(_assumed(light))
    if supply.driver == "current":
        notes.append(
            f"the driver wastes {100 * (1 - supply.efficiency):.0f} %"
            + (", assumed" if supply.efficiency == EFFICIENCY else "")
        )
    notes += _hue(inset, watts)
    return notes


def _overloads(inset: Inset, run: Powered) -> list[str]:
    """Warn of LEDs that are driven far above their stated current."""
    return [
        f"{one[0]:.3g} mA through an LED stated at {light.at or STATED_AT:g} mA can "
        "burn it out and hurt: a larger resistor first"
        for light, one in zip(inset.lights, run.current, strict=True)
        if one[0] > BURNS * (light.at or STATED_AT)
    ]


def _advice(inset: Inset, supply: Supply, run: Powered) -> str:
    """Name the resistor for the wanted current, where there is one."""
    values = [v for v in _suggested(run) if v]
    if not values or supply.driver == "current":
        return ""
    ohms = " and ".join(f"{v:g} ohm" for v in dict.fromkeys(values))
    return f"; {ohms} in each string gives {wanted_current(inset, supply):.3g} mA"


def _assumed(light: Light) -> str:
    kind, stated = family(light), light.at or STATED_AT
    where = "" if light.at else ' (write at = "..." from its data sheet)'
    return (
        f"{light.emitter.name}: {light.emitter.forward_voltage:g} V, typical of its "
        f"colour, and the light of the file at {stated:g} mA{where}; light goes as "
        f"current to the power of {kind.droop:g}, assumed for {kind.name}"
    )


def _hue(inset: Inset, watts: list[float]) -> list[str]:
    """Say what is known of the LEDs' own colour: little."""
    notes = []
    for light, power in zip(inset.lights, watts, strict=True):
        warmer, lobes = PER_WATT * power, light.emitter.lobes
        moved = float(np.max(lobes[:, 3], initial=0.0)) * warmer
        heat = (
            f"its own heat, about {warmer:.0f} K, moves its peak {moved:.1f} nm to the "
            "red"
            if lobes.size
            else "what its own heat does is not known"
        )
        drift = "what less current does is not known"
        if family(light).name == "InGaN" and light.emitter.kind == "single colour":
            drift = (
                "less current moves it to longer waves (common practice), how far is "
                "not known"
            )
        notes.append(f"hue of {light.emitter.name}: {heat}; {drift}")
    return notes


def _cautions(
    inset: Inset, supply: Supply, run: Powered, watts: list[float]
) -> list[str]:
    found = [supply.battery.caution] if supply.battery.caution else []
    for light, power in zip(inset.lights, watts, strict=True):
        junction = AMBIENT + PER_WATT * power
        if junction > WARM:
            where = " under its coats of ink" if light.coats else ""
            found.append(
                f"{light.emitter.name} runs at about {junction:.0f} C{where}, more in "
                f"a closed box: keep resin and ink below {WARM:g} C, with less current "
                "or a path for the heat"
            )
        exponent = np.log(0.5) / np.log(np.cos(np.radians(light.beam / 2)))
        share = (run.current[:, 0] / (light.at or STATED_AT)).max()
        candela = light.lumens * (exponent + 1) / (2 * np.pi) * share
        if candela > BARE:
            found.append(
                f"one bare {light.emitter.name} LED gives about {candela:.2g} cd: do "
                "not look into it from arm's length or nearer"
            )
    if supply.driver == "resistor":
        warm = max(
            s.resistor * (c[0] / 1000) ** 2
            for s, c in zip(run.strings, run.current, strict=True)
        )
        if warm > 0.1:
            found.append(
                f"a resistor takes {warm:.2g} W: use one for {2 * warm:.2g} W, in free "
                "air"
            )
    return [*found, FLASHING]
