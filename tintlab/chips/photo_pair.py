"""What the camera did to the light: tone curve and offset, from known ratios.

A developed picture is not linear after sRGB decoding: the camera bends the tones. One
parameter describes the bend and one an offset that the exposure does not change:

    x = (k L + s)^g                                                  (1)

with x the decoded value, L the light of the patch, k the exposure, s the offset and g
the exponent, 1 for a camera that keeps to sRGB. Two pictures of one scene at a known
ratio of exposures, or of light, and patches of known ratio inside one picture, all say
something about g and s. Where nothing says anything, g is 1 within `UNCHECKED`.
Light that lies over the whole picture grows with the exposure like L itself; (1)
cannot tell it, an opaque patch in the picture can.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from tintlab.chips.photo_patch import CHANNELS
from tintlab.errors import InsetError

Array = NDArray[np.float64]

UNCHECKED = 0.15  # deviation of g of a developed picture that nobody checked; assumed
PRIOR = 0.3  # of g where there is a check to learn it from; assumed
RAW = 0.005  # of g of camera raw; assumed
OFFSET = 0.003  # deviation of s; assumed
LIMITS = (0.5, 1.8)  # of g; beyond, it is no tone curve but another exposure; assumed
EXIF, GIVEN = 0.03, 0.01  # deviation of ln k from EXIF (rounded) and as typed; assumed
LEAST_STOPS = 0.5  # between two exposures
MISFIT = 0.05  # of a logarithm; two pictures of one scene agree better; assumed


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tone:
    """The bend of the tones, equation (1).

    Attributes
    ----------
    gamma, gamma_sigma : float
        g and its standard error. [-]
    offset, offset_sigma : float
        s and its standard error, the largest code at 1. [-]
    exposure : float
        k of the second picture, the first at 1. [-]
    checked : bool
        Whether a known ratio was there to learn it from, or it is camera raw.
    """

    gamma: float
    gamma_sigma: float
    offset: float = 0.0
    offset_sigma: float = 0.0
    exposure: float = 1.0
    checked: bool = False

    def light(self, x: Array) -> Array:
        """Solve (1) for k L."""
        return np.asarray(np.clip(x, 0.0, None) ** (1 / self.gamma) - self.offset)

    def error(self, x: Array, sigma: Array) -> Array:
        """Carry the standard error of x over to k L (first order)."""
        slope = np.clip(x, 1e-9, None) ** (1 / self.gamma - 1) / self.gamma
        return np.asarray(slope * sigma)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Known:
    """One known ratio: two values, their errors, and what their lights stand in.

    Attributes
    ----------
    value, against : float
        Decoded values x. [-]
    sigma : float
        Standard error of ln(value / against). [-]
    ratio : float
        Known light of `value` over that of `against`; for a pair of pictures k. [-]
    channel : int
    pair : bool
        From two pictures, whose ratio is fitted within its error.
    dark : float
        Decoded value of stray light in both. [-]
    """

    value: float
    against: float
    sigma: float
    ratio: float
    channel: int
    pair: bool
    dark: float = 0.0


def plain_tone(*, raw: bool) -> Tone:
    """Return the tone curve where nothing checks it."""
    return Tone(gamma=1.0, gamma_sigma=RAW if raw else UNCHECKED, checked=raw)


def fit_tone(known: list[Known], *, raw: bool, ratio_sigma: float = GIVEN) -> Tone:
    """Fit g, s and the exposure ratio to known ratios.

    Parameters
    ----------
    known : list of Known
    raw : bool
    ratio_sigma : float
        Standard error of ln k between two pictures. [-]

    Returns
    -------
    Tone

    Raises
    ------
    InsetError
        When no tone curve fits: another exposure or white balance, HDR, another scene.
    """
    if not known:
        return plain_tone(raw=raw)
    value = np.array([k.value for k in known])
    against = np.array([k.against for k in known])
    dark = np.array([k.dark for k in known])
    sigma = np.array([k.sigma for k in known])
    log_ratio = np.log([k.ratio for k in known])
    pair = np.array([k.pair for k in known], dtype=float)
    wide = np.array([RAW if raw else PRIOR, OFFSET, ratio_sigma])
    centre = np.array([1.0, 0.0, 0.0])

    def misfits(p: Array) -> Array:
        """Of ln x, as that is what the standard errors belong to."""
        g, s, slip = p
        stray = dark ** (1 / g)
        lights = [
            np.clip(x ** (1 / g) - s - stray, 1e-6, None) for x in (value, against)
        ]
        return np.asarray(g * (np.log(lights[0] / lights[1]) - log_ratio - pair * slip))

    def residuals(p: Array) -> Array:
        return np.concatenate([misfits(p) / sigma, (p - centre) / wide])

    best = least_squares(
        residuals, centre, x_scale=wide, bounds=([0.2, -0.1, -2], [5, 0.1, 2])
    )
    left = misfits(best.x)
    _refuse(best.x, left, sigma, known)
    scale = max(1.0, float((left / sigma) @ (left / sigma)) / max(len(known) - 2, 1))
    covariance = np.linalg.inv(best.jac.T @ best.jac) * scale
    error = np.sqrt(np.diag(covariance))
    shown = [k.ratio for k in known if k.pair]
    return Tone(
        gamma=float(best.x[0]),
        gamma_sigma=float(error[0]),
        offset=float(best.x[1]),
        offset_sigma=float(error[1]),
        exposure=float(shown[0] * np.exp(best.x[2])) if shown else 1.0,
        checked=True,
    )


def _refuse(p: Array, left: Array, sigma: Array, known: list[Known]) -> None:
    """Refuse ratios that no tone curve explains."""
    what = "two photos" if known[0].pair else "patches of known ratio"
    told = known[0].ratio
    seen = float(np.exp(np.mean([np.log(k.value / k.against) for k in known])))
    if not LIMITS[0] <= p[0] <= LIMITS[1]:
        raise InsetError(
            f"the {what} should stand in the ratio {told:.3g} but read {seen:.3g}; "
            "lock the exposure, switch HDR and automatic tones off, and take it again"
        )
    means, errors = _by_channel(left, sigma, [k.channel for k in known])
    off = np.abs(means - np.nanmedian(means))
    worst = int(np.nanargmax(off))
    if off[worst] > MISFIT and off[worst] > 3 * errors[worst]:
        raise InsetError(
            f"the {what} disagree by {np.expm1(off[worst]) * 100:.0f} % in "
            f"{CHANNELS[worst]} against the other channels; lock the white balance and "
            "take them again"
        )
    excess = np.sqrt(np.mean(left**2))
    if excess > 2 * MISFIT and excess > 3 * np.sqrt(np.mean(sigma**2)):
        raise InsetError(
            f"the {what} fit no tone curve, {excess * 100:.0f} % are left over; "
            "switch HDR and automatic tones off, move nothing, and take them again"
        )


def _by_channel(left: Array, sigma: Array, channels: list[int]) -> tuple[Array, Array]:
    """Average misfits channel by channel; not a number where there are none."""
    weight = np.bincount(channels, weights=1 / sigma**2, minlength=3)
    total = np.bincount(channels, weights=left / sigma**2, minlength=3)
    weight = np.where(weight > 0, weight, np.nan)
    return total / weight, 1 / np.sqrt(weight)
