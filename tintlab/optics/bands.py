"""Shapes of absorption bands, from a few published numbers.

Bands are Gaussian, or log-normal, in wavenumber, because broadening is one of energy.
A sum of two to four Gaussians follows the measured spectrum of most dyes; a peak and a
width alone do not fix a colour. Nothing is known outside the range of the fit.
"""

import numpy as np
from numpy.typing import ArrayLike

from tintlab.errors import ModelError
from tintlab.optics.quadrature import Array

NM_PER_CM = 1e7  # wavelength in nm times wavenumber in 1/cm


def gaussian_bands(
    *,
    wavelengths: ArrayLike,
    centres: ArrayLike,
    heights: ArrayLike,
    widths: ArrayLike,
) -> Array:
    """Sum of Gaussian bands in wavenumber.

    Parameters
    ----------
    wavelengths : array_like, shape (n_wavelengths,)
        [nm]
    centres : array_like, shape (..., n_bands)
        [nm]
    heights : array_like, shape (..., n_bands)
        In the unit wanted back, relative or absorbance.
    widths : array_like, shape (..., n_bands)
        Full widths at half height. [1/cm]

    Returns
    -------
    ndarray, shape (..., n_wavelengths)
        sum of height exp(-4 ln 2 ((nu - nu0) / width)^2).

    Raises
    ------
    ModelError
        If a wavelength, centre or width is not positive.

    Examples
    --------
    >>> y = gaussian_bands(
    ...     wavelengths=[543.5], centres=[543.5], heights=[0.8], widths=[950]
    ... )
    >>> print(f"{y[0]:.1f}")
    0.8
    """
    nu = NM_PER_CM / _positive(wavelength=wavelengths)
    nu0 = NM_PER_CM / _positive(centre=centres)[..., None]
    W = _positive(width=widths)[..., None]
    y = np.exp(-4.0 * np.log(2.0) * ((nu - nu0) / W) ** 2)
    return (np.asarray(heights, dtype=float)[..., None] * y).sum(axis=-2)


def log_normal_band(
    *, wavelengths: ArrayLike, peak: ArrayLike, width: ArrayLike, skew: ArrayLike
) -> Array:
    """Band of unit height that is steeper on one side, log-normal in wavenumber.

    Parameters
    ----------
    wavelengths : array_like, shape (n_wavelengths,)
        [nm]
    peak : array_like, shape (...)
        [nm]
    width : array_like, shape (...)
        Full width at half height. [1/cm]
    skew : array_like, shape (...)
        Half width on the blue side over that on the red side; 1 is Gaussian. [-]

    Returns
    -------
    ndarray, shape (..., n_wavelengths)
        0 to 1. [-]

    Raises
    ------
    ModelError
        If an argument is not positive.

    References
    ----------
    [1] D. B. Siano and D. E. Metzler, J. Chem. Phys. 51 (1969) 1856; from memory.
    """
    nu = NM_PER_CM / _positive(wavelength=wavelengths)
    nu0 = NM_PER_CM / _positive(peak=peak)[..., None]
    W = _positive(width=width)[..., None]
    rho = _positive(skew=skew)[..., None]
    even = np.abs(rho - 1.0) < 1e-6
    rho = np.where(even, 2.0, rho)
    u = 1.0 + (nu - nu0) * (rho**2 - 1.0) / (rho * W)
    inside = u > 0.0
    ratio = np.log(np.where(inside, u, 1.0)) / np.log(rho)
    skewed = np.where(inside, np.exp(-np.log(2.0) * ratio**2), 0.0)
    gaussian = np.exp(-4.0 * np.log(2.0) * ((nu - nu0) / W) ** 2)
    return np.where(even, gaussian, skewed)


def broadened(
    *, heights: ArrayLike, widths: ArrayLike, factor: ArrayLike
) -> tuple[Array, Array]:
    """Heights and widths of bands broadened at constant area.

    Parameters
    ----------
    heights, widths : array_like, shape (..., n_bands)
        Of the bands in solution.
    factor : array_like, broadcasting with them
        New width over old; a dry film is 1.5 to 3 times broader (assumed, from one
        measured case).

    Returns
    -------
    heights, widths : ndarray, shape (..., n_bands)
        height x width, the area in wavenumber, is kept.

    Raises
    ------
    ModelError
        If the factor is not positive.
    """
    k = _positive(factor=factor)
    return np.asarray(heights, dtype=float) / k, np.asarray(widths, dtype=float) * k


def shifted(*, centres: ArrayLike, peak: ArrayLike, shift: ArrayLike) -> Array:
    """Centres of bands after a spectrum has moved as a whole.

    Parameters
    ----------
    centres : array_like, shape (..., n_bands)
        [nm]
    peak : array_like, shape (...)
        Wavelength at which the shift was read. [nm]
    shift : array_like, shape (...)
        Change of that wavelength; positive is towards the red. [nm]

    Returns
    -------
    ndarray, shape (..., n_bands)
        All moved by the same wavenumber, so that the shape is kept. [nm]

    Raises
    ------
    ModelError
        If a wavelength is not positive before or after.
    """
    old = NM_PER_CM / _positive(peak=peak)
    new = NM_PER_CM / _positive(shifted_peak=np.asarray(peak) + np.asarray(shift))
    nu = NM_PER_CM / _positive(centre=centres) + np.asarray(new - old)[..., None]
    return NM_PER_CM / _positive(shifted_centre=nu)


def _positive(**named: ArrayLike) -> Array:
    ((name, value),) = named.items()
    array = np.asarray(value, dtype=float)
    if not (array > 0.0).all():
        raise ModelError(
            f"asked for an absorption band with {name.replace('_', ' ')} "
            f"{array.min():g}; it must be above 0"
        )
    return array
