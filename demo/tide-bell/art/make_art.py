"""Make the pictures of this folder: python demo/tide-bell/art/make_art.py

Everything is invented. `painting.jpg` is the designer's painting of the lit window,
with a burnt-out core and a halo on dark ground; its glow is CIELAB 62, -38, 4 by
construction. `card.jpg` is a bare "white 4100 K" LED on a white card. `chips.jpg`
shows a blank, a blue chip (light passed: 0.22, 0.61, 0.80) and a second blank over one
lit diffuser, with vignetting, noise and stray light around.
"""

from pathlib import Path

import numpy as np
from PIL import Image

from tintlab.colorimetry import Lab_to_XYZ, illuminant, spectrum_to_XYZ, tables

HERE = Path(__file__).parent
EXIF = 0x8769


def save(name, linear, *, seconds):
    """Add shot noise, encode by IEC 61966-2-1, write a JPEG with its exposure."""
    random = np.random.default_rng(1)
    x = linear + 0.01 * np.sqrt(np.maximum(linear, 1e-3)) * random.standard_normal(
        linear.shape
    )
    codes = np.searchsorted(tables().thresholds, np.clip(x, 0, 1))
    data = Image.Exif()
    data.get_ifd(EXIF).update(
        {0x829A: seconds, 0x829D: 2.0, 0x8827: 100, 0xA402: 1, 0xA403: 1}
    )
    picture = Image.fromarray(codes.astype(np.uint8))
    picture.save(HERE / name, quality=88, exif=data)
    print(f"wrote {name}")


def away(width, height, x, y):
    """Distance of every pixel from a point, shape (height, width, 1)."""
    rows, columns = np.mgrid[:height, :width]
    return np.hypot(columns - x, rows - y)[..., None]


def painting():
    """Paint a round window that is brightest in the middle."""
    glow = tables().XYZ_to_rgb @ Lab_to_XYZ([62, -38, 4])
    r = away(480, 360, 240, 180)
    window = 1 / (1 + np.exp((r - 100) / 4))  # soft edge
    brightness = 0.75 + 0.6 * np.exp(-((r / 60) ** 2))
    core = 2.5 * np.exp(-((r / 22) ** 2))
    ground = np.array([0.012, 0.010, 0.022])
    halo = 0.06 * np.exp(-((r / 130) ** 2))
    light = window * (brightness * glow + core) + halo * glow + ground
    save("painting.jpg", light, seconds=0.01)


def card():
    """Photograph a white card that a bare LED lights from above."""
    rgb = tables().XYZ_to_rgb @ spectrum_to_XYZ(illuminant("LED-B3"))
    light = 0.7 * rgb / rgb.max() * np.exp(-((away(400, 300, 200, 40) / 260) ** 2))
    save("card.jpg", light, seconds=0.02)


def chips():
    """Photograph blank, chip and blank over one diffuser."""
    blank, chip = np.array([0.72, 0.62, 0.50]), np.array([0.22, 0.61, 0.80])
    light = np.full((480, 1000, 3), 0.01)
    for x, passed in ((150, 1.0), (500, chip), (850, 1.0)):
        light[150:330, x - 90 : x + 90] = blank * passed
    fall = 1 - 0.12 * (away(1000, 480, 500, 240) / np.hypot(500, 240)) ** 2
    save("chips.jpg", light * fall + 0.002, seconds=0.02)


if __name__ == "__main__":
    painting()
    card()
    chips()
