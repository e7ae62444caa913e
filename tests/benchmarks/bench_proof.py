"""A photo proof against decoding and encoding the same photo, by hand:

    python tests/benchmarks/bench_proof.py [megapixels ...]

Each size runs in a process of its own, so that its peak memory is its own. The aim is
3 times plus 1 s and 1.2 GB at 12 megapixels; 50 must not fail.
"""

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from PIL import Image

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "demo/tide-bell"


def large_photo(megapixels, folder):
    """Scale the demo's photo up and give it the noise of a sensor."""
    width = round(1000 * np.sqrt(megapixels * 0.75))
    height = round(width / 0.75)
    with Image.open(DEMO / "prop.jpg") as small:
        photo = small.resize((width, height), Image.Resampling.BICUBIC)
    codes = np.asarray(photo, dtype=np.int16)
    noise = np.random.default_rng(1).normal(0, 3, (512, 512, 3)).astype(np.int16)
    tiles = (-(-height // 512), -(-width // 512), 1)
    codes = np.clip(codes + np.tile(noise, tiles)[:height, :width], 0, 255)
    Image.fromarray(codes.astype(np.uint8)).save(folder / "prop.jpg", quality=90)
    with Image.open(DEMO / "window.png") as small:
        small.resize((width, height)).save(folder / "mask.png")


def best(function, times=3):
    """Return the least time of a few. [s]"""
    found = []
    for _ in range(times):
        start = time.perf_counter()
        function()
        found.append(time.perf_counter() - start)
    return min(found)


def one(megapixels):
    """Print the ratio, the excess and the peak memory of one size."""
    from tintlab.inset import read_inset  # noqa: PLC0415
    from tintlab.proof.photo_proof import make  # noqa: PLC0415
    from tintlab.proof.photo_scene import Wish  # noqa: PLC0415
    from tintlab.shelf import shelf_for  # noqa: PLC0415

    file = DEMO / "tide-bell.toml"
    inset = read_inset(file, shelf_for(file))
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        subprocess.run(
            [sys.executable, __file__, "photo", megapixels, name], check=True
        )
        photo = folder / "prop.jpg"

        def plain():
            with Image.open(photo) as image:
                image.load()
                image.save(folder / "plain.jpg", qtables=image.quantization)

        def proof():
            make(
                inset,
                Wish(room=inset.room),
                photo=photo,
                marks=[str(folder / "mask.png")],
                where=folder,
            )

        proof_time, plain_time = best(proof), best(plain)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(
        f"{megapixels:>4} megapixels: decode and encode {plain_time:.2f} s, proof "
        f"{proof_time:.2f} s, {proof_time / (3 * plain_time + 1):.2f} of the limit "
        f"3x + 1 s; peak {peak:.2f} GB"
    )


if __name__ == "__main__":
    if sys.argv[1:2] == ["photo"]:
        large_photo(float(sys.argv[2]), Path(sys.argv[3]))
    elif sys.argv[1:2] == ["one"]:
        one(sys.argv[2])
    else:
        for size in sys.argv[1:] or ("12", "50"):
            subprocess.run([sys.executable, __file__, "one", size], check=True)
