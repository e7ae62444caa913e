"""What no filter can do: the certified limit of a light.

Whatever dyes and films do to the light of a piece, each wavelength is multiplied by
some transmittance between 0 and 1. The colours with one share of the light kept then
fill a flat convex region, whose rim is made by filters that are 0 or 1 but for a bin
or two (optimal colours; Schroedinger, Ann. Phys. 62 (1920) 603; MacAdam, J. Opt. Soc.
Am. 25 (1935) 361). The least CIEDE2000 in that region is found from both sides: an
explicit filter from above, branch and bound over boxes in a*, b* from below, with
tangents of the rim deciding which boxes can hold a colour. Not covered: fluorescence,
added scatter, reflective films, removed surfaces, another light or drive.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq, linprog, minimize, nnls

from tintlab.colorimetry import tables
from tintlab.solve.slices import (
    SNAP,
    Question,
    Rim,
    around,
    bracket,
    checked_shares,
    filled,
    question_of,
)
from tintlab.spectrum import WAVELENGTHS

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Limit:
    """The least difference at one share of light kept.

    Attributes
    ----------
    share : float
        Light kept, Y of the filtered over Y of the unfiltered light. [-]
    low : float
        No filter with this share comes nearer than this. [CIEDE2000]
    high : float
        The difference of `filter`. [CIEDE2000]
    filter : ndarray, shape (401,)
        Transmittance, 0 or 1 but for at most three bins of the grid. [-]
    Lab : ndarray, shape (3,)
        The colour it reaches, at the lightness at which it is judged.
    """

    share: float
    low: float
    high: float
    filter: Array
    Lab: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reach:
    """The limit for many shares of light kept.

    Attributes
    ----------
    shares, low, high : ndarray, shape (n,)
        Light kept, rising [-]; certified limit and explicit filter [CIEDE2000].
    best : Limit
        The least difference at or above the wanted minimum of light; among equals
        (within the tolerance) the one that keeps most light.
    nested : bool
        True when the limit cannot fall as more light is kept ("free" without a
        veil): then it lies between `low` of the listed share below and `high` of
        the one above, and `best` holds for all shares. Otherwise listed shares only.
    """

    shares: Array
    low: Array
    high: Array
    best: Limit
    nested: bool

    def most_light(self, within: float) -> tuple[float, float]:
        """Bracket the light that can be kept within a difference.

        Returns
        -------
        can, cannot : float
            The largest listed share with a filter inside `within` (0: none); the
            least listed share above it that no filter can reach (1: none).
        """
        can = self.shares[self.high <= within]
        most = float(can[-1]) if can.size else 0.0
        cannot = self.shares[(self.low > within) & (self.shares > most)]
        return most, float(cannot[0]) if cannot.size else 1.0


def limit(
    power: ArrayLike,
    target: ArrayLike,
    *,
    light_kept: float,
    lightness: str = "free",
    veil: ArrayLike | None = None,
    level: float = 1.0,
    tolerance: float = 0.01,
) -> Limit:
    """Find the least CIEDE2000 of any filter that keeps one share of the light.

    Parameters
    ----------
    power : array_like, shape (401,)
        Head-on light of the piece with the absorption of every dye and film 0.
        [any unit per nm]
    target : array_like, shape (3,)
        Wanted L*, a*, b* (D65 white).
    light_kept : float
        Y of the filtered light over Y of `power`, above 0 and at most 1. [-]
    lightness : str
        "free": both colours are scaled to L* = max(target L*, 50), then compared.
        "match": they are compared as they are.
    veil : array_like, shape (3,), optional
        XYZ of room light on top that no filter changes, on the scale of `level`.
    level : float
        Y of `power`, where 1 is L* = 100.
    tolerance : float
        Wanted `high` - `low`; a budget of boxes may leave more. [CIEDE2000]

    Raises
    ------
    SpectrumError
        When `power` is not a spectrum with some visible light.
    TintlabError
        For a share, lightness policy, target or veil that has no meaning.
    """
    shares = checked_shares(light_kept)
    question = question_of(power, target, lightness, veil, level)
    low, points, rim = bracket(question, shares, tolerance)
    return _limit(question, rim, 0, float(shares[0]), float(low[0]), points[0])


def reach(
    power: ArrayLike,
    target: ArrayLike,
    *,
    light_kept: ArrayLike | None = None,
    minimum: float = 0.0,
    lightness: str = "free",
    veil: ArrayLike | None = None,
    level: float = 1.0,
    tolerance: float = 0.01,
) -> Reach:
    """Find the limit for many shares of light kept.

    Parameters
    ----------
    power, target, lightness, veil, level, tolerance
        As for `limit`.
    light_kept : array_like, shape (n,), optional
        Shares; 50 from 0.01 to 1 in equal ratios unless given. [-]
    minimum : float
        Least light kept that `best` may have; when above 0 it joins the shares. [-]

    Raises
    ------
    SpectrumError, TintlabError
        As for `limit`.
    """
    listed = np.geomspace(0.01, 1.0, 50) if light_kept is None else light_kept
    shares = checked_shares(np.append(listed, minimum) if minimum > 0 else listed)
    question = question_of(power, target, lightness, veil, level)
    low, points, rim = bracket(question, shares, tolerance)
    high = question.differs(points, shares)
    allowed = np.flatnonzero(shares >= minimum)
    best = allowed[high[allowed] <= high[allowed].min() + tolerance][-1]
    share = float(shares[best])
    return Reach(
        shares=shares,
        low=low,
        high=high,
        best=_limit(question, rim, int(best), share, float(low[best]), points[best]),
        nested=lightness == "free" and not question.veil.any(),
    )


def optimal_colours(power: ArrayLike, *, light_kept: float, count: int = 360) -> Array:
    """Give the rim: the extreme colours at one share of light kept.

    Parameters
    ----------
    power : array_like, shape (401,)
        As for `limit`.
    light_kept : float
        Share. [-]
    count : int
        Directions, evenly round the plane of X and Z in units of the white.

    Returns
    -------
    ndarray, shape (count, 3)
        XYZ with the Y of `power` at 1, anticlockwise in X, Z.
    """
    shares = np.repeat(checked_shares(light_kept), count)
    question = question_of(power, (50.0, 0.0, 0.0), "match", None)
    points = filled(question, around(count), shares) @ question.places
    X, Z = points.T * tables().white[::2, None]
    return np.stack([X, shares, Z], axis=-1)


def max_light(power: ArrayLike, target: ArrayLike) -> float:
    """Find the most light any filter keeps at exactly the target's chromaticity.

    A linear programme: the most sum(T y) with sum(T v) along the target's XYZ and
    0 <= T <= 1.

    Parameters
    ----------
    power, target
        As for `limit`; only the chromaticity of `target` counts.

    Returns
    -------
    float
        Light kept; 0 when no filter of this light has that chromaticity. [-]
    """
    question = question_of(power, target, "free", None)
    point = question.points(question.target, np.ones(()))
    # in light, not transmittance: the solver drops coefficients below 1e-9
    found = linprog(
        -np.ones_like(question.weights),
        A_eq=1e3 * (question.places - point).T,
        b_eq=(0, 0),
        bounds=np.stack([np.zeros_like(question.weights), question.weights], axis=-1),
        options={
            "primal_feasibility_tolerance": 1e-10,
            "dual_feasibility_tolerance": 1e-10,
        },
    )
    return float(np.clip(-found.fun, 0, 1))


def smooth_estimate(
    power: ArrayLike,
    target: ArrayLike,
    *,
    light_kept: float,
    lightness: str = "free",
    veil: ArrayLike | None = None,
    level: float = 1.0,
    width: float = 80.0,
) -> Limit:
    """Estimate what smooth, dye-like filters do at one share of light kept.

    Absorbance is a sum of Gaussian bands in wavenumber, every 20 nm from 400 to
    700 nm, each 0 to 3 (assumed), over a neutral base that sets the share. The best
    of a few local searches: an estimate from above, never below the certified limit.

    Parameters
    ----------
    power, target, light_kept, lightness, veil, level
        As for `limit`.
    width : float
        Full width at half height of each band in nm at its own centre. [nm]

    Returns
    -------
    Limit
        Its `low` is 0: nothing is certified here.

    Raises
    ------
    SpectrumError, TintlabError
        As for `limit`.
    """
    share = float(checked_shares(light_kept)[0])
    question = question_of(power, target, lightness, veil, level)
    bands = _bands(width)
    seen = bands[:, question.bins]

    def kept(doses: Array) -> Array:
        return question.weights * 10.0 ** -(doses @ seen)

    def miss(doses: Array) -> Array:
        light = kept(doses)
        points = light @ question.places / light.sum(axis=-1, keepdims=True)
        return question.differs(points, np.full(light.shape[:-1], share)) ** 2

    def slope(doses: Array) -> Array:
        step = 1e-7 * np.eye(len(doses))
        return (miss(doses + step) - miss(doses)) / 1e-7

    enough = {
        "type": "ineq",
        "fun": lambda doses: kept(doses).sum() - share,
        "jac": lambda doses: -np.log(10) * seen @ kept(doses),
    }
    limits = [(0, 3)] * len(bands)
    found = [
        minimize(
            miss, start, method="SLSQP", jac=slope, bounds=limits, constraints=enough
        )
        for start in _starts(len(bands))
    ]
    eased = [_eased(np.clip(each.x, 0, 3), kept, share) for each in found]
    doses = min(eased, key=miss)
    base = share / kept(doses).sum()
    return _as_limit(question, base * 10.0 ** -(doses @ bands), share, 0.0)


def _limit(
    question: Question, rim: Rim, owner: int, share: float, low: float, point: Array
) -> Limit:
    """Mix the rim's filters to the best point and write one plain filter down."""
    own = rim.owners == owner
    corners = np.vstack([rim.points[own].T, np.ones(own.sum())])
    mix, _ = nnls(corners, np.append(point, 1.0))
    used = mix > 0
    shares = np.full(used.sum(), share)
    light = filled(question, rim.normals[own][used], shares)
    transmittance = np.zeros(WAVELENGTHS.size)
    transmittance[question.bins] = _few_partial(
        question, mix[used] / mix.sum() @ light / question.weights
    )
    return _as_limit(question, transmittance, share, low)


def _few_partial(question: Question, transmittance: Array) -> Array:
    """Move bins to 0 or 1, the colour unchanged, until at most three are between.

    Any four bins have a trade that leaves X, Y and Z alone; it is followed until one
    of them is full or empty.
    """
    values = np.clip(transmittance, 0, 1)
    while True:
        partial = np.flatnonzero((values > SNAP) & (values < 1 - SNAP))[:4]
        if len(partial) < 4:
            return np.where(values < SNAP, 0, np.where(values > 1 - SNAP, 1, values))
        weights = question.weights[partial]
        XYZ = np.vstack([question.places[partial].T, np.ones(4)])
        trade = np.linalg.svd(XYZ)[2][3] / weights
        trade /= np.abs(trade).max()
        moving = np.abs(trade) > SNAP
        room = np.where(trade > 0, 1 - values[partial], values[partial])[moving]
        step = room / np.abs(trade[moving])
        values[partial] += step.min() * trade
        values[partial[moving][step.argmin()]] = float(trade[moving][step.argmin()] > 0)


def _as_limit(
    question: Question, transmittance: Array, share: float, low: float
) -> Limit:
    """Score a filter; its share is known."""
    light = question.weights * transmittance[question.bins]
    own = np.asarray(share)
    point = light @ question.places / share
    high = float(question.differs(point, own))
    return Limit(
        share=share,
        low=min(low, high),
        high=high,
        filter=transmittance,
        Lab=question.Lab(point, own),
    )


def _bands(width: float) -> Array:
    """Give Gaussian bands (16, 401) of unit height in wavenumber."""
    centres = np.arange(400.0, 701.0, 20.0)[:, None]
    size = 1 / (centres - width / 2) - 1 / (centres + width / 2)
    away = (1 / WAVELENGTHS - 1 / centres) / size
    return np.exp(-4 * np.log(2) * away**2)


def _starts(count: int) -> list[Array]:
    """Give doses to start from: none, and each third of the bands in or out."""
    third = np.arange(count) * 3 // count
    blocks = [third == k for k in range(3)]
    chosen = [np.zeros(count, dtype=bool), *blocks, *(~block for block in blocks)]
    return [np.where(block, 0.5, 0.0) for block in chosen]


def _eased(doses: Array, kept: Callable[[Array], Array], share: float) -> Array:
    """Thin the doses together until the share is kept."""
    if kept(doses).sum() >= share:
        return doses
    thin = brentq(lambda part: kept(part * doses).sum() - share, 0, 1, xtol=1e-14)
    return doses * max(thin - 1e-12, 0.0)
