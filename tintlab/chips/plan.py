"""Which chips to cast: those that narrow the spread of the wanted glow most.

Every dose of a small grid is a candidate. What a set of chips would teach is reckoned
before any is cast: the slopes of its readings by all unknowns give the covariance that
would be left (Gauss-Newton information), at three strengths that the bottles may have.
The set is chosen whose leftover spread of a* and b* of the *glow* is least; a chip more
is asked for only when it is worth it.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations, pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tintlab.causes import Z95
from tintlab.chips.casts import BATCH, MOULD, Cast, candidates, named
from tintlab.chips.evidence import KNOWN_DROP, LEAST, REPEATED_DROP
from tintlab.chips.fit import slopes
from tintlab.chips.ladder import Chip, Ladder, Sight, exchanged
from tintlab.chips.model import FLOOR, Model, model_of, predicted
from tintlab.colourants import Bottle, Colourant, shape_spread
from tintlab.errors import InsetError
from tintlab.glow import look
from tintlab.inset import Inset, Layer
from tintlab.piece import piece_of
from tintlab.spread import Spread, spread_of

Array = NDArray[np.float64]

TRUTHS = (-1.0, 0.0, 1.0)  # z of the strengths at which the worth is reckoned
READ = 0.03  # relative error of a channel ratio that a careful photo gives; assumed
TONE = 0.05  # deviation of its tone exponent, two exposures taken; assumed
DARK = 0.03  # channels darker than this teach nothing
WORTH = 0.07  # a chip more must lower the glow's spread by this share
MOST = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Step:
    """What a number of chips would leave: which, and the spread of the glow."""

    casts: tuple[Cast, ...]
    left: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Advice:
    """Which chips to cast.

    Attributes
    ----------
    inset : Inset
    ladder : Ladder
        LED and diffuser for the photo; its chips are all candidates.
    casts : tuple of Cast
    steps : tuple of Step
        For no chip, one, two, ...; `left` is the share of the deviation in a* and b*
        that would be left, of what is not known now. [-]
    before, after : Spread
        Of the glow, as `tintlab glow` says it now and would say it then.
    factors : dict of str to (float, float)
        5-95 % factor of each bottle's strength before and after.
    weigh : tuple of str
        Bottles whose drops are worth weighing.
    """

    inset: Inset
    ladder: Ladder
    casts: tuple[Cast, ...]
    steps: tuple[Step, ...]
    before: Spread
    after: Spread
    factors: dict[str, tuple[float, float]]
    weigh: tuple[str, ...]


def plan(
    inset: Inset, *, batch: float = 20.0, thickness: float = 3.0, most: int = MOST
) -> Advice:
    """Choose chips for an inset.

    Parameters
    ----------
    inset : Inset
    batch : float
        Resin of one chip. [g]
    thickness : float
        Of a cast chip. [mm]
    most : int
        Chips at the most.

    Raises
    ------
    InsetError
        When the inset holds no bottle and no ink that a chip could teach about.
    """
    if not (MOULD[0] <= thickness <= MOULD[1] and BATCH[0] <= batch <= BATCH[1]):
        raise InsetError(
            f"a chip of {thickness:g} mm from {batch:g} g cannot be cast; a mould is "
            f"{MOULD[0]:g} to {MOULD[1]:g} mm, a batch {BATCH[0]:g} to {BATCH[1]:g} g"
        )
    casts = candidates(inset, batch=batch, thickness=thickness)
    if not casts:
        raise InsetError(
            f"{inset.path.name}: there is no bottle and no ink in this inset that a "
            "chip could teach about; name one in a layer"
        )
    ladder = _ladder(inset, casts)
    model = model_of(ladder)
    piece = piece_of(inset)
    before = spread_of(inset, piece, look(inset, piece=piece))
    worth = _Worth(model=model, spread=before, inset=inset)
    steps = _steps(worth, casts, most)
    chosen = _worth_it(steps)
    taught = _taught(worth, _numbers(casts, chosen.casts))
    after_inset = _with(inset, taught)
    after_piece = piece_of(after_inset)
    after = spread_of(after_inset, after_piece, look(after_inset, piece=after_piece))
    return Advice(
        inset=inset,
        ladder=ladder,
        casts=chosen.casts,
        steps=steps,
        before=before,
        after=after,
        factors={n: (one.spread, taught[n].spread) for n, one in named(inset).items()},
        weigh=tuple(
            name
            for name, one in named(inset).items()
            if isinstance(one, Bottle) and one.drop_spread > KNOWN_DROP
            and any(c.colourant == name and "drop" in c.amount for c in chosen.casts)
        ),
    )  # fmt: skip


def _worth_it(steps: Sequence[Step]) -> Step:
    """Return the last step before one that hardly helps; one chip at the least."""
    for here, more in pairwise(steps[1:]):
        if more.left > here.left * (1 - WORTH):
            return here
    return steps[-1]


# ------------------------------------------------------------ what they are worth


def _ladder(inset: Inset, casts: Sequence[Cast]) -> Ladder:
    under = next((la.diffuser for la in inset.layers if la.diffuser is not None), None)
    fine = np.ones(3)
    sight = Sight(kind="camera", value=fine, sigma=fine * READ, usable=fine > 0)
    return Ladder(
        name=f"{inset.name}, chips",
        path=Path(inset.path),
        emitter=inset.lights[0].emitter,
        under=under,
        chips=tuple(Chip(name=c.name, layer=c.layer, sight=sight) for c in casts),
        tone=TONE,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Worth:
    """Everything that is needed to value a set of candidates."""

    model: Model
    spread: Spread
    inset: Inset

    def information(self) -> list[Array]:
        """J^T J of each candidate at each truth, shape (n_candidates, n, n) each."""
        found = []
        strengths = np.array([u.kind == "strength" for u in self.model.unknowns])
        for truth in TRUTHS:
            z = strengths * truth
            read = predicted(self.model, z[None])[0]
            sigma = np.hypot(READ * read, FLOOR)
            J = slopes(self.model, z) * (self.model.sigma / sigma)[:, None]
            J[read < DARK] = 0.0
            found.append(
                np.stack(
                    [
                        J[self.model.owner == i].T @ J[self.model.owner == i]
                        for i in range(len(self.model.ladder.chips))
                    ]
                )
            )
        return found


def _covariances(
    worth: _Worth, information: Sequence[Array], chosen: Sequence[int]
) -> list[Array]:
    prior = worth.model.root.T @ worth.model.root
    return [np.linalg.inv(prior + one[list(chosen)].sum(axis=0)) for one in information]


def _steps(worth: _Worth, casts: Sequence[Cast], most: int) -> tuple[Step, ...]:
    """Best set of each size: one and two by trying all, then one more at a time."""
    information = worth.information()

    def left(chosen: Sequence[int]) -> float:
        covariances = _covariances(worth, information, chosen)
        share = np.mean([_left(worth, c, chosen) for c in covariances]) / now
        return float(np.sqrt(share))

    now = sum(share for _, share in worth.spread.causes)
    best: tuple[int, ...] = ()
    steps = [Step(casts=(), left=1.0)]
    for size in range(1, min(most, len(casts)) + 1):
        if size <= 2:
            sets = list(combinations(range(len(casts)), size))
        else:
            sets = [(*best, i) for i in range(len(casts)) if i not in best]
        best = min(sets, key=left)
        ordered = tuple(casts[i] for i in sorted(best))
        steps.append(Step(casts=ordered, left=left(best)))
    return tuple(steps)


def _left(worth: _Worth, covariance: Array, chosen: Sequence[int]) -> float:
    """Share of Var(a*) + Var(b*) of the glow that these chips leave."""
    kept = _kept(worth, covariance, chosen)
    return sum(
        share * min(kept.get((cause.label.split(" of ")[0], cause.name), 1.0), 1.0) ** 2
        for cause, share in worth.spread.causes
    )


def _kept(
    worth: _Worth, covariance: Array, chosen: Sequence[int]
) -> dict[tuple[str, str], float]:
    """Deviation after over before of each cause that chips can teach about.

    What is reckoned is what will stand in the file: strength by the drop where all
    doses are counted and no drop was weighed, band shift and width one by one.
    """
    model, found = worth.model, {}
    in_chips = {t.colourant.name for i in chosen for t in model.tints[i]}
    for name, one in named(worth.inset).items():
        if name not in in_chips:
            continue
        for word, kind in (("hue", "shift"), ("purity", "width")):
            column = model.column(kind, name)
            if column is not None:
                found[word, name] = float(np.sqrt(covariance[column, column]))
        weights = np.zeros(len(model.unknowns))
        before = 0.0
        for kind in ("strength", "drop"):
            column = model.column(kind, name)
            if column is not None:
                weights[column] = model.unknowns[column].deviation
                before = before or weights[column]
        if before:
            after = float(np.sqrt(weights @ covariance @ weights))
            found["strength", name] = max(after, np.log(LEAST) / Z95) / before
        if isinstance(one, Bottle) and one.drop_spread > KNOWN_DROP:
            left = np.log(REPEATED_DROP) / np.log(one.drop_spread)
            found["dose", name] = float(left) if _drops(worth, chosen, name) else 1.0
    return found


def _drops(worth: _Worth, chosen: Sequence[int], name: str) -> bool:
    doses = [
        d for i in chosen for d in worth.model.ladder.chips[i].layer.dosed
        if d.colourant.name == name
    ]  # fmt: skip
    return bool(doses) and all(d.dose.unit == "drops" for d in doses)


def _numbers(casts: Sequence[Cast], chosen: Sequence[Cast]) -> list[int]:
    return [i for i, cast in enumerate(casts) if cast in chosen]


def _taught(worth: _Worth, chosen: Sequence[int]) -> dict[str, Colourant]:
    """Return every bottle and ink as its file would be after these chips."""
    covariances = _covariances(worth, worth.information(), chosen)
    each = [_kept(worth, covariance, chosen) for covariance in covariances]
    found = {}
    for name, one in named(worth.inset).items():
        kept = {
            word: float(np.sqrt(np.mean([k.get((word, name), 1.0) ** 2 for k in each])))
            for word in ("strength", "hue", "purity", "dose")
        }
        shift, width = shape_spread(one)
        doses = sum(name in {t.colourant.name for t in worth.model.tints[i]}
                    for i in chosen)  # fmt: skip
        grade = ("label-only", "chipped", "laddered")[min(doses, 2)]
        changed: dict[str, Any] = {
            "spread": float(one.spread ** min(kept["strength"], 1.0)),
            "shift": (one.shift[0] if one.shift else 0.0, shift * kept["hue"]),
            "width": (one.width[0] if one.width else 1.0, width ** kept["purity"]),
            "grade": one.grade if one.grade not in ("label-only", "chipped") else grade,
        }
        if isinstance(one, Bottle):
            changed["drop_spread"] = float(one.drop_spread ** kept["dose"])
        found[name] = replace(one, **changed) if doses else one
    return found


def _with(inset: Inset, new: dict[str, Colourant]) -> Inset:
    """Return the inset with its bottles and inks exchanged."""
    return replace(
        inset,
        layers=tuple(exchanged(layer, new) for layer in inset.layers),
        lights=tuple(
            replace(
                light,
                coats=exchanged(Layer(kind="film", coats=light.coats), new).coats,
            )
            for light in inset.lights
        ),
    )
