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

from tintlab.colourants import Bottle, dyes_of
from tintlab.errors import InsetError, OutOfReach
from tintlab.inset import Bathed, Dosed, Inset
from tintlab.solve.amounts import MOST, Found, optimised
from tintlab.solve.measures import Option, best_options, step_errors
from tintlab.solve.problem import Problem, layer_number, problem_of
from tintlab.units import Dose

Array = NDArray[np.float64]

SEARCHED = 24  # sets of each size, nearest first, searched for what is measurable
LEAST_LIGHT = 0.1  # share of light that a dose keeps when the maker wants none
BETTER = 0.5  # CIEDE2000 that a less simple recipe must win
SAME = 0.25  # CIEDE2000 within which less dye is preferred
SLACK = 0.2  # CIEDE2000 by which an ideal found at 4 nm could still be lowered


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
        Bottles whose dyes this cure may bleach, or whose liquid harms the resin.
    inset : Inset
        With this dose in its layer.
    """

    parts: tuple[Part, ...]
    how: str
    difference: float
    light_kept: float
    harmed: tuple[str, ...]
    inset: Inset

    @property
    def extra_a(self) -> float:
        """Part A that comes with the let-downs. [g]"""
        return sum(
            part.grams * (1 / part.dose.let_down - 1)
            for part in self.parts
            if part.dose is not None
        )


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
    pours : int
        Into how many pours the depth is split; doses and parts A and B are for one.
    """

    recipes: tuple[Recipe, ...]
    layer: int
    bottles: int
    subsets: int
    ideal: float
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
    inset, pours = _by_pour(_with_some_light(inset), layer)
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
        pours=pours,
    )


def _with_some_light(inset: Inset) -> Inset:
    """Want at least `LEAST_LIGHT` where the maker wants no share of light at all.

    Nearly any hue can be reached by keeping nearly nothing, which helps nobody.
    """
    target = inset.target
    if target is None or target.min_light_kept > 0:
        return inset
    return replace(inset, target=replace(target, min_light_kept=LEAST_LIGHT))


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


def candidates(inset: Inset, bottles: Sequence[Bottle]) -> list[Bottle]:
    """Leave out what is not meant for the layer: bath dyes in resin and the reverse."""
    cast = inset.layers[layer_number(inset, None)].kind == "cast"

    def fits(bottle: Bottle) -> bool:
        bath = bottle.carrier == "water" or any(
            "bath" in dye.uses for dye in dyes_of(bottle)
        )
        return bottle.carrier != "water" if cast else bath

    return [bottle for bottle in bottles if fits(bottle)]


def _measured(problem: Problem, sets: dict[int, Found], scale: float) -> list[Recipe]:
    """Best measurable dose of sets of bottles, by enumeration round the ideal of each.

    The ideal is a bound: sets whose ideal is farther than the best measured one so far
    could not be chosen and are left out.
    """
    ways = ("bath",) if problem.layer.kind == "sheet" else ("drops", "weighed")
    recipes = []
    for found, how in product(sets.values(), ways):
        least = np.inf
        for one, amounts, ideal in found[:SEARCHED]:
            if ideal > least + _margins(problem)[1] + SLACK:
                break
            best = best_options(problem, one, amounts, how, scale)
            if best is not None:
                recipes.append(_recipe(problem, one, *best, how))
                if not recipes[-1].harmed:
                    least = min(least, recipes[-1].difference)
    return recipes


def _margins(problem: Problem) -> tuple[float, float]:
    """What a less simple recipe must win, and what counts as the same."""
    region = problem.target.region is not None
    return (1e-3, 1e-3) if region else (BETTER, SAME)


def _recipe(
    problem: Problem,
    one: tuple[int, ...],
    chosen: Sequence[Option],
    values: Array,
    how: str,
) -> Recipe:
    index = np.array(one)
    errors = step_errors(problem, one, chosen, values, how)
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


def _harmed(problem: Problem, bottle: Bottle) -> bool:
    layer = problem.layer
    if layer.medium is None:
        return False
    harmed = layer.medium.cures.get(layer.cure, ())
    clouds = bottle.carrier == "water" and layer.kind == "cast"
    foams = bottle.carrier == "alcohol" and layer.cure == "isocyanate"
    return clouds or foams or any(dye.dye_class in harmed for dye in dyes_of(bottle))


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
    worth, margin = _margins(problem)
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
