"""Unscattered light: one ray at a time through a stack, all its bounces added.

Nothing interferes: slabs are thick, or uneven, against the coherence length. Along a
ray each face has the mean reflectance of both polarisations. Where nothing scatters
this is the whole answer; elsewhere it is the regular part.
"""

from collections.abc import Sequence

import numpy as np

from tintlab.optics.fresnel import invariant_reflectance
from tintlab.optics.quadrature import Array


def ray_sum(
    *, indices: Sequence[Array], depths: Sequence[Array], cosines: Array
) -> tuple[Array, Array, Array]:
    """Mirror reflectance and regular transmittance of a stack in air, per ray.

    Parameters
    ----------
    indices, depths : sequences of ndarray, shape (n,) or (1,)
        Refractive index and Napierian extinction depth of each slab, the slab
        nearest the light first. [-]
    cosines : ndarray, shape (n_rays,)
        Cosines in air. [-]

    Returns
    -------
    front, transmittance, back : ndarray, shape (n, n_rays)
        Reflectance from the light's side, transmittance (the same both ways), and
        reflectance from the viewer's side. [-]

    References
    ----------
    [1] G. G. Stokes, Proc. R. Soc. 11 (1862) 545; P. Kubelka, J. Opt. Soc. Am. 44
        (1954) 330 (unequal sheets).
    """
    # one row until a slab brings more: what is the same everywhere is computed once
    front = np.zeros((1, cosines.size))
    through = np.ones_like(front)
    back = np.zeros_like(front)
    squares = cosines**2
    n_from, from_cosine = np.ones((1, 1)), cosines[None, :]
    for index, depth in zip(indices, depths, strict=True):
        n = index[:, None]
        cosine = np.sqrt(n**2 - 1.0 + squares) / n
        r = invariant_reflectance(
            n_from=n_from, n_into=n, cosine_from=from_cosine, cosine_into=cosine
        )
        front, through, back = _behind(front, through, back, r)
        inside = np.exp(-depth[:, None] / cosine)
        through = through * inside
        back = back * inside**2
        n_from, from_cosine = n, cosine
    r = invariant_reflectance(
        n_from=n_from, n_into=1.0, cosine_from=from_cosine, cosine_into=cosines
    )
    shape = np.broadcast_shapes(*(x.shape for x in (*indices, *depths)))
    front, through, back = _behind(front, through, back, r)
    size = (*shape, cosines.size)
    return (
        np.broadcast_to(front, size),
        np.broadcast_to(through, size),
        np.broadcast_to(back, size),
    )


def _behind(
    front: Array, through: Array, back: Array, r: Array
) -> tuple[Array, Array, Array]:
    """Put one face behind a stack [1]."""
    series = 1.0 / (1.0 - back * r)
    return (
        front + through**2 * r * series,
        through * (1.0 - r) * series,
        r + (1.0 - r) ** 2 * back * series,
    )
