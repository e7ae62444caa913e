"""Nothing within a difference of the target lies outside the bound (property)."""

import itertools

import numpy as np
import pytest

from tintlab.colorimetry import delta_e_2000
from tintlab.solve.bound import lab_box, least_difference

TARGETS = [
    (62, -38, 4),
    (50, 60, 30),
    (50, 20, -60),  # where hue and chroma turn together
    (80, 5, 60),
    (60, 0, 0),
    (60, 1e-3, -2e-3),
    (60, -0.5, 0),
    (50, -90, -1e-9),
    (50, 0, -30),
    (30, 30, 0),
]


@pytest.mark.parametrize("target", TARGETS)
def test_no_colour_is_closer_than_its_cell_allows(target):
    rng = np.random.default_rng(1)
    C_t, h_t = np.hypot(*target[1:]), np.degrees(np.arctan2(target[2], target[1]))
    chroma = np.sort(C_t + rng.normal(size=(2, 4000)) * 10 ** rng.uniform(-2, 2, 4000))
    chroma = np.maximum(np.sort(chroma, axis=0), 0)
    turn = np.sort(rng.uniform(0, 1, (2, 4000)) ** 3, axis=0) * 180
    turn[1, ::10], far = 180, 180 - 1e-7  # up to the jump on the far side
    for sign in (1, -1):
        hue = h_t + np.sort(sign * turn, axis=0)
        least = least_difference(target=target, chroma=tuple(chroma), hue=tuple(hue))
        for u, v in itertools.product((0, 0.3, 0.5, 0.8, 1), repeat=2):
            C = chroma[0] + u * (chroma[1] - chroma[0])
            turned = np.clip(hue[0] + v * (hue[1] - hue[0]) - h_t, -far, far)
            h = np.radians(h_t + turned)
            Lab = np.stack([np.full_like(C, target[0]), C * np.cos(h), C * np.sin(h)])
            assert (delta_e_2000(Lab.T, target) >= least - 1e-8).all()


@pytest.mark.parametrize("target", TARGETS)
def test_colours_within_a_difference_lie_inside_the_box(target):
    limits = np.array([0.0, 0.01, 0.3, 1, 3, 8, 20, 50])
    low, high = lab_box(target=target, limits=limits + 1e-6)
    rng = np.random.default_rng(2)
    reach = 10 ** rng.uniform(-3, 2.3, 200_000)
    Lab = target + reach[:, None] * rng.normal(size=(200_000, 3))
    opposite = rng.uniform(0, 3, (50_000, 1)) * (0, target[1], target[2])
    around = rng.normal(size=(50_000, 3)) * 10 ** rng.uniform(-9, 0, (50_000, 1))
    Lab = np.concatenate([Lab, np.array((target[0], 0, 0)) - opposite + around])
    Lab = Lab[(Lab[:, 0] >= 0) & (Lab[:, 0] <= 100)]
    difference = delta_e_2000(Lab, target)
    for limit, least, most in zip(limits, low, high, strict=True):
        near = Lab[difference <= limit]
        assert (near >= least).all()
        assert (near <= most).all()


def test_box_is_close_around_small_differences():
    angle = np.radians(np.arange(0, 360, 1))[:, None]
    radius = np.linspace(0, 25, 500)
    for target in TARGETS[:4]:
        L, a, b = (target[0], target[1], target[2])
        Lab = np.stack(
            np.broadcast_arrays(
                float(L), a + radius * np.cos(angle), b + radius * np.sin(angle)
            ),
            axis=-1,
        )
        near = Lab[delta_e_2000(Lab, target) <= 2]
        low, high = lab_box(target=target, limits=[2.0])
        size = (high - low)[0, 1:] / (near.max(axis=0) - near.min(axis=0))[1:]
        assert (size >= 1).all()
        assert (size < 1.6).all()
