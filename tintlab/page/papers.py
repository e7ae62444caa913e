"""What is looked at before the stage and held at the bench: proof, rooms and card."""

import base64
from pathlib import Path
from typing import Any

from nicegui import ui

from tintlab.errors import TintlabError
from tintlab.page import answers, controls, pictures, searches
from tintlab.page.controls import choose, drawn, field, press, tag
from tintlab.page.tab import Tab

Table = dict[str, Any]

SIZES = {"a6": "A6, two sides", "half-letter": "half letter"}
SHEETS = {
    "": "one card a page",
    "a4": "on a sheet of A4",
    "letter": "on a sheet, letter",
}
CORNERS = ("upper left", "upper right", "lower right", "lower left")
RING = 0.012  # of the size of the picture, for a corner


# ----------------------------------------------------------------------- proof


def proof(tab: Tab) -> None:
    """Repaint a photo of the prop, and show the piece in its rooms."""
    bench: Table = tab.bench.setdefault("proof", {"path": None, "corners": []})
    tag(
        "p",
        "quiet small",
        "Drop a photo of the prop and click the four corners of the inset, beginning "
        "at its upper left and going round.",
    )
    pictures.bring(tab, "drop the photo here, or press +", lambda p: _came(tab, p))
    pictures.pick(tab, bench["path"], lambda p: _came(tab, p))
    if bench["path"] is not None:
        _corners(tab, bench)
    tag("hr", "rule")
    tag("h3", "", "in five rooms, from a dark house to daylight")

    def options() -> Table:
        name = f"{tab.book.path.stem}-rooms.png"
        return {"file": str(tab.book.folder.inside(tab.book.path.with_name(name)))}

    def show(answer: Table) -> None:
        _picture(tab, Path(answer["file"]), "the piece lit and unlit in five rooms")
        drawn(answers.lines(answer["lines"]))

    searches.offer(tab, "show the rooms", "jobs_papers:rooms", options, show)


def _came(tab: Tab, path: Path) -> None:
    tab.bench["proof"].update(path=path, corners=[])
    tab.rebuild()


def _corners(tab: Tab, bench: Table) -> None:
    def clicked(x: float, y: float) -> None:
        if len(bench["corners"]) == len(CORNERS):
            bench["corners"].clear()
        bench["corners"].append((x, y))
        paint()

    def typed(text: str) -> None:
        try:
            numbers = [float(one) for one in text.replace(",", " ").split()]
        except ValueError:
            numbers = []
        if len(numbers) != 2 * len(CORNERS):
            tab.tell("write eight numbers: 120,80 300,90 310,240 115,230", wrong=True)
            return
        bench["corners"][:] = zip(numbers[::2], numbers[1::2], strict=True)
        paint()

    def paint() -> None:
        if image is not None:
            image.set_content(pictures.outline(bench["corners"]))
        places.set_value(_written(bench["corners"]))
        many = len(bench["corners"])
        hint.set_text(
            f"next: the {CORNERS[many]} corner" if many < 4 else "all four are there"
        )

    image = pictures.point_at(tab, bench["path"], clicked)
    with tag("div", "line"):
        hint = controls.words("")
        places = field("corners, in pixels", "", typed).classes("grow")
    with tag("div", "line"):
        lit = ui.checkbox("the photo shows the inset lit")
    paint()

    def options() -> Table:
        return {
            "photo": str(bench["path"]),
            "corners": _written(bench["corners"]),
            "lit": bool(lit.value),
        }

    def show(answer: Table) -> None:
        for key, what in (
            ("eye", "as an adapted eye sees it, simulated"),
            ("phone", "as a phone records it, simulated"),
        ):
            _picture(tab, Path(answer["files"][key]), what)
        with tag("details"):
            tag("summary", "", "exposure for a real photo, and what was assumed")
            drawn(answers.lines(answer["text"].splitlines()))
        drawn(
            answers.command(
                tab.book.command(
                    "proof",
                    *("--photo", str(bench["path"])),
                    *("--inset", _written(bench["corners"])),
                )
            )
        )

    searches.offer(tab, "light it in the photo", "jobs_papers:proof", options, show)


def _written(corners: list[tuple[float, float]]) -> str:
    return " ".join(f"{x:g},{y:g}" for x, y in corners)


def _picture(tab: Tab, path: Path, what: str) -> None:
    """Show a picture that was just written, not one that the browser remembers."""
    if path.suffix.lower() in pictures.SHOWN:
        fresh = f"{pictures.address(tab, path)}&t={path.stat().st_mtime_ns}"
        ui.image(fresh).classes("made").props["alt"] = what
    tag("p", "small quiet", f"{what}: {path.name}")


# ------------------------------------------------------------------------ card


def card(tab: Tab) -> None:
    """Print the card to hold at the bench."""
    tag(
        "p",
        "quiet small",
        "Dose, order of work, what to expect, and blank lines for what really "
        "happened; large enough to read with gloves on.",
    )
    with tag("div", "line"):
        size = choose("size", SIZES, "a6", lambda _: None)
        sheet = choose("paper", SHEETS, "", lambda _: None)

    def options() -> Table:
        if tab.book.dirty:
            raise TintlabError(
                "the card carries the fingerprint of the saved file; save first"
            )
        return {"size": size.value, "sheet": sheet.value}

    def show(answer: Table) -> None:
        name = f"{tab.book.path.stem}-card.pdf"
        code = base64.b64encode(answer["picture"]).decode("ascii")
        shown = ui.image(f"data:image/png;base64,{code}").classes("made")
        shown.props["alt"] = "the card, front and back"
        press(
            "download the card",
            lambda: ui.download.content(answer["pdf"], name, "application/pdf"),
            kind="main",
        )
        words = ["--size", str(size.value)]
        words += ["--sheet", str(sheet.value)] if sheet.value else []
        drawn(answers.command(tab.book.command("card", "-o", name, *words)))

    searches.offer(tab, "make the card", "jobs_papers:card", options, show)
