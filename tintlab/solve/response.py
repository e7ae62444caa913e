"""A piece as a function of the absorption of one layer.

Whatever is put into one layer only, each wavelength sees nothing but the optical depth
tau of that layer. So the true stack (scattering, faces, box and all) is solved once on
a few depths and joined by splines of log radiance over tau; then any number of doses
or films cost a look-up. Layers of one dose are never approximated by T1 * T2.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline

from tintlab.glow import face_factor, radiance, solve_piece, tint_depths
from tintlab.piece import LN10, Piece

Array = NDArray[np.float64]

DEEPEST = 30.0  # Napierian depth; beyond it a wavelength is dark whatever is added
NODES = 44  # depths solved; splines over them err below 1e-5 (see the tests)
LEAST = 1e-30


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Response:
    """Head-on radiance and face of a piece, by the depth of one layer.

    Attributes
    ----------
    nodes : ndarray, shape (n_nodes,)
        Napierian depths at which the stack was solved. [-]
    lit, face : ndarray, shape (n_nodes - 1, n_wavelengths, 4)
        Spline coefficients of log radiance [W/(m2 sr nm)] and of log radiance factor,
        the four of one interval side by side, which is the fastest to look up.
    """

    nodes: Array
    lit: Array
    face: Array

    def radiance(self, depth: ArrayLike) -> Array:
        """Return head-on radiance at depths of shape (..., n_wavelengths)."""
        return np.exp(_spline_at(self.lit, *_where(self.nodes, depth)))

    def radiance_and_face(self, depth: ArrayLike) -> tuple[Array, Array]:
        """Return both at once, which is cheaper than one after the other."""
        where = _where(self.nodes, depth)
        return np.exp(_spline_at(self.lit, *where)), np.exp(
            _spline_at(self.face, *where)
        )

    def with_slopes(
        self, depth: ArrayLike
    ) -> tuple[tuple[Array, Array], tuple[Array, Array]]:
        """Return radiance and face factor, each with its derivative by depth."""
        where = _where(self.nodes, depth)
        return _with_slope(self.lit, *where), _with_slope(self.face, *where)

    def face_factor(self, depth: ArrayLike) -> Array:
        """Return the radiance factor of the unlit face."""
        return np.exp(_spline_at(self.face, *_where(self.nodes, depth)))

    def thinned(self, step: int) -> "Response":
        """Return the response on every `step`-th wavelength."""
        return replace(
            self, lit=self.lit[:, ::step].copy(), face=self.face[:, ::step].copy()
        )


def response_of(piece: Piece, slab: int) -> Response:
    """Solve a piece over the depth of one slab, its other tints as they are.

    Parameters
    ----------
    piece : Piece
        Its tints in that slab are left out; all others stay.
    slab : int
        Position in `piece.slabs`.
    """
    nodes = DEEPEST * np.linspace(0, 1, NODES) ** 3
    others = tuple(t for t in piece.tints if t.place != ("slab", slab))
    kept = replace(piece, tints=others)
    depths, filters = tint_depths(kept)
    layered = [np.broadcast_to(d, (NODES, piece.back.size)) for d in depths]
    layered[slab] = layered[slab] + nodes[:, None]
    solution = solve_piece(kept, layered)
    lit = np.log(np.maximum(radiance(kept, solution, filters), LEAST))
    face = np.log(np.maximum(face_factor(kept, solution), LEAST))
    return Response(nodes=nodes, lit=_spline(nodes, lit), face=_spline(nodes, face))


def _spline(nodes: Array, values: Array) -> Array:
    return np.ascontiguousarray(np.moveaxis(CubicSpline(nodes, values, axis=0).c, 0, 2))


def _where(nodes: Array, depth: ArrayLike) -> tuple[NDArray[np.intp], Array]:
    """Interval and wavelength of each depth, as one number, and how far into it."""
    tau: Array = np.clip(np.asarray(depth, dtype=float), 0.0, nodes[-1])
    # nodes are spaced as cubes, so the interval is found in closed form
    guess = np.cbrt(tau * (1 / nodes[-1])) * (nodes.size - 1)
    interval = np.minimum(guess.astype(np.intp), nodes.size - 2)
    n_wavelengths = tau.shape[-1]
    place = interval * n_wavelengths + np.arange(n_wavelengths)
    return place, tau - nodes[interval]


def _spline_at(coefficients: Array, place: NDArray[np.intp], x: Array) -> Array:
    c = coefficients.reshape(-1, 4).take(place, axis=0)
    return ((c[..., 0] * x + c[..., 1]) * x + c[..., 2]) * x + c[..., 3]


def _with_slope(
    coefficients: Array, place: NDArray[np.intp], x: Array
) -> tuple[Array, Array]:
    c = coefficients.reshape(-1, 4).take(place, axis=0)
    value = np.exp(((c[..., 0] * x + c[..., 1]) * x + c[..., 2]) * x + c[..., 3])
    return value, value * ((3 * c[..., 0] * x + 2 * c[..., 1]) * x + c[..., 2])


__all__ = ["LN10", "Response", "response_of"]
