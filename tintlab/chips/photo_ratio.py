"""Chip over blank: the ratio, and everything that is unsure about it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tintlab.chips.photo_marks import Mark
from tintlab.chips.photo_open import Photo
from tintlab.chips.photo_pair import Tone
from tintlab.chips.photo_patch import CHANNELS, Patch
from tintlab.errors import InsetError

Array = NDArray[np.float64]

BRIGHTER = 1.05  # a chip brighter than this against the blank is none; assumed
PATCHY = 0.3  # stray light elsewhere over that of the opaque patch, deviation; assumed
APART = 0.5  # two blanks that differ by more do not share a light; assumed

Values = dict[Mark, Array]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Reading:
    """What was read of one chip.

    Attributes
    ----------
    name : str
    ratio : ndarray, shape (3,)
        Linear light of the chip over that of the blank: red, green, blue. [-]
    sigma : ndarray, shape (3,)
        Standard error, everything known included: noise, unevenness, vignetting and
        the tone curve, also where nothing checks it. [-]
    usable : ndarray of bool, shape (3,)
        False for channels that are clipped, or too dark, in the chip or in the blank.
    notes : tuple of str
    """

    name: str
    ratio: Array
    sigma: Array
    usable: NDArray[np.bool_]
    notes: tuple[str, ...] = ()


def blank_weights(blanks: ArrayLike, at: ArrayLike) -> Array:
    """Weigh blanks so that light falling off evenly across the photo cancels.

    The least-squares plane through the blanks, of least slope where they leave it
    open, read at the chip: along the line between two blanks, a linear interpolation.

    Parameters
    ----------
    blanks : array_like, shape (n, 2)
        Where the blanks are. [pixels]
    at : array_like, shape (2,)
        Where the chip is. [pixels]

    Returns
    -------
    ndarray, shape (n,)
        Their sum is 1.

    Examples
    --------
    >>> blank_weights([[0, 0], [100, 0]], [25, 40]).round(3).tolist()
    [0.75, 0.25]
    """
    blanks, at = np.asarray(blanks, dtype=float), np.asarray(at, dtype=float)
    centre = blanks.mean(axis=0)
    slopes = np.linalg.pinv(blanks - centre, rcond=1e-6)
    return np.asarray(1 / len(blanks) + (at - centre) @ slopes)


def reading(
    mark: Mark,
    blanks: tuple[Mark, ...],
    light: Values,
    error: Values,
    usable: dict[Mark, NDArray[np.bool_]],
    photo: Photo,
    tone: Tone,
    stray: Array | None,
    *,
    vignetting: float,
    patch: Patch,
) -> Reading:
    """Form chip over blank, with everything that is unsure about it."""
    stray = np.zeros(3) if stray is None else stray
    seen = np.logical_and.reduce([usable[b] for b in blanks])
    _check_blanks(blanks, light, seen)
    w = blank_weights([b.at for b in blanks], mark.at)
    blank = w @ np.array([light[b] for b in blanks]) - stray
    noise = np.sqrt(w**2 @ np.array([error[b] for b in blanks]) ** 2)
    own = light[mark] - stray
    fine = seen & usable[mark] & (blank > 0) & (own > 0)
    if not fine.any():
        raise _unreadable(mark, patch, seen)
    base = np.where(blank > 0, blank, 1.0)
    ratio = np.where(fine, own / base, 0.0)
    left = vignetting * abs(_curvature([*blanks, mark], [*w, -1.0], photo))
    relative = np.hypot(error[mark] / np.where(fine, own, 1.0), noise / base)
    bend = np.log(np.where(fine, ratio, 1.0)) * tone.gamma_sigma / tone.gamma
    glare = PATCHY * stray / base * (1 - ratio)  # what is left of it, in chip and blank
    sigma = np.hypot(ratio * np.sqrt(relative**2 + left**2 + bend**2), glare)
    _check_chip(mark, ratio, sigma, fine)
    return Reading(
        name=mark.name,
        ratio=ratio,
        sigma=np.where(fine, sigma, np.inf),
        usable=fine,
        notes=_reading_notes(ratio, sigma, fine, usable[mark], seen, patch),
    )


def _curvature(marks: Sequence[Mark], weights: Sequence[float], photo: Photo) -> float:
    """Weigh (distance from the middle / half diagonal)^2: what vignetting leaves."""
    middle = np.array(photo.size) / 2
    away = np.array([mark.at for mark in marks]) - middle
    return float(np.array(weights) @ (away**2).sum(axis=1) / (middle @ middle))


def _check_blanks(
    blanks: tuple[Mark, ...], light: Values, seen: NDArray[np.bool_]
) -> None:
    values = np.array([light[b] for b in blanks])
    for c in np.flatnonzero(seen):
        if np.ptp(values[:, c]) > APART * values[:, c].max():
            raise InsetError(
                f"the blanks differ by {np.ptp(values[:, c]) / values[:, c].max():.0%} "
                f"in {CHANNELS[c]}: they do not stand over the same light, or one is "
                "dyed; check the marks, or move the pieces together"
            )


def _unreadable(mark: Mark, patch: Patch, seen: NDArray[np.bool_]) -> InsetError:
    if not seen.any():
        return InsetError(
            "the blank can be read in no channel: each is clipped or too dark; take "
            "the photo so that the blank is bright and below 98 % in every channel"
        )
    high = bool(patch.high[seen].any())
    c = int(np.flatnonzero(seen)[0])
    return InsetError(
        f"the patch of {mark.name} is {'clipped' if high else 'too dark'} in "
        f"{CHANNELS[c]} and in every other channel that the blank shows; take a second "
        f"photo {remedy(high=high)}" + ("" if high else ", or cast the chip paler")
    )


def _check_chip(
    mark: Mark, ratio: Array, sigma: Array, fine: NDArray[np.bool_]
) -> None:
    if (ratio - 3 * sigma > BRIGHTER)[fine].all():
        raise InsetError(
            f"{mark.name} is {ratio[fine].min():.2f} times as bright as the blank; are "
            "blank and chip swapped in the marks, or over different lights?"
        )


def _reading_notes(
    ratio: Array,
    sigma: Array,
    fine: NDArray[np.bool_],
    usable: NDArray[np.bool_],
    seen: NDArray[np.bool_],
    patch: Patch,
) -> tuple[str, ...]:
    notes = []
    for c in range(3):
        name = CHANNELS[c]
        if not seen[c]:
            notes.append(f"{name} is not used: clipped or too dark in the blank")
        elif not usable[c]:
            why = "clipped" if patch.high[c] else "too dark"
            notes.append(f"{name} is not used: {why}; add a second exposure to have it")
        elif fine[c] and ratio[c] - 3 * sigma[c] > BRIGHTER:
            notes.append(
                f"{name} is brighter than the blank: it glows by itself, or the light "
                "is uneven"
            )
    return tuple(notes)


def remedy(*, high: bool) -> str:
    """Say how a patch becomes readable."""
    return "at half the exposure" if high else "at four times the exposure"
