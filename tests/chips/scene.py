"""Photos of test chips, made by the tests: a second hand that only renders."""

import struct
import zlib
from fractions import Fraction

import numpy as np
from PIL import Image

EXIF, ORIENTATION, MAKE, MODEL = 0x8769, 0x0112, 0x010F, 0x0110


def encode(linear):
    """Encode light by the sRGB formula, IEC 61966-2-1, written out anew."""
    x = np.clip(linear, 0, 1)
    low = x <= 0.0031308
    return np.where(low, 12.92 * x, 1.055 * np.where(low, 1, x) ** (1 / 2.4) - 0.055)


def scene(patches, *, size=(600, 400), ground=0.02, half=25):
    """Draw square patches {(x, y): (r, g, b)} on a dark ground, shape (h, w, 3)."""
    light = np.full((size[1], size[0], 3), float(ground))
    for (x, y), rgb in patches.items():
        light[y - half : y + half, x - half : x + half] = rgb
    return light


def fall(size, amount):
    """Vignetting: 1 in the middle, 1 - amount in the corners, shape (h, w, 1)."""
    rows, columns = np.mgrid[: size[1], : size[0]]
    x, y = columns - size[0] / 2, rows - size[1] / 2
    return (1 - amount * (x**2 + y**2) / (size[0] ** 2 / 4 + size[1] ** 2 / 4))[
        ..., None
    ]


def expose(light, *, gain=1.0, tone=1.0, pedestal=0.0, noise=0.01, seed=1):
    """Turn light into the camera's linear value: exposure, shot noise, tone."""
    random = np.random.default_rng(seed)
    x = np.clip(light * gain + pedestal, 0, None)
    x = x + noise * np.sqrt(x + 0.002) * random.standard_normal(x.shape)
    return np.clip(x, 0, None) ** tone


def exif(*, seconds=None, iso=100, aperture=2.0, orientation=None, rendered=None):
    """Write EXIF data as a camera does."""
    data = Image.Exif()
    data[MAKE], data[MODEL] = "maker", "model"
    if orientation:
        data[ORIENTATION] = orientation
    inner = {}
    if seconds:
        inner = {0x829A: float(Fraction(seconds)), 0x829D: aperture, 0x8827: iso}
        inner |= {0xA402: 1, 0xA403: 1}  # manual exposure and white balance
    if rendered is not None:
        inner[0xA401] = rendered
    data.get_ifd(EXIF).update(inner)
    return data


def save(path, values, *, quality=92, data=None, icc=None, orientation=1):
    """Save linear values as an 8-bit sRGB picture."""
    codes = np.round(encode(values) * 255).astype(np.uint8)
    return save_codes(
        path, codes, quality=quality, data=data, icc=icc, orientation=orientation
    )


def save_codes(path, codes, *, quality=92, data=None, icc=None, orientation=1):
    if orientation > 1:
        codes = stored(codes, orientation)
    more = {"exif": data} if data is not None else {}
    if icc:
        more["icc_profile"] = icc
    more |= {"quality": quality} if path.suffix == ".jpg" else {"compress_level": 1}
    Image.fromarray(codes).save(path, **more)
    return path


def stored(codes, orientation):
    """Store upright codes so that EXIF orientation brings them back (EXIF 2.32)."""
    # which side the 0th row and the 0th column show, in the words of the standard
    back = {
        2: lambda a: a[:, ::-1],
        3: lambda a: a[::-1, ::-1],
        4: lambda a: a[::-1],
        5: lambda a: a.swapaxes(0, 1),
        6: lambda a: a.swapaxes(0, 1)[::-1],
        7: lambda a: a[::-1, ::-1].swapaxes(0, 1),
        8: lambda a: a.swapaxes(0, 1)[:, ::-1],
    }
    return np.ascontiguousarray(back[orientation](codes))


def png16(path, codes):
    """Write a 16-bit RGB PNG byte by byte (ISO/IEC 15948)."""

    def chunk(kind, body):
        crc = zlib.crc32(kind + body)
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", crc)

    height, width, _ = codes.shape
    rows = b"".join(b"\0" + row.astype(">u2").tobytes() for row in codes)
    path.write_bytes(
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 16, 2, 0, 0, 0))
        + chunk(b"IDAT", zlib.compress(rows, 1))
        + chunk(b"IEND", b"")
    )
    return path


def tiff16(path, codes, *, order="<", packed=False):
    """Write a 16-bit RGB TIFF byte by byte (TIFF 6.0), plain or deflated."""
    height, width, _ = codes.shape
    body = codes.astype(order + "u2").tobytes()
    body = zlib.compress(body) if packed else body
    start = 8 + 2 + 12 * 10 + 4
    entries = [
        *[(256, 4, 1, width), (257, 4, 1, height), (258, 3, 3, start)],
        *[(259, 3, 1, 8 if packed else 1), (262, 3, 1, 2), (273, 4, 1, start + 6)],
        *[(277, 3, 1, 3), (278, 4, 1, height), (279, 4, 1, len(body)), (284, 3, 1, 1)],
    ]
    text = (b"II" if order == "<" else b"MM") + struct.pack(order + "HI", 42, 8)
    text += struct.pack(order + "H", len(entries))
    for tag, kind, count, value in entries:
        word = "HxxI"[0:3] if kind == 3 and count == 1 else "I"
        text += struct.pack(order + "HHI" + word, tag, kind, count, value)
    text += struct.pack(order + "I", 0) + struct.pack(order + "HHH", 16, 16, 16)
    path.write_bytes(text + body)
    return path


def dng(path, counts, *, black=256, white=4095, orientation=1):
    """Write a one-strip DNG (Adobe DNG 1.4): 16-bit counts behind an RGGB mosaic."""
    height, width = counts.shape
    body = counts.astype("<u2").tobytes()
    text = b"maker\0", b"model\0"
    matrix = np.array([[3.24, -1.54, -0.5], [-0.97, 1.88, 0.04], [0.06, -0.2, 1.06]])
    rationals = [(round(v * 10000), 10000) for v in matrix.ravel()]
    entries = [
        *[(254, 4, [0]), (256, 4, [width]), (257, 4, [height]), (258, 3, [16])],
        *[(259, 3, [1]), (262, 3, [32803]), (271, 2, text[0]), (272, 2, text[1])],
        *[(273, 4, [0]), (274, 3, [orientation]), (277, 3, [1]), (278, 4, [height])],
        *[(279, 4, [len(body)]), (284, 3, [1]), (33421, 3, [2, 2])],
        *[(33422, 1, bytes([0, 1, 1, 2])), (50706, 1, bytes([1, 4, 0, 0]))],
        *[(50708, 2, b"maker model\0"), (50714, 3, [black]), (50717, 4, [white])],
        (50721, 10, rationals),
    ]
    start = 8 + 2 + 12 * len(entries) + 4
    extra, lines = b"", b""
    end = start + 12 + 8 * 9 + 64  # strip data come after everything else
    for tag, kind, values in entries:
        packed = {
            1: bytes,
            2: lambda v: v,
            3: lambda v: struct.pack(f"<{len(v)}H", *v),
            4: lambda v: struct.pack(f"<{len(v)}I", *v),
            10: lambda v: b"".join(struct.pack("<ii", *r) for r in v),
        }[kind]([end] if tag == 273 else values)
        at = packed.ljust(4, b"\0")
        if len(packed) > 4:
            at = struct.pack("<I", start + len(extra))
            extra += packed + b"\0" * (len(packed) % 2)
        lines += struct.pack("<HHI", tag, kind, len(values)) + at
    head = b"II" + struct.pack("<HIH", 42, 8, len(entries)) + lines + bytes(4)
    path.write_bytes((head + extra).ljust(end, b"\0") + body)
    return path


def mosaic(values, *, black=256, white=4095):
    """Sample linear values behind red-green / green-blue cells, as counts."""
    counts = values[..., 1].copy()
    counts[::2, ::2] = values[::2, ::2, 0]
    counts[1::2, 1::2] = values[1::2, 1::2, 2]
    return np.clip(np.round(black + counts * (white - black)), 0, white)
