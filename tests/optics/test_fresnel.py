"""One face: Fresnel along a ray and for diffuse light."""

import numpy as np
import pytest
from published import Published, published
from reference import face, lambertian_mean

from tintlab.optics.fresnel import (
    diffuse_reflectance,
    normal_reflectance,
    oblique_reflectance,
)

# ---- published -----------------------------------------------------------------

BORN_WOLF = "Born and Wolf, Principles of Optics, 1.5.2"
DUNTLEY = "Walsh 1926 / Duntley 1942 closed form"
PRAHL = "Prahl 1988 thesis, Table B.1, column R1, row"


@published(
    Published(source=BORN_WOLF, given={"n_into": 1.41}, printed="0.0289423"),
    Published(source=BORN_WOLF, given={"n_into": 1.5}, printed="0.0400000"),
    Published(source=BORN_WOLF, given={"n_into": 1.57}, printed="0.0491908"),
)
def test_normal_reflectance(check):
    found = normal_reflectance(n_from=1.0, **check.given)
    assert found == pytest.approx(check.expected, abs=check.half_digit)


def test_reflectance_at_60_degrees():
    # Fresnel and Snell; 0.0891867 and a path factor of 1.2247449 (closed form)
    found = oblique_reflectance(n_from=1.0, n_into=1.5, cosine=0.5)
    assert found == pytest.approx(0.0891867, abs=1e-7)
    inside = np.sqrt(1 - (np.sin(np.pi / 3) / 1.5) ** 2)
    assert inside == pytest.approx(0.8164966, abs=1e-7)
    assert 1 / inside == pytest.approx(1.2247449, abs=1e-7)
    back = oblique_reflectance(n_from=1.5, n_into=1.0, cosine=inside)
    assert back == pytest.approx(found, rel=1e-12)


def test_reflection_is_total_beyond_41_81_degrees():
    critical = np.degrees(np.arcsin(1 / 1.5))
    assert critical == pytest.approx(41.81, abs=0.005)
    cosine = np.cos(np.radians([41.7, 41.9, 45.0, 89.0]))
    found = oblique_reflectance(n_from=1.5, n_into=1.0, cosine=cosine)
    assert found[0] < 0.9
    assert found[1:] == pytest.approx([1.0, 1.0, 1.0], abs=1e-15)


@published(
    Published(source=DUNTLEY, given={"n": 1.41}, printed="0.0783355"),
    Published(source=DUNTLEY, given={"n": 1.5}, printed="0.091778"),
    Published(source=DUNTLEY, given={"n": 1.57}, printed="0.101950"),
    Published(source=PRAHL + " 0.5", given={"n": 2.0}, printed="0.161", tolerance=1e-3),
    Published(
        source=PRAHL + " 0.6", given={"n": 1 / 0.6}, printed="0.116", tolerance=1e-3
    ),
    Published(
        source=PRAHL + " 0.7", given={"n": 1 / 0.7}, printed="0.081", tolerance=1e-3
    ),
)
def test_diffuse_reflectance_from_air(check):
    found = diffuse_reflectance(n_from=1.0, n_into=check.given["n"])
    assert found == pytest.approx(check.expected, abs=check.half_digit)


@published(
    Published(source=DUNTLEY, given={"n": 1.41}, printed="0.5364094"),
    Published(source=DUNTLEY, given={"n": 1.5}, printed="0.5963458"),
    Published(source=DUNTLEY, given={"n": 1.57}, printed="0.6356647"),
)
def test_diffuse_reflectance_from_inside(check):
    found = diffuse_reflectance(n_from=check.given["n"], n_into=1.0)
    assert found == pytest.approx(check.expected, abs=check.half_digit)


# ---- identities ----------------------------------------------------------------


def test_equal_media_have_no_face():
    for function in (normal_reflectance, diffuse_reflectance):
        assert function(n_from=1.5, n_into=1.5) == pytest.approx(0.0, abs=1e-15)
    ray = oblique_reflectance(n_from=1.5, n_into=1.5, cosine=0.3)
    assert ray == pytest.approx(0.0, abs=1e-15)


def test_oblique_nears_normal_and_grazing_limits():
    normal = normal_reflectance(n_from=1.2, n_into=1.6)
    assert oblique_reflectance(n_from=1.2, n_into=1.6, cosine=1.0) == pytest.approx(
        normal, rel=1e-14
    )
    grazing = oblique_reflectance(n_from=1.2, n_into=1.6, cosine=1e-9)
    assert grazing == pytest.approx(1.0, abs=1e-7)


def test_diffuse_reflectance_is_smooth_where_the_method_changes():
    n = np.array([1.0199999, 1.0200001])
    values = diffuse_reflectance(n_from=1.0, n_into=n)
    assert values[1] - values[0] == pytest.approx(0.0, abs=1e-6)


# ---- second implementation -----------------------------------------------------


@pytest.mark.parametrize("n", [1.001, 1.01, 1.1, 1.5, 2.4])
def test_diffuse_reflectance_is_the_mean_of_fresnel(n):
    literal = lambertian_mean(lambda m: face(1.0, n, np.sqrt(1 - m * m)), count=20000)
    found = diffuse_reflectance(n_from=1.0, n_into=n)
    assert found == pytest.approx(literal, abs=2e-5)


def test_order_of_indices_matters_for_diffuse_light_only():
    # from inside: the mean over all angles, most of them totally reflected
    def inside(m):
        return face(1.5, 1.0, 1.5 * np.sqrt(1 - m * m))

    found = diffuse_reflectance(n_from=1.5, n_into=1.0)
    assert found == pytest.approx(lambertian_mean(inside, count=20000), abs=5e-5)


@pytest.mark.parametrize("shape", [(), (3,), (2, 3)])
def test_shapes_broadcast(shape):
    n = 1.5 * np.ones(shape)
    assert normal_reflectance(n_from=1.0, n_into=n).shape == shape
    assert diffuse_reflectance(n_from=n, n_into=1.0).shape == shape
    assert oblique_reflectance(n_from=1.0, n_into=n, cosine=0.5).shape == shape
