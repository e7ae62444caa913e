"""The colours of a photo: from codes to linear light and back, in its own space.

A photo is taken as sRGB (IEC 61966-2-1), or in the space of the ICC profile that it
carries, when that is made of three tone curves and three primaries (ICC.1:2022). It
stays in its space, so that what is not repainted keeps its codes.
"""

import struct
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tintlab.chips.photo_tone import profile_curve, srgb_curve
from tintlab.colorimetry import tables
from tintlab.errors import InsetError

Array = NDArray[np.float64]
Codes = NDArray[Any]  # of uint8 or uint16
Linear = NDArray[np.float32]

PCS_WHITE = (0.9642, 1.0, 0.8249)  # D50 of the profile connection space, ICC.1:2022
BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)  # Lam 1985, as ICC.1:2022 annex E gives it
STEPS = {8: 2**16, 16: 2**22}  # steps of linear light in the table for encoding


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Space:
    """How the codes of a photo stand for light.

    Attributes
    ----------
    bits : int
        8 or 16.
    to_XYZ : ndarray, shape (3, 3)
        Linear red, green and blue to XYZ; white is D65 at Y = 1.
    decoded : ndarray, shape (3, 2**bits)
        Linear value of each code. [-]
    encoded : ndarray, shape (3, n)
        Code of each of n linear values, even between 0 and 1.
    """

    bits: int
    to_XYZ: Array
    decoded: Linear
    encoded: Codes

    def linear(self, codes: Codes, *, gain: float = 1.0) -> Linear:
        """Decode codes, shape (h, w, 3), to planes of linear light, (3, h, w)."""
        light = np.empty((3, *codes.shape[:2]), dtype=np.float32)
        for c in range(3):
            table = self.decoded[c] * np.float32(gain)
            np.take(table, codes[..., c], out=light[c], mode="clip")
        return light

    def codes(self, light: Linear, out: Codes) -> None:
        """Encode planes of linear light, which are spent, into codes.

        What is outside 0 to 1 is cut.
        """
        last = np.float32(self.encoded.shape[-1] - 1)
        for c in range(3):
            light[c] *= last
            light[c] += np.float32(0.5)
            places = light[c].astype(np.int32)
            out[..., c] = np.take(self.encoded[c], places, mode="clip")


def space_of(profile: bytes, *, bits: int, name: str) -> Space:
    """Read the colour space of a photo.

    Parameters
    ----------
    profile : bytes
        Its ICC profile; empty for sRGB.
    bits : int
        Of each channel.
    name : str
        Of the photo, for messages.

    Raises
    ------
    InsetError
        For a profile that is more than curves and primaries.
    """
    top = 2**bits - 1
    curve: Array | None = srgb_curve(top)
    to_XYZ: Array | None = tables().rgb_to_XYZ
    if profile:
        curve, to_XYZ = profile_curve(profile, top), _primaries(profile)
    if curve is None or to_XYZ is None or not (np.diff(curve) >= 0).all():
        raise InsetError(
            f'the photo "{name}" has a colour profile without plain tone curves and '
            "primaries; export it as sRGB"
        )
    return Space(
        bits=bits,
        to_XYZ=to_XYZ,
        decoded=curve.astype(np.float32),
        encoded=_encoded(curve, bits),
    )


def _encoded(curve: Array, bits: int) -> Codes:
    """Invert tone curves: the code whose light is nearest, on even steps of light."""
    last = STEPS[bits]
    codes = np.arange(2**bits, dtype=np.uint8 if bits == 8 else np.uint16)
    found: list[Codes] = []
    for light in curve:
        if found and np.array_equal(light, curve[0]):
            found.append(found[0])
            continue
        ends = np.ceil((light[1:] + light[:-1]) / 2 * last).astype(np.int64)
        found.append(np.repeat(codes, np.diff(ends, prepend=0, append=last + 1)))
    return np.stack(found)


def _primaries(profile: bytes) -> Array | None:
    """Return the matrix of a profile to XYZ with the white at D65, or None."""
    try:
        (count,) = struct.unpack_from(">I", profile, 128)
        tags = {}
        for i in range(min(count, 200)):
            key, start, _ = struct.unpack_from(">4sII", profile, 132 + 12 * i)
            tags[key] = start
        columns = [
            struct.unpack_from(">3i", profile, tags[key] + 8)
            for key in (b"rXYZ", b"gXYZ", b"bXYZ")
        ]
    except (struct.error, KeyError):
        return None
    matrix = np.array(columns, dtype=float).T / 65536
    cones = BRADFORD @ tables().white / (BRADFORD @ np.array(PCS_WHITE))
    matrix = np.linalg.inv(BRADFORD) @ (cones[:, None] * (BRADFORD @ matrix))
    if not np.allclose(matrix.sum(axis=1), tables().white, atol=0.02):
        return None
    return np.asarray(matrix)
