"""What can be measured out: whole drops, grams on a scale, let-downs, bath minutes.

Round ideal amounts every combination of measurable options is tried, then round the
best of them, until that stays put.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from tintlab.colourants import Bottle
from tintlab.solve.amounts import MOST
from tintlab.solve.problem import LONGEST, STEP, Problem, bath
from tintlab.units import Dose

Array = NDArray[np.float64]

STEPS_LEAST = 5  # scale steps below which a let-down is weighed instead
LET_DOWNS = (10, 20, 50, 100)  # parts of part A to one of bottle liquid, by weight
SERIAL = {440: 20, 2600: 50}  # let down twice by the same ratio, (1 + 20)^2 = 441
LARGEST_SHARE = 0.25  # of part A that may come from let-downs
RECENTRINGS = 12  # rounds of enumeration at the most


def serial_steps(ratio: int) -> int | None:
    """Return the ratio that is used twice for a serial let-down, or None."""
    return SERIAL.get(ratio)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Option:
    """One way to measure one bottle: text, neat grams, absorbance, neighbours."""

    dose: Dose | None
    minutes: float | None
    grams: float
    step: float  # neat grams, or minutes, of one drop, scale step or minute


def _options(
    problem: Problem,
    bottle: Bottle,
    absorbance: float,
    how: str,
    scale: float,
    *,
    wide: bool,
) -> list[Option]:
    """What lies around an ideal amount and can be measured; all drops when `wide`."""
    layer = problem.layer
    if how == "bath":
        times = np.arange(LONGEST + 1)
        near = int(np.searchsorted(bath(layer, bottle, times), absorbance))
        return [
            Option(dose=None, minutes=float(m), grams=0.0, step=1.0)
            for m in range(max(near - 2, 0), min(near + 3, LONGEST) + 1)
        ]
    batch = layer.batch or 0.0
    grams = absorbance / (bottle.strength * layer.thickness) * batch / 1000
    if how == "drops":
        near = int(grams / bottle.drop)
        return [
            Option(
                dose=Dose(amount=float(n), unit="drops"),
                minutes=None,
                grams=n * bottle.drop,
                step=bottle.drop,
            )
            for n in range(0 if wide else max(near - 2, 0), 2 * near + 4)
            if wide or n < near + 4
        ]
    found = []
    for ratio in (0, *LET_DOWNS, *SERIAL):
        share = 1 / (1 + ratio)
        near = int(grams / share / scale)
        most = LARGEST_SHARE * layer.share_a * batch if ratio else np.inf
        for n in (near - 1, near, near + 1):
            if n >= STEPS_LEAST and n * scale <= most:
                amount = round(n * scale, 6)
                found.append(
                    Option(
                        dose=Dose(amount=amount, unit="g", let_down=share),
                        minutes=None,
                        grams=amount * share,
                        step=scale * share,
                    )
                )
    return found


def _absorbances(problem: Problem, one: Sequence[int], grams: Array) -> Array:
    """Peak absorbance of doses, neat grams of shape (..., k); the body counts them."""
    body = (problem.layer.batch or 0.0) + grams.sum(axis=-1, keepdims=True)
    strengths = np.array([problem.bottles[i].strength for i in one])
    return strengths * grams / body * 1000 * problem.layer.thickness


def best_options(
    problem: Problem, one: tuple[int, ...], amounts: Array, how: str, scale: float
) -> tuple[list[Option], Array] | None:
    """Enumerate round the ideal, then round the best found, until that stays put."""
    best: tuple[float, Array, list[Option]] | None = None
    for _ in range(RECENTRINGS):
        found = _enumerated(problem, one, amounts, how, scale)
        if found is None or (best is not None and found[0] >= best[0]):
            break
        best, amounts = found, found[1]
    return None if best is None else (best[2], best[1])


def _enumerated(
    problem: Problem, one: tuple[int, ...], amounts: Array, how: str, scale: float
) -> tuple[float, Array, list[Option]] | None:
    """Return the best of all options round some amounts that keep the wanted light."""
    bottles = [problem.bottles[i] for i in one]
    options = [
        _options(problem, bottle, float(a), how, scale, wide=len(one) < MOST)
        for bottle, a in zip(bottles, amounts, strict=True)
    ]
    if not all(options):
        return None
    picks = np.array(list(product(*(range(len(o)) for o in options))))
    values = _values(problem, bottles, options, picks, how)
    index = np.array(one)
    glow, face = problem.seen(values, np.broadcast_to(index, values.shape), STEP)
    enough = glow[:, 1] >= problem.target.min_light_kept - 1e-6
    used = (values > 0).all(axis=-1)
    if not (enough & used).any():
        return None
    gap = np.where(enough & used, problem.difference(glow, face), np.inf)
    row = int(np.lexsort([values.sum(axis=-1), np.round(gap, 6)])[0])
    chosen = [options[j][pick] for j, pick in enumerate(picks[row])]
    return float(gap[row]), values[row], chosen


def _values(
    problem: Problem,
    bottles: Sequence[Bottle],
    options: Sequence[Sequence[Option]],
    picks: NDArray[np.intp],
    how: str,
) -> Array:
    """Absorbances of the picked options, shape (n_picks, k)."""
    if how == "bath":
        columns = [
            bath(problem.layer, bottle, np.array([o.minutes for o in row]))
            for bottle, row in zip(bottles, options, strict=True)
        ]
        return np.stack([c[picks[:, j]] for j, c in enumerate(columns)], axis=-1)
    grams = np.stack(
        [
            np.array([o.grams for o in row])[picks[:, j]]
            for j, row in enumerate(options)
        ],
        axis=-1,
    )
    index = [problem.bottles.index(bottle) for bottle in bottles]
    return _absorbances(problem, index, grams)


def step_errors(
    problem: Problem,
    one: tuple[int, ...],
    chosen: Sequence[Option],
    values: Array,
    how: str,
) -> Array:
    """Difference with one step less and one more of each bottle, shape (k, 2)."""
    rows = []
    for j, option in enumerate(chosen):
        for sign in (-1, 1):
            moved = values.copy()
            if how == "bath":
                minutes = max((option.minutes or 0.0) + sign, 0.0)
                moved[j] = bath(problem.layer, problem.bottles[one[j]], minutes)
            else:
                grams = np.array([o.grams for o in chosen])
                grams[j] = max(grams[j] + sign * option.step, 0.0)
                moved = _absorbances(problem, one, grams)
            rows.append(moved)
    index = np.broadcast_to(np.array(one), (len(rows), len(one)))
    glow, face = problem.seen(np.array(rows), index)
    return problem.difference(glow, face).reshape(len(one), 2)
