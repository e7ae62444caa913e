"""Opening a photo without spreading it in memory: its facts, and crops of it.

The file is decoded once, at one byte a channel, and only the patches are turned into
numbers. Sixteen-bit PNG and TIFF are decoded twice, for the upper and the lower byte.
Camera raw files need the optional package rawpy.
"""

import sys
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, UnidentifiedImageError

from tintlab.chips import photo_raw
from tintlab.chips.photo_tone import profile_curve, srgb_curve
from tintlab.errors import InsetError

Array = NDArray[np.float64]
Box = tuple[int, int, int, int]  # left, top, right, bottom [pixels], right way up

LARGEST = 80_000_000  # [pixels]; a decoded pixel takes 4 bytes
RAW_ENDINGS = (
    *(".dng", ".nef", ".nrw", ".cr2", ".cr3", ".crw", ".arw", ".srf", ".sr2"),
    *(".raf", ".rw2", ".orf", ".pef", ".srw", ".3fr", ".iiq", ".rwl", ".raw"),
)
HEIF_ENDINGS = (".heic", ".heif", ".hif", ".avif")
LOW_BYTE = {"B": "L", "L": "B", "N": "B" if sys.byteorder == "little" else "L"}
GREY = ("1", "L", "LA", "La", "I", "F")
# what the metadata of pictures with a gain map hold (from memory)
GAIN_MAPS = (b"hdr-gain-map", b"HDRGainMap")
_EXIF, _ORIENTATION = 0x8769, 0x0112
_TAGS = {
    "seconds": 0x829A,
    "aperture": 0x829D,
    "iso": 0x8827,
    "rendered": 0xA401,
    "exposure_mode": 0xA402,
    "white_balance": 0xA403,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What the camera noted in the file (EXIF 2.32); None where it did not.

    Attributes
    ----------
    camera : str
        Only compared between photos, never printed.
    seconds, aperture, iso : float or None
        Exposure time [s], f-number [-], sensitivity [-].
    auto_exposure, auto_white : bool or None
    """

    camera: str = ""
    seconds: float | None = None
    aperture: float | None = None
    iso: float | None = None
    auto_exposure: bool | None = None
    auto_white: bool | None = None

    @property
    def exposure(self) -> float | None:
        """Light gathered, relative: time x sensitivity / f-number squared."""
        if self.seconds is None or self.iso is None:
            return None
        return self.seconds * self.iso / (self.aperture or 1.0) ** 2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Photo:
    """A photo whose header has been read.

    Attributes
    ----------
    path : Path
    size : tuple of int
        Width and height, the right way up. [pixels]
    orientation : int
        EXIF orientation, 1 to 8.
    curve : ndarray, shape (3, n_codes)
        Linear light of each code of red, green and blue. [-]
    bits : int
        8, 16, or 0 for camera raw, whose codes are linear already.
    icc : bytes
    facts : Facts
    notes : tuple of str
    """

    path: Path
    size: tuple[int, int]
    orientation: int
    curve: Array
    bits: int
    icc: bytes = b""
    facts: Facts = field(default_factory=Facts)
    notes: tuple[str, ...] = ()

    @property
    def raw(self) -> bool:
        """Whether this is a camera raw file."""
        return self.bits == 0


def open_photo(path: Path) -> Photo:
    """Read the header of a photo.

    Raises
    ------
    InsetError
        When it is missing, empty, no photo, too large, merged from several exposures,
        or needs a reader that is not installed.
    """
    _look(path)
    if path.suffix.lower() in RAW_ENDINGS:
        return _open_raw(path)
    with opened(path) as picture:
        return _from_header(picture, path)


def _look(path: Path) -> None:  # refuse what can be refused without decoding
    try:
        size, folder = path.stat().st_size, path.is_dir()
    except (OSError, ValueError) as problem:
        reason = getattr(problem, "strerror", None) or problem
        raise InsetError(
            f'cannot read the photo "{path.name}": {reason}; check its name and its '
            f'folder "{path.parent}"'
        ) from None
    if folder:
        raise InsetError(f'asked for the photo "{path}", which is a folder')
    if size == 0:
        raise InsetError(f'"{path.name}" has 0 bytes; copy it from the camera again')
    if path.suffix.lower() in HEIF_ENDINGS:
        raise InsetError(
            f'"{path.name}" is in the HEIF format, which we cannot read; set the '
            "camera to save JPEG, or better raw, and take the photo again"
        )


@contextmanager
def opened(path: Path) -> Iterator[Any]:
    """Open a picture; turn everything that can go wrong into one sentence.

    Raises
    ------
    InsetError
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # its size is checked here
            with Image.open(path) as picture:
                if picture.width * picture.height > LARGEST:
                    raise _too_large(path)
                yield picture
    except Image.DecompressionBombError:
        raise _too_large(path) from None
    except UnidentifiedImageError:
        raise InsetError(
            f'"{path.name}" is no picture that we can read; use JPEG, PNG or TIFF'
        ) from None
    except (OSError, SyntaxError, ValueError) as problem:
        if isinstance(problem, InsetError):
            raise
        raise InsetError(
            f'cannot decode the photo "{path.name}": {problem}; copy it from the '
            "camera again"
        ) from None


def _too_large(path: Path) -> InsetError:
    return InsetError(
        f'the photo "{path.name}" has more than {LARGEST / 1e6:.0f} million pixels; '
        "take it again with a smaller picture size"
    )


def _hidden(path: Path, what: str) -> InsetError:
    return InsetError(
        f'the photo "{path.name}" {what}, where its colour is hidden; use the file of '
        "the camera, or save art as RGB without transparency"
    )


def _from_header(picture: Any, path: Path) -> Photo:
    if picture.mode not in ("RGB", "RGBA"):
        grey = picture.mode in GREY or picture.mode.startswith("I;")
        kind = "is black and white" if grey else "has no plain RGB"
        raise InsetError(
            f'the photo "{path.name}" {kind} (mode {picture.mode}); use the file of '
            "the camera, or save art as RGB with 8 or 16 bits"
        )
    if "transparency" in picture.info:
        raise _hidden(path, "has a transparent colour")
    if any(mark in (picture.info.get("xmp") or b"") for mark in GAIN_MAPS):
        raise InsetError(
            f'the photo "{path.name}" is an HDR picture with a gain map, so its ratios '
            "mean nothing; switch HDR off and take it again"
        )
    exif = _exif(picture)
    facts, notes = _facts(exif, path), []
    bits = 16 if _deep(picture) else 8
    top = 2**bits - 1
    profile = picture.info.get("icc_profile") or b""
    curve = profile_curve(profile, top) if profile else srgb_curve(top)
    if curve is None:
        raise InsetError(
            f'the photo "{path.name}" has a colour profile without plain tone curves; '
            "export it as sRGB"
        )
    if not exif:
        notes.append(
            "the photo has no EXIF data, so neither HDR nor a changed exposure can be "
            "noticed; copy it unedited from the camera"
        )
    orientation = exif.get(_ORIENTATION, 1)
    if orientation not in range(1, 9) or picture.format == "TIFF":
        orientation = 1  # Pillow turns a TIFF upright by itself
    size = picture.size if orientation < 5 else picture.size[::-1]
    return Photo(
        path=path,
        size=size,
        orientation=orientation,
        curve=curve,
        bits=bits,
        icc=profile,
        facts=facts,
        notes=tuple(notes),
    )


def _exif(picture: Any) -> Image.Exif:
    """Read the EXIF data; a PNG without any must not be decoded in search of them."""
    if picture.format == "PNG" and "exif" not in picture.info:
        return Image.Exif()
    return picture.getexif()


def _facts(exif: Image.Exif, path: Path) -> Facts:
    inner = exif.get_ifd(_EXIF)
    found = {name: _number(inner.get(tag)) for name, tag in _TAGS.items()}
    # 2, 3 and 7: values that phones write for merged exposures (from memory; the
    # standard itself knows 0 normal and 1 custom)
    if found["rendered"] in (2, 3, 7):
        raise InsetError(
            f'the photo "{path.name}" is an HDR picture, merged from several '
            "exposures, so its ratios mean nothing; switch HDR off and take it again"
        )
    modes, white = found["exposure_mode"], found["white_balance"]
    if modes == 2:
        raise InsetError(
            f'the photo "{path.name}" was taken in automatic bracketing; lock the '
            "exposure and take it again"
        )
    return Facts(
        camera=f"{exif.get(0x010F, '')} {exif.get(0x0110, '')}".strip(),
        seconds=found["seconds"] or None,
        aperture=found["aperture"] or None,
        iso=found["iso"] or None,
        auto_exposure=None if modes is None else modes == 0,
        auto_white=None if white is None else white == 0,
    )


def _number(value: Any) -> float | None:
    """Read an EXIF number, which may be a fraction, a tuple or nonsense."""
    if isinstance(value, tuple):
        value = value[0] if value else None
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if np.isfinite(number) and number >= 0 else None


def _deep(picture: Any) -> bool:
    """Tell whether the file holds 16 bits, which Pillow cuts to the upper eight."""
    return any(_rawmode(tile.args)[:-1].endswith(";16") for tile in picture.tile)


def _rawmode(args: Any) -> str:
    return str(args[0] if isinstance(args, tuple) else args)


def crops(photo: Photo, boxes: Sequence[Box]) -> list[NDArray[np.generic]]:
    """Decode a photo and cut boxes out of it, the right way up.

    Parameters
    ----------
    photo : Photo
    boxes : sequence of tuple of int
        Left, top, right, bottom; inside the picture. [pixels]

    Returns
    -------
    list of ndarray, shape (height, width, 3)
        Codes; counts above black over white, and half as many rows and columns, for
        camera raw.

    Raises
    ------
    InsetError
        When the file is damaged or cut short.
    """
    stored = [_stored(box, photo) for box in boxes]
    if photo.raw:
        found = photo_raw.linear(photo.path, stored)
        return [np.rot90(part, _RAW_TURNS[photo.orientation]) for part in found]
    upper = _decoded(photo, stored, low=False)
    if photo.bits == 8:
        return list(upper)
    lower = _decoded(photo, stored, low=True)
    return [h.astype(np.uint16) * 256 + l for h, l in zip(upper, lower, strict=True)]


def _decoded(
    photo: Photo, boxes: Sequence[Box], *, low: bool
) -> list[NDArray[np.uint8]]:
    with opened(photo.path) as picture:
        if low:
            picture.tile = [t._replace(args=_swapped(t.args)) for t in picture.tile]
        picture.load()
        parts = [picture.crop(box) for box in boxes]
        if picture.mode == "RGBA" and min(p.getextrema()[3][0] for p in parts) < 255:
            raise _hidden(photo.path, "is transparent at a mark")
        return [_upright(part, photo.orientation) for part in parts]


def _swapped(args: Any) -> Any:
    """Ask the decoder for the other byte of each 16-bit sample."""
    rawmode = _rawmode(args)
    other = rawmode[:-1] + LOW_BYTE[rawmode[-1]]
    return (other, *args[1:]) if isinstance(args, tuple) else other


def _upright(crop: Image.Image, orientation: int) -> NDArray[np.uint8]:
    turn = _TURNS.get(orientation)
    return np.asarray(crop if turn is None else crop.transpose(turn))[..., :3]


_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
_RAW_TURNS = {1: 0, 3: 2, 6: 3, 8: 1}


def _stored(box: Box, photo: Photo) -> Box:
    """Find a box of the upright picture in the picture as stored (EXIF 2.32)."""
    left, top, right, bottom = box
    width, height = photo.size
    x, y = (left, right), (top, bottom)
    from_right, from_below = (
        (width - right, width - left),
        (height - bottom, height - top),
    )
    across, down = {
        1: (x, y),
        2: (from_right, y),
        3: (from_right, from_below),
        4: (x, from_below),
        5: (y, x),
        6: (y, from_right),
        7: (from_below, from_right),
        8: (from_below, x),
    }[photo.orientation]
    return across[0], down[0], across[1], down[1]


def _open_raw(path: Path) -> Photo:
    size, orientation = photo_raw.header(path)
    if size[0] * size[1] > LARGEST:
        raise _too_large(path)
    return Photo(
        path=path,
        size=size if orientation < 5 else size[::-1],
        orientation=orientation,
        curve=np.empty((3, 0)),
        bits=0,
        facts=_raw_facts(path),
    )


def _raw_facts(path: Path) -> Facts:
    """Read EXIF of raw files that are TIFF inside; none for others."""
    try:
        with opened(path) as picture:
            return _facts(picture.getexif(), path)
    except InsetError:
        return Facts()
