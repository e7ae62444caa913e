"""Bodies of uneven thickness: a relief picture, or the thinnest and thickest zone."""

from typing import Any, TypedDict

import numpy as np
from numpy.typing import NDArray

from tintlab import units
from tintlab.document import Section
from tintlab.errors import InsetError
from tintlab.inset import shapes
from tintlab.inset.fields import quantity
from tintlab.inset.records import Layer, Outline

Array = NDArray[np.float64]
MEAN_CELLS = 100  # along the longer side, for the mean over an outline

DEEPEST = 500.0  # [mm] of one layer; more is a slip of the unit


class Thickness(TypedDict):
    """What the thickness keys of a layer say, as arguments of `Layer`. [mm]"""

    thickness: float
    thin: float | None
    thick: float | None
    relief: Array | None


def read_thickness(section: Section, example: str) -> Thickness:
    """Read thickness, thin and thick, or thickness_map."""
    if section.one_of("thickness", "thickness_map") == "thickness_map":
        for key in ("thin", "thick"):
            if section.has(key):
                section.fail(key, f"the thickness map says what is {key}; leave it out")
        relief = _relief(section)
        low, high = float(relief.min()), float(relief.max())
        return {
            "thickness": float(relief.mean()),
            "thin": low,
            "thick": high,
            "relief": relief,
        }
    mean = quantity(section, "thickness", units.LENGTHS, example)
    if mean > DEEPEST:
        section.fail(
            "thickness",
            f"thickness = {section.table['thickness']!r} is {mean:g} mm; a layer is at "
            f"most {DEEPEST:g} mm thick; check number and unit",
        )
    thin = quantity(section, "thin", units.LENGTHS, example, None)
    thick = quantity(section, "thick", units.LENGTHS, example, None)
    for key, fits in (
        ("thin", thin is None or thin <= mean),
        ("thick", thick is None or thick >= mean),
    ):
        if not fits:
            section.fail(
                key,
                f"{key} = {section.table[key]!r} lies on the wrong side of the mean, "
                f"thickness = {section.table['thickness']!r}",
            )
    return {"thickness": mean, "thin": thin, "thick": thick, "relief": None}


def _relief(section: Section) -> Array:
    from tintlab.inset import picture_grey  # noqa: PLC0415  Pillow, for this only

    part = section.section("thickness_map")
    if part is None:
        raise TypeError("the caller has seen this key")
    file = part.text("file")
    black, white = (_end(part, key) for key in ("black", "white"))
    part.close()
    if max(black, white) <= 0:
        part.fail("white", "black and white are both zero; one of them is thicker")
    try:
        grey = picture_grey.grey(part.document.path.parent / file)
    except InsetError as problem:
        part.fail("file", str(problem))
    relief = black + grey * (white - black)
    if not relief.mean() > 0:
        part.fail("file", f'the thickness map "{file}" says zero everywhere')
    return relief


def _end(part: Section, key: str) -> Any:
    value = quantity(part, key, units.LENGTHS, "3 mm", positive=False)
    if value < 0:
        part.fail(key, f"{key} = {part.table[key]!r}; a thickness is zero or more")
    return value


def with_mean(layer: Layer, number: int, outline: Outline | None) -> dict[str, Any]:
    """Thickness of a layer with a relief, averaged over an outline, and a note.

    Returns
    -------
    dict
        "thickness", "thin", "thick" [mm] and "note".
    """
    relief = layer.relief
    if relief is None:
        raise TypeError("a layer without a relief has its mean")
    found = {"thickness": layer.thickness, "thin": layer.thin, "thick": layer.thick}
    if outline is not None:
        cell = max(outline.size) / MEAN_CELLS
        x, y = shapes.cells(outline.size, cell)
        local = shapes.cell_means(relief, size=outline.size, x=x, y=y, cell=cell)
        inside = inside_of(outline, x=x, y=y, cell=cell)
        within = local[inside > 0.5] if (inside > 0.5).any() else local
        found = {
            "thickness": float((local * inside).sum() / inside.sum()),
            "thin": float(within.min()),
            "thick": float(within.max()),
        }
    return found | {
        "note": f"layer {number} follows its thickness map; where one thickness counts "
        f"it is the mean, {found['thickness']:.3g} mm"
    }


def inside_of(outline: Outline, *, x: Array, y: Array, cell: float) -> Array:
    """Share of each cell of a grid inside an outline, shape (n_y, n_x)."""
    inside = shapes.covered(outline.corners, x=x, y=y, cell=cell)
    if outline.mask is None:
        return inside
    return inside * shapes.cell_means(
        outline.mask, size=outline.size, x=x, y=y, cell=cell
    )
