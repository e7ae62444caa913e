"""The maker's photo: read whole, the right way up, at 8 or 16 bits a channel."""

import importlib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps, JpegImagePlugin

from tintlab.chips import photo_open, photo_raw
from tintlab.errors import InsetError
from tintlab.proof.photo_space import Codes, Space, space_of

EXIF, GPS, ORIENTATION = 0x8769, 0x8825, 0x0112
INNER = (EXIF, GPS)
LAYOUT = {  # of a TIFF (TIFF 6.0): what it says of its pixels, not of the photo
    *(254, 255, 256, 257, 258, 259, 262, 266, 273, 277, 278, 279, 284, 317, 320),
    *(322, 323, 324, 325, 330, 338, 339, 347, 700, 33723, 34377, 34675),
}
EXPOSURE = {"seconds": 0x829A, "aperture": 0x829D, "iso": 0x8827}  # EXIF 2.32
SMALLEST = 8  # [pixels] of the shorter side, for an inset and its surroundings
ENDINGS = {"JPEG": ".jpg", "PNG": ".png", "TIFF": ".tif"}
_FORMATS = {"JPEG": "JPEG", "MPO": "JPEG", "PNG": "PNG", "TIFF": "TIFF"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """How the camera exposed; None where the file does not say.

    Attributes
    ----------
    seconds, aperture, iso : float or None
        Exposure time [s], f-number [-], sensitivity [-].
    """

    seconds: float | None = None
    aperture: float | None = None
    iso: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Picture:
    """A photo in memory.

    Attributes
    ----------
    path : Path
    codes : ndarray of uint8 or uint16, shape (height, width, 3)
        The right way up.
    alpha : ndarray of uint8, shape (height, width), or None
    space : Space
    kind : str
        "JPEG", "PNG" or "TIFF": how it is written again.
    orientation : int
        EXIF orientation of the file, 1 to 8.
    shot : Shot
    exif : Image.Exif
    icc : bytes
    options : dict
        For writing: density of pixels, quantisation of a JPEG.
    notes : tuple of str
    """

    path: Path
    codes: Codes
    alpha: NDArray[np.uint8] | None
    space: Space
    kind: str
    orientation: int
    shot: Shot
    exif: Image.Exif
    icc: bytes
    options: dict[str, Any] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    @property
    def size(self) -> tuple[int, int]:
        """Width and height, the right way up. [pixels]"""
        return self.codes.shape[1], self.codes.shape[0]


def read_picture(path: Path) -> Picture:
    """Decode a photo.

    Parameters
    ----------
    path : Path
        JPEG, PNG or TIFF with 8 or 16 bits a channel, or camera raw.

    Raises
    ------
    InsetError
        When it is missing, damaged, too large or too small, or of a kind that cannot
        be repainted.
    """
    if path.suffix.lower() in photo_open.RAW_ENDINGS:
        return _developed(path)
    _readable(path)
    with photo_open.opened(path) as picture:
        kind = _kind(picture, path)
        exif = _exif(picture)
        orientation = exif.get(ORIENTATION, 1)
        orientation = orientation if orientation in range(1, 9) else 1
        icc = picture.info.get("icc_profile") or b""
        options = _options(picture, kind)
        notes: tuple[str, ...] = ()
        if _deep(picture):
            codes, alpha = _deep_codes(path, picture, orientation), None
        else:
            codes, alpha, notes = _codes(picture, path)
        if alpha is not None and kind != "PNG":
            alpha = None
            notes = (*notes, f"the transparency of {path.name} is left out")
    return Picture(
        path=path,
        codes=codes,
        alpha=alpha,
        space=space_of(icc, bits=8 * codes.itemsize, name=path.name),
        kind=kind,
        orientation=orientation,
        shot=_shot(exif),
        exif=exif,
        icc=icc,
        options=options,
        notes=notes,
    )


def _readable(path: Path) -> None:
    """Refuse what no decoder needs to see."""
    try:
        size, folder = path.stat().st_size, path.is_dir()
    except (OSError, ValueError) as problem:
        reason = getattr(problem, "strerror", None) or problem
        raise InsetError(
            f'cannot read the photo "{path.name}": {reason}; check its name and its '
            f'folder "{path.parent}"'
        ) from None
    if folder or size == 0:
        what = "is a folder" if folder else "has 0 bytes"
        raise InsetError(f'asked for the photo "{path}", which {what}; name a picture')
    if path.suffix.lower() in photo_open.HEIF_ENDINGS:
        raise InsetError(
            f'"{path.name}" is in the HEIF format, which we cannot read; export it as '
            "JPEG, or as 16-bit PNG"
        )


def _kind(picture: Any, path: Path) -> str:
    """Tell how the photo can be written again, or why it cannot be used."""
    if min(picture.size) < SMALLEST:
        raise InsetError(
            f'the photo "{path.name}" has {picture.width} x {picture.height} pixels, '
            f"too few to hold an inset; use one of {SMALLEST} x {SMALLEST} at least"
        )
    if picture.format not in _FORMATS:
        raise InsetError(
            f'the photo "{path.name}" is a {picture.format} file; save it as JPEG, PNG '
            "or TIFF"
        )
    if picture.mode not in ("RGB", "RGBA", "L", "LA", "P", "PA"):
        raise InsetError(
            f'the photo "{path.name}" is not made of red, green and blue (mode '
            f"{picture.mode}); convert it to RGB with 8 or 16 bits, best as sRGB"
        )
    return _FORMATS[picture.format]


def _deep(picture: Any) -> bool:
    """Tell whether the file holds 16 bits a channel, of which Pillow keeps eight."""
    args = [t.args[0] if isinstance(t.args, tuple) else t.args for t in picture.tile]
    return any(str(raw)[:-1].endswith(";16") for raw in args)


def _deep_codes(path: Path, picture: Any, orientation: int) -> Codes:
    """Read all 16 bits; the file is decoded twice, for upper and lower bytes."""
    if picture.mode != "RGB":
        raise InsetError(
            f'the photo "{path.name}" has 16 bits and transparency; save it without '
            "transparency"
        )
    if picture.format == "TIFF":
        orientation = 1  # Pillow turns these upright by itself
    size = picture.size if orientation < 5 else picture.size[::-1]
    photo = photo_open.Photo(
        path=path, size=size, orientation=orientation, curve=np.empty((3, 0)), bits=16
    )
    (codes,) = photo_open.crops(photo, [(0, 0, *size)])
    return np.ascontiguousarray(codes, dtype=np.uint16)


def _codes(
    picture: Any, path: Path
) -> tuple[Codes, NDArray[np.uint8] | None, tuple[str, ...]]:
    picture.load()
    ImageOps.exif_transpose(picture, in_place=True)
    notes: tuple[str, ...] = ()
    clear = "A" in picture.mode or "transparency" in picture.info
    if picture.mode not in ("RGB", "RGBA"):
        notes = (f"{path.name} was made RGB: a glow needs colours",)
        picture = picture.convert("RGBA" if clear else "RGB")
    codes = np.asarray(picture)
    if codes.shape[-1] == 4:
        return np.ascontiguousarray(codes[..., :3]), codes[..., 3].copy(), notes
    return codes, None, notes


def _options(picture: Any, kind: str) -> dict[str, Any]:
    """Keep what belongs to the file: density, and the quality of a JPEG."""
    kept: dict[str, Any] = {}
    density = picture.info.get("dpi")
    if density and all(np.isfinite(float(d)) and 0 < float(d) < 65535 for d in density):
        kept["dpi"] = tuple(float(d) for d in density)
    if kind == "JPEG" and picture.mode == "RGB":
        kept["qtables"] = picture.quantization
        kept["subsampling"] = JpegImagePlugin.get_sampling(picture)
    return kept


def _exif(picture: Any) -> Image.Exif:
    """Copy the EXIF data, without the tags that lay out a TIFF.

    They are copied before the picture is decoded, because Pillow turns a TIFF upright
    then and forgets how it lay. A PNG without any must not be decoded in search of
    them.
    """
    kept = Image.Exif()
    if picture.format == "PNG" and "exif" not in picture.info:
        return kept
    found = picture.getexif()
    kept.update({tag: found[tag] for tag in found if tag not in LAYOUT | set(INNER)})
    for tag in INNER:
        inner = found.get_ifd(tag)
        if inner:
            kept.get_ifd(tag).update(inner)
    return kept


def _shot(exif: Image.Exif) -> Shot:
    inner = exif.get_ifd(EXIF)
    return Shot(**{name: _positive(inner.get(tag)) for name, tag in EXPOSURE.items()})


def _positive(value: Any) -> float | None:
    """Read an EXIF number, which may be a fraction, a tuple or nonsense."""
    value = value[0] if isinstance(value, tuple) and value else value
    try:
        number = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    return number if np.isfinite(number) and number > 0 else None


def _developed(path: Path) -> Picture:
    """Develop a camera raw file plainly: its own white, no brightening, 16 bits."""
    _readable(path)
    photo_raw.header(path)  # says what is missing, in one sentence
    rawpy = importlib.import_module("rawpy")
    try:
        with rawpy.imread(str(path)) as raw:
            codes = raw.postprocess(
                gamma=(2.4, 12.92),
                use_camera_wb=True,
                no_auto_bright=True,
                output_bps=16,
                output_color=rawpy.ColorSpace.sRGB,
            )
    except rawpy.LibRawError as problem:
        raise InsetError(
            f'cannot develop the raw file "{path.name}": {problem}; copy it from the '
            "camera again, or use a JPEG"
        ) from None
    return Picture(
        path=path,
        codes=np.ascontiguousarray(codes),
        alpha=None,
        space=space_of(b"", bits=16, name=path.name),
        kind="TIFF",
        orientation=1,
        shot=Shot(),
        exif=Image.Exif(),
        icc=b"",
        notes=(f"{path.name} was developed plainly and is written as 16-bit TIFF",),
    )
