"""Calibration over 200 simulated ladders, and how long learning takes: run by hand.

    python tests/benchmarks/bench_chips.py

The share of truths inside the 90 % interval should be 0.85 to 0.95, for cameras of the
family, for single members of it, and for a camera outside it.
"""

import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from PIL import Image

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "chips"))

from ladders import DEMO, again, ladder_of, outside, simulated  # noqa: E402

from tintlab.chips.camera import Family, member  # noqa: E402
from tintlab.chips.fit import fitted, interval  # noqa: E402
from tintlab.chips.learn import strength_weights  # noqa: E402
from tintlab.chips.model import model_of  # noqa: E402

LADDERS = 200


def coverage(model, random, draw):
    """Share inside the interval, median 5-95 % factor, seconds."""
    hits, widths, start = 0, [], time.perf_counter()
    for _ in range(LADDERS):
        z, ladder = simulated(model, random, family=draw())
        fit = fitted(again(model, ladder))
        weights, _ = strength_weights(fit, ladder.chips[0].layer.dosed[0].colourant)
        found = interval(fit, weights)
        hits += found.low <= weights @ z <= found.high
        widths.append((found.high - found.low) / 2)
    seconds = time.perf_counter() - start
    return hits / LADDERS, float(np.exp(np.median(widths))), seconds


def main():
    """Print one line a sort of camera, and the time of the demo."""
    random = np.random.default_rng(11)
    with tempfile.TemporaryDirectory() as folder:
        model = model_of(ladder_of(folder))
    none = np.zeros_like(model.family.directions)
    sorts = {
        "of the family": lambda: None,
        "one member": lambda: Family(mean=member(random, raw=False), directions=none),
        "outside it": outside,
    }
    for name, draw in sorts.items():
        share, factor, seconds = coverage(model, random, draw)
        told = f"{share:.3f} inside, factor {factor:.2f}, {seconds:.0f} s"
        print(f"camera {name:<14} {told}")
    with tempfile.TemporaryDirectory() as folder:
        twelve_megapixels(Path(folder))


def twelve_megapixels(folder):
    """Read and learn four patches of a 12-megapixel JPEG, cold, against two yardsticks.

    The demo's photo of 1000 x 300 pixels is enlarged to 4000 x 3000, and its marks with
    it; one photo, and the pair of two exposures.
    """
    shutil.copytree(DEMO, folder / "bell")
    chips = folder / "bell" / "chips"
    for name in ("chips.jpg", "chips-darker.jpg"):
        with Image.open(chips / name) as small:
            exif = small.getexif()
            large = small.resize((4000, 3000), Image.Resampling.BICUBIC)
        large.save(chips / name, quality=92, exif=exif)
    marks = (chips / "marks.toml").read_text(encoding="utf-8")
    marks = re.sub(
        r"at = \[(\d+), (\d+)\]",
        lambda found: f"at = [{int(found[1]) * 4}, {int(found[2]) * 10}]",
        marks.replace("radius = 32", "radius = 120"),
    )
    (chips / "marks.toml").write_text(marks, encoding="utf-8")
    pair = (chips / "chips.toml").read_text(encoding="utf-8")
    one = pair.replace('second = "chips-darker.jpg"', "")
    (chips / "one.toml").write_text(one, encoding="utf-8")
    learn = [sys.executable, "-m", "tintlab", "chip", "learn"]
    decode = "from PIL import Image; Image.open('chips.jpg').load()"
    jobs = {
        "import numpy, scipy, PIL": [
            sys.executable, "-c", "import numpy, scipy, PIL",
        ],
        "a plain decode": [sys.executable, "-c", decode],
        "read and learn, one photo": [*learn, "one.toml"],
        "read and learn, two photos": [*learn, "chips.toml"],
    }  # fmt: skip
    seconds = {name: [] for name in jobs}
    for _ in range(5):
        for name, command in jobs.items():
            start = time.perf_counter()
            subprocess.run(command, check=True, capture_output=True, cwd=chips)
            seconds[name].append(time.perf_counter() - start)
    base = np.median(seconds["import numpy, scipy, PIL"])
    for name, taken in seconds.items():
        middle = np.median(taken)
        print(f"{name:<27} {middle:.2f} s, {middle / base:.1f} times the imports")


if __name__ == "__main__":
    main()
