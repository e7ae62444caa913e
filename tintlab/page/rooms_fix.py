"""Fix: what the finished piece shows, what may be the cause, and what helps least."""

from typing import Any

from nicegui import ui

from tintlab.page import answers, drawings, parts, searches
from tintlab.page.controls import choose, drawn, field, press, tag
from tintlab.page.tab import Tab
from tintlab.piece import piece_of
from tintlab.solve.trim import with_emitter

Table = dict[str, Any]

AS_SEEN = (
    "What follows is reckoned for the piece as it was seen; the view beside it shows "
    "the plan as it is written."
)
MOST = 8  # compromises that are listed
SIDES = {"led": "ink on the LEDs", "viewer": "ink on the face"}


def build(tab: Tab) -> None:
    """Fill the room."""
    with tag("section", "sheet"):
        tag("h2", "", "What the finished piece shows")
        tag(
            "p",
            "quiet small",
            "Anything you can tell of it, judged lit and in the dark. Leave out what "
            "you do not know; without any of it the plan is taken as it is.",
        )
        _seen(tab)
    with tag("section", "sheet"):
        tag("h2", "", "Why it is off, and what helps")
        _trim(tab)
    with tag("section", "sheet"):
        tag("h2", "", "What no dye and no film can do")
        _reach(tab)


# ------------------------------------------------------------- what was seen


def _seen(tab: Tab) -> None:
    seen: Table = tab.book.get(("seen",)) or {}
    with tag("div", "line"):
        colour = ui.input(label="its colour, lit", value=seen.get("hex", "#888888"))
        colour.props("type=color outlined dense").classes("colour")
        press("that is what I see", lambda: _see(tab, "hex", colour.value, drop="lab"))
        tag("span", "small", _colour_words(seen))
    with tag("div", "line"):
        field(
            "light meter: lit piece over the same piece undyed, 0 to 1",
            _number_text(seen.get("light")),
            lambda text: _see_number(tab, "light", text),
        ).classes("grow")
    with tag("div", "line"):
        field(
            "photo: red, green, blue of the piece over the bare LED, linear",
            ", ".join(f"{v:g}" for v in seen.get("photo", [])),
            lambda text: _see_photo(tab, text),
        ).classes("grow")
    with tag("details"):
        tag("summary", "", "its colour over another LED")
        second: Table = seen.get("second") or {}
        with tag("div", "line"):
            names = tab.book.shelf.names("emitters")
            other = choose("LED", names, second.get("emitter"), lambda _: None)
            tint = ui.input(label="its colour", value=second.get("hex", "#888888"))
            tint.props("type=color outlined dense").classes("colour")

            def then() -> None:
                if other.value:
                    value = {"emitter": other.value, "hex": tint.value}
                    tab.put(("seen", "second"), value)

            press("that is what I see", then)
    if seen:
        with tag("div", "line"):
            press("forget what was seen", lambda: tab.remove(("seen",)), kind="bare")


def _colour_words(seen: Table) -> str:
    if "lab" in seen:
        return f"written in the file: Lab {', '.join(f'{v:g}' for v in seen['lab'])}"
    return f"written in the file: {seen['hex']}" if "hex" in seen else "not given"


def _number_text(value: Any) -> str:
    return "" if value is None else f"{value:g}"


def _see(tab: Tab, key: str, value: Any, *, drop: str = "") -> None:
    def write() -> None:
        with tab.book.group():
            if drop and tab.book.get(("seen", drop)) is not None:
                tab.book.remove(("seen", drop))
            tab.book.put(("seen", key), value)

    tab.change(write)


def _unsee(tab: Tab, key: str) -> None:
    if tab.book.get(("seen", key)) is not None:
        tab.remove(("seen", key))


def _see_number(tab: Tab, key: str, text: str) -> None:
    if not text.strip():
        _unsee(tab, key)
        return
    try:
        value = float(text)
    except ValueError:
        tab.tell(f'"{text}" is no number; write it as 0.42', wrong=True)
        return
    _see(tab, key, value)


def _see_photo(tab: Tab, text: str) -> None:
    if not text.strip():
        _unsee(tab, "photo")
        return
    try:
        values = [float(one) for one in text.replace(";", ",").split(",")]
    except ValueError:
        values = []
    if len(values) != 3:
        tab.tell("write three numbers: 0.21, 0.48, 0.33", wrong=True)
        return
    _see(tab, "photo", values)


# ----------------------------------------------------------------- what helps


def _trim(tab: Tab) -> None:
    with tag("div", "line"):
        every = ui.checkbox("also the generic inks", value=True)
        leds = ui.checkbox("also every other LED of the shelf (takes longer)")

    def options() -> Table:
        return {"every": bool(every.value), "leds": bool(leds.value)}

    def show(answer: Table) -> None:
        _suspects(answer["finding"])
        if answer["finding"]:
            tag("p", "small quiet", AS_SEEN)
        with tag("div", "found").props('id="found"'):
            tag("p", "", answer["sentence"])
            for number, fix in enumerate(answer["fixes"]):
                _fix(tab, answer, fix, number)
            _again(tab, answer)
        drawn(answers.command(tab.book.command("trim", *_words(options()))))

    searches.offer(tab, "find what helps", "jobs:trim_search", options, show)


def _words(options: Table) -> list[str]:
    return ["--all"] * options["every"] + ["--leds"] * options["leds"]


def _suspects(finding: Table | None) -> None:
    if finding is None:
        return
    tag("h3", "", "what may be the cause")
    drawn(answers.suspects(finding))


def _fix(tab: Tab, answer: Table, fix: Table, number: int) -> None:
    take = fix["take"]
    title = fix["emitter"] or SIDES[fix["side"]]
    if not take["coats"] and not fix["emitter"]:
        tag("p", "", f"{title}: {_no_coat(answer)}")
        _others(tab, answer, fix)
        return
    with tag("div", "fix"):
        drawn(answers.before_after(answer["before_hex"], take["hex"], answer))
        with tag("div"):
            tag("h3", "", title)
            tag("b", "", take["words"])
            drawn(answers.choice_words(take, answer["difference"]))
        press(
            "apply",
            lambda: _apply(tab, fix),
            kind="main" if number == 0 else "",
            says=f"apply {take['words']} {fix['emitter']}",
        )
    _others(tab, answer, fix)


def _no_coat(answer: Table) -> str:
    tolerance = answer["tolerance"]
    near = tolerance is not None and answer["difference"] <= tolerance
    return "no coat is needed" if near else "no coat brings it nearer"


def _others(tab: Tab, answer: Table, fix: Table) -> None:
    """List the other compromises, each ready to be applied."""
    front = [one for one in fix["front"] if one != fix["take"] and one["coats"]]
    if not front:
        tag("p", "small quiet", fix["proof"])
        return
    with tag("details"):
        tag("summary", "", f"other ways on this side ({len(front)})")
        for one in front[:MOST]:
            with tag("div", "line"):
                with tag("div", "grow"):
                    drawn(parts.patch(one["hex"], one["words"]))
                    drawn(answers.choice_words(one, answer["difference"]))
                press(
                    "apply",
                    lambda one=one: _apply(tab, {**fix, "take": one}),
                    says=f"apply {one['words']}",
                )
        tag("p", "small quiet", fix["proof"])


def _apply(tab: Tab, fix: Table) -> None:
    """Write a correction into the file: coats on the LEDs or the face, another LED."""
    coats = fix["take"]["coats"]

    def write() -> None:
        with tab.book.group():
            if fix["emitter"]:
                _swap(tab, fix["emitter"])
            if fix["side"] == "viewer":
                layers = len(tab.book.get(("layer",)) or [])
                film = {"kind": "film", "coats": coats}
                tab.book.put(("layer", layers), film)
            else:
                for number in range(len(tab.book.get(("light",)))):
                    _add_coats(tab, ("light", number), coats)

    tab.change(write)
    tab.tell("It is in the piece; undo takes it out again.")


def _add_coats(tab: Tab, key: tuple[Any, ...], coats: list[Table]) -> None:
    here = [dict(one) for one in tab.book.get((*key, "coats")) or []]
    for new in coats:
        old = next((one for one in here if one["ink"] == new["ink"]), None)
        if old is None:
            here.append(dict(new))
        else:
            old["coats"] = int(old.get("coats", 1)) + new["coats"]
    tab.book.put((*key, "coats"), here)


def _swap(tab: Tab, name: str) -> None:
    """Put another LED in the place of all, bare, at the light that the search took."""
    inset = tab.book.inset
    if inset is None:
        return
    emitter = tab.book.shelf.find("emitters", name)
    swapped = with_emitter(piece_of(inset), emitter)
    for number, beam in enumerate(swapped.beams):
        key = ("light", number)
        tab.book.put((*key, "emitter"), name)
        for old in ("mcd", "current", "coats"):
            if tab.book.get((*key, old)) is not None:
                tab.book.remove((*key, old))
        tab.book.put((*key, "lumens"), float(f"{beam.light.lumens:.4g}"))


def _again(tab: Tab, answer: Table) -> None:
    again = answer["pour_again"]
    if again is None or answer["again"] is None:
        return
    found = answer["again"]
    how = " + ".join(again["doses"])

    def use() -> None:
        tab.put(("layer", found["layer"], "dyes"), found["dyes"])
        tab.tell("The new dose is in the piece; undo brings the old one back.")

    with tag("div", "fix"):
        drawn(parts.pair(again["hex"], answer["target_hex"]))
        with tag("div"):
            tag("h3", "", "another pour")
            tag("b", "", how)
            drawn(answers.again_words(again))
        press("use this dose", use, says=f"use {how}")


# ---------------------------------------------------------------------- reach


def _reach(tab: Tab) -> None:
    tag(
        "p",
        "quiet small",
        "A certified limit for this LED in this box: nothing that only takes light "
        "away comes nearer, whatever bottle it is in.",
    )

    def show(answer: Table) -> None:
        drawn(drawings.reach(answer), "spectrum")
        tag("p", "", f"The light: {answer['starved']}.")
        tag("p", "small quiet", f"Not covered: {answer['not_covered']}.")
        drawn(answers.command(tab.book.command("reach")))

    searches.offer(tab, "find the limit", "jobs:reach_search", dict, show)
