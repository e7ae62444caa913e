"""The outline of an inset: rectangle, circle, polygon or the picture of a mask.

The box behind has the same outline and straight walls; behind a mask it is the whole
rectangle, closed by a lid that is opaque where the mask is black.
"""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tintlab import document, units
from tintlab.document import Section
from tintlab.errors import InsetError
from tintlab.inset import shapes
from tintlab.inset.fields import MOST, check_sane, parse, quantity
from tintlab.inset.records import Outline

MOST_CORNERS = 400
LEAST_OPEN = 1e-3  # share of a mask that is white
MASK_STRETCH = 0.05  # a mask of other proportions than its size is noted


def read_outline(top: Section, path: Path, notes: list[str]) -> Outline | None:
    """Read [inset]; None when the maker left the size out."""
    section = top.section("inset")
    if section is None:
        return None
    way = section.one_of("size", "diameter", "outline")
    found = None
    if way == "size":
        found = _rectangle(section)
    elif way == "diameter":
        across = quantity(section, "diameter", units.LENGTHS, "30 mm")
        found = outline_of("circle", shapes.circle(across))
    elif way == "outline":
        found = outline_of("polygon", _polygon(section))
    if section.has("mask"):
        found = _masked(section, found, path, notes)
    section.close()
    return found


def outline_of(
    kind: str,
    corners: NDArray[np.float64],
    mask: NDArray[np.float64] | None = None,
) -> Outline:
    """Measure an outline; its corners are moved to the middle of their extent."""
    middle = (corners.max(axis=0) + corners.min(axis=0)) / 2
    width, height = np.ptp(corners, axis=0)
    if kind == "circle":  # the polygon's corners reach out a little
        width = height = 2 * np.sqrt(shapes.area(corners) / np.pi)
    share = 1.0 if mask is None else float(mask.mean())
    return Outline(
        kind=kind,
        size=(float(width), float(height)),
        corners=corners - middle,
        mask=mask,
        area=shapes.area(corners) * share,
        girth=shapes.girth(corners),
    )


def _rectangle(section: Section) -> Outline:
    text = section.text("size")
    size = parse(section, "size", units.size, text)
    if min(size) <= 0:
        section.fail("size", f'size = "{text}": both sides are more than zero')
    for side in size:
        check_sane(section, "size", text, side)
    return outline_of("rectangle", shapes.rectangle(*size))


def _polygon(section: Section) -> NDArray[np.float64]:
    written = section.take("outline", list)
    corners = points(written)
    if corners is None or len(corners) < 3:
        section.fail(
            "outline",
            "outline takes three corners in mm or more: [[0, 0], [40, 0], [40, 60]]",
        )
    if len(corners) > MOST_CORNERS:
        section.fail(
            "outline",
            f"this outline has {len(corners)} corners; {MOST_CORNERS} are enough, or "
            'draw it as a picture: mask = "window.png"',
        )
    if np.abs(corners).max() > MOST:
        section.fail("outline", "this outline is more than a kilometre wide; use mm")
    if shapes.area(corners) < 1 / MOST:
        section.fail("outline", "this outline encloses no area; check its corners")
    if shapes.crosses_itself(corners):
        section.fail(
            "outline",
            "this outline crosses or touches itself; list its corners in the order in "
            "which you would walk around it, each of them once",
        )
    return corners


def points(written: list[object]) -> NDArray[np.float64] | None:
    """Return pairs of finite numbers as an array, or None when they are none."""
    pairs = [
        [document.finite(value) for value in pair] if isinstance(pair, list) else []
        for pair in written
    ]
    if not pairs or any(len(pair) != 2 or None in pair for pair in pairs):
        return None
    return np.array(pairs, dtype=float)


def _masked(
    section: Section, whole: Outline | None, path: Path, notes: list[str]
) -> Outline:
    from tintlab.inset import picture_grey  # noqa: PLC0415  Pillow, for this only

    file = section.text("mask")
    if whole is None or whole.kind != "rectangle":
        section.fail("mask", 'a mask needs the size of the whole picture, size = "..."')
    try:
        mask = picture_grey.grey(path.parent / file)
    except InsetError as problem:
        section.fail("mask", str(problem))
    if mask.mean() < LEAST_OPEN:
        section.fail("mask", f'the mask "{file}" is black; white is inset')
    rows, columns = mask.shape
    width, height = whole.size
    if abs(np.log(columns / rows * height / width)) > MASK_STRETCH:
        notes.append(
            f'the mask "{file}" has {columns} x {rows} pixels, the size is {width:g} x '
            f"{height:g} mm; it is stretched to fit"
        )
    return outline_of("mask", whole.corners, mask)
