"""What chips teach about the bottles and inks in them.

The prior of a bottle is what its file says; the posterior is the same with the chips
counted. Evidence is what the chips alone add (`Evidence`), so that it can be combined
with other evidence in any order, and taken out again when the same chips are read anew.
Three numbers of a colourant are learned: its strength, the shift and the width of its
bands. They are kept one by one; that they hang together makes a later spread a little
too wide, never too narrow.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tintlab.causes import Z95
from tintlab.chips.evidence import KNOWN_DROP, LEAST, Evidence, Gaussian
from tintlab.chips.fit import Fit, Interval, fitted, interval
from tintlab.chips.ladder import Ladder, colourants, with_colourants
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
    weighed : (float, float) or None
        Mass of one drop [g] and its 5-95 % factor, when drops were weighed.
    """

    prior: Colourant
    evidence: Evidence | None
    factor: Interval
    weighed: tuple[float, float] | None = None


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


def strength_weights(fit: Fit, one: Colourant) -> tuple[Array, bool]:
    """Return the weights of z in the log of what counts as strength.

    Where every dose was counted in drops that nobody weighed, what a drop colours is
    known far better than what a gram does; then that is the strength.
    """
    model = fit.model
    weights = np.zeros(fit.z.size)
    column = model.column("strength", one.name)
    if column is not None:
        weights[column] = model.unknowns[column].deviation
    drop = model.column("drop", one.name)
    by_drop = drop is not None and isinstance(one, Bottle) and (
        one.drop_spread > KNOWN_DROP and _all_in_drops(model.ladder, one.name)
    )  # fmt: skip
    if by_drop and drop is not None:
        weights[drop] = model.unknowns[drop].deviation
    return weights, by_drop


def _all_in_drops(ladder: Ladder, name: str) -> bool:
    doses = [d for c in ladder.chips for d in c.layer.dosed if d.colourant.name == name]
    return all(d.dose.unit == "drops" for d in doses)


def _learned(fit: Fit, one: Colourant, weighed: tuple[float, float] | None) -> Learned:
    weights, by_drop = strength_weights(fit, one)
    inside = interval(fit, weights)
    wider = 1.0 if fit.fits else float(np.sqrt(fit.cost / fit.model.value.size))
    sigma = wider * max(inside.high - inside.middle, inside.middle - inside.low) / Z95
    base = float(np.log(_stated(fit.model.ladder, one)))
    base += float(np.log(one.width[0])) if one.width else 0.0
    strength = _likelihood(
        Gaussian(mean=base, deviation=float(np.linalg.norm(weights))),
        Gaussian(mean=base + inside.middle + _peak(fit, one), deviation=sigma),
        least=float(np.log(LEAST) / Z95),
    )
    evidence = None
    if strength is not None:
        evidence = Evidence(
            key=fit.model.ladder.key,
            chips=fit.model.ladder.name,
            lot=fit.model.ladder.lot,
            kind=_kind(fit.model.ladder),
            doses=_doses(fit, one),
            strength=strength,
            by_drop=by_drop,
            drop=one.drop if isinstance(one, Bottle) else 0.0,
            shift=_shape(fit, one, "shift", wider),
            width=_shape(fit, one, "width", wider),
            shares=_shares(fit, one),
            gain=_gain(fit, one),
        )
    return Learned(prior=one, evidence=evidence, factor=inside, weighed=weighed)


def _stated(ladder: Ladder, one: Colourant) -> float:
    return float(getattr(one, quantity(ladder, one)))


def _kind(ladder: Ladder) -> str:
    kinds = {chip.sight.kind for chip in ladder.chips}
    kinds |= {"bath"} if any(chip.layer.bathed for chip in ladder.chips) else set()
    return ", ".join(sorted(kinds))


def _peak(fit: Fit, one: Colourant) -> float:
    """Log of the maximum of the bands, shares moved, against that on file."""
    z = np.where([u.kind == "share" for u in fit.model.unknowns], fit.z, 0.0)
    curve = colourant_curve(fit.model, z[None], one, WAVELENGTHS)
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


def _shape(fit: Fit, one: Colourant, kind: str, wider: float) -> Gaussian | None:
    """What the chips say of the shift or the log width of the bands."""
    column = fit.model.column(kind, one.name)
    if column is None:
        return None
    deviation = fit.model.unknowns[column].deviation
    on_file = one.shift if kind == "shift" else one.width
    here = on_file[0] if on_file else float(kind == "width")
    base = float(np.log(here)) if kind == "width" else here
    sigma = wider * deviation * float(np.sqrt(fit.covariance[column, column]))
    after = Gaussian(mean=base + deviation * float(fit.z[column]), deviation=sigma)
    return _likelihood(Gaussian(mean=base, deviation=deviation), after)


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


def _doses(fit: Fit, one: Colourant) -> tuple[float, ...]:
    """Peak absorbances of a colourant in the chips, as fitted, low to high."""
    found = [
        tint.absorbance * float(tint_factor(fit.model, fit.z[None], tint)[0])
        for tints in fit.model.tints
        for tint in tints
        if tint.colourant.name == one.name
    ]
    return tuple(sorted(found))
