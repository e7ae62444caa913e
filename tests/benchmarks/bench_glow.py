"""How long a prediction takes, as ratios within one run; run by hand.

    python tests/benchmarks/bench_glow.py

Medians of interleaved runs. Help must cost less than twice a bare click; a clear stack
from a cold start at most half of importing colour-science (a quarter is the aim); ten
thousand clear stacks at once at least 100 times less each than colour-science calls.
"""

import subprocess
import sys
import time
from pathlib import Path

import colour
import numpy as np

from tintlab.colorimetry import XYZ_to_Lab, delta_e_2000, illuminant, spectrum_to_XYZ
from tintlab.optics import Slab, fluxes
from tintlab.spectrum import WAVELENGTHS

DEMO = Path(__file__).resolve().parents[2] / "demo"
RUNS = 9


def started(*words):
    """Seconds of a fresh interpreter. [s]"""
    start = time.perf_counter()
    subprocess.run([sys.executable, *words], check=True, capture_output=True)
    return time.perf_counter() - start


def medians(**jobs):
    """Median time of each job, the jobs taking turns. [s]"""
    times = {name: [] for name in jobs}
    for job in jobs.values():
        job()
    for _ in range(RUNS):
        for name, job in jobs.items():
            start = time.perf_counter()
            job()
            times[name].append(time.perf_counter() - start)
    return {name: float(np.median(values)) for name, values in times.items()}


def cold_starts(file):
    """Compare the commands with what they must not cost."""
    found = medians(
        click=lambda: started("-c", "import click"),
        help=lambda: started("-m", "tintlab", "--help"),
        glow=lambda: started("-m", "tintlab", "glow", str(file), "--json"),
        library=lambda: started("-W", "ignore", "-c", "import colour"),
    )
    print(f"help / click            {found['help'] / found['click']:.2f}  (below 2)")
    print(f"help                    {found['help'] * 1e3:.0f} ms  (below 350)")
    print(
        f"glow / import colour    {found['glow'] / found['library']:.2f}"
        "  (at most 0.5, aim 0.25)"
    )


def many_stacks():
    """Compare 10,000 dyed clear stacks with a loop of colour-science calls."""
    random = np.random.default_rng(1)
    depths = random.uniform(0, 3, (10_000, 1)) * np.exp(
        -(((WAVELENGTHS - 600) / 60) ** 2)
    )
    light, white = illuminant("LED-B3"), np.array([60.0, -20, 10])

    def ours():
        passed = fluxes([Slab(index=1.5, absorbed=depths)]).transmittance
        XYZ = spectrum_to_XYZ(light * passed)
        return delta_e_2000(XYZ_to_Lab(XYZ / XYZ[0, 1]), white)

    R = (0.5 / 2.5) ** 2

    def theirs():
        # new depths every time: the library keeps the answers to old questions
        for depth in depths[:50] * random.uniform(0.9, 1.1):
            t = np.exp(-depth)
            T = (1 - R) ** 2 * t / (1 - R**2 * t**2)
            sd = colour.SpectralDistribution(light * T, WAVELENGTHS)
            XYZ = colour.sd_to_XYZ(sd)
            colour.delta_E(colour.XYZ_to_Lab(XYZ / 100), white)

    found = medians(ours=ours, theirs=theirs)
    ratio = found["theirs"] / 50 / (found["ours"] / len(depths))
    print(f"10,000 clear stacks     {found['ours'] * 1e3:.0f} ms, {ratio:.0f} x faster")


if __name__ == "__main__":
    many_stacks()
    for name in ("clear", "tug-lights/tug-lights", "tide-bell/tide-bell"):
        if name == "clear":
            file = Path(__file__).with_name("clear.toml")
        else:
            file = DEMO / f"{name}.toml"
        print(file.name)
        cold_starts(file)
