"""Which LED of the shelf a bare LED on a white card resembles.

Three channels of an unknown camera say little about a spectrum: they tell warm from
cool and red from blue, not one white from another of the same warmth, and a phone that
balances its own white tells less still. So the answer is a probability for each light
of the shelf, over a wide family of cameras, white balances and tone curves. The peak
wavelength or the colour temperature of a data sheet is always better.
"""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tintlab.chips.camera import COARSE, DIRECTIONS, family
from tintlab.chips.photo_marks import Mark
from tintlab.chips.photo_open import crops, open_photo
from tintlab.chips.photo_pair import UNCHECKED
from tintlab.chips.photo_patch import CHANNELS, box_of, measure
from tintlab.colorimetry import illuminant
from tintlab.errors import InsetError
from tintlab.materials import Emitter, lobes_power
from tintlab.spectrum import WAVELENGTHS

Array = NDArray[np.float64]

CAMERAS = 300
SEED = 4
FLOOR = 0.02  # of the brightest channel; a channel below it says only that; assumed
BALANCE = {False: 0.12, None: 0.25, True: 0.45}  # deviation of ln gain; assumed
KERNEL = 0.12  # width of one camera's answer, in ln; assumed
BETTER = (
    "a photo tells the family at most; the peak in nm or the colour temperature in K "
    "of the data sheet is better, choose the light of the shelf by it"
)
NONE = 0.001  # likelihood, of a perfect match 1, below which it resembles none; assumed
BOUNDS = (430.0, 485.0, 510.0, 545.0, 580.0, 610.0)  # [nm] of peaks; assumed
HUES = ("violet", "blue", "cyan", "green", "yellow-green", "amber", "red")
WARM, COOL = 3500.0, 5300.0  # [K] bounds of warm, neutral and cool white; assumed


@dataclass(frozen=True, slots=True, kw_only=True)
class Likeness:
    """A light of the shelf, its family, and the probability that it is the one."""

    name: str
    family: str
    probability: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Resemblance:
    """What a photo of a bare LED tells.

    Attributes
    ----------
    likely : tuple of Likeness
        Largest first; the probabilities sum to 1.
    families : dict
        Family to probability, largest first.
    ratio : ndarray, shape (3,)
        Channels over the brightest. [-]
    resembles : bool
        False when nothing on the shelf looks like it.
    notes : tuple of str
    """

    likely: tuple[Likeness, ...]
    families: dict[str, float]
    ratio: Array
    resembles: bool
    notes: tuple[str, ...]


def read_emitter(path: Path, *, at: Mark, emitters: Sequence[Emitter]) -> Resemblance:
    """Compare a photo of a bare LED on a white card with lights of the shelf.

    Parameters
    ----------
    path : Path
    at : Mark
        A patch of the card that only the LED lights.
    emitters : sequence of Emitter

    Returns
    -------
    Resemblance

    Raises
    ------
    InsetError
        For camera raw, which has no white balance, and for a clipped or black patch.
    """
    photo = open_photo(path)
    if photo.raw:
        raise InsetError(
            f'"{path.name}" is camera raw, which has no white balance to compare with; '
            'take a JPEG with the white balance locked to "daylight"'
        )
    (codes,) = crops(photo, [box_of(at, photo)])
    patch = measure(at, codes, photo)
    if patch.high.any():
        c = int(np.flatnonzero(patch.high)[0])
        raise InsetError(
            f"the card is clipped in {CHANNELS[c]}; take the photo at a quarter of the "
            "exposure, or mark the card farther from the LED"
        )
    if patch.low.all():
        raise InsetError(
            "the card is too dark in every channel; take the photo at four times the "
            "exposure, or mark the card nearer to the LED"
        )
    likelihood = likelihoods(
        patch.mean, emitters, automatic_white=photo.facts.auto_white
    )
    resembles = bool(likelihood.max() > NONE)
    share = likelihood / max(likelihood.sum(), 1e-300)
    found = sorted(
        (
            Likeness(name=e.name, family=family_of(e), probability=float(p))
            for e, p in zip(emitters, share, strict=True)
        ),
        key=lambda one: -one.probability,
    )
    families: dict[str, float] = {}
    for one in found:
        families[one.family] = families.get(one.family, 0.0) + one.probability
    return Resemblance(
        likely=tuple(found),
        families=dict(sorted(families.items(), key=lambda item: -item[1])),
        ratio=patch.mean / patch.mean.max(),
        resembles=resembles,
        notes=_notes(photo.facts.auto_white, resembles=resembles),
    )


def likelihoods(
    seen: Array, emitters: Sequence[Emitter], *, automatic_white: bool | None
) -> Array:
    """Average over cameras how well each light explains three channels.

    Parameters
    ----------
    seen : ndarray, shape (3,)
        Linear red, green and blue of the card. [-]
    emitters : sequence of Emitter
    automatic_white : bool or None
        Whether the camera chose its own white balance; None when unknown.

    Returns
    -------
    ndarray, shape (n_emitters,)
        1 for a light that every camera would show just so. [-]
    """
    random = np.random.default_rng(SEED)
    cameras = family(raw=False).sensitivities(
        random.standard_normal((CAMERAS, DIRECTIONS))
    )
    gains = np.exp(BALANCE[automatic_white] * random.standard_normal((CAMERAS, 3)))
    bend = np.exp(UNCHECKED * random.standard_normal((CAMERAS, 1)))
    white = cameras @ illuminant("D65")[::COARSE]
    measured = _logarithms(seen)
    answer = []
    for emitter in emitters:
        power = _binned(emitter, random)[:, ::COARSE]
        channels = np.einsum("kcw,kw->kc", cameras, power) / white * gains
        away = bend * _logarithms(channels) - measured
        answer.append(np.exp(-0.5 * (away**2).sum(axis=-1) / KERNEL**2).mean())
    return np.array(answer)


def _binned(emitter: Emitter, random: np.random.Generator) -> Array:
    """Draw spectra within the bin of a light, shape (CAMERAS, 401)."""
    if not emitter.lobes.size or emitter.peak_spread <= 0:
        return np.tile(emitter.power, (CAMERAS, 1))
    shifts = emitter.peak_spread * random.uniform(-1, 1, CAMERAS)
    return np.array([lobes_power(emitter.lobes, shift=shift) for shift in shifts])


def _logarithms(channels: Array) -> Array:
    """Logarithm of the channels over the brightest, not below the floor."""
    top = channels.max(axis=-1, keepdims=True)
    return np.log(np.maximum(channels / np.maximum(top, 1e-12), FLOOR))


def family_of(emitter: Emitter) -> str:
    """Name the family: the warmth of a white, the hue of a single colour, or the name.

    Examples
    --------
    >>> from tintlab.shelf import shelf_for
    >>> family_of(shelf_for().find("emitters", "white 4100 K"))
    'neutral white'
    """
    kelvin = emitter.colour_temperature
    if kelvin is not None:
        warmth = "warm" if kelvin < WARM else "neutral" if kelvin < COOL else "cool"
        return f"{warmth} white"
    if emitter.kind != "single colour":
        return emitter.name
    peak = float(WAVELENGTHS[int(emitter.power.argmax())])
    return HUES[bisect_right(BOUNDS, peak)]


def _notes(automatic: bool | None, *, resembles: bool) -> tuple[str, ...]:
    notes = [BETTER]
    if automatic is not False:
        how = "may have been" if automatic is None else "was"
        notes.append(
            f"the white balance {how} automatic, which hides how warm a white is; lock "
            'it to "daylight" and take the photo again'
        )
    if not resembles:
        notes.append(
            "no light of the shelf looks like this under a usual camera; is other "
            "light on the card, or is the LED a mixture?"
        )
    return tuple(notes)
