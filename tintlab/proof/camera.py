"""A camera as it records a scene: sensor, clipping, white balance, colour matrix.

The order is the camera's own: light falls on a sensor that saturates, the channels are
scaled so that the white comes out neutral, what is then above the white is cut (so that
a burnt-out white is white, common practice), a 3x3 matrix brings them to the colours of
the picture, and what the picture cannot hold is cut channel by channel. So a bright
vivid glow changes its hue on the way, as it does on a phone.

Raw values count in a channel's own saturation: 1 is full.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tintlab.colorimetry import (
    camera_sensitivities,
    patch_reflectances,
    spectrum_to_XYZ,
    tables,
)
from tintlab.errors import ModelError
from tintlab.proof.eye import adaptation
from tintlab.spectrum import WAVELENGTHS

Array = NDArray[np.float64]

PLANCK = 1.4388e7  # second radiation constant c_2 of ITS-90 [nm K]
KELVINS = (1500.0, 25000.0)  # [K] of a white balance that makes sense


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Camera:
    """A camera set to one white.

    Attributes
    ----------
    sensitivities : ndarray, shape (3, 401)
        Of red, green and blue, relative.
    gains : ndarray, shape (3,)
        Of the white balance; the least is 1. [-]
    matrix : ndarray, shape (3, 3)
        Balanced raw values to linear red, green and blue of the picture; its rows
        sum to 1, so that white stays white.
    """

    sensitivities: Array
    gains: Array
    matrix: Array


def camera(white: ArrayLike, *, to_XYZ: ArrayLike | None = None) -> Camera:
    """Set the measured camera to a white.

    Parameters
    ----------
    white : array_like, shape (401,)
        Spectrum that shall come out neutral. [any unit per nm]
    to_XYZ : array_like, shape (3, 3), optional
        Linear colours of the picture to XYZ (D65 at Y = 1); sRGB unless given.

    Returns
    -------
    Camera
    """
    sensitivities = camera_sensitivities()[0]
    return Camera(
        sensitivities=sensitivities,
        gains=balance_gains(sensitivities, white),
        matrix=colour_matrix(
            sensitivities,
            white,
            to_XYZ=tables().rgb_to_XYZ if to_XYZ is None else to_XYZ,
        ),
    )


def balance_gains(sensitivities: ArrayLike, white: ArrayLike) -> Array:
    """Scale the channels so that a white comes out neutral; the least gain is 1."""
    raw = np.asarray(sensitivities, dtype=float) @ np.asarray(white, dtype=float)
    if not (raw > 0).all():
        raise ModelError(
            "asked for a white balance under a light that a channel of the camera does "
            "not see at all; choose another room or a white balance in kelvin"
        )
    return np.asarray(raw.max() / raw)


def colour_matrix(
    sensitivities: ArrayLike, white: ArrayLike, *, to_XYZ: ArrayLike
) -> Array:
    """Fit the matrix from balanced raw values to the colours of a picture.

    Least squares over the 24 patches of the chart of ISO 17321-1 under the white, on
    linear light, with white held exactly (a camera maker's usual way).

    Parameters
    ----------
    sensitivities : array_like, shape (3, 401)
    white : array_like, shape (401,)
    to_XYZ : array_like, shape (3, 3)
        Linear colours of the picture to XYZ.

    Returns
    -------
    ndarray, shape (3, 3)
    """
    white = np.asarray(white, dtype=float)
    seen = patch_reflectances() * white
    raw = seen @ np.asarray(sensitivities, dtype=float).T
    raw = raw / (np.asarray(sensitivities, dtype=float) @ white)
    XYZ_white = spectrum_to_XYZ(white)
    XYZ = spectrum_to_XYZ(seen) / XYZ_white[1]
    XYZ = XYZ @ adaptation(XYZ_white, tables().white).T
    wanted = XYZ @ np.linalg.inv(np.asarray(to_XYZ, dtype=float)).T
    # rows sum to 1: m_R + m_G + m_B = 1 leaves two unknowns for each row
    free, *_ = np.linalg.lstsq(
        raw[:, [0, 2]] - raw[:, [1]], wanted - raw[:, [1]], rcond=None
    )
    red, blue = free
    return np.stack([red, 1 - red - blue, blue], axis=-1)


def develop(
    raw: ArrayLike, camera: Camera, *, already: ArrayLike | float = 0.0
) -> Array:
    """Turn raw values into the linear colours of a picture, clipping in order.

    Parameters
    ----------
    raw : array_like, shape (..., 3)
        Over the saturation of each channel; may be above 1. [-]
    camera : Camera
    already : array_like, shape (..., 3) or float
        What a photo shows at this place: it has been through a camera once and is not
        cut again. [-]

    Returns
    -------
    ndarray, shape (..., 3)
        0 to 1. [-]
    """
    already = np.asarray(already, dtype=float)
    low, high = np.minimum(already, 0.0), np.maximum(already, 1.0)
    recorded = np.clip(raw, low, high)  # the sensor saturates
    white = np.maximum(camera.gains * already, 1.0)
    balanced = np.minimum(camera.gains * recorded, white)  # burnt-out is white
    return np.clip(balanced @ camera.matrix.T, 0.0, 1.0)  # what a picture holds


def black_body(kelvin: float) -> Array:
    """Return the spectrum of a black body (Planck's law), 1 at 560 nm, shape (401,).

    Raises
    ------
    ModelError
        For a temperature that is no white.
    """
    if not KELVINS[0] <= kelvin <= KELVINS[1]:
        raise ModelError(
            f"asked for a white balance of {kelvin:g} K; choose one between "
            f"{KELVINS[0]:g} and {KELVINS[1]:g} K"
        )

    def planck(wavelengths: Array | float) -> Array:
        return np.asarray(wavelengths**-5.0 / np.expm1(PLANCK / (wavelengths * kelvin)))

    return np.asarray(planck(WAVELENGTHS) / planck(560.0))


def longest_time(*, luminance: float, iso: float, aperture: float) -> float:
    """Exposure time that just fills the sensor. [s]

    Saturation-based speed, H_sat = 78 / S (ISO 12232:2019, 6.2, from memory), and
    H = 0.65 L t / N^2 for a usual lens at far focus (common practice; the same
    standard's annex).

    Parameters
    ----------
    luminance : float
        [cd/m2]
    iso : float
        S, as set. [-]
    aperture : float
        N, the f-number. [-]
    """
    return 78.0 / iso * aperture**2 / (0.65 * luminance)
