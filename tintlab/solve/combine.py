"""The exact search over combinations of ink coats on a lit piece.

Coats multiply: on the light's side the glow is power x film x film x film, sample by
sample. On the viewer's side light that bounces crosses a film more than once: the glow
is that product times a factor between `floor` and 1, and the caller's `exact` decides.
Every combination is either scored in full or ruled out by a bound that cannot err, so
the answer is that of trying them all. Not for inks that emit light (fluorescence).

Why it is fast: (1) all products of two groups of films, weighted by the observer, are
one matrix product; (2) the colours within a CIEDE2000 of the target lie in a box of
chromaticity, which is tested without a root; (3) what is already found (difference,
light kept, coats) says how large a difference can still matter.
"""

from collections.abc import Callable, Iterator
from math import comb
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tintlab.colorimetry import (
    Lab_to_XYZ,
    XYZ_to_Lab,
    delta_e_2000,
    spectrum_to_XYZ,
    tables,
)
from tintlab.errors import ModelError, OutOfReach
from tintlab.solve.asked import Task, checked, need
from tintlab.solve.bound import ROUNDING, Bound, bound_of, centre_of, sides_of
from tintlab.solve.front import (
    KEPT_EDGES,
    Answer,
    Combination,
    Scored,
    bins_of,
    choices_of,
    combinations_of,
    pareto,
    take,
    tightened,
    worthwhile,
)
from tintlab.spectrum import WAVELENGTHS

Array = NDArray[np.float64]
Singles = NDArray[np.float32]
Indices = NDArray[np.intp]

DECIMALS = 9  # differences and light kept are compared after rounding to these
FAINT = 1e-24  # added to Y: what float32 cannot hold is scored rather than dropped
BLOCK_HEADS, BLOCK_TAILS, BLOCK_SCORED = 720, 240, 256  # sizes that stay in cache


def count_combinations(*, inks: int, coats: int, most_inks: int) -> int:
    """Count the combinations of up to `most_inks` inks, the empty one included."""
    return sum(comb(inks, k) * coats**k for k in range(most_inks + 1))


def _score(task: Task, films: Indices) -> Scored:
    """Score combinations in full, given as rows of film indices."""
    if task.exact is None:
        glow = np.tile(task.power, (len(films), 1))
        for column in films.T:
            glow *= task.films[column]
        XYZ = spectrum_to_XYZ(glow)
    else:
        XYZ = np.asarray(
            task.exact(combinations_of(films, n_coats=task.n_coats)), dtype=float
        )
        if XYZ.shape not in ((len(films), 3), (len(films), 4)):
            raise ModelError(
                f"asked `exact` for the XYZ of {len(films)} combinations and got an "
                f"array of shape {XYZ.shape}; return one row of X, Y, Z for each"
            )
    kept, XYZ = XYZ[:, -1 if XYZ.shape[1] == 4 else 1], XYZ[:, :3]
    return Scored(
        films=np.pad(
            films, ((0, 0), (0, task.most_inks - films.shape[1])), constant_values=-1
        ),
        difference=np.round(_difference(task, XYZ + task.veil), DECIMALS),
        kept=np.round(kept / task.reference_Y, DECIMALS),
        coats=(films % max(task.n_coats, 1) + 1).sum(axis=1),
        XYZ=XYZ + task.veil,
    )


def _difference(task: Task, XYZ: Array) -> Array:
    if task.distance is not None:
        return np.asarray(task.distance(XYZ), dtype=float)
    if task.lightness == "free":
        level, Y = Lab_to_XYZ(task.target)[1], XYZ[:, 1:2]
        XYZ = XYZ * np.divide(level, Y, out=np.full_like(Y, np.nan), where=Y > 0)
    difference = delta_e_2000(XYZ_to_Lab(XYZ), task.target)
    return np.where(np.isnan(difference), np.inf, difference)


# --- the blocks ---------------------------------------------------------------------


class _Group(NamedTuple):
    """All products of some number of films, sorted by their first or last ink."""

    films: Indices  # (n, size)
    first: Indices  # (n,) lowest ink
    last: Indices  # (n,) highest ink
    coats: Indices  # (n,)
    kept: Array  # (n,) alone on the light, not less than in truth
    product: Singles  # (n, 402), the last one for the veil: 1


def _group(task: Task, size: int, *, by_last: bool = False) -> _Group:
    ink = np.arange(len(task.films)) // task.n_coats
    films = np.argwhere(ink[:, None] < ink)
    if by_last:
        films = films[np.argsort(films[:, 1], kind="stable")]
    if size < 2:
        films = np.arange(len(ink) ** size).reshape(-1, 1)[:, :size]
    product = np.ones((len(films), WAVELENGTHS.size + 1), dtype=np.float32)
    for column in films.T:
        product[:, :-1] *= task.films.astype(np.float32)[column]
    luminous = tables().observer[:, 1] * task.power / task.reference_Y
    return _Group(
        films=films,
        first=ink[films].min(axis=1, initial=task.n_inks),
        last=ink[films].max(axis=1, initial=-1),
        coats=(films % task.n_coats + 1).sum(axis=1),
        kept=product[:, :-1] @ luminous * (1 + ROUNDING) + 1e-9,
        product=product,
    )


def _chunks(start: int, stop: int, size: int) -> Iterator[slice]:
    for low in range(start, stop, size):
        yield slice(low, min(low + size, stop))


def _blocks(task: Task, heads: _Group, tails: _Group) -> Iterator[tuple[slice, slice]]:
    """Pair each head with every tail whose inks all come after its own, once."""
    for ink in range(task.n_inks):
        start, stop = np.searchsorted(heads.last, [ink, ink + 1]).tolist()
        after = int(np.searchsorted(tails.first, ink, side="right"))
        for t in _chunks(after, len(tails.films), BLOCK_TAILS):
            for h in _chunks(start, stop, BLOCK_HEADS):
                yield h, t


def _weighted(task: Task, tails: _Group) -> Singles:
    """Weigh products by light and observer: P, Q, Y of `sides_of`, (3, n, 402).

    With a floor the glow at each wavelength is between floor and 1 times the product:
    the least that this allows for P, -P, Q, -Q, and the most for Y, (5, n, 402).
    """
    XYZ = np.vstack([tables().observer * task.power[:, None], task.veil])
    X, Y, Z = (XYZ / tables().white).T
    x, z = centre_of(task.target)
    planes = np.stack([X - x * Y, Z - z * Y, Y])
    planes[2, -1] += FAINT
    if task.floor is not None:
        P, Q, Y = planes
        planes, floor = np.stack([P, -P, Q, -Q, Y]), np.append(task.floor, 1.0)
        planes[:4] = np.where(planes[:4] > 0, planes[:4] * floor, planes[:4])
    return (planes[:, None] * tails.product).astype(np.float32)


def _survivors(
    task: Task, bound: Bound, level: Indices, heads: _Group, tails: _Group, W: Singles
) -> Indices:
    """Find the combinations of one block that the bound cannot rule out.

    First by what the light kept of the head alone allows, then each by its own.
    `level` is the table of `tightened` as indices into the bound; W holds the weighted
    tails, (planes, n, 402).
    """
    coats = np.arange(tails.coats.max() + 1)[:, None]
    allowed = level[coats + heads.coats, bins_of(heads.kept)]
    Y = heads.kept * task.reference_Y + task.veil[1]
    alive = (bound.least_Y[allowed] <= Y).any(axis=0)  # the rest can only darken
    if not alive.all():
        heads, allowed = take(heads, alive), allowed[:, alive]
    planes = np.empty((5, len(tails.films), len(heads.films)), dtype=np.float32)
    np.matmul(W, heads.product.T, out=planes[:: 2 if len(W) == 3 else 1])
    if task.floor is None:
        np.negative(planes[0:4:2], out=planes[1:4:2])
    fits = np.ones(planes.shape[1:], dtype=bool)
    for plane, side in zip(planes[:4], bound.sides, strict=True):
        fits &= plane <= side[allowed][tails.coats] * planes[4]
    tail, head = np.nonzero(fits)
    planes = planes[:, tail, head]
    kept = planes[4].astype(float) * (1 + ROUNDING) - task.veil[1]
    coats = tails.coats[tail] + heads.coats[head]
    own = level[coats, bins_of(kept / task.reference_Y + 1e-9)]
    fits = (planes[:4] <= bound.sides[:, own] * planes[4]).all(axis=0)
    if task.lightness == "match":
        fits[fits] = _matches(task, bound, own[fits], planes[:, fits])
    return np.hstack([heads.films[head[fits]], tails.films[tail[fits]]])


def _matches(
    task: Task, bound: Bound, own: Indices, planes: Singles
) -> NDArray[np.bool_]:
    """Test anew where lightness counts: it uses up a part of the difference."""
    darkest = 1.0 if task.floor is None else float(task.floor.min())
    Y = planes[4] * np.array([[darkest * (1 - ROUNDING)], [1 + ROUNDING]])
    low, high = XYZ_to_Lab(Y[..., None] * tables().white)
    L = task.target[0]
    dL = np.maximum(np.maximum(low[:, 0] - L, L - high[:, 0]), 0)
    used = dL / (1 + 0.015 * (abs(L - 50) + dL / 2))  # (18), as in `lab_box`
    left = bound.limits[own] ** 2 - used**2 + 1e-6
    fits = (left >= 0) & (own > 0)
    left = np.searchsorted(bound.limits[:-1], np.sqrt(np.where(fits, left, 0)))
    low[:, 1:], high[:, 1:] = bound.low[left, 1:], bound.high[left, 1:]
    sides = sides_of(task.target, low, high)
    return fits & (planes[:4] <= sides * planes[4]).all(axis=0)


def combine(
    power: ArrayLike,
    films: ArrayLike,
    target: ArrayLike | None,
    *,
    most_inks: int = 3,
    floor: ArrayLike | None = None,
    exact: Callable[[list[Combination]], ArrayLike] | None = None,
    lightness: str = "free",
    veil: ArrayLike | None = None,
    min_light_kept: float = 0.0,
    reference_Y: float = 1.0,
    distance: Callable[[Array], ArrayLike] | None = None,
    front_size: int | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Answer:
    """Find the best combination of ink coats, and the front of good compromises.

    Parameters
    ----------
    power : array_like, shape (401,)
        Head-on radiance of the lit piece without these inks, scaled so that the
        undyed piece has Y = 1. [1/nm]
    films : array_like, shape (n_inks, n_coats, 401)
        Transmittance of ink i with 1, 2, ... coats, 0 to 1. [-]
    target : array_like, shape (3,)
        Lab on the yardstick of `power`; None with `distance`.
    most_inks : int
        Different inks in one combination, 1 to 4.
    floor : array_like, shape (401,), optional
        Least factor, 0 to 1, that bounces put on power x films. [-]
    exact : callable, optional
        Takes a list of combinations, returns their XYZ without veil, shape (n, 3);
        goes with `floor`, whose promise it must keep. A fourth column is the Y that
        counts as light kept, at most the Y before it; then the XYZ may hold a veil
        of their own.
    lightness : {"free", "match"}
        "free" compares at the common L* = max(target L*, 50); "match" as they are.
    veil : array_like, shape (3,), optional
        XYZ added to every glow before it is compared.
    min_light_kept : float
        Least Y without veil over `reference_Y`. [-]
    reference_Y : float
        Y that counts as all the light.
    distance : callable, optional
        In place of `target`: takes XYZ with veil (n, 3), returns (n,). Everything is
        scored then, some hundred thousand combinations a second.
    front_size : int, optional
        Keep only so many of the front, the least differences.
    progress : callable, optional
        Called with (combinations covered, all combinations) after each block.

    Returns
    -------
    Answer

    Raises
    ------
    SpectrumError, ModelError
        For arrays of the wrong shape or range and wishes that exclude each other.
    OutOfReach
        When every combination keeps too little light.
    """
    task = Task(
        power=np.asarray(power, dtype=float),
        films=np.asarray(films, dtype=float),
        most_inks=most_inks,
        target=np.array([50.0, 0, 0]) if target is None else np.asarray(target, float),
        lightness=lightness,
        veil=np.zeros(3) if veil is None else np.asarray(veil, dtype=float),
        min_light_kept=min_light_kept,
        reference_Y=reference_Y,
        floor=None if floor is None else np.asarray(floor, dtype=float),
        exact=exact,
        distance=distance,
    )
    need(
        (target is None) != (distance is None),
        "asked for a target and a distance, or for neither; give exactly one",
    )
    task = checked(task)
    total = count_combinations(
        inks=task.n_inks, coats=task.n_coats, most_inks=task.most_inks
    )
    nothing = _score(task, np.empty((1, 0), dtype=np.intp))
    worst = float(nothing.difference[0])
    need(
        bool(np.isfinite(worst)),
        f"asked to improve on no ink at all, but its difference is {worst}; check what "
        "`exact` or `distance` gives for it",
    )
    table = np.full((task.most_inks * task.n_coats + 1, KEPT_EDGES.size), worst)
    table[:, :-1][:, KEPT_EDGES[1:] <= min_light_kept] = -np.inf
    found = [worthwhile(table, nothing, least_kept=min_light_kept)]
    covered = scored = 1
    bound = (
        None
        if distance
        else bound_of(task.target, lightness=task.lightness, worst=worst)
    )
    if progress is not None:
        progress(covered, total)
    for size in range(1, task.most_inks + 1):
        heads = _group(task, size - size // 2, by_last=True)
        tails = _group(task, size // 2)
        W = _weighted(task, tails)
        for h, t in _blocks(task, heads, tails):
            H, T = take(heads, h), take(tails, t)
            if bound is None:
                films = np.repeat(H.films, len(T.films), axis=0)
                films = np.hstack([films, np.tile(T.films, (len(H.films), 1))])
            else:
                level = np.searchsorted(bound.limits, table)
                films = _survivors(task, bound, level, H, T, W[:, t])
            for some in _chunks(0, len(films), BLOCK_SCORED):
                good = _score(task, films[some])
                good = worthwhile(table, good, least_kept=min_light_kept)
                if len(good.films):
                    found.append(good)
                    table = tightened(table, good)
            covered += len(H.films) * len(T.films)
            scored += len(films)
            if progress is not None:
                progress(covered, total)
    everything = Scored(*map(np.concatenate, zip(*found, strict=True)))
    everything = worthwhile(table, everything, least_kept=min_light_kept)
    front = choices_of(pareto(everything), n_coats=task.n_coats)
    if not front:
        raise OutOfReach(
            f"asked to keep at least {min_light_kept:g} of the light; the piece "
            f"without these inks keeps {nothing.kept[0]:g} and every combination keeps "
            "less; ask for less light or add a brighter LED"
        )
    return Answer(
        best=front[0],
        front=front[:front_size],
        covered=covered,
        total=total,
        scored=scored,
        pruned=covered - scored,
    )
