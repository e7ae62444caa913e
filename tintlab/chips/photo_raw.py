"""Camera raw, when the optional package rawpy is installed.

Raw counts are linear and untouched by the camera's tones, so they are the best
evidence. Only 2 x 2 colour mosaics are read; each cell becomes one value of red, green
(the mean of two) and blue.
"""

import importlib
import importlib.util
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tintlab.errors import InsetError

Array = NDArray[np.float64]

FLIPS = {0: 1, 3: 3, 5: 8, 6: 6}  # turns as the raw reader counts them, to EXIF


@contextmanager
def _opened(path: Path) -> Iterator[Any]:
    if importlib.util.find_spec("rawpy") is None:
        raise InsetError(
            f'"{path.name}" is a camera raw file, which needs the package rawpy; '
            'install it with "pip install rawpy", or use a JPEG'
        )
    rawpy = importlib.import_module("rawpy")
    try:
        with rawpy.imread(str(path)) as raw:
            yield raw
    except rawpy.LibRawError as problem:
        raise InsetError(
            f'cannot decode the raw file "{path.name}": {problem}; copy it from the '
            "camera again, or use a JPEG"
        ) from None


def header(path: Path) -> tuple[tuple[int, int], int]:
    """Return width and height as stored, and the EXIF orientation.

    Raises
    ------
    InsetError
        When rawpy is missing, the file is damaged, or its mosaic is another.
    """
    with _opened(path) as raw:
        if raw.raw_pattern is None or raw.raw_pattern.shape != (2, 2):
            raise InsetError(
                f'the raw file "{path.name}" has no 2 x 2 colour mosaic; use a JPEG'
            )
        height, width = raw.raw_image_visible.shape
        return (width, height), FLIPS.get(raw.sizes.flip, 1)


def linear(path: Path, boxes: Sequence[tuple[int, int, int, int]]) -> list[Array]:
    """Cut boxes out of a raw file.

    Parameters
    ----------
    path : Path
    boxes : sequence of tuple of int
        Left, top, right, bottom as stored. [pixels]

    Returns
    -------
    list of ndarray, shape (height / 2, width / 2, 3)
        Counts above black over the largest. [-]
    """
    with _opened(path) as raw:
        counts, colours = raw.raw_image_visible, raw.raw_colors_visible
        black = np.array(raw.black_level_per_channel, dtype=float)
        white = float(raw.white_level)
        found = []
        for box in boxes:
            left, top, right, bottom = (2 * (n // 2) for n in box)
            part = np.s_[top:bottom, left:right]
            found.append(_cells(counts[part], colours[part], black, white))
        return found


def _cells(
    counts: NDArray[np.uint16], colours: NDArray[np.uint8], black: Array, white: float
) -> Array:
    """Average the four pixels of each 2 x 2 cell into red, green and blue."""
    values = (counts - black[colours]) / (white - black[colours])
    hue = np.where(colours == 3, 1, colours)[:2, :2]  # 3 is the second green
    cells = values.reshape(values.shape[0] // 2, 2, -1, 2)
    channels = [(hue == c)[:, None, :] for c in range(3)]
    return np.stack(
        [(cells * at).sum(axis=(1, 3)) / at.sum() for at in channels], axis=-1
    )
