"""How sure a prediction is: plausible outcomes and which cause moves them most.

Every cause is a standard normal number z (`tintlab.causes`). The joint outcomes are a
seeded Latin hypercube; each cause is also moved alone, which gives first-order shares
of Var(a*) + Var(b*).

Samples are solved on every 5th nanometre (10th where something scatters), as ratios
to the piece itself, which are smooth; spectra are summed at 1 nm.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from tintlab import yardstick
from tintlab.causes import Cause, Draw, blank, causes_of
from tintlab.colorimetry import XYZ_to_Lab, XYZ_to_uv, spectrum_to_XYZ
from tintlab.colourants import shape_of
from tintlab.glow import Look, miss, solve_piece, tint_depths, transfers
from tintlab.inset import Inset
from tintlab.materials import Emitter, lobes_power
from tintlab.piece import Piece, thinned
from tintlab.spectrum import WAVELENGTHS

Array = NDArray[np.float64]

SEED = 20250101
BIN_STEP = 0.0011  # u'v' radius of one step, CIE TN 001:2014 (from memory)
STOKES_SHIFT, EMISSION_WIDTH = 25.0, 40.0  # [nm] of own glow; assumed
ALONE = 9  # points at which one cause is moved by itself


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
    # where large causes saturate, they do more alone than together
    total = max(total, float(sum(shares)))
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
