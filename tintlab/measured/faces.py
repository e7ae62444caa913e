"""The two faces of a clear sample, taken off its transmittance."""

import numpy as np
from numpy.typing import ArrayLike

from tintlab.errors import SpectrumError
from tintlab.measured.record import Array


def internal_transmittance(values: ArrayLike, *, index: ArrayLike) -> Array:
    """Take the two faces off the transmittance of a clear slab in air.

    Parameters
    ----------
    values : array_like, shape (..., n_wavelengths)
        Transmittance along the normal with both faces, all bounces collected. [-]
    index : array_like, shape (..., n_wavelengths) or scalar
        Refractive index of the slab. [-]

    Returns
    -------
    ndarray, shape (..., n_wavelengths)
        Internal transmittance [-]; noise may lift it to 1.02, which is left in.

    Raises
    ------
    SpectrumError
        Values outside 0 to 1, an index below 1, or more light than a slab lets pass.

    Notes
    -----
    With R the reflectance of a face and t the internal transmittance [1]_::

        T = (1 - R)^2 t / (1 - R^2 t^2)

    whose positive root is t = 2 T / ((1 - R)^2 + sqrt((1 - R)^4 + 4 R^2 T^2)); in this
    form nothing cancels at small R.

    Examples
    --------
    >>> print(f"{internal_transmittance(0.923, index=1.5):.3f}")
    1.000

    References
    ----------
    .. [1] M. Born and E. Wolf, Principles of Optics: the sum of the incoherent bounces
       between two faces; R for the normal, section 1.5.2.
    """
    T, n = np.asarray(values, dtype=float), np.asarray(index, dtype=float)
    if not ((T >= 0) & (T <= 1)).all() or not (n >= 1).all():
        raise SpectrumError(
            "asked to take the faces off values outside 0 to 1 or with an index below "
            "1; give the transmittance as a ratio and the index of the clear body"
        )
    R = ((n - 1) / (n + 1)) ** 2
    t = 2 * T / ((1 - R) ** 2 + np.sqrt((1 - R) ** 4 + 4 * R**2 * T**2))
    if (t > 1.02).any():
        raise SpectrumError(
            f"the transmittance reaches {T.max():.3f}, more than the faces of this "
            f"body let pass; check its index, or leave this step out if the faces are "
            "off already"
        )
    return t
