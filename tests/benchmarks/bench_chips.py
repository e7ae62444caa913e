"""Calibration over 200 simulated ladders, and how long learning takes; run by hand.

    python tests/benchmarks/bench_chips.py

The share of truths inside the 90 % interval should be 0.85 to 0.95, for cameras of the
family, for single members of it, and for a camera outside it.
"""

import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

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
    start = time.perf_counter()
    command = [sys.executable, "-m", "tintlab", "chip", "learn"]
    subprocess.run(
        [*command, str(DEMO / "chips" / "chips.toml")], check=True, capture_output=True
    )
    print(f"read and learn the demo, cold: {time.perf_counter() - start:.1f} s")


if __name__ == "__main__":
    main()
