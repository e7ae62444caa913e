"""One patch of a photo: its mean on linear light, how sure, and what is wrong with it.

Outliers (dust, bubbles, glints) are left out. The standard error comes from the
means of tiles of the patch, not from single pixels: neighbours share their noise
through the colour mosaic and the JPEG blocks, and a slope of the light shows as well.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tintlab.chips.photo_marks import DEFAULT_RADIUS, Mark
from tintlab.chips.photo_open import Box, Photo
from tintlab.errors import InsetError

Array = NDArray[np.float64]

CHANNELS = ("red", "green", "blue")
HIGH = 0.98  # of the largest code, 250 of 255; above it highlights are rolled off
DARK_8, DARK_DEEP = 0.0037, 0.001  # linear; code 12 of 255, and 16 bits or raw; assumed
CLIPPED = 0.01  # share of pixels above HIGH, or at 0, that a channel may have; assumed
OUTLIER = 4.0  # robust standard deviations
LOST = 0.25  # share of outliers that a patch may have; assumed
UNEVEN = 0.3  # (largest - smallest) / mean of the tiles of a patch; assumed
TILES = 4  # along each side
LEAST = 36  # pixels in a patch
REPEAT = 0.003  # relative error that no statistics show; assumed


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Patch:
    """What a patch looks like.

    Attributes
    ----------
    mark : Mark
    mean, sigma : ndarray, shape (3,)
        Linear light of red, green and blue, the largest code at 1, and its standard
        error. [-]
    high, low : ndarray of bool, shape (3,)
        Channels that are clipped, or too dark to be trusted.
    """

    mark: Mark
    mean: Array
    sigma: Array
    high: NDArray[np.bool_]
    low: NDArray[np.bool_]

    @property
    def usable(self) -> NDArray[np.bool_]:
        """Channels that are neither clipped nor too dark, shape (3,)."""
        return ~(self.high | self.low)


def box_of(mark: Mark, photo: Photo) -> Box:
    """Return the box about a mark.

    Raises
    ------
    InsetError
        When it reaches outside the photo or is too small.
    """
    width, height = photo.size
    across, down = mark.size or (2 * radius_of(mark, photo),) * 2
    left, top = round(mark.at[0] - across / 2), round(mark.at[1] - down / 2)
    box = left, top, round(left + across), round(top + down)
    if left < 0 or top < 0 or box[2] > width or box[3] > height:
        raise InsetError(
            f"the patch of {mark.name} about {mark.at[0]:g}, {mark.at[1]:g} reaches "
            f'outside the photo "{photo.path.name}" of {width} x {height} pixels; '
            "move it in or make it smaller"
        )
    cells = (box[2] - left) * (box[3] - top) / (4 if photo.raw else 1)
    if cells < LEAST:
        raise InsetError(
            f"the patch of {mark.name} has {cells:.0f} pixels; give it a radius of 6 "
            "pixels or more, or take the photo from nearer"
        )
    return box


def radius_of(mark: Mark, photo: Photo) -> float:
    """Return the radius of a round mark; a share of the photo unless it was given."""
    return mark.radius or max(DEFAULT_RADIUS * min(photo.size), 4.0)


def measure(mark: Mark, codes: NDArray[np.generic], photo: Photo) -> Patch:
    """Measure one patch.

    Parameters
    ----------
    mark : Mark
    codes : ndarray, shape (height, width, 3)
        As `photo_open.crops` returns them.
    photo : Photo

    Returns
    -------
    Patch

    Raises
    ------
    InsetError
        When the patch is uneven, or mostly dust, in one channel.
    """
    inside = np.ones(codes.shape[:2], dtype=bool)
    if mark.size is None:
        inside = disk(codes.shape[0], codes.shape[1])
    linear, relative, step = _linear(codes, photo)
    found = [
        _channel(linear[..., c], relative[..., c], inside, step=step) for c in range(3)
    ]
    dark = DARK_8 if photo.bits == 8 else DARK_DEEP
    mean, sigma, uneven, lost, high, zero = np.array(found).T
    patch = Patch(
        mark=mark,
        mean=mean,
        sigma=sigma,
        high=high > CLIPPED,
        low=(mean < dark) | (zero > CLIPPED),
    )
    for c in np.flatnonzero(patch.usable):
        if uneven[c] > UNEVEN or lost[c] > LOST:
            raise InsetError(
                f"the patch of {mark.name} is uneven in {CHANNELS[c]}: "
                f"{max(uneven[c], lost[c]) * 100:.0f} % from end to end; mark a "
                "smaller or smoother spot, or put a diffuser before the light"
            )
    return patch


def disk(height: int, width: int) -> NDArray[np.bool_]:
    """Return the pixels of a round patch that fills a box, shape (height, width)."""
    rows, columns = np.mgrid[:height, :width] + 0.5
    return np.asarray(np.hypot(rows / height - 0.5, columns / width - 0.5) <= 0.5)


def _linear(codes: NDArray[np.generic], photo: Photo) -> tuple[Array, Array, Array]:
    """Return linear light, codes over the largest, and one code's step of linear."""
    if photo.raw:
        values = np.asarray(codes, dtype=float)
        return values, values, np.zeros(3)
    top = photo.curve.shape[1] - 1
    whole = codes.astype(np.intp)
    linear = np.stack([photo.curve[c][whole[..., c]] for c in range(3)], axis=-1)
    middle = np.clip(np.median(whole, axis=(0, 1)).astype(int), 0, top - 1)
    step = np.array([photo.curve[c][m + 1] - photo.curve[c][m] for c, m in
                     enumerate(middle)])  # fmt: skip
    return linear, whole / top, step


def _channel(
    linear: Array, relative: Array, inside: NDArray[np.bool_], *, step: Array
) -> tuple[float, ...]:
    """Mean, its standard error, unevenness, outliers, clipped high, at zero."""
    chosen = linear[inside]
    middle = np.median(chosen)
    robust = 1.4826 * np.median(np.abs(chosen - middle))
    kept = inside & (np.abs(linear - middle) <= OUTLIER * max(robust, step.max()))
    mean = float(linear[kept].mean())
    tiles = _tile_means(linear, kept)
    noise = float(linear[kept].std())
    error = tiles.std(ddof=1) / np.sqrt(tiles.size) if tiles.size > 1 else noise
    uneven = (tiles.max() - tiles.min()) / mean if mean > 0 and tiles.size > 1 else 0.0
    uneven -= 4 * noise / max(mean, 1e-9) / np.sqrt(kept.sum() / tiles.size)
    return (
        mean,
        float(np.sqrt(error**2 + _rounding(step.max(), noise) ** 2
                      + (REPEAT * mean) ** 2)),
        max(float(uneven), 0.0),
        float(1 - kept.sum() / inside.sum()),
        float((relative[inside] > HIGH).mean()),
        float((relative[inside] <= 0).mean()),
    )  # fmt: skip


def _tile_means(linear: Array, kept: NDArray[np.bool_]) -> Array:
    """Average the tiles that are at least half filled."""
    count = max(1, min(TILES, *(side // 3 for side in linear.shape)))
    rows = np.array_split(np.arange(linear.shape[0]), count)
    columns = np.array_split(np.arange(linear.shape[1]), count)
    means = []
    for r in rows:
        for c in columns:
            tile = np.ix_(r, c)
            if kept[tile].mean() >= 0.5:
                means.append(linear[tile][kept[tile]].mean())
    return np.array(means or [linear[kept].mean()])


def _rounding(step: float, noise: float) -> float:
    """Bias that rounding to codes leaves in a mean; noise of one code removes it.

    A rounded Gaussian of deviation s (in steps) has a mean that is off by no more
    than exp(-2 pi^2 s^2) / pi steps, the first harmonic (Widrow & Kollar, Quantization
    Noise, 2008, from memory); without noise the error is evenly spread over one step.
    """
    if step <= 0:
        return 0.0
    return float(step / np.sqrt(12) * np.exp(-2 * (np.pi * noise / step) ** 2))
