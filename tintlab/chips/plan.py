"""Which chips to cast: those that narrow the spread of the wanted glow most.

Every dose of a small grid is a candidate. What a set of chips would teach is reckoned
before any is cast: the slopes of its readings by all unknowns give the covariance that
would be left (Gauss-Newton information), at three strengths the bottles may turn out to
have. The set is chosen whose leftover spread of a* and b* of the *glow* is least; a chip
more is asked for only when it is worth it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tintlab.chips.evidence import KNOWN_DROP, LEAST, REPEATED_DROP
from tintlab.chips.fit import slopes
from tintlab.chips.ladder import Chip, Ladder, Sight, exchanged
from tintlab.chips.model import FLOOR, Model, model_of, predicted
from tintlab.errors import InsetError
from tintlab.glow import look, piece_of, strength
from tintlab.inset import Coats, Dosed, Inset, Layer
from tintlab.materials import Bottle, Colourant, Ink, shape_spread
from tintlab.optics import coats_absorbance
from tintlab.spread import Spread, Z95, spread_of
from tintlab.units import Dose
from tintlab.uptake import sheet_absorbance

Array = NDArray[np.float64]

AIM = (0.3, 0.9)  # peak absorbance of a chip that a camera reads well
FEWEST_DROPS, MOST_DROPS = 1, 40
LET_DOWNS = (10, 20, 50, 100, 400)  # parts of part A to one of liquid, by weight
GRAMS = (0.5, 1.0, 1.5, 2.0)  # [g] of a let-down in one chip's batch
MINUTES = (1.0, 2.0, 4.0, 8.0, 15.0, 30.0, 60.0)  # of a strip in the bath
EACH = 4  # candidates a bottle
TRUTHS = (-1.0, 0.0, 1.0)  # z of the strengths at which the worth is reckoned
READ = 0.03  # relative error of a channel ratio that a careful photo gives; assumed
TONE = 0.05  # deviation of its tone exponent, two exposures taken; assumed
DARK = 0.03  # channels darker than this teach nothing
WORTH = 0.07  # a chip more must lower the glow's spread by this share
MOST = 4


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cast:
    """One chip to make.

    Attributes
    ----------
    name, colourant, amount : str
        "amount" is a dose, minutes or coats as it stands in a chips file.
    layer : Layer
    absorbance : float
        Expected peak absorbance. [-]
    """

    name: str
    colourant: str
    amount: str
    layer: Layer
    absorbance: float


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
        factors={n: (one.spread, taught[n].spread) for n, one in _named(inset).items()},
        weigh=tuple(
            name
            for name, one in _named(inset).items()
            if isinstance(one, Bottle) and one.drop_spread > KNOWN_DROP
            and any(c.colourant == name and "drop" in c.amount for c in chosen.casts)
        ),
    )  # fmt: skip


def _worth_it(steps: Sequence[Step]) -> Step:
    """Return the last step before one that hardly helps; one chip at the least."""
    for here, more in zip(steps[1:], steps[2:], strict=False):
        if more.left > here.left * (1 - WORTH):
            return here
    return steps[-1]


# ------------------------------------------------------------ candidates


def _named(inset: Inset) -> dict[str, Colourant]:
    """Bottles and inks of an inset by name."""
    found: dict[str, Colourant] = {}
    coats = [c for light in inset.lights for c in light.coats]
    for layer in inset.layers:
        parts = [d.colourant for d in layer.dosed]
        found |= {p.name: p for p in parts if isinstance(p, Bottle)}
        found |= {b.colourant.name: b.colourant for b in layer.bathed}
        coats += layer.coats
    return found | {c.ink.name: c.ink for c in coats}


def candidates(inset: Inset, *, batch: float, thickness: float) -> tuple[Cast, ...]:
    """Return a small grid of chips for every bottle and ink of an inset."""
    found: list[Cast] = []
    for layer in inset.layers:
        for dosed in layer.dosed:
            if isinstance(dosed.colourant, Bottle):
                found += _doses(layer, dosed.colourant, batch, thickness)
        for bathed in layer.bathed:
            found += _picked(_strips(layer, bathed.colourant.name))
    coats = [c for light in inset.lights for c in light.coats]
    coats += [c for layer in inset.layers for c in layer.coats]
    for ink in {c.ink.name: c.ink for c in coats}.values():
        found += _picked(_coats(ink))
    unique = {(c.colourant, c.amount): c for c in found}
    return tuple(unique.values())


def _picked(every: Iterator[Cast]) -> list[Cast]:
    """Keep candidates in the range that a camera reads well, evenly spread."""
    casts = sorted(every, key=lambda c: c.absorbance)
    inside = [c for c in casts if AIM[0] <= c.absorbance <= AIM[1]]
    if not inside:
        middle = np.sqrt(AIM[0] * AIM[1])
        return sorted(casts, key=lambda c: abs(np.log(c.absorbance / middle)))[:1]
    at = np.linspace(0, len(inside) - 1, min(EACH, len(inside))).round().astype(int)
    return [inside[i] for i in dict.fromkeys(at.tolist())]


def _doses(layer: Layer, bottle: Bottle, batch: float, thickness: float) -> list[Cast]:
    """Whole drops; let down where one drop is too much."""
    medium = layer.medium
    if medium is None:
        raise TypeError("a dosed layer has a medium")
    per_gram = strength(bottle, medium) / batch * 1000 * thickness  # absorbance per g

    def cast(dose: Dose, grams: float) -> Cast:
        dosed = Dosed(
            colourant=bottle,
            dose=dose,
            grams=grams,
            per_kg=grams / (batch + grams) * 1000,
        )
        chip = replace(
            layer,
            thickness=thickness,
            batch=batch,
            dosed=(dosed,),
            finish="polished",
            back="polished",
        )
        return Cast(
            name=f"{bottle.name}, {dose}",
            colourant=bottle.name,
            amount=str(dose),
            layer=chip,
            absorbance=per_gram * grams,
        )

    if per_gram * bottle.drop <= AIM[1]:
        drops = range(FEWEST_DROPS, MOST_DROPS + 1)
        return _picked(
            cast(Dose(amount=n, unit="drops"), n * bottle.drop) for n in drops
        )
    return _picked(
        cast(Dose(amount=g, unit="g", let_down=1 / (1 + n)), g / (1 + n))
        for n in LET_DOWNS
        for g in GRAMS
    )


def _strips(layer: Layer, name: str) -> Iterator[Cast]:
    bathed = next(b for b in layer.bathed if b.colourant.name == name)
    for minutes in MINUTES:
        absorbance = sheet_absorbance(
            minutes=minutes,
            rate=bathed.rate,
            saturation=bathed.saturation,
            thickness=layer.thickness,
            faces=bathed.faces,
        )
        chip = replace(layer, bathed=(replace(bathed, minutes=minutes),))
        yield Cast(
            name=f"{name}, {minutes:g} min",
            colourant=name,
            amount=f"{minutes:g} min",
            layer=replace(chip, finish="polished", back="polished"),
            absorbance=float(absorbance),
        )


def _coats(ink: Ink) -> Iterator[Cast]:
    for count in (1, 2, 3, 4):
        absorbance = coats_absorbance(
            first=ink.peak_absorbance, coats=count, gain=ink.gain
        )
        yield Cast(
            name=f"{ink.name}, {count} coat" + "s" * (count > 1),
            colourant=ink.name,
            amount=f"{count} coat" + "s" * (count > 1),
            layer=Layer(kind="film", coats=(Coats(ink=ink, count=count),)),
            absorbance=float(absorbance),
        )


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


# ------------------------------------------------------------ what they are worth


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


def _covariances(information: Sequence[Array], chosen: Sequence[int]) -> list[Array]:
    n = information[0].shape[-1]
    return [
        np.linalg.inv(np.eye(n) + one[list(chosen)].sum(axis=0)) for one in information
    ]


def _steps(worth: _Worth, casts: Sequence[Cast], most: int) -> tuple[Step, ...]:
    """Best set of each size: one and two by trying all, then one more at a time."""
    information = worth.information()

    def left(chosen: Sequence[int]) -> float:
        covariances = _covariances(information, chosen)
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
    for name, one in _named(worth.inset).items():
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
    covariances = _covariances(worth.information(), chosen)
    each = [_kept(worth, covariance, chosen) for covariance in covariances]
    found = {}
    for name, one in _named(worth.inset).items():
        kept = {
            word: float(np.sqrt(np.mean([k.get((word, name), 1.0) ** 2 for k in each])))
            for word in ("strength", "hue", "purity", "dose")
        }
        shift, width = shape_spread(one)
        doses = sum(name in {t.colourant.name for t in worth.model.tints[i]}
                    for i in chosen)  # fmt: skip
        grade = ("label-only", "chipped", "laddered")[min(doses, 2)]
        changed = {
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
