"""The ideal amounts: every set of up to three bottles, optimised over the true stack.

All sets set out from the local minima of a coarse grid and are finished at 1 nm.
`tintlab.solve.dose` turns amounts into what can be measured out.
"""

from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import minimum_filter

from tintlab.solve.descent import least_squares, polished, score
from tintlab.solve.problem import STEP, Problem

Array = NDArray[np.float64]

MOST = 3  # bottles in one dose
POLISHED = 8  # sets of each size that are finished at 1 nm
LEVELS = {1: (0.03, 12.0, 24), 2: (0.06, 12.0, 11), 3: (0.12, 8.0, 5)}  # of the grid
STARTS = 5  # points of the grid from which a search sets out
BLOCK = 128  # sets searched at a time, which bounds memory
FAR = 1e6  # what puts other points of the grid behind its local minima
DUSK = 50.0  # weight of light below the wanted minimum for starts, which may lack it

Found = list[tuple[tuple[int, ...], Array, float]]


def optimised(problem: Problem) -> dict[int, Found]:
    """Optimise every set of 1, 2 and 3 bottles; amounts and difference of each.

    Sets of a size come nearest first; the first `POLISHED` are finished at 1 nm.
    """
    n = len(problem.bottles)
    found: dict[int, Found] = {}
    for k in range(1, min(MOST, n) + 1):
        which = np.array(list(combinations(range(n), k)))
        blocks = np.array_split(which, -(-len(which) // BLOCK))
        smaller = {one: amounts for one, amounts, _ in found.get(k - 1, [])}
        best, gap = map(
            np.concatenate,
            zip(*(_searched(problem, some, smaller) for some in blocks), strict=True),
        )
        order = np.argsort(gap, kind="stable")
        top = order[:POLISHED]
        done = polished(problem, best[top], which[top])
        best[top] = [amounts for amounts, _ in done]
        gap[top] = [least for _, least in done]
        order = np.argsort(gap, kind="stable")
        found[k] = [(tuple(which[i].tolist()), best[i], float(gap[i])) for i in order]
    return found


def _searched(
    problem: Problem, which: NDArray[np.intp], smaller: dict[tuple[int, ...], Array]
) -> tuple[Array, Array]:
    """Best amounts (n_sets, k) and difference (n_sets,) of some sets, at `STEP` nm."""
    starts = _starts(problem, which, smaller)
    index = np.repeat(which, starts.shape[1], axis=0)
    x = least_squares(problem, starts.reshape(index.shape), index, STEP)
    gap = score(problem, x, index, STEP).reshape(starts.shape[:2])
    rows, winner = np.arange(len(which)), gap.argmin(axis=1)
    return x.reshape(starts.shape)[rows, winner], gap[rows, winner]


def _starts(
    problem: Problem, which: NDArray[np.intp], smaller: dict[tuple[int, ...], Array]
) -> Array:
    """Several starting doses for each set, shape (n_sets, n_starts, k).

    The best `STARTS` local minima of a coarse grid, and the best doses of the sets
    with one bottle less, so that another bottle never makes an answer worse.
    """
    n_sets, k = which.shape
    levels = np.geomspace(*LEVELS[k])
    grid = np.array(list(product(levels, repeat=k)))
    doses = np.minimum(grid, problem.caps[which][:, None])
    index = np.broadcast_to(which[:, None], doses.shape)
    price = score(problem, doses, index, STEP, dark=DUSK)
    boxed = price.reshape(n_sets, *(levels.size,) * k)
    least = minimum_filter(boxed, size=(1, *(3,) * k), mode="nearest")
    price = np.where(boxed == least, boxed, boxed + FAR).reshape(price.shape)
    order = np.argsort(price, axis=1, kind="stable")[:, :STARTS]
    rows = np.take_along_axis(doses, order[..., None], axis=1)
    if not smaller:
        return rows
    nested = [
        [
            np.insert(smaller[tuple(np.delete(one, j).tolist())], j, 0.0)
            for j in range(k)
        ]
        for one in which
    ]
    return np.concatenate([rows, np.array(nested)], axis=1)
