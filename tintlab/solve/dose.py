"""How much of which bottle, before the pour.

Every set of up to three bottles has its ideal amounts (`tintlab.solve.amounts`); round
them is enumerated what can really be measured out: whole drops, grams on the maker's
scale, let-downs, or minutes in a bath. Of equally good doses the one with the fewest
bottles and then the least dye is taken, so that no answer is arbitrary.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from tintlab.errors import InsetError, OutOfReach
from tintlab.inset import Bathed, Dosed, Inset
from tintlab.materials import Bottle, dyes_of
from tintlab.solve.amounts import (
    LONGEST,
    MOST,
    STEP,
    Found,
    Problem,
    bath,
    layer_number,
    optimised,
    problem_of,
)
from tintlab.units import Dose

Array = NDArray[np.float64]

STEPS_LEAST = 5  # scale steps below which a let-down is weighed instead
LET_DOWNS = (10, 20, 50, 100)  # parts of part A to one of bottle liquid, by weight
SERIAL = {440: 20, 2600: 50}  # let down twice by the same ratio, (1 + 20)^2 = 441
LARGEST_SHARE = 0.25  # of part A that may come from let-downs
SEARCHED = 24  # sets of each size, nearest first, searched for what is measurable
RECENTRINGS = 12  # rounds of enumeration at the most
BETTER = 0.5  # CIEDE2000 that a less simple recipe must win
SAME = 0.25  # CIEDE2000 within which less dye is preferred


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Part:
    """One bottle of a recipe and how it is measured out.

    Attributes
    ----------
    bottle : Bottle
    dose : Dose or None
        For a cast layer.
    minutes : float or None
        For a bath.
    grams : float
        Of neat bottle liquid in the batch; 0 for a bath. [g]
    absorbance : float
        Peak absorbance that it gives the layer. [-]
    less, more : float
        Difference to the target with one drop, scale step or minute less and more.
    """

    bottle: Bottle
    dose: Dose | None
    minutes: float | None
    grams: float
    absorbance: float
    less: float
    more: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Recipe:
    """One measurable dose.

    Attributes
    ----------
    parts : tuple of Part
    how : str
        "drops", "weighed" or "bath".
    difference : float
        As `glow.miss`, weighted with that of the face where one is wanted.
    light_kept : float
    harmed : tuple of str
        Bottles whose dyes this cure may bleach, or whose water clouds the resin.
    inset : Inset
        With this dose in its layer.
    """

    parts: tuple[Part, ...]
    how: str
    difference: float
    light_kept: float
    harmed: tuple[str, ...]
    inset: Inset


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Doses:
    """The answer: recipes, simplest first, and what was covered.

    Attributes
    ----------
    recipes : tuple of Recipe
        One to three, by number of bottles; the first is the one to take.
    layer : int
        Position of the dosed layer.
    bottles, subsets : int
        How many were looked at.
    ideal : float
        Least difference of any amounts, measurable or not.
    extra_a : float
        Part A that comes with the let-downs of the first recipe. [g]
    pours : int
        Into how many pours the depth is split; doses and parts A and B are for one.
    """

    recipes: tuple[Recipe, ...]
    layer: int
    bottles: int
    subsets: int
    ideal: float
    extra_a: float
    pours: int


def doses(
    inset: Inset,
    bottles: Sequence[Bottle],
    *,
    layer: int | None = None,
    scale: float = 0.1,
    progress: Callable[[str], None] | None = None,
) -> Doses:
    """Find the best measurable doses for an inset's target.

    Parameters
    ----------
    inset : Inset
    bottles : sequence of Bottle
        To choose from.
    layer : int, optional
        Which layer is dosed; the last cast or else the last sheet unless given.
    scale : float
        Step of the maker's scale. [g]
    progress : callable, optional
        Called with a short text between stages.

    Raises
    ------
    InsetError
        Without a target, a layer to dose, a batch or a bottle.
    OutOfReach
        When no dose keeps the wanted light.
    """
    say = progress or (lambda _: None)
    say("solving the stack")
    inset, pours = _by_pour(inset, layer)
    problem = problem_of(inset, bottles, layer=layer)
    say("optimising every set of bottles")
    sets = optimised(problem)
    say("searching what can be measured")
    recipes = _measured(problem, sets, scale)
    if not recipes:
        most = float(
            problem.light_kept(np.zeros((1, 1)), np.zeros((1, 1), dtype=int))[0]
        )
        raise OutOfReach(
            f"no dose of these {len(bottles)} bottles keeps "
            f"{problem.target.min_light_kept * 100:.0f} % of the light; without any "
            f"dye {most * 100:.0f} % is kept; lower min_light_kept or use paler bottles"
        )
    chosen = _simplest_first(problem, recipes)
    return Doses(
        recipes=tuple(chosen),
        layer=problem.number,
        bottles=len(problem.bottles),
        subsets=sum(len(s) for s in sets.values()),
        ideal=min(d for s in sets.values() for _, _, d in s),
        extra_a=sum(
            part.grams * (1 / part.dose.let_down - 1)
            for part in chosen[0].parts
            if part.dose is not None
        ),
        pours=pours,
    )


def _by_pour(inset: Inset, layer: int | None) -> tuple[Inset, int]:
    """Split the batch of a layer that is deeper than its medium is poured at once.

    What is measured out is then the dose of one pour, and every pour has the same.
    """
    number = layer_number(inset, layer)
    one = inset.layers[number]
    deepest = one.medium.pour_depth if one.medium is not None else None
    if one.kind != "cast" or not deepest or one.batch is None:
        return inset, 1
    pours = int(np.ceil(one.thickness / deepest))
    smaller = replace(one, batch=one.batch / pours)
    layers = (*inset.layers[:number], smaller, *inset.layers[number + 1 :])
    return replace(inset, layers=layers), pours


def pour_again(inset: Inset, strengths: dict[str, float]) -> Doses | None:
    """Find the best new dose of the bottles that are in a piece already.

    Parameters
    ----------
    inset : Inset
    strengths : dict
        Factor on the strength of a bottle, by name, where something seen tells it.

    Returns
    -------
    Doses or None
        None when no bottle is in it, or no dose keeps the wanted light.
    """
    bottles: dict[str, Bottle] = {}
    for layer in inset.layers:
        there = [dosed.colourant for dosed in layer.dosed]
        there += [bathed.colourant for bathed in layer.bathed]
        for one in there:
            if isinstance(one, Bottle):
                factor = strengths.get(one.name, 1.0)
                bottles[one.name] = replace(
                    one,
                    strength=one.strength * factor,
                    bath_rate=one.bath_rate * factor,
                )
    if not bottles or inset.target is None:
        return None
    try:
        return doses(inset, list(bottles.values()))
    except (InsetError, OutOfReach):
        return None


def serial_steps(ratio: int) -> int | None:
    """Return the ratio that is used twice for a serial let-down, or None."""
    return SERIAL.get(ratio)


def candidates(inset: Inset, bottles: Sequence[Bottle]) -> list[Bottle]:
    """Leave out what is not meant for the layer: bath dyes in resin and the reverse."""
    cast = inset.layers[layer_number(inset, None)].kind == "cast"

    def fits(bottle: Bottle) -> bool:
        bath = bottle.carrier == "water" or any(
            "bath" in dye.uses for dye in dyes_of(bottle)
        )
        return bottle.carrier != "water" if cast else bath

    return [bottle for bottle in bottles if fits(bottle)]


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


def _measured(problem: Problem, sets: dict[int, Found], scale: float) -> list[Recipe]:
    """Best measurable dose of every set of bottles, by enumeration round its ideal."""
    ways = ("bath",) if problem.layer.kind == "sheet" else ("drops", "weighed")
    recipes = []
    for found in sets.values():
        for one, amounts, _ in found[:SEARCHED]:
            for how in ways:
                recipe = _best_option(problem, one, amounts, how, scale)
                if recipe is not None:
                    recipes.append(recipe)
    return recipes


def _best_option(
    problem: Problem, one: tuple[int, ...], amounts: Array, how: str, scale: float
) -> Recipe | None:
    """Enumerate round the ideal, then round the best found, until that stays put."""
    best: tuple[float, Array, list[Option]] | None = None
    for _ in range(RECENTRINGS):
        found = _enumerated(problem, one, amounts, how, scale)
        if found is None or (best is not None and found[0] >= best[0]):
            break
        best, amounts = found, found[1]
    if best is None:
        return None
    return _recipe(problem, one, best[2], best[1], how)


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
    used = (values > 0).all(axis=-1) | (len(one) == 1)
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


def _recipe(
    problem: Problem,
    one: tuple[int, ...],
    chosen: Sequence[Option],
    values: Array,
    how: str,
) -> Recipe:
    index = np.array(one)
    errors = _drop_errors(problem, one, chosen, values, how)
    parts = tuple(
        Part(
            bottle=problem.bottles[i],
            dose=option.dose,
            minutes=option.minutes,
            grams=option.grams,
            absorbance=float(value),
            less=float(error[0]),
            more=float(error[1]),
        )
        for i, option, value, error in zip(one, chosen, values, errors, strict=True)
    )
    glow, face = problem.seen(values, index)
    return Recipe(
        parts=parts,
        how=how,
        difference=float(problem.difference(glow, face)),
        light_kept=float(problem.light_kept(values, index)),
        harmed=tuple(
            problem.bottles[i].name for i in one if _harmed(problem, problem.bottles[i])
        ),
        inset=with_parts(problem.inset, problem.number, parts),
    )


def _drop_errors(
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


def _harmed(problem: Problem, bottle: Bottle) -> bool:
    layer = problem.layer
    if layer.medium is None:
        return False
    harmed = layer.medium.cures.get(layer.cure, ())
    clouds = bottle.carrier == "water" and layer.kind == "cast"
    return clouds or any(dye.dye_class in harmed for dye in dyes_of(bottle))


def with_parts(inset: Inset, number: int, parts: Sequence[Part]) -> Inset:
    """Return the inset with these doses in one of its layers."""
    layer = inset.layers[number]
    if layer.kind == "sheet":
        changed = replace(
            layer,
            bathed=tuple(
                Bathed(
                    colourant=part.bottle,
                    minutes=part.minutes or 0.0,
                    faces=2,
                    rate=part.bottle.bath_rate,
                    saturation=part.bottle.bath_saturation,
                )
                for part in parts
            ),
        )
    else:
        body = (layer.batch or 0.0) + sum(part.grams for part in parts)
        changed = replace(
            layer,
            dosed=tuple(
                Dosed(
                    colourant=part.bottle,
                    dose=part.dose or Dose(amount=0.0, unit="g"),
                    grams=part.grams,
                    per_kg=part.grams / body * 1000,
                )
                for part in parts
            ),
        )
    layers = (*inset.layers[:number], changed, *inset.layers[number + 1 :])
    return replace(inset, layers=layers)


def _simplest_first(problem: Problem, recipes: Sequence[Recipe]) -> list[Recipe]:
    """Pick one to three recipes, simplest first, each worth what it costs in effort.

    Few bottles come before many, drops and minutes before the scale. Whatever comes
    later must be nearer by `BETTER`. The one to take is the simplest within tolerance.
    """
    region = problem.target.region is not None
    tolerance = 0.0 if region else problem.target.tolerance
    worth, margin = (1e-3, 1e-3) if region else (BETTER, SAME)
    safe = [r for r in recipes if not r.harmed] or list(recipes)
    kept: list[Recipe] = []
    for k, weighed in product(range(1, MOST + 1), (False, True)):
        alike = [
            r for r in safe if len(r.parts) == k and (r.how == "weighed") == weighed
        ]
        if not alike:
            continue
        least = min(r.difference for r in alike)
        one = min(
            (r for r in alike if r.difference <= least + margin),
            key=lambda r: (
                sum(part.absorbance for part in r.parts),
                r.difference,
                [part.bottle.name for part in r.parts],
            ),
        )
        if not kept or one.difference < min(r.difference for r in kept) - worth:
            kept.append(one)
    good = [r for r in kept if r.difference <= tolerance]
    first = good[0] if good else kept[-1]
    others = [r for r in kept if r is not first]
    return [first, *others[-2:]]
