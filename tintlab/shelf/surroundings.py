"""Reads what is around the tint: emitters, media, walls, diffusers, rooms, regions."""

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tintlab import colorimetry, document
from tintlab.colorimetry import ILLUMINANT_KEYS
from tintlab.colourants import DYE_CLASSES, GRADES
from tintlab.document import Section
from tintlab.materials import (
    Diffuser,
    Emitter,
    Medium,
    Region,
    Room,
    Wall,
    abbe_index,
    lobes_power,
    sellmeier_index,
)
from tintlab.shelf.blocks import name_and_source, need, on_grid, span, table
from tintlab.spectrum import STEP, WAVELENGTHS

Array = NDArray[np.float64]
Find = Callable[[str, str], Any]  # kind and name to a material


def _emitter(section: Section, _: Find) -> Emitter:
    common, inner = name_and_source(section), need(section, "emitter")
    model = inner.choice("model", ("cie", "lobes", "table"))
    lobes, data = np.empty((0, 5)), section.section("data")
    inner.has("key")
    section.take("evidence", list, [])  # `tintlab.chips.lights` reads it
    if model == "cie":
        power = colorimetry.illuminant(inner.choice("key", ILLUMINANT_KEYS))
    elif data is None:
        section.missing("data", "[data] with the spectrum is missing")
    elif model == "lobes":
        columns = ("peak [nm]", "width [nm]", "power [-]", "shift [nm/K]")
        lobes = table(data, (*columns, "change [1/K]"))
        if (lobes[:, 1] < STEP).any() or (lobes[:, 2] < 0).any():
            data.fail("table", "a lobe is narrower than 1 nm or has negative power")
        power = lobes_power(lobes)
    else:
        power = on_grid(data, "power [1/nm]", "power")
    if data is not None:
        data.close()
    if not (power > 0).any():
        section.fail("data", "this light has no power within 380-780 nm")
    emitter = Emitter(
        **common,
        kind=inner.choice("kind", ("white", "single colour", "mixed")),
        power=power,
        lobes=lobes,
        steps=inner.number("steps", 0.0, low=0, high=100),
        peak_spread=inner.number("peak_spread", 0.0, low=0, high=100),
        beam=inner.number("beam", 120.0, low=1, high=179),
        reference_temperature=inner.number(
            "reference_temperature", 25.0, low=-60, high=200
        ),
        forward_voltage=inner.number(
            "forward_voltage", _usual_voltage(power), low=0.5, high=100
        ),
        efficacy=inner.number("efficacy", None, low=0, high=683),
        colour_temperature=inner.number("colour_temperature", None, low=1000, high=1e6),
        grade=inner.choice("grade", ("", *GRADES), ""),
        date=inner.text("date", ""),
        caution=inner.text("caution", ""),
    )
    inner.close()
    return emitter


def _usual_voltage(power: Array) -> float:
    """Forward voltage of a light whose file has none, by its colour. [V]

    About 2 V for red to yellow-green chips, 3 V for all with blue or green ones
    (common practice): what has next to no power below 540 nm is of the first sort.
    """
    return 2.0 if power[WAVELENGTHS < 540].sum() < 0.05 * power.sum() else 3.0


def _sellmeier(index: Section) -> Array:
    B, C = index.numbers("B", None), index.numbers("C", None)
    if len(B) != len(C) or not B:
        index.fail(
            "C", f"B has {len(B)} terms and C has {len(C)}; give as many of each"
        )
    low, high = (WAVELENGTHS[[0, -1]] / 1000) ** 2
    if any(low <= term <= high for term in C):
        index.fail("C", "a term of C lies within 380-780 nm; it is in um2, as in 0.01")
    with np.errstate(all="ignore"):  # what is no index is refused below
        n = sellmeier_index(B=B, C=C)
    if not ((n >= 1) & (n <= 4)).all():
        index.fail("B", "these terms give no index of 1 to 4 within 380-780 nm")
    return n


def _cures(section: Section) -> dict[str, tuple[str, ...]]:
    found = {cure: section.texts(cure) for cure in section.table}
    for cure, classes in found.items():
        for name in classes:
            if name not in DYE_CLASSES:
                near = document.nearest(name, DYE_CLASSES)
                known = ", ".join(DYE_CLASSES)
                section.fail(
                    cure, f'"{name}" is no class of dyes; {near}classes: {known}'
                )
    return {cure: tuple(classes) for cure, classes in found.items()}


def _medium(section: Section, _: Find) -> Medium:
    common, inner = name_and_source(section), need(section, "medium")
    index, absorption = need(section, "index"), need(section, "absorption")
    if index.choice("form", ("sellmeier", "abbe")) == "sellmeier":
        n = _sellmeier(index)
    else:
        n = abbe_index(
            d=index.number("d", low=1.2, high=2.5),
            abbe=index.number("abbe", low=10, high=120),
        )
    cures = section.section("cures")
    medium = Medium(
        **common,
        kind=inner.choice("kind", ("cast", "sheet", "both")),
        index=n,
        absorption=_internal(absorption, n),
        density=inner.number("density", low=0.5, high=4),
        haze=inner.number("haze", 0.0, low=0, high=1),
        scattering=inner.number("scattering", 0.0, low=0, high=1e4),
        anisotropy=inner.number("anisotropy", 0.9, low=-0.99, high=0.99),
        thickness=span(inner, "thickness", [1, 25]),
        bath_limit=inner.number("bath_limit", None, low=-50, high=500),
        loading_limit=inner.number("loading_limit", None, low=0, high=1),
        pour_depth=inner.number("pour_depth", None, low=0, high=1e4),
        caution=inner.text("caution", ""),
        cures={} if cures is None else _cures(cures),
    )
    for part in (inner, index, absorption):
        part.close()
    return medium


def _internal(section: Section, index: Array) -> Array:
    """Read the decadic absorbance per mm of a medium, its faces left out.

    A spectrometer's transmittance of a clear plate is taken with both faces on; its
    file needs the `thickness` of the plate. [mm]
    """
    if "file" not in section.table:
        return on_grid(section, "absorbance per mm [-]", "absorbance")
    from tintlab import measured  # noqa: PLC0415  scipy, for this only

    thickness = section.number("thickness", low=0.01, high=1e3)
    passed = on_grid(section, "", "transmittance")
    inside = measured.internal_transmittance(passed, index=index)
    section.document.notes.append(
        f"the faces of a {thickness:g} mm plate were taken off its transmittance"
    )
    return -np.log10(np.clip(inside, 1e-6, 1.0)) / thickness


def _wall(section: Section, _: Find) -> Wall:
    common, inner, data = (
        name_and_source(section),
        need(section, "wall"),
        need(section, "data"),
    )
    wall = Wall(
        **common,
        finish=inner.text("finish", "matt"),
        reflectance=on_grid(data, "reflectance [-]", "reflectance"),
    )
    inner.close()
    data.close()
    if wall.reflectance.max() > 1:
        section.fail("data", "a reflectance above 1; percent is written as a ratio")
    return wall


def _diffuser(section: Section, _: Find) -> Diffuser:
    common, inner = name_and_source(section), need(section, "diffuser")
    diffuser = Diffuser(
        **common,
        index=inner.number("index", low=1, high=2.5),
        thickness=inner.number("thickness", low=0, high=1e3),
        scattering=inner.number("scattering", low=0, high=1e4),
        anisotropy=inner.number("anisotropy", low=-0.99, high=0.99),
        absorption=inner.number("absorption", low=0, high=1e4),
    )
    inner.close()
    return diffuser


def _room(section: Section, _: Find) -> Room:
    common, inner = name_and_source(section), need(section, "room")
    white = inner.choice("white", ILLUMINANT_KEYS)
    room = Room(
        **common,
        illuminance=inner.number("illuminance", low=0, high=2e5),
        power=colorimetry.illuminant(white),
        white=white,
        surround=inner.choice("surround", ("dark", "dim", "average"), "average"),
    )
    inner.text("note", "")
    inner.close()
    return room


def _region(section: Section, _: Find) -> Region:
    common, inner = name_and_source(section), need(section, "region")
    corners = table(inner, ("x [-]", "y [-]"))
    if len(corners) < 3 or (corners < 0).any() or (corners.sum(axis=1) > 1).any():
        inner.fail("table", "a region has three corners or more, x + y up to 1 in each")
    region = Region(**common, corners=corners)
    inner.close()
    return region


READERS = {
    "emitters": _emitter,
    "media": _medium,
    "walls": _wall,
    "diffusers": _diffuser,
    "rooms": _room,
    "targets": _region,
}
