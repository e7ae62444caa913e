"""The ideal amounts: every set of up to three bottles, optimised over the true stack.

Batched damped least squares over the three parts of CIEDE2000, all sets from several
starts at once, finished at 1 nm. `tintlab.solve.dose` turns amounts into what can be
measured out.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations, product

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.ndimage import minimum_filter
from scipy.optimize import minimize

from tintlab import yardstick
from tintlab.colorimetry import (
    MAXIMUM_EFFICACY,
    XYZ_to_Lab,
    delta_e_2000,
    delta_e_2000_parts,
    spectrum_to_XYZ,
    tables,
)
from tintlab.colourants import Bottle, in_cure, shape_of
from tintlab.errors import InsetError
from tintlab.glow import undyed, white_in
from tintlab.inset import Inset, Layer, Target
from tintlab.piece import LN10, piece_of
from tintlab.solve.response import Response, response_of
from tintlab.uptake import sheet_absorbance

Array = NDArray[np.float64]

MOST = 3  # bottles in one dose
STEP = 4  # [nm] of the search; doses are scored at 1 nm
ROUNDS = 25  # of damped least squares
POLISHED = 8  # sets of each size that are finished at 1 nm
LEVELS = {1: (0.03, 12.0, 24), 2: (0.06, 12.0, 11), 3: (0.12, 8.0, 5)}  # of the grid
STARTS = 5  # points of the grid from which a search sets out
BLOCK = 128  # sets searched at a time, which bounds memory
FAR = 1e6  # what puts other points of the grid behind its local minima
ENOUGH = 1e-6  # squared difference at which a search rests
WELL = 0.01  # difference that no minimiser needs to better
LONGEST = 120  # [min] in a bath
LOADING = 0.05  # of liquid colourant where the medium names no limit; common practice
WELL_INSIDE = 0.004  # u'v' from the edge of a region, beyond which all is as good
DARK = 1e4  # weight of light below the wanted minimum, in scores
DUSK = 50.0  # the same for starts, which may lie beyond the limit
NEAR = 0.01  # share of light within which a dose runs into the wanted minimum
PALE = (200.0, 3000.0)  # the same in least squares, one after the other


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Problem:
    """Everything the search needs, as numbers.

    Attributes
    ----------
    inset, target, layer, number
        What is asked, the layer and its position.
    bottles : tuple of Bottle
    shapes : ndarray, shape (n_bottles, n_wavelengths)
    caps : ndarray, shape (n_bottles,)
        Largest peak absorbance that the loading limit or the bath allows.
    fine, coarse : Response
        At 1 nm and at `STEP` nm.
    anchor : float
        Luminance of the undyed piece. [cd/m2]
    room : ndarray, shape (401,)
        Spectral radiance of a perfect white in the room. [W/(m2 sr nm)]
    """

    inset: Inset
    target: Target
    layer: Layer
    number: int
    bottles: tuple[Bottle, ...]
    shapes: Array
    caps: Array
    fine: Response
    coarse: Response
    anchor: float
    room: Array

    def seen(
        self, amounts: Array, which: NDArray[np.intp], step: int = 1
    ) -> tuple[Array, Array]:
        """XYZ of glow and veil, and of the face, for doses of shape (..., k)."""
        depth = self.depth(amounts, which, step)
        response = self.fine if step == 1 else self.coarse
        return self.colours(*response.radiance_and_face(depth), step)

    def depth(self, amounts: Array, which: NDArray[np.intp], step: int) -> Array:
        """Napierian depth of doses, shape (..., n_wavelengths)."""
        shapes = self.shapes[:, ::step][which]
        return LN10 * np.einsum("...k,...kw->...w", amounts, shapes)

    def colours(self, lit: Array, face: Array, step: int) -> tuple[Array, Array]:
        """XYZ of glow and veil, and of the face, from radiance and face factor."""
        weights = tables().observer[::step] * step * MAXIMUM_EFFICACY
        glow = lit @ weights / self.anchor
        room = self.room[::step]
        white = (room @ weights)[1]
        veil = (face * room) @ weights
        kept = 1.0 if self.inset.size else 0.0
        return glow + kept * veil / self.anchor, veil / white if white > 0 else veil

    def difference(self, glow: Array, face: Array) -> Array:
        """The number that is minimised, shape (...)."""
        target = self.target
        if target.region is not None:
            # well inside is inside: the rest is decided by light and dye
            far = yardstick.region_distance(glow, target.region.corners)
            return np.maximum(far, -WELL_INSIDE)
        if target.Lab is None:
            raise InsetError("the target has no colour")
        gap = yardstick.difference(glow, target.Lab, lightness=target.lightness)
        if target.face_Lab is None:
            return gap
        unlit = delta_e_2000(XYZ_to_Lab(_as_daylight(self, face)), target.face_Lab)
        return (1 - target.face_weight) * gap + target.face_weight * unlit

    def parts(self, glow: Array, face: Array) -> Array:
        """Residuals (..., m) whose squares add to the square of `difference`.

        For a region they lead well inside it, and with a wanted face both squares are
        weighted instead of both differences.
        """
        target = self.target
        if target.region is not None:
            corners = target.region.corners
            return 500 * yardstick.region_parts(glow, corners, inside=WELL_INSIDE)
        if target.Lab is None:
            raise InsetError("the target has no colour")
        r = yardstick.difference_parts(glow, target.Lab, lightness=target.lightness)
        if target.face_Lab is None:
            return r
        Lab = XYZ_to_Lab(_as_daylight(self, face))
        unlit = delta_e_2000_parts(Lab, target.face_Lab)
        w = target.face_weight
        return np.concatenate([np.sqrt(1 - w) * r, np.sqrt(w) * unlit], axis=-1)

    def light_kept(self, amounts: Array, which: NDArray[np.intp]) -> Array:
        """Y of the glow without veil over that of the undyed piece."""
        lit = self.fine.radiance(self.depth(amounts, which, 1))
        return spectrum_to_XYZ(lit)[..., 1] * MAXIMUM_EFFICACY / self.anchor


def _as_daylight(problem: Problem, face: Array) -> Array:
    """Face XYZ relative to the room's white, on the scale of D65 (as `glow.seen`)."""
    white = spectrum_to_XYZ(problem.room)
    return face / (white / white[1]) * tables().white


def problem_of(
    inset: Inset, bottles: Sequence[Bottle], *, layer: int | None = None
) -> Problem:
    """Prepare the search; see `doses`."""
    if inset.target is None:
        raise InsetError(
            f'"{inset.name}" has no [target]; a dose is found for a colour that is '
            "wanted: add lab, hex, picture or region"
        )
    number = layer_number(inset, layer)
    chosen = inset.layers[number]
    if not bottles:
        raise InsetError(
            "there is no bottle to choose from; name some with --bottle, or put your "
            "own into shelf/bottles/"
        )
    bottles = [in_cure(bottle, chosen.cure) for bottle in bottles]
    bare = replace(chosen, dosed=(), bathed=())
    layers = (*inset.layers[:number], bare, *inset.layers[number + 1 :])
    plain = replace(inset, layers=layers)
    piece = piece_of(plain)
    body = piece.bodies.index(number) + (
        chosen.back == "frosted" and chosen.medium is not None
    )
    fine = response_of(piece, body)
    room = white_in(inset.room)
    if not room.any():
        room = inset.room.power * 1e-12
    return Problem(
        inset=plain,
        target=inset.target,
        layer=chosen,
        number=number,
        bottles=tuple(bottles),
        shapes=np.stack([shape_of(bottle) for bottle in bottles]),
        caps=np.array([_cap(chosen, bottle) for bottle in bottles]),
        fine=fine,
        coarse=fine.thinned(STEP),
        anchor=float(spectrum_to_XYZ(undyed(piece))[1] * MAXIMUM_EFFICACY),
        room=room,
    )


def layer_number(inset: Inset, layer: int | None) -> int:
    """Return the position of the layer to dose: the last cast one, or last sheet."""
    able = [i for i, one in enumerate(inset.layers) if one.kind in ("cast", "sheet")]
    if layer is not None:
        if layer not in able:
            raise InsetError(
                f"asked to dose layer {layer + 1}; layers that can be dosed: "
                f"{', '.join(str(i + 1) for i in able) or 'none'}"
            )
        return layer
    cast = [i for i in able if inset.layers[i].kind == "cast"]
    if not able:
        raise InsetError(
            f'"{inset.name}" has no cast layer and no sheet; add a [[layer]] to dose'
        )
    return (cast or able)[-1]


def _cap(layer: Layer, bottle: Bottle) -> float:
    """Largest peak absorbance of one bottle by itself."""
    if layer.kind == "sheet":
        return float(bath(layer, bottle, LONGEST))
    if layer.batch is None:
        raise InsetError('the cast layer needs its batch = "50 g" before it is dosed')
    limit = LOADING if layer.medium is None else layer.medium.loading_limit or LOADING
    return bottle.strength * limit * 1000 * layer.thickness


def bath(layer: Layer, bottle: Bottle, minutes: ArrayLike) -> Array:
    """Peak absorbance of a sheet after some minutes in a bath of one bottle."""
    return sheet_absorbance(
        minutes=minutes,
        rate=bottle.bath_rate,
        saturation=bottle.bath_saturation,
        thickness=layer.thickness,
    )


Found = list[tuple[tuple[int, ...], Array, float]]


def optimised(problem: Problem) -> dict[int, Found]:
    """Optimise every set of 1, 2 and 3 bottles; amounts and difference of each.

    Sets of a size come nearest first; the first `POLISHED` are finished at 1 nm.
    """
    n = len(problem.bottles)
    found: dict[int, Found] = {}
    for k in range(1, min(MOST, n) + 1):
        which = np.array(list(combinations(range(n), k)))
        blocks = np.array_split(which, -(-len(which) // BLOCK))
        smaller = {one: amounts for one, amounts, _ in found.get(k - 1, [])}
        best, gap = map(
            np.concatenate,
            zip(*(_searched(problem, some, smaller) for some in blocks), strict=True),
        )
        order = np.argsort(gap, kind="stable")
        top = order[:POLISHED]
        polished = _polished(problem, best[top], which[top])
        best[top] = [amounts for amounts, _ in polished]
        gap[top] = [least for _, least in polished]
        order = np.argsort(gap, kind="stable")
        found[k] = [(tuple(which[i].tolist()), best[i], float(gap[i])) for i in order]
    return found


def _searched(
    problem: Problem, which: NDArray[np.intp], smaller: dict[tuple[int, ...], Array]
) -> tuple[Array, Array]:
    """Best amounts (n_sets, k) and difference (n_sets,) of some sets, at `STEP` nm."""
    starts = _starts(problem, which, smaller)
    index = np.repeat(which, starts.shape[1], axis=0)
    x = _least_squares(problem, starts.reshape(index.shape), index, STEP)
    gap = _score(problem, x, index, STEP).reshape(starts.shape[:2])
    rows, winner = np.arange(len(which)), gap.argmin(axis=1)
    return x.reshape(starts.shape)[rows, winner], gap[rows, winner]


def _starts(
    problem: Problem, which: NDArray[np.intp], smaller: dict[tuple[int, ...], Array]
) -> Array:
    """Several starting doses for each set, shape (n_sets, n_starts, k).

    The best `STARTS` local minima of a coarse grid, and the best doses of the sets
    with one bottle less, so that another bottle never makes an answer worse.
    """
    n_sets, k = which.shape
    levels = np.geomspace(*LEVELS[k])
    grid = np.array(list(product(levels, repeat=k)))
    doses = np.minimum(grid, problem.caps[which][:, None])
    index = np.broadcast_to(which[:, None], doses.shape)
    score = _score(problem, doses, index, STEP, dark=DUSK)
    boxed = score.reshape(n_sets, *(levels.size,) * k)
    least = minimum_filter(boxed, size=(1, *(3,) * k), mode="nearest")
    score = np.where(boxed == least, boxed, boxed + FAR).reshape(score.shape)
    order = np.argsort(score, axis=1, kind="stable")[:, :STARTS]
    rows = np.take_along_axis(doses, order[..., None], axis=1)
    if not smaller:
        return rows
    nested = [
        [
            np.insert(smaller[tuple(np.delete(one, j).tolist())], j, 0.0)
            for j in range(k)
        ]
        for one in which
    ]
    return np.concatenate([rows, np.array(nested)], axis=1)


def _least_squares(
    problem: Problem, x: Array, index: NDArray[np.intp], step: int
) -> Array:
    """Least squares of doses, all at once, shape (n, k); never worse than at first.

    What ends below the wanted light is made paler and goes on at a higher price.
    """
    best = _paler(problem, x, index, step)
    gap = _score(problem, best, index, step)
    rows = np.arange(len(x))
    for price in PALE:
        x = _marquardt(problem, x, index[rows], step, price)
        x = _paler(problem, x, index[rows], step)
        now = _score(problem, x, index[rows], step)
        better = now < gap[rows]
        best[rows[better]], gap[rows[better]] = x[better], now[better]
        light = problem.seen(x, index[rows], step)[0][:, 1]
        at_limit = light < problem.target.min_light_kept + NEAR
        rows, x = rows[at_limit], x[at_limit]
        if not rows.size:
            break
    return best


def _marquardt(
    problem: Problem, x: Array, index: NDArray[np.intp], step: int, price: float
) -> Array:
    """Damped least squares (Marquardt 1963); rows that have come to rest stay."""
    x, caps = x.copy(), problem.caps[index]
    damping = np.full(len(x), 0.1)
    moving = np.arange(len(x))
    r, J = _residuals(problem, x, index, step, price)
    for _ in range(ROUNDS):
        there, cost = x[moving], (r**2).sum(axis=-1)
        JJ = np.swapaxes(J, 1, 2) @ J
        g = np.swapaxes(J, 1, 2) @ r[..., None]
        diagonal = np.einsum("nii->ni", JJ) + 1e-6
        damped = (damping[:, None] * diagonal + 1e-9)[..., None] * np.eye(x.shape[1])
        stride = np.linalg.solve(JJ + damped, -g)[..., 0]
        y = np.clip(there + stride, 0.0, caps[moving])
        r_new, J_new = _residuals(problem, y, index[moving], step, price)
        gain = cost - (r_new**2).sum(axis=-1)
        better = gain > 0
        x[moving[better]] = y[better]
        r = np.where(better[:, None], r_new, r)
        J = np.where(better[:, None, None], J_new, J)
        damping = np.where(better, damping / 4, damping * 4)
        rest = (cost < ENOUGH) | (better & (gain < 1e-4 * cost)) | (damping > 1e5)
        moving, r, J, damping = moving[~rest], r[~rest], J[~rest], damping[~rest]
        if not moving.size:
            break
    return x


def _paler(problem: Problem, x: Array, index: NDArray[np.intp], step: int) -> Array:
    """Scale doses down, by bisection, until they keep the wanted light."""
    least = problem.target.min_light_kept

    def dark(amounts: Array, which: NDArray[np.intp]) -> NDArray[np.bool_]:
        return problem.seen(amounts, which, step)[0][:, 1] < least

    rows = np.flatnonzero(dark(x, index)) if least > 0 else np.array([], dtype=np.intp)
    x = x.copy()
    if not rows.size:
        return x
    low, high = np.zeros(len(rows)), np.ones(len(rows))
    for _ in range(16):
        middle = (low + high) / 2
        too_dark = dark(middle[:, None] * x[rows], index[rows])
        low, high = np.where(too_dark, low, middle), np.where(too_dark, middle, high)
    x[rows] *= low[:, None]
    return x


def _score(
    problem: Problem,
    x: Array,
    index: NDArray[np.intp],
    step: int,
    *,
    dark: float = DARK,
) -> Array:
    """Difference, with a price on light missing below the wanted minimum."""
    glow, face = problem.seen(x, index, step)
    missing = np.maximum(problem.target.min_light_kept - glow[..., 1], 0.0)
    return problem.difference(glow, face) + dark * missing


def _residuals(
    problem: Problem, x: Array, index: NDArray[np.intp], step: int, price: float
) -> tuple[Array, Array]:
    """Residuals (n, m) and their Jacobian (n, m, k)."""
    response = problem.fine if step == 1 else problem.coarse
    shapes = LN10 * problem.shapes[:, ::step][index]
    depth = problem.depth(x, index, step)
    (lit, by_lit), (unlit, by_unlit) = response.with_slopes(depth)
    glow, face = problem.colours(lit, unlit, step)
    # both colours are linear in radiance and face factor
    slopes = problem.colours(by_lit[:, None] * shapes, by_unlit[:, None] * shapes, step)
    r = problem.parts(glow, face)
    J = sum(
        np.einsum("cnm,nkc->nmk", _by_each(problem, glow, face, r, which), slope)
        for which, slope in enumerate(slopes)
        if which == 0 or problem.target.face_Lab is not None
    )
    missing = problem.target.min_light_kept - glow[:, 1]
    dark = price * np.maximum(missing, 0.0)
    J_dark = np.where(missing[:, None] > 0, -price * slopes[0][..., 1], 0.0)
    return (
        np.concatenate([r, dark[:, None]], axis=1),
        np.concatenate([J, J_dark[:, None]], axis=1),
    )


def _by_each(problem: Problem, glow: Array, face: Array, r: Array, which: int) -> Array:
    """Forward differences of the parts by X, Y, Z of glow (0) or face (1)."""
    h = 1e-7
    moved = [
        (glow + h * unit, face) if which == 0 else (glow, face + h * unit)
        for unit in np.eye(3)
    ]
    return np.stack([(problem.parts(*one) - r) / h for one in moved])


def _polished(
    problem: Problem, x: Array, index: NDArray[np.intp]
) -> list[tuple[Array, float]]:
    """Finish doses, shape (n, k), at 1 nm; amounts and difference of each.

    Where least squares is not over the difference itself (a face), or runs into the
    wanted light, general-purpose minimisers go on from there.
    """
    x = _least_squares(problem, x, index, 1)
    gap = _score(problem, x, index, 1)
    well = WELL if problem.target.region is None else 1e-4 - WELL_INSIDE
    done = []
    for one, least, which in zip(x, gap, index, strict=True):
        best = (one, float(least))
        if least > well and problem.target.face_Lab is not None:
            best = _descended(problem, best, which)
        if least > well:
            best = _along_the_limit(problem, best, which)
        done.append(best)
    return done


def _descended(
    problem: Problem, best: tuple[Array, float], index: NDArray[np.intp]
) -> tuple[Array, float]:
    """Minimise the difference itself at 1 nm by the simplex of Nelder and Mead."""
    amounts, least = best
    caps = problem.caps[index]

    def cost(x: Array) -> float:
        inside = np.clip(x, 0.0, caps)
        outside = float(np.abs(x - inside).sum())
        return float(_score(problem, inside, index, 1)) + 100 * outside

    simplex = amounts + np.vstack(
        [np.zeros(len(index)), np.diag(np.maximum(0.08 * amounts, 0.02))]
    )
    found = minimize(
        cost,
        amounts,
        method="Nelder-Mead",
        options={"initial_simplex": simplex, "xatol": 1e-4, "fatol": 1e-4,
                 "maxiter": 120 * len(index)},
    )  # fmt: skip
    x = np.clip(found.x, 0.0, caps)
    other = float(_score(problem, x, index, 1))
    return (x, other) if other < least else best


def _along_the_limit(
    problem: Problem, best: tuple[Array, float], index: NDArray[np.intp]
) -> tuple[Array, float]:
    """Go on with the wanted light as a constraint, where a dose runs into it.

    Sequential quadratic programming; what it returns is only taken when it is better.
    """
    least_light = problem.target.min_light_kept
    if float(problem.seen(best[0], index)[0][1]) > least_light + NEAR:
        return best

    def gap(x: Array) -> float:
        return float(problem.difference(*problem.seen(x, index)))

    def spare(x: Array) -> float:
        return float(problem.seen(x, index)[0][1]) - least_light

    found = minimize(
        gap,
        best[0],
        method="SLSQP",
        bounds=[(0.0, cap) for cap in problem.caps[index]],
        constraints={"type": "ineq", "fun": lambda x: spare(x) - 1e-7},
        options={"maxiter": 60, "ftol": 1e-7},
    )
    x = np.clip(found.x, 0.0, problem.caps[index])
    other = float(_score(problem, x, index, 1))
    return (x, other) if other < best[1] else best
