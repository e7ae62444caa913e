"""Why is it off? What was seen of the finished piece, set against what is plausible.

Every cause of the spread is a standard normal number before anything is seen. What the
maker saw (an estimated colour, a photo's channel ratios, a light-meter ratio, the
colour under another LED) has an error of its own. The most probable causes together
give the piece as it really is; each cause by itself gives its probability as a suspect.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tintlab.causes import Cause, Draw, blank, causes_of, draw_scales
from tintlab.colorimetry import spectrum_to_XYZ
from tintlab.colourants import shape_of
from tintlab.glow import look
from tintlab.inset import Inset
from tintlab.materials import Emitter
from tintlab.piece import Piece
from tintlab.shelf import Shelf
from tintlab.solve.sights import Sight, sights_of
from tintlab.solve.trim import with_emitter
from tintlab.spread import powers

Array = NDArray[np.float64]

MISCOUNT = np.log(3.0)  # log deviation of a dose that was miscounted; assumed
RARE = 0.15  # prior of a blunder against an ordinary cause; assumed
LEAK = 0.03  # deviation of undyed light that leaks past the layer; assumed
ROUNDS = 12
MOVED = 0.3  # deviations below which a cause stays where it was reckoned
GRID = np.linspace(-4, 4, 25)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Suspect:
    """One thing that alone would explain what was seen, and how probable it is."""

    label: str
    probability: float
    change: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Finding:
    """What the sights teach.

    Attributes
    ----------
    piece : Piece
        As it really is, most probably.
    suspects : tuple of Suspect
        Ranked; their probabilities and that of "nothing is off" sum to 1.
    nothing : float
        Probability that everything is as written and only the look was misjudged.
    next_look : str
        The one thing to look at next.
    strengths : dict
        Factor on the strength of each bottle or ink, by name.
    misfit : float
        Squared error left over, per number seen; above 4 no cause explains it.
    """

    piece: Piece
    suspects: tuple[Suspect, ...]
    nothing: float
    next_look: str
    strengths: dict[str, float]
    misfit: float


def has_sights(inset: Inset) -> bool:
    """Whether the file says what was seen."""
    return bool(inset.seen)


def find_out(inset: Inset, piece: Piece, shelf: Shelf) -> Finding:
    """Update a piece by what was seen of it.

    Parameters
    ----------
    inset : Inset
        With `[seen]`.
    piece : Piece
        As planned.
    shelf : Shelf
        Where LEDs that are named, and those that may have been swapped in, are found.

    Raises
    ------
    InsetError
        When `[seen]` holds nothing that can be used, or something unknown.
    """
    now = look(inset, piece=piece)
    sights = sights_of(inset, piece, now, shelf)
    causes = [*causes_of(inset, piece), *_blunders(piece)]
    z = _most_probable(sights, causes, piece)
    suspects, nothing = _suspects(inset, piece, sights, causes, shelf)
    draw = _moved(causes, piece, z[None])
    return Finding(
        piece=_as_found(piece, draw),
        suspects=suspects,
        nothing=nothing,
        next_look=_next_look(suspects, {sight.name for sight in sights}),
        strengths=_strengths(piece, draw),
        misfit=float(np.mean(_errors(sights, draw) ** 2)),
    )


# ------------------------------------------------------------ what explains it


def _blunders(piece: Piece) -> list[Cause]:
    """What the plan does not know of: undyed light that leaks, doses miscounted."""

    def leaks(draw: Draw, z: Array) -> Draw:
        return replace(draw, leak=draw.leak + np.abs(z) * LEAK)

    leak = Cause(
        label="light that leaks past the dye",
        kind="leak",
        name="",
        unmeasured=False,
        move=leaks,
    )
    return [
        leak,
        *_miscounts(piece),
    ]


def _miscounts(piece: Piece) -> list[Cause]:
    return [
        Cause(
            label=f"dose of {tint.colourant.name} miscounted",
            kind="miscount",
            name=tint.colourant.name,
            unmeasured=False,
            move=draw_scales([i], float(MISCOUNT)),
        )
        for i, tint in enumerate(piece.tints)
        if tint.place[0] == "slab" and tint.absorbance > 0
    ]


def _moved(causes: Sequence[Cause], piece: Piece, z: Array) -> Draw:
    """Draws with all causes moved, z of shape (n, n_causes)."""
    draw = blank(len(z), piece)
    for i, cause in enumerate(causes):
        draw = cause.move(draw, z[:, i])
    return draw


def _errors(sights: Sequence[Sight], draw: Draw) -> Array:
    """Errors in units of their sigma, shape (n, all numbers seen)."""
    return np.concatenate(
        [(s.predict(draw) - s.value) / s.sigma for s in sights], axis=-1
    )


def _most_probable(
    sights: Sequence[Sight], causes: Sequence[Cause], piece: Piece
) -> Array:
    """Maximum a posteriori z by damped Gauss-Newton steps; blunders stay out."""
    free = np.array([cause.kind != "miscount" for cause in causes], dtype=float)
    n, h = len(causes), 0.02
    z, damping = np.zeros(n), 0.1

    def cost(z: Array) -> float:
        error = _errors(sights, _moved(causes, piece, z[None]))[0]
        return float(error @ error + z @ z)

    now = cost(z)
    for _ in range(ROUNDS):
        steps = np.vstack([z, z + h * np.eye(n), z - h * np.eye(n)])
        errors = _errors(sights, _moved(causes, piece, steps))
        J = (errors[1 : n + 1] - errors[n + 1 :]).T / (2 * h) * free
        A = J.T @ J + np.eye(n)
        step = np.linalg.solve(
            A + damping * np.diag(np.diag(A)), -(J.T @ errors[0] + z)
        )
        new = cost(z + step)
        if new < now:
            z, now, damping = z + step, new, damping / 5
        else:
            damping *= 5
    return z


def _suspects(
    inset: Inset,
    piece: Piece,
    sights: Sequence[Sight],
    causes: Sequence[Cause],
    shelf: Shelf,
) -> tuple[tuple[Suspect, ...], float]:
    """Evidence for each cause moved alone, and for each other LED."""
    weights = np.exp(-(GRID**2) / 2)
    weights /= weights.sum()
    z = np.zeros((len(causes) * GRID.size, len(causes)))
    for i in range(len(causes)):
        z[i * GRID.size : (i + 1) * GRID.size, i] = GRID
    errors = _errors(sights, _moved(causes, piece, z))
    likelihood = _likelihood(errors).reshape(len(causes), GRID.size)
    evidence = [
        float(row @ weights) * (RARE if cause.kind == "miscount" else 1.0)
        for cause, row in zip(causes, likelihood, strict=True)
    ]
    best = GRID[np.argmax(likelihood * weights, axis=1)]
    labels, changes, evidence = _grouped(causes, piece, best, evidence)
    for emitter in _others(inset, shelf):
        other = with_emitter(piece, emitter)
        swapped = [s for s in sights_of(inset, other, look(inset, piece=other), shelf)
                   if not s.name.startswith("colour under")]  # fmt: skip
        error = _errors(swapped, blank(1, other))[0] if swapped else np.array([9.0])
        evidence.append(RARE / 3 * float(_likelihood(error)))
        labels.append(f"the LED is {emitter.name}")
        changes.append(f"another LED: {emitter.name}")
    still = _errors(sights, blank(1, piece))[0]
    nothing = float(_likelihood(still))
    total = sum(evidence) + nothing
    if total <= 0:
        return (), 0.0
    ranked = sorted(
        (
            Suspect(label=label, probability=e / total, change=change)
            for label, e, change in zip(labels, evidence, changes, strict=True)
        ),
        key=lambda suspect: -suspect.probability,
    )
    return tuple(s for s in ranked if s.probability > 0.01), nothing / total


def _grouped(
    causes: Sequence[Cause], piece: Piece, best: Array, evidence: Sequence[float]
) -> tuple[list[str], list[str], list[float]]:
    """Labels, changes and evidence of suspects.

    A stronger bottle, more of it and a miscount look alike: they are one suspect. A
    cause that fits best where it was reckoned explains nothing and is left out.
    """
    amounts = ("strength", "dose", "miscount")
    groups: dict[tuple[str, str], list[int]] = {}
    for i, cause in enumerate(causes):
        alike = cause.name and cause.kind in amounts
        key = ("amount", cause.name) if alike else (cause.kind, cause.label)
        if abs(best[i]) >= MOVED:
            groups.setdefault(key, []).append(i)
    labels, changes, sums = [], [], []
    for (kind, name), members in groups.items():
        first = max(members, key=lambda i: evidence[i])
        together = kind == "amount" and len(members) > 1
        labels.append(
            f"strength or dose of {name}" if together else causes[first].label
        )
        changes.append(_change(causes[first], piece, float(best[first])))
        sums.append(float(sum(evidence[i] for i in members)))
    return labels, changes, sums


def _likelihood(errors: Array) -> Array:
    """Student's t with 4 degrees of freedom: an eye or a meter may be quite wrong."""
    return np.asarray(((1 + errors**2 / 4) ** -2.5).prod(axis=-1))


def _others(inset: Inset, shelf: Shelf) -> list[Emitter]:
    """Other LEDs that may have been put in: the maker's own, and all whites."""
    here = {light.emitter.name for light in inset.lights}
    return [
        emitter
        for emitter in shelf.all("emitters")
        if emitter.name not in here and emitter.kind == inset.lights[0].emitter.kind
    ]


def _change(cause: Cause, piece: Piece, z: float) -> str:
    """Say what a cause at z would mean."""
    draw = cause.move(blank(1, piece), np.array([z]))
    factor = draw.scale[0][np.abs(np.log(draw.scale[0])).argmax()] if piece.tints else 1
    if draw.leak[0] > piece.leak:
        return f"{draw.leak[0] * 100:.1f} % of the undyed light"
    if abs(np.log(factor)) > 0.005:
        return f"{factor:.2g} times what was reckoned"
    if piece.tints and np.abs(draw.shift[0]).max() > 0.05:
        return f"band {draw.shift[0][np.abs(draw.shift[0]).argmax()]:+.0f} nm off"
    if piece.tints and np.abs(np.log(draw.broadening[0])).max() > 0.005:
        return f"band {draw.broadening[0].max():.2f} times as wide"
    if draw.own.any():
        return f"gives back {draw.own.max() * 100:.0f} % of the light it takes"
    return f"{z:+.1f} deviations off"


def _next_look(suspects: Sequence[Suspect], seen: set[str]) -> str:
    """The one look that tells the likeliest suspects apart; common practice."""
    labels = " ".join(s.label for s in suspects[:3])
    first = suspects[0].label if suspects else ""
    if "LED" in labels and not any("under" in name for name in seen):
        return (
            "look at the bare LED beside a known one, or at the piece over another LED"
        )
    if "thickness" in first:
        return "measure the depth of the layer with calipers"
    if "light" not in seen:
        return "meter the light of the piece and of an undyed one, same place, same LED"
    if "coat" in labels or "ink" in labels:
        return "meter one LED with its coats against a bare one"
    if not any("under" in name for name in seen):
        return "look at the piece over a second LED, cool if this one is warm"
    return "cast a chip of the first suspect at a known dose"


# ------------------------------------------------------------ the piece as it is


def _as_found(piece: Piece, draw: Draw) -> Piece:
    """Move a piece to the first draw."""
    tints = []
    for i, tint in enumerate(piece.tints):
        shift, wide = float(draw.shift[0, i]), float(draw.broadening[0, i])
        shape = tint.shape
        if shift or wide != 1:
            shape = shape_of(tint.colourant, shift=shift, broadening=wide)
        absorbance = tint.absorbance * float(draw.scale[0, i])
        tints.append(replace(tint, shape=shape, absorbance=absorbance))
    beams = []
    for j, beam in enumerate(piece.beams):
        power = powers(beam.power, beam.light.emitter, draw.tilt[:, j])
        power = power[0] if power.ndim > 1 else power
        same = spectrum_to_XYZ(beam.power)[1] / spectrum_to_XYZ(power)[1]
        beams.append(replace(beam, power=power * same))
    return replace(
        piece, tints=tuple(tints), beams=tuple(beams), leak=float(draw.leak[0])
    )


def _strengths(piece: Piece, draw: Draw) -> dict[str, float]:
    return {
        tint.colourant.name: float(draw.scale[0, i])
        for i, tint in enumerate(piece.tints)
    }
