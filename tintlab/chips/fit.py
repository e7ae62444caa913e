"""The most probable unknowns of a model, and how sure they are.

Least squares with priors: the misfit of every reading in units of its error, and every
z against its own standard normal (joint ones where earlier chips left errors that hang
together). The curvature at the best point gives the covariance
(Laplace). Where the answer matters it is checked against the profile: how far one
number can be pushed, everything else following, until the sum of squares has risen as
much as the 5 and 95 % points allow.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.special import chdtrc

from tintlab.causes import Z95
from tintlab.chips.model import Model, predicted

Array = NDArray[np.float64]

STEP = 1e-4  # of z, for slopes
UNLIKELY = 0.01  # chance of a misfit as large, below which the chips do not fit


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fit:
    """The posterior of one model.

    Attributes
    ----------
    model : Model
    z : ndarray, shape (n,)
        Most probable.
    covariance : ndarray, shape (n, n)
    cost : float
        Sum of squares of readings and priors at z.
    read : ndarray, shape (m,)
        Predicted readings at z.
    """

    model: Model
    z: Array
    covariance: Array
    cost: float
    read: Array

    @property
    def chance(self) -> float:
        """Chance of a misfit as large as this one if the model is right.

        The cost at the best point of a linear model with these priors follows chi
        squared with as many degrees of freedom as there are readings.
        """
        return float(chdtrc(self.model.value.size, self.cost))

    @property
    def fits(self) -> bool:
        """Whether the readings can have come from this model."""
        return self.chance > UNLIKELY


def misfit(model: Model, z: Array) -> Array:
    """Error of each reading over its sigma, shape (n, m)."""
    return (predicted(model, z) - model.value) / model.sigma


def slopes(model: Model, z: Array) -> Array:
    """Derivative of `misfit` at one z, shape (m, n_unknowns)."""
    errors = misfit(model, np.vstack([z, z + STEP * np.eye(z.size)]))
    return np.asarray((errors[1:] - errors[0]).T / STEP)


def fitted(model: Model, *, start: Array | None = None) -> Fit:
    """Find the most probable unknowns."""
    n, R = len(model.unknowns), model.root
    best = least_squares(
        lambda z: np.concatenate([misfit(model, z[None])[0], R @ z]),
        np.zeros(n) if start is None else start,
        jac=lambda z: np.vstack([slopes(model, z), R]),
        xtol=1e-4,
        ftol=1e-4,
        gtol=1e-4,
        max_nfev=60,
    )
    return Fit(
        model=model,
        z=best.x,
        covariance=np.linalg.inv(best.jac.T @ best.jac),
        cost=2 * float(best.cost),
        read=predicted(model, best.x[None])[0],
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """Where a weighted sum of the unknowns lies: middle, 5 % and 95 % point.

    `bent` is how much longer its longer side is by the profile than by the curvature.
    """

    middle: float
    low: float
    high: float
    bent: float = 1.0


def interval(fit: Fit, weights: Array) -> Interval:
    """Return the 5-95 % interval of weights @ z, by the profile.

    Parameters
    ----------
    fit : Fit
    weights : ndarray, shape (n_unknowns,)
    """
    middle = float(weights @ fit.z)
    sigma = float(np.sqrt(weights @ fit.covariance @ weights))
    if sigma == 0:
        return Interval(middle=middle, low=middle, high=middle)
    ends = [_pushed(fit, weights, middle, side * Z95 * sigma) for side in (-1, 1)]
    bent = max(abs(end - middle) for end in ends) / (Z95 * sigma)
    return Interval(middle=middle, low=ends[0], high=ends[1], bent=bent)


def _pushed(fit: Fit, weights: Array, middle: float, by: float) -> float:
    """Profile point on one side: where the cost has risen by Z95^2.

    The sum is held at middle + by with a stiff spring; the rise of the cost there
    says how much longer or shorter the true distance is than the parabola's.
    """
    model, R = fit.model, fit.model.root
    stiff = 1e3 / abs(by)
    along = fit.covariance @ weights / float(weights @ fit.covariance @ weights)
    end = least_squares(
        lambda z: np.concatenate(
            [misfit(model, z[None])[0], R @ z, [stiff * (weights @ z - middle - by)]]
        ),
        fit.z + along * by,
        jac=lambda z: np.vstack([slopes(model, z), R, stiff * weights]),
        xtol=1e-4,
        ftol=1e-4,
        gtol=1e-4,
        max_nfev=12,
    )
    there = np.concatenate([misfit(model, end.x[None])[0], R @ end.x])
    rise = float(there @ there) - fit.cost
    return middle + by * Z95 / float(np.sqrt(np.clip(rise, 0.25, 25 * Z95**2)))
