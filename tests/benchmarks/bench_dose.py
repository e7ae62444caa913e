"""How long searches take, beside one import of colour-science; run by hand.

    python tests/benchmarks/bench_dose.py

Medians of interleaved runs. A dose over all generic resin bottles, every set of up to
three, should take about 2 s for a clear piece and 10 s for one that scatters; a reach
of 50 shares of light about 1 s. The import tells how busy the machine is: about 1.3 s
on a quiet one.
"""

import subprocess
import sys
import time
from functools import partial
from pathlib import Path

import numpy as np

from tintlab.colorimetry import spectrum_to_XYZ
from tintlab.glow import undyed
from tintlab.inset import read_inset
from tintlab.piece import piece_of
from tintlab.shelf import shelf_for
from tintlab.solve.dose import candidates, doses
from tintlab.solve.reach import reach
from tintlab.solve.trim import trim

HERE = Path(__file__).resolve()
CLEAR = HERE.with_name("clear.toml")
SCATTERING = HERE.parents[2] / "demo" / "tide-bell" / "tide-bell.toml"
LENS = HERE.parents[2] / "demo" / "tug-lights" / "tug-lights.toml"
RUNS = 3


def timed(job):
    """Seconds of one call. [s]"""
    start = time.perf_counter()
    job()
    return time.perf_counter() - start


def imported():
    """Import colour-science in a fresh interpreter."""
    command = [sys.executable, "-W", "ignore", "-c", "import colour"]
    subprocess.run(command, check=True, capture_output=True)


def jobs():
    """Name every job."""
    shelf = shelf_for()
    bottles = shelf.all("bottles")
    clear = read_inset(CLEAR, shelf)
    scattering = read_inset(SCATTERING, shelf_for(SCATTERING))
    some = candidates(clear, bottles)
    light = undyed(piece_of(scattering))
    power = light / spectrum_to_XYZ(light)[1]
    target = scattering.target.Lab
    yield "import colour", imported
    yield f"dose, clear, {len(some)} bottles", lambda: doses(clear, some)
    yield f"dose, scattering, {len(some)} bottles", lambda: doses(scattering, some)
    inks = shelf.all("inks")
    region = read_inset(LENS, shelf_for(LENS))
    for inset, words in ((scattering, "scattering"), (region, "region")):
        piece = piece_of(inset)
        for side in ("led", "viewer"):
            yield (
                f"trim, {words}, {side}, {len(inks)} inks",
                partial(trim, inset, piece, inks, sides=(side,)),
            )
    yield "reach, 50 shares, free", lambda: reach(power, target)
    yield "reach, 50 shares, match", lambda: reach(power, target, lightness="match")


if __name__ == "__main__":
    named = dict(jobs())
    times = {name: [] for name in named}
    for _ in range(RUNS):
        for name, job in named.items():
            times[name].append(timed(job))
    base = np.median(times["import colour"])
    for name, seconds in times.items():
        middle = float(np.median(seconds))
        print(f"{name:<32} {middle:6.2f} s   {middle / base:5.2f} imports")
