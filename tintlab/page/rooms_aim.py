"""Aim: a spot in a picture or a colour by eye, and how near is near enough."""

from html import escape
from pathlib import Path
from typing import Any

from nicegui import run, ui

from tintlab.chips.aim import aim
from tintlab.chips.photo_marks import Mark
from tintlab.errors import TintlabError
from tintlab.page import controls, parts, pictures
from tintlab.page.controls import choose, drawn, field, press, slide, tag
from tintlab.page.tab import Tab, View
from tintlab.report.chipping_photo import aim_answer

Table = dict[str, Any]

WAYS = ("lab", "hex", "picture", "region")  # one of these names the colour
RADIUS = 12.0  # [px] of a spot, to begin with
NEAR = (
    "A difference of 1 is just seen side by side, 2 easily, 5 across a room: common "
    "practice."
)


def build(tab: Tab) -> None:
    """Fill the room."""
    with tag("section", "sheet"):
        tag("h2", "", "What it should glow like")
        _now(tab)
    with tag("section", "sheet"):
        tag("h2", "", "From a picture")
        tag(
            "p",
            "quiet small",
            "Drop the reference art and click the glow, between its burnt-out core and "
            "its halo.",
        )
        _picture(tab)
    with tag("section", "sheet"):
        tag("h2", "", "By eye, or by the book")
        _by_eye(tab)
    with tag("section", "sheet"):
        tag("h2", "", "Near enough")
        _near(tab)


def aim_at(tab: Tab, way: str, value: Any, **more: Any) -> None:
    """Write a target in the place of the one that is there."""

    def write() -> None:
        with tab.book.group():
            for other in WAYS:
                here = tab.book.get(("target", other)) is not None
                if other != way and here:
                    tab.book.remove(("target", other))
            tab.book.put(("target", way), value)
            for key, one in more.items():
                tab.book.put(("target", key), one)

    tab.change(write)


def _now(tab: Tab) -> None:
    with tag("div", "line"):
        with tag("div", "pairing wide"):
            square = drawn("")
        with tag("div", "grow"):
            title = ui.label("").classes("big")
            origin = ui.label(_origin(tab)).classes("small quiet")
    origin.set_visibility(bool(origin.text))

    def paint(view: View) -> None:
        now = view.now
        colour = now["target_hex"] or "transparent"
        square.set_content(f'<i style="background:{colour};display:block"></i>')
        title.set_text(
            f"{now['target_hex']} {now['target_words']}"
            if now["target_hex"]
            else f"the region {now['target_region']}"
            if now["target_region"]
            else "nothing yet: choose it below"
        )

    tab.painters.append(paint)
    if tab.view is not None:
        paint(tab.view)


def _origin(tab: Tab) -> str:
    target: Table = tab.book.get(("target",)) or {}
    if "lab" in target:
        return f"Lab {', '.join(f'{v:g}' for v in target['lab'])}, white D65"
    if "picture" in target:
        return f"a spot in {target['picture'].get('file')}"
    return ""


# ------------------------------------------------------------- from a picture


def _picture(tab: Tab) -> None:
    art: Table = tab.bench.setdefault("art", {"radius": RADIUS})

    def came(path: Path) -> None:
        art.update(path=path, at=None, answer=None)
        tab.rebuild()

    pictures.bring(tab, "drop a picture here, or press +", came)
    pictures.pick(tab, art.get("path"), came)
    if art.get("path"):
        _spot(tab, art)


def _spot(tab: Tab, art: Table) -> None:
    path: Path = art["path"]

    async def look() -> None:
        at = art.get("at")
        if at is None:
            return
        if image is not None:
            image.set_content(pictures.ring(at, art["radius"]))
        mark = Mark(name="the glow", at=at, radius=float(art["radius"]))
        try:
            found = await run.io_bound(aim, [(path, mark)])
        except TintlabError as problem:
            answer.clear()
            with answer:
                drawn(parts.trouble("This spot cannot be used", str(problem)))
            return
        if found is None:  # the server is stopping
            return
        art["answer"] = aim_answer(found, [path])
        show()

    async def clicked(x: float, y: float) -> None:
        art["at"] = (x, y)
        where.set_value(f"{x:g}, {y:g}")
        await look()

    async def typed(text: str) -> None:
        try:
            x, y = (float(one) for one in text.split(","))
        except ValueError:
            tab.tell("write two numbers: 240, 180", wrong=True)
            return
        art["at"] = (x, y)
        await look()

    async def widen(value: float) -> None:
        art["radius"] = value
        await look()

    image = pictures.point_at(tab, path, clicked)
    with tag("div", "line"):
        at = art.get("at")
        where = field("spot, in pixels", f"{at[0]:g}, {at[1]:g}" if at else "", typed)
        tag("span", "small quiet", "how wide")
        with tag("div", "grow"):
            slide(
                "radius of the spot, in pixels",
                art["radius"],
                low=2,
                high=120,
                step=1,
                then=widen,
            )
    answer = tag("div")

    def show() -> None:
        found = art["answer"]
        answer.clear()
        with answer:
            drawn(_aimed(found))
            press(
                f"aim at {found['hex']}, tolerance {found['tolerance']:g}",
                lambda: aim_at(tab, "lab", found["lab"], tolerance=found["tolerance"]),
                kind="main",
            )

    if art.get("answer"):
        show()


def _aimed(found: Table) -> str:
    notes = "".join(f"<li>{escape(note)}</li>" for note in found["notes"])
    return (
        f'<div class="line"><div class="pairing wide"><i style="background:'
        f'{found["hex"]}"></i></div><div class="small">{found["hex"]} '
        f"{escape(found['words'])}<br>left out: {found['clipped'] * 100:.0f} % "
        f"burnt-out core, {found['halo'] * 100:.0f} % halo</div></div>"
        + (f'<ul class="plain small">{notes}</ul>' if notes else "")
    )


# ------------------------------------------------------------ by eye, by book


def _by_eye(tab: Tab) -> None:
    target: Table = tab.book.get(("target",)) or {}
    shown = tab.view.now["target_hex"] if tab.view is not None else None
    with tag("div", "line"):
        colour = ui.input(
            label="a colour", value=target.get("hex") or shown or "#35a78e"
        )
        colour.props("type=color outlined dense").classes("colour")
        press("aim at this colour", lambda: aim_at(tab, "hex", colour.value))
    with tag("div", "line"):
        field("or Lab, white D65: L*, a*, b*", _lab_text(target), _typed_lab(tab))
        regions = tab.book.shelf.names("targets")
        choose(
            "or a published region, for signal lights on models",
            regions,
            target.get("region"),
            lambda v: aim_at(tab, "region", v),
        )


def _lab_text(target: Table) -> str:
    return ", ".join(f"{v:g}" for v in target.get("lab", []))


def _typed_lab(tab: Tab) -> Any:
    def then(text: str) -> None:
        try:
            values = [float(one) for one in text.split(",")]
        except ValueError:
            values = []
        if len(values) != 3:
            tab.tell("write three numbers: 62, -38, 4", wrong=True)
            return
        aim_at(tab, "lab", values)

    return then


# ---------------------------------------------------------------- near enough


def _near(tab: Tab) -> None:
    target: Table = tab.book.get(("target",)) or {}
    if not target:
        tag("p", "quiet", "Choose a target first.")
        return
    _ratio(
        tab,
        "tolerance",
        float(target.get("tolerance", 5.0)),
        (0.5, 15.0, 0.5),
        lambda v: f"{v:g}",
    )
    tag("p", "small quiet", NEAR)
    _ratio(
        tab,
        "min_light_kept",
        float(target.get("min_light_kept", 0.0)),
        (0.0, 0.9, 0.05),
        lambda v: f"{v * 100:.0f} %",
    )
    with tag("div", "line"):
        choose(
            "lightness",
            {
                "free": "free: compared as in two pictures exposed alike",
                "match": "match: how bright it is counts too",
            },
            target.get("lightness", "free"),
            lambda v: tab.put(("target", "lightness"), v),
        )


def _ratio(
    tab: Tab, key: str, value: float, ends: tuple[float, float, float], form: Any
) -> None:
    what = {"tolerance": "tolerance", "min_light_kept": "least light kept"}[key]
    low, high, step = ends

    def put(new: float) -> None:
        label.set_text(form(new))
        tab.put(("target", key), float(f"{new:.6g}"), drag=True)

    def by(change: float) -> None:
        slider.set_value(min(high, max(low, slider.value + change)))

    with tag("div", "line"):
        tag("span", "name", what)
        _, label = controls.stepper(
            what, form(value), less=lambda: by(-step), more=lambda: by(step)
        )
        with tag("div", "grow"):
            slider = slide(what, value, low=low, high=high, step=step, then=put)
