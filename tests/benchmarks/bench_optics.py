"""How long the optics take, as ratios within one run; run by hand.

    python tests/benchmarks/bench_optics.py

Medians of interleaved runs. Three scattering layers, each with its eigenproblem, must
cost at most 1.5 times three bare layers and five batched linear solves of the same
shape; a clear slab at 401 wavelengths must take less than 2 ms.
"""

import time

import numpy as np

from tintlab.optics import Slab, solve
from tintlab.optics.layer import modes, operators
from tintlab.optics.operators import Material, Streams
from tintlab.optics.quadrature import gauss, radau

WAVELENGTHS = 401
RUNS = 25


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


def slabs():
    """Three scattering layers in contact, of one index, all dyed differently."""
    dye = np.linspace(0.1, 2.0, WAVELENGTHS)
    return [
        Slab(index=1.5, absorbed=dye, scattered=0.5, anisotropy=0.8),
        Slab(index=1.5, absorbed=dye[::-1], scattered=3.0, anisotropy=0.85),
        Slab(index=1.5, absorbed=0.1 * dye, scattered=5.0, anisotropy=0.6),
    ]


def ten_streams():
    """Cosines and weights of ten streams in a medium of index 1.5."""
    cosines, weights = radau(6)
    x, step = gauss(4)
    widest = np.sqrt(1 - 1 / 1.5**2)
    streams = Streams(
        invariants=np.concatenate([1 - cosines**2, 1.5**2 * (1 - (widest * x) ** 2)]),
        etendue=np.concatenate(
            [2 * cosines * weights, 2 * 1.5**2 * widest**2 * x * step]
        ),
    )
    return streams.inside(np.array([1.5]))


def bare(slab, cosines, weights):
    """One layer without faces."""
    flat = Material(
        index=slab.index.reshape(-1),
        absorbed=slab.absorbed,
        scattered=slab.scattered.reshape(-1),
        anisotropy=slab.anisotropy.reshape(-1),
    )
    layer = modes(
        cosines=cosines,
        weights=weights,
        albedo=flat.scattered / flat.depth,
        anisotropy=flat.anisotropy,
        moments=12,
    )
    return operators(layer, depth=flat.depth)


def main():
    """Print the ratios."""
    stack = slabs()
    cosines, weights = ten_streams()
    matrices = np.random.default_rng(0).random((WAVELENGTHS, 10, 10)) + 10 * np.eye(10)
    dye = np.linspace(0.1, 2.0, WAVELENGTHS)
    index = 1.48 + 0.02 * np.linspace(1, 0, WAVELENGTHS) ** 2
    clear = [Slab(index=1.5, absorbed=dye)]
    dispersed = [Slab(index=index, absorbed=dye)]
    cloudy = [Slab(index=index, absorbed=dye, scattered=3.0, anisotropy=0.85)]
    found = medians(
        stack=lambda: solve(stack, lights=("normal",)),
        parts=lambda: (
            [bare(slab, cosines, weights) for slab in stack],
            [np.linalg.solve(matrices, matrices) for _ in range(5)],
        ),
        layer=lambda: bare(stack[1], cosines, weights),
        single=lambda: solve(stack[1:2], lights=("normal",)),
        dispersed=lambda: solve(cloudy, lights=("normal",)),
        clear=lambda: solve(clear, lights=("normal",)),
        clear_dispersed=lambda: solve(dispersed, lights=("normal", "diffuse")),
    )
    each = 1e6 / WAVELENGTHS
    print(
        f"three layers in contact: {found['stack'] * 1e3:.1f} ms, "
        f"{found['stack'] / found['parts']:.2f} x three bare layers and five solves "
        "(at most 1.5)"
    )
    print(f"a bare layer: {found['layer'] * each:.1f} us per wavelength (aim 31)")
    print(f"a slab with faces: {found['single'] * each:.1f} us per wavelength")
    print(f"the same, index varying: {found['dispersed'] * each:.1f} us per wavelength")
    print(f"three layers, each: {found['stack'] * each / 3:.1f} us per wavelength")
    print(f"a clear slab: {found['clear'] * 1e3:.2f} ms (below 2)")
    print(f"clear, index varying, two lights: {found['clear_dispersed'] * 1e3:.2f} ms")


if __name__ == "__main__":
    main()
