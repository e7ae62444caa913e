"""The standard XML format, IES TM-27-14 (.spdx), after a first look that is safe."""

import warnings
from pathlib import Path
from typing import Any, NoReturn
from xml.parsers import expat

import numpy as np

from tintlab.document import read_text
from tintlab.errors import SpectrumError
from tintlab.measured.lines import NUMBERS
from tintlab.measured.record import (
    Columns,
    Measured,
    fail,
    falls,
    measured_from,
    shown,
)

_TM27 = {  # IES TM-27-14, SpectralQuantity, in the words colour-science lists
    **dict.fromkeys(("transmittance", "T-Factor"), "transmittance"),
    **dict.fromkeys(("reflectance", "R-Factor"), "reflectance"),
    **dict.fromkeys(("flux", "intensity", "irradiance", "relative"), "power"),
    **dict.fromkeys(("radiance", "exitance"), "power"),
}


def read_tm27(path: Path, expected: str | None) -> Measured:
    """Read IES TM-27-14 through colour-science; its header is left aside."""
    import colour  # noqa: PLC0415  (costs a second; only this format needs it)

    name = path.name
    numbers = _safe_rows(path)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # holes are refused below, with their line
            spectrum = colour.SpectralDistribution_IESTM2714(str(path)).read()
        values = np.asarray(spectrum.values, dtype=np.float64)
        pairs = np.column_stack([spectrum.wavelengths, values]).astype(np.float64)
    except (ValueError, AssertionError, KeyError, TypeError) as problem:
        raise SpectrumError(
            f"{name} is no TM-27 spectrum that can be read ({shown(str(problem))}); "
            "export it as .csv instead"
        ) from None
    if len(pairs) != len(numbers):
        raise SpectrumError(f"{name} mixes XML namespaces; export it as .csv instead")
    for number, value in zip(numbers, values, strict=True):
        if not np.isfinite(value):
            fail(name, number, "this row lacks a value; mend or remove this row")
    stated = spectrum.spectral_quantity or ""
    if stated == "absorptance":
        raise SpectrumError(
            f"{name} holds absorptance, which is not the decadic absorbance; export "
            "transmittance or absorbance"
        )
    found = _TM27.get(stated, "unknown")
    columns = Columns(
        wavelength=0,
        value=1,
        quantity=found,
        percent=None,
        notes=(f"spectral quantity taken as {found}", *_bandwidth_notes(spectrum)),
    )
    return measured_from(
        name=name,
        numbers=numbers,
        pairs=pairs,
        columns=columns,
        expected=expected,
        notes=columns.notes,
    )


def _bandwidth_notes(spectrum: Any) -> tuple[str, ...]:
    width = spectrum.bandwidth_FWHM
    if width is None or width < 5 or spectrum.bandwidth_corrected:
        return ()
    note = (
        f"measured through a bandpass of {width:g} nm, not corrected; from 5 nm on a "
        "single-colour light can be 4 CIEDE2000 off"
    )
    return (note,)


def _safe_rows(path: Path) -> list[int]:
    """Return the lines of the rows after a first look that is safe.

    Declarations are refused before any is expanded. The bytes go through the same
    parser that reads them later, so that no encoding can hide one from this look.
    """
    name = path.name
    read_text(path, error=SpectrumError)  # for its limits
    parser = expat.ParserCreate()
    rows: list[tuple[int, str]] = []

    def start(tag: str, attributes: dict[str, str]) -> None:
        if tag.rpartition(":")[2] == "SpectralData":
            rows.append((parser.CurrentLineNumber, attributes.get("wavelength", "")))

    def refuse(*_: object) -> NoReturn:
        fail(
            name,
            parser.CurrentLineNumber,
            "this file declares a DOCTYPE or ENTITY, which no spectrum needs; export "
            "it anew",
        )

    parser.StartElementHandler = start
    parser.StartDoctypeDeclHandler = refuse
    parser.EntityDeclHandler = refuse
    try:
        parser.Parse(path.read_bytes(), True)
    except SpectrumError:
        raise
    except (expat.ExpatError, LookupError, ValueError) as problem:
        raise SpectrumError(
            f"{name}:{parser.CurrentLineNumber}: no XML ({problem}); a .spdx file is "
            "XML by IES TM-27; export it anew"
        ) from None
    if not rows:
        raise SpectrumError(
            f"{name} has no row of SpectralData; export the spectrum as .csv instead"
        )
    for number, wavelength in rows:
        if not NUMBERS["."].fullmatch(wavelength.strip()):
            fail(name, number, "this row lacks a wavelength; mend or remove this row")
    numbers = [number for number, _ in rows]
    if falls(name, numbers, np.array([float(wavelength) for _, wavelength in rows])):
        fail(name, numbers[0], "wavelengths fall, which TM-27 does not; sort the rows")
    return numbers
