"""From the codes of a picture to linear light: tone curves.

sRGB is taken from IEC 61966-2-1; another tone curve is read from the ICC profile that
the picture carries (ICC.1:2022, curveType and parametricCurveType). For chips only
the curve is used: chip over blank asks for no primaries, and a conversion of primaries
would clip the channels of a vivid chip.
"""

import io
import struct

import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image, ImageCms

from tintlab.colorimetry import tables
from tintlab.errors import InsetError

Array = NDArray[np.float64]

SRGB = (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045)  # g, a, b, c, d


def parametric(x: ArrayLike, parameters: tuple[float, ...]) -> Array:
    """Apply a parametric tone curve (ICC.1:2022, table 68, types 0 to 4).

    Parameters
    ----------
    x : array_like, shape (...)
        Code over the largest code. [-]
    parameters : tuple of float
        g; or g, a, b; g, a, b, c; g, a, b, c, d; g, a, b, c, d, e, f.

    Returns
    -------
    ndarray, shape (...)
        Linear light. [-]

    Examples
    --------
    >>> round(float(parametric(0.5, SRGB)), 6)
    0.214041
    """
    x = np.asarray(x, dtype=float)
    kind = (1, 3, 4, 5, 7).index(len(parameters))
    g, a, b, c, d, e, f = (*parameters, *(0.0,) * (7 - len(parameters)))
    if kind == 0:
        return np.asarray(x**g)
    power = np.clip(a * x + b, 0.0, None) ** g
    if kind in (1, 2):
        return np.where(x >= -b / a, power + c, c)  # c is 0 in type 1
    return np.where(x >= d, power + e, c * x + f)  # e, f are 0 in type 3


def srgb_curve(top: int) -> Array:
    """Return the linear value of each sRGB code 0 to `top`, shape (3, top + 1)."""
    if top == 255:
        return np.tile(tables().decoded, (3, 1))
    return np.tile(parametric(np.arange(top + 1) / top, SRGB), (3, 1))


def profile_curve(profile: bytes, top: int) -> Array | None:
    """Return the tone curves that an ICC profile holds.

    Parameters
    ----------
    profile : bytes
    top : int
        Largest code, 255 or 65535.

    Returns
    -------
    ndarray, shape (3, top + 1), or None
        None for a profile without three plain curves.
    """
    try:
        tags = _tags(profile)
        x = np.arange(top + 1) / top
        curves = [_curve(profile[slice(*tags[key])], x) for key in _CURVES]
        return np.stack(curves)
    except (struct.error, KeyError, ValueError, IndexError):
        return None


_CURVES = (b"rTRC", b"gTRC", b"bTRC")


def _tags(profile: bytes) -> dict[bytes, tuple[int, int]]:
    (count,) = struct.unpack_from(">I", profile, 128)
    found = {}
    for i in range(min(count, 200)):
        name, start, size = struct.unpack_from(">4sII", profile, 132 + 12 * i)
        found[name] = (start, start + size)
    return found


def _curve(tag: bytes, x: Array) -> Array:
    if tag[:4] == b"para":
        (kind,) = struct.unpack_from(">H", tag, 8)
        count = (1, 3, 4, 5, 7)[kind]
        fixed = struct.unpack_from(f">{count}i", tag, 12)
        return parametric(x, tuple(value / 65536 for value in fixed))
    if tag[:4] != b"curv":
        raise ValueError
    (count,) = struct.unpack_from(">I", tag, 8)
    if count == 0:
        return x
    values = np.array(struct.unpack_from(f">{count}H", tag, 12), dtype=float)
    if count == 1:
        return np.asarray(x ** (values[0] / 256))
    return np.interp(x, np.linspace(0, 1, count), values / 65535)


def as_srgb(codes: NDArray[np.uint8], icc: bytes) -> NDArray[np.uint8]:
    """Convert 8-bit RGB codes, shape (h, w, 3), from the colours of an ICC profile.

    Raises
    ------
    InsetError
        When the profile cannot be used.
    """
    try:
        converted = ImageCms.profileToProfile(
            Image.fromarray(codes),
            ImageCms.ImageCmsProfile(io.BytesIO(icc)),
            ImageCms.createProfile("sRGB"),
        )
    except (ImageCms.PyCMSError, OSError) as problem:
        raise InsetError(
            f"the colour profile in the picture cannot be used ({problem}); export the "
            "picture as sRGB"
        ) from None
    return codes if converted is None else np.asarray(converted)
