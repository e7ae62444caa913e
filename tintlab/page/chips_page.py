"""Learning from chips: a photo, the blank, each chip, and what it taught.

What is pointed at becomes a chips file and a marks file beside the photo, the same that
the command line reads; a chips file that is there already can be learned from at once.
"""

import os
import shlex
from collections.abc import Callable
from html import escape
from pathlib import Path
from typing import Any

import tomlkit
from nicegui import ui

from tintlab.chips.photo_marks import Mark
from tintlab.chips.photo_open import open_photo
from tintlab.chips.photo_patch import radius_of
from tintlab.errors import TintlabError
from tintlab.page import answers, pictures, searches
from tintlab.page.controls import (
    TIMES,
    choose,
    drawn,
    field,
    press,
    slide,
    tag,
)
from tintlab.page.folder import put_in_place
from tintlab.page.tab import Tab

Table = dict[str, Any]

WIDER = 4.0  # times the library's own radius of a patch, to begin with


def learning(tab: Tab) -> None:
    """Lay out the steps; what is typed stays while the page is open."""
    bench: Table = tab.bench.setdefault("chips", _fresh(tab))
    tag(
        "p",
        "quiet small",
        "Blank and chips side by side over one LED, in one photo: click the blank, "
        "then each chip, and say what is in it.",
    )
    _ready(tab)
    pictures.bring(tab, "drop the photo here, or press +", lambda p: _came(tab, p))
    pictures.pick(tab, bench["path"], lambda p: _came(tab, p))
    if bench["path"] is None:
        return
    image = pictures.point_at(
        tab, bench["path"], lambda x, y: _clicked(tab, (x, y), paint)
    )
    if image is None:
        _typed_places(tab, lambda at: _clicked(tab, at, paint))

    def paint() -> None:
        if image is not None:
            image.set_content(_marks(bench))
        rows.clear()
        with rows:
            _rows(tab, bench, paint)

    with tag("div", "line"):
        tag("span", "small quiet", "how wide each patch")
        with tag("div", "grow"):
            _widen(bench, paint)
    rows = tag("div")
    paint()
    _body(tab, bench)
    _learn(tab, "learn", lambda: _written(tab, bench))


def _widen(bench: Table, paint: Any) -> None:
    def then(value: float) -> None:
        bench["radius"] = value
        paint()

    radius = bench["radius"]
    what = "radius of each patch, in pixels"
    slide(what, radius, low=2, high=max(60.0, 4 * radius), step=1, then=then)


def _fresh(tab: Tab) -> Table:
    """Start with the body of the piece, as far as chips are cast like it."""
    layers = tab.book.get(("layer",)) or []
    dyed: Table = next((x for x in layers if x.get("dyes")), {})
    light = (tab.book.get(("light",)) or [{}])[0]
    return {
        "path": None,
        "blanks": [],
        "chips": [],
        "emitter": light.get("emitter", ""),
        "under": "",
        "medium": dyed.get("medium", "epoxy"),
        "mix": dyed.get("mix", ""),
        "thickness": "3 mm",
        "batch": "20 g",
    }


def _came(tab: Tab, path: Path) -> None:
    try:
        wide = radius_of(Mark(name="blank", at=(0.0, 0.0)), open_photo(path))
    except TintlabError as problem:
        tab.tell(str(problem), wrong=True)
        return
    tab.bench["chips"].update(
        path=path, blanks=[], chips=[], radius=round(WIDER * wide), second=""
    )
    tab.rebuild()


# --------------------------------------------------------- a file that is there


def _ready(tab: Tab) -> None:
    """Offer the chips files of the folder."""
    home, root = tab.book.path.parent, tab.book.folder.root
    found = {
        one.relative_to(root).as_posix(): one
        for one in sorted((*home.glob("*chips*.toml"), *home.glob("*/*chips*.toml")))
        if one.resolve().is_relative_to(root)
    }
    if not found:
        return
    with tag("details") as details:
        tag("summary", "", "a chips file is there already")
        with tag("div", "line"):
            which = choose("chips file", list(found), next(iter(found)), lambda _: None)
        _learn(tab, "learn from this file", lambda: found[str(which.value)])
    details.props["id"] = "ready"


# ------------------------------------------------------------------ pointing


def _clicked(tab: Tab, at: tuple[float, float], paint: Any) -> None:
    bench = tab.bench["chips"]
    if not bench["blanks"] or bench.get("next") == "blank":
        bench["blanks"].append(at)
        bench["next"] = "chip"
    else:
        bottles = _bottles(tab)
        last = bench["chips"][-1]["bottle"] if bench["chips"] else bottles[0]
        bench["chips"].append({"at": at, "bottle": last, "dose": "2 drops"})
    paint()


def _typed_places(tab: Tab, then: Any) -> None:
    """Take places as numbers, where no picture can be shown."""

    def typed(text: str) -> None:
        try:
            x, y = (float(one) for one in text.split(","))
        except ValueError:
            tab.tell("write two numbers: 240, 180", wrong=True)
            return
        then((x, y))

    field("next place, in pixels: x, y", "", typed)


def _bottles(tab: Tab) -> list[str]:
    """Name the bottles of the piece first, then the others."""
    used = [
        str(dye.get("bottle"))
        for layer in tab.book.get(("layer",)) or []
        for dye in layer.get("dyes", [])
        if dye.get("bottle")
    ]
    return list(dict.fromkeys([*used, *tab.book.shelf.names("bottles")]))


def _marks(bench: Table) -> str:
    size = bench["radius"]
    art = [pictures.ring(at, size, "blank") for at in bench["blanks"]]
    art += [
        pictures.ring(chip["at"], size, f"{number}")
        for number, chip in enumerate(bench["chips"], 1)
    ]
    return "".join(art)


def _rows(tab: Tab, bench: Table, paint: Any) -> None:
    blanks = ", ".join(f"({x:g}, {y:g})" for x, y in bench["blanks"]) or "none yet"
    with tag("div", "line"):
        tag("span", "name", "blank")
        tag("span", "grow small", blanks)
        press("another blank", lambda: bench.update(next="blank"), kind="bare")
        press("start over", lambda: _over(bench, paint), kind="bare")
    for number, chip in enumerate(bench["chips"], 1):
        _chip(tab, bench, chip, number, paint)
    if not bench["chips"]:
        tag("p", "small quiet", "Next click: " + _next(bench))


def _next(bench: Table) -> str:
    return "the first chip" if bench["blanks"] else "the blank, undyed"


def _over(bench: Table, paint: Any) -> None:
    bench.update(blanks=[], chips=[], next="blank")
    paint()


def _chip(tab: Tab, bench: Table, chip: Table, number: int, paint: Any) -> None:
    def drop() -> None:
        bench["chips"].remove(chip)
        paint()

    with tag("div", "line"):
        tag("span", "name", f"chip {number}")
        choose(
            f"bottle in chip {number}",
            _bottles(tab),
            chip["bottle"],
            lambda v: chip.update(bottle=v),
        )
        ui.input(
            label=f"dose of chip {number}",
            value=chip["dose"],
            on_change=lambda event: chip.update(dose=event.value),
        ).props("outlined dense").classes("field")
        press(TIMES, drop, kind="bare", says=f"take chip {number} off")


def _body(tab: Tab, bench: Table) -> None:
    shelf = tab.book.shelf
    with tag("div", "line"):
        choose(
            "lit by",
            shelf.names("emitters"),
            bench["emitter"],
            lambda v: bench.update(emitter=v),
        )
        choose(
            "on",
            {"": "nothing", **{n: n for n in shelf.names("diffusers")}},
            bench["under"],
            lambda v: bench.update(under=v),
        )
        choose(
            "the same scene, two stops darker",
            {"": "not taken", **{name: name for name in pictures.here(tab)}},
            bench["second"],
            lambda v: bench.update(second=v),
        )
    with tag("div", "line"):
        choose(
            "made of",
            shelf.names("media"),
            bench["medium"],
            lambda v: bench.update(medium=v),
        )
        for key, what in (("thickness", "depth"), ("batch", "batch"), ("mix", "mix")):
            field(f"{what} of each chip", bench[key], _setter(bench, key))


def _setter(bench: Table, key: str) -> Any:
    return lambda text: bench.update({key: text})


# ------------------------------------------------------------- files and answer


def _written(tab: Tab, bench: Table) -> Path:
    """Write what was pointed at as a chips file and its marks, beside the photo."""
    photo: Path = bench["path"]
    chips = [(f"chip {n}", chip) for n, chip in enumerate(bench["chips"], 1)]
    wide = {"radius": bench["radius"]}
    marks = {
        "blank": [{"at": list(at), **wide} for at in bench["blanks"]],
        "chip": [
            {"name": name, "at": list(chip["at"]), **wide} for name, chip in chips
        ],
    }
    body = {key: bench[key] for key in ("medium", "thickness", "batch", "mix")}
    said: Table = {"name": f"chips in {photo.name}", "emitter": bench["emitter"]}
    if bench["under"]:
        said["under"] = bench["under"]
    said["photo"] = {"file": photo.name, "marks": f"{photo.stem}-marks.toml"}
    if bench["second"]:
        second = tab.book.folder.inside(bench["second"])
        said["photo"]["second"] = os.path.relpath(second, photo.parent)
    said["body"] = {key: value for key, value in body.items() if value}
    said["chip"] = [
        {"name": name, "dyes": [{"bottle": chip["bottle"], "dose": chip["dose"]}]}
        for name, chip in chips
    ]
    folder = tab.book.folder
    file = folder.inside(photo.with_name(f"{photo.stem}-chips.toml"))
    there = folder.inside(photo.with_name(f"{photo.stem}-marks.toml"))
    put_in_place(there, tomlkit.dumps(marks).encode("utf-8"))
    put_in_place(file, tomlkit.dumps(said).encode("utf-8"))
    return file


def _learn(tab: Tab, text: str, file: Callable[[], Path]) -> None:
    """Add the button that learns, and the one that keeps what was learned."""

    def options() -> Table:
        return {"file": str(file())}

    def show(answer: Table) -> None:
        drawn(answers.lesson(answer))
        if not any(one["file"] for one in answer["learned"]):
            return
        read = str(answer["read_from"])
        with tag("div", "line"):
            press(
                "keep it on my shelf" if answer["fits"] else "keep it anyway",
                lambda: _keep(tab, read, answer),
                kind="main" if answer["fits"] else "",
            )
        words = ["tintlab", "chip", "learn", read, "--keep"]
        words += [] if answer["fits"] else ["--anyway"]
        drawn(answers.command(shlex.join(words)))

    searches.offer(tab, text, "jobs:chip_learn", options, show)


async def _keep(tab: Tab, file: str, answer: Table) -> None:
    options = {"file": file, "keep": True, "anyway": not answer["fits"]}
    search = tab.workshop.search("jobs:chip_learn", tab.asked(**options))
    try:
        kept = await search.result(lambda _: None)
    except TintlabError as problem:
        tab.tell(str(problem), wrong=True)
        return
    names = ", ".join(escape(Path(one).name) for one in kept["written"])
    tab.tell(f"kept on your shelf: {names or 'it stands there already'}")
    tab.book.refresh()
    tab.look()
