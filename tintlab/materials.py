"""What a lit inset is made of: frozen records and the few functions that read them.

Records hold what a file of the shelf says, in the units of the glossary; the
functions turn them into spectra on the working grid. What tints is in
`tintlab.colourants`.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tintlab.spectrum import WAVELENGTHS, Source

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Material:
    """What every record of the shelf has.

    Attributes
    ----------
    name : str
    source : Source
    path : str
        Of the file that it was read from.
    caution : str
        What can hurt; "" when nothing special is known.
    notes : tuple of str
        What was made of a measured file that it names.
    """

    name: str
    source: Source
    path: str = ""
    caution: str = ""
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Emitter(Material):
    """A light-emitting diode.

    Attributes
    ----------
    kind : str
        "white", "single colour" or "mixed".
    power : ndarray, shape (401,)
        Relative radiant power at the reference junction temperature. [1/nm]
    lobes : ndarray, shape (n, 5)
        Peak [nm], FWHM [nm], relative power [-], peak shift [nm/K], relative power
        change [1/K] of each Gaussian lobe; no rows for a tabled spectrum.
    steps : float
        Bin radius in steps of 0.0011 in u'v' (CIE TN 001:2014). [-]
    peak_spread : float
        Half width of the bin of a single-colour emitter. [nm]
    beam : float
        Full angle at half intensity. [deg]
    reference_temperature : float
        Junction temperature of `power`. [C]
    forward_voltage, efficacy : float
        Typical. [V], [lm/W electrical]
    colour_temperature : float or None
        Nominal. [K]
    grade, date : str
        Of the evidence for a light that a maker kept; empty for shipped ones.
    """

    kind: str
    power: Array
    lobes: Array
    steps: float = 5.0
    peak_spread: float = 0.0
    beam: float = 120.0
    reference_temperature: float = 25.0
    forward_voltage: float = 3.0
    efficacy: float | None = None
    colour_temperature: float | None = None
    grade: str = ""
    date: str = ""


def lobes_power(lobes: ArrayLike, *, warmer: float = 0.0, shift: float = 0.0) -> Array:
    """Sum the Gaussian lobes of a light-emitting diode.

    Parameters
    ----------
    lobes : array_like, shape (n, 5)
        As `Emitter.lobes`.
    warmer : float
        Junction temperature above the reference. [K]
    shift : float
        Shift of every peak within the bin. [nm]

    Returns
    -------
    ndarray, shape (401,)
        Relative radiant power. [1/nm]
    """
    peak, width, power, per_kelvin, change = np.asarray(lobes, dtype=float).T[..., None]
    peak = peak + per_kelvin * warmer + shift
    power = power * np.clip(1 + change * warmer, 0.0, None)
    shape = np.exp(-4 * np.log(2) * ((WAVELENGTHS - peak) / width) ** 2)
    return np.asarray((power * shape / width).sum(axis=0))


def emitter_power(emitter: Emitter, *, junction: float | None = None) -> Array:
    """Return the relative power of an emitter at a junction temperature [C].

    A tabled white has no temperature model and is returned as it is.
    """
    if junction is None or not emitter.lobes.size:
        return emitter.power
    return lobes_power(emitter.lobes, warmer=junction - emitter.reference_temperature)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Medium(Material):
    """A clear body material.

    Attributes
    ----------
    kind : str
        "cast", "sheet" or "both".
    index : ndarray, shape (401,)
        Refractive index. [-]
    absorption : ndarray, shape (401,)
        Internal, decadic. [1/mm]
    density : float
        [g/cm3]
    scattering, anisotropy : float
        Napierian scattering coefficient [1/mm] and mean cosine [-].
    haze, loading_limit, pour_depth, bath_limit : float or None
        Ratio [-], ratio of total mass [-], [mm], [C]; a bath limit of 0 says that it
        takes no dye from a bath.
    cures : dict
        Cure name to the dye classes that it may harm.
    """

    kind: str
    index: Array
    absorption: Array
    density: float
    scattering: float = 0.0
    anisotropy: float = 0.9
    haze: float = 0.0
    thickness: tuple[float, float] = (1.0, 25.0)
    loading_limit: float | None = None
    pour_depth: float | None = None
    bath_limit: float | None = None
    cures: dict[str, tuple[str, ...]]


def sellmeier_index(*, B: ArrayLike, C: ArrayLike) -> Array:
    """n^2 = 1 + sum B L^2 / (L^2 - C), L in um (Sellmeier 1871), shape (401,)."""
    square = (WAVELENGTHS[:, None] / 1000) ** 2
    return np.sqrt(1 + (np.asarray(B) * square / (square - np.asarray(C))).sum(axis=1))


def abbe_index(*, d: float, abbe: float) -> Array:
    """Two-term Cauchy law through n_d and V_d = (n_d - 1)/(n_F - n_C), shape (401,).

    Parameters
    ----------
    d : float
        Index at 587.56 nm. [-]
    abbe : float
        Abbe number of the lines F 486.13, d 587.56, C 656.27 nm. [-]
    """
    line_F, line_d, line_C = 486.13, 587.56, 656.27
    slope = (d - 1) / abbe / (line_F**-2 - line_C**-2)
    return d + slope * (WAVELENGTHS**-2 - line_d**-2)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Wall(Material):
    """Inside of the box: spectral reflectance, shape (401,). [-]"""

    reflectance: Array
    finish: str = "matt"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Diffuser(Material):
    """A scattering sheet or face.

    Attributes
    ----------
    index, anisotropy : float
        [-]
    thickness : float
        [mm]
    scattering, absorption : float
        Napierian. [1/mm]
    """

    index: float
    thickness: float
    scattering: float
    anisotropy: float
    absorption: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Room(Material):
    """Where the piece is seen.

    Attributes
    ----------
    illuminance : float
        On the face of the piece. [lx]
    power : ndarray, shape (401,)
        Relative spectrum of the room light.
    white : str
        What the room light is, in words.
    surround : str
        "dark", "dim" or "average".
    """

    illuminance: float
    power: Array
    white: str
    surround: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Region(Material):
    """A published region of chromaticity.

    Attributes
    ----------
    corners : ndarray, shape (n, 2)
        x, y of the corners in order.
    """

    corners: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Battery(Material):
    """One cell of a kind of battery.

    Attributes
    ----------
    nominal_voltage, cut_off : float
        As printed on it; under load, when it counts as empty. [V]
    spread : float
        5-95 % factor of the capacity. [-]
    most_current : float or None
        Usual ceiling of a steady load. [mA]
    capacity : ndarray, shape (n, 2)
        Load [mA] and what it can draw in all [mAh].
    discharge : ndarray, shape (n, 3)
        Share drawn [-], open voltage [V], inner resistance [ohm].
    """

    nominal_voltage: float
    cut_off: float
    spread: float
    most_current: float | None
    capacity: Array
    discharge: Array
