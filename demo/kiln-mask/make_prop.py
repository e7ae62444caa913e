"""Make the picture of the prop: python demo/kiln-mask/make_prop.py [scale]

A kiln-spirit mask of fired clay on a workshop wall, unlit: cracked terracotta, a sooty
crown of flames, run ash glaze, and two dark resin eyes of 28 x 18 mm. Everything is
invented. Leaves `prop.jpg` and `eyes.png`, the mask that is white where the eyes are.
"""

import sys
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from props import (  # noqa: E402
    Scene,
    blend,
    capsule,
    carve,
    ellipsoid,
    fractal,
    length,
    mixed,
    nearest,
    noise,
    paint,
    photograph,
    turned,
)

V = np.float32
TILT = -14  # of the eyes, outer corner up [deg]
EYE = (3.25, 1.35)  # their middles [cm]
FLAMES = (
    ((0, 9.0, -0.6), (0.2, 15.6, -1.6), 1.9),
    ((2.4, 8.6, -0.8), (3.6, 13.6, -1.8), 1.6),
    ((4.8, 7.2, -1.0), (7.2, 11.4, -2.2), 1.45),
    ((6.5, 4.8, -1.4), (9.9, 7.8, -2.6), 1.2),
)


def at(p, *where):
    """Points about another origin."""
    return p - np.array(where, V)


def flame(p, a, b, r):
    """A tongue that narrows and bends from a to b."""
    a, b = np.array(a, V), np.array(b, V)
    along = b - a
    t = np.clip((p - a) @ along / (along @ along), 0, 1)
    bend = (0.55 * np.sin(3.0 * t))[:, None] * np.array([-1, 0, 0.25], V)
    return length(p - a - t[:, None] * along - bend) - r * (1 - 0.88 * t) * 0.95


def lens(q):
    """Almond in the plane: the common part of two circles, 2.8 x 1.8 cm."""
    # radius and offset of circles through the corners (1.4, 0) and the top (0, 0.9)
    r = (1.4**2 + 0.9**2) / (2 * 0.9)
    x, y = q[:, 0], np.abs(q[:, 1])
    return np.hypot(x, y + r - 0.9) - r


def parts(p):
    """Distances of everything, by name; the right half is mirrored."""
    m = p.copy()
    m[:, 0] = np.sqrt(p[:, 0] ** 2 + 0.004)
    face = ellipsoid(at(m, 0, 0.2, -1.2), (7.6, 10.2, 4.6))
    face = blend(face, ellipsoid(at(m, 0, -5.6, 0.2), (4.3, 4.6, 3.4)), 1.6)
    cheek = ellipsoid(at(m, 4.0, -2.2, 1.35), (2.2, 1.8, 1.6))
    face = blend(face, cheek, 1.2)
    brow = capsule(m, (0.95, 2.35, 3.75), (5.6, 4.35, 1.95), 0.78)
    face = blend(face, brow, 0.7)
    nose = capsule(m, (0, 2.6, 3.5), (0, -1.7, 4.75), 0.72)
    nose = blend(nose, ellipsoid(at(m, 0.62, -2.0, 4.2), (0.85, 0.62, 0.8)), 0.5)
    face = blend(face, nose, 0.8)
    lip = capsule(m, (0, -4.35, 3.75), (2.5, -4.9, 2.6), 0.42)
    lip = np.minimum(lip, capsule(m, (0, -6.0, 3.55), (2.3, -5.5, 2.6), 0.5))
    face = blend(face, lip, 0.5)
    e = turned(at(m, *EYE, 0), TILT, axis=2)
    socket = ellipsoid(at(e, 0, 0, 4.0), (2.25, 1.6, 1.7))
    face = carve(face, socket, 0.7)
    rim = np.maximum(np.abs(lens(e)) - 0.17, 0)
    rim = np.hypot(rim, np.maximum(np.abs(e[:, 2] - 2.55) - 0.35, 0))
    face = blend(face, rim - 0.14, 0.35)
    face = carve(face, np.maximum(lens(e), -(e[:, 2] - 1.2)), 0.12)
    mouth = ellipsoid(at(m, 0, -5.15, 3.6), (2.1, 0.42, 1.6))
    face = carve(face, mouth, 0.3)
    ring = np.hypot(np.hypot(p[:, 0], p[:, 1] - 5.5) - 0.95, p[:, 2] - 3.0) - 0.3
    face = carve(face, ring, 0.22)
    for angle in (18, 54, 90, 126, 162, 198, 234, 270, 306, 342):
        x, y = 1.75 * np.cos(np.radians(angle)), 5.5 + 1.75 * np.sin(np.radians(angle))
        if x > -0.1:
            face = carve(face, length(at(m, x, y, 2.8 - 0.12 * (y - 5.5))) - 0.36, 0.15)
    crown = np.full(len(p), 1e3, V)
    for a, b, r in FLAMES:
        crown = np.minimum(crown, flame(m, a, b, r))
    ear = ellipsoid(at(m, 7.4, -0.4, -1.6), (1.0, 2.0, 1.3))
    face = blend(face, ear, 0.8)
    face = blend(face, crown, 0.9) + 0.05 * noise(p * 0.8, 3) + 0.02 * noise(p * 2.1, 4)
    bulge = 0.16 * np.clip(1 - (e[:, 0] / 1.5) ** 2 - (e[:, 1] / 1.0) ** 2, 0, 1)
    eye = np.maximum(lens(e) - 0.05, np.abs(e[:, 2] - 2.15) - 0.3 - bulge) * 0.9
    peg = np.minimum(
        capsule(p, (-4.6, 9.2, -2.5), (-4.9, 14.0, -5.5), 0.14),
        capsule(p, (4.6, 9.2, -2.5), (4.9, 14.0, -5.5), 0.14),
    )
    wall = p[:, 2] + 6.0 + 0.10 * noise(p * 0.35, 5)
    return {"face": face * 0.8, "eye": eye, "peg": peg, "wall": wall}


def distance(p):
    """Distance to the nearest part."""
    return np.minimum.reduce(list(parts(p).values()))


def cracks(q):
    """Fine cracks in the firing, 0 to 1."""
    lines = np.abs(fractal(q * 0.42 + 5, 4, 11))
    where = np.clip(2.4 * fractal(q * 0.22, 2, 12) + 0.62, 0, 1)
    return np.clip(1 - lines / 0.017, 0, 1) * where


# --------------------------------------------------------------------- colours


def clay(q):
    """Terracotta, paler in places, ash glaze from above, soot, cracks."""
    broad, grain = fractal(q * 0.35, 4, 21), fractal(q * 2.6, 4, 22)
    colour = (
        np.array([0.235, 0.098, 0.056]) * (1 + 0.30 * broad + 0.20 * grain)[:, None]
    )
    pale = np.clip(1.6 * fractal(q * 0.55 + 3, 4, 23) - 0.1, 0, 1)
    colour = mixed(colour, (0.30, 0.18, 0.115), 0.5 * pale)
    x, y, nil = np.abs(q[:, 0]), q[:, 1], 0 * q[:, 0]
    # ash glaze that ran down from the crown in the fire
    drip = noise(np.stack([x * 0.9 + 0.35, nil, nil], axis=1).astype(V), 27)
    run = 6.6 + 0.5 * grain - 2.3 * np.clip(drip + 0.25, -0.2, 1.1)
    pool = (0.8 + 0.35 * fractal(q * 1.1, 3, 25))[:, None]
    glaze = np.array([0.215, 0.235, 0.165]) * pool
    colour = mixed(colour, glaze, 0.8 * np.clip((y - run) * 6, 0, 1))
    soot = np.clip((y - 7.4 + 2.2 * broad) / 4.2, 0, 1)
    e = turned(at(np.stack([x, y, nil], axis=1).astype(V), *EYE, 0), TILT, axis=2)
    around = np.exp(-np.clip(lens(e), 0, None) / 0.55)
    dark = np.clip(soot * 0.92 + 0.6 * around, 0, 0.94)
    colour = mixed(colour, (0.022, 0.019, 0.018), dark)
    return colour * (1 - 0.85 * cracks(q))[:, None]


def plaster(q):
    """Wall of the workshop."""
    shade = 1 + 0.35 * fractal(q * 0.12, 4, 31) + 0.15 * fractal(q * 1.4, 4, 32)
    return np.array([0.125, 0.118, 0.110]) * shade[:, None]


def resin(q):
    """Dyed resin without light behind it."""
    swirl = 1 + 0.4 * fractal(q * 1.7, 3, 41)
    return np.array([0.060, 0.012, 0.004]) * swirl[:, None]


def grain(q):
    """Height of the clay."""
    return 0.015 * fractal(q * 4.5, 3, 51) - 0.05 * cracks(q)


def trowel(q):
    """Height of the plaster."""
    return 0.03 * fractal(q * np.array([0.9, 1.5, 1], V), 4, 52)


COATS = {
    "face": (clay, 0.03, 0.75, grain),
    "eye": (resin, 0.05, 0.02, None),
    "peg": ((0.10, 0.065, 0.04), 0.02, 0.9, None),
    "wall": (plaster, 0.01, 1.0, trowel),
}


def look(p):
    """Clay, glaze, soot, resin, plaster."""
    return paint(parts(p), p, COATS)


def inset(p):
    """Whether points are on an eye."""
    found = parts(p)
    return nearest(found) == list(found).index("eye")


SCENE = Scene(
    distance=distance,
    look=look,
    inset=inset,
    eye=(5.5, 0.5, 52),
    aim=(0.2, 2.1, 0),
    zoom=1.92,
    exposure=1.5,
    key=(-0.62, 0.62, 0.48),
    key_colour=(3.9, 3.55, 3.1),
    sky=(0.17, 0.18, 0.21),
    ground=(0.13, 0.09, 0.07),
    softness=8.0,
    seed=3,
    shot={0x829A: 1 / 80, 0x829D: 1.8, 0x8827: 160},
)


if __name__ == "__main__":
    scale = float(sys.argv[1]) if len(sys.argv) > 1 else 1.0
    size = {"width": round(900 * scale), "height": round(1200 * scale)}
    photograph(SCENE, HERE, mask="eyes.png", **size)
