"""What chips teach about the bottles and inks in them.

The prior of a bottle is what its file says; the posterior is the same with the chips
counted. Evidence is what the chips alone add (`Evidence`), so that it can be combined
with other evidence in any order, and taken out again when the same chips are read anew.
Three numbers of a colourant are learned: its strength, the shift and the width of its
bands; strength and shift in each cure of the chips. They are kept one by one. That
their errors hang together (a strength with a shift by -0.8 to 0.5) would narrow the
deviation of the demo's glow by a fifth, but it is the camera that ties them: through
one at the edge of the family the 90 % interval of such a sum covers 0.4 to 0.6 of the
truths, and 0.92 with the errors taken one by one.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tintlab.causes import Z95
from tintlab.chips.evidence import KNOWN_DROP, LEAST, Evidence, Gaussian
from tintlab.chips.fit import Fit, Interval, fitted, interval
from tintlab.chips.ladder import (
    Ladder,
    as_cast,
    colourants,
    cures_of,
    with_colourants,
)
from tintlab.chips.model import colourant_curve, model_of, tint_factor
from tintlab.chips.suspect import Suspect, suspects
from tintlab.colourants import Bottle, Colourant, Ink
from tintlab.errors import InsetError
from tintlab.materials import Emitter
from tintlab.spectrum import WAVELENGTHS

Array = NDArray[np.float64]

LITTLE = 0.1  # least information, relative to the prior's, that counts as evidence


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Learned:
    """What was learned of one bottle or ink.

    Attributes
    ----------
    prior : Colourant
        As it was reckoned with.
    evidence : Evidence or None
        None when the chips say next to nothing.
    factor : Interval
        Logarithm of strength after over strength before.
    elsewhere : tuple of Evidence
        The same for every further cure of the chips.
    weighed : (float, float) or None
        Mass of one drop [g] and its 5-95 % factor, when drops were weighed.
    """

    prior: Colourant
    evidence: Evidence | None
    factor: Interval
    elsewhere: tuple[Evidence, ...] = ()
    weighed: tuple[float, float] | None = None

    @property
    def every(self) -> tuple[Evidence, ...]:
        """All evidence, of the cure that the bottle is known in first."""
        return (*((self.evidence,) if self.evidence else ()), *self.elsewhere)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Lesson:
    """What a ladder teaches.

    Attributes
    ----------
    ladder : Ladder
    fit : Fit
    learned : tuple of Learned
    suspects : tuple of Suspect
        What would explain a ladder that does not fit, likeliest first.
    """

    ladder: Ladder
    fit: Fit
    learned: tuple[Learned, ...]
    suspects: tuple[Suspect, ...]

    @property
    def fits(self) -> bool:
        """Whether the chips agree with what a clear dyed body can do."""
        return self.fit.fits


def learn(ladder: Ladder, *, emitters: Sequence[Emitter] = ()) -> Lesson:
    """Learn from a ladder.

    Parameters
    ----------
    ladder : Ladder
        Its bottles and inks hold the prior.
    emitters : sequence of Emitter
        LEDs that may have been used instead, asked when the ladder does not fit.

    Raises
    ------
    InsetError
        When nothing in the ladder can be used.
    """
    ladder, weighed = with_weighed(ladder)
    _refuse_mixed(ladder)
    model = model_of(ladder)
    if not model.value.size:
        raise InsetError(
            f"{ladder.path.name}: no channel of any chip can be used with the LED "
            f'"{ladder.emitter.name}"; meter the light, or use a white LED'
        )
    fit = fitted(model)
    found = () if fit.fits else suspects(fit, emitters)
    return Lesson(
        ladder=model.ladder,
        fit=fit,
        learned=tuple(
            _learned(fit, one, weighed.get(name))
            for name, one in colourants(model.ladder).items()
        ),
        suspects=found,
    )


def with_weighed(ladder: Ladder) -> tuple[Ladder, dict[str, tuple[float, float]]]:
    """Reckon with drops as they were weighed."""
    have = colourants(ladder)
    new: dict[str, Colourant] = {}
    found = {}
    for one in ladder.weighed:
        bottle = have.get(one.bottle)
        if not isinstance(bottle, Bottle):
            raise InsetError(
                f'{ladder.path.name}: drops of "{one.bottle}" were weighed, but no '
                "chip holds it; name a bottle of the chips"
            )
        spread = float(np.exp(Z95 * one.deviation))
        new[one.bottle] = replace(bottle, drop=one.drop, drop_spread=spread)
        found[one.bottle] = (one.drop, spread)
    return with_colourants(ladder, new), found


def _refuse_mixed(ladder: Ladder) -> None:
    dosed = {d.colourant.name for c in ladder.chips for d in c.layer.dosed}
    bathed = {b.colourant.name for c in ladder.chips for b in c.layer.bathed}
    if dosed & bathed:
        raise InsetError(
            f'{ladder.path.name}: "{min(dosed & bathed)}" is cast in one chip and a '
            "bath in another; these are two strengths; write two chips files"
        )


def quantity(ladder: Ladder, one: Colourant) -> str:
    """Return the key of the file that holds what is learned as strength."""
    if isinstance(one, Ink):
        return "peak_absorbance"
    bathed = {b.colourant.name for c in ladder.chips for b in c.layer.bathed}
    return "bath_rate" if one.name in bathed else "strength"


def strength_weights(
    fit: Fit, one: Colourant, cure: str | None = None
) -> tuple[Array, bool]:
    """Return the weights of z in the log of what counts as strength in one cure.

    The first cure of the chips is taken unless one is given. Where every dose was
    counted in drops that nobody weighed, what a drop colours is known far better than
    what a gram does; then that is the strength.
    """
    model = fit.model
    number = 0 if cure is None else cures_of(model.ladder, one).index(cure)
    weights = _weights(fit, one, "strength") + _weights(fit, one, "bleach", number)
    drop = model.column("drop", one.name)
    by_drop = drop is not None and isinstance(one, Bottle) and (
        one.drop_spread > KNOWN_DROP and _all_in_drops(model.ladder, one.name)
    )  # fmt: skip
    if by_drop:
        weights += _weights(fit, one, "drop")
    return weights, by_drop


def _weights(fit: Fit, one: Colourant, kind: str, number: int = 0) -> Array:
    """Return the deviation of one unknown at its place, 0 elsewhere."""
    weights = np.zeros(fit.z.size)
    column = fit.model.column(kind, one.name, number)
    if column is not None:
        weights[column] = fit.model.unknowns[column].deviation
    return weights


def _all_in_drops(ladder: Ladder, name: str) -> bool:
    doses = [d for c in ladder.chips for d in c.layer.dosed if d.colourant.name == name]
    return all(d.dose.unit == "drops" for d in doses)


def _learned(fit: Fit, one: Colourant, weighed: tuple[float, float] | None) -> Learned:
    first, *others = cures_of(fit.model.ladder, one)
    inside, evidence = _taught(fit, one, first)
    further = [_taught(fit, one, cure)[1] for cure in others]
    return Learned(
        prior=one,
        evidence=evidence,
        factor=inside,
        elsewhere=tuple(e for e in further if e is not None),
        weighed=weighed,
    )


def _taught(fit: Fit, one: Colourant, cure: str) -> tuple[Interval, Evidence | None]:
    """What the chips say of a bottle in one cure, or of an ink."""
    ladder, here = fit.model.ladder, as_cast(one, cure)
    weights, by_drop = strength_weights(fit, one, cure)
    inside = interval(fit, weights)
    wider = 1.0 if fit.fits else float(np.sqrt(fit.cost / fit.model.value.size))
    sigma = wider * max(inside.high - inside.middle, inside.middle - inside.low) / Z95
    base = float(np.log(_stated(ladder, here)))
    base += float(np.log(here.width[0])) if here.width else 0.0
    strength = _likelihood(
        Gaussian(mean=base, deviation=float(np.linalg.norm(weights))),
        Gaussian(mean=base + inside.middle + _peak(fit, one, cure), deviation=sigma),
        least=float(np.log(LEAST) / Z95),
    )
    if strength is None:
        return inside, None
    number = cures_of(ladder, one).index(cure)
    shift = _weights(fit, one, "shift") + _weights(fit, one, "cure shift", number)
    width = _weights(fit, one, "width")
    evidence = Evidence(
        key=ladder.key,
        chips=ladder.name,
        lot=ladder.lot,
        kind=_kind(ladder),
        cure=cure,
        doses=_doses(fit, one, cure),
        strength=strength,
        by_drop=by_drop,
        drop=one.drop if isinstance(one, Bottle) else 0.0,
        shift=_shape(fit, here.shift[0] if here.shift else 0.0, shift, wider),
        width=_shape(
            fit, float(np.log(here.width[0])) if here.width else 0.0, width, wider
        ),
        shares=_shares(fit, one),
        gain=_gain(fit, one),
        others=_others(fit, one, weights),
    )
    return inside, evidence


def _correlation(fit: Fit, a: Array, b: Array) -> float:
    """Correlation of the errors of two weighted sums of the unknowns."""
    C = fit.covariance
    whole = float(a @ C @ a) * float(b @ C @ b)
    return float(a @ C @ b) / float(np.sqrt(whole)) if whole > 0 else 0.0


def _others(fit: Fit, one: Colourant, weights: Array) -> dict[str, float]:
    """How the error of a strength hangs together with those of the others."""
    return {
        name: _correlation(fit, weights, strength_weights(fit, other)[0])
        for name, other in colourants(fit.model.ladder).items()
        if name != one.name
    }


def _stated(ladder: Ladder, one: Colourant) -> float:
    return float(getattr(one, quantity(ladder, one)))


def _kind(ladder: Ladder) -> str:
    kinds = {chip.sight.kind for chip in ladder.chips}
    kinds |= {"bath"} if any(chip.layer.bathed for chip in ladder.chips) else set()
    return ", ".join(sorted(kinds))


def _peak(fit: Fit, one: Colourant, cure: str) -> float:
    """Log of the maximum of the bands, shares moved, against that on file."""
    z = np.where([u.kind == "share" for u in fit.model.unknowns], fit.z, 0.0)
    curve = colourant_curve(fit.model, z[None], one, WAVELENGTHS, cure=cure)
    return float(np.log(curve.max()))


def _likelihood(
    prior: Gaussian, posterior: Gaussian, *, least: float = 0.0
) -> Gaussian | None:
    """Take the prior out of a posterior: what the chips alone say, None if little."""
    before, after = prior.deviation**-2, posterior.deviation**-2
    more = after - before
    if more < LITTLE * before:
        return None
    mean = (posterior.mean * after - prior.mean * before) / more
    return Gaussian(mean=mean, deviation=max(float(more**-0.5), least))


def _shape(fit: Fit, base: float, weights: Array, wider: float) -> Gaussian | None:
    """What the chips say of the shift or the log width of the bands, `base` on file."""
    if not weights.any():
        return None
    sigma = wider * float(np.sqrt(weights @ fit.covariance @ weights))
    after = Gaussian(mean=base + float(weights @ fit.z), deviation=sigma)
    before = Gaussian(mean=base, deviation=float(np.linalg.norm(weights)))
    return _likelihood(before, after)


def _shares(fit: Fit, one: Colourant) -> tuple[float, ...]:
    if len(one.dyes) < 2:
        return ()
    moved = [fit.model.moved(fit.z[None], "share", one.name, j)[0]
             for j in range(len(one.dyes))]  # fmt: skip
    return tuple(
        float(share * np.exp(log))
        for (_, share), log in zip(one.dyes, moved, strict=True)
    )


def _gain(fit: Fit, one: Colourant) -> float | None:
    if not isinstance(one, Ink) or fit.model.column("gain", one.name) is None:
        return None
    return float(one.gain * np.exp(fit.model.moved(fit.z[None], "gain", one.name)[0]))


def _doses(fit: Fit, one: Colourant, cure: str) -> tuple[float, ...]:
    """Peak absorbances of a colourant in the chips of one cure, low to high."""
    model = fit.model
    found = [
        tint.absorbance * float(tint_factor(model, fit.z[None], tint, cure=cure)[0])
        for chip, tints in zip(model.ladder.chips, model.tints, strict=True)
        for tint in tints
        if tint.colourant.name == one.name and chip.layer.cure in ("", cure)
    ]
    return tuple(sorted(found))
