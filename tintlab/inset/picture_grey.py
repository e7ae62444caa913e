"""Grey pictures that carry shares or thicknesses: masks and relief maps.

Their code values are data and no light: 0 is black, 1 is white, in equal steps.
"""

import warnings
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps, UnidentifiedImageError

from tintlab.errors import InsetError

LARGEST = 120_000_000  # [pixels]; more is refused before it is decoded
KEPT = 1000  # [pixels] on the longer side; a finer picture is averaged down to it


def grey(path: Path) -> NDArray[np.float64]:
    """Read a picture as grey values.

    Parameters
    ----------
    path : Path
        8-bit or 16-bit; colours are averaged by their usual weights, what is
        transparent counts as black.

    Returns
    -------
    ndarray, shape (rows, columns)
        0 to 1, the right way up, 1000 or fewer on the longer side. [-]

    Raises
    ------
    InsetError
        When it is missing, no picture, truncated or too large.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # odd metadata do not matter here
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(path) as picture:
                _check(picture)
                return _values(ImageOps.exif_transpose(picture))
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise InsetError(
            f'the picture "{path.name}" has more than {LARGEST / 1e6:.0f} million '
            "pixels; scale it down first"
        ) from None
    except UnidentifiedImageError:
        raise InsetError(
            f'"{path.name}" is no picture that we can read; use PNG or TIFF'
        ) from None
    except (OSError, SyntaxError, ValueError) as problem:
        reason = getattr(problem, "strerror", None) or problem
        raise InsetError(
            f'cannot read the picture "{path.name}": {reason}; check the file and its '
            f'folder "{path.parent}"'
        ) from None


def _check(picture: Image.Image) -> None:
    if picture.width * picture.height > LARGEST:
        raise Image.DecompressionBombError
    if picture.mode.startswith("F"):
        raise ValueError("it holds fractions; save it as 16-bit grey")


def _values(picture: Image.Image) -> NDArray[np.float64]:
    deep = picture.mode.startswith("I")
    if not deep:
        black = Image.new("RGBA", picture.size, (0, 0, 0, 255))
        see_through = "A" in picture.mode or "transparency" in picture.info
        plain = picture.convert("RGBA") if see_through else picture
        picture = Image.alpha_composite(black, plain) if see_through else plain
        picture = picture.convert("L")
    values = np.asarray(picture, dtype=np.float64) / (65535.0 if deep else 255.0)
    if values.max() > 1:
        raise ValueError("it has more than 16 bits; save it as 16-bit grey")
    return _averaged(values)


def _averaged(values: NDArray[np.float64]) -> NDArray[np.float64]:
    step = -(-max(values.shape) // KEPT)
    if step == 1:
        return values
    small = Image.fromarray(values.astype(np.float32)).reduce(step)
    return np.clip(np.asarray(small, dtype=np.float64), 0.0, 1.0)
