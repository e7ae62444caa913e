"""Time the search over ink coats against bare matrix products and single calls.

Run by hand: python tests/benchmarks/bench_combine.py [--four]. Everything is a ratio
within one run, from medians of repeats. The catalogue is synthetic: seeded Gaussian
absorbance bands, A(n) = A(1) (1 + 0.8 (n - 1)).
"""

import resource
import sys
import time
from functools import partial

import colour
import numpy as np

from tintlab.colorimetry import illuminant, tables
from tintlab.solve.combine import combine
from tintlab.spectrum import WAVELENGTHS

INKS, COATS, REPEATS, CALLS = 40, 6, 5, 300
CASES = [
    ("free", [62, -38, 4], "LED-B3"),
    ("free", [50, 60, 30], "LED-B3"),
    ("free", [40, 20, -60], "LED-B3"),
    ("free", [80, 5, 60], "LED-B1"),
    ("free", [60, 0, 0], "LED-RGB1"),
    ("free", [30, -10, 20], "LED-B5"),
    ("match", [62, -38, 4], "LED-B3"),
    ("match", [50, 60, 30], "LED-B3"),
    ("match", [40, 20, -60], "LED-B3"),
    ("match", [80, 5, 60], "LED-B1"),
    ("match", [60, 0, 0], "LED-RGB1"),
    ("match", [30, -10, 20], "LED-B5"),
]


def catalogue(seed=0):
    rng = np.random.default_rng(seed)
    absorbance = np.zeros((INKS, WAVELENGTHS.size))
    for ink in range(INKS):
        for _ in range(rng.integers(1, 3)):
            peak, width = rng.uniform(400, 680), rng.uniform(20, 60)
            band = np.exp(-0.5 * ((WAVELENGTHS - peak) / width) ** 2)
            absorbance[ink] += rng.uniform(0.1, 1.2) * band
        absorbance[ink] += rng.uniform(0, 0.03)
    coats = (1 + 0.8 * np.arange(COATS))[:, None]
    return 10 ** (-absorbance[:, None] * coats)


def light(key):
    power = illuminant(key)
    return power / (power @ tables().observer[:, 1])


def timed(*calls):
    """Time calls in turn, so that a busy machine is busy for all of them."""
    times = []
    for _ in range(REPEATS):
        stamps = [time.perf_counter()]
        for call in calls:
            call()
            stamps.append(time.perf_counter())
        times.append(np.diff(stamps))
    return np.median(times, axis=0)


def bare_products(heads, tails):
    """Do the matrix products of all triples: X, Y, Z of pairs times singles."""
    for middle in range(1, INKS - 1):
        pairs = middle * COATS**2
        tails[:, (middle + 1) * COATS :] @ heads[:pairs].T


def single_calls(power, films, target, calls):
    """Score that many triples one at a time with colour-science."""
    rng = np.random.default_rng(1)
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy()
    observer = observer.align(colour.SpectralShape(380, 780, 1))
    white = colour.XYZ_to_xy(tables().white)
    for _ in range(calls):
        ink, coat = rng.permutation(INKS)[:3], rng.integers(0, COATS, 3)
        glow = colour.SpectralDistribution(
            power * films[ink, coat].prod(axis=0), WAVELENGTHS
        )
        XYZ = colour.sd_to_XYZ(glow, observer, method="Integration")
        Lab = colour.XYZ_to_Lab(XYZ / XYZ[1] * 0.3, white)
        colour.delta_E(Lab, target, method="CIE 2000")


def main():
    films, rng = catalogue(), np.random.default_rng(2)
    heads = rng.random(((INKS - 2) * COATS**2, WAVELENGTHS.size))
    tails = rng.random((3, INKS * COATS, WAVELENGTHS.size))
    short = heads.astype(np.float32), tails.astype(np.float32)
    combine(light("LED-B3"), films[:3], [50, 10, 10])
    for lightness, target, key in CASES:
        power = light(key)
        ask = partial(combine, power, films, target, lightness=lightness)
        answer = ask()
        search, double, single, calls = timed(
            ask,
            partial(bare_products, heads, tails),
            partial(bare_products, *short),
            partial(single_calls, power, films, target, CALLS),
        )
        one = calls / CALLS
        print(
            f"{lightness:5} {target!s:14} {key:8}: {search:.3f} s, "
            f"{search / double:.1f} x products (float64), "
            f"{search / single:.1f} x (float32), "
            f"{one * answer.total / search:,.0f} x faster than calls; "
            f"front {len(answer.front)}; {answer.proof}"
        )
    if "--four" in sys.argv:
        for lightness, target, key in (CASES[0], CASES[2], CASES[8]):
            start = time.perf_counter()
            answer = combine(
                light(key), films, target, most_inks=4, lightness=lightness
            )
            seconds = time.perf_counter() - start
            print(f"4 inks {lightness} {target}: {seconds:.1f} s; {answer.proof}")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"peak memory of the process: {peak:,.0f} MB")


if __name__ == "__main__":
    main()
