"""Render the photo of the tide bell's test chips, through a camera of its own.

The strengths that "tintlab chip learn" should find are hidden here, and nowhere else in
the demo. The camera is no member of the family that the learning reckons with: its
channels are Gaussians, its colour matrix is made up; the picture has vignetting, stray
light, noise, 8 bits and JPEG. A second picture is two stops darker. Run it by

    python demo/tide-bell/chips/make_chips.py [FOLDER]

Everything in this folder is invented.
"""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
from PIL import Image

from tintlab.chips.ladder import Ladder
from tintlab.chips.unknown import chip_inset
from tintlab.colourants import shape_of
from tintlab.document import read
from tintlab.errors import InsetError
from tintlab.glow import radiance, solve_piece, tint_depths, undyed
from tintlab.inset import read_layer
from tintlab.piece import piece_of
from tintlab.shelf import open_shelf
from tintlab.spectrum import WAVELENGTHS

HERE = Path(__file__).resolve().parent
HIDDEN = {"sea blue": 1.55, "straw": 0.70}  # true strength over that on the label
DROP = 1.12  # true mass of a drop over that on the label: 50 weigh 1.4 g
SHIFT = {"sea blue": 4.0, "straw": -2.0}  # of the bands in this resin [nm]
MISDOSED = {"blue 2": 1.03, "blue 4": 0.98, "straw 5": 0.98, "straw 9": 1.02}
STRAY = 0.008  # of the blank's light, everywhere
SEED = 1851

WIDTH, HEIGHT, SIDE = 1000, 300, 110  # [pixels]
ORDER = ("blank", "blue 2", "blue 4", "straw 5", "straw 9", "blank")
PEAKS, WIDTHS = (602.0, 538.0, 462.0), (82.0, 92.0, 62.0)  # [nm] red, green, blue
MATRIX = ((1.32, -0.28, -0.04), (-0.17, 1.36, -0.19), (0.02, -0.33, 1.31))


def camera():
    """Red, green and blue sensitivities after the camera's matrix, shape (3, 401)."""
    peak, width = np.array(PEAKS)[:, None], np.array(WIDTHS)[:, None]
    sensor = np.exp(-4 * np.log(2) * ((WAVELENGTHS - peak) / width) ** 2)
    return np.array(MATRIX) @ (sensor / sensor.sum(axis=1, keepdims=True))


def spectra():
    """Head-on light of the blank and of every chip of chips.toml, by name."""
    shelf = open_shelf(HERE.parent / "shelf")
    top = read(HERE / "chips.toml", error=InsetError)
    emitter = shelf.find("emitters", top.text("emitter"))
    ladder = Ladder(
        name="demo",
        path=HERE,
        emitter=emitter,
        under=shelf.find("diffusers", top.text("under")),
        chips=(),
    )
    found = {}
    for section in top.sections("chip"):
        name = section.text("name")
        table = {**top.table["body"], "dyes": section.table["dyes"], "kind": "cast"}
        layer = read_layer(replace(section, table=table, known=[]), shelf)
        piece = piece_of(chip_inset(ladder, layer))
        found["blank"] = emitter.power * undyed(piece)
        piece = replace(piece, tints=tuple(truth(t, name) for t in piece.tints))
        depths, filters = tint_depths(piece)
        lit = radiance(piece, solve_piece(piece, depths), filters)
        found[name] = emitter.power * lit
    return found


def truth(tint, chip):
    """Return a tint as it really is."""
    bottle = tint.colourant
    scale = HIDDEN[bottle.name] * DROP * MISDOSED[chip]
    return replace(
        tint,
        absorbance=tint.absorbance * scale,
        shape=shape_of(bottle, shift=SHIFT[bottle.name]),
    )


def scene(found):
    """Linear picture, the blank at 1 in every channel, shape (rows, columns, 3)."""
    seen = {name: camera() @ light for name, light in found.items()}
    picture = np.zeros((HEIGHT, WIDTH, 3))
    gap = (WIDTH - len(ORDER) * SIDE) // (len(ORDER) + 1)
    top = (HEIGHT - SIDE) // 2
    places = []
    for i, name in enumerate(ORDER):
        left = gap + i * (SIDE + gap)
        picture[top : top + SIDE, left : left + SIDE] = seen[name] / seen["blank"]
        places.append((name, left + SIDE // 2, top + SIDE // 2))
    row, column = np.mgrid[0:HEIGHT, 0:WIDTH]
    away = (column - WIDTH / 2) ** 2 + (row - HEIGHT / 2) ** 2
    fall = 1 - 0.12 * away / (WIDTH / 2) ** 2  # a lens's vignetting
    return (picture + STRAY) * fall[..., None], places


def develop(linear, exposure, random):
    """Expose, add noise, encode as sRGB (IEC 61966-2-1), round to 8 bits."""
    light = linear * exposure * (0.62, 0.70, 0.58)  # not quite balanced to white
    electrons = np.maximum(light, 0) * 12_000
    light = (electrons + random.normal(0, np.sqrt(electrons + 25))) / 12_000
    light = np.clip(light, 0, 1)
    low = light <= 0.0031308
    code = np.where(low, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.round(code * 255).astype(np.uint8)


def main(folder):
    """Write chips.jpg, chips-darker.jpg and marks.toml."""
    random = np.random.default_rng(SEED)
    linear, places = scene(spectra())
    for name, exposure, seconds in (
        ("chips", 1.0, 1 / 60),
        ("chips-darker", 0.25, 1 / 240),
    ):
        picture = Image.fromarray(develop(linear, exposure, random))
        exif = Image.Exif()
        exif[0x0110] = "invented camera"
        exif.get_ifd(0x8769).update(
            {0x829A: seconds, 0x829D: 4.0, 0x8827: 200, 0xA402: 1, 0xA403: 1}
        )
        picture.save(folder / f"{name}.jpg", quality=92, subsampling=0, exif=exif)
    lines = ["# centres of the patches in chips.jpg"]
    for name, x, y in places:
        lines += (
            ["", "[[blank]]"]
            if name == "blank"
            else ["", "[[chip]]", f'name = "{name}"']
        )
        lines += [f"at = [{x}, {y}]", "radius = 32"]
    text = "\n".join(lines) + "\n"
    (folder / "marks.toml").write_text(text, encoding="utf-8")
    print(f"wrote chips.jpg, chips-darker.jpg and marks.toml to {folder}")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
