"""Reading one colour from a picture.

A picture is taken as sRGB (IEC 61966-2-1), or converted to it when it carries an ICC
profile; averages are formed on linear light, and EXIF orientation is respected.
"""

import io
import warnings
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageCms, ImageOps, UnidentifiedImageError

from tintlab.colorimetry import rgb_to_XYZ
from tintlab.errors import InsetError

LARGEST = 120_000_000  # [pixels]; more is refused before it is decoded


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Patch:
    """The mean of a round patch: XYZ (white at Y = 1) and the share clipped."""

    XYZ: NDArray[np.float64]
    clipped: float


def open_picture(path: Path) -> Image.Image:
    """Open a picture as 8-bit sRGB, the right way up.

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
                _check(picture, path)
                return _as_srgb(ImageOps.exif_transpose(picture))
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise _too_large(path) from None
    except UnidentifiedImageError:
        raise InsetError(
            f'"{path.name}" is no picture that we can read; use JPEG, PNG or TIFF'
        ) from None
    except (OSError, SyntaxError, ValueError, ImageCms.PyCMSError) as problem:
        if isinstance(problem, InsetError):
            raise
        reason = getattr(problem, "strerror", None) or problem
        raise InsetError(
            f'cannot read the picture "{path.name}": {reason}; check the file and its '
            f'folder "{path.parent}"'
        ) from None


def _check(picture: Image.Image, path: Path) -> None:
    if picture.width * picture.height > LARGEST:
        raise _too_large(path)
    if picture.mode.startswith(("I", "F")):
        raise InsetError(
            f'the picture "{path.name}" has more than 8 bits of grey; save it as an '
            "8-bit picture first"
        )


def _as_srgb(picture: Image.Image) -> Image.Image:
    profile = picture.info.get("icc_profile")
    if profile and picture.mode in ("RGB", "RGBA", "CMYK"):
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        converted = ImageCms.profileToProfile(
            picture, source, ImageCms.createProfile("sRGB"), outputMode="RGB"
        )
        picture = converted or picture
    return picture.convert("RGB")


def _too_large(path: Path) -> InsetError:
    return InsetError(
        f'the picture "{path.name}" has more than {LARGEST / 1e6:.0f} million pixels; '
        "scale it down first"
    )


def patch(path: Path, *, at: tuple[float, float], radius: float) -> Patch:
    """Average a round patch of a picture on linear light.

    Parameters
    ----------
    path : Path
    at : tuple of float
        Column and row of the centre, from the upper left. [pixels]
    radius : float
        [pixels]

    Raises
    ------
    InsetError
        When the point lies outside the picture.
    """
    picture = open_picture(path)
    column, row = at
    if not (0 <= column < picture.width and 0 <= row < picture.height):
        raise InsetError(
            f"the point {column:g}, {row:g} lies outside the picture "
            f'"{path.name}" of {picture.width} x {picture.height} pixels; choose a '
            "point inside"
        )
    reach = int(np.ceil(radius))
    box = (
        max(int(column) - reach, 0),
        max(int(row) - reach, 0),
        min(int(column) + reach + 1, picture.width),
        min(int(row) + reach + 1, picture.height),
    )
    codes = np.asarray(picture.crop(box))
    rows, columns = np.mgrid[box[1] : box[3], box[0] : box[2]]
    inside = np.hypot(columns - int(column), rows - int(row)) <= max(radius, 0.5)
    chosen = codes[inside]
    return Patch(
        XYZ=rgb_to_XYZ(chosen).mean(axis=0),
        clipped=float((chosen == 255).any(axis=-1).mean()),
    )
