"""Reading a photo of test chips: how much light each passes, against the blank.

Only ratios chip / blank over the same light are used, never the colours of the photo:
white balance, exposure and the spectrum of the light cancel to first order. What does
not cancel is carried as an error or corrected: vignetting (blanks on both sides, or a
flat frame), the tone curve (two exposures, or a patch of known ratio), stray light (an
opaque patch).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tintlab.chips import photo_pair
from tintlab.chips.photo_marks import Mark, Marks
from tintlab.chips.photo_open import Facts, Photo, crops, open_photo
from tintlab.chips.photo_pair import Known, Tone, fit_tone
from tintlab.chips.photo_patch import CHANNELS, Patch, box_of, measure
from tintlab.chips.photo_ratio import Reading, Values, reading, remedy
from tintlab.errors import InsetError

Array = NDArray[np.float64]

SAME = 0.15  # of a logarithm, within which two exposures are one; assumed
FALL = 0.2  # light lost in the corner of a photo, one standard deviation; assumed


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PhotoReadings:
    """What was read of a photo.

    Attributes
    ----------
    path : Path
    readings : tuple of Reading
        In the order of the marks.
    raw : bool
        Whether it is a camera raw file.
    tone : Tone
        Its tone curve; `tone.checked` tells whether a known ratio confirms it. The
        error of the curve is in every `Reading.sigma` already.
    exposure : float or None
        Of the second photo against the first. [-]
    stray : ndarray, shape (3,), or None
        Light of the opaque patch over that of the blank. [-]
    notes : tuple of str
    """

    path: Path
    readings: tuple[Reading, ...]
    raw: bool
    tone: Tone
    exposure: float | None = None
    stray: Array | None = None
    notes: tuple[str, ...] = ()

    @property
    def evidence(self) -> str:
        """One of "raw", "checked" (by a known ratio), "unchecked"."""
        return "raw" if self.raw else "checked" if self.tone.checked else "unchecked"


def read_photo(
    path: Path,
    *,
    marks: Marks,
    second: Path | None = None,
    flat: Path | None = None,
    ratio: float | None = None,
) -> PhotoReadings:
    """Read the ratios chip / blank from a photo.

    Parameters
    ----------
    path : Path
        JPEG, PNG or TIFF with 8 or 16 bits, or camera raw.
    marks : Marks
    second : Path, optional
        The same scene at another exposure, or with the light at a known ratio.
    flat : Path, optional
        The lit diffuser alone, from the same place: shows vignetting.
    ratio : float, optional
        Exposure (or light) of the second photo over that of the first; taken from the
        EXIF data unless given. [-]

    Returns
    -------
    PhotoReadings

    Raises
    ------
    InsetError
        For a photo or a patch that cannot be trusted: which one, which channel, and
        what to do.
    """
    photo = open_photo(path)
    every = (*marks.blanks, *marks.chips, *marks.known)
    every += () if marks.dark is None else (marks.dark,)
    patches = _measured(photo, every)
    notes = list(photo.notes)
    pairs, exposure, sure = [], None, photo_pair.GIVEN
    again: dict[Mark, Patch] = {}
    if second is not None:
        other = open_photo(second)
        exposure, sure = _exposure(photo, other, ratio)
        again = _measured(other, every)
        pairs = _pairs(patches, again, exposure, marks.dark)
        notes += _scene_notes(other.facts)
    known = _known(patches, marks)
    tone = fit_tone([*pairs, *known], raw=photo.raw, ratio_sigma=sure)
    light, error, usable = _joined(patches, again, tone)
    if flat is not None:
        light, error = _flattened(light, error, open_photo(flat), photo, every)
    stray = None if marks.dark is None else _stray(light, marks)
    readings = tuple(
        reading(
            mark, marks.blanks, light, error, usable, photo, tone, stray,
            vignetting=0.0 if flat else FALL, patch=patches[mark],
        )
        for mark in marks.chips
    )  # fmt: skip
    if not tone.checked:
        notes.append(
            "nothing checks the tone curve of this picture, so it counts as weaker "
            "evidence; use raw, add a second exposure, or mark a patch of known ratio"
        )
    blank = np.mean([light[mark] for mark in marks.blanks], axis=0)
    return PhotoReadings(
        path=path,
        readings=readings,
        raw=photo.raw,
        tone=tone,
        exposure=None if second is None else tone.exposure,
        stray=None if stray is None else stray / blank,
        notes=tuple(dict.fromkeys(notes)),
    )


def _measured(photo: Photo, marks: Sequence[Mark]) -> dict[Mark, Patch]:
    boxes = [box_of(mark, photo) for mark in marks]
    codes = crops(photo, boxes)
    return {m: measure(m, c, photo) for m, c in zip(marks, codes, strict=True)}


def _exposure(photo: Photo, other: Photo, given: float | None) -> tuple[float, float]:
    """Return the exposure of the second photo over the first, and how sure in ln."""
    if photo.size != other.size or photo.raw != other.raw:
        raise InsetError(
            f'"{other.path.name}" is no second photo of the scene in '
            f'"{photo.path.name}": their sizes or kinds differ; take both with the '
            "same settings, from the same place"
        )
    a, b = photo.facts, other.facts
    if a.camera and b.camera and a.camera != b.camera:
        raise InsetError(
            f'"{other.path.name}" and "{photo.path.name}" come from two cameras; take '
            "both with one"
        )
    noted = None
    if a.exposure is not None and b.exposure is not None:
        noted = b.exposure / a.exposure
    exposure = noted if given is None else given
    if exposure is None:
        raise InsetError(
            "the photos do not say how they were exposed (no EXIF data), so their "
            "ratio is unknown; give it, as in --ratio 0.25"
        )
    if given and noted and abs(np.log(noted)) > SAME < abs(np.log(given / noted)):
        raise InsetError(
            f"asked for a ratio of {given:.3g} between the photos, but their EXIF data "
            f"say {noted:.3g}; leave --ratio out, or change only the light"
        )
    sure = photo_pair.EXIF if given is None else photo_pair.GIVEN
    if abs(np.log2(exposure)) < photo_pair.LEAST_STOPS:
        raise InsetError(
            f"the second photo has {exposure:.3g} times the exposure of the first, too "
            "near to tell anything; take it two stops shorter"
        )
    return exposure, sure


def _scene_notes(facts: Facts) -> list[str]:
    automatic = [
        name
        for name, is_so in (
            ("exposure", facts.auto_exposure),
            ("white balance", facts.auto_white),
        )
        if is_so
    ]
    return [
        f"the {name} of the second photo was automatic; lock it for two photos of one "
        "scene"
        for name in automatic
    ]


def _pairs(
    first: dict[Mark, Patch],
    second: dict[Mark, Patch],
    exposure: float,
    dark: Mark | None,
) -> list[Known]:
    """Every channel of every patch that is usable in both photos."""
    found = [
        _compared(second[mark], first[mark], c, exposure, pair=True)
        for mark in first
        for c in range(3)
        if mark != dark and first[mark].usable[c] and second[mark].usable[c]
    ]
    if not found:
        raise InsetError(
            "no patch can be read in both photos, each is clipped or too dark in one; "
            "take the second two stops shorter, not more"
        )
    return found


def _known(patches: dict[Mark, Patch], marks: Marks) -> list[Known]:
    """Patches of known ratio inside one photo."""
    found = []
    for mark in marks.known:
        for c in range(3):
            blank = patches[marks.blanks[0]]
            if patches[mark].usable[c] and blank.usable[c]:
                stray = 0.0 if marks.dark is None else patches[marks.dark].mean[c]
                found.append(
                    _compared(patches[mark], blank, c, mark.ratio or 1.0, dark=stray)
                )
    if marks.known and not found:
        raise InsetError(
            "the patches of known ratio are clipped or too dark; choose other ones"
        )
    return found


def _compared(
    patch: Patch,
    against: Patch,
    c: int,
    ratio: float,
    *,
    pair: bool = False,
    dark: float = 0.0,
) -> Known:
    return Known(
        value=patch.mean[c],
        against=against.mean[c],
        sigma=float(
            np.hypot(patch.sigma[c] / patch.mean[c], against.sigma[c] / against.mean[c])
        ),
        ratio=ratio,
        channel=c,
        pair=pair,
        dark=dark,
    )


def _joined(
    first: dict[Mark, Patch], second: dict[Mark, Patch], tone: Tone
) -> tuple[Values, Values, dict[Mark, NDArray[np.bool_]]]:
    """Average what is usable of one or two photos, on linear light."""
    light: Values = {}
    error: Values = {}
    usable: dict[Mark, NDArray[np.bool_]] = {}
    for mark, patch in first.items():
        photos = [(patch, 1.0)]
        photos += [(second[mark], tone.exposure)] if second else []
        values = np.array([tone.light(p.mean) / k for p, k in photos])
        errors = np.array([tone.error(p.mean, p.sigma) / k for p, k in photos])
        seen = np.array([p.usable for p, _ in photos])
        weight = np.where(seen, 1 / errors**2, 0.0)
        weight = np.where(seen.any(axis=0), weight, 1 / errors**2)
        light[mark] = (weight * values).sum(axis=0) / weight.sum(axis=0)
        error[mark] = np.sqrt(1 / weight.sum(axis=0) + tone.offset_sigma**2)
        usable[mark] = np.asarray(seen.any(axis=0))
    return light, error, usable


def _flattened(
    light: Values, error: Values, flat: Photo, photo: Photo, marks: Sequence[Mark]
) -> tuple[Values, Values]:
    """Divide by the flat frame at every patch."""
    if flat.size != photo.size:
        raise InsetError(
            f'the flat frame "{flat.path.name}" has another size than the photo; take '
            "it with the same settings, from the same place"
        )
    seen = _measured(flat, marks)
    for mark, patch in seen.items():
        for c in np.flatnonzero(~patch.usable):
            if not all(p.low[c] for p in seen.values()):
                raise InsetError(
                    f'the flat frame "{flat.path.name}" is '
                    f"{'clipped' if patch.high[c] else 'too dark'} in {CHANNELS[c]} "
                    f"at {mark.name}; take it {remedy(high=bool(patch.high[c]))}"
                )
    shape = {m: np.where(p.low, 1.0, np.maximum(p.mean, 1e-6)) for m, p in seen.items()}
    blur = {m: np.where(p.low, 0.0, p.sigma / shape[m]) for m, p in seen.items()}
    return (
        {m: light[m] / shape[m] for m in light},
        {m: np.hypot(error[m], light[m] * blur[m]) / shape[m] for m in light},
    )


def _stray(light: Values, marks: Marks) -> Array:
    dark = light[marks.dark] if marks.dark is not None else np.zeros(3)
    blank = np.mean([light[mark] for mark in marks.blanks], axis=0)
    if (dark > 0.3 * blank).all():
        raise InsetError(
            "the dark patch is not dark against the blank; mark something opaque, like "
            "a coin on the lit diffuser"
        )
    return np.clip(dark, 0.0, None)
