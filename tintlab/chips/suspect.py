"""Why a ladder does not fit: one thing more that may be wrong, tried in turn.

Each suspect is the same model with one unknown more (a dose miscounted, a grey loss,
own light), or with another LED, or with two chips changed over. The one that lowers the
sum of squares most, its rarity counted, is named.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np

from tintlab.causes import OWN_GLOW
from tintlab.chips.fit import Fit, fitted
from tintlab.chips.ladder import colourants
from tintlab.chips.model import model_of
from tintlab.chips.unknown import LOOSE, SCATTER, Unknown
from tintlab.materials import Emitter

# -2 ln of how rare each is against the others; assumed
RARE = {
    "drop error": 3.0,
    "scatters": 3.0,
    "glows by itself": 4.0,
    "wrong emitter": 4.0,
    "chips swapped": 3.0,
}
BODIES = (
    (
        "scatters",
        "scatter",
        SCATTER,
        "loses light of every colour with the dose: pigment, bubbles, loose dye",
    ),
    (
        "glows by itself",
        "own glow",
        OWN_GLOW,
        "gives back light that it took: read it over an LED that it lets pass",
    ),
)
BETTER = 4.0  # how much lower the sum of squares must be to name anything


@dataclass(frozen=True, slots=True, kw_only=True)
class Suspect:
    """One explanation.

    Attributes
    ----------
    word : str
        "scatters", "glows by itself", "wrong emitter", "drop error", "chips swapped".
    sentence : str
        What it would mean here.
    gain : float
        By how much it lowers the sum of squares, its rarity counted.
    """

    word: str
    sentence: str
    gain: float


def suspects(fit: Fit, emitters: Sequence[Emitter]) -> tuple[Suspect, ...]:
    """Rank what would explain a ladder that does not fit."""
    found = [
        Suspect(word=word, sentence=sentence, gain=fit.cost - cost - RARE[word])
        for word, sentence, cost in _tried(fit, emitters)
    ]
    found.sort(key=lambda one: -one.gain)
    return tuple(one for one in found if one.gain > BETTER)


def _tried(fit: Fit, emitters: Sequence[Emitter]) -> Iterator[tuple[str, str, float]]:
    yield from _doses(fit)
    yield from _bodies(fit)
    yield from _swaps(fit)
    yield from _lights(fit, emitters)


def _with(fit: Fit, extra: Unknown) -> tuple[float, float]:
    """Fit with one unknown more: the sum of squares, and deviation times z of it."""
    model = model_of(fit.model.ladder, extra=[extra], base=fit.model)
    other = fitted(model)
    moved = model.moved(other.z[None], extra.kind, extra.name, extra.number)
    return other.cost, float(moved[0])


def _doses(fit: Fit) -> Iterator[tuple[str, str, float]]:
    for chip, tints in zip(fit.model.ladder.chips, fit.model.tints, strict=True):
        for j, tint in enumerate(tints):
            extra = Unknown(kind="dose", name=chip.name, number=j, deviation=LOOSE)
            cost, log = _with(fit, extra)
            yield (
                "drop error",
                (
                    f'the chip "{chip.name}" looks as if it held {np.exp(log):.2g} '
                    f"times the {tint.colourant.name} that is written; weigh it anew"
                ),
                cost,
            )


def _bodies(fit: Fit) -> Iterator[tuple[str, str, float]]:
    for name in colourants(fit.model.ladder):
        for word, kind, deviation, sentence in BODIES:
            extra = Unknown(kind=kind, name=name, deviation=deviation)
            cost, share = _with(fit, extra)
            if share > 0:
                yield word, f"{name} {sentence}", cost


def _swaps(fit: Fit) -> Iterator[tuple[str, str, float]]:
    chips = fit.model.ladder.chips
    for i, j in combinations(range(len(chips)), 2):
        new = list(chips)
        new[i] = replace(chips[i], sight=chips[j].sight)
        new[j] = replace(chips[j], sight=chips[i].sight)
        ladder = replace(fit.model.ladder, chips=tuple(new))
        cost = fitted(model_of(ladder, base=fit.model)).cost
        yield (
            "chips swapped",
            (
                f'"{chips[i].name}" and "{chips[j].name}" look changed over; check the '
                "marks and the labels"
            ),
            cost,
        )


def _lights(fit: Fit, emitters: Sequence[Emitter]) -> Iterator[tuple[str, str, float]]:
    for emitter in emitters:
        if emitter.name == fit.model.ladder.emitter.name:
            continue
        ladder = replace(fit.model.ladder, emitter=emitter)
        model = model_of(ladder, base=fit.model)
        if model.value.size < fit.model.value.size:
            continue
        yield (
            "wrong emitter",
            (
                f'the LED looks like "{emitter.name}" rather than '
                f'"{fit.model.ladder.emitter.name}"; check which one was used'
            ),
            fitted(model).cost,
        )
