"""Choosing a target from reference art.

The glow of a painted or photographed inset has a burnt-out core, where channels are
clipped and the hue drifts to white, and a halo, where it mixes with what is around.
Neither is the colour that is wanted. What lies between is brought to one luminance
(brightness varies across a glow; a target with `lightness = "free"` does not ask for
it) and its median in CIELAB is the target. How far the pixels lie from it suggests the
tolerance.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tintlab.chips.photo_marks import Mark, parse_mark
from tintlab.chips.photo_open import Photo, crops, open_photo
from tintlab.chips.photo_patch import CHANNELS, box_of, disk
from tintlab.chips.photo_tone import as_srgb
from tintlab.colorimetry import Lab_to_XYZ, XYZ_to_Lab, rgb_to_XYZ
from tintlab.errors import InsetError
from tintlab.yardstick import difference, scaled

Array = NDArray[np.float64]

CORE = 254  # 8-bit code from which a channel counts as clipped
HALO = 0.3  # of the bright end of the region; darker pixels are its halo; assumed
FEW = 25  # pixels that a colour needs
CLIPPED = 0.6  # share of a region that may be core; assumed
BLACK = 0.002  # Y, the white at 1; assumed
NEAR = 3.0  # times the median difference, within which a pixel belongs; assumed
SEVERAL = 20.0  # CIEDE2000 within one region; more is no one colour; assumed
MOST_PIXELS = 200_000  # of a region; larger ones are thinned out evenly
TOLERANCE = (2.0, 12.0)  # CIEDE2000: what the eye and what a maker can use; assumed
DISAGREE = 12.0  # CIEDE2000 between pictures that show one colour; assumed


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Aim:
    """A target read from pictures.

    Attributes
    ----------
    Lab : ndarray, shape (3,)
        Relative to D65.
    tolerance : float
        Suggested, CIEDE2000.
    clipped, halo : float
        Largest shares of a region that were left out as core and as halo. [-]
    at_edge : float
        Share of the pixels used with a channel at 0: colours that sRGB cannot show
        deeper. [-]
    each : tuple of ndarray, shape (3,)
        Lab of every picture.
    notes : tuple of str
    """

    Lab: Array
    tolerance: float
    clipped: float
    halo: float
    at_edge: float
    each: tuple[Array, ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Region:
    """What one picture shows: its median XYZ, its spread, and what was left out.

    Attributes
    ----------
    XYZ : ndarray, shape (3,)
        White at Y = 1.
    lightness, spread : float
        L*, and the 90 % point of CIEDE2000 from the median.
    clipped, halo, at_edge : float
        As for `Aim`. [-]
    """

    XYZ: Array
    lightness: float
    spread: float
    clipped: float
    halo: float
    at_edge: float


def aim(regions: Sequence[tuple[Path, Mark | None]]) -> Aim:
    """Read a target from regions of pictures.

    Parameters
    ----------
    regions : sequence of (Path, Mark or None)
        Each picture with its region; None takes the middle half of the picture.

    Returns
    -------
    Aim

    Raises
    ------
    InsetError
        For a region that is outside, clipped, black, or holds several colours.
    """
    if not regions:
        raise InsetError("asked for a target from no picture; name one")
    found = [read_region(path, mark) for path, mark in regions]
    lightness = float(np.mean([region.lightness for region in found]))
    Y = float(Lab_to_XYZ([lightness, 0.0, 0.0])[1])
    each = np.array([XYZ_to_Lab(scaled(region.XYZ, Y)) for region in found])
    middle = np.median(each, axis=0)
    between = np.array([difference(region.XYZ, middle) for region in found])
    within = max(region.spread for region in found)
    tolerance = float(np.clip(np.hypot(within, between.max()), *TOLERANCE))
    return Aim(
        Lab=middle,
        tolerance=round(tolerance * 2) / 2,
        clipped=max(region.clipped for region in found),
        halo=max(region.halo for region in found),
        at_edge=max(region.at_edge for region in found),
        each=tuple(each),
        notes=_notes(found, between),
    )


def regions_of(
    pictures: Sequence[Path], places: Sequence[str]
) -> list[tuple[Path, Mark | None]]:
    """Pair pictures with regions as they are typed: none, one for all, one for each.

    Raises
    ------
    InsetError
        For another number of regions, or one that is not understood.
    """
    marks = [parse_mark(text, name="the region") for text in places]
    if len(marks) <= 1:
        return [(path, marks[0] if marks else None) for path in pictures]
    if len(marks) != len(pictures):
        raise InsetError(
            f"{len(marks)} regions for {len(pictures)} pictures; give one for all or "
            "one for each, in their order"
        )
    return list(zip(pictures, marks, strict=True))


def _notes(found: Sequence[Region], between: Array) -> tuple[str, ...]:
    notes = []
    if between.max() > DISAGREE:
        notes.append(
            f"the pictures are up to {between.max():.0f} CIEDE2000 from their middle: "
            "they show different colours or white balances; choose the one you want"
        )
    if max(region.at_edge for region in found) > 0.1:
        notes.append(
            "part of the region is at the edge of sRGB, so the real thing may be more "
            "vivid than the picture can show"
        )
    if max(region.clipped for region in found) > 0.2:
        notes.append("much of the region is burnt out; a darker picture would be surer")
    return tuple(notes)


def read_region(path: Path, mark: Mark | None) -> Region:
    """Find the colour of one region of one picture.

    Raises
    ------
    InsetError
        As for `aim`.
    """
    photo = open_photo(path)
    if photo.raw:
        raise InsetError(
            f'"{path.name}" is camera raw, which has no colour yet; take the picture '
            "as it is meant to look, a JPEG or PNG"
        )
    if mark is None:
        width, height = photo.size
        mark = Mark(
            name="the region", at=(width / 2, height / 2), size=(width / 2, height / 2)
        )
    box = box_of(mark, photo)
    (cut,) = crops(photo, [box])
    codes = _thinned(_codes(cut, photo), round_=mark.size is None)
    clipped = (codes >= CORE).any(axis=-1)
    if clipped.mean() > CLIPPED:
        typical = "".join(f"{v:02x}" for v in np.median(codes, axis=0).astype(int))
        raise InsetError(
            f"{clipped.mean():.0%} of the region of {path.name} is clipped in "
            f"{_worst(codes)}; choose a darker part of it or a darker picture, or "
            f'write hex = "#{typical}" if this is flat digital art'
        )
    XYZ = rgb_to_XYZ(codes[~clipped])
    bright = float(np.quantile(XYZ[:, 1], 0.9))
    if bright < BLACK:
        raise InsetError(f"the region of {path.name} is black; choose the glow itself")
    lit = XYZ[:, 1] >= HALO * bright
    if lit.sum() < FEW:
        raise InsetError(
            f"only {lit.sum()} pixels of the region of {path.name} are neither core "
            "nor halo; choose a larger region"
        )
    middle, spread = _colour(XYZ[lit], path)
    return Region(
        XYZ=middle,
        lightness=float(XYZ_to_Lab(middle)[0]),
        spread=spread,
        clipped=float(clipped.mean()),
        halo=float((~lit).sum() / clipped.size),
        at_edge=float((codes[~clipped][lit] <= 1).any(axis=-1).mean()),
    )


def _codes(cut: NDArray[Any], photo: Photo) -> NDArray[np.uint8]:
    """Bring a crop to 8-bit sRGB."""
    codes = (cut // 257 if photo.bits == 16 else cut).astype(np.uint8)
    if not photo.icc:
        return codes
    return as_srgb(codes, photo.icc)


def _thinned(codes: NDArray[np.uint8], *, round_: bool) -> NDArray[np.uint8]:
    """Return the pixels of a region, evenly thinned out, shape (n, 3)."""
    height, width = codes.shape[:2]
    inside = disk(height, width) if round_ else np.ones((height, width), dtype=bool)
    step = int(np.ceil(np.sqrt(height * width / MOST_PIXELS)))
    return codes[::step, ::step][inside[::step, ::step]]


def _worst(codes: NDArray[np.uint8]) -> str:
    return CHANNELS[int((codes >= CORE).mean(axis=0).argmax())]


def _colour(XYZ: Array, path: Path) -> tuple[Array, float]:
    """Return the median colour at the median luminance, and its spread.

    Pixels farther than `NEAR` times the median difference do not belong to it.
    """
    Y = float(np.median(XYZ[:, 1]))
    level, kept = scaled(XYZ, Y), np.ones(len(XYZ), dtype=bool)
    away = np.zeros(len(XYZ))
    for _ in range(3):
        middle = np.median(level[kept], axis=0)
        away = difference(XYZ, XYZ_to_Lab(middle))
        kept = away <= max(NEAR * float(np.median(away)), 1.0)
    spread = float(np.quantile(away[kept], 0.9))
    if spread > SEVERAL:
        raise InsetError(
            f"the region of {path.name} holds several colours, {spread:.0f} CIEDE2000 "
            "apart; choose a smaller region of one colour"
        )
    return np.asarray(middle), spread
