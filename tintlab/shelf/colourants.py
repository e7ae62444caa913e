"""Reads what tints: dyes, bottles, inks."""

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tintlab.colourants import (
    DYE_CLASSES,
    GRADES,
    Bottle,
    Cured,
    Dye,
    Ink,
    dye_shape,
)
from tintlab.document import Section
from tintlab.errors import ShelfError
from tintlab.shelf.blocks import name_and_source, need, on_grid, pair, span, table

Array = NDArray[np.float64]
Find = Callable[[str, str], Any]  # kind and name to a material


def _second(shape: Section) -> tuple[float, float] | None:
    """Read wavelength [nm] and height [-] of a second maximum."""
    values = shape.numbers("second", 2, None)
    if values is None:
        return None
    if not (200 <= values[0] <= 1100 and 0 <= values[1] <= 10):
        shape.fail("second", f"second = {values}; give nm and height, [420, 0.3]")
    return values[0], values[1]


def _bands(shape: Section) -> Array:
    bands = table(shape, ("centre [nm]", "height [-]", "width [1/cm]"))
    centre, height, width = bands.T
    if (centre < 200).any() or (centre > 1100).any() or (width < 10).any():
        shape.fail("table", "a band has its centre at 200-1100 nm, and 10 1/cm or more")
    if (height < 0).any() or not (height > 0).any():
        shape.fail("table", "band heights are not negative, and one is more than zero")
    return bands


def _dye(section: Section, _: Find) -> Dye:
    common, inner = name_and_source(section), need(section, "dye")
    strength, shape = need(section, "strength"), need(section, "shape")
    form = shape.choice("form", ("bands", "log-normal", "table"))
    bands, tabled = np.empty((0, 3)), np.empty(0)
    if form == "bands":
        bands = _bands(shape)
    elif form == "table":
        tabled = on_grid(shape, "absorbance [-]", "absorbance")
        if not tabled.max() > 0:
            shape.fail("table", "this dye absorbs nothing within 380-780 nm")
        tabled = tabled / tabled.max()
    dye = Dye(
        **common,
        dye_class=inner.choice("class", DYE_CLASSES),
        hue=inner.text("hue"),
        uses=tuple(inner.texts("uses")),
        fluoresces=inner.take("fluoresces", bool, False),
        fades=inner.choice("fades", ("slow", "medium", "fast"), "medium"),
        caution=inner.text("caution", ""),
        colour_index=inner.text("colour_index", ""),
        number=inner.text("colour_index_number", ""),
        peak=strength.number("peak", low=200, high=1100),
        molar_absorptivity=strength.number("molar_absorptivity", None, low=1, high=1e7),
        molar_mass=strength.number("molar_mass", None, low=1, high=1e6),
        specific_absorbance=strength.number(
            "specific_absorbance", None, low=0.1, high=1e6
        ),
        strength_spread=strength.number("spread", 3.0, low=1, high=1000),
        form=form,
        bands=bands,
        tabled=tabled,
        valid=span(shape, "valid", [380, 780]),
        width=shape.number("width", 3000.0, low=10, high=20_000),
        skew=shape.number("skew", 1.3, low=0.2, high=6),
        floor=shape.number("floor", 0.0, low=0, high=1),
        second=_second(shape),
        shift=shape.number("shift", 5.0, low=0, high=200),
        broadening=shape.number("broadening", 1.2, low=1, high=10),
        delta_e=shape.number("delta_e", 5.0, low=0, high=100),
    )
    for part in (inner, strength, shape):
        part.close()
    with np.errstate(all="ignore"):  # what is no shape is refused here
        if not dye_shape(dye).max() >= 1e-3:
            shape.fail("form", "this dye absorbs next to nothing within 380-780 nm")
    return dye


def _dyes(section: Section, find: Find) -> tuple[tuple[Dye, float], ...]:
    found = []
    for part in section.sections("dye"):
        name, share = part.text("name"), part.number("share", 1.0, low=0, high=1e3)
        part.close()
        try:
            found.append((find("dyes", name), share))
        except ShelfError as problem:
            part.fail("name", str(problem))
    if not found:
        section.missing("dye", "[[dye]] is missing, a dye of the shelf")
    if not sum(share for _, share in found) > 0:
        section.fail("dye", "every share of the dyes is 0; give one more than that")
    return tuple(found)


def _learned(section: Section, inner: Section) -> dict[str, Any]:
    """Read what chips taught; `tintlab.chips.keep` wrote it and reads the rest."""
    section.take("evidence", list, [])
    section.take("label", dict, {})
    shift, width = pair(inner, "shift", None), pair(inner, "width", None)
    if shift is not None and not (abs(shift[0]) <= 100 and 0 <= shift[1] <= 200):
        inner.fail("shift", "shift takes [nm, deviation in nm], within 100 and 200 nm")
    if width is not None and not (0.2 <= width[0] <= 5 and 1 <= width[1] <= 10):
        inner.fail("width", "width takes [0.2 to 5, 5-95 % factor of 1 to 10]")
    return {"shift": shift, "width": width}


def _cures(section: Section) -> tuple[Cured, ...]:
    """Read `[cure.amine]`: what chips taught of another cure."""
    every, found = section.section("cure"), []
    if every is None:
        return ()
    for cure in every.table:
        part = need(every, cure)
        strength = pair(part, "strength", None)
        if strength is None or strength[0] < 0 or not 1 <= strength[1] <= 1000:
            part.fail("strength", "strength takes [value, 5-95 % factor of 1 or more]")
        shift = pair(part, "shift", None)
        if shift is not None and not (abs(shift[0]) <= 100 and 0 <= shift[1] <= 200):
            part.fail("shift", "shift takes [nm, deviation in nm]")
        part.close()
        found.append(
            Cured(cure=cure, strength=strength[0], spread=strength[1], shift=shift)
        )
    return tuple(found)


def _usual_drop(inner: Section) -> float:
    """Mass of a drop that nobody weighed. [g]

    A standard dropper gives 45 to 55 mg of water (USP <1101>, from memory); spirits and
    glycol ethers, of less surface tension, about half (assumed).
    """
    return 0.05 if "water" in inner.text("carrier", "") else 0.025


def _bottle(section: Section, find: Find) -> Bottle:
    common, inner = name_and_source(section), need(section, "bottle")
    dyes = _dyes(section, find)
    bottle = Bottle(
        **common,
        **_learned(section, inner),
        dyes=dyes,
        hue=inner.text("hue"),
        grade=inner.choice("grade", GRADES, "label-only"),
        strength=inner.number("strength", low=0, high=1e6),
        spread=inner.number("spread", 3.0, low=1, high=1000),
        density=inner.number("density", 0.9, low=0.3, high=3),
        drop=inner.number("drop", _usual_drop(inner), low=0.0005, high=0.5),
        drop_spread=inner.number("drop_spread", 1.3, low=1, high=100),
        carrier=inner.text("carrier", ""),
        lot=inner.text("lot", ""),
        date=inner.text("date", ""),
        caution=inner.text("caution", ""),
        bath_rate=inner.number("bath_rate", 0.1, low=0, high=100),
        bath_saturation=inner.number("bath_saturation", 4.0, low=0.01, high=1000),
        cure=inner.text("cure", ""),
        cures=_cures(section),
    )
    inner.close()
    return bottle


def _ink(section: Section, find: Find) -> Ink:
    common, inner = name_and_source(section), need(section, "ink")
    ink = Ink(
        **common,
        **_learned(section, inner),
        dyes=_dyes(section, find),
        hue=inner.text("hue"),
        grade=inner.choice("grade", GRADES, "label-only"),
        peak_absorbance=inner.number("peak_absorbance", low=0, high=100),
        spread=inner.number("spread", 2.5, low=1, high=1000),
        gain=inner.number("gain", 0.8, low=0, high=2),
        unevenness=inner.number("unevenness", 0.3, low=0, high=1),
        broadening=inner.number("broadening", 1.0, low=0.2, high=5),
        caution=inner.text("caution", ""),
    )
    inner.close()
    return ink


READERS = {"dyes": _dye, "bottles": _bottle, "inks": _ink}
