"""Films that are not one even layer: coats, gaps in a film, uneven thickness.

A ray meets either a thick or a thin place, so the *transmittance* is averaged over the
area, never the absorbance: an uneven film is paler at its absorption peak than an even
film with the same dye. True while the pattern is coarse against the film's thickness
and fine against the distance to whatever mixes the light.
"""

import numpy as np
from numpy.typing import ArrayLike

from tintlab.errors import ModelError
from tintlab.optics.quadrature import Array


def coats_absorbance(*, first: ArrayLike, coats: ArrayLike, gain: ArrayLike) -> Array:
    """Absorbance of several coats.

    Parameters
    ----------
    first : array_like, shape (..., n_wavelengths)
        Decadic absorbance of the first dry coat. [-]
    coats : array_like, broadcasting with `first`
        Number of coats; below 1 it is a share of the first coat. [-]
    gain : array_like, broadcasting with `first`
        What each further coat adds, over the first; below 1 because a coat
        dissolves some of the one before. [-]

    Returns
    -------
    ndarray, shape (..., n_wavelengths)
        A(n) = A(1) (1 + gain (n - 1)), decadic. [-]

    Raises
    ------
    ModelError
        For a negative absorbance, number of coats or gain.

    Examples
    --------
    >>> print(f"{coats_absorbance(first=0.5, coats=3, gain=0.8):.2f}")
    1.30

    References
    ----------
    The form is assumed; with gain 1 it is the additivity of absorbance.
    """
    A, n, more = _not_negative(absorbance=first, coats=coats, gain=gain)
    return A * np.where(n < 1.0, n, 1.0 + more * (n - 1.0))


def patchy_transmittance(
    *, coverage: ArrayLike, film: ArrayLike, bare: ArrayLike = 1.0
) -> Array:
    """Mean transmittance of a surface that a film covers in part.

    Parameters
    ----------
    coverage : array_like, shape (...)
        Share of the area that is covered, 0 to 1. [-]
    film, bare : array_like, shape (..., n_wavelengths)
        Transmittance of the covered and of the bare area. [-]

    Returns
    -------
    ndarray, shape (..., n_wavelengths)
        Mean over the area. [-]

    Raises
    ------
    ModelError
        If the coverage is not between 0 and 1.

    Examples
    --------
    >>> print(f"{patchy_transmittance(coverage=0.9, film=0.1):.2f}")
    0.19

    References
    ----------
    [1] L. N. M. Duysens, Biochim. Biophys. Acta 19 (1956) 1 (sieve effect).
    """
    f = np.asarray(coverage, dtype=float)
    if not ((f >= 0.0) & (f <= 1.0)).all():
        raise ModelError(
            "asked for a film whose coverage is not between 0 and 1; give the share "
            "of the area that is covered"
        )
    return f * np.asarray(film) + (1.0 - f) * np.asarray(bare)


def uneven_transmittance(*, absorbance: ArrayLike, variation: ArrayLike) -> Array:
    """Mean internal transmittance of a film of uneven thickness.

    Parameters
    ----------
    absorbance : array_like, shape (..., n_wavelengths)
        Decadic absorbance at the mean thickness. [-]
    variation : array_like, broadcasting with `absorbance`
        Standard deviation of the thickness over its mean. [-]

    Returns
    -------
    ndarray, shape (..., n_wavelengths)
        Transmittance averaged over a gamma distribution of thickness,
        (1 + c^2 A ln 10)^(-1 / c^2); 10^-A for c = 0. [-]

    Raises
    ------
    ModelError
        For a negative absorbance or variation.

    Notes
    -----
    The gamma distribution is assumed: positive, with one free width, and its mean
    transmittance is closed (its moment-generating function).

    Examples
    --------
    >>> print(f"{uneven_transmittance(absorbance=1.0, variation=0.3):.4f}")
    0.1234
    """
    A, c = _not_negative(absorbance=absorbance, variation=variation)
    tau = A * np.log(10.0)
    square = np.maximum(c**2, 1e-12)
    return np.exp(np.where(c > 1e-6, -np.log1p(square * tau) / square, -tau))


def _not_negative(**values: ArrayLike) -> list[Array]:
    arrays = []
    for name, value in values.items():
        array = np.asarray(value, dtype=float)
        if not (array >= 0.0).all():
            raise ModelError(
                f"asked for a film with {name} {array.min():g}; it cannot be negative "
                "or missing"
            )
        arrays.append(array)
    return arrays
