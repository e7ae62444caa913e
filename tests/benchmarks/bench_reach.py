"""Time of a curve of 50 points, beside one sum over 200,000 filters; run by hand."""

from time import perf_counter

import numpy as np

from tintlab.colorimetry import XYZ_to_Lab, hex_to_XYZ, illuminant, spectrum_to_XYZ
from tintlab.solve.reach import limit, max_light, reach, smooth_estimate
from tintlab.spectrum import WAVELENGTHS

LIGHTS = {key: illuminant(key) for key in ("LED-B3", "LED-B1", "LED-RGB1")}
LIGHTS["465 nm"] = np.exp(-4 * np.log(2) * ((WAVELENGTHS - 465) / 24) ** 2)
LIGHTS["592 nm"] = np.exp(-4 * np.log(2) * ((WAVELENGTHS - 592) / 16) ** 2)
HEX = ("#1e90ff", "#ff0000", "#00c853", "#ffd600", "#7b1fa2", "#00ffff", "#ff8c00")


def seconds(work, *given):
    """Time one call."""
    start = perf_counter()
    work(*given)
    return perf_counter() - start


def main():
    """Print median and worst seconds, and ratios to the yardstick."""
    filters = np.random.default_rng(0).random((20_000, 401))
    yardstick = 10 * min(seconds(spectrum_to_XYZ, filters) for _ in range(5))
    print(f"yardstick, 200,000 spectra to XYZ: {yardstick:.3f} s")
    jobs = {
        "reach, free": reach,
        "reach, match": lambda power, Lab: reach(power, Lab, lightness="match"),
        "limit": lambda power, Lab: limit(power, Lab, light_kept=0.2),
        "smooth": lambda power, Lab: smooth_estimate(power, Lab, light_kept=0.2),
        "max_light": max_light,
    }
    for name, job in jobs.items():
        for key, power in LIGHTS.items():
            times = [seconds(job, power, XYZ_to_Lab(hex_to_XYZ(h))) for h in HEX]
            print(
                f"{name:13s} {key:9s} median {np.median(times):.3f} s, "
                f"worst {max(times):.3f} s, {np.median(times) / yardstick:.1f} x"
            )


if __name__ == "__main__":
    main()
