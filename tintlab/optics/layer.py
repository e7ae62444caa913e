"""One homogeneous, scattering and absorbing layer, its faces left out.

The light of each hemisphere is carried by N streams; the transport equation for them
is solved in closed form by one symmetric eigenproblem, exact for no absorption, for
vanishing and for very large depth. The phase function is Henyey-Greenstein with its
forward peak truncated (delta-M). Plane-parallel, incoherent, independent scattering.
With one stream it is the two-flux theory.
"""

from dataclasses import dataclass

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import ArrayLike

from tintlab.optics.quadrature import Array

LEAST_DEPTH = 1e-10  # a lossless film between two totally reflecting faces is singular


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Modes:
    """Eigenmodes of a layer material; they serve every thickness of it.

    Attributes
    ----------
    rates : ndarray, shape (..., N)
        Decay rates per unit of extinction depth. [-]
    sums, differences : ndarray, shape (..., N, N)
        Modes of the sum and of the difference of the two hemispheres.
    """

    rates: Array
    sums: Array
    differences: Array


def modes(
    *,
    cosines: Array,
    weights: Array,
    albedo: ArrayLike,
    anisotropy: ArrayLike,
    moments: int,
) -> Modes:
    """Eigenmodes of a material, from its albedo and its phase function.

    Parameters
    ----------
    cosines, weights : ndarray, shape (..., N)
        Streams in the layer; a stream that cannot exist here has weight 0. [-]
    albedo : array_like, shape (...)
        Scattered share of the extinction. [-]
    anisotropy : array_like, shape (...)
        Mean cosine of scattering, -1 to 1 exclusive. [-]
    moments : int
        Legendre moments kept; the peak beyond them counts as not scattered.

    Returns
    -------
    Modes
        For extinction depths measured without truncation.

    References
    ----------
    [1] K. Stamnes et al., Appl. Opt. 27 (1988) 2502; T. Nakajima and M. Tanaka, J.
        Quant. Spectrosc. Radiat. Transf. 35 (1986) 13 (symmetric eigenproblem).
    [2] W. J. Wiscombe, J. Atmos. Sci. 34 (1977) 1408 (delta-M). All from memory.
    """
    a = np.asarray(albedo, dtype=float)[..., None, None]
    g = np.asarray(anisotropy, dtype=float)[..., None, None]
    f = peak_share(g, moments)
    even, odd = _phase(cosines, weights, np.asarray(anisotropy), moments)
    depth_scale = 1.0 - a * f
    a_kept = a * (1.0 - f) / depth_scale
    streams = np.eye(cosines.shape[-1]) / cosines[..., None]
    A = streams - a_kept * odd
    B = streams - a_kept * even
    L = np.linalg.cholesky(A)
    Lt = np.swapaxes(L, -1, -2)
    squares, V = np.linalg.eigh(Lt @ B @ L)
    squares = squares.clip(0.0)
    squares[..., 0] = np.where(a[..., 0, 0] == 1.0, 0.0, squares[..., 0])
    scale = depth_scale[..., 0]
    return Modes(
        rates=np.sqrt(squares) * scale,
        sums=np.linalg.solve(Lt, V) / np.sqrt(scale)[..., None],
        differences=(L @ V) * np.sqrt(scale)[..., None],
    )


def operators(layer: Modes, *, depth: ArrayLike) -> tuple[Array, Array]:
    """Reflection and transmission of a layer without faces.

    Parameters
    ----------
    layer : Modes
        Of its material.
    depth : array_like, shape (...)
        Extinction depth, absorbed and scattered together; Napierian. [-]

    Returns
    -------
    reflection, transmission : ndarray, shape (..., N, N)
        Symmetric matrices between the square roots of stream powers per etendue; the
        same from both sides.

    Notes
    -----
    With h half of the depth, X and Z tie the sum of the two hemispheres at the
    boundary to their difference for light that is even or odd about the middle:
    R = 1/(1+X) - 1/(1+Z), T = 1/(1+X) + 1/(1+Z) - 1.
    """
    k = layer.rates
    h = np.maximum(np.asarray(depth, dtype=float), LEAST_DEPTH)[..., None] / 2.0
    tanh = np.tanh(k * h)
    small = k * h < 1e-9
    ratio = np.where(small, h, tanh / np.where(small, 1.0, k))
    one = np.eye(k.shape[-1])
    even = np.linalg.inv(one + _form(layer.sums, k * tanh))
    odd = np.linalg.inv(one + _form(layer.differences, ratio))
    return even - odd, even + odd - one


def peak_share(anisotropy: ArrayLike, moments: int) -> Array:
    """Share of the scattering that counts as not scattered at all (delta-M)."""
    return np.maximum(np.asarray(anisotropy, dtype=float), 0.0) ** moments


def _form(vectors: Array, values: Array) -> Array:
    return (vectors * values[..., None, :]) @ np.swapaxes(vectors, -1, -2)


def _phase(mu: Array, w: Array, g: Array, moments: int) -> tuple[Array, Array]:
    """Even and odd part of the phase function between streams, symmetrised."""
    degree = np.arange(moments)
    f = peak_share(g[..., None], moments)
    chi = (g[..., None] ** degree - f) / (1.0 - f)
    P = legendre.legvander(mu, moments - 1)
    terms = P * ((2 * degree + 1) * chi)[..., None, :]
    turned = np.swapaxes(P, -1, -2)
    even = terms[..., 0::2] @ turned[..., 0::2, :]
    odd = terms[..., 1::2] @ turned[..., 1::2, :]
    even = _with_moment(even, w, np.ones_like(mu), 1.0)
    odd = _with_moment(odd, w, mu, chi[..., 1:2])
    D = np.sqrt(w / mu)
    both = D[..., :, None] * D[..., None, :]
    return both * even, both * odd


def _with_moment(p: Array, w: Array, x: Array, moment: Array | float) -> Array:
    """Least symmetric change of p that makes sum_j w_j x_j p_ij = moment x_i.

    For the even part and x = 1 no light is lost in scattering; for the odd part and
    x = cosine the mean forward momentum is exact.
    """
    norm = (w * x * x).sum(axis=-1, keepdims=True)
    missing = moment * x - (p @ (w * x)[..., None])[..., 0]
    share = (w * x * missing).sum(axis=-1, keepdims=True) / (2.0 * norm)
    v = (missing - x * share) / norm
    return p + x[..., :, None] * v[..., None, :] + v[..., :, None] * x[..., None, :]
