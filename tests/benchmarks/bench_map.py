"""How long the glow over the face takes, against one look: run by hand.

    python tests/benchmarks/bench_map.py

40 x 60 mm at 1 mm, six LEDs: a map and the evenness should each cost less than 5
looks, a remedy less than 30.
"""

import time
from dataclasses import replace
from pathlib import Path

from tintlab.glow import look
from tintlab.inset import read_inset
from tintlab.proof.face import face_map, xyz_responses
from tintlab.proof.map_even import evenness_of, remedy_of
from tintlab.shelf import shelf_for

DEMO = Path(__file__).resolve().parents[2] / "demo" / "tide-bell" / "tide-bell.toml"


def best(action, times=5):
    """Shortest of some runs. [s]"""
    found = []
    for _ in range(times):
        start = time.perf_counter()
        action()
        found.append(time.perf_counter() - start)
    return min(found)


def main():
    """Print one line a stack."""
    scattering = read_inset(DEMO, shelf_for(DEMO))
    cast = scattering.layers[-1]
    clear = replace(scattering, layers=(cast,))
    for name, inset in (("scattering", scattering), ("clear", clear)):
        once = best(lambda inset=inset: look(inset))
        map_ = best(
            lambda inset=inset: face_map(inset, responses=xyz_responses(), spacing=1.0)
        )
        even = best(lambda inset=inset: evenness_of(inset))
        remedy = best(lambda inset=inset: remedy_of(inset), times=2)
        print(
            f"{name:<11} look {once * 1e3:.0f} ms; map {map_ / once:.1f} looks, "
            f"evenness {even / once:.1f}, remedy {remedy / once:.1f}"
        )


if __name__ == "__main__":
    main()
