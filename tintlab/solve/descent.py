"""Down to the ideal amounts: damped least squares over the parts of CIEDE2000.

All rows at once; what runs into the wanted light is made paler and goes on along it.
"""

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from tintlab.piece import LN10
from tintlab.solve.problem import WELL_INSIDE, Problem

Array = NDArray[np.float64]

ROUNDS = 25  # of damped least squares
ENOUGH = 1e-6  # squared difference at which a search rests
WELL = 0.01  # difference that no minimiser needs to better
DARK = 1e4  # weight of light below the wanted minimum, in scores
NEAR = 0.01  # share of light within which a dose runs into the wanted minimum
PALE = (200.0, 3000.0)  # weight in least squares, one after the other


def least_squares(
    problem: Problem, x: Array, index: NDArray[np.intp], step: int
) -> Array:
    """Least squares of doses, all at once, shape (n, k); never worse than at first.

    What ends below the wanted light is made paler and goes on at a higher price.
    """
    best = _paler(problem, x, index, step)
    gap = score(problem, best, index, step)
    rows = np.arange(len(x))
    for price in PALE:
        x = _marquardt(problem, x, index[rows], step, price)
        x = _paler(problem, x, index[rows], step)
        now = score(problem, x, index[rows], step)
        better = now < gap[rows]
        best[rows[better]], gap[rows[better]] = x[better], now[better]
        light = problem.seen(x, index[rows], step)[0][:, 1]
        at_limit = light < problem.target.min_light_kept + NEAR
        rows, x = rows[at_limit], x[at_limit]
        if not rows.size:
            break
    return best


def _marquardt(
    problem: Problem, x: Array, index: NDArray[np.intp], step: int, price: float
) -> Array:
    """Damped least squares (Marquardt 1963); rows that have come to rest stay."""
    x, caps = x.copy(), problem.caps[index]
    damping = np.full(len(x), 0.1)
    moving = np.arange(len(x))
    r, J = _residuals(problem, x, index, step, price)
    for _ in range(ROUNDS):
        there, cost = x[moving], (r**2).sum(axis=-1)
        JJ = np.swapaxes(J, 1, 2) @ J
        g = np.swapaxes(J, 1, 2) @ r[..., None]
        diagonal = np.einsum("nii->ni", JJ) + 1e-6
        damped = (damping[:, None] * diagonal + 1e-9)[..., None] * np.eye(x.shape[1])
        stride = np.linalg.solve(JJ + damped, -g)[..., 0]
        y = np.clip(there + stride, 0.0, caps[moving])
        r_new, J_new = _residuals(problem, y, index[moving], step, price)
        gain = cost - (r_new**2).sum(axis=-1)
        better = gain > 0
        x[moving[better]] = y[better]
        r = np.where(better[:, None], r_new, r)
        J = np.where(better[:, None, None], J_new, J)
        damping = np.where(better, damping / 4, damping * 4)
        rest = (cost < ENOUGH) | (better & (gain < 1e-4 * cost)) | (damping > 1e5)
        moving, r, J, damping = moving[~rest], r[~rest], J[~rest], damping[~rest]
        if not moving.size:
            break
    return x


def _paler(problem: Problem, x: Array, index: NDArray[np.intp], step: int) -> Array:
    """Scale doses down, by bisection, until they keep the wanted light."""
    least = problem.target.min_light_kept

    def dark(amounts: Array, which: NDArray[np.intp]) -> NDArray[np.bool_]:
        return problem.seen(amounts, which, step)[0][:, 1] < least

    rows = np.flatnonzero(dark(x, index)) if least > 0 else np.array([], dtype=np.intp)
    x = x.copy()
    if not rows.size:
        return x
    low, high = np.zeros(len(rows)), np.ones(len(rows))
    for _ in range(16):
        middle = (low + high) / 2
        too_dark = dark(middle[:, None] * x[rows], index[rows])
        low, high = np.where(too_dark, low, middle), np.where(too_dark, middle, high)
    x[rows] *= low[:, None]
    return x


def score(
    problem: Problem,
    x: Array,
    index: NDArray[np.intp],
    step: int,
    *,
    dark: float = DARK,
) -> Array:
    """Difference, with a price on light missing below the wanted minimum."""
    glow, face = problem.seen(x, index, step)
    missing = np.maximum(problem.target.min_light_kept - glow[..., 1], 0.0)
    return problem.difference(glow, face) + dark * missing


def _residuals(
    problem: Problem, x: Array, index: NDArray[np.intp], step: int, price: float
) -> tuple[Array, Array]:
    """Residuals (n, m) and their Jacobian (n, m, k)."""
    response = problem.fine if step == 1 else problem.coarse
    shapes = LN10 * problem.shapes[:, ::step][index]
    depth = problem.depth(x, index, step)
    (lit, by_lit), (unlit, by_unlit) = response.with_slopes(depth)
    glow, face = problem.colours(lit, unlit, step)
    # both colours are linear in radiance and face factor
    slopes = problem.colours(by_lit[:, None] * shapes, by_unlit[:, None] * shapes, step)
    r = problem.parts(glow, face)
    J = sum(
        np.einsum("cnm,nkc->nmk", _by_each(problem, glow, face, r, which), slope)
        for which, slope in enumerate(slopes)
        if which == 0 or problem.target.face_Lab is not None
    )
    missing = problem.target.min_light_kept - glow[:, 1]
    dark = price * np.maximum(missing, 0.0)
    J_dark = np.where(missing[:, None] > 0, -price * slopes[0][..., 1], 0.0)
    return (
        np.concatenate([r, dark[:, None]], axis=1),
        np.concatenate([J, J_dark[:, None]], axis=1),
    )


def _by_each(problem: Problem, glow: Array, face: Array, r: Array, which: int) -> Array:
    """Forward differences of the parts by X, Y, Z of glow (0) or face (1)."""
    h = 1e-7
    moved = [
        (glow + h * unit, face) if which == 0 else (glow, face + h * unit)
        for unit in np.eye(3)
    ]
    return np.stack([(problem.parts(*one) - r) / h for one in moved])


def polished(
    problem: Problem, x: Array, index: NDArray[np.intp]
) -> list[tuple[Array, float]]:
    """Finish doses, shape (n, k), at 1 nm; amounts and difference of each.

    Where least squares is not over the difference itself (a face), or runs into the
    wanted light, general-purpose minimisers go on from there.
    """
    x = least_squares(problem, x, index, 1)
    gap = score(problem, x, index, 1)
    well = WELL if problem.target.region is None else 1e-4 - WELL_INSIDE
    done = []
    for one, least, which in zip(x, gap, index, strict=True):
        best = (one, float(least))
        if least > well and problem.target.face_Lab is not None:
            best = _descended(problem, best, which)
        if least > well:
            best = _along_the_limit(problem, best, which)
        done.append(best)
    return done


def _descended(
    problem: Problem, best: tuple[Array, float], index: NDArray[np.intp]
) -> tuple[Array, float]:
    """Minimise the difference itself at 1 nm by the simplex of Nelder and Mead."""
    amounts, least = best
    caps = problem.caps[index]

    def cost(x: Array) -> float:
        inside = np.clip(x, 0.0, caps)
        outside = float(np.abs(x - inside).sum())
        return float(score(problem, inside, index, 1)) + 100 * outside

    simplex = amounts + np.vstack(
        [np.zeros(len(index)), np.diag(np.maximum(0.08 * amounts, 0.02))]
    )
    found = minimize(
        cost,
        amounts,
        method="Nelder-Mead",
        options={"initial_simplex": simplex, "xatol": 1e-4, "fatol": 1e-4,
                 "maxiter": 120 * len(index)},
    )  # fmt: skip
    x = np.clip(found.x, 0.0, caps)
    other = float(score(problem, x, index, 1))
    return (x, other) if other < least else best


def _along_the_limit(
    problem: Problem, best: tuple[Array, float], index: NDArray[np.intp]
) -> tuple[Array, float]:
    """Go on with the wanted light as a constraint, where a dose runs into it.

    Sequential quadratic programming; what it returns is only taken when it is better.
    """
    least_light = problem.target.min_light_kept
    if float(problem.seen(best[0], index)[0][1]) > least_light + NEAR:
        return best

    def gap(x: Array) -> float:
        return float(problem.difference(*problem.seen(x, index)))

    def spare(x: Array) -> float:
        return float(problem.seen(x, index)[0][1]) - least_light

    found = minimize(
        gap,
        best[0],
        method="SLSQP",
        bounds=[(0.0, cap) for cap in problem.caps[index]],
        constraints={"type": "ineq", "fun": lambda x: spare(x) - 1e-7},
        options={"maxiter": 60, "ftol": 1e-7},
    )
    x = np.clip(found.x, 0.0, problem.caps[index])
    other = float(score(problem, x, index, 1))
    return (x, other) if other < best[1] else best
