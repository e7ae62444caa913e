"""The eye's stray light against its published equations, integrals and a slow sum."""

import numpy as np
import pytest
from published import Published, published
from scipy.integrate import quad

from tintlab.errors import ModelError
from tintlab.proof import glare

CIE_146 = "CIE 146:2002, general equation, computed from the secondary source"
HOLLADAY = "CIE 146:2002, age-adjusted Stiles-Holladay, computed from the same"

# ---------------------------------------------------------------------- published


@published(
    Published(
        source=CIE_146,
        given={"angle": 1.0, "age": 25.0, "pigment": 0.5},
        printed="15.18053",
    ),
    Published(
        source=CIE_146,
        given={"angle": 10.0, "age": 70.0, "pigment": 1.0},
        printed="0.1669112",
    ),
)
def test_general_equation(check):
    assert glare.general(**check.given) == pytest.approx(
        check.expected, abs=check.half_digit
    )


@published(
    Published(source=HOLLADAY, given={"angle": 10.0, "age": 70.0}, printed="0.2")
)
def test_stiles_holladay(check):
    assert glare.stiles_holladay(**check.given) == pytest.approx(check.expected, 1e-12)


def total_spread(th, *, A, p):
    """Whole point spread of CIE 135/1:1999 (Vos and van den Berg), from memory. [1/sr]

    Another fit of the same committee to the same eyes, down to 0 degrees.
    """
    narrow = 9.2e6 / (1 + (th / 0.0046) ** 2) ** 1.5
    core = 1.5e5 / (1 + (th / 0.045) ** 2) ** 1.5
    wide = 400 / (1 + (th / 0.1) ** 2) + 3e-8 * th**2
    pigment = 1300 / (1 + (th / 0.1) ** 2) ** 1.5 + 0.8 / (1 + (th / 0.1) ** 2) ** 0.5
    young, old = 1 - 0.08 * (A / 70) ** 4, 1 + 1.6 * (A / 70) ** 4
    return young * (narrow + core) + old * (wide + p * pigment) + 2.5e-3 * p


def test_another_published_spread_agrees_within_its_fit():
    angles = np.geomspace(0.3, 60, 40)
    for A, p in ((25, 0.5), (70, 0.5), (70, 1.0)):
        ratio = glare.spread(angles, age=A, pigment=p) / total_spread(angles, A=A, p=p)
        assert ratio.min() > 0.7
        assert ratio.max() < 1.4


def test_stiles_holladay_is_the_same_eye_between_1_and_30_degrees():
    angles = np.geomspace(1, 30, 30)
    ratio = glare.general(angles) / glare.stiles_holladay(angles)
    assert ratio.min() > 0.6
    assert ratio.max() < 1.6
    assert glare.general(2.0) == pytest.approx(glare.stiles_holladay(2.0), rel=0.01)


# --------------------------------------------------------------------- identities


def wide(angle, *, age, pigment):
    """Share of light, for each degree, that is scattered to an angle."""
    th = np.radians(angle)
    inside = glare.spread(angle, age=age, pigment=pigment)
    return float(inside * np.cos(th) * 2 * np.pi * np.sin(th) * np.pi / 180)


@pytest.mark.parametrize(("age", "pigment"), [(20, 0), (30, 0.5), (80, 1.2)])
def test_less_than_all_light_is_scattered(age, pigment):
    parts = [
        quad(lambda t: wide(t, age=age, pigment=pigment), a, b)[0]
        for a, b in ((0, 0.1), (0.1, 2), (2, 90))
    ]
    assert 0.3 < sum(parts) < 1


def closed_annulus(low, high, *, age, pigment):
    """Veil in the middle of an even annulus of 1 cd/m2, small angles, term by term."""
    F, p = 1 + (age / 62.5) ** 4, pigment
    total = 10 * (1 / low - 1 / high)
    total += 5 * F * np.log(high / low) + 0.1 * p * F * (high - low)
    total += 0.0025 * p * (high**2 - low**2) / 2
    return 2 * np.pi * np.radians(1) ** 2 * total


def test_annulus_veils_its_middle_by_the_closed_form():
    pitch, low, high = 0.02, 0.5, 3.0
    axis = (np.arange(301) - 150) * pitch
    radius = np.hypot(axis[:, None], axis)
    source = ((radius > low) & (radius < high)).astype(float)[..., None]
    found = glare.scattered(source, degrees_per_pixel=pitch, age=30, pigment=0.5)
    expected = closed_annulus(low, high, age=30, pigment=0.5)
    assert found[150, 150, 0] == pytest.approx(expected, rel=0.01)


def test_small_source_veils_as_the_equation_says():
    picture = np.zeros((41, 799, 1))
    picture[20, 20] = 5e4
    pitch = 0.03
    found = glare.scattered(picture, degrees_per_pixel=pitch, age=60, pigment=1.0)
    places = np.array([54, 120, 353, 700])
    th = (places - 20) * pitch
    # illuminance: a cell of a map that keeps angles from the place that is veiled
    E = 5e4 * np.radians(pitch) ** 2 * np.sinc(th / 180) * np.cos(np.radians(th))
    expected = E * glare.general(th, age=60, pigment=1.0)
    assert found[20, places, 0] == pytest.approx(expected, rel=1e-4)


def test_far_wide_angles_count_by_their_cosine():
    share = glare.kernel((2, 100), degrees_per_pixel=1.0, age=30, pigment=0.5)
    assert share[0, 90] == pytest.approx(0, abs=1e-12)
    solid = np.radians(1) ** 2 * np.sinc(60 / 180)
    assert share[0, 60] == pytest.approx(glare.general(60.0) * solid / 2, rel=1e-9)


def test_a_pixel_keeps_what_it_would_give_to_itself():
    share = glare.kernel((5, 6), degrees_per_pixel=0.3, age=30, pigment=0.5)
    assert share[0, 0] == 0
    assert (share.ravel()[1:] > 0).all()
    # so a line that is finer than a coarse cell is only dimmed, not smeared
    line = np.zeros((12, 2400, 1))
    line[:, 1200] = 1.0
    found = glare.scattered(line, degrees_per_pixel=0.02, age=30, pigment=0.5)
    assert found[6, 1200, 0] > 0.7
    assert found[6, 1199, 0] < 0.05


def test_even_light_stays_even_and_none_is_lost():
    even = np.full((30, 47, 2), 3.0)
    out = glare.scattered(even, degrees_per_pixel=0.1, age=30, pigment=0.5)
    assert out == pytest.approx(even, rel=1e-12)
    light = np.random.default_rng(1).random((40, 25, 3)) ** 8 * 1e4
    out = glare.scattered(light, degrees_per_pixel=0.05, age=70, pigment=0.5)
    assert out.sum(axis=(0, 1)) == pytest.approx(light.sum(axis=(0, 1)), rel=1e-12)
    assert (out > 0).all()
    assert abs(out - light).max() > 100


def test_within_a_tenth_of_a_degree_the_spread_is_held():
    held = glare.spread([0.0, 0.05, 0.1], age=50, pigment=0.5)
    edge = float(glare.general(0.1, age=50, pigment=0.5))
    assert held == pytest.approx(np.full(3, edge), rel=1e-12)
    assert glare.spread(101.0) == 0


def test_older_and_paler_eyes_scatter_more():
    angles = np.array([0.5, 5.0, 50.0])
    assert (glare.general(angles, age=70) > glare.general(angles, age=30)).all()
    pale, dark = (glare.general(angles, pigment=p) for p in (1.2, 0.0))
    assert (pale > dark).all()
    assert glare.stronger(10.0, age=70, than=30) == pytest.approx(
        glare.general(10.0, age=70) / glare.general(10.0, age=30)
    )


def test_drowned_angle_is_where_the_veil_equals_what_it_hides():
    angle = glare.drowned_angle(illuminance=1.0, luminance=0.5)
    assert glare.veil_of(angle, illuminance=1.0) == pytest.approx(0.5, rel=0.02)
    assert glare.drowned_angle(illuminance=1e-9, luminance=0.5) == 0


# --------------------------------------------------------- second implementations


def slow(picture, pitch, age, pigment):
    """Every pixel with every other, by the definition."""
    height, width, _ = picture.shape
    share = glare.kernel((height, width), degrees_per_pixel=pitch, age=age,
                         pigment=pigment)  # fmt: skip
    out = picture.copy()
    for i in range(height):
        for j in range(width):
            for k in range(height):
                for m in range(width):
                    moved = share[abs(i - k), abs(j - m)] * picture[i, j]
                    out[i, j] -= moved
                    out[k, m] += moved
    return out


@pytest.mark.parametrize("shape", [(5, 7, 3), (1, 6, 1), (4, 1, 2), (1, 1, 3)])
def test_fast_sum_equals_the_slow_one(shape):
    light = np.random.default_rng(2).random(shape)
    found = glare.scattered(light, degrees_per_pixel=0.2, age=40, pigment=0.5)
    assert found == pytest.approx(slow(light, 0.2, 40, 0.5), rel=1e-10)


def test_large_pictures_are_scattered_alike_at_a_coarser_pitch():
    fine = np.zeros((603, 1201, 1), dtype=np.float32)
    fine[251:351, 201:301] = 100.0
    found = glare.scattered(fine, degrees_per_pixel=0.01, age=30, pigment=0.5)
    glow = fine[1:601:2, 1:1201:2].astype(float)
    exact = glare.scattered(glow, degrees_per_pixel=0.02, age=30, pigment=0.5)
    places = np.array([400, 500, 800, 1150])
    assert found.dtype == np.float32
    assert found[301, places, 0] == pytest.approx(
        exact[150, (places - 1) // 2, 0], rel=0.02
    )
    assert found.sum(dtype=float) == pytest.approx(fine.sum(dtype=float), rel=1e-3)
    even = np.full((30, 1700, 1), 2.0)
    out = glare.scattered(even, degrees_per_pixel=0.01, age=30, pigment=0.5)
    assert out == pytest.approx(even, rel=1e-12)


# ------------------------------------------------------------------------- errors


@pytest.mark.parametrize("angle", [0.05, 120.0, [1.0, 101.0]])
def test_general_equation_ends_where_it_ends(angle):
    with pytest.raises(ModelError, match=r"holds from 0\.1 to 100"):
        glare.general(angle)


def test_stiles_holladay_ends_where_it_ends():
    with pytest.raises(ModelError, match="holds from 1 to 30"):
        glare.stiles_holladay(0.5)


@pytest.mark.parametrize("pitch", [0.0, -1.0, 20.0, np.nan])
def test_picture_wider_than_a_view(pitch):
    with pytest.raises(ModelError, match="viewing distance"):
        glare.scattered(np.ones((4, 10, 3)), degrees_per_pixel=pitch, age=30,
                        pigment=0.5)  # fmt: skip
