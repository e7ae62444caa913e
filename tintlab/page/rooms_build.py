"""Build: the piece in section, one layer at a time in the hand, and its spectrum."""

from collections.abc import Callable
from typing import Any

from nicegui import ui

from tintlab.page import answers, controls, drawings, editors, parts, searches
from tintlab.page.controls import choose, drawn, press, tag
from tintlab.page.tab import Tab, View

Keys = tuple[Any, ...]
Table = dict[str, Any]

NEW: dict[str, dict[str, Any]] = {  # what a new layer starts as
    "cast": {"kind": "cast", "medium": "epoxy", "thickness": "6 mm", "batch": "50 g"},
    "dyed sheet": {"kind": "sheet", "medium": "PMMA sheet", "thickness": "3 mm"},
    "film of ink": {"kind": "film", "coats": []},
    "diffuser": {"kind": "diffuser", "diffuser": "opal sheet"},
    "air gap": {"kind": "gap"},
}


def build(tab: Tab) -> None:
    """Fill the room."""
    chosen = tab.chosen or first_choice(tab)
    tab.chosen = chosen
    with tag("section", "sheet"):
        tag("h2", "", "The piece, from its light up to the eye")
        tag(
            "p",
            "quiet small",
            "Choose a part to change it; its colour is that of daylight behind it.",
        )
        with tag("div", "section"):
            picture = drawn("")
            rows = tag("div", "rows")
        _section(tab, picture, rows)
        with tag("div", "line"):
            _add_layer(tab)
        with tag("div", "editor") as editor:
            editor.props["aria-label"] = "the chosen part"
            editors.edit(tab, chosen)
    with tag("section", "sheet"):
        tag("h2", "", "Its light")
        _spectrum(tab)
    with tag("section", "sheet"):
        tag("h2", "", "The dose")
        _dose(tab)
    with tag("section", "sheet"):
        tag("h2", "", "Good to know")
        _remarks(tab)


def first_choice(tab: Tab) -> Keys:
    """Choose the first dyed layer, else one that can be dyed, else the light."""
    layers = tab.book.get(("layer",)) or []
    dyed = [number for number, layer in enumerate(layers) if layer.get("dyes")]
    bodies = [n for n, one in enumerate(layers) if one.get("kind") in ("cast", "sheet")]
    found = [*dyed, *bodies]
    return ("layer", found[0]) if found else ("light", 0)


# ------------------------------------------------------------------ the section


def _section(tab: Tab, picture: ui.html, rows: Any) -> None:
    """Draw the section and its rows; both follow every look."""
    labels: list[tuple[Any, Any]] = []
    keys: list[Any] = []

    def select(key: Keys) -> None:
        tab.chosen = key
        tab.rebuild()

    def paint(view: View) -> None:
        picture.set_content(drawings.section(view.section, chosen=tab.chosen))
        found = drawings.strata(view.section)
        if [row["key"] for row in found] != keys:
            rows.clear()
            labels.clear()
            keys[:] = [row["key"] for row in found]
            with rows:
                labels.extend(_row(row, tab, select) for row in found)
        for (title, said), row in zip(labels, found, strict=True):
            title.set_text(row["title"])
            said.set_text(row["words"])

    tab.painters.append(paint)
    if tab.view is not None:
        paint(tab.view)


def _row(row: Table, tab: Tab, select: Callable[[Keys], None]) -> tuple[Any, Any]:
    button = tag("button", "stratum").props('type="button"')
    button.props["aria-pressed"] = "true" if row["key"] == tab.chosen else "false"
    button.on("click", lambda: select(row["key"]))
    with button:
        with tag("b"):
            title = controls.words("")
        with tag("span"):
            said = controls.words("")
    return title, said


def _add_layer(tab: Tab) -> None:
    def add(what: str | None) -> None:
        if what is None:
            return
        if what == "box behind":
            tab.put(("cavity",), {"depth": "25 mm", "wall": "white paint"})
            return
        layers = tab.book.get(("layer",)) or []
        tab.chosen = ("layer", len(layers))
        tab.put(("layer", len(layers)), NEW[what])

    kinds = list(NEW)
    if tab.book.get(("cavity",)) is None:
        kinds.append("box behind")
    choose("add a part on the viewer's side", kinds, None, add)


# ------------------------------------------------------------- what comes of it


def _spectrum(tab: Tab) -> None:
    picture = drawn("", "spectrum")
    starved = tag("p", "small quiet")
    with starved:
        text = controls.words("")

    def paint(view: View) -> None:
        bands = view.now["starved"]
        picture.set_content(drawings.spectrum(view.curves, bands))
        where = ", ".join(f"{a:g} to {b:g} nm" for a, b in bands)
        text.set_text(
            f"This light has almost nothing at {where}: no dye brings it back."
            if bands
            else "This light has something at every wavelength from 400 to 700 nm."
        )

    tab.painters.append(paint)
    if tab.view is not None:
        paint(tab.view)


def _remarks(tab: Tab) -> None:
    listed = drawn("")
    with tag("details"):
        tag("summary", "", "take care")
        careful = drawn("")

    def paint(view: View) -> None:
        if view.whole is not None:
            listed.set_content(parts.remarks(view.whole))
            careful.set_content(parts.cautions(view.whole["cautions"]))

    tab.painters.append(paint)
    if tab.view is not None:
        paint(tab.view)


# --------------------------------------------------------------------- the dose


def _dose(tab: Tab) -> None:
    tag(
        "p",
        "quiet small",
        "Searches every set of up to three of your bottles for what can be measured "
        "out, and says what one drop too many does.",
    )
    every = ui.checkbox("also the generic bottles of the shelf")

    def show(answer: Table) -> None:
        for number, recipe in enumerate(answer["recipes"]):
            _recipe(tab, answer, recipe, first=number == 0)

    def options() -> Table:
        return {"every": bool(every.value)}

    searches.offer(tab, "find the dose", "jobs:dose_search", options, show)


def _recipe(tab: Tab, answer: Table, recipe: Table, *, first: bool) -> None:
    doses = " + ".join(f"{p['dose']} {p['bottle']}" for p in recipe["parts"])
    with tag("div", "fix"):
        drawn(parts.pair(recipe["glow_hex"], recipe["target_hex"]))
        with tag("div"):
            tag("b", "", ("take " if first else "or ") + doses)
            drawn(answers.recipe_words(recipe))
        press(
            "use it",
            lambda: _use(tab, answer["layer"] - 1, recipe),
            kind="main" if first else "",
            says=f"use {doses}",
        )


def _use(tab: Tab, layer: int, recipe: Table) -> None:
    how = "time" if recipe["how"] == "bath" else "dose"
    dyes = [{"bottle": p["bottle"], how: p["dose"]} for p in recipe["parts"]]
    tab.chosen = ("layer", layer)
    tab.put(("layer", layer, "dyes"), dyes)
    tab.tell("The dose is in the piece; undo brings the old one back.")
