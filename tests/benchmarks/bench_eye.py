"""The eye on a 12-megapixel picture against one JPEG of that size; run by hand.

    python tests/benchmarks/bench_eye.py

Ratios to the time in which Pillow encodes and decodes the same picture. 5 % of the
pixels are brighter than white and too vivid, as a lit inset is.
"""

import io
import time

import numpy as np
from PIL import Image

from tintlab.colorimetry import illuminant, spectrum_to_XYZ, tables
from tintlab.proof import eye

HEIGHT, WIDTH = 3000, 4000


def seconds(work, times=2):
    """Best time of a few."""
    found = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        found.append(time.perf_counter() - start)
    return min(found)


def picture():
    """Soft noise in sRGB with a bright window, as XYZ."""
    random = np.random.default_rng(1)
    rgb = random.random((HEIGHT, WIDTH, 3), dtype=np.float32)
    rgb[1000:1800, 1000:1750] = (-0.1, 6.0, 2.0)
    return rgb @ tables().rgb_to_XYZ.T.astype("f4")


def jpeg(codes):
    """Encode and decode once."""
    file = io.BytesIO()
    Image.fromarray(codes).save(file, "JPEG", quality=92)
    Image.open(file).load()


if __name__ == "__main__":
    XYZ = picture()
    codes = (eye.to_display(XYZ, white_luminance=1.0) * 255).astype(np.uint8)
    unit = seconds(lambda: jpeg(codes))
    warm = spectrum_to_XYZ(illuminant("A"))
    for name, work in {
        "adapt": lambda: eye.adapt(XYZ, white_from=warm, white_to=tables().white),
        "bloom": lambda: eye.bloom(XYZ, degrees_per_pixel=0.015),
        "to_display": lambda: eye.to_display(XYZ, white_luminance=1.0),
        "to_display, with a shoulder": lambda: eye.to_display(
            XYZ, white_luminance=1.0, brightest=6.0
        ),
    }.items():
        print(f"{name:<28} {seconds(work) / unit:5.2f} x one JPEG")
