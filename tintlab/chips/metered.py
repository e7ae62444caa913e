"""Chips that a spectrometer has read: the curve itself, not only its strength.

The transmittance of a whole chip has its two faces taken off, then the body's own
absorption; what is left is the dye. Only clear chips: a grey floor means that the chip
scatters, and a spectrometer without a sphere takes that for absorption.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tintlab.causes import Z95
from tintlab.chips.evidence import KNOWN_DROP, LEAST, Evidence, Gaussian
from tintlab.chips.fit import Interval
from tintlab.chips.ladder import Chip, Ladder, colourants
from tintlab.chips.learn import Learned, with_weighed
from tintlab.chips.unknown import unknowns_of
from tintlab.colourants import Bottle, Colourant
from tintlab.errors import InsetError, TintlabError
from tintlab.inset import Dosed
from tintlab.measured import internal_transmittance, read_measured, to_grid

Array = NDArray[np.float64]

PEAKS = (0.05, 2.5)  # peak absorbances between which a reading is trusted; assumed
READING = 0.01  # deviation of an absorbance; assumed
GREY = (
    0.08  # least absorbance anywhere above which a chip counts as scattering; assumed
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Metered:
    """What spectra teach of one bottle.

    Attributes
    ----------
    learned : Learned
    dye : str
        Name of the dye that the curve becomes.
    curve : ndarray, shape (401,)
        Absorbance, 1 at its maximum. [-]
    notes : tuple of str
    """

    learned: Learned
    dye: str
    curve: Array
    notes: tuple[str, ...]


def is_metered(ladder: Ladder) -> bool:
    """Tell whether the chips were read by a spectrometer.

    Raises
    ------
    InsetError
        When some were and some were not.
    """
    spectra = [chip.sight.kind == "spectrum" for chip in ladder.chips]
    if any(spectra) and not all(spectra):
        raise InsetError(
            f"{ladder.path.name}: some chips have a spectrometer's file and some have "
            "not; write them into two chips files, both count"
        )
    return all(spectra)


def learn_metered(ladder: Ladder) -> tuple[Metered, ...]:
    """Learn strength and curve of every bottle of a ladder of spectra.

    Raises
    ------
    InsetError
        For a chip of several bottles, too pale, too dark or grey, or a file that
        cannot be read.
    """
    ladder, weighed = with_weighed(ladder)
    return tuple(
        _metered(ladder, one, weighed.get(name))
        for name, one in colourants(ladder).items()
    )


def _metered(
    ladder: Ladder, one: Colourant, weighed: tuple[float, float] | None
) -> Metered:
    chips = [
        chip
        for chip in ladder.chips
        if any(d.colourant.name == one.name for d in chip.layer.dosed)
    ]
    if not isinstance(one, Bottle) or not chips:
        raise InsetError(
            f'{ladder.path.name}: "{one.name}" is no bottle in a cast chip; a spectrum '
            "teaches about those only; read the others with a camera or a light meter"
        )
    curves, notes = [], []
    for chip in chips:
        curve, said = _absorbance(ladder, chip)
        curves.append(curve)
        notes += [f"{chip.name}: {note}" for note in said]
    peaks = np.array([curve.max() for curve in curves])
    amounts = np.array([_amount(chip.layer.dosed[0], chip) for chip in chips])
    logs, errors = np.log(peaks / amounts), _errors(ladder, chips, peaks)
    weights = errors**-2 / (errors**-2).sum()
    base = float(np.log(one.strength * (one.width[0] if one.width else 1.0)))
    mean, by_drop = float(weights @ logs), _by_drop(one, chips)
    drop = float(np.log(one.drop_spread) / Z95)
    counted = any(chip.layer.dosed[0].dose.unit == "drops" for chip in chips)
    off = float((errors**-2).sum() ** -0.5)
    off = float(np.hypot(off, drop)) if counted and not by_drop else off
    cures = {chip.layer.cure for chip in chips}
    if len(cures) > 1:
        raise InsetError(
            f'{ladder.path.name}: chips of "{one.name}" cured in two ways, each with '
            "a curve of its own; write them into two chips files"
        )
    evidence = Evidence(
        key=ladder.key,
        cure=cures.pop(),
        chips=ladder.name,
        lot=ladder.lot,
        kind="spectrum",
        doses=tuple(sorted(peaks)),
        strength=Gaussian(mean=mean, deviation=max(off, np.log(LEAST) / Z95 / 2)),
        by_drop=by_drop,
        drop=one.drop,
    )
    shape = np.average(np.array(curves), axis=0, weights=weights)
    inside = Interval(
        middle=mean - base, low=mean - base - Z95 * off, high=mean - base + Z95 * off
    )
    return Metered(
        learned=Learned(prior=one, evidence=evidence, factor=inside, weighed=weighed),
        dye=f"{one.name} measured",
        curve=shape / shape.max(),
        notes=tuple(notes),
    )


def _absorbance(ladder: Ladder, chip: Chip) -> tuple[Array, tuple[str, ...]]:
    """Decadic absorbance of the dye in one chip, shape (401,), and notes."""
    layer, file = chip.layer, chip.sight.file
    if file is None or layer.medium is None or len(layer.dosed) != 1:
        raise InsetError(
            f'{ladder.path.name}: the chip "{chip.name}" has a spectrum and more than '
            "one bottle; cast each by itself"
        )
    try:
        found = read_measured(file, expected="transmittance")
        values, notes = to_grid(found, quantity="transmittance", edges="hold")
        inside = internal_transmittance(values, index=layer.medium.index)
    except TintlabError as problem:
        raise InsetError(
            f'{ladder.path.name}: the chip "{chip.name}": {problem}'
        ) from None
    whole = -np.log10(np.clip(inside, 1e-4, 1.0))
    absorbance = np.clip(whole - layer.medium.absorption * layer.thickness, 0.0, None)
    low, high = PEAKS
    if not low <= absorbance.max() <= high:
        raise InsetError(
            f'{ladder.path.name}: the chip "{chip.name}" has a peak absorbance of '
            f"{absorbance.max():.2f}; {low:g} to {high:g} can be trusted; cast it "
            f"{'paler' if absorbance.max() > high else 'deeper'}"
        )
    if absorbance.min() > GREY:
        raise InsetError(
            f'{ladder.path.name}: the chip "{chip.name}" absorbs '
            f"{absorbance.min():.2f} at its clearest wavelength: it scatters, or its "
            "faces are not clean; measure a clear, polished chip"
        )
    return absorbance, notes


def _amount(dosed: Dosed, chip: Chip) -> float:
    """Dose times thickness. [mm g/kg]"""
    return dosed.per_kg * chip.layer.thickness


def _by_drop(one: Bottle, chips: list[Chip]) -> bool:
    counted = all(chip.layer.dosed[0].dose.unit == "drops" for chip in chips)
    return counted and one.drop_spread > KNOWN_DROP


def _errors(ladder: Ladder, chips: list[Chip], peaks: Array) -> Array:
    """Relative deviation of each chip: its thickness, its dose, its reading."""
    known = unknowns_of(ladder)
    squares = [
        sum(
            u.deviation**2
            for u in known
            if u.kind in ("thickness", "dose") and u.name == chip.name
        )
        for chip in chips
    ]
    return np.sqrt(np.array(squares) + (READING / peaks) ** 2)
