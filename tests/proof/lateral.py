"""Monte Carlo of how far light moves sideways in slabs, for tests of the blur."""

import numpy as np
from reference import _faces


def walked(*, slabs, count, seed=1):
    """Follow light that enters slabs in air along the normal, without absorption.

    `slabs` are tuples (index, thickness, scattered, anisotropy), the one met first
    first. Returns the place where light leaves on the far side, shape (n, 2), of those
    that were scattered at least once.
    """
    rng = np.random.default_rng(seed)
    index, thick, depth, g = (np.array(x, float) for x in zip(*slabs, strict=True))
    per_mm = depth / thick
    air = np.concatenate([index, [1.0]])
    place, course = np.zeros((count, 3)), np.tile([0.0, 0.0, 1.0], (count, 1))
    where, virgin = np.zeros(count, dtype=int), np.ones(count, dtype=bool)
    left = rng.exponential(size=count)
    landed = []
    while count:
        mu = course[:, 2]
        room = np.where(mu > 0, thick[where] - place[:, 2], place[:, 2])
        room = room / np.maximum(np.abs(mu), 1e-12)
        with np.errstate(divide="ignore"):
            free = np.where(per_mm[where] > 0, left / per_mm[where], np.inf)
        hits = free >= room
        step = np.where(hits, room, free)
        place += course * step[:, None]
        left = np.where(hits, left - step * per_mm[where], 0.0)
        # at a face: through it, or mirrored
        onward = np.where(mu > 0, where + 1, where - 1)
        sine = air[where] * np.sqrt(np.clip(1 - mu**2, 0, None))
        far = air[onward]  # -1 and len(slabs) both mean air
        passes = hits & (rng.random(count) >= _faces(air[where], far, sine))
        landed.append(place[passes & (onward == len(index)) & ~virgin, :2].copy())
        gone = passes & ((onward < 0) | (onward == len(index)))
        inner = passes & ~gone
        bent = np.sqrt(np.clip(1 - (sine / far) ** 2, 0, None)) * np.sign(mu)
        flat = air[where] / far
        course[inner, :2] *= flat[inner, None]
        course[inner, 2] = bent[inner]
        course[hits & ~passes, 2] *= -1
        where = np.where(inner, onward, where)
        place[hits, 2] = np.where(course[hits, 2] > 0, 0.0, thick[where[hits]])
        turns = ~hits
        course[turns] = _turned(course[turns], g[where[turns]], rng)
        virgin &= ~turns
        left = np.where(turns, rng.exponential(size=count), left)
        stay = ~gone
        place, course, where = place[stay], course[stay], where[stay]
        virgin, left, count = virgin[stay], left[stay], int(stay.sum())
    return np.concatenate(landed)


def _turned(course, g, rng):
    """Henyey-Greenstein in three dimensions."""
    x = rng.random(len(g))
    safe = np.where(g == 0, 1.0, g)
    peaked = (1 + g * g - ((1 - g * g) / (1 - g + 2 * g * x)) ** 2) / (2 * safe)
    cosine = np.where(g == 0, 2 * x - 1, peaked)
    sine = np.sqrt(np.clip(1 - cosine**2, 0, None))
    azimuth = 2 * np.pi * rng.random(len(g))
    # two directions across the course
    helper = np.where(np.abs(course[:, 2:]) < 0.9, [[0.0, 0.0, 1.0]], [[1.0, 0.0, 0.0]])
    first = np.cross(course, helper)
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    second = np.cross(course, first)
    across = np.cos(azimuth)[:, None] * first + np.sin(azimuth)[:, None] * second
    new = cosine[:, None] * course + sine[:, None] * across
    return new / np.linalg.norm(new, axis=1, keepdims=True)
