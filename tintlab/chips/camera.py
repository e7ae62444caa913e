"""A family of cameras, wide enough to hold the one that took the picture.

Nobody knows the sensitivities of the camera in a maker's hand. Two measured cameras
are no sample, so the family is spun about them: mixed, shifted, widened, made wavy, cut
off elsewhere in the red. A picture that a camera developed itself has also been
through an unknown 3x3 colour matrix. The family is boiled down to a mean and its main
directions, each with a standard normal weight, so that a fit can carry the camera.

Everything about the widths of the family is assumed; the tests hold it against a camera
that had no part in it.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from tintlab.colorimetry import camera_sensitivities, tables
from tintlab.spectrum import WAVELENGTHS

Array = NDArray[np.float64]

COARSE = 5  # chips are solved on every fifth nanometre; dyes and films are smooth
GRID = WAVELENGTHS[::COARSE]  # [nm]
MEMBERS = 400
DIRECTIONS = 10
SEED = 20250102
SHIFT = 6.0  # [nm] of each channel, one deviation; assumed, as all below
WIDTH = 0.10  # log width of each channel
WAVES, WAVE_LENGTH = 0.15, 40.0  # log sensitivity, and over how many [nm] it changes
CUT, CUT_SHIFT = 690.0, 15.0  # [nm] where the infrared filter halves, and its deviation
LAYERED = 0.25  # largest share of the camera with stacked layers in a mixture
MATRIX = (0.3, 1.1)  # how much of the matrix to sRGB was applied, from and to
CROSSTALK = 0.04  # deviation of every further matrix element, rows kept to sum 1
RAW_CROSSTALK = 0.02


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Family:
    """Cameras as a mean and directions about it.

    Attributes
    ----------
    mean : ndarray, shape (3, n_wavelengths)
        Red, green and blue on `GRID`; each sums to 1.
    directions : ndarray, shape (n_directions, 3, n_wavelengths)
        One standard deviation along each.
    """

    mean: Array
    directions: Array

    def sensitivities(self, z: Array) -> Array:
        """Return cameras at standard normal weights z, shape (..., n_directions)."""
        return np.asarray(self.mean + np.tensordot(z, self.directions, axes=1))


@cache
def family(*, raw: bool) -> Family:
    """Return the family of cameras, of raw files or of pictures they developed.

    Parameters
    ----------
    raw : bool
        Whether the numbers are the sensor's own, without a colour matrix.
    """
    random = np.random.default_rng(SEED)
    sampled = np.stack([member(random, raw=raw) for _ in range(MEMBERS)])
    mean = sampled.mean(axis=0)
    flat = (sampled - mean).reshape(MEMBERS, -1)
    variance, along = np.linalg.eigh(flat.T @ flat / (MEMBERS - 1))
    largest = np.sqrt(variance[-DIRECTIONS:]) * along[:, -DIRECTIONS:]
    directions = largest.T[::-1].reshape(-1, *mean.shape)
    for array in (mean, directions):
        array.setflags(write=False)
    return Family(mean=mean, directions=directions)


def member(random: np.random.Generator, *, raw: bool) -> Array:
    """Draw one camera of the family on `GRID`, shape (3, n_wavelengths)."""
    measured = camera_sensitivities()
    share = np.array([1.0, 0.0])[: len(measured)]
    share[-1] += random.uniform(0, LAYERED)
    mixed = np.tensordot(share / share.sum(), measured, axes=1)
    sensor = np.stack([_varied(channel, random) for channel in mixed])
    cut = CUT + CUT_SHIFT * random.standard_normal()
    sensor = sensor / (1 + np.exp((GRID - cut) / 5.0))
    sensor = sensor / sensor.sum(axis=-1, keepdims=True)
    developed = sensor if raw else _developed(sensor, random)
    noise = (RAW_CROSSTALK if raw else CROSSTALK) * random.standard_normal((3, 3))
    noise -= np.diag(noise.sum(axis=1))
    return np.asarray(developed + noise @ sensor)


def _varied(channel: Array, random: np.random.Generator) -> Array:
    """Shift, widen and ripple one channel."""
    centre = (WAVELENGTHS * channel).sum() / channel.sum()
    shift = SHIFT * random.standard_normal()
    width = np.exp(WIDTH * random.standard_normal())
    at = (GRID - centre - shift) / width + centre
    values = np.interp(at, WAVELENGTHS, channel, left=0.0, right=0.0)
    return np.asarray(values * np.exp(WAVES * _wave(random)))


def _wave(random: np.random.Generator) -> Array:
    """Smooth noise of unit deviation: white noise seen through a Gaussian."""
    knots = np.arange(GRID[0] - 100, GRID[-1] + 101, WAVE_LENGTH / 2)
    weights = np.exp(-(((GRID[:, None] - knots) / WAVE_LENGTH) ** 2))
    weights /= np.sqrt((weights**2).sum(axis=-1, keepdims=True))
    return np.asarray(weights @ random.standard_normal(knots.size))


def _developed(sensor: Array, random: np.random.Generator) -> Array:
    """Apply part of the matrix that brings a sensor nearest to sRGB, white kept."""
    wanted = (tables().observer @ tables().XYZ_to_rgb.T)[::COARSE].T
    wanted = wanted / wanted.sum(axis=-1, keepdims=True)
    full = np.linalg.solve(sensor @ sensor.T, sensor @ wanted.T).T
    full = full / full.sum(axis=-1, keepdims=True)
    part = random.uniform(*MATRIX)
    return np.asarray((part * full + (1 - part) * np.eye(3)) @ sensor)
