"""Pictures on the page: brought in, shown, and pointed at."""

from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import quote

from nicegui import run, ui
from nicegui.events import MouseEventArguments, UploadEventArguments

from tintlab.errors import TintlabError
from tintlab.page import uploads
from tintlab.page.controls import choose, tag
from tintlab.page.safety import MOST_UPLOAD
from tintlab.page.tab import Tab

SHOWN = (".jpg", ".jpeg", ".png", ".webp", ".gif")  # a browser shows these
MOST = 80  # pictures in the list


def address(tab: Tab, path: Path) -> str:
    """Return the address under which the page shows a picture of its folder."""
    return f"/picture?file={quote(path.relative_to(tab.book.folder.root).as_posix())}"


def bring(tab: Tab, what: str, then: Callable[[Path], Any]) -> ui.upload:
    """Add a place to drop a picture; it is kept beside the inset file."""

    async def came(event: UploadEventArguments) -> None:
        content = await event.file.read()
        path = None
        try:
            path = await run.io_bound(
                uploads.keep,
                tab.book.folder,
                event.file.name,
                content,
                beside=tab.book.path,
            )
        except TintlabError as problem:
            tab.tell(str(problem), wrong=True)
            return
        finally:
            upload.reset()
        if path is not None:
            then(path)

    def refused() -> None:
        tab.tell(
            f"this file is larger than {MOST_UPLOAD / 1e6:.0f} MB, or no picture; save "
            "it as JPEG with a smaller size",
            wrong=True,
        )

    upload = (
        ui.upload(
            label=what,
            auto_upload=True,
            max_file_size=MOST_UPLOAD,
            max_files=1,
            on_upload=came,
            on_rejected=refused,
        )
        .props('accept="image/*,.dng,.cr2,.cr3,.nef,.arw,.raf,.orf,.rw2,.tif,.tiff"')
        .classes("bring")
    )
    return upload


def here(tab: Tab) -> dict[str, Path]:
    """Find the pictures that lie in the folder already, by their names in it."""
    home, root = tab.book.path.parent, tab.book.folder.root
    found = (
        one
        for one in sorted((*home.glob("*"), *home.glob("*/*")))
        if one.suffix.lower() in SHOWN and one.resolve().is_relative_to(root)
    )
    names = {one.relative_to(root).as_posix(): one for one in found}
    return dict(list(names.items())[:MOST])


def pick(tab: Tab, path: Path | None, then: Callable[[Path], Any]) -> None:
    """Offer the pictures that lie in the folder already."""
    names = here(tab)
    if not names:
        return
    now = None
    if path is not None:
        now = path.relative_to(tab.book.folder.root).as_posix()
    with tag("div", "line"):
        choose(
            "or one that is in the folder",
            list(names),
            now,
            lambda name: then(names[name]) if name else None,
        )


def point_at(
    tab: Tab, path: Path, then: Callable[[float, float], Any]
) -> ui.interactive_image | None:
    """Show a picture and report where it is clicked, in its own pixels."""
    if path.suffix.lower() not in SHOWN:
        tag(
            "p",
            "small",
            f"{path.name} is on disk; a browser cannot show this kind, so type the "
            "places in pixels from the upper left.",
        )
        return None

    def clicked(event: MouseEventArguments) -> Any:
        return then(round(event.image_x, 1), round(event.image_y, 1))

    image = ui.interactive_image(address(tab, path), on_mouse=clicked, cross=True)
    return image.classes("photo")


def ring(at: tuple[float, float], radius: float, name: str = "") -> str:
    """Draw a mark on a picture: a ring seen on light and on dark, with its name."""
    x, y = at
    thin = max(1.5, radius * 0.12)
    text = (
        f'<text x="{x}" y="{y - radius * 1.4:.0f}" text-anchor="middle" '
        f'font-size="{radius * 1.5:.0f}" fill="white" stroke="black" '
        f'stroke-width="{thin * 2:.1f}" paint-order="stroke">{name}</text>'
        if name
        else ""
    )
    circle = f'<circle cx="{x}" cy="{y}" r="{radius}" fill="none" stroke='
    return (
        f'{circle}"black" stroke-width="{2 * thin:.1f}"/>'
        f'{circle}"white" stroke-width="{thin:.1f}"/>{text}'
    )


def outline(corners: list[tuple[float, float]]) -> str:
    """Draw corners and the edge between them, seen on light and on dark."""
    points = " ".join(f"{x},{y}" for x, y in corners)
    style = 'fill="none" vector-effect="non-scaling-stroke"'
    shape = "polygon" if len(corners) > 3 else "polyline"
    edge = (
        f'<{shape} points="{points}" {style} stroke="black" stroke-width="4"/>'
        f'<{shape} points="{points}" {style} stroke="white" stroke-width="2"/>'
    )
    dots = "".join(
        f'<path d="M{x},{y}h.01" {style} stroke="black" stroke-width="13" '
        f'stroke-linecap="round"/><path d="M{x},{y}h.01" {style} stroke="white" '
        'stroke-width="8" stroke-linecap="round"/>'
        for x, y in corners
    )
    return edge + dots
