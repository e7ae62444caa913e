"""Which wavelengths a light has almost nothing of, in numbers and in words.

No dye or film adds light in a starved band, fluorescence aside: a colour that needs
such light takes another emitter.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tintlab.errors import SpectrumError
from tintlab.spectrum import STEP, WAVELENGTHS

Array = NDArray[np.float64]

FIRST, LAST = 400.0, 700.0  # [nm] where a starved band matters


def starved_bands(
    power: ArrayLike, *, threshold: float = 0.05, narrowest: float = 0.0
) -> tuple[tuple[float, float], ...]:
    """Find the wavelengths a light has almost nothing of.

    Parameters
    ----------
    power : array_like, shape (401,)
        Light. [any unit per nm]
    threshold : float
        Share of the peak within 400-700 nm that counts as almost nothing. [-]
    narrowest : float
        Runs whose ends lie less than this apart are passed over. [nm]

    Returns
    -------
    tuple of (start, end)
        First and last starved wavelength of each run inside 400-700 nm. [nm]

    Raises
    ------
    SpectrumError
        When `power` is not a spectrum with some visible light.
    """
    inside = (WAVELENGTHS >= FIRST) & (WAVELENGTHS <= LAST)
    seen, power = WAVELENGTHS[inside], checked_light(power)[inside]
    starved = np.concatenate([[False], power < threshold * power.max(), [False]])
    change = np.flatnonzero(starved[1:] != starved[:-1])
    starts, ends = seen[change[::2]], seen[change[1::2] - 1]
    wide = ends - starts >= narrowest
    return tuple(zip(starts[wide].tolist(), ends[wide].tolist(), strict=True))


def starved_words(
    power: ArrayLike, *, threshold: float = 0.05, narrowest: float = 0.0
) -> str:
    """Say in a sentence what `starved_bands` finds.

    Examples
    --------
    >>> starved_words(np.where(WAVELENGTHS > 640, 0.0, 1.0))
    'this light has almost nothing above 640 nm'
    """
    bands = starved_bands(power, threshold=threshold, narrowest=narrowest)
    if not bands:
        return "this light has some of every colour"
    return "this light has almost nothing " + " and ".join(map(_band_words, bands))


def _band_words(band: tuple[float, float]) -> str:
    """Name one starved band; `starved_bands` stops at 400 and 700 nm."""
    start, end = band
    if start == FIRST:
        return f"below {end + STEP:.0f} nm"
    if end == LAST:
        return f"above {start - STEP:.0f} nm"
    return f"from {start:.0f} to {end:.0f} nm"


def checked_light(power: ArrayLike) -> Array:
    """Return the light as an array, or say what is wrong with it."""
    values = np.asarray(power, dtype=float)
    if values.shape != WAVELENGTHS.shape:
        raise SpectrumError(
            f"asked for the reach of a light of shape {values.shape}; the working grid "
            f"has {WAVELENGTHS.size} values, 380-780 nm; interpolate the light first"
        )
    if not np.isfinite(values).all() or values.min() < 0:
        raise SpectrumError(
            "asked for the reach of a light with negative or missing values; a power "
            "cannot be below 0; mend those rows"
        )
    if not values[(WAVELENGTHS >= FIRST) & (WAVELENGTHS <= LAST)].any():
        raise SpectrumError(
            "asked for the reach of a light that is dark from 400 to 700 nm; no filter "
            "can colour it; give a visible light"
        )
    return values
