"""The reach of a piece: both limits, and what the shelf's bottles do below them.

Room light that the undyed face sends back is part of the light that is filtered: a dye
can take from it and add nothing, so the limit holds in the room as well.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tintlab.colorimetry import spectrum_to_XYZ
from tintlab.errors import InsetError, OutOfReach
from tintlab.glow import face_factor, solve_piece, tint_depths, undyed, with_veil
from tintlab.inset import Inset
from tintlab.piece import piece_of
from tintlab.shelf import Shelf
from tintlab.solve.amounts import optimised
from tintlab.solve.dose import candidates
from tintlab.solve.problem import problem_of
from tintlab.solve.reach import Reach, reach, smooth_estimate
from tintlab.starved import starved_words
from tintlab.yardstick import POLICIES

Array = NDArray[np.float64]

LEAST = 0.01  # share of light at which the curves begin
LEVELS = (LEAST, 0.15, 0.3, 0.5, 0.7)  # least light for the points of the shelf


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Point:
    """What the shelf can do: bottles, difference and light kept."""

    what: str
    difference: float
    light_kept: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Limits:
    """The answer.

    Attributes
    ----------
    curves : dict of str to Reach
        For "free" and "match".
    points : tuple of Point
        Ideal doses of the shelf's bottles at several least shares of light.
    smooth : float
        Estimate of what smooth, dye-like filters reach under the target's policy.
    light : ndarray, shape (401,)
        Head-on light of the undyed piece, without room light.
    level : float
        Y of that light and the room light sent back, over Y of that light alone.
    words : str
        What that light lacks.
    """

    curves: dict[str, Reach]
    points: tuple[Point, ...]
    smooth: float
    light: Array
    level: float
    words: str


def limits(
    inset: Inset,
    shelf: Shelf,
    *,
    points: int = 50,
    progress: Callable[[str], None] | None = None,
) -> Limits:
    """Find what no filter can do with the light of a piece.

    Parameters
    ----------
    inset : Inset
        With a colour target.
    shelf : Shelf
        Whose bottles are tried below the limit.
    points : int
        Shares of light on each curve.
    progress : callable, optional

    Raises
    ------
    InsetError
        Without a colour target.
    """
    say = progress or (lambda _: None)
    target = inset.target
    if target is None or target.Lab is None:
        raise InsetError(
            f'"{inset.name}" has no colour target; reach needs lab, hex or picture in '
            "[target]"
        )
    clear = replace(piece_of(inset), tints=())
    light = undyed(clear)
    depths, _ = tint_depths(clear)
    face = face_factor(clear, solve_piece(clear, depths))
    power = with_veil(inset, inset.room, light, face)
    level = float(spectrum_to_XYZ(power)[1] / spectrum_to_XYZ(light)[1])
    shares = np.geomspace(LEAST, 1.0, max(points, 2))
    curves = {}
    for policy in POLICIES:
        say(f"certifying, lightness {policy}")
        curves[policy] = reach(
            power,
            target.Lab,
            light_kept=shares,
            minimum=target.min_light_kept / level,
            lightness=policy,
            level=level,
        )
    say("dye-like filters")
    best = curves[target.lightness].best
    smooth = smooth_estimate(
        power,
        target.Lab,
        light_kept=best.share,
        lightness=target.lightness,
        level=level,
    )
    say("the bottles of the shelf")
    return Limits(
        curves=curves,
        points=tuple(_points(inset, shelf)),
        smooth=smooth.high,
        light=light,
        level=level,
        words=starved_words(light),
    )


def _points(inset: Inset, shelf: Shelf) -> list[Point]:
    """Ideal doses of the maker's bottles, for several least shares of light."""
    try:
        bottles = candidates(inset, shelf.own_first("bottles"))
        problem = problem_of(inset, bottles)
    except InsetError:
        return []
    found: dict[str, Point] = {}
    for least in LEVELS:
        wanted = replace(problem.target, min_light_kept=least)
        bound = replace(problem, target=wanted)
        try:
            sets = optimised(bound)
        except OutOfReach:
            continue
        for k in sets.values():
            one, amounts, gap = k[0]
            kept = float(bound.light_kept(amounts, np.array(one)))
            if kept < max(least - 1e-4, LEAST):
                continue
            names = " + ".join(bottles[i].name for i in one)
            key = f"{names} {kept:.2f}"
            found[key] = Point(what=names, difference=gap, light_kept=kept)
    return _not_beaten(list(found.values()))


def _not_beaten(points: list[Point]) -> list[Point]:
    """Keep the points that no other one beats in difference and light."""
    return [
        p
        for p in points
        if not any(
            q.difference <= p.difference - 1e-6 and q.light_kept >= p.light_kept
            for q in points
        )
    ]
