"""The ideal amounts: every set of up to three bottles, optimised over the true stack.

Batched damped least squares from several starts (residuals along lightness, chroma and
hue, each over its CIEDE2000 weight at the target), then the difference itself is
minimised at 1 nm. `tintlab.solve.dose` turns amounts into what can be measured out.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations, product

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import minimize

from tintlab import yardstick
from tintlab.colorimetry import (
    MAXIMUM_EFFICACY,
    Lab_to_XYZ,
    XYZ_to_Lab,
    XYZ_to_uv,
    delta_e_2000,
    spectrum_to_XYZ,
    tables,
)
from tintlab.colourants import Bottle, shape_of
from tintlab.errors import InsetError
from tintlab.glow import undyed, veil_XYZ
from tintlab.inset import Inset, Layer, Target
from tintlab.piece import LN10, piece_of
from tintlab.solve.response import Response, response_of
from tintlab.spectrum import WAVELENGTHS
from tintlab.uptake import sheet_absorbance

Array = NDArray[np.float64]

MOST = 3  # bottles in one dose
STEP = 4  # [nm] of the search; doses are scored at 1 nm
ROUNDS = 25  # of damped least squares
POLISHED = 8  # sets of each size that are polished at 1 nm
LONGEST = 120  # [min] in a bath
LOADING = 0.05  # of liquid colourant where the medium names no limit; common practice
WELL_INSIDE = 0.004  # u'v' from the edge of a region, beyond which all is as good
DARK = 1e4  # weight of light below the wanted minimum


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Problem:
    """Everything the search needs, as numbers.

    Attributes
    ----------
    inset, target, layer, number
        What is asked, the layer and its position.
    bottles : tuple of Bottle
    shapes : ndarray, shape (n_bottles, n_wavelengths)
    caps : ndarray, shape (n_bottles,)
        Largest peak absorbance that the loading limit or the bath allows.
    fine, coarse : Response
        At 1 nm and at `STEP` nm.
    anchor : float
        Luminance of the undyed piece. [cd/m2]
    room : ndarray, shape (401,)
        Spectral radiance of a perfect white in the room. [W/(m2 sr nm)]
    """

    inset: Inset
    target: Target
    layer: Layer
    number: int
    bottles: tuple[Bottle, ...]
    shapes: Array
    caps: Array
    fine: Response
    coarse: Response
    anchor: float
    room: Array

    def seen(
        self, amounts: Array, which: NDArray[np.intp], step: int = 1
    ) -> tuple[Array, Array]:
        """XYZ of glow and veil, and of the face, for doses of shape (..., k)."""
        depth = self.depth(amounts, which, step)
        response = self.fine if step == 1 else self.coarse
        return self._colours(*response.radiance_and_face(depth), step)

    def depth(self, amounts: Array, which: NDArray[np.intp], step: int) -> Array:
        """Napierian depth of doses, shape (..., n_wavelengths)."""
        shapes = self.shapes[:, ::step][which]
        return LN10 * np.einsum("...k,...kw->...w", amounts, shapes)

    def _colours(self, lit: Array, face: Array, step: int) -> tuple[Array, Array]:
        weights = tables().observer[::step] * step * MAXIMUM_EFFICACY
        glow = lit @ weights / self.anchor
        room = self.room[::step]
        white = (room @ weights)[1]
        veil = (face * room) @ weights
        kept = 1.0 if self.inset.size else 0.0
        return glow + kept * veil / self.anchor, veil / white if white > 0 else veil

    def difference(self, glow: Array, face: Array) -> Array:
        """The number that is minimised, shape (...)."""
        target = self.target
        if target.region is not None:
            # well inside is inside: the rest is decided by light and dye
            far = yardstick.region_distance(glow, target.region.corners)
            return np.maximum(far, -WELL_INSIDE)
        if target.Lab is None:
            raise InsetError("the target has no colour")
        gap = yardstick.difference(glow, target.Lab, lightness=target.lightness)
        if target.face_Lab is None:
            return gap
        unlit = delta_e_2000(XYZ_to_Lab(_as_daylight(self, face)), target.face_Lab)
        return (1 - target.face_weight) * gap + target.face_weight * unlit

    def light_kept(self, amounts: Array, which: NDArray[np.intp]) -> Array:
        """Y of the glow without veil over that of the undyed piece."""
        lit = self.fine.radiance(self.depth(amounts, which, 1))
        return spectrum_to_XYZ(lit)[..., 1] * MAXIMUM_EFFICACY / self.anchor


def _as_daylight(problem: Problem, face: Array) -> Array:
    """Face XYZ relative to the room's white, on the scale of D65 (as `glow.seen`)."""
    white = spectrum_to_XYZ(problem.room)
    return face / (white / white[1]) * tables().white


def problem_of(
    inset: Inset, bottles: Sequence[Bottle], *, layer: int | None = None
) -> Problem:
    """Prepare the search; see `doses`."""
    if inset.target is None:
        raise InsetError(
            f'"{inset.name}" has no [target]; a dose is found for a colour that is '
            "wanted: add lab, hex, picture or region"
        )
    number = layer_number(inset, layer)
    chosen = inset.layers[number]
    if not bottles:
        raise InsetError(
            "there is no bottle to choose from; name some with --bottle, or put your "
            "own into shelf/bottles/"
        )
    bare = replace(chosen, dosed=(), bathed=())
    layers = (*inset.layers[:number], bare, *inset.layers[number + 1 :])
    plain = replace(inset, layers=layers)
    piece = piece_of(plain)
    body = piece.bodies.index(number) + (
        chosen.back == "frosted" and chosen.medium is not None
    )
    fine = response_of(piece, body)
    white = veil_XYZ(inset.room, np.ones(WAVELENGTHS.size))[1]
    room = inset.room.power * (
        inset.room.illuminance
        / np.pi
        / MAXIMUM_EFFICACY
        / spectrum_to_XYZ(inset.room.power)[1]
    )
    if white[1] <= 0:
        room = inset.room.power * 1e-12
    return Problem(
        inset=plain,
        target=inset.target,
        layer=chosen,
        number=number,
        bottles=tuple(bottles),
        shapes=np.stack([shape_of(bottle) for bottle in bottles]),
        caps=np.array([_cap(chosen, bottle) for bottle in bottles]),
        fine=fine,
        coarse=fine.thinned(STEP),
        anchor=float(spectrum_to_XYZ(undyed(piece))[1] * MAXIMUM_EFFICACY),
        room=room,
    )


def layer_number(inset: Inset, layer: int | None) -> int:
    """Return the position of the layer to dose: the last cast one, or last sheet."""
    able = [i for i, one in enumerate(inset.layers) if one.kind in ("cast", "sheet")]
    if layer is not None:
        if layer not in able:
            raise InsetError(
                f"asked to dose layer {layer + 1}; layers that can be dosed: "
                f"{', '.join(str(i + 1) for i in able) or 'none'}"
            )
        return layer
    cast = [i for i in able if inset.layers[i].kind == "cast"]
    if not able:
        raise InsetError(
            f'"{inset.name}" has no cast layer and no sheet; add a [[layer]] to dose'
        )
    return (cast or able)[-1]


def _cap(layer: Layer, bottle: Bottle) -> float:
    """Largest peak absorbance of one bottle by itself."""
    if layer.kind == "sheet":
        return float(bath(layer, bottle, LONGEST))
    if layer.batch is None:
        raise InsetError('the cast layer needs its batch = "50 g" before it is dosed')
    limit = LOADING if layer.medium is None else layer.medium.loading_limit or LOADING
    return bottle.strength * limit * 1000 * layer.thickness


def bath(layer: Layer, bottle: Bottle, minutes: ArrayLike) -> Array:
    """Peak absorbance of a sheet after some minutes in a bath of one bottle."""
    return sheet_absorbance(
        minutes=minutes,
        rate=bottle.bath_rate,
        saturation=bottle.bath_saturation,
        thickness=layer.thickness,
    )


Found = list[tuple[tuple[int, ...], Array, float]]


def optimised(problem: Problem) -> dict[int, Found]:
    """Optimise every set of 1, 2 and 3 bottles; amounts and difference of each."""
    n = len(problem.bottles)
    found: dict[int, Found] = {}
    for k in range(1, min(MOST, n) + 1):
        sets = list(combinations(range(n), k))
        which = np.array(sets)
        starts = _starts(problem, which)
        best = _least_squares(
            problem, starts, np.repeat(which[:, None], starts.shape[1], 1)
        )
        found[k] = [
            (one, amounts, gap) for one, amounts, gap in zip(sets, *best, strict=True)
        ]
        found[k].sort(key=lambda item: item[2])
        top = [
            (one, *_polished(problem, one, amounts))
            for one, amounts, _ in found[k][:POLISHED]
        ]
        found[k][:POLISHED] = top
    return found


def _starts(problem: Problem, which: NDArray[np.intp]) -> Array:
    """Several starting doses for each set, shape (n_sets, n_starts, k)."""
    k = which.shape[1]
    levels = {
        1: [(0.15,), (0.6,), (1.5,), (4.0,)],
        2: list(product((0.2, 1.0, 3.0), repeat=2)),
        3: [*product((0.2, 1.5), repeat=3), (0.7, 0.7, 0.7)],
    }[k]
    return np.minimum(np.array(levels)[None], problem.caps[which][:, None])


def _least_squares(
    problem: Problem, start: Array, which: NDArray[np.intp]
) -> tuple[list[Array], list[float]]:
    """Damped least squares, all sets and starts at once; the best start of each set.

    Residuals are Lab differences in the directions of lightness, chroma and hue, each
    over its CIEDE2000 weight at the target, and light missing below the minimum.
    """
    n_sets, n_starts, k = start.shape
    x = start.reshape(-1, k)
    index = which.reshape(-1, k)
    caps = problem.caps[index]
    damping = np.full(len(x), 0.1)
    r, J = _residuals(problem, x, index)
    cost = (r**2).sum(axis=-1)
    for _ in range(ROUNDS):
        JJ = np.einsum("nmi,nmj->nij", J, J)
        g = np.einsum("nmi,nm->ni", J, r)
        diagonal = np.einsum("nii->ni", JJ) + 1e-6
        damped = (damping[:, None] * diagonal + 1e-9)[..., None] * np.eye(k)
        step = np.linalg.solve(JJ + damped, -g[..., None])[..., 0]
        y = np.clip(x + step, 0.0, caps)
        r_new, J_new = _residuals(problem, y, index)
        new = (r_new**2).sum(axis=-1)
        better = new < cost
        x = np.where(better[:, None], y, x)
        r = np.where(better[:, None], r_new, r)
        J = np.where(better[:, None, None], J_new, J)
        moved = np.abs(cost - new).max()
        cost = np.where(better, new, cost)
        damping = np.where(better, damping / 4, damping * 4)
        if moved < 1e-9:
            break
    gap = _score(problem, x, index, STEP).reshape(n_sets, n_starts)
    winner = gap.argmin(axis=1)
    rows = np.arange(n_sets)
    return list(x.reshape(n_sets, n_starts, k)[rows, winner]), list(gap[rows, winner])


def _score(problem: Problem, x: Array, index: NDArray[np.intp], step: int) -> Array:
    """Difference, with a steep price on light missing below the wanted minimum."""
    glow, face = problem.seen(x, index, step)
    missing = np.maximum(problem.target.min_light_kept - glow[..., 1], 0.0)
    return problem.difference(glow, face) + DARK * missing


def _residuals(
    problem: Problem, x: Array, index: NDArray[np.intp]
) -> tuple[Array, Array]:
    """Residuals (n, m) and their Jacobian (n, m, k)."""
    depth = problem.depth(x, index, STEP)
    shapes = problem.shapes[:, ::STEP][index]
    lit, slope = problem.coarse.radiance_and_slope(depth)
    weights = tables().observer[::STEP] * STEP * MAXIMUM_EFFICACY / problem.anchor
    XYZ = lit @ weights
    dXYZ = np.einsum("nw,nkw,wc->nck", LN10 * slope, shapes, weights)
    r = _distance(problem, XYZ)
    h = 1e-6
    by_XYZ = np.stack(
        [(_distance(problem, XYZ + h * unit) - r) / h for unit in np.eye(3)], axis=-1
    )
    J = np.einsum("nmc,nck->nmk", by_XYZ, dXYZ)
    missing = problem.target.min_light_kept - XYZ[:, 1]
    dark = 200 * np.maximum(missing, 0.0)
    J_dark = np.where(missing[:, None] > 0, -200 * dXYZ[:, 1], 0.0)
    return (
        np.concatenate([r, dark[:, None]], axis=1),
        np.concatenate([J, J_dark[:, None]], axis=1),
    )


def _distance(problem: Problem, XYZ: Array) -> Array:
    """Signed components of the distance to the target, shape (n, 2 or 3)."""
    target = problem.target
    if target.region is not None:
        x, y = target.region.corners.mean(axis=0)
        return 500 * (XYZ_to_uv(XYZ) - XYZ_to_uv([x, y, 1 - x - y]))
    wanted = yardstick.compared(target.Lab, lightness=target.lightness)  # type: ignore[arg-type]
    if target.lightness == "free":
        XYZ = yardstick.scaled(XYZ, float(Lab_to_XYZ(wanted)[1]))
    away = XYZ_to_Lab(XYZ) - wanted
    chroma = np.hypot(wanted[1], wanted[2])
    along = wanted[1:] / chroma if chroma > 1e-6 else np.array([1.0, 0.0])
    dC = away[:, 1:] @ along / (1 + 0.045 * chroma)
    dH = away[:, 1:] @ (-along[1], along[0]) / (1 + 0.015 * chroma)
    if target.lightness == "free":
        return np.stack([dC, dH], axis=-1)
    return np.stack([away[:, 0], dC, dH], axis=-1)


def _polished(
    problem: Problem, one: tuple[int, ...], amounts: Array
) -> tuple[Array, float]:
    """Minimise the difference itself at 1 nm, from where least squares stopped."""
    index = np.array(one)
    caps = problem.caps[index]

    def cost(x: Array) -> float:
        inside = np.clip(x, 0.0, caps)
        outside = float(np.abs(x - inside).sum())
        return float(_score(problem, inside, index, 1)) + 100 * outside

    simplex = amounts + np.vstack(
        [np.zeros(len(one)), np.diag(np.maximum(0.08 * amounts, 0.02))]
    )
    found = minimize(
        cost,
        amounts,
        method="Nelder-Mead",
        options={"initial_simplex": simplex, "xatol": 1e-4, "fatol": 1e-4,
                 "maxiter": 120 * len(one)},
    )  # fmt: skip
    x = np.clip(found.x, 0.0, caps)
    best = float(_score(problem, x, index, 1))
    y = _along_the_limit(problem, x, index)
    other = float(_score(problem, y, index, 1))
    return (y, other) if other < best else (x, best)


def _along_the_limit(problem: Problem, x: Array, index: NDArray[np.intp]) -> Array:
    """Go on from `x` with the wanted light as a constraint, where a price is too steep.

    Sequential quadratic programming; what it returns is only taken when it is better.
    """

    def gap(x: Array) -> float:
        return float(problem.difference(*problem.seen(x, index)))

    def spare(x: Array) -> float:
        return float(problem.seen(x, index)[0][1]) - problem.target.min_light_kept

    if spare(x) > 0.02:
        return x
    found = minimize(
        gap,
        x,
        method="SLSQP",
        bounds=[(0.0, cap) for cap in problem.caps[index]],
        constraints={"type": "ineq", "fun": lambda x: spare(x) - 1e-7},
        options={"maxiter": 60, "ftol": 1e-7},
    )
    return np.clip(found.x, 0.0, problem.caps[index])
