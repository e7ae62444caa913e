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
from dataclasses import dataclass
from math import comb
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tintlab.colorimetry import (
    Lab_to_XYZ,
    XYZ_to_Lab,
    delta_e_2000,
    spectrum_to_XYZ,
    tables,
)
from tintlab.errors import ModelError, OutOfReach, SpectrumError
from tintlab.spectrum import WAVELENGTHS

Array = NDArray[np.float64]
Singles = NDArray[np.float32]
Indices = NDArray[np.intp]
Combination = tuple[tuple[int, int], ...]  # (ink index, coats), sorted by ink

DECIMALS = 9  # differences and light kept are compared after rounding to these
ROUNDING = 3e-5  # > (402 + 8) 2^-24, relative error of a float32 sum of 402 products
FAINT = 1e-24  # added to Y: what float32 cannot hold is scored rather than dropped
KEPT_EDGES = np.append(0.0, np.geomspace(1e-4, 1.0, 200))  # bins of light kept [-]
KEPT_EDGES.setflags(write=False)
CELLS = 50  # steps of chroma and of hue to each side of the target
BLOCK_HEADS, BLOCK_TAILS, BLOCK_SCORED = 720, 240, 256  # sizes that stay in cache


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """One combination and what it does.

    Attributes
    ----------
    combination : tuple of (int, int)
        Ink index and number of coats, sorted by ink; empty for no ink at all.
    difference : float
        CIEDE2000 to the target under the policy, or the caller's distance. [-]
    light_kept : float
        Y without veil over `reference_Y`. [-]
    coats : int
        Coats in all.
    XYZ : tuple of float
        Of the glow with its veil, on the scale of `power`.
    """

    combination: Combination
    difference: float
    light_kept: float
    coats: int
    XYZ: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What was found, and the count that shows nothing was left out.

    Attributes
    ----------
    best : Choice
        Least difference; ties go to fewer coats, more light, lower ink indices.
    front : tuple of Choice
        Those no worse than doing nothing that no other one matches or beats in
        difference, light kept and coats at once; by rising difference.
    covered, total : int
        Combinations covered block by block, and their number in closed form.
    scored, pruned : int
        Of the covered: scored in full, and ruled out by a bound.
    """

    best: Choice
    front: tuple[Choice, ...]
    covered: int
    total: int
    scored: int
    pruned: int

    @property
    def proof(self) -> str:
        """Say in one sentence whether any combination was left out."""
        verb = "are" if self.covered == self.total else "ARE NOT"
        return (
            f"all {self.total:,} combinations {verb} covered: {self.scored:,} scored, "
            f"{self.pruned:,} ruled out because they cannot be better"
        )


def count_combinations(*, inks: int, coats: int, most_inks: int) -> int:
    """Count the combinations of up to `most_inks` inks, the empty one included."""
    return sum(comb(inks, k) * coats**k for k in range(most_inks + 1))


# --- the bound: which colours can be within a CIEDE2000 of the target ---------------
# Equation numbers: Sharma, Wu & Dalal, Color Res. Appl. 30 (2005) 21-30, bounded over
# cells of chroma and hue. C and h are CIELAB's, C_1 and h_1 those after eq. (5).


def _cosine_range(low: ArrayLike, high: ArrayLike) -> tuple[Array, Array]:
    """Bound cos between two angles, low <= high. [degrees]"""
    centre, half = np.add(low, high) / 2, np.subtract(high, low) / 2
    away = np.abs((centre + 180) % 360 - 180)
    far, near = np.minimum(away + half, 180.0), np.maximum(away - half, 0.0)
    return np.cos(np.radians(far)), np.cos(np.radians(near))


def _G(C_mean: Array) -> Array:
    """G of CIEDE2000, eq. (4); falls with chroma."""
    return 0.5 * (1 - np.sqrt(C_mean**7 / (C_mean**7 + 25.0**7)))


def _primed_hue(h: ArrayLike, G: Array) -> Array:
    """Hue after a' = (1 + G) a, eq. (5) to (7); rises with h, monotone in G."""
    s, c = np.sin(np.radians(h)), np.cos(np.radians(h))
    return h - np.degrees(np.arctan2(G * s * c, 1 + G * c**2))


def _hue_terms(low: Array, high: Array, C_mean: Array) -> tuple[Array, Array]:
    """Bound T, eq. (15), and -R_T, eq. (16), (17), (21), from above for mean hues."""
    T = (
        1
        - 0.17 * _cosine_range(low - 30, high - 30)[0]
        + 0.24 * _cosine_range(2 * low, 2 * high)[1]
        + 0.32 * _cosine_range(3 * low + 6, 3 * high + 6)[1]
        - 0.20 * _cosine_range(4 * low - 63, 4 * high - 63)[0]
    )
    nearest = np.degrees(np.arccos(_cosine_range(low - 275, high - 275)[1]))
    theta = 30 * np.exp(-((nearest / 25) ** 2))
    R_C = 2 * np.sqrt(C_mean**7 / (C_mean**7 + 25.0**7))
    return T, np.sin(np.radians(2 * theta)) * R_C


def least_difference(
    *, target: ArrayLike, chroma: tuple[Array, Array], hue: tuple[Array, Array]
) -> Array:
    """Bound CIEDE2000 from below over cells of chroma and hue at equal lightness.

    Parameters
    ----------
    target : array_like, shape (3,)
        Lab.
    chroma, hue : tuple of ndarray, shape (n,)
        Lower and upper edges of C*ab and of its hue angle; a cell lies within 180
        degrees of the target's hue, on one side of it; a colour exactly opposite
        belongs to the cells of both sides. [-, degrees]

    Returns
    -------
    ndarray, shape (n,)
        No colour in the cell is closer to the target than this.
    """
    _, a, b = np.asarray(target, dtype=float)
    h_t = np.degrees(np.arctan2(b, a))
    G = _G((np.hypot(a, b) + np.stack(chroma[::-1])) / 2)  # (2, n): low, high
    cos_low, cos_high = _cosine_range(*hue)
    square = np.sort([cos_low**2, cos_high**2], axis=0)
    square[0] *= cos_low * cos_high > 0
    C_1 = np.stack(chroma) * np.sqrt(1 + (2 * G + G**2) * square)  # (6) low, high
    C_2 = np.hypot((1 + G) * a, b)
    h_1 = _primed_hue(hue[0], G).min(axis=0), _primed_hue(hue[1], G).max(axis=0)
    h_2 = np.sort(_primed_hue(h_t, G), axis=0)
    low = np.clip(h_1[0] - h_2[1], -180, 180)  # (10)
    high = np.clip(h_1[1] - h_2[0], -180, 180)
    C_mean = (C_1[1] + C_2[1]) / 2
    T, r = _hue_terms(h_2[0] + low / 2, h_2[1] + high / 2, C_mean)
    c = (C_1 - C_2[::-1]) / (1 + 0.0225 * (C_1 + C_2[::-1]))  # (19); rises with C_1
    near, far = np.maximum(np.maximum(low, -high), 0), np.maximum(high, -low)
    H = 2 * np.sqrt(C_1 * C_2[0]) * np.sin(np.radians(near / 2))  # (11)
    e = (H / (1 + 0.0075 * T * (C_1 + C_2[1]))).min(axis=0)  # (20), least at an end
    most_e = 2 * np.sqrt(C_1[1] * C_2[1]) * np.sin(np.radians(far / 2))
    opposed = ((c[1] < 0) & (low > 0)) | ((c[0] > 0) & (high < 0))
    r = np.where(opposed, 0.0, r)
    c, most_c = np.maximum(np.maximum(c[0], -c[1]), 0), np.abs(c).max(axis=0)
    # c^2 + e^2 - r c e (22) is convex and 0 at 0: least on an edge that faces 0
    best_e, best_c = np.clip(r * c / 2, e, most_e), np.clip(r * e / 2, c, most_c)
    squared = np.minimum(
        c**2 + best_e**2 - r * c * best_e, best_c**2 + e**2 - r * best_c * e
    )
    return np.sqrt(np.maximum(squared, 0.0))


def lab_box(*, target: ArrayLike, limits: ArrayLike) -> tuple[Array, Array]:
    """Bound the Lab of all colours within given differences of the target.

    Parameters
    ----------
    target : array_like, shape (3,)
        Lab.
    limits : array_like, shape (n,)
        CIEDE2000. [-]

    Returns
    -------
    low, high : ndarray, shape (n, 3)
        Lab; L* may be infinite. Good to a*, b* = 1e5, beyond any light's.
    """
    L, a, b = np.asarray(target, dtype=float)
    limits = np.asarray(limits, dtype=float)
    C_t, h_t = np.hypot(a, b), np.degrees(np.arctan2(b, a))
    steps = np.append(0.0, np.geomspace(0.02, 1e5, CELLS))
    C = np.unique(np.maximum(np.concatenate([C_t - steps, C_t + steps]), 0.0))
    steps = np.append(0.0, np.geomspace(0.02, 180, CELLS))
    h = np.unique(np.concatenate([h_t - steps, h_t + steps]))
    chroma = np.repeat(C[:-1], h.size - 1), np.repeat(C[1:], h.size - 1)
    hue = np.tile(h[:-1], C.size - 1), np.tile(h[1:], C.size - 1)
    least = least_difference(target=target, chroma=chroma, hue=hue)
    order = np.argsort(least)
    last = np.searchsorted(least[order], limits, side="right") - 1
    slope = 1 - 0.0075 * limits  # (18): S_L <= 1 + 0.015 |L_mean - 50|
    with np.errstate(divide="ignore", invalid="ignore"):
        dL = np.where(slope > 0, limits * (1 + 0.015 * abs(L - 50)) / slope, np.inf)
    low, high = [L - dL], [L + dL]
    for turn in (0.0, 90.0):
        cos_low, cos_high = _cosine_range(hue[0] - turn, hue[1] - turn)
        inner = np.minimum(chroma[0] * cos_low, chroma[1] * cos_low)
        outer = np.maximum(chroma[0] * cos_high, chroma[1] * cos_high)
        low.append(np.minimum.accumulate(inner[order])[last])
        high.append(np.maximum.accumulate(outer[order])[last])
    return np.stack(low, axis=-1), np.stack(high, axis=-1)


class _Bound(NamedTuple):
    """What a difference of at most `limits` allows; the first limit allows nothing."""

    limits: Array  # (n,) rising CIEDE2000
    low: Array  # (n, 3) Lab
    high: Array  # (n, 3)
    sides: Singles  # (4, n) of `_sides`, for any allowed L*
    least_Y: Array  # (n,)


def _f_to_ratio(f: ArrayLike) -> Array:
    """Undo the f of CIELAB; no light below f = 16 / 116."""
    f = np.asarray(f)
    return np.where(f > 6 / 29, f**3, np.maximum(116 * f - 16, 0) / (29 / 3) ** 3)


def _centre(target: Array) -> tuple[float, float]:
    """Give x, z: X / Y and Z / Y of the target, each relative to the white."""
    x, y, z = Lab_to_XYZ(target) / tables().white
    return max(x, 0.0) / y, max(z, 0.0) / y


def _sides(target: Array, low: Array, high: Array) -> Singles:
    """Turn boxes in Lab into u: P, -P, Q, -Q <= u Y for P = X - x Y, Q = Z - z Y.

    At a given a* (b*), X / Y (Z / Y) moves one way only with Y, so that the corners of
    the box hold its extremes. X, Z are relative to the white; shapes (n, 3) -> (4, n).
    """
    f = (np.stack([low[:, 0], high[:, 0]])[:, None] + 16) / 116  # (2, 1, n)
    steps = np.stack([low[:, 1], high[:, 1], -high[:, 2], -low[:, 2]])
    steps = (steps / [[500], [500], [200], [200]]).reshape(2, 1, 2, -1)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = _f_to_ratio(f + steps) / _f_to_ratio(f)  # (axis, end of f, of step, n)
    least, most = ratio.min(axis=(1, 2)), ratio.max(axis=(1, 2))
    centre = np.array(_centre(target))[:, None]
    sides = np.stack([most - centre, centre - least], axis=1)
    sides += 4 * ROUNDING * np.abs(sides) + 3 * ROUNDING * centre[:, None] + 1e-9
    sides[..., low[:, 0] < 1e-6] = np.inf  # too dark to tell X / Y from rounding
    return sides.reshape(4, -1).astype(np.float32)


def _bound(task: "_Task", worst: float) -> _Bound:
    """Tabulate what limits from 0 to `worst` allow."""
    limits = worst * np.linspace(0, 1, 201) ** 2
    low, high = lab_box(target=task.target, limits=limits + 1e-6)
    least_Y = _f_to_ratio((low[:, 0] + 16) / 116)
    if task.lightness == "free":
        low[:, 0] = high[:, 0] = task.target[0]
        least_Y = np.zeros_like(limits)
    sides = np.pad(_sides(task.target, low, high), ((0, 0), (1, 0)))
    sides[:, 0] = -np.inf
    return _Bound(
        limits=np.append(-1.0, limits),
        low=np.vstack([low[:1], low]),
        high=np.vstack([high[:1], high]),
        sides=sides,
        least_Y=np.append(np.inf, least_Y),
    )


# --- what is asked, and how a combination is scored ---------------------------------


class _Task(NamedTuple):
    """What is asked; films become (n_inks * n_coats, 401) when checked."""

    power: Array  # (401,)
    films: Array  # (n_inks, n_coats, 401)
    most_inks: int
    target: Array  # (3,) Lab, at the common lightness when that is free
    lightness: str
    veil: Array  # (3,)
    min_light_kept: float
    reference_Y: float
    floor: Array | None  # (401,)
    exact: Callable[[list[Combination]], ArrayLike] | None
    distance: Callable[[Array], ArrayLike] | None
    n_inks: int = 0
    n_coats: int = 0


def _need(right: bool, sentence: str) -> None:
    if not right:
        raise ModelError(sentence)


def _checked(task: _Task) -> _Task:
    """Refuse what cannot be answered; bring the target to the common lightness."""
    n = WAVELENGTHS.size
    floor = np.ones(n) if task.floor is None else task.floor
    shapes = {*task.films.shape[2:], *task.power.shape, *floor.shape}
    if task.films.ndim != 3 or shapes != {n}:
        raise SpectrumError(
            f"asked to combine films of shape {task.films.shape}, a light of shape "
            f"{task.power.shape} and a floor of shape {floor.shape}; give "
            f"(inks, coats, {n}), ({n},) and ({n},) on 380-780 nm"
        )
    limits = {"power": np.inf, "films": 1.0, "floor": 1.0, "veil": np.inf}
    for name, values in (*task._asdict().items(), ("floor", floor)):
        if name in limits and values is not None:
            _need(
                bool(
                    (
                        np.isfinite(values) & (values >= 0) & (values <= limits[name])
                    ).all()
                ),
                f"asked with {name} outside 0 to {limits[name]:g}; mend those values",
            )
    _need(
        (task.floor is None) == (task.exact is None),
        "asked with only one of floor and exact; give both or neither",
    )
    _need(
        task.lightness in ("free", "match"),
        f'asked for lightness "{task.lightness}"; choose "free" or "match"',
    )
    _need(
        1 <= task.most_inks <= 4, f"asked for up to {task.most_inks} inks; choose 1-4"
    )
    _need(
        task.target.shape == task.veil.shape == (3,),
        "asked with a target or veil that has not three values; give L, a, b; X, Y, Z",
    )
    _need(
        bool(np.isfinite(task.target).all() and task.target[0] > 0),
        "asked for a target without lightness; give an L* above 0",
    )
    _need(
        bool(0 < spectrum_to_XYZ(task.power)[1] < np.inf and task.reference_Y > 0),
        "asked to filter a light that has no luminance; give one that shines",
    )
    target = task.target
    if task.lightness == "free" and target[0] < 50:
        XYZ = Lab_to_XYZ(target)
        target = XYZ_to_Lab(XYZ / XYZ[1] * Lab_to_XYZ([50.0, 0, 0])[1])
    n_inks, n_coats = task.films.shape[:2]
    return task._replace(
        films=task.films.reshape(n_inks * n_coats, n),
        target=np.round(target, 10),  # keeps a neutral target neutral
        most_inks=min(task.most_inks, n_inks),
        n_inks=n_inks,
        n_coats=n_coats,
    )


class _Scored(NamedTuple):
    films: Indices  # (n, most_inks) rows of _Task.films, then -1
    difference: Array  # (n,)
    kept: Array  # (n,)
    coats: Indices  # (n,)
    XYZ: Array  # (n, 3)


def _take(record: Any, index: Any) -> Any:
    """Select rows of every array of a record."""
    return type(record)(*(values[index] for values in record))


def _combinations(task: _Task, films: Indices) -> list[Combination]:
    pairs = [(f // task.n_coats, f % task.n_coats + 1) for f in range(len(task.films))]
    return [tuple(pairs[f] for f in row if f >= 0) for row in films.tolist()]


def _score(task: _Task, films: Indices) -> _Scored:
    """Score combinations in full, given as rows of film indices."""
    if task.exact is None:
        glow = np.tile(task.power, (len(films), 1))
        for column in films.T:
            glow *= task.films[column]
        XYZ = spectrum_to_XYZ(glow)
    else:
        XYZ = np.asarray(task.exact(_combinations(task, films)), dtype=float)
        if XYZ.shape not in ((len(films), 3), (len(films), 4)):
            raise ModelError(
                f"asked `exact` for the XYZ of {len(films)} combinations and got an "
                f"array of shape {XYZ.shape}; return one row of X, Y, Z for each"
            )
    kept, XYZ = XYZ[:, -1 if XYZ.shape[1] == 4 else 1], XYZ[:, :3]
    return _Scored(
        films=np.pad(
            films, ((0, 0), (0, task.most_inks - films.shape[1])), constant_values=-1
        ),
        difference=np.round(_difference(task, XYZ + task.veil), DECIMALS),
        kept=np.round(kept / task.reference_Y, DECIMALS),
        coats=(films % max(task.n_coats, 1) + 1).sum(axis=1),
        XYZ=XYZ + task.veil,
    )


def _choices(task: _Task, scored: _Scored) -> tuple[Choice, ...]:
    films, *numbers, XYZ = scored
    columns = (values.tolist() for values in (*numbers, np.round(XYZ, 12)))
    return tuple(
        Choice(combination=c, difference=d, light_kept=kept, coats=n, XYZ=tuple(XYZ))
        for c, d, kept, n, XYZ in zip(_combinations(task, films), *columns, strict=True)
    )


def _difference(task: _Task, XYZ: Array) -> Array:
    if task.distance is not None:
        return np.asarray(task.distance(XYZ), dtype=float)
    if task.lightness == "free":
        level, Y = Lab_to_XYZ(task.target)[1], XYZ[:, 1:2]
        XYZ = XYZ * np.divide(level, Y, out=np.full_like(Y, np.nan), where=Y > 0)
    difference = delta_e_2000(XYZ_to_Lab(XYZ), task.target)
    return np.where(np.isnan(difference), np.inf, difference)


# --- what is found so far says what can still matter --------------------------------


def _bins(kept: Array) -> Indices:
    return np.maximum(np.searchsorted(KEPT_EDGES, kept, side="right") - 1, 0)


def _tighten(table: Array, scored: _Scored) -> Array:
    """Lower the differences that a newcomer must not exceed, (coats, bin of kept).

    Whatever has no more coats and sits in a higher bin of light kept counts.
    """
    table, fine = table.copy(), _take(scored, _bins(scored.kept) > 0)
    np.minimum.at(table, (fine.coats, _bins(fine.kept) - 1), fine.difference)
    table = np.minimum.accumulate(table, axis=0)
    return np.minimum.accumulate(table[:, ::-1], axis=1)[:, ::-1]


def _worthwhile(task: _Task, table: Array, scored: _Scored) -> _Scored:
    """Drop what is beaten by the table or too dim."""
    wanted = scored.difference <= table[scored.coats, _bins(scored.kept)]
    return _take(scored, wanted & (scored.kept >= task.min_light_kept))


def _pareto(scored: _Scored) -> _Scored:
    """Keep those that none matches or beats in everything, in the order of ties."""
    keys = (*scored.films.T[::-1], -scored.kept, scored.coats, scored.difference)
    scored = _take(scored, np.lexsort(keys))
    most_kept = np.full(scored.coats.max(initial=0) + 1, -np.inf)  # with <= n coats
    front = []
    for i, (n, kept) in enumerate(zip(scored.coats, scored.kept, strict=True)):
        if kept > most_kept[n]:
            front.append(i)
            most_kept[n:] = np.maximum(most_kept[n:], kept)
    return _take(scored, front)


# --- the blocks ---------------------------------------------------------------------


class _Group(NamedTuple):
    """All products of some number of films, sorted by their first or last ink."""

    films: Indices  # (n, size)
    first: Indices  # (n,) lowest ink
    last: Indices  # (n,) highest ink
    coats: Indices  # (n,)
    kept: Array  # (n,) alone on the light, not less than in truth
    product: Singles  # (n, 402), the last one for the veil: 1


def _group(task: _Task, size: int, *, by_last: bool = False) -> _Group:
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


def _blocks(task: _Task, heads: _Group, tails: _Group) -> Iterator[tuple[slice, slice]]:
    """Pair each head with every tail whose inks all come after its own, once."""
    for ink in range(task.n_inks):
        start, stop = np.searchsorted(heads.last, [ink, ink + 1]).tolist()
        after = int(np.searchsorted(tails.first, ink, side="right"))
        for t in _chunks(after, len(tails.films), BLOCK_TAILS):
            for h in _chunks(start, stop, BLOCK_HEADS):
                yield h, t


def _weighted(task: _Task, tails: _Group) -> Singles:
    """Weigh products by light and observer: P, Q, Y of `_sides`, (3, n, 402).

    With a floor the glow at each wavelength is between floor and 1 times the product:
    the least that this allows for P, -P, Q, -Q, and the most for Y, (5, n, 402).
    """
    XYZ = np.vstack([tables().observer * task.power[:, None], task.veil])
    X, Y, Z = (XYZ / tables().white).T
    x, z = _centre(task.target)
    planes = np.stack([X - x * Y, Z - z * Y, Y])
    planes[2, -1] += FAINT
    if task.floor is not None:
        P, Q, Y = planes
        planes, floor = np.stack([P, -P, Q, -Q, Y]), np.append(task.floor, 1.0)
        planes[:4] = np.where(planes[:4] > 0, planes[:4] * floor, planes[:4])
    return (planes[:, None] * tails.product).astype(np.float32)


def _survivors(
    task: _Task, bound: _Bound, level: Indices, heads: _Group, tails: _Group, W: Singles
) -> Indices:
    """Find the combinations of one block that the bound cannot rule out.

    First by what the light kept of the head alone allows, then each by its own.
    `level` is the table of `_tighten` as indices into the bound; W holds the weighted
    tails, (planes, n, 402).
    """
    coats = np.arange(tails.coats.max() + 1)[:, None]
    allowed = level[coats + heads.coats, _bins(heads.kept)]
    Y = heads.kept * task.reference_Y + task.veil[1]
    alive = (bound.least_Y[allowed] <= Y).any(axis=0)  # the rest can only darken
    if not alive.all():
        heads, allowed = _take(heads, alive), allowed[:, alive]
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
    own = level[coats, _bins(kept / task.reference_Y + 1e-9)]
    fits = (planes[:4] <= bound.sides[:, own] * planes[4]).all(axis=0)
    if task.lightness == "match":
        fits[fits] = _matches(task, bound, own[fits], planes[:, fits])
    return np.hstack([heads.films[head[fits]], tails.films[tail[fits]]])


def _matches(
    task: _Task, bound: _Bound, own: Indices, planes: Singles
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
    sides = _sides(task.target, low, high)
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
    task = _Task(
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
    _need(
        (target is None) != (distance is None),
        "asked for a target and a distance, or for neither; give exactly one",
    )
    task = _checked(task)
    total = count_combinations(
        inks=task.n_inks, coats=task.n_coats, most_inks=task.most_inks
    )
    nothing = _score(task, np.empty((1, 0), dtype=np.intp))
    worst = float(nothing.difference[0])
    _need(
        bool(np.isfinite(worst)),
        f"asked to improve on no ink at all, but its difference is {worst}; check what "
        "`exact` or `distance` gives for it",
    )
    table = np.full((task.most_inks * task.n_coats + 1, KEPT_EDGES.size), worst)
    table[:, :-1][:, KEPT_EDGES[1:] <= min_light_kept] = -np.inf
    found = [_worthwhile(task, table, nothing)]
    covered = scored = 1
    bound = None if distance else _bound(task, worst)
    if progress is not None:
        progress(covered, total)
    for size in range(1, task.most_inks + 1):
        heads = _group(task, size - size // 2, by_last=True)
        tails = _group(task, size // 2)
        W = _weighted(task, tails)
        for h, t in _blocks(task, heads, tails):
            H, T = _take(heads, h), _take(tails, t)
            if bound is None:
                films = np.repeat(H.films, len(T.films), axis=0)
                films = np.hstack([films, np.tile(T.films, (len(H.films), 1))])
            else:
                level = np.searchsorted(bound.limits, table)
                films = _survivors(task, bound, level, H, T, W[:, t])
            for some in _chunks(0, len(films), BLOCK_SCORED):
                good = _worthwhile(task, table, _score(task, films[some]))
                if len(good.films):
                    found.append(good)
                    table = _tighten(table, good)
            covered += len(H.films) * len(T.films)
            scored += len(films)
            if progress is not None:
                progress(covered, total)
    everything = _Scored(*map(np.concatenate, zip(*found, strict=True)))
    front = _choices(task, _pareto(_worthwhile(task, table, everything)))
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
