"""Chips files for the tests, and readings of them by code that is not the package's."""

from dataclasses import replace
from pathlib import Path

import numpy as np

from tintlab.chips.camera import GRID, Family
from tintlab.chips.ladder_file import LEAST, read_ladder
from tintlab.chips.model import model_of, predicted
from tintlab.shelf import open_shelf
from tintlab.spectrum import WAVELENGTHS

DEMO = Path(__file__).resolve().parents[2] / "demo" / "tide-bell"

BLUE = """
name = "blue chips"
emitter = "white 4100 K"
[camera]
checked = true
[body]
medium = "epoxy"
thickness = "3 mm"
batch = "20 g"
[[chip]]
name = "one"
dyes = [{ bottle = "sea blue", dose = "2 drops" }]
ratio = [0.5, 0.5, 0.5]
[[chip]]
name = "two"
dyes = [{ bottle = "sea blue", dose = "5 drops" }]
ratio = [0.5, 0.5, 0.5]
"""


def ladder_of(folder, text=BLUE, shelf=None):
    """Read a chips file from text; the demo's shelf unless another is given."""
    path = Path(folder) / "chips.toml"
    path.write_text(text, encoding="utf-8")
    return read_ladder(path, shelf or open_shelf(DEMO / "shelf"))


def sensitivities(wavelengths=WAVELENGTHS):
    """A camera that is no member of the family: Gaussians and a made-up matrix."""
    peaks, widths = np.array([[605.0], [535], [460]]), np.array([[70.0], [85], [55]])
    sensor = np.exp(-4 * np.log(2) * ((wavelengths - peaks) / widths) ** 2)
    matrix = np.array([[1.4, -0.35, -0.05], [-0.2, 1.4, -0.2], [0, -0.3, 1.3]])
    return matrix @ (sensor / sensor.sum(axis=1, keepdims=True))


def outside():
    """The same camera as a family of one."""
    return Family(mean=sensitivities(GRID), directions=np.zeros((10, 3, GRID.size)))


def with_values(ladder, model, values):
    """Put readings, one for each of `model.value`, into a ladder's sights."""
    chips = []
    for number, chip in enumerate(ladder.chips):
        value = np.zeros_like(chip.sight.value)
        usable = np.zeros(value.size, dtype=bool)
        for v, c in zip(
            values[model.owner == number],
            model.channel[model.owner == number],
            strict=True,
        ):
            i = int(c) % 3 if chip.sight.kind != "colour" else int(c) - 4
            value[i], usable[i] = v, v > LEAST
        sight = replace(chip.sight, value=value, usable=usable)
        chips.append(replace(chip, sight=sight))
    return replace(ladder, chips=tuple(chips))


def simulated(model, random, *, family=None, z=None):
    """Draw a truth and noisy readings of it: z and the ladder."""
    if z is None:
        z = random.standard_normal(len(model.unknowns))
    real = model if family is None else replace(model, family=family)
    read = predicted(real, z[None])[0]
    read = read + model.sigma * random.standard_normal(read.size)
    return z, with_values(model.ladder, model, read)


def again(model, ladder):
    """The model of new readings of the same chips."""
    return model_of(ladder, base=model)
