"""How sure a prediction is: plausible outcomes and which cause moves them most.

Every cause is a standard normal number z: log-normal for strengths, doses, drops and
thickness (5-95 % at z = -+1.645), shifts and widths for band shapes, a disc for the
bin of an LED. The joint outcomes are a seeded Latin hypercube; each cause is also
moved alone, which gives first-order shares of Var(a*) + Var(b*).

Samples are solved on every 5th nanometre (10th where something scatters), as ratios
to the piece itself, which are smooth; spectra are summed at 1 nm.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from tintlab import yardstick
from tintlab.colorimetry import (
    XYZ_to_Lab,
    XYZ_to_uv,
    spectrum_to_XYZ,
)
from tintlab.glow import (
    Look,
    Piece,
    Tint,
    miss,
    solve_piece,
    thinned,
    tint_depths,
    transfers,
)
from tintlab.inset import Bathed, Dosed, Inset
from tintlab.materials import (
    Bottle,
    Colourant,
    Dye,
    Emitter,
    Ink,
    dyes_of,
    lobes_power,
    shape_of,
    shape_spread,
    unmeasured,
)
from tintlab.spectrum import WAVELENGTHS

Array = NDArray[np.float64]

Z95 = NormalDist().inv_cdf(0.95)  # 1.645
SEED = 20250101
THICKNESS = 0.03  # standard deviation of a layer's thickness, at least; assumed
CALIPER = 0.1  # [mm] standard deviation of a thickness taken with calipers; assumed
SCALE = 0.1  # [g] step of the scale; half of it is the limit of a reading
FINE = 0.05  # relative standard deviation of a dose below half a step; assumed
LIGHT = 0.15  # relative standard deviation of stated lumens; assumed
LIGHT_ASSUMED = 0.45  # the same where lumens are a typical value; assumed
BIN_STEP = 0.0011  # u'v' radius of one step, CIE TN 001:2014 (from memory)
OWN_GLOW = 0.15  # share of absorbed light given back, one deviation; assumed
STOKES_SHIFT, EMISSION_WIDTH = 25.0, 40.0  # [nm] of that light; assumed
PUMP = 500.0  # [nm] light below this makes fluorescent dyes glow
ALONE = 9  # points at which one cause is moved by itself


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Cause:
    """One thing that is not known exactly.

    Attributes
    ----------
    label : str
        In a maker's words.
    kind : str
        "strength", "shape", "dose", "thickness", "coats", "bin" or "light".
    name : str
        Of the material it belongs to.
    unmeasured : bool
        True when a test chip would settle it.
    move : callable
        Takes a `Draw` and z of shape (n,) and returns the moved `Draw`.
    """

    label: str
    kind: str
    name: str
    unmeasured: bool
    move: Callable[["Draw", Array], "Draw"]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Draw:
    """n plausible pieces.

    Attributes
    ----------
    scale, shift, broadening : ndarray, shape (n, n_tints)
        Of each tint: factor on its absorbance, band shift [nm], width factor.
    tilt : ndarray, shape (n, n_beams, 2)
        Steps within the bin of each LED, in standard deviations.
    light : ndarray, shape (n,)
        Factor on all light.
    own : ndarray, shape (n, n_tints)
        Share of the absorbed light that a fluorescent dye gives back.
    leak : ndarray, shape (n,)
        Share of the undyed piece's light that gets past the dyes.
    """

    scale: Array
    shift: Array
    broadening: Array
    tilt: Array
    light: Array
    own: Array
    leak: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Spread:
    """What could come out.

    Attributes
    ----------
    XYZ : ndarray, shape (n, 3)
        Plausible glows with their veil, relative to the undyed piece.
    Lab : ndarray, shape (n, 3)
    light_kept, luminance_ratio : ndarray, shape (n,)
        Light kept, and luminance relative to the prediction. [-]
    difference : ndarray, shape (n,), or None
        To the target, as `glow.miss`.
    within : float or None
        Share of outcomes within the tolerance. [-]
    causes : tuple of (Cause, float)
        Ranked by their share of Var(a*) + Var(b*).
    together : float
        Share that is left for causes acting together. [-]
    """

    XYZ: Array
    Lab: Array
    light_kept: Array
    luminance_ratio: Array
    difference: Array | None
    within: float | None
    causes: tuple[tuple[Cause, float], ...]
    together: float


def spread_of(
    inset: Inset, piece: Piece, look: Look, *, samples: int = 200, seed: int = SEED
) -> Spread:
    """Draw plausible outcomes of an inset.

    Parameters
    ----------
    inset, piece, look
        The prediction itself.
    samples : int
        Joint outcomes.
    seed : int
        Of the random numbers; the same seed gives the same outcomes.
    """
    causes = causes_of(inset, piece)
    outcome = outcomes(piece, look)
    z = _hypercube(samples, len(causes), seed)
    joint = blank(samples, piece)
    for i, cause in enumerate(causes):
        joint = cause.move(joint, z[:, i])
    XYZ, kept, ratio = outcome(joint)
    Lab = XYZ_to_Lab(_scaled(inset, XYZ))
    total = float(Lab[:, 1:].var(axis=0).sum())
    shares = _alone(inset, piece, causes, outcome)
    ranked = sorted(
        zip(causes, [s / total if total > 0 else 0.0 for s in shares], strict=True),
        key=lambda pair: -pair[1],
    )
    gaps = miss(inset, XYZ)
    return Spread(
        XYZ=XYZ,
        Lab=XYZ_to_Lab(XYZ),
        light_kept=kept,
        luminance_ratio=ratio,
        difference=gaps,
        within=None if gaps is None else float((gaps <= _tolerance(inset)).mean()),
        causes=tuple(ranked),
        together=max(0.0, 1 - sum(share for _, share in ranked)) if total > 0 else 0.0,
    )


def _alone(
    inset: Inset,
    piece: Piece,
    causes: Sequence[Cause],
    outcome: Callable[[Draw], tuple[Array, Array, Array]],
) -> list[float]:
    """Var(a*) + Var(b*) of each cause moved by itself, all in one draw."""
    if not causes:
        return []
    normal = NormalDist()
    z = np.array([normal.inv_cdf((i + 0.5) / ALONE) for i in range(ALONE)])
    draw = blank(ALONE * len(causes), piece)
    for i, cause in enumerate(causes):
        own = np.zeros(ALONE * len(causes))
        own[i * ALONE : (i + 1) * ALONE] = z
        draw = cause.move(draw, own)
    Lab = XYZ_to_Lab(_scaled(inset, outcome(draw)[0]))
    # midpoints of equal shares understate a normal variance; scale it back
    return list(
        Lab[:, 1:].reshape(len(causes), ALONE, 2).var(axis=1).sum(axis=-1) / z.var()
    )


def _tolerance(inset: Inset) -> float:
    target = inset.target
    return 0.0 if target is None or target.region is not None else target.tolerance


def _scaled(inset: Inset, XYZ: Array) -> Array:
    """Bring glows to one luminance, so that brightness does not count as colour."""
    Lab = None if inset.target is None else inset.target.Lab
    return yardstick.scaled(
        XYZ, yardstick.common_luminance([0.0] if Lab is None else Lab)
    )


def _hypercube(samples: int, causes: int, seed: int) -> Array:
    """Latin hypercube of standard normal numbers, shape (samples, causes)."""
    random = np.random.default_rng(seed)
    normal = NormalDist()
    middle = np.array([normal.inv_cdf((i + 0.5) / samples) for i in range(samples)])
    return (
        np.stack([middle[random.permutation(samples)] for _ in range(causes)], axis=-1)
        if causes
        else np.zeros((samples, 0))
    )


def blank(n: int, piece: Piece) -> Draw:
    """Return n draws in which nothing is moved."""
    tints = (n, len(piece.tints))
    return Draw(
        scale=np.ones(tints),
        shift=np.zeros(tints),
        broadening=np.ones(tints),
        tilt=np.zeros((n, len(piece.beams), 2)),
        light=np.ones(n),
        own=np.zeros(tints),
        leak=np.full(n, piece.leak),
    )


def outcomes(piece: Piece, look: Look) -> Callable[[Draw], tuple[Array, Array, Array]]:
    """Return the function from draws to XYZ, light kept and luminance ratio."""
    scatters = any(np.any(slab.scattered) for slab in piece.slabs)
    step, streams = (10, 8) if scatters else (5, 8)
    coarse = thinned(piece, step)
    grid = WAVELENGTHS[::step]

    def transfer(depths: list[Array], filters: list[Array]) -> list[Array]:
        solution = solve_piece(coarse, depths, streams=streams)
        return transfers(coarse, solution, filters)

    plain_depths, plain_filters = tint_depths(piece)
    fine = transfers(piece, solve_piece(piece, plain_depths, streams=10), plain_filters)
    base = transfer(
        [d[..., ::step] for d in plain_depths], [f[..., ::step] for f in plain_filters]
    )
    clear = replace(piece, tints=())
    none_depths, none_filters = tint_depths(clear)
    bare = transfers(clear, solve_piece(clear, none_depths), none_filters)
    between = _linear(grid)

    def outcome(draw: Draw) -> tuple[Array, Array, Array]:
        depths, filters = tint_depths(coarse, _curves(piece, draw, step))
        moved = transfer(depths, filters)
        lit: Array = np.zeros(())
        plain: Array = np.zeros(())
        for j, beam in enumerate(piece.beams):
            power = powers(beam.power, beam.light.emitter, draw.tilt[:, j])
            ratio = moved[j] / np.maximum(base[j], 1e-300)
            lit = lit + power * fine[j] * (ratio @ between)
            plain = plain + power * bare[j]
        lit = (
            lit
            + draw.leak[:, None] * plain
            + _own_light(piece, draw.own, np.asarray(plain - lit))
        )
        glow, anchor = spectrum_to_XYZ(lit), spectrum_to_XYZ(plain)[..., 1:2]
        XYZ = glow / anchor + look.veil / draw.light[:, None]
        now = spectrum_to_XYZ(look.radiance)[1]
        return XYZ, (glow / anchor)[:, 1], glow[:, 1] / now * draw.light

    return outcome


def _own_light(piece: Piece, own: Array, lost: Array) -> Array:
    """Light that fluorescent dyes may give back, spread about a longer wavelength."""
    given: Array = np.zeros(())
    for i, tint in enumerate(piece.tints):
        if own[:, i].any():
            peak = WAVELENGTHS[np.argmax(tint.shape)] + STOKES_SHIFT
            band = np.exp(-4 * np.log(2) * ((WAVELENGTHS - peak) / EMISSION_WIDTH) ** 2)
            taken = np.maximum(lost, 0.0).sum(axis=-1) * own[:, i]
            given = given + taken[:, None] * band / band.sum()
    return given


def _linear(grid: Array) -> Array:
    """Matrix of linear interpolation from a coarse grid to the working grid."""
    return np.stack(
        [np.interp(WAVELENGTHS, grid, row) for row in np.eye(grid.size)], axis=0
    )


def _curves(piece: Piece, draw: Draw, step: int) -> Array:
    """Decadic absorbance of every tint, shape (n, n_tints, every `step`-th nm)."""
    grid = WAVELENGTHS[::step]
    curves = np.empty((len(draw.light), len(piece.tints), grid.size))
    for i, tint in enumerate(piece.tints):
        shift, wide = draw.shift[:, i], draw.broadening[:, i]
        moved = tint.shape[::step]
        if shift.any() or (wide != 1).any():
            moved = shape_of(
                tint.colourant, shift=shift, broadening=wide, wavelengths=grid
            )
        curves[:, i] = tint.absorbance * draw.scale[:, i, None] * moved
    return curves


def powers(power: Array, emitter: Emitter, tilt: Array) -> Array:
    """Spectra of LEDs from across their bin, shape (n, 401)."""
    if not tilt.any():
        return power
    lobes, half = emitter.lobes, emitter.peak_spread
    if emitter.kind == "single colour" and lobes.size and half:
        sums = np.array(
            [lobes_power(lobes, shift=z * half / np.sqrt(3)) for z in tilt[:, 0]]
        )
        return power * sums / np.maximum(lobes_power(lobes), 1e-300)
    radius = emitter.steps * BIN_STEP
    slope = (WAVELENGTHS - 560) / 200
    basis = np.stack([slope, slope**2])
    step = 0.01
    here = XYZ_to_uv(spectrum_to_XYZ(power))
    moved = XYZ_to_uv(spectrum_to_XYZ(power * np.exp(step * basis)))
    per_uv = np.linalg.inv((moved - here).T / step)
    return power * np.exp((tilt * radius / 2) @ per_uv.T @ basis)


def causes_of(inset: Inset, piece: Piece) -> list[Cause]:
    """List everything about a piece that is not known exactly."""
    causes: list[Cause] = []
    causes += _strength_causes(piece)
    causes += _shape_causes(piece)
    causes += _own_glow_causes(piece)
    causes += _dose_causes(piece)
    causes += _thickness_causes(inset, piece)
    for j, light in enumerate(inset.lights):
        causes += _bin_causes(j, light.emitter.name, light.emitter.kind)
    assumed = any(light.assumed for light in inset.lights)
    causes.append(_light_cause(LIGHT_ASSUMED if assumed else LIGHT))
    return causes


def _tints_of(piece: Piece, colourant: Colourant | Dye) -> list[int]:
    return [i for i, tint in enumerate(piece.tints) if tint.colourant is colourant]


def _colourants(piece: Piece) -> list[Bottle | Dye | Ink]:
    return list({id(tint.colourant): tint.colourant for tint in piece.tints}.values())


def draw_scales(
    columns: Sequence[int], deviation: float
) -> Callable[[Draw, Array], Draw]:
    """Return a move that scales some tints log-normally."""

    def move(draw: Draw, z: Array) -> Draw:
        scale = draw.scale.copy()
        scale[:, columns] *= np.exp(z * deviation)[:, None]
        return replace(draw, scale=scale)

    return move


def _strength_causes(piece: Piece) -> list[Cause]:
    found = []
    for one in _colourants(piece):
        spread = one.strength_spread if isinstance(one, Dye) else one.spread
        if spread > 1:
            found.append(
                Cause(
                    label=f"strength of {one.name}",
                    kind="strength",
                    name=one.name,
                    unmeasured=unmeasured(one),
                    move=draw_scales(_tints_of(piece, one), np.log(spread) / Z95),
                )
            )
    return found


def _shape_causes(piece: Piece) -> list[Cause]:
    """Band shift ("hue") and width ("purity"); a metered colourant has neither."""
    found = []
    for one in _colourants(piece):
        shift, width = shape_spread(one)
        wide = np.log(width) / Z95
        columns = _tints_of(piece, one)
        for label, by, width in (("hue", shift, 0.0), ("purity", 0.0, wide)):
            if by > 0 or width > 0:
                found.append(
                    Cause(
                        label=f"{label} of {one.name}",
                        kind="shape",
                        name=one.name,
                        unmeasured=unmeasured(one),
                        move=_moves(columns, by, width),
                    )
                )
    return found


def _moves(
    columns: Sequence[int], shift: float, wide: float
) -> Callable[[Draw, Array], Draw]:
    def move(draw: Draw, z: Array) -> Draw:
        shifts, widths = draw.shift.copy(), draw.broadening.copy()
        shifts[:, columns] += (z * shift)[:, None]
        widths[:, columns] *= np.exp(z * wide)[:, None]
        return replace(draw, shift=shifts, broadening=widths)

    return move


def glowing(piece: Piece) -> list[int]:
    """Return the tints that fluoresce and meet blue or violet light."""
    power: Array = np.asarray(sum(beam.power for beam in piece.beams))
    pumped = power[WAVELENGTHS < PUMP].sum() > 0.05 * power.sum()
    return [
        i
        for i, tint in enumerate(piece.tints)
        if pumped
        and tint.absorbance > 0
        and any(dye.fluoresces for dye in dyes_of(tint.colourant))
    ]


def _own_glow_causes(piece: Piece) -> list[Cause]:
    columns = glowing(piece)

    def move(draw: Draw, z: Array) -> Draw:
        own = draw.own.copy()
        own[:, columns] += np.abs(z)[:, None] * OWN_GLOW
        return replace(draw, own=own)

    names = ", ".join(dict.fromkeys(piece.tints[i].colourant.name for i in columns))
    label = f"own glow of {names}"
    one = Cause(label=label, kind="own glow", name=names, unmeasured=True, move=move)
    return [one] if columns else []


def _dose_causes(piece: Piece) -> list[Cause]:
    found = []
    for i, tint in enumerate(piece.tints):
        deviation = dose_deviation(tint)
        if deviation > 0:
            found.append(
                Cause(
                    label=f"dose of {tint.colourant.name}",
                    kind="dose",
                    name=tint.colourant.name,
                    unmeasured=False,
                    move=draw_scales([i], deviation),
                )
            )
    return found


def dose_deviation(tint: Tint) -> float:
    """Relative standard deviation of what is measured out."""
    origin = tint.origin
    if isinstance(origin, Bathed):
        return 0.1  # a minute or a degree more or less; assumed
    if not isinstance(origin, Dosed) or origin.grams <= 0:
        return 0.0
    if origin.dose.unit == "drops" and isinstance(origin.colourant, Bottle):
        return float(np.log(origin.colourant.drop_spread) / Z95)
    weighed = origin.grams / origin.dose.let_down
    if weighed < SCALE / 2:
        return FINE
    return float(SCALE / 2 / np.sqrt(3) / weighed)


def _thickness_causes(inset: Inset, piece: Piece) -> list[Cause]:
    found = []
    for number, layer in enumerate(inset.layers):
        columns = [
            i
            for i, tint in enumerate(piece.tints)
            if tint.place[0] == "slab"
            and piece.bodies[tint.place[1]] == number
            and isinstance(tint.origin, Dosed)
        ]
        if columns:
            deviation = max(THICKNESS, CALIPER / layer.thickness)
            found.append(
                Cause(
                    label=f"thickness of layer {number + 1}",
                    kind="thickness",
                    name="",
                    unmeasured=False,
                    move=draw_scales(columns, deviation),
                )
            )
    return found


def _bin_causes(j: int, name: str, kind: str) -> list[Cause]:
    def along(axis: int) -> Callable[[Draw, Array], Draw]:
        def move(draw: Draw, z: Array) -> Draw:
            tilt = draw.tilt.copy()
            tilt[:, j, axis] += z
            return replace(draw, tilt=tilt)

        return move

    axes = (0,) if kind == "single colour" else (0, 1)
    words = ("LED bin", "LED bin, second axis")
    return [
        Cause(
            label=f"{words[axis]} of {name}",
            kind="bin",
            name=name,
            unmeasured=False,
            move=along(axis),
        )
        for axis in axes
    ]


def _light_cause(deviation: float) -> Cause:
    def move(draw: Draw, z: Array) -> Draw:
        return replace(draw, light=draw.light * np.exp(z * deviation))

    return Cause(
        label="light output", kind="light", name="", unmeasured=False, move=move
    )


def plausible(spread: Spread, shares: Sequence[float]) -> Array:
    """Pick outcomes along the longest axis of the cloud, shape (n, 3) XYZ.

    Parameters
    ----------
    spread : Spread
    shares : sequence of float
        Where along it, such as 0.05, 0.5, 0.95.
    """
    cloud = spread.Lab - spread.Lab.mean(axis=0)
    axis = np.linalg.svd(cloud, full_matrices=False)[2][0]
    order = np.argsort(cloud @ (axis * np.sign(axis[0] or 1.0)))
    picks = [order[min(int(s * len(order)), len(order) - 1)] for s in shares]
    return spread.XYZ[picks]
