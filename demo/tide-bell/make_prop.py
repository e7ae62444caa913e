"""Make the picture of the prop: python demo/tide-bell/make_prop.py [scale]

A storm-bell buoy for an amateur stage play, unlit, as a phone sees it in a hall:
weathered red paint, a brass frame, a resin window of 40 x 60 mm. Everything is
invented. Leaves `prop.jpg` and `window.png`, the mask that is white at the window.
"""

import sys
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from props import (  # noqa: E402
    Scene,
    blend,
    box,
    capsule,
    carve,
    cone,
    cylinder,
    fractal,
    length,
    mixed,
    nearest,
    noise,
    paint,
    photograph,
    torus,
    turned,
)

V = np.float32
RIVETS = [
    (x, y) for x in (-2.38, 0, 2.38) for y in (-3.38, 0, 3.38) if (x, y) != (0, 0)
]


def parts(p):
    """Distances of everything, by name."""
    q = p - np.array([0, 8.6, 0], V)
    body = cylinder(q, 9, 7.6, 0.9)
    seams = np.minimum(
        torus(p - np.array([0, 3.2, 0], V), 9.0, 0.22),
        torus(p - np.array([0, 14.2, 0], V), 9.0, 0.22),
    )
    dome = cone(p - np.array([0, 17.2, 0], V), 8.2, 3.9, 1.6, 0.5)
    collar = torus((p - np.array([0, 1.7, 0], V)) * np.array([1, 1, 1], V), 10.6, 1.75)
    f = p - np.array([0, 8.9, 8.6], V)
    house = box(f, (3.5, 4.5, 1.7), 0.45)
    frame = box(f - np.array([0, 0, 1.75], V), (2.8, 3.8, 0.42), 0.16)
    hole = box(f - np.array([0, 0, 2.0], V), (2.0, 3.0, 1.2), 0.12)
    frame = carve(frame, hole, 0.08)
    house = carve(house, hole, 0.08)
    for x, y in RIVETS:
        nail = f - np.array([x, y, 2.15], V)
        frame = np.minimum(frame, length(nail * np.array([1, 1, 1.5], V)) - 0.2)
    window = box(f - np.array([0, 0, 1.55], V), (2.05, 3.05, 0.3), 0.1)
    legs = np.full(len(p), 1e3, V)
    across = np.abs(p)
    across[:, 1] = p[:, 1]
    legs = capsule(across, (3.2, 18.0, 3.2), (1.9, 30.6, 1.9), 0.42)
    bar = (2.55, 24.4, 2.55), (-2.55, 24.4, 2.55), 0.26
    bars = np.minimum(capsule(across, *bar), capsule(across[:, [2, 1, 0]], *bar))
    cap = cylinder(p - np.array([0, 30.9, 0], V), 3.1, 0.45, 0.2)
    knob = np.minimum(
        length(p - np.array([0, 32.2, 0], V)) - 0.8,
        torus(turned(p - np.array([0, 33.6, 0], V), 20), 0.9, 0.2, axis=2),
    )
    tower = np.minimum(np.minimum(legs, bars), np.minimum(cap, knob))
    b = p - np.array([0, 27.3, 0], V)
    h = np.clip((b[:, 1] + 1.9) / 3.6, 0, 1)
    r = 2.35 - 1.25 * h**0.45 + 0.35 * np.exp(-((h / 0.12) ** 2))
    bell = np.maximum(
        (np.hypot(b[:, 0], b[:, 2]) - r) * 0.75, np.abs(b[:, 1] + 0.1) - 1.8
    )
    bell = np.minimum(bell, length(b - np.array([0, -2.2, 0], V)) - 0.62)
    bell = np.minimum(bell, capsule(p, (0, 29, 0), (0, 30.6, 0), 0.2))
    rope = coil(p)
    floor = p[:, 1] + 0.05 + 0.05 * groove(p)
    wave = 2.4 * np.sin(p[:, 0] * 0.23 + 0.8 * np.sin(p[:, 0] * 0.071)) + 0.9 * np.sin(
        p[:, 0] * 0.61 + 1.0
    )
    curtain = (p[:, 2] + 34 + wave) * 0.62
    return {
        "body": blend(body, dome, 0.5),
        "seams": seams,
        "collar": collar,
        "house": house,
        "frame": frame,
        "window": window,
        "tower": tower,
        "bell": bell,
        "rope": rope,
        "floor": floor,
        "curtain": curtain,
    }


def coil(p):
    """A coil of rope on the boards."""
    q = p - np.array([14.5, 0, 10.5], V)
    found = np.full(len(p), 1e3, V)
    for i, r in enumerate((4.6, 3.5, 2.4)):
        found = np.minimum(found, torus(q - np.array([0.2 * i, 0.55, 0.1], V), r, 0.55))
    return np.minimum(found, torus(q - np.array([0.1, 1.5, -0.2], V), 4.0, 0.55))


def groove(p):
    """Depth of the gaps between boards, 0 to 1."""
    x = turned(p, 12)[:, 0] / 7.5
    return np.clip(1 - np.abs(x - np.round(x)) / 0.02, 0, 1)


def distance(p):
    """Distance to the nearest part."""
    return np.minimum.reduce(list(parts(p).values()))


# --------------------------------------------------------------------- colours


def red_paint(q):
    """Weathered red with a cream band, rust, scuffs and growth at the foot."""
    streak = fractal(q * np.array([1.1, 0.16, 1.1], V), 4, 5)
    worn = fractal(q * 0.9, 5, 9)
    on_body = np.hypot(q[:, 0], q[:, 2]) < 9.35
    band = (q[:, 1] > 11.4) & (q[:, 1] < 13.3) & on_body
    colour = mixed((0.37, 0.040, 0.024), (0.60, 0.53, 0.40), band)
    colour = colour * (1 + 0.2 * worn)[:, None]
    rust = np.clip((streak + 0.35 * worn - 0.10) * 4.5, 0, 1)
    rust = rust * np.clip(1.25 - 0.05 * q[:, 1], 0.2, 1)
    colour = mixed(colour, (0.15, 0.062, 0.028), 0.8 * rust)
    scuff = np.clip((worn - 0.36) * 9, 0, 1)
    colour = mixed(colour, (0.21, 0.18, 0.15), 0.75 * scuff)
    growth = np.clip((5.2 - q[:, 1] + 2.5 * worn) / 3.0, 0, 1)
    return mixed(colour, (0.075, 0.085, 0.055), 0.6 * growth)


def brass(q):
    """Tarnished brass."""
    bright = np.clip(0.5 + 0.9 * fractal(q * 1.3, 4, 21), 0, 1)
    return mixed((0.15, 0.125, 0.065), (0.42, 0.27, 0.09), bright)


def iron(q):
    """Black iron with rust."""
    rust = np.clip(0.3 + 1.3 * fractal(q * 1.6, 4, 31), 0, 1)
    return mixed((0.07, 0.07, 0.072), (0.15, 0.075, 0.04), rust)


def boards(q):
    """Stage boards."""
    r = turned(q, 12)
    number = np.round(r[:, 0] / 7.5 - 0.5)
    along = r * np.array([2.2, 1, 0.14], V) + (number * 17.3)[:, None].astype(V)
    grain = fractal(along, 5, 41)
    ring = np.sin(9 * grain + 0.7 * r[:, 0])
    shade = 1 + 0.22 * noise(np.stack([number * 7.7 + 0.5] * 3, axis=1), 3)
    shade = shade * (1 + 0.35 * grain + 0.10 * ring) * (1 - 0.8 * groove(q))
    return np.array([0.20, 0.125, 0.075]) * shade[:, None]


def cloth(q):
    """Back curtain."""
    weave = 1 + 0.08 * noise(q * 6, 51) + 0.12 * fractal(q * 0.15, 3, 52)
    return np.array([0.060, 0.075, 0.095]) * weave[:, None]


def resin(q):
    """Dyed resin without light behind it."""
    swirl = 1 + 0.25 * fractal(q * 0.8, 3, 61)
    deep = np.clip(0.12 * q[:, 1] - 0.5, 0, 1)
    return mixed((0.004, 0.055, 0.058), (0.008, 0.085, 0.088), deep) * swirl[:, None]


def hemp(q):
    """Twisted rope."""
    around = np.arctan2(q[:, 2] - 10.5, q[:, 0] - 14.5)
    twist = np.sin(36 * around + 7 * q[:, 1])
    return np.array([0.33, 0.25, 0.15]) * (0.75 + 0.25 * twist)[:, None]


def dents(q):
    """Height of beaten sheet."""
    return 0.06 * fractal(q * 0.4, 3, 71) + 0.005 * noise(q * 4.5, 72)


def fine(q):
    """Height of a cast surface."""
    return 0.010 * noise(q * 7, 73) + 0.02 * noise(q * 1.7, 74)


def half_fine(q):
    """Height of a polished one."""
    return 0.4 * fine(q)


def still(q):
    """Height of a resin that set almost level."""
    return 0.004 * noise(q * 0.9, 75)


def worn_grain(q):
    """Height of the boards."""
    return 0.012 * fractal(q * np.array([3, 1, 0.3], V), 3, 76)


COATS = {
    "body": (red_paint, 0.035, 0.55, dents),
    "seams": (red_paint, 0.035, 0.55, dents),
    "house": (red_paint, 0.035, 0.5, fine),
    "collar": ((0.028, 0.028, 0.03), 0.03, 0.7, fine),
    "frame": (brass, 0.34, 0.35, half_fine),
    "window": (resin, 0.045, 0.03, still),
    "tower": (iron, 0.05, 0.6, fine),
    "bell": (brass, 0.40, 0.25, half_fine),
    "rope": (hemp, 0.01, 1.0, fine),
    "floor": (boards, 0.025, 0.6, worn_grain),
    "curtain": (cloth, 0.0, 1.0, None),
}


def look(p):
    """Paint, rust, brass, resin, boards, cloth."""
    return paint(parts(p), p, COATS)


def inset(p):
    """Whether points are on the window."""
    found = parts(p)
    return nearest(found) == list(found).index("window")


SCENE = Scene(
    distance=distance,
    look=look,
    inset=inset,
    eye=(-15, 20, 47),
    aim=(1.2, 14.9, 2),
    zoom=1.22,
    exposure=1.4,
    key_colour=(3.7, 3.45, 3.1),
    sky=(0.24, 0.27, 0.32),
    ground=(0.10, 0.08, 0.065),
    shot={0x829A: 1 / 100, 0x829D: 1.8, 0x8827: 125},
)


if __name__ == "__main__":
    scale = float(sys.argv[1]) if len(sys.argv) > 1 else 1.0
    size = {"width": round(900 * scale), "height": round(1200 * scale)}
    photograph(SCENE, HERE, mask="window.png", **size)
