"""One amount in the hand: steps and a slider, in the unit in which it was written."""

from dataclasses import replace
from typing import Any

from nicegui import ui

from tintlab import units
from tintlab.errors import TintlabError
from tintlab.page import controls
from tintlab.page.controls import TIMES, press, slide, stepper, tag
from tintlab.page.tab import Tab

Keys = tuple[Any, ...]
DOSE_STEPS = {"drops": 1.0, "g": 0.1, "%": 0.0005, "phr": 0.0005}
LENGTH_STEPS = {"mm": 0.5, "cm": 0.1, "inch": 1 / 16, "in": 1 / 16, '"': 1 / 16}


def whole(tab: Tab, keys: Keys, what: str, value: int, *, low: int) -> None:
    """Change a whole number by ones."""
    state = {"value": value}

    def step(by: int) -> None:
        state["value"] = max(low, state["value"] + by)
        label.set_text(f"{state['value']}")
        tab.put(keys, state["value"], drag=True)

    _, label = stepper(what, f"{value}", less=lambda: step(-1), more=lambda: step(1))


def plain(tab: Tab, keys: Keys, what: str, value: float) -> None:
    """Change a number without a unit."""
    top = max(10.0, 2 * value)
    label = tag("span", "number")

    def then(new: float) -> None:
        shown.set_text(f"{new:g}")
        tab.put(keys, float(f"{new:.6g}"), drag=True)

    with label:
        shown = controls.words(f"{value:g}")
    with tag("div", "grow"):
        step = top / 200
        slide(what, value, low=step, high=top, step=step, then=then)


def length(tab: Tab, keys: Keys, what: str, text: str) -> None:
    """Change a length in the unit in which the maker wrote it."""
    try:
        value, unit = units.split(text, units.LENGTHS, example="9 mm")
    except TintlabError as problem:
        tab.tell(str(problem), wrong=True)
        return
    step = LENGTH_STEPS.get(unit, 1.0)
    while 0 < value < 4 * step:
        step /= 5
    state = {"value": value}

    def put(new: float) -> None:
        if new != state["value"] and new > 0:
            state["value"] = new
            label.set_text(f"{new:.4g} {unit}")
            tab.put(keys, f"{new:.6g} {unit}", drag=True)

    def by(change: float) -> None:
        slider.set_value(max(step, state["value"] + change))

    with tag("div", "line"):
        tag("span", "name", what)
        _, label = stepper(
            what, f"{value:.4g} {unit}", less=lambda: by(-step), more=lambda: by(step)
        )
        with tag("div", "grow"):
            high = max(2 * value, 20 * step)
            slider = slide(what, value, low=step, high=high, step=step, then=put)


def dosed(tab: Tab, place: Keys, name: str, text: str) -> None:
    """Change a dose in the way in which the maker measures it."""
    try:
        dose = units.dose(text)
    except TintlabError as problem:
        tab.tell(f"{name}: {problem}", wrong=True)
        return
    step = DOSE_STEPS[dose.unit] if dose.unit != "g" or dose.amount >= 0.2 else 0.01
    state = {"amount": dose.amount}

    def put(new: float) -> None:
        if new != state["amount"]:
            state["amount"] = new
            written = str(replace(dose, amount=float(f"{new:.6g}")))
            label.set_text(written)
            tab.put((*place, "dose"), written, drag=True)

    def by(change: float) -> None:
        slider.set_value(max(0.0, state["amount"] + change))

    ways = (lambda: by(-step), lambda: by(step))
    label, room = _measured(tab, place, name, str(dose), by=ways)
    with room:
        high = max(2 * dose.amount, 12 * step)
        slider = slide(
            f"dose of {name}", dose.amount, low=0, high=high, step=step, then=put
        )


def minutes(tab: Tab, place: Keys, name: str, text: str) -> None:
    """Change the time in the bath."""
    try:
        value, unit = units.split(text, units.TIMES, example="20 min")
    except TintlabError as problem:
        tab.tell(f"{name}: {problem}", wrong=True)
        return
    state = {"value": value}

    def put(new: float) -> None:
        if new != state["value"]:
            state["value"] = new
            label.set_text(f"{new:.4g} {unit}")
            tab.put((*place, "time"), f"{new:.6g} {unit}", drag=True)

    def by(change: float) -> None:
        slider.set_value(max(0.0, state["value"] + change))

    ways = (lambda: by(-1), lambda: by(1))
    label, room = _measured(tab, place, name, text, by=ways)
    with room:
        high = max(2 * value, 30.0)
        slider = slide(
            f"time of {name} in the bath", value, low=0, high=high, step=1, then=put
        )


def _measured(
    tab: Tab, place: Keys, name: str, text: str, *, by: tuple[Any, Any]
) -> tuple[ui.label, Any]:
    """Lay out name, stepper, room for a slider, and a way to take the bottle out."""
    with tag("div", "line"):
        tag("span", "name", name)
        _, label = stepper(f"{name}", text, less=by[0], more=by[1])
        room = tag("div", "grow")
        press(TIMES, lambda: tab.remove(place), kind="bare", says=f"take {name} out")
    return label, room
