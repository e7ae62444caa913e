"""What was found, and what that leaves to find: differences, light kept and coats.

A combination is worth keeping when no other one matches or beats it in all three at
once. A table of the least difference so far, by coats and by bins of light kept, says
how large a difference can still matter.
"""

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Indices = NDArray[np.intp]
Combination = tuple[tuple[int, int], ...]  # (ink index, coats), sorted by ink
KEPT_EDGES = np.append(0.0, np.geomspace(1e-4, 1.0, 200))  # bins of light kept [-]
KEPT_EDGES.setflags(write=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One combination and what it does.

    Attributes
    ----------
    combination : tuple of (int, int)
        Ink index and number of coats, sorted by ink; empty for no ink at all.
    difference : float
        CIEDE2000 to the target under the policy, or the caller's distance. [-]
    light_kept : float
        Y without veil over `reference_Y`. [-]
    coats : int
        Coats in all.
    XYZ : tuple of float
        Of the glow with its veil, on the scale of `power`.
    """

    combination: Combination
    difference: float
    light_kept: float
    coats: int
    XYZ: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What was found, and the count that shows nothing was left out.

    Attributes
    ----------
    best : Choice
        Least difference; ties go to fewer coats, more light, lower ink indices.
    front : tuple of Choice
        Those no worse than doing nothing that no other one matches or beats in
        difference, light kept and coats at once; by rising difference.
    covered, total : int
        Combinations covered block by block, and their number in closed form.
    scored, pruned : int
        Of the covered: scored in full, and ruled out by a bound.
    """

    best: Choice
    front: tuple[Choice, ...]
    covered: int
    total: int
    scored: int
    pruned: int

    @property
    def proof(self) -> str:
        """Say in one sentence whether any combination was left out."""
        verb = "are" if self.covered == self.total else "ARE NOT"
        return (
            f"all {self.total:,} combinations {verb} covered: {self.scored:,} scored, "
            f"{self.pruned:,} ruled out because they cannot be better"
        )


class Scored(NamedTuple):
    """Combinations scored in full."""

    films: Indices  # (n, most_inks) rows of the films, then -1
    difference: Array  # (n,)
    kept: Array  # (n,)
    coats: Indices  # (n,)
    XYZ: Array  # (n, 3)


def take(record: Any, index: Any) -> Any:
    """Select rows of every array of a record."""
    return type(record)(*(values[index] for values in record))


def combinations_of(films: Indices, *, n_coats: int) -> list[Combination]:
    """Turn rows of film numbers, then -1, into pairs of ink and coats."""
    return [
        tuple((f // n_coats, f % n_coats + 1) for f in row if f >= 0)
        for row in films.tolist()
    ]


def choices_of(scored: Scored, *, n_coats: int) -> tuple[Choice, ...]:
    """Turn rows of numbers into records."""
    films, *numbers, XYZ = scored
    combinations = combinations_of(films, n_coats=n_coats)
    columns = (values.tolist() for values in (*numbers, np.round(XYZ, 12)))
    return tuple(
        Choice(combination=c, difference=d, light_kept=kept, coats=n, XYZ=tuple(XYZ))
        for c, d, kept, n, XYZ in zip(combinations, *columns, strict=True)
    )


def bins_of(kept: Array) -> Indices:
    """Number the bins of `KEPT_EDGES` that light kept falls into."""
    return np.maximum(np.searchsorted(KEPT_EDGES, kept, side="right") - 1, 0)


def tightened(table: Array, scored: Scored) -> Array:
    """Lower the differences that a newcomer must not exceed, (coats, bin of kept).

    Whatever has no more coats and sits in a higher bin of light kept counts.
    """
    table, fine = table.copy(), take(scored, bins_of(scored.kept) > 0)
    np.minimum.at(table, (fine.coats, bins_of(fine.kept) - 1), fine.difference)
    table = np.minimum.accumulate(table, axis=0)
    return np.minimum.accumulate(table[:, ::-1], axis=1)[:, ::-1]


def worthwhile(table: Array, scored: Scored, *, least_kept: float) -> Scored:
    """Drop what is beaten by the table or too dim."""
    wanted = scored.difference <= table[scored.coats, bins_of(scored.kept)]
    return take(scored, wanted & (scored.kept >= least_kept))


def pareto(scored: Scored) -> Scored:
    """Keep those that none matches or beats in everything, in the order of ties."""
    keys = (*scored.films.T[::-1], -scored.kept, scored.coats, scored.difference)
    scored = take(scored, np.lexsort(keys))
    most_kept = np.full(scored.coats.max(initial=0) + 1, -np.inf)  # with <= n coats
    front = []
    for i, (n, kept) in enumerate(zip(scored.coats, scored.kept, strict=True)):
        if kept > most_kept[n]:
            front.append(i)
            most_kept[n:] = np.maximum(most_kept[n:], kept)
    return take(scored, front)
