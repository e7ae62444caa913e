"""Writing a simulated picture: marked as such, whole or not at all.

JPEG and 8-bit PNG are written by Pillow. It has no 16-bit colour, so 16-bit PNG is put
together here from its chunks (ISO/IEC 15948) and TIFF from strips, which keeps the
EXIF data that other writers drop.
"""

import io
import os
import struct
import tempfile
import zlib
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont, PngImagePlugin, TiffImagePlugin

from tintlab.chips import photo_open
from tintlab.errors import InsetError
from tintlab.proof.photo_file import ENDINGS, INNER, ORIENTATION, Picture
from tintlab.proof.photo_space import Codes

MARK = "simulated by tintlab"
LABEL = "simulated"
DESCRIPTION, SOFTWARE = 0x010E, 0x0131  # TIFF 6.0 and EXIF 2.32
EXIF_LIMIT = 65000  # [bytes] that fit into the one segment of a JPEG
LABEL_HEIGHT, LEAST_LABEL = 0.022, 9  # of the shorter side; [pixels]
PACKING = 3  # of zlib: near the best size at a third of the time
GAP = 8  # [pixels] between the pictures of a pair
STRIP = 256  # [rows] of a TIFF strip
_BACK = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_90,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_270,
}
_ARRAY_TURNS = {6: 1, 3: 2, 8: 3}  # quarter turns to the left, likewise back


# -------------------------------------------------------------------- the label


def labelled(codes: Codes) -> Codes:
    """Write "simulated" into the lower right corner, in place; return the codes.

    A picture too small for readable letters gets none.
    """
    height, width = codes.shape[:2]
    size = max(round(LABEL_HEIGHT * min(width, height)), LEAST_LABEL)
    letters = _letters(size)
    rows, columns = letters.shape
    if rows > height // 2 or columns > width // 2:
        return codes
    top = np.iinfo(codes.dtype).max
    part = codes[height - rows :, width - columns :]
    cover = letters[..., None].astype(np.float32) / 255
    part[...] = (0.45 * (1 - cover) * part + cover * 0.92 * top).astype(codes.dtype)
    return codes


def _letters(size: int) -> NDArray[np.uint8]:
    font = ImageFont.load_default(size)
    left, top, right, bottom = (int(v) for v in font.getbbox(LABEL))
    pad = max(size // 3, 2)
    plate = Image.new("L", (right - left + 2 * pad, bottom - top + 2 * pad))
    ImageDraw.Draw(plate).text((pad - left, pad - top), LABEL, fill=255, font=font)
    return np.asarray(plate)


# --------------------------------------------------------------------- the file


def encoded(codes: Codes, picture: Picture, *, note: str) -> bytes:
    """Encode a simulated picture as the photo was: kind, depth, turn, metadata.

    Parameters
    ----------
    codes : ndarray, shape (height, width, 3)
        The right way up; put back into the orientation of the file.
    picture : Picture
    note : str
        What was simulated; stands in the metadata behind the mark.
    """
    stored = _turned_back(codes, picture.orientation)
    text = f"{MARK}: {note}"
    exif = _marked(picture.exif, text)
    if picture.kind == "TIFF":
        return _tiff(stored, exif, text, picture)
    if picture.kind == "PNG":
        return _png(stored, exif, text, picture)
    file = io.BytesIO()
    options = {"quality": 92, **picture.options}
    if "qtables" in options:
        del options["quality"]
    Image.fromarray(stored).save(
        file, "JPEG", exif=exif, icc_profile=picture.icc or None, **options
    )
    return file.getvalue()


def _turned_back(codes: Codes, orientation: int) -> Codes:
    """Undo the turn of the EXIF orientation."""
    if orientation == 1:
        return codes
    if codes.dtype == np.uint8:
        turned = Image.fromarray(codes).transpose(_BACK[orientation])
        return np.asarray(turned)
    turns = {2: 0, 3: 2, 4: 2, 5: 1, 6: 1, 7: 1, 8: 3}[orientation]
    mirrored = {2: codes[:, ::-1], 4: codes[:, ::-1], 5: codes[:, ::-1]}
    mirrored[7] = codes[::-1]
    return np.ascontiguousarray(np.rot90(mirrored.get(orientation, codes), turns))


def _marked(exif: Image.Exif, text: str) -> bytes:
    """Add the mark to EXIF data; data that cannot be written again are left out."""
    kept = Image.Exif()
    try:
        kept.load(exif.tobytes())
        content = _exif_bytes(kept, exif, text)
        if len(content) <= EXIF_LIMIT:
            return content
    except (ValueError, TypeError, OSError, struct.error, OverflowError, SyntaxError):
        pass
    return _exif_bytes(Image.Exif(), exif, text)


def _exif_bytes(kept: Image.Exif, original: Image.Exif, text: str) -> bytes:
    earlier = str(original.get(DESCRIPTION, "")).strip("\x00 ")
    kept[DESCRIPTION] = f"{text}; {earlier}" if earlier else text
    kept[SOFTWARE] = MARK
    if ORIENTATION in original:
        kept[ORIENTATION] = original[ORIENTATION]
    return kept.tobytes()


def _png(codes: Codes, exif: bytes, text: str, picture: Picture) -> bytes:
    if codes.dtype == np.uint8:
        file, words = io.BytesIO(), PngImagePlugin.PngInfo()
        words.add_text("Description", text)
        words.add_text("Software", MARK)
        image = Image.fromarray(codes)
        if picture.alpha is not None:
            alpha = np.asarray(_turned_back(picture.alpha, picture.orientation))
            image.putalpha(Image.fromarray(alpha))
        image.save(
            file, "PNG", pnginfo=words, exif=exif, compress_level=PACKING,
            icc_profile=picture.icc or None, **picture.options,
        )  # fmt: skip
        return file.getvalue()
    height, width = codes.shape[:2]
    profile = b"photo\0\0" + zlib.compress(picture.icc) if picture.icc else b""
    return b"".join(
        [
            b"\x89PNG\r\n\x1a\n",
            _chunk(b"IHDR", struct.pack(">2I5B", width, height, 16, 2, 0, 0, 0)),
            _chunk(b"iCCP", profile) if profile else b"",
            _chunk(b"tEXt", b"Description\0" + text.encode("latin-1", "replace")),
            _chunk(b"tEXt", b"Software\0" + MARK.encode("latin-1")),
            _chunk(b"eXIf", exif.removeprefix(b"Exif\0\0")),
            *(_chunk(b"IDAT", part) for part in _packed_rows(codes)),
            _chunk(b"IEND", b""),
        ]
    )


def _chunk(name: bytes, content: bytes) -> bytes:
    check = zlib.crc32(name + content)
    return struct.pack(">I", len(content)) + name + content + struct.pack(">I", check)


def _packed_rows(codes: Codes) -> Iterable[bytes]:
    """Filter rows by type 2, "up", and pack them (ISO/IEC 15948, clause 9.2)."""
    packer = zlib.compressobj(PACKING)
    above = np.zeros((1, codes.shape[1] * 6), dtype=np.uint8)
    for start in range(0, codes.shape[0], STRIP):
        rows = codes[start : start + STRIP].astype(">u2")
        rows = rows.reshape(rows.shape[0], -1).view(np.uint8)
        up = rows - np.concatenate([above, rows[:-1]])
        above = rows[-1:]
        filtered = np.insert(up, 0, 2, axis=1)
        yield packer.compress(filtered.tobytes())
    yield packer.flush()


def _tiff(codes: Codes, exif: bytes, text: str, picture: Picture) -> bytes:
    """Write deflated strips (TIFF 6.0 and its supplement 2) behind one directory."""
    height, width = codes.shape[:2]
    strips = [
        zlib.compress(codes[top : top + STRIP].astype(codes.dtype).tobytes(), PACKING)
        for top in range(0, height, STRIP)
    ]
    sizes = [len(strip) for strip in strips]
    known = Image.Exif()
    known.load(exif)
    inner = {tag: dict(known.get_ifd(tag)) for tag in INNER}
    tags: dict[int, Any] = {
        **{tag: known[tag] for tag in known if tag not in INNER},
        **{tag: values for tag, values in inner.items() if values},
        DESCRIPTION: text,
        256: width,
        257: height,
        258: (8 * codes.itemsize,) * 3,
        259: 8,  # Deflate
        262: 2,  # RGB
        273: tuple(int(v) for v in np.cumsum([0, *sizes[:-1]])),
        277: 3,
        278: STRIP,
        279: tuple(sizes),
        284: 1,  # interleaved
    }
    if picture.icc:
        tags[34675] = picture.icc
    directory = TiffImagePlugin.ImageFileDirectory_v2(b"II*\0\0\0\0\0")
    for tag, value in tags.items():
        directory[tag] = value
    file = io.BytesIO()
    directory.save(file)
    return file.getvalue() + b"".join(strips)


def pair_kind(path: Path) -> str:
    """Return how a pair is encoded, by the ending of its name.

    Raises
    ------
    InsetError
        For an ending that is neither PNG nor JPEG.
    """
    kind = {".png": "PNG", ".jpg": "JPEG", ".jpeg": "JPEG"}.get(path.suffix.lower())
    if kind is None:
        raise InsetError(
            f'asked for the pair "{path.name}"; choose a name that ends in .png or .jpg'
        )
    return kind


def encoded_pair(pair: Sequence[Codes], path: Path) -> bytes:
    """Encode small pictures side by side, by the ending of a name.

    Raises
    ------
    InsetError
        As `pair_kind`.
    """
    kind = pair_kind(path)
    joined = np.concatenate(
        [
            np.pad(codes, ((0, 0), (GAP * (i > 0), 0), (0, 0)))
            for i, codes in enumerate(pair)
        ],
        axis=1,
    )
    exif, words = Image.Exif(), PngImagePlugin.PngInfo()
    exif[DESCRIPTION] = exif[SOFTWARE] = MARK
    words.add_text("Description", MARK)
    options = {"pnginfo": words} if kind == "PNG" else {"quality": 88}
    file = io.BytesIO()
    Image.fromarray(joined).save(file, kind, exif=exif.tobytes(), **options)
    return file.getvalue()


# ------------------------------------------------------------------ where it goes


def target_names(where: Path | None, picture: Picture) -> tuple[Path, Path]:
    """Name the eye and the phone version: in a folder, or by a name.

    Raises
    ------
    InsetError
        When the folder is not there.
    """
    folder, stem = picture.path.parent, picture.path.stem
    if where is not None:
        if where.is_dir():
            folder = where
        else:
            known = where.suffix.lower() in (".jpg", ".jpeg", ".png", ".tif", ".tiff")
            folder, stem = where.parent, where.stem if known else where.name
    if not folder.is_dir():
        raise InsetError(
            f'asked to write into the folder "{folder}", which does not exist; make it '
            "first"
        )
    ending = ENDINGS[picture.kind]
    if picture.path.suffix.lower() in (".jpeg", ".tiff"):
        ending = picture.path.suffix.lower()
    return folder / f"{stem}-eye{ending}", folder / f"{stem}-phone{ending}"


def check_targets(targets: Sequence[Path], inputs: Sequence[Path]) -> None:
    """Refuse to write over what was read, or over a picture that is not ours.

    Raises
    ------
    InsetError
    """
    for target in targets:
        if not target.exists():
            continue
        if any(one.exists() and target.samefile(one) for one in inputs):
            raise InsetError(
                f'writing "{target}" would destroy a file that is read; choose another '
                "name"
            )
        if not is_ours(target):
            raise InsetError(
                f'"{target}" is there already and is no simulated picture; choose '
                "another name, or move it away"
            )


def is_ours(path: Path) -> bool:
    """Tell whether a picture says that it was simulated."""
    try:
        with photo_open.opened(path) as picture:
            words = [str(value) for value in picture.info.values()]
            if "exif" in picture.info or picture.format == "TIFF":
                words.append(str(picture.getexif().get(DESCRIPTION, "")))
    except InsetError:
        return False
    return any(MARK in text for text in words)


def write_all(contents: dict[Path, bytes]) -> None:
    """Write files beside their places and move all there, or none.

    Raises
    ------
    InsetError
        When a folder cannot be written to.
    """
    waiting: dict[Path, str] = {}
    try:
        for path, content in contents.items():
            handle, name = tempfile.mkstemp(dir=path.parent, prefix=".", suffix=".part")
            waiting[path] = name
            with os.fdopen(handle, "wb") as file:
                file.write(content)
        for path, name in waiting.items():
            Path(name).chmod(0o666 & ~_umask())
            Path(name).replace(path)
    except OSError as problem:
        raise InsetError(
            f'cannot write "{path.name}" into "{path.parent}": {problem.strerror}; '
            "choose another folder"
        ) from None
    finally:
        for name in waiting.values():
            Path(name).unlink(missing_ok=True)


def _umask() -> int:
    mask = os.umask(0o077)
    os.umask(mask)
    return mask
