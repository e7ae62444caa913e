"""Stray light in the eye: the veil that a bright inset lays over what is near it.

A point of light that gives the illuminance E at the eye [lx] veils a place at the
angle theta from it with the luminance L_v = E f(theta) [cd/m2]. f is taken the same
for all wavelengths, which holds below 30 degrees. Nothing is known here of glare that
annoys without veiling.

References
----------
.. [1] CIE 146:2002, CIE equations for disability glare. The equations are quoted from
   secondary sources (Vos, Clin. Exp. Optom. 86 (2003) 363-370); their ranges from the
   abstract that CIE publishes.
"""

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import fft

from tintlab.errors import ModelError

Array = NDArray[Any]  # of float64, or of float32 when that is given

NEAREST, FARTHEST = 0.1, 100.0  # [deg] range of the general equation
HOLLADAY = (1.0, 30.0)  # [deg] range of the Stiles-Holladay equation
MOST_PIXELS = 800  # on the longer side of the picture that is scattered
FINE = 8  # cells about the centre whose share is summed finely
PARTS = 16  # of such a cell, each way
_BAND = 16  # rows of a picture that are worked on together


def general(angle: ArrayLike, *, age: float = 30.0, pigment: float = 0.5) -> Array:
    """Veiling luminance for each lux at the eye, general equation [1]_.

    Parameters
    ----------
    angle : array_like, shape (...)
        Between the source and the place that is veiled, 0.1 to 100. [deg]
    age : float
        A, of the viewer. [years]
    pigment : float
        p: 0 black, 0.5 brown, 1 light, 1.2 very light eyes. [-]

    Returns
    -------
    ndarray, shape (...)
        L_v / E. [(cd/m2)/lx]

    Raises
    ------
    ModelError
        Outside of its range.

    Examples
    --------
    >>> print(f"{general(10.0, age=70.0, pigment=1.0):.6f}")
    0.166911
    """
    th = _within(angle, NEAREST, FARTHEST, "general")
    return _general(th, age, pigment)


def _general(th: Array, A: float, p: float) -> Array:
    steep = 10 / th**3
    scatter = (5 / th**2 + 0.1 * p / th) * (1 + (A / 62.5) ** 4)
    return np.asarray(steep + scatter + 0.0025 * p)


def stiles_holladay(angle: ArrayLike, *, age: float = 30.0) -> Array:
    """Veiling luminance for each lux, age-adjusted Stiles-Holladay equation [1]_.

    Parameters
    ----------
    angle : array_like, shape (...)
        1 to 30. [deg]
    age : float
        A, of the viewer. [years]

    Returns
    -------
    ndarray, shape (...)
        L_v / E. [(cd/m2)/lx]
    """
    th = _within(angle, *HOLLADAY, "Stiles-Holladay")
    return np.asarray(10 * (1 + (age / 70) ** 4) / th**2)


def _within(angle: ArrayLike, low: float, high: float, name: str) -> Array:
    th = np.asarray(angle, dtype=float)
    if not ((th >= low) & (th <= high)).all():
        raise ModelError(
            f"asked for glare at {np.min(th):g} to {np.max(th):g} degrees; the {name} "
            f"equation holds from {low:g} to {high:g}; stay within"
        )
    return th


def spread(angle: ArrayLike, *, age: float = 30.0, pigment: float = 0.5) -> Array:
    """Share of a source's light that the eye scatters, for each steradian.

    The general equation per lux is the same per steradian: a source of luminance L
    and solid angle dW gives E = L dW. Within 0.1 degree, where the equation ends, it
    is held at its value there, and beyond 100 degrees it is 0: both assumed. What is
    then missing to 1 stays in place.

    Parameters
    ----------
    angle : array_like, shape (...)
        [deg]
    age, pigment : float
        As in `general`.

    Returns
    -------
    ndarray, shape (...)
        [1/sr]
    """
    th = np.asarray(angle, dtype=float)
    inside = _general(np.clip(th, NEAREST, FARTHEST), age, pigment)
    return np.where(th <= FARTHEST, inside, 0.0)


def veil_of(
    angle: ArrayLike, *, illuminance: float, age: float = 30.0, pigment: float = 0.5
) -> Array:
    """Veiling luminance at angles from a small source. [cd/m2]

    Parameters
    ----------
    angle : array_like, shape (...)
        From the middle of the source, 0.1 to 100. [deg]
    illuminance : float
        E of the source at the eye. [lx]
    age, pigment : float
        As in `general`.
    """
    return illuminance * general(angle, age=age, pigment=pigment)


def drowned_angle(
    *, illuminance: float, luminance: float, age: float = 30.0, pigment: float = 0.5
) -> float:
    """Angle from a small source within which its veil outshines something. [deg]

    Parameters
    ----------
    illuminance : float
        E of the source at the eye. [lx]
    luminance : float
        Of what is veiled. [cd/m2]

    Returns
    -------
    float
        0 when the veil is weaker everywhere beyond 0.1 degree.
    """
    th = np.geomspace(NEAREST, FARTHEST, 2000)
    over = veil_of(th, illuminance=illuminance, age=age, pigment=pigment) > luminance
    return float(th[over].max()) if over.any() else 0.0


def stronger(angle: float, *, age: float, than: float, pigment: float = 0.5) -> float:
    """Veil for a viewer of one age over that for one of another. [-]"""
    veils = [general(angle, age=years, pigment=pigment) for years in (age, than)]
    return float(veils[0] / veils[1])


def scattered(
    light: ArrayLike, *, degrees_per_pixel: float, age: float, pigment: float
) -> Array:
    """Scatter the light of a picture as the eye does.

    Each place gives to every other, and gets from it, the share that `spread` says:
    out = in + k * in - in (k * 1). An even picture stays even, no light is lost, and
    nothing comes from outside the picture. A large picture is scattered at a coarser
    pitch; light that stays within one of its cells is not moved, so edges stay sharp.

    Parameters
    ----------
    light : array_like, shape (height, width, n)
        Linear, in any channels. [any unit]
    degrees_per_pixel : float
        [deg]
    age, pigment : float
        As in `general`.

    Returns
    -------
    ndarray, shape (height, width, n)

    Raises
    ------
    ModelError
        For an angle that is no picture's.
    """
    given = np.asarray(light)
    picture = given if given.dtype == np.float32 else given.astype(float)
    height, width = picture.shape[:2]
    if not 0 < degrees_per_pixel * max(height, width) <= 180:
        raise ModelError(
            f"asked for glare over {degrees_per_pixel * max(height, width):g} degrees "
            "of picture; a view takes up more than 0 and at most 180: check the "
            "viewing distance and the size"
        )
    factor = -(-max(height, width) // MOST_PIXELS)
    coarse = _means(picture, factor)
    share = kernel(
        coarse.shape[:2],
        degrees_per_pixel=degrees_per_pixel * factor,
        age=age,
        pigment=pigment,
    )
    one = np.ones((*coarse.shape[:2], 1), dtype=coarse.dtype)
    moved = _convolved(np.concatenate([coarse, one], axis=-1), share)
    return _exchanged(picture, moved, factor)


def _exchanged(picture: Array, moved: Array, factor: int) -> Array:
    """Take from each pixel what it gives and add what it gets, in bands of rows."""
    height, width = picture.shape[:2]
    moved = _between(moved, factor, width, axis=1)
    found = np.empty_like(picture)
    for start in range(0, height, _BAND):
        rows = np.arange(start, min(start + _BAND, height))
        fine = _between(moved, factor, height, axis=0, places=rows)
        band = picture[rows[0] : rows[-1] + 1]
        found[rows[0] : rows[-1] + 1] = band - band * fine[..., -1:] + fine[..., :-1]
    return found


def kernel(
    shape: tuple[int, ...], *, degrees_per_pixel: float, age: float, pigment: float
) -> Array:
    """Share that a pixel gives to each other one, by distance down and right.

    Parameters
    ----------
    shape : tuple of int
        Height and width of the picture. [pixels]
    degrees_per_pixel : float
        [deg]
    age, pigment : float
        As in `general`.

    Returns
    -------
    ndarray, shape (height, width)
        0 for the pixel itself.
    """
    down, right = (np.arange(n, dtype=float) for n in shape[:2])
    share = _cell(down[:, None], right, degrees_per_pixel, age, pigment)
    near = tuple(slice(0, FINE) for _ in range(2))
    part = (np.arange(PARTS) + 0.5) / PARTS - 0.5
    fine_down = (down[:FINE, None] + part)[:, :, None, None]
    fine_right = right[:FINE, None] + part
    fine = _cell(fine_down, fine_right, degrees_per_pixel, age, pigment)
    share[near] = fine.mean(axis=(1, 3))
    share[0, 0] = 0.0
    return share


def _cell(down: Array, right: Array, pitch: float, age: float, pigment: float) -> Array:
    """Spread times the solid angle of a cell as the pupil sees it: E = L cos dW."""
    th = pitch * np.hypot(down, right)
    solid = np.radians(pitch) ** 2 * np.sinc(th / 180)  # sin(th) / th on the sphere
    return (
        spread(th, age=age, pigment=pigment)
        * solid
        * np.cos(np.radians(np.minimum(th, 90.0)))
    )


def _convolved(picture: Array, share: Array) -> Array:
    """Convolve each channel with the kernel, nothing outside the picture."""
    height, width = share.shape
    size = [fft.next_fast_len(2 * n - 1, real=True) for n in (height, width)]
    whole = np.zeros(size, dtype=picture.dtype)
    whole[:height, :width] = share
    whole[-height + 1 or size[0] :, :width] = share[:0:-1]
    whole[:, -width + 1 or size[1] :] = whole[:, width - 1 : 0 : -1]
    factors = fft.rfft2(whole)[..., None]
    found = fft.rfft2(picture, s=size, axes=(0, 1)) * factors
    return np.asarray(fft.irfft2(found, s=size, axes=(0, 1))[:height, :width])


def _means(picture: Array, factor: int) -> Array:
    """Average blocks of pixels; the last ones repeat the edge."""
    if factor == 1:
        return picture
    height, width = picture.shape[:2]
    more = [(0, -height % factor), (0, -width % factor), (0, 0)]
    whole = np.pad(picture, more, mode="edge") if more[0][1] or more[1][1] else picture
    rows = whole[::factor].copy()
    for i in range(1, factor):
        rows += whole[i::factor]
    cells = rows[:, ::factor].copy()
    for i in range(1, factor):
        cells += rows[:, i::factor]
    return np.asarray(cells / picture.dtype.type(factor**2))


def _between(
    picture: Array,
    factor: int,
    length: int,
    *,
    axis: int,
    places: NDArray[np.intp] | None = None,
) -> Array:
    """Interpolate linearly between the centres of blocks along one axis."""
    last = picture.shape[axis] - 1
    places = np.arange(length) if places is None else places
    place = np.clip((places + 0.5) / factor - 0.5, 0, last)
    low = place.astype(np.intp)
    u = np.expand_dims((place - low).astype(picture.dtype), (1, 2))
    u = u if axis == 0 else u.transpose(1, 0, 2)
    below = np.take(picture, low, axis=axis)
    above = np.take(picture, np.minimum(low + 1, last), axis=axis)
    return np.asarray(below + (above - below) * u)
