"""Editing one part of the piece: a light, the box, a layer."""

from typing import Any

from tintlab.inset import CURES
from tintlab.page import amounts
from tintlab.page.controls import TIMES, choose, field, press, tag
from tintlab.page.tab import Tab

Keys = tuple[Any, ...]
Table = dict[str, Any]


def edit(tab: Tab, key: Keys) -> None:
    """Lay out what can be changed of the chosen part."""
    table = tab.book.get(key)
    if table is None:
        tab.chosen = key = ("light", 0)
        table = tab.book.get(key) or {}
    if key[0] == "light":
        _light(tab, key, table)
    elif key[0] == "cavity":
        _cavity(tab, key, table)
    else:
        _layer(tab, key, table)


def _light(tab: Tab, key: Keys, table: Table) -> None:
    tag("h3", "", "LEDs")
    names = tab.book.shelf.names("emitters")
    with tag("div", "line"):
        choose(
            "LED", names, table.get("emitter"), lambda v: tab.put((*key, "emitter"), v)
        )
    with tag("div", "line"):
        tag("span", "name", "how many")
        amounts.whole(tab, (*key, "count"), "LEDs", int(table.get("count", 1)), low=1)
    way = "mcd" if "mcd" in table else "lumens"
    if way in table:
        with tag("div", "line"):
            tag("span", "name", f"{way} each")
            amounts.plain(tab, (*key, way), f"{way} each", float(table[way]))
    _coats(tab, key, table, "on each LED")


def _cavity(tab: Tab, key: Keys, table: Table) -> None:
    tag("h3", "", "the box behind")
    amounts.length(tab, (*key, "depth"), "depth", str(table.get("depth", "25 mm")))
    with tag("div", "line"):
        walls = tab.book.shelf.names("walls")
        choose("wall", walls, table.get("wall"), lambda v: tab.put((*key, "wall"), v))


def _layer(tab: Tab, key: Keys, table: Table) -> None:
    kind = str(table.get("kind", "cast"))
    tag("h3", "", {"sheet": "dyed sheet", "gap": "air gap"}.get(kind, kind))
    if kind in ("cast", "sheet"):
        _dyes(tab, key, table, kind)
        amounts.length(
            tab, (*key, "thickness"), "depth", str(table.get("thickness", "6 mm"))
        )
        with tag("div", "line"):
            media = tab.book.shelf.names("media")
            choose(
                "made of",
                media,
                table.get("medium"),
                lambda v: tab.put((*key, "medium"), v),
            )
            for face, words in (("finish", "viewer's face"), ("back", "light's face")):
                choose(
                    words,
                    ("polished", "frosted"),
                    table.get(face, "polished"),
                    lambda v, face=face: tab.put((*key, face), v),
                )
    if kind == "cast":
        with tag("div", "line"):
            _text(tab, key, "batch", table, "batch, without dye")
            _text(tab, key, "mix", table, "mix of part A and B")
            choose(
                "cure",
                CURES,
                table.get("cure"),
                lambda v: tab.put((*key, "cure"), v),
            )
    if kind == "diffuser":
        with tag("div", "line"):
            sheets = tab.book.shelf.names("diffusers")
            choose(
                "diffuser",
                sheets,
                table.get("diffuser"),
                lambda v: tab.put((*key, "diffuser"), v),
            )
    if kind == "film":
        _coats(tab, key, table, "")
    _place(tab, key)


def _text(tab: Tab, key: Keys, name: str, table: Table, what: str) -> None:
    def then(value: str) -> None:
        if value.strip():
            tab.put((*key, name), value.strip())
        else:
            tab.remove((*key, name))

    field(what, str(table.get(name, "")), then)


def _place(tab: Tab, key: Keys) -> None:
    """Move a layer towards the light or the viewer, or take it out."""
    number, last = key[1], len(tab.book.get(("layer",))) - 1

    def move(by: int) -> None:
        tab.chosen = ("layer", number + by)
        tab.change(lambda: tab.book.move(key, number + by))

    with tag("div", "line"):
        if number < last:
            press("towards the viewer", lambda: move(1))
        if number > 0:
            press("towards the light", lambda: move(-1))
        press("take it out", lambda: _take_out(tab, key))


def _take_out(tab: Tab, key: Keys) -> None:
    tab.chosen = None
    tab.remove(key)


def _dyes(tab: Tab, key: Keys, table: Table, kind: str) -> None:
    for number, dye in enumerate(table.get("dyes") or []):
        name = str(dye.get("bottle", dye.get("dye", "")))
        place = (*key, "dyes", number)
        if kind == "sheet":
            amounts.minutes(tab, place, name, str(dye.get("time", "20 min")))
        else:
            amounts.dosed(tab, place, name, str(dye.get("dose", "0 drops")))

    def add(name: str | None) -> None:
        if name is not None:
            many = len(table.get("dyes") or [])
            how = {"time": "20 min"} if kind == "sheet" else {"dose": "1 drop"}
            tab.put((*key, "dyes", many), {"bottle": name, **how})

    with tag("div", "line"):
        here = {str(d.get("bottle")) for d in table.get("dyes") or []}
        names = tab.book.shelf.names("bottles")
        choose("add a bottle", [n for n in names if n not in here], None, add)


def _coats(tab: Tab, key: Keys, table: Table, where: str) -> None:
    tag("hr", "rule")
    tag("h3", "", f"coats of ink {where}".strip())
    coats = table.get("coats") or []
    for number, one in enumerate(coats):
        name = str(one.get("ink", ""))
        place = (*key, "coats", number)
        with tag("div", "line"):
            tag("span", "name", name)
            amounts.whole(
                tab,
                (*place, "coats"),
                f"coats of {name}",
                int(one.get("coats", 1)),
                low=0,
            )
            press(
                TIMES,
                lambda place=place: tab.remove(place),
                kind="bare",
                says=f"take {name} off",
            )

    def add(name: str | None) -> None:
        if name is not None:
            tab.put((*key, "coats", len(coats)), {"ink": name, "coats": 1})

    with tag("div", "line"):
        here = {str(one.get("ink")) for one in coats}
        inks = [n for n in tab.book.shelf.names("inks") if n not in here]
        choose("add an ink", inks, None, add)
