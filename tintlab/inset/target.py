"""What the maker wants to see."""

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tintlab import colorimetry
from tintlab.document import Section
from tintlab.errors import InsetError
from tintlab.inset.fields import find, parse
from tintlab.inset.records import DEFAULT_TOLERANCE, Target
from tintlab.shelf import Shelf

Array = NDArray[np.float64]


def read_target(
    section: Section | None, shelf: Shelf, path: Path, notes: list[str]
) -> Target | None:
    """Read [target]."""
    if section is None:
        return None
    way = section.one_of("lab", "hex", "picture", "region", required=True)
    Lab, region, clipped = None, None, 0.0
    face, face_Lab, weight = section.section("face"), None, 0.0
    if face is not None:
        face_Lab, weight = (
            read_lab(face, "lab"),
            face.number("weight", 0.5, low=0, high=1),
        )
        face.close()
    if way == "lab":
        Lab = read_lab(section, "lab")
    elif way == "hex":
        Lab = colorimetry.XYZ_to_Lab(
            parse(section, "hex", colorimetry.hex_to_XYZ, section.text("hex"))
        )
    elif way == "region":
        region = find(section, "region", shelf, "targets")
    else:
        Lab, clipped = _picture_point(section, path, notes)
    target = Target(
        Lab=Lab,
        region=region,
        tolerance=section.number("tolerance", DEFAULT_TOLERANCE, low=0, high=100),
        min_light_kept=section.share("min_light_kept", 0.0),
        lightness=section.choice("lightness", ("free", "match"), "free"),
        clipped=clipped,
        face_Lab=face_Lab,
        face_weight=weight,
    )
    section.close()
    return target


def read_lab(section: Section, key: str) -> Array:
    """Read L*, a*, b*."""
    numbers = section.numbers(key, 3)
    if not 0 <= numbers[0] <= 100 or max(abs(numbers[1]), abs(numbers[2])) > 200:
        section.fail(key, f"{key} = {numbers}; L* is 0 to 100, a* and b* within 200")
    return np.array(numbers, dtype=float)


def _picture_point(
    section: Section, path: Path, notes: list[str]
) -> tuple[Array, float]:
    from tintlab import picture  # noqa: PLC0415  Pillow, for this only

    part = section.section("picture")
    if part is None:
        section.fail("picture", 'picture = {file = "...", at = [x, y]}')
    file, at = path.parent / part.text("file"), part.numbers("at", 2)
    radius = part.number("radius", 3.0, low=0, high=2000)
    part.close()
    try:
        patch = picture.patch(file, at=(at[0], at[1]), radius=radius)
    except InsetError as problem:
        message = str(problem)
        part.fail("at" if message.startswith("the point") else "file", message)
    if patch.clipped > 0.05:
        notes.append(
            f"{patch.clipped * 100:.0f} % of the target patch is clipped in the "
            "picture; its colour is not to be trusted, choose a darker spot"
        )
    return colorimetry.XYZ_to_Lab(patch.XYZ), patch.clipped
