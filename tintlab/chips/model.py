"""What a set of chips would read, as a function of everything that is not known.

Every unknown is a standard normal number z, as in `tintlab.spread`: strengths, drops
and widths are log-normal, band shifts normal, the camera is a member of its family. A
chip is solved as the stack that it is (`tintlab.solve.response`); what a channel reads
is the sum of light, stack and sensitivity over the spectrum, over that of the blank.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tintlab.chips import camera
from tintlab.chips.camera import COARSE, GRID, Family
from tintlab.chips.ladder import Chip, Ladder, as_cast, colourants, cures_of
from tintlab.chips.unknown import Unknown, chip_inset, unknowns_of
from tintlab.colorimetry import illuminant, tables
from tintlab.colourants import Colourant, Dye, Ink, dye_shape, own_width
from tintlab.inset import Coats, Dosed
from tintlab.materials import Emitter
from tintlab.optics import uneven_transmittance
from tintlab.piece import LN10, Piece, Tint, piece_of, thinned
from tintlab.solve.response import Response, response_of
from tintlab.spectrum import WAVELENGTHS
from tintlab.spread import EMISSION_WIDTH, STOKES_SHIFT, powers

Array = NDArray[np.float64]

FLOOR = 0.01  # error of a ratio that no camera of the family explains; assumed
WEAK = 0.06  # share of the best channel below which a channel sees too little light
LOOSEST = 0.01  # least eigenvalue of the prior correlations; assumed
UNSURE = 0.6  # relative deviation, over cameras, of a channel that sees the LED


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Model:
    """Chips as numbers on every fifth nanometre.

    Attributes
    ----------
    ladder : Ladder
    unknowns : tuple of Unknown
    responses : tuple of Response
        Of each chip: radiance over the depth of its own layer.
    tints : tuple of tuple of Tint
        Of each chip.
    light : ndarray, shape (n_wavelengths,)
        Of the LED. [1/nm]
    tilts : ndarray, shape (2, n_wavelengths)
        Log change of that light for one deviation along each axis of its bin.
    value, sigma : ndarray, shape (m,)
        All readings that are used, and their errors.
    owner : ndarray of int, shape (m,)
        Number of the chip of each.
    channel : ndarray of int, shape (m,)
        0 to 2 for camera channels, 3 for luminance, 4 to 6 for X, Y, Z.
    family : Family or None
    columns : dict
        Position of each unknown by kind, name and number.
    peaks : dict
        Maximum of the bands on file of each bottle and cure. [-]
    root : ndarray, shape (n_unknowns, n_unknowns)
        Turns unknowns, of which some hang together a priori, into independent ones.
    """

    ladder: Ladder
    unknowns: tuple[Unknown, ...]
    responses: tuple[Response, ...]
    tints: tuple[tuple[Tint, ...], ...]
    light: Array
    tilts: Array
    value: Array
    sigma: Array
    owner: NDArray[np.intp]
    channel: NDArray[np.intp]
    family: Family | None
    columns: dict[tuple[str, str, int], int]
    peaks: dict[tuple[str, str], float]
    root: Array

    def column(self, kind: str, name: str = "", number: int = 0) -> int | None:
        """Return the position of an unknown, or None when it is known."""
        return self.columns.get((kind, name, number))

    def moved(self, z: Array, kind: str, name: str = "", number: int = 0) -> Array:
        """Return deviation times z of one unknown, shape (n,); 0 when it is known."""
        i = self.column(kind, name, number)
        if i is None:
            return np.zeros(len(z))
        return np.asarray(z[:, i] * self.unknowns[i].deviation)


def model_of(
    ladder: Ladder, *, extra: Sequence[Unknown] = (), base: "Model | None" = None
) -> Model:
    """Turn a ladder into numbers.

    Parameters
    ----------
    ladder : Ladder
        Chips whose sight is a spectrum are left out (see `tintlab.chips.metered`).
    extra : sequence of Unknown
        Suspects besides the ordinary unknowns; one of the same kind and name takes
        the place of the ordinary one.
    base : Model, optional
        Of the same chips, whose stacks need not be solved again.
    """
    chips = [chip for chip in ladder.chips if chip.sight.kind != "spectrum"]
    ladder = replace(ladder, chips=tuple(chips))
    light, tilts = _light(ladder.emitter)
    pictured = any(chip.sight.kind == "camera" for chip in chips)
    family = camera.family(raw=ladder.raw) if pictured else None
    tints, responses = _stacks(ladder) if base is None else (base.tints, base.responses)
    named = {(u.kind, u.name, u.number) for u in extra}
    unknowns = [
        u for u in unknowns_of(ladder) if (u.kind, u.name, u.number) not in named
    ]
    unknowns += extra
    columns = {(u.kind, u.name, u.number): i for i, u in enumerate(unknowns)}
    value, sigma, owner, channel = _readings(chips, responses, light, family)
    return Model(
        ladder=ladder,
        unknowns=tuple(unknowns),
        columns=columns,
        peaks={
            (name, cure): _plain_peak(as_cast(one, cure))
            for name, one in colourants(ladder).items()
            for cure in cures_of(ladder, one)
        },
        root=_root(ladder, columns),
        responses=responses,
        tints=tints,
        light=light,
        tilts=tilts,
        value=value,
        sigma=sigma,
        owner=owner,
        channel=channel,
        family=family,
    )


def _root(ladder: Ladder, columns: dict[tuple[str, str, int], int]) -> Array:
    """Inverse Cholesky root of the prior correlations: what earlier chips left."""
    C = np.eye(len(columns))
    for (a, b), r in ladder.together.items():
        i, j = columns.get(("strength", a, 0)), columns.get(("strength", b, 0))
        if i is not None and j is not None:
            C[i, j] = C[j, i] = r
    while np.linalg.eigvalsh(C)[0] < LOOSEST:  # several pairs may contradict each other
        C = np.eye(len(C)) + 0.9 * (C - np.eye(len(C)))
    return np.linalg.inv(np.linalg.cholesky(C))


def _light(emitter: Emitter) -> tuple[Array, Array]:
    """Power of an LED, and its log change for one deviation along each axis."""
    power = np.maximum(emitter.power, 1e-6 * emitter.power.max())
    axes = [powers(power, emitter, np.eye(2)[[i]]).reshape(-1) for i in range(2)]
    tilts = np.log(np.maximum(axes, 1e-12) / power)
    if emitter.kind == "single colour":
        tilts[1] = 0.0
    return emitter.power[::COARSE], tilts[:, ::COARSE]


def _stacks(
    ladder: Ladder,
) -> tuple[tuple[tuple[Tint, ...], ...], tuple[Response, ...]]:
    """Solve each sort of blank once, over the depth of the layer that is dyed."""
    tints, responses = [], []
    solved: dict[tuple[object, ...], Response] = {}
    for chip in ladder.chips:
        layer = chip.layer
        piece = piece_of(chip_inset(ladder, layer))
        medium = layer.medium.name if layer.medium else ""
        key = (layer.kind, medium, layer.thickness, layer.finish, layer.back)
        if key not in solved:
            slab = piece.tints[0].place[1]
            solved[key] = response_of(_coarse(piece), slab)
        tints.append(piece.tints)
        responses.append(solved[key])
    return tuple(tints), tuple(responses)


def _coarse(piece: Piece) -> Piece:
    """Return a chip, its lights too, on every `COARSE`-th wavelength."""
    few = thinned(piece, COARSE)
    beams = tuple(replace(b, power=b.power[::COARSE]) for b in few.beams)
    return replace(few, beams=beams)


def _readings(
    chips: Sequence[Chip],
    responses: Sequence[Response],
    light: Array,
    family: Family | None,
) -> tuple[Array, Array, NDArray[np.intp], NDArray[np.intp]]:
    rows: list[tuple[float, float, int, int]] = []
    first = {"camera": 0, "light": 3, "colour": 4}
    for number, (chip, response) in enumerate(zip(chips, responses, strict=True)):
        sight = chip.sight
        seen = sight.usable
        if sight.kind == "camera" and family is not None:
            bare = light * response.radiance(np.zeros(GRID.size))
            seen = seen & _sees(family, bare)
        for i in np.flatnonzero(seen):
            error = float(sight.sigma[i])
            if sight.kind == "camera":
                error = float(np.hypot(error, FLOOR))
            rows.append(
                (float(sight.value[i]), error, number, first[sight.kind] + int(i))
            )
    table = np.array(rows, dtype=float).reshape(-1, 4)
    value, sigma = table[:, 0], table[:, 1]
    return value, sigma, table[:, 2].astype(np.intp), table[:, 3].astype(np.intp)


def _sees(family: Family, bare: Array) -> NDArray[np.bool_]:
    """Which channels any likely camera lights up well by this LED, shape (3,)."""
    mean = family.mean @ bare
    off = np.sqrt(((family.directions @ bare) ** 2).sum(axis=0))
    return np.asarray((mean > WEAK * mean.max()) & (off < UNSURE * np.abs(mean)))


def predicted(model: Model, z: Array) -> Array:
    """Return what would be read, shape (n, m).

    Parameters
    ----------
    model : Model
    z : ndarray, shape (n, n_unknowns)
        Standard normal numbers.
    """
    n = len(z)
    tilt = np.stack([model.moved(z, "bin", number=i) for i in range(2)], axis=-1)
    light = model.light * np.exp(tilt @ model.tilts)
    cameras = np.zeros((n, 3, GRID.size))
    if model.family is not None:
        zc = z[:, [i for i, u in enumerate(model.unknowns) if u.kind == "camera"]]
        cameras = model.family.sensitivities(zc)
    curves = {
        (name, cure): colourant_curve(model, z, one, cure=cure)
        for name, one in colourants(model.ladder).items()
        for cure in cures_of(model.ladder, one)
    }
    observer = tables().observer[::COARSE].T
    daylight = illuminant("D65")[::COARSE]
    found = np.empty((n, model.value.size))
    for number in range(len(model.ladder.chips)):
        rows = np.flatnonzero(model.owner == number)
        if not rows.size:
            continue
        bare = model.responses[number].radiance(np.zeros(GRID.size))
        passed = model.responses[number].radiance(_depth(model, number, z, curves))
        lit, blank = light * passed, light * bare
        lit = lit + _own_light(model, number, z, blank - lit)
        ratio = np.empty((n, 7))
        if model.family is not None:
            seen = (cameras * lit[:, None]).sum(axis=-1)
            base = (cameras * blank[:, None]).sum(axis=-1)
            level = _level(model, number, z)[:, None]
            ratio[:, :3] = _through_lens(model, z, level * seen / _safe(base))
        ratio[:, 3] = lit @ observer[1] / (blank @ observer[1])
        colour = (daylight * passed) @ observer.T / (daylight * bare @ observer[1])
        ratio[:, 4:] = colour / tables().white
        found[:, rows] = ratio[:, model.channel[rows]]
    return found


def _level(model: Model, number: int, z: Array) -> Array:
    """Light of a chip's place over that of the blank's, shape (n,)."""
    chip = model.ladder.chips[number]
    log = model.moved(z, "level", chip.name)
    return np.asarray(np.exp(log + chip.sight.common * model.moved(z, "level")))


def _safe(values: Array) -> Array:
    return np.where(np.abs(values) < 1e-12, 1e-12, values)


def _through_lens(model: Model, z: Array, ratio: Array) -> Array:
    """Add stray light and bend by the tone curve."""
    stray = model.ladder.stray * np.exp(model.moved(z, "stray"))[:, None]
    bend = np.exp(model.moved(z, "tone"))[:, None]
    linear = (ratio + stray) / (1 + stray)
    return np.asarray(np.sign(linear) * np.abs(linear) ** bend)


def _depth(
    model: Model, number: int, z: Array, curves: dict[tuple[str, str], Array]
) -> Array:
    """Napierian depth of the dyed layer of one chip, shape (n, n_wavelengths)."""
    chip = model.ladder.chips[number]
    depth = np.zeros((len(z), GRID.size))
    for j, tint in enumerate(model.tints[number]):
        name = tint.colourant.name
        cure = chip.layer.cure if isinstance(tint.origin, Dosed) else ""
        scale = tint.absorbance * tint_factor(model, z, tint, cure=cure)
        scale = scale * np.exp(model.moved(z, "dose", chip.name, j))
        if isinstance(tint.origin, Dosed):
            scale = scale * np.exp(model.moved(z, "thickness", chip.name))
        passed = uneven_transmittance(
            absorbance=scale[:, None] * curves[name, cure], variation=tint.unevenness
        )
        grey = model.moved(z, "scatter", name) * scale
        depth = depth - np.log(np.maximum(passed, 1e-300)) + LN10 * grey[:, None]
    return depth


def tint_factor(model: Model, z: Array, tint: Tint, *, cure: str) -> Array:
    """Absorbance of a tint over what its file and its dose say, shape (n,)."""
    one = tint.colourant
    log = model.moved(z, "strength", one.name)
    if isinstance(tint.origin, Dosed):
        number = _number(model, one, cure)
        log = log + model.moved(z, "bleach", one.name, number)
    if isinstance(tint.origin, Dosed) and tint.origin.dose.unit == "drops":
        log = log + model.moved(z, "drop", one.name)
    factor = np.exp(log)
    if isinstance(tint.origin, Coats) and isinstance(one, Ink):
        more = max(tint.origin.count - 1, 0)
        gain = one.gain * np.exp(model.moved(z, "gain", one.name))
        factor = factor * (1 + gain * more) / (1 + one.gain * more)
    return np.asarray(factor)


def _number(model: Model, one: Colourant | Dye, cure: str) -> int:
    """Number of a cure among those of a bottle's chips."""
    of_ladder = colourants(model.ladder)[one.name]
    return cures_of(model.ladder, of_ladder).index(cure)


def colourant_curve(
    model: Model,
    z: Array,
    one: Colourant,
    wavelengths: Array = GRID,
    *,
    cure: str = "",
) -> Array:
    """Absorbance over the stated peak, with shift, width and shares moved.

    Most rows of z move something else; each sort of curve is reckoned once.
    """
    number, one = _number(model, one, cure), as_cast(one, cure)
    shift = model.moved(z, "shift", one.name)
    shift = shift + model.moved(z, "cure shift", one.name, number)
    columns = [shift, model.moved(z, "width", one.name)]
    columns += [model.moved(z, "share", one.name, j) for j in range(len(one.dyes))]
    sorts, back = np.unique(np.stack(columns, axis=-1), axis=0, return_inverse=True)
    shift = sorts[:, 0] + (one.shift[0] if one.shift else 0.0)
    wide = own_width(one) * np.exp(sorts[:, 1])
    total = np.zeros((len(sorts), wavelengths.size))
    for j, (dye, share) in enumerate(one.dyes):
        part = share * np.exp(sorts[:, 2 + j])
        shape = dye_shape(dye, shift=shift, broadening=wide, wavelengths=wavelengths)
        total += part[:, None] * shape
    return np.asarray(total[back.reshape(-1)] / model.peaks[one.name, cure])


def _plain_peak(one: Colourant) -> float:
    """What `colourant_shape` divides by: the maximum of the bands as on file."""
    at = {"shift": one.shift[0] if one.shift else 0.0, "broadening": own_width(one)}
    plain = [share * dye_shape(dye, **at) for dye, share in one.dyes]
    return float(np.sum(plain, axis=0).max())


def _own_light(model: Model, number: int, z: Array, lost: Array) -> Array:
    """Light that a chip gives back of what it takes, at a longer wavelength."""
    given = np.zeros_like(lost)
    for tint in model.tints[number]:
        share = model.moved(z, "own glow", tint.colourant.name)
        if not share.any():
            continue
        peak = WAVELENGTHS[np.argmax(tint.shape)] + STOKES_SHIFT
        band = np.exp(-4 * np.log(2) * ((GRID - peak) / EMISSION_WIDTH) ** 2)
        taken = np.maximum(lost, 0.0).sum(axis=-1) * share
        given = given + taken[:, None] * band / band.sum()
    return given
