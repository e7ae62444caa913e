"""Make the picture of the prop: python demo/tug-lights/make_prop.py [scale]

The starboard side of the wheelhouse of a 1:24 harbour tug on a workbench, unlit:
planked cream walls, brass portholes, a green side-light box with a round lens of 6 mm.
Everything is invented. Leaves `prop.jpg` and `lens.png`, the mask that is white where
the lens is.
"""

import sys
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from props import (  # noqa: E402
    Scene,
    box,
    capsule,
    carve,
    cylinder,
    fractal,
    length,
    mixed,
    nearest,
    noise,
    paint,
    photograph,
    torus,
)

V = np.float32
PORTS = ((-2.55, 4.55), (2.35, 4.55))  # windows of the wheelhouse [cm]
LENS = (0.05, 2.05)  # where the side light hangs


def at(p, *where):
    """Points about another origin."""
    return p - np.array(where, V)


def parts(p):
    """Distances of everything, by name. The wall is the plane z = 0."""
    house = box(at(p, 0, 3.2, -4), (4.9, 3.9, 4.0), 0.25)
    for x, y in PORTS:
        house = carve(house, cylinder(at(p, x, y, 0), 0.95, 0.6, axis=2), 0.05)
    glass = np.full(len(p), 1e3, V)
    rims = np.full(len(p), 1e3, V)
    for x, y in PORTS:
        glass = np.minimum(glass, cylinder(at(p, x, y, -0.35), 0.97, 0.1, axis=2))
        rims = np.minimum(rims, torus(at(p, x, y, 0.04), 1.02, 0.14, axis=2))
        for k in range(6):
            a = np.radians(60 * k + 20)
            nail = at(p, x + 1.02 * np.cos(a), y + 1.02 * np.sin(a), 0.16)
            rims = np.minimum(rims, length(nail) - 0.07)
    roof = box(at(p, 0, 7.35, -3.7), (5.5, 0.28, 4.5), 0.22)
    deck = box(at(p, 0, -1.0, 0), (12, 0.35, 9), 0.1)
    rail = capsule(p, (-12, 1.35, 3.4), (12, 1.35, 3.4), 0.09)
    for x in (-7.2, -3.6, 3.9, 7.4):
        rail = np.minimum(rail, capsule(p, (x, -0.8, 3.4), (x, 1.35, 3.4), 0.075))
    hand = capsule(p, (-4.3, 3.05, 0.38), (-1.75, 3.05, 0.38), 0.07)
    for x in (-4.1, -1.95):
        hand = np.minimum(hand, capsule(p, (x, 3.05, 0), (x, 3.05, 0.38), 0.055))
    x, y = LENS
    board = box(at(p, x + 0.15, y, 0.16), (1.12, 0.62, 0.14), 0.05)
    screen = box(at(p, x - 0.95, y, 0.62), (0.05, 0.66, 0.55), 0.03)
    shelf_ = np.minimum(
        box(at(p, x + 0.15, y - 0.62, 0.5), (1.15, 0.05, 0.42), 0.03),
        box(at(p, x + 0.15, y + 0.62, 0.5), (1.15, 0.05, 0.42), 0.03),
    )
    case = cylinder(at(p, x + 0.1, y, 0.42), 0.43, 0.36, 0.05, axis=2)
    case = carve(case, cylinder(at(p, x + 0.1, y, 0.8), 0.31, 0.3, axis=2), 0.03)
    case = np.minimum(case, torus(at(p, x + 0.1, y, 0.78), 0.355, 0.055, axis=2))
    lens = np.maximum(
        length(at(p, x + 0.1, y, 0.36)) - 0.47,
        np.hypot(p[:, 0] - x - 0.1, p[:, 1] - y) - 0.305,
    )
    buoy = torus(at(p, 3.0, 1.35, 0.32), 0.85, 0.27, axis=2)
    pipe = capsule(p, (4.55, -0.6, 0.28), (4.55, 7.0, 0.28), 0.13)
    bench = p[:, 1] + 2.6
    back = p[:, 2] + 30 + 0.8 * np.sin(0.3 * p[:, 0])
    hull = box(at(p, 0, -2.2, -1.0), (13, 1.2, 9.6), 0.3)
    return {
        "house": house,
        "glass": glass,
        "brass": np.minimum(np.minimum(rims, hand), case),
        "roof": roof,
        "deck": deck,
        "rail": rail,
        "box": np.minimum(np.minimum(board, screen), shelf_),
        "lens": lens,
        "buoy": buoy,
        "pipe": pipe,
        "hull": hull,
        "bench": bench,
        "back": back,
    }


def distance(p):
    """Distance to the nearest part."""
    return np.minimum.reduce(list(parts(p).values()))


def gaps(v, pitch, width):
    """Grooves between boards, 0 to 1."""
    return np.clip(1 - np.abs(v / pitch - np.round(v / pitch)) / width, 0, 1)


# --------------------------------------------------------------------- colours


def cream(q):
    """Planked cream paint with stains."""
    stain = fractal(q * np.array([2.6, 0.5, 2.6], V), 4, 5)
    shade = 1 + 0.07 * fractal(q * 5, 3, 6) + 0.10 * stain
    shade = shade * (1 - 0.55 * gaps(q[:, 0] + 0.21, 0.42, 0.05))
    colour = np.array([0.62, 0.55, 0.40]) * shade[:, None]
    rust = np.clip((stain - 0.22) * 3, 0, 1)
    colour = mixed(colour, (0.20, 0.10, 0.04), 0.45 * rust)
    low = np.clip((0.7 - q[:, 1] + 0.9 * stain) / 1.2, 0, 1)
    return mixed(colour, (0.12, 0.10, 0.07), 0.35 * low)


def teak(q):
    """Deck planks."""
    number = np.round(q[:, 2] / 0.8)
    along = q * np.array([0.35, 1, 4], V) + (number * 9.1)[:, None].astype(V)
    shade = 1 + 0.35 * fractal(along * 1.6, 4, 11)
    shade = shade * (1 - 0.75 * gaps(q[:, 2] + 0.4, 0.8, 0.05))
    return np.array([0.23, 0.13, 0.065]) * shade[:, None]


def brass(q):
    """Brass with spots."""
    bright = np.clip(0.55 + 0.9 * fractal(q * 3.1, 4, 21), 0, 1)
    return mixed((0.18, 0.13, 0.06), (0.43, 0.28, 0.10), bright)


def green(q):
    """Green paint, worn at places."""
    worn = np.clip((fractal(q * 3.5, 4, 31) - 0.30) * 7, 0, 1)
    return mixed((0.018, 0.13, 0.055), (0.22, 0.19, 0.13), worn)


def lifebuoy(q):
    """Red and white quarters."""
    around = np.degrees(np.arctan2(q[:, 1] - 1.35, q[:, 0] - 3.0)) % 90
    red = (around > 22) & (around < 68)
    shade = 1 + 0.10 * fractal(q * 6, 3, 41)
    return mixed((0.62, 0.58, 0.5), (0.44, 0.05, 0.035), red) * shade[:, None]


def bench(q):
    """Workbench."""
    grain = fractal(q * np.array([0.18, 1, 2.2], V), 5, 61)
    return np.array([0.13, 0.10, 0.075]) * (1 + 0.4 * grain)[:, None]


def planks(q):
    """Height of the wall."""
    return 0.0015 * noise(q * 9, 51) - 0.05 * gaps(q[:, 0] + 0.21, 0.42, 0.05)


def fine(q):
    """Height of paint."""
    return 0.004 * noise(q * 14, 52)


def half_fine(q):
    """Height of polished brass."""
    return 0.6 * fine(q)


def pane(q):
    """Height of glass."""
    return 0.003 * noise(q * 2, 53)


def cork(q):
    """Height of the lifebuoy."""
    return 0.012 * noise(q * 12, 54)


def seams(q):
    """Height of the deck."""
    return -0.03 * gaps(q[:, 2] + 0.4, 0.8, 0.05)


WHITE = (0.60, 0.56, 0.49)
COATS = {
    "house": (cream, 0.03, 0.55, planks),
    "glass": ((0.012, 0.016, 0.02), 0.07, 0.02, pane),
    "brass": (brass, 0.38, 0.28, half_fine),
    "roof": ((0.20, 0.052, 0.03), 0.035, 0.5, fine),
    "deck": (teak, 0.03, 0.5, seams),
    "rail": (WHITE, 0.04, 0.4, fine),
    "box": (green, 0.045, 0.35, fine),
    "lens": ((0.004, 0.040, 0.020), 0.055, 0.02, None),
    "buoy": (lifebuoy, 0.02, 0.8, cork),
    "pipe": (WHITE, 0.04, 0.4, fine),
    "hull": ((0.02, 0.035, 0.045), 0.04, 0.4, fine),
    "bench": (bench, 0.03, 0.5, None),
    "back": ((0.075, 0.085, 0.10), 0.0, 1.0, None),
}


def look(p):
    """Paint, brass, glass, varnish."""
    return paint(parts(p), p, COATS)


def inset(p):
    """Whether points are on the lens."""
    found = parts(p)
    return nearest(found) == list(found).index("lens")


SCENE = Scene(
    distance=distance,
    look=look,
    inset=inset,
    eye=(3.4, 4.6, 19),
    aim=(0.25, 2.75, 0),
    zoom=2.12,
    exposure=0.95,
    key=(-0.6, 0.62, 0.5),
    key_colour=(3.4, 3.2, 2.9),
    sky=(0.24, 0.26, 0.30),
    ground=(0.12, 0.10, 0.08),
    softness=9.0,
    seed=2,
    shot={0x829A: 1 / 60, 0x829D: 1.8, 0x8827: 200},
)


if __name__ == "__main__":
    scale = float(sys.argv[1]) if len(sys.argv) > 1 else 1.0
    size = {"width": round(900 * scale), "height": round(1200 * scale)}
    photograph(SCENE, HERE, mask="lens.png", **size)
