"""Where the light comes from, as a discrete distribution over air cosines."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tintlab.errors import ModelError
from tintlab.optics.quadrature import Array, condensed, gauss

Light = str | Callable[[Array], ArrayLike] | tuple[ArrayLike, ArrayLike]

FEWEST_RAYS = 16  # diffuse light is within 5e-8 of 2 E3 for every depth
WEIGHTED_RAYS = 64  # nodes on which a weight is read, before it is condensed


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Rays:
    """A light as rays.

    Attributes
    ----------
    cosines, weights : ndarray, shape (n_rays,)
        Cosines to the normal in air and shares of the flux, which sum to 1. [-]
    """

    cosines: Array
    weights: Array


def rays(light: Light, *, streams: int = 10) -> Rays:
    """Rays that stand for a light.

    Parameters
    ----------
    light : str, callable or pair
        "normal" (along the normal), "diffuse" (Lambertian), a weight w(cosine) in
        flux per unit cosine, smooth and of any scale (Lambertian is 2 m), or a pair
        (cosines, weights) of a discrete distribution.
    streams : int
        Streams the rays will be projected on; never fewer rays than that.

    Returns
    -------
    Rays
        With weights that sum to 1.

    Raises
    ------
    ModelError
        If the light is none of these, or its weights are not those of a light.
    """
    if isinstance(light, str):
        return _named(light, streams)
    if callable(light):
        cosines, steps = gauss(WEIGHTED_RAYS)
        full = _checked(cosines, steps * np.asarray(light(cosines), dtype=float))
        few, weights = condensed(
            nodes=full.cosines, weights=full.weights, count=max(FEWEST_RAYS, streams)
        )
        return Rays(cosines=few, weights=weights)
    if isinstance(light, tuple) and len(light) == 2:
        return _checked(*(np.asarray(part, dtype=float) for part in light))
    raise ModelError(
        f'asked for light {light!r}; use "normal", "diffuse", a function of the '
        "cosine, or a pair (cosines, weights)"
    )


def _named(light: str, streams: int) -> Rays:
    if light == "normal":
        return Rays(cosines=np.ones(1), weights=np.ones(1))
    if light == "diffuse":
        # m = u^2 puts more rays at grazing incidence, where faces change fast
        u, steps = gauss(max(FEWEST_RAYS, streams))
        return Rays(cosines=u**2, weights=4.0 * u**3 * steps)
    raise ModelError(
        f'asked for light "{light}"; the named lights are "normal" and "diffuse"'
    )


def _checked(cosines: Array, weights: Array) -> Rays:
    fits = cosines.ndim == 1 and cosines.shape == weights.shape and cosines.size > 0
    if not (fits and (cosines > 0.0).all() and (cosines <= 1.0).all()):
        raise ModelError(
            "asked for a light with cosines that are not one row of numbers above 0 "
            "and up to 1 with a weight each; measure them from the normal, in air"
        )
    total = weights.sum()
    if not (np.isfinite(total) and (weights >= 0.0).all() and total > 0.0):
        raise ModelError(
            "asked for a light with weights that are negative, not finite or all 0; "
            "give the flux per cosine"
        )
    return Rays(cosines=cosines, weights=weights / total)
