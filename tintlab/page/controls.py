"""The few controls that every room uses, each with a name for those who cannot see it.

The library's own controls are taken as they are (sliders, lists, fields, uploads); what
is plain in HTML stays plain HTML.
"""

import asyncio
import inspect
import time
from collections.abc import Callable, Sequence
from typing import Any

from nicegui import ui
from nicegui.element import Element
from nicegui.events import ValueChangeEventArguments

Then = Callable[..., Any]

OFTEN = 0.03  # [s] between reports of a slider that is being moved
MINUS, TIMES = "\N{MINUS SIGN}", "\N{MULTIPLICATION SIGN}"


def tag(name: str, classes: str = "", text: str = "") -> Element:
    """Add a plain HTML element."""
    element = ui.element(name).classes(classes)
    if text:
        with element:
            words(text)
    return element


def words(text: str) -> ui.label:
    """Add text as text; nothing in it is read as HTML."""
    return ui.label(text).style("display: inline")


def drawn(text: str, classes: str = "") -> ui.html:
    """Add HTML or SVG of our own, which escapes what it was given."""
    return ui.html(text, sanitize=False).classes(classes)


def press(
    text: str, then: Then, *, kind: str = "", says: str = "", on: bool | None = None
) -> Element:
    """Add a button; `says` is what it is called when its text is a sign only."""
    button = tag("button", f"press {kind}", text).props('type="button"')
    if says:
        button.props["aria-label"] = says
    if on is not None:
        button.props["aria-pressed"] = "true" if on else "false"
    button.on("click", then)
    return button


def stepper(
    what: str, text: str, *, less: Then, more: Then
) -> tuple[Element, ui.label]:
    """Add "- value +" and return the row and the label that shows the value."""
    with tag("div", "steps") as row:
        press(MINUS, less, kind="round", says=f"less {what}")
        label = ui.label(text).classes("value").props('role="status"')
        press("+", more, kind="round", says=f"more {what}")
    return row, label


class Slider:
    """A slider of plain HTML, which every browser and screen reader knows.

    The library's input field carries it, so that what the hand does meanwhile is never
    overwritten by an answer that comes late.
    """

    def __init__(self, what: str, value: float, then: Then, **ends: float) -> None:
        self.value = value
        self._then = then
        self._ends = ends
        self._told = 0.0
        self._waits = False
        self._input = ui.input(value=f"{value:.6g}", on_change=self._moved)
        self._input.props("type=range borderless dense").classes("slider")
        for key, one in ends.items():
            self._input.props[key] = one
        self._input.props["aria-label"] = what

    async def _moved(self, event: ValueChangeEventArguments) -> None:
        """Report a move, at once or a little later together with those in between."""
        self.value = float(event.value)
        if self._waits:
            return
        self._waits = True
        await asyncio.sleep(max(0.0, self._told + OFTEN - time.monotonic()))
        self._waits, self._told = False, time.monotonic()
        found = self._then(self.value)
        if inspect.isawaitable(found):
            await found

    def set_value(self, value: float) -> None:
        """Move it, as if by hand, within its ends."""
        value = min(max(value, self._ends["min"]), self._ends["max"])
        self._input.set_value(f"{value:.6g}")


def slide(
    what: str, value: float, *, low: float, high: float, step: float, then: Then
) -> Slider:
    """Add a slider that reports every move."""
    return Slider(what, value, then, min=low, max=high, step=step)


def choose(
    what: str, options: Sequence[str] | dict[str, str], value: str | None, then: Then
) -> ui.select:
    """Add a list to choose from, with a field to filter a long one."""
    known = dict(options) if isinstance(options, dict) else {o: o for o in options}
    if value is not None and value not in known:
        known = {value: value, **known}
    return (
        ui.select(
            known,
            label=what,
            value=value,
            with_input=len(known) > 12,
            on_change=lambda event: then(event.value),
        )
        .props("outlined dense options-dense=false behavior=menu")
        .classes("choose")
    )


def field(what: str, value: str, then: Then) -> ui.input:
    """Add a text field that reports when it is left or Enter is pressed."""
    box = ui.input(label=what, value=value).props("outlined dense").classes("field")
    state = {"last": value}

    def report() -> Any:
        if box.value == state["last"]:
            return None
        state["last"] = box.value
        return then(box.value)

    box.on("blur", report)
    box.on("keydown.enter", report)
    return box


def tell(text: str, *, wrong: bool = False) -> None:
    """Say something at the foot of the page, long enough to be read."""
    ui.notify(
        text,
        position="bottom-left",
        timeout=0 if wrong else 4000,
        close_button="close" if wrong else False,
        multi_line=True,
    )
