"""What tints: dyes, bottles and inks, and the shapes of their absorbance.

A dye is bands in wavenumber, a log-normal band or a table; a bottle or an ink mixes
dyes. Spreads are given as the factor between the median and the 5 % or 95 % point of a
log-normal distribution.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tintlab.errors import ShelfError
from tintlab.materials import Material
from tintlab.optics import gaussian_bands, log_normal_band
from tintlab.spectrum import WAVELENGTHS

Array = NDArray[np.float64]

GRADES = ("label-only", "chipped", "laddered", "metered")
DYE_CLASSES = (
    *("azo", "disazo", "anthraquinone", "perinone", "phthalocyanine"),
    *("triarylmethane", "xanthene", "thiazine", "oxazine", "coumarin"),
    *("quinophthalone", "methine", "thioindigoid", "indigoid", "perylene"),
    *("natural", "other"),
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Dye(Material):
    """A colourant substance.

    Attributes
    ----------
    dye_class, hue, uses, fluoresces, fades, colour_index, number
        What it is, chemically and for the maker.
    peak : float
        Wavelength of the absorption maximum. [nm]
    molar_absorptivity, molar_mass, specific_absorbance : float or None
        [L/(mol cm)], [g/mol], E(1%,1cm): absorbance of 10 g/L in 1 cm [-].
    strength_spread : float
        5-95 % factor of the strength. [-]
    form : str
        "bands", "log-normal" or "table".
    bands : ndarray, shape (n, 3)
        Centre [nm], height [-], FWHM [1/cm] of Gaussians in wavenumber.
    tabled : ndarray, shape (401,) or (0,)
        Relative absorbance of a measured dye. [-]
    valid : tuple of float
        Range that the source covers. [nm]
    shift, broadening : float
        One standard deviation of the unknown band shift in a solid [nm]; 5-95 %
        factor of the unknown width [-].
    delta_e : float
        CIEDE2000 at peak absorbance 1 that the evidence for the shape leaves open.
    """

    dye_class: str
    hue: str
    uses: tuple[str, ...]
    peak: float
    form: str
    bands: Array
    tabled: Array
    valid: tuple[float, float]
    width: float = 0.0
    skew: float = 1.0
    floor: float = 0.0
    second: tuple[float, float] | None = None
    fluoresces: bool = False
    fades: str = "medium"
    colour_index: str = ""
    number: str = ""
    molar_absorptivity: float | None = None
    molar_mass: float | None = None
    specific_absorbance: float | None = None
    strength_spread: float = 3.0
    shift: float = 5.0
    broadening: float = 1.2
    delta_e: float = 5.0


FLOOR_AT, FLOOR_WIDTH = 400.0, 5000.0  # [nm], [1/cm]; wide violet component, assumed
_WIDE = np.arange(340.0, 800.0)  # [nm] where the maximum of a dye may lie
SMOOTH = 4.0  # exponent that joins the bands of a log-normal dye; assumed


def dye_shape(
    dye: Dye,
    *,
    shift: ArrayLike = 0.0,
    broadening: ArrayLike = 1.0,
    wavelengths: ArrayLike = WAVELENGTHS,
) -> Array:
    """Return the absorbance of a dye relative to its own maximum.

    Parameters
    ----------
    dye : Dye
    shift : array_like, shape (...)
        Moves every band towards the red. [nm]
    broadening : array_like, shape (...)
        Widens every band at constant area, so that the maximum falls. [-]
    wavelengths : array_like, shape (n,)
        [nm]

    Returns
    -------
    ndarray, shape (..., n)
        1 at the maximum, which may lie below 380 nm, when `broadening` is 1. [-]
    """
    wavelengths = np.asarray(wavelengths, dtype=float)
    shift, broadening = np.broadcast_arrays(
        np.asarray(shift, dtype=float), np.asarray(broadening, dtype=float)
    )
    if dye.form == "table":
        wide = broadening[..., None]
        at = (wavelengths - dye.peak - shift[..., None]) / wide + dye.peak
        return np.interp(at, WAVELENGTHS, dye.tabled) / wide
    plain = _dye_bands(dye, _WIDE, np.zeros(()), np.ones(()))
    return _dye_bands(dye, wavelengths, shift, broadening) / plain.max()


def _dye_bands(dye: Dye, wavelengths: Array, shift: Array, broadening: Array) -> Array:
    if dye.form == "bands":
        centre, height, width = dye.bands.T
        return gaussian_bands(
            wavelengths=wavelengths,
            centres=centre + shift[..., None],
            heights=height / broadening[..., None],
            widths=width * broadening[..., None],
        )
    peaks = [(dye.peak, 1.0), *([dye.second] if dye.second else [])]
    parts = [
        height
        / broadening[..., None]
        * log_normal_band(
            wavelengths=wavelengths,
            peak=peak + shift,
            width=dye.width * broadening,
            skew=dye.skew,
        )
        for peak, height in peaks
    ]
    floor = gaussian_bands(
        wavelengths=wavelengths,
        centres=[FLOOR_AT],
        heights=[dye.floor],
        widths=[FLOOR_WIDTH],
    )
    # a smooth larger-of: neighbouring maxima keep their heights and meet without a cusp
    total = floor**SMOOTH + sum(part**SMOOTH for part in parts)
    return np.asarray(total ** (1 / SMOOTH))


def specific_absorbance(dye: Dye) -> float:
    """Return E(1%,1cm), the peak absorbance of 10 g/L in 1 cm.

    E = 10 eps / M, with the molar absorptivity eps in L/(mol cm) and the molar mass M
    in g/mol (definition; the EU purity criteria for food colours print both).

    Raises
    ------
    ShelfError
        When the file gives neither E nor eps and M.
    """
    if dye.specific_absorbance is not None:
        return dye.specific_absorbance
    if dye.molar_absorptivity is None or dye.molar_mass is None:
        raise ShelfError(
            f'asked for the strength of the dye "{dye.name}"; its file gives no '
            "specific_absorbance and no molar_absorptivity with molar_mass; add one, "
            "or dose a bottle instead"
        )
    return 10 * dye.molar_absorptivity / dye.molar_mass


def dye_strength(dye: Dye, *, density: float) -> float:
    """Return the peak absorbance per mm for 1 g of dye per kg of body.

    Parameters
    ----------
    dye : Dye
    density : float
        Of the body. [g/cm3]

    Returns
    -------
    float
        Decadic. [1/mm per g/kg]
    """
    grams_per_litre = density  # of 1 g/kg in a body of that density
    return specific_absorbance(dye) / 10 * grams_per_litre / 10


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Colourant(Material):
    """A mixture of dyes: the base of `Bottle` and `Ink`.

    Attributes
    ----------
    hue : str
    dyes : tuple of (Dye, float)
        Each dye with its share of the absorbance, at each dye's own maximum.
    spread : float
        5-95 % factor of the strength. [-]
    grade : str
        One of `GRADES`.
    shift : (float, float) or None
        Band shift learned from chips and its standard deviation; None leaves both to
        the dyes. [nm]
    width : (float, float) or None
        Bandwidth over that of the dyes, and its 5-95 % factor; None as above. [-]
    """

    hue: str
    dyes: tuple[tuple[Dye, float], ...]
    spread: float = 3.0
    grade: str = "label-only"
    shift: tuple[float, float] | None = None
    width: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Cured:
    """What a bottle is in one cure that is not the one of its other numbers.

    Attributes
    ----------
    cure : str
    strength, spread : float
        As those of `Bottle`.
    shift : (float, float) or None
        As that of `Colourant`. [nm]
    """

    cure: str
    strength: float
    spread: float
    shift: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bottle(Colourant):
    """A maker's own container of liquid dye.

    Attributes
    ----------
    strength : float
        Decadic peak absorbance per mm for 1 g of liquid per kg of body.
        [1/mm per g/kg]
    density : float
        Of the liquid. [g/mL]
    drop, drop_spread : float
        Mass of one drop [g] and its 5-95 % factor [-].
    carrier, lot, date : str
    bath_rate, bath_saturation : float
        Of a dye bath: peak absorbance per face and square root of minute
        [1/sqrt(min)], and peak absorbance per mm at saturation [1/mm].
    cure : str
        Of the chips that taught strength and shift; empty when none did.
    cures : tuple of Cured
        What other chips taught of other cures.
    """

    strength: float
    density: float = 0.9
    drop: float = 0.025
    drop_spread: float = 1.3
    carrier: str = ""
    lot: str = ""
    date: str = ""
    bath_rate: float = 0.1
    bath_saturation: float = 4.0
    cure: str = ""
    cures: tuple[Cured, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ink(Colourant):
    """An alcohol ink or lacquer that is laid on in coats.

    Attributes
    ----------
    peak_absorbance : float
        Decadic, of the first dry coat. [-]
    gain : float
        What each further coat adds, relative to the first. [-]
    unevenness : float
        Coefficient of variation of the coats' thickness. [-]
    broadening : float
        Bandwidth in the dry film over that in solution, at constant area. [-]
    """

    peak_absorbance: float
    gain: float = 0.8
    unevenness: float = 0.3
    broadening: float = 1.0


def colourant_shape(
    colourant: Colourant,
    *,
    shift: ArrayLike = 0.0,
    broadening: ArrayLike = 1.0,
    wavelengths: ArrayLike = WAVELENGTHS,
) -> Array:
    """Return absorbance relative to the stated peak absorbance.

    The film of an ink is broader than its dyes in solution (constant area); the
    result is scaled so that its maximum within 380-780 nm is the stated one.

    Parameters
    ----------
    colourant : Colourant
    shift, broadening, wavelengths
        As for `dye_shape`.

    Returns
    -------
    ndarray, shape (..., n)
    """
    own = own_width(colourant)
    here = colourant.shift[0] if colourant.shift else 0.0

    def mixed(shift: ArrayLike, broadening: ArrayLike, at: ArrayLike) -> Array:
        total = sum(
            share * dye_shape(dye, shift=shift, broadening=broadening, wavelengths=at)
            for dye, share in colourant.dyes
        )
        return np.asarray(total)

    peak = mixed(here, own, WAVELENGTHS).max()
    moved, wide = here + np.asarray(shift), own * np.asarray(broadening)
    return mixed(moved, wide, wavelengths) / peak


# how far a dye that the cure leaves whole may differ from one cure to another; assumed
CURED_SPREAD, CURED_SHIFT = 1.25, 4.0  # 5-95 % factor of the strength [-]; [nm]


def in_cure(bottle: Bottle, cure: str) -> Bottle:
    """Return a bottle as it is in one cure.

    Chips teach what a dye is in the cure that they were cast in: a hardener may bleach
    part of it and its bands move a little. In another cure its strength and its shift
    are less sure, unless chips of that cure were read, too.

    Parameters
    ----------
    bottle : Bottle
    cure : str
        "amine", "peroxide", ...; empty when it is not known.

    Returns
    -------
    Bottle
        The same when chips of this cure taught it, or none did. It is known in this
        cure only.
    """
    if not cure or not bottle.cure or cure == bottle.cure:
        return bottle
    for one in bottle.cures:
        if one.cure == cure:
            return replace(
                bottle,
                cure=cure,
                strength=one.strength,
                spread=one.spread,
                shift=one.shift,
            )
    shift, _ = shape_spread(bottle)
    wider = np.hypot(np.log(bottle.spread), np.log(CURED_SPREAD))
    here = bottle.shift[0] if bottle.shift else 0.0
    metered = bottle.grade == "metered"  # in the one cure, not in this
    return replace(
        bottle,
        cure=cure,
        spread=float(np.exp(wider)),
        shift=(here, float(np.hypot(shift, CURED_SHIFT))),
        grade="laddered" if metered else bottle.grade,
    )


def own_width(colourant: Colourant) -> float:
    """Bandwidth over that of the dyes in solution: of a dry film, and as learned."""
    film = colourant.broadening if isinstance(colourant, Ink) else 1.0
    return film * (colourant.width[0] if colourant.width else 1.0)


def shape_spread(colourant: Colourant | Dye) -> tuple[float, float]:
    """How unsure bands are: deviation of their shift [nm], 5-95 % factor of width.

    What chips taught counts before what the dyes' files leave open; a metered
    colourant has no such doubt.
    """
    if isinstance(colourant, Colourant) and colourant.grade == "metered":
        return 0.0, 1.0
    shift = max(dye.shift for dye in dyes_of(colourant))
    width = max(dye.broadening for dye in dyes_of(colourant))
    if isinstance(colourant, Colourant):
        shift = colourant.shift[1] if colourant.shift else shift
        width = colourant.width[1] if colourant.width else width
    return shift, width


def dyes_of(colourant: Colourant | Dye) -> tuple[Dye, ...]:
    """Return the dyes of a bottle or an ink, or a dye by itself."""
    if isinstance(colourant, Dye):
        return (colourant,)
    return tuple(dye for dye, _ in colourant.dyes)


def shape_of(
    colourant: Colourant | Dye,
    *,
    shift: ArrayLike = 0.0,
    broadening: ArrayLike = 1.0,
    wavelengths: ArrayLike = WAVELENGTHS,
) -> Array:
    """Return `dye_shape` or `colourant_shape`, whichever belongs to it."""
    moved = {"shift": shift, "broadening": broadening, "wavelengths": wavelengths}
    if isinstance(colourant, Dye):
        return dye_shape(colourant, **moved)
    return colourant_shape(colourant, **moved)


def unmeasured(colourant: Colourant | Dye) -> bool:
    """Whether nothing but a label speaks for a bottle or an ink."""
    return isinstance(colourant, Colourant) and colourant.grade == "label-only"
