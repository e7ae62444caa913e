"""Reflectance of one smooth face between two clear media, for unpolarised light.

Faces are taken as smooth and large against the wavelength, media as non-absorbing over
one wavelength. `n_from` is the index on the side the light comes from; light that
comes from the denser side is reflected totally beyond the critical angle.
"""

import numpy as np
from numpy.typing import ArrayLike

from tintlab.optics.quadrature import Array, gauss


def normal_reflectance(*, n_from: ArrayLike, n_into: ArrayLike) -> Array:
    """Reflectance of a face for light along its normal.

    Parameters
    ----------
    n_from, n_into : array_like, shape (...)
        Refractive indices in the light's direction. [-]

    Returns
    -------
    ndarray, shape (...)
        Reflectance, 0 to 1. [-]

    Examples
    --------
    >>> print(f"{normal_reflectance(n_from=1.0, n_into=1.5):.4f}")
    0.0400

    References
    ----------
    [1] M. Born and E. Wolf, Principles of Optics, section 1.5.2 (Fresnel 1823).
    """
    n1 = np.asarray(n_from, dtype=float)
    n2 = np.asarray(n_into, dtype=float)
    return ((n1 - n2) / (n1 + n2)) ** 2


def oblique_reflectance(
    *, n_from: ArrayLike, n_into: ArrayLike, cosine: ArrayLike
) -> Array:
    """Reflectance of a face for one direction, mean of both polarisations.

    Parameters
    ----------
    n_from, n_into : array_like, shape (...)
        Refractive indices in the light's direction. [-]
    cosine : array_like, shape (...)
        Cosine of the angle to the normal, in the medium the light comes from. [-]

    Returns
    -------
    ndarray, shape (...)
        Reflectance; 1 beyond the critical angle. [-]

    Examples
    --------
    >>> print(f"{oblique_reflectance(n_from=1.0, n_into=1.5, cosine=0.5):.4f}")
    0.0892

    References
    ----------
    [1] M. Born and E. Wolf, Principles of Optics, section 1.5.2 (Fresnel 1823).
    """
    n1 = np.asarray(n_from, dtype=float)
    n2 = np.asarray(n_into, dtype=float)
    m1 = np.asarray(cosine, dtype=float)
    squared = 1.0 - (n1 / n2) ** 2 * (1.0 - m1**2)
    return invariant_reflectance(
        n_from=n1, n_into=n2, cosine_from=m1, cosine_into=np.sqrt(squared.clip(0.0))
    )


def invariant_reflectance(
    *,
    n_from: ArrayLike,
    n_into: ArrayLike,
    cosine_from: ArrayLike,
    cosine_into: ArrayLike,
) -> Array:
    """Reflectance of a face when the cosines on both sides are known.

    Parameters
    ----------
    n_from, n_into : array_like, shape (...)
        Refractive indices. [-]
    cosine_from, cosine_into : array_like, shape (...)
        Cosines of one ray on the two sides, not both 0. [-]

    Returns
    -------
    ndarray, shape (...)
        Reflectance, the same from both sides. [-]
    """
    n1, n2 = np.asarray(n_from, dtype=float), np.asarray(n_into, dtype=float)
    m1, m2 = np.asarray(cosine_from, dtype=float), np.asarray(cosine_into, dtype=float)
    rs = (n1 * m1 - n2 * m2) / (n1 * m1 + n2 * m2)
    rp = (n1 * m2 - n2 * m1) / (n1 * m2 + n2 * m1)
    return (rs**2 + rp**2) / 2.0


def diffuse_reflectance(*, n_from: ArrayLike, n_into: ArrayLike) -> Array:
    """Reflectance of a face for Lambertian light.

    Only true if the light that meets the face is Lambertian *there*: light that
    entered a clear slab from air is not, and comes back at about the outside value.

    Parameters
    ----------
    n_from, n_into : array_like, shape (...)
        Refractive indices in the light's direction. [-]

    Returns
    -------
    ndarray, shape (...)
        Reflectance, 0 to 1. [-]

    Notes
    -----
    From the denser side by reciprocity, 1 - (1 - r) / n^2. The closed form loses all
    its digits as n nears 1; below 1.02 the Fresnel formula is summed instead.

    Examples
    --------
    >>> print(f"{diffuse_reflectance(n_from=1.0, n_into=1.5):.5f}")
    0.09178
    >>> print(f"{diffuse_reflectance(n_from=1.5, n_into=1.0):.5f}")
    0.59635

    References
    ----------
    [1] J. W. T. Walsh (1926) and S. Q. Duntley, J. Opt. Soc. Am. 32 (1942) 61.
    [2] S. A. Prahl, Light transport in tissue, thesis (1988), eq. B.41.
    """
    ratio = np.asarray(n_into, dtype=float) / np.asarray(n_from, dtype=float)
    n = np.maximum(ratio, 1.0 / ratio)
    far = np.maximum(n, 1.02)
    outside = np.where(n < 1.02, _summed(n), _walsh(far))
    return np.where(ratio >= 1.0, outside, 1.0 - (1.0 - outside) / n**2)


def _walsh(n: Array) -> Array:
    """Return the closed form for Lambertian light from the thinner side, n > 1."""
    return (
        1.0 / 2.0
        + (n - 1) * (3 * n + 1) / (6 * (n + 1) ** 2)
        + n**2 * (n**2 - 1) ** 2 / (n**2 + 1) ** 3 * np.log((n - 1) / (n + 1))
        - 2 * n**3 * (n**2 + 2 * n - 1) / ((n**2 + 1) * (n**4 - 1))
        + 8 * n**4 * (n**4 + 1) / ((n**2 + 1) * (n**4 - 1) ** 2) * np.log(n)
    )


def _summed(n: Array) -> Array:
    """Sum 2 m R(m) dm with m = u^4, which resolves grazing light."""
    u, weight = gauss(48)
    m = u**4
    r = oblique_reflectance(n_from=1.0, n_into=n[..., None], cosine=m)
    return (8 * u**7 * r) @ weight
