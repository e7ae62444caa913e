"""What the shelf holds, as rows and as one material's facts."""

import contextlib
from pathlib import Path
from typing import Any

import click
import numpy as np
from numpy.typing import NDArray

from tintlab import document
from tintlab.colorimetry import XYZ_to_swatch, XYZ_to_xy, illuminant, spectrum_to_XYZ
from tintlab.colourants import (
    Bottle,
    Dye,
    Ink,
    colourant_shape,
    dye_shape,
    specific_absorbance,
)
from tintlab.errors import ShelfError, TintlabError
from tintlab.materials import Battery, Diffuser, Emitter, Medium, Region, Room, Wall
from tintlab.optics import Slab, fluxes
from tintlab.report.text import block
from tintlab.shelf import KINDS, Shelf, shipped
from tintlab.spectrum import WAVELENGTHS

Row = dict[str, Any]

RAISES = {
    "label-only": "one test chip over a known LED makes it chipped",
    "chipped": "two or three chips of graded dose make it laddered",
    "laddered": "a spectrometer reading makes it metered",
    "metered": "nothing: this is as good as it gets",
}

LIGHT_RAISES = dict.fromkeys(
    RAISES,
    "the nm or K of the data sheet beside a picture narrows it; a spectrometer's file, "
    'with file = "reading.csv", makes it metered',
)
LIGHT_RAISES["metered"] = RAISES["metered"]


def listing(shelf: Shelf, kind: str | None) -> list[Row]:
    """Return one row a kind, or one row a material of a kind."""
    if kind is None:
        return [{"kind": k, "count": len(shelf.names(k))} for k in KINDS]
    if kind not in KINDS:
        raise ShelfError(
            f'asked for the kind "{kind}"; {document.nearest(kind, KINDS)}'
            f"kinds: {', '.join(KINDS)}"
        )
    return [_row(kind, material) for material in shelf.all(kind)]


def _row(kind: str, material: Any) -> Row:
    own = not Path(material.path).is_relative_to(shipped())
    return {
        "name": material.name,
        "kind": kind,
        "swatch": material_swatch(material),
        "what": _what(material),
        "evidence": getattr(material, "grade", "") or material.source.kind,
        "own": own,
    }


def _what(material: Any) -> str:
    if isinstance(material, Emitter):
        x, y = XYZ_to_xy(spectrum_to_XYZ(material.power))
        return f"{material.kind}, x {x:.3f} y {y:.3f}, beam {material.beam:g} deg"
    if isinstance(material, Dye):
        number = f", C.I. {material.number}" if material.number else ""
        return f"{material.hue}, {material.dye_class}, {material.peak:g} nm{number}"
    if isinstance(material, Bottle):
        return f"{material.hue}, {material.carrier}"
    if isinstance(material, Ink):
        return f"{material.hue}, absorbance {material.peak_absorbance:g} a coat"
    if isinstance(material, Medium):
        return f"{material.kind}, index {_at(material.index, 589):.3f}"
    if isinstance(material, Wall):
        return f"reflects {_at(material.reflectance, 555) * 100:.0f} % at 555 nm"
    if isinstance(material, Diffuser):
        passed = float(_diffuser_transmittance(material))
        return f"{material.thickness:g} mm, passes {passed * 100:.0f} %"
    if isinstance(material, Room):
        return f"{material.illuminance:g} lx, {material.white}, {material.surround}"
    if isinstance(material, Battery):
        most = material.capacity[:, 1].max()
        return f"{material.nominal_voltage:g} V, {most:g} mAh"
    return f"{len(material.corners)} corners"


def _at(values: NDArray[np.float64], wavelength: float) -> float:
    return float(np.interp(wavelength, WAVELENGTHS, values))


def _diffuser_transmittance(sheet: Diffuser) -> NDArray[np.float64]:
    slab = Slab(
        index=sheet.index,
        absorbed=sheet.absorption * sheet.thickness,
        scattered=sheet.scattering * sheet.thickness,
        anisotropy=sheet.anisotropy,
    )
    return fluxes([slab], light="diffuse").transmittance


def search(shelf: Shelf, words: tuple[str, ...]) -> list[Row]:
    """Return the rows of materials in whose file every word stands."""
    found = []
    for kind in KINDS:
        for path in shelf.files(kind):
            text = document.read_text(path, error=ShelfError).lower()
            if all(word.lower() in text for word in words):
                found.append(_row(kind, shelf.read(kind, path)))
    if not found:
        raise ShelfError(
            f'nothing on the shelf holds "{" ".join(words)}"; '
            '"tintlab shelf list" names what there is'
        )
    return found


def by_name(shelf: Shelf, name: str, kind: str | None) -> Any:
    """Find a material by name in one kind or in all of them."""
    if kind is not None:
        listing(shelf, kind) if kind not in KINDS else None
        return shelf.find(kind, name)
    names: list[str] = []
    for one in KINDS:
        names += shelf.known(one)
        if name in shelf.known(one):
            return shelf.find(one, name)
    for one in KINDS:
        with contextlib.suppress(ShelfError):
            return shelf.find(one, name)
    raise ShelfError(
        f'asked for "{name}"; {document.nearest(name, names)}'
        'try "tintlab shelf search" with one word of it'
    )


def material_curves(
    material: Any,
) -> tuple[str, dict[str, NDArray[np.float64]]]:
    """Return the axis label and the curves of a material.

    Raises
    ------
    TintlabError
        For a material without a spectrum.
    """
    if isinstance(material, Emitter):
        return "relative power", {material.name: material.power / material.power.max()}
    if isinstance(material, Dye):
        return "absorbance / peak", {material.name: dye_shape(material)}
    if isinstance(material, (Bottle, Ink)):
        parts = {dye.name: share * dye_shape(dye) for dye, share in material.dyes}
        whole = {material.name: colourant_shape(material)}
        return "absorbance / peak", {**whole, **(parts if len(parts) > 1 else {})}
    if isinstance(material, Medium):
        return "refractive index", {"index": material.index}
    if isinstance(material, Wall):
        return "reflectance", {material.name: material.reflectance}
    if isinstance(material, Room):
        return "relative power", {material.white: material.power / material.power.max()}
    raise TintlabError(
        f'asked for a plot of "{material.name}", which has no spectrum; leave out '
        "--plot"
    )


def material_swatch(material: Any) -> str | None:
    """Return how a material looks in daylight, or lit, as sRGB; None without colour.

    Dyes, bottles and inks are shown as a clear filter of peak absorbance 1.
    """
    light = illuminant("D65")
    white = spectrum_to_XYZ(light)[1]
    if isinstance(material, Emitter):
        XYZ = spectrum_to_XYZ(material.power)
        return XYZ_to_swatch(XYZ / XYZ[1] * 0.6).hex
    if isinstance(material, Wall):
        return XYZ_to_swatch(spectrum_to_XYZ(light * material.reflectance) / white).hex
    if isinstance(material, (Dye, Bottle, Ink)):
        curve = next(iter(material_curves(material)[1].values()))
        return XYZ_to_swatch(spectrum_to_XYZ(light * 10**-curve) / white).hex
    if isinstance(material, Region):
        x, y = material.corners.mean(axis=0)
        return XYZ_to_swatch(np.array([x, y, 1 - x - y]) / y * 0.4).hex
    return None


def facts(material: Any) -> Row:
    """Return what the shelf knows of one material, flat."""
    answer: Row = {
        "name": material.name,
        "swatch": material_swatch(material),
        "what": _what(material),
    }
    skip = ("name", "path", "notes", "source", "power", "lobes", "bands", "tabled")
    for key in type(material).__dataclass_fields__:
        value = getattr(material, key)
        if key in skip or isinstance(value, np.ndarray) or value in (None, "", ()):
            continue
        if key == "dyes":
            answer[key] = [f"{dye.name}, share {share:g}" for dye, share in value]
        elif key == "cures" and isinstance(material, Bottle):
            answer[key] = [
                f"{one.cure}: strength {one.strength:.3g} within a factor "
                f"{one.spread:.3g}"
                for one in value
            ]
        else:
            answer[key.replace("dye_class", "class")] = value
    if isinstance(material, Dye) and (
        material.specific_absorbance or material.molar_absorptivity
    ):
        answer["E(1%,1cm)"] = round(specific_absorbance(material), 1)
    if getattr(material, "grade", ""):
        answer["grade"] = material.grade
        raises = LIGHT_RAISES if isinstance(material, Emitter) else RAISES
        answer["to raise it"] = raises[material.grade]
    answer["evidence"] = material.source.kind
    answer.update({"reading": list(material.notes)} if material.notes else {})
    for key in ("citation", "where", "licence", "conditions", "uncertainty", "note"):
        if getattr(material.source, key):
            answer[key] = getattr(material.source, key)
    return answer


def table_text(rows: list[Row]) -> str:
    """Write rows aligned, a swatch first where there is one."""
    if rows and "count" in rows[0]:
        lines = [f"  {row['kind']:<10} {row['count']:>4}" for row in rows]
        return "\n".join([*lines, "", '"tintlab shelf list KIND" names them'])
    width = max(len(row["name"]) for row in rows)
    lines = []
    for row in rows:
        patch = block(row["swatch"], 4) if row["swatch"] else "    "
        mine = " (yours)" if row["own"] else ""
        lines.append(
            f"  {patch} {row['name']:<{width}}  {row['what']}; {row['evidence']}{mine}"
        )
    return "\n".join(lines)


def facts_text(answer: Row) -> str:
    """Write the facts of one material."""
    patch = (
        f"  {block(answer['swatch'])} {answer['swatch']}" if answer["swatch"] else ""
    )
    lines = [f"{answer['name']}{patch}", f"  {answer['what']}"]
    for key, value in answer.items():
        if key in ("name", "swatch", "what"):
            continue
        if isinstance(value, (list, tuple)):
            value = "; ".join(str(v) for v in value)  # noqa: PLW2901
        elif isinstance(value, dict):
            value = "; ".join(  # noqa: PLW2901
                f"{k}: {', '.join(v)}" for k, v in value.items()
            )
        label = key.replace("_", " ")
        lines.append(
            click.wrap_text(
                f"{label}: {value}",
                width=84,
                initial_indent="  ",
                subsequent_indent="      ",
            )
        )
    return "\n".join(lines)
