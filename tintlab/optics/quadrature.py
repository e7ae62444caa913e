"""Directions and weights: which cosines stand for a hemisphere of light.

All light inside a stack is counted by its Snell invariant, so that one set of
directions, the *streams*, serves every medium: those of the escape cone are given by
their cosine in air, the trapped ones (which no face lets out) by n sin(theta) > 1.
"""

from functools import cache

import numpy as np
from numpy.polynomial import legendre
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]


@cache
def gauss(count: int) -> tuple[Array, Array]:
    """Gauss-Legendre nodes and weights on 0 to 1.

    Parameters
    ----------
    count : int
        Number of nodes.

    Returns
    -------
    nodes, weights : ndarray, shape (count,)
        Read-only; the weights sum to 1. [-]
    """
    nodes, weights = legendre.leggauss(count)
    return _frozen((nodes + 1.0) / 2.0), _frozen(weights / 2.0)


@cache
def radau(count: int) -> tuple[Array, Array]:
    """Gauss-Radau nodes and weights on 0 to 1, with the first node at 1.

    Parameters
    ----------
    count : int
        Number of nodes.

    Returns
    -------
    nodes, weights : ndarray, shape (count,)
        Read-only, nodes falling from exactly 1; the weights sum to 1. [-]

    References
    ----------
    [1] M. Abramowitz and I. Stegun, Handbook of Mathematical Functions, 25.4.31
        (mirrored here, so that the fixed node is +1); from memory.
    """
    degree = np.zeros(count + 1)
    degree[-2:] = 1.0
    x = np.sort(legendre.legroots(degree).real)
    x[0] = -1.0
    below = legendre.legval(x, np.eye(count)[-1])
    weights = (1.0 - x) / (count * below) ** 2
    return _frozen((1.0 - x) / 2.0), _frozen(weights / 2.0)


def lagrange(*, nodes: ArrayLike, points: ArrayLike) -> Array:
    """Values of the Lagrange polynomials of some nodes at some points.

    Parameters
    ----------
    nodes : array_like, shape (n_nodes,)
        Where each polynomial is 1 or 0.
    points : array_like, shape (n_points,)
        Where they are wanted.

    Returns
    -------
    ndarray, shape (n_points, n_nodes)
        Rows sum to 1. [-]
    """
    x = np.asarray(nodes, dtype=float)
    z = np.asarray(points, dtype=float)
    others = ~np.eye(x.size, dtype=bool)
    above = np.where(others, z[:, None, None] - x, 1.0).prod(axis=-1)
    below = np.where(others, x[:, None] - x, 1.0).prod(axis=-1)
    return above / below


def condensed(
    *, nodes: ArrayLike, weights: ArrayLike, count: int
) -> tuple[Array, Array]:
    """Gauss rule of a discrete distribution: few nodes with the same moments.

    Parameters
    ----------
    nodes, weights : array_like, shape (n,)
        The distribution; weights not negative.
    count : int
        Number of nodes wanted; every polynomial up to degree 2 count - 1 keeps its
        sum.

    Returns
    -------
    nodes, weights : ndarray, shape (count,) or shorter
        Positive weights with the same sum; shorter if the distribution has fewer
        distinct nodes.

    References
    ----------
    [1] G. H. Golub and J. H. Welsch, Math. Comp. 23 (1969) 221 (the Jacobi matrix);
        Lanczos recursion for its entries; from memory.
    """
    x = np.asarray(nodes, dtype=float)
    w = np.asarray(weights, dtype=float)
    total = w.sum()
    basis = np.empty((count + 1, x.size))
    basis[0] = np.sqrt(w / total)
    diagonal: list[float] = []
    beside: list[float] = []
    for i in range(count):
        v = x * basis[i]
        diagonal.append(float(basis[i] @ v))
        known = basis[: i + 1]
        v = v - known.T @ (known @ v)
        v = v - known.T @ (known @ v)
        norm = float(np.linalg.norm(v))
        if norm < 1e-12:
            break
        beside.append(norm)
        basis[i + 1] = v / norm
    beside = beside[: len(diagonal) - 1]
    jacobi = np.diag(diagonal) + np.diag(beside, 1) + np.diag(beside, -1)
    few, vectors = np.linalg.eigh(jacobi)
    return few, total * vectors[0] ** 2


def stream_split(streams: int) -> tuple[int, int]:
    """How many streams leave through a face and how many are trapped.

    Parameters
    ----------
    streams : int
        Streams per hemisphere.

    Returns
    -------
    escaping, trapped : int
        6 and 4 for ten streams; the split is chosen for total errors below 0.002
        on single slabs of index 1 to 1.57.
    """
    trapped = round(0.4 * streams)
    return streams - trapped, trapped


def _frozen(values: Array) -> Array:
    values = np.array(values)
    values.setflags(write=False)
    return values
