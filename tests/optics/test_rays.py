"""Clear stacks: the exact sum of all bounces along each ray."""

import numpy as np
import pytest
from published import Published, published
from reference import bounced_ray, lambertian_mean
from scipy.special import expn

from tintlab.optics import (
    Slab,
    fluxes,
    normal_reflectance,
    oblique_reflectance,
    solve,
)
from tintlab.optics.rays import ray_sum

GAP = Slab(index=1.0, absorbed=0.0)

# ---- published -----------------------------------------------------------------

STOKES = "Stokes 1862, Proc. R. Soc. 11:545"


@published(
    Published(source=STOKES + ", R", given={"tau": 0.0}, printed="0.0769231"),
    Published(
        source="incoherent slab sum, iadpython 0.5.3 agrees, R",
        given={"tau": 0.5},
        printed="0.0535695",
    ),
)
def test_reflectance_of_a_plate(check):
    plate = Slab(index=1.5, absorbed=check.given["tau"])
    assert fluxes([plate]).reflectance == pytest.approx(
        check.expected, abs=check.half_digit
    )


@published(
    Published(source=STOKES + ", T", given={"tau": 0.0}, printed="0.9230769"),
    Published(
        source="incoherent slab sum, iadpython 0.5.3 agrees, T",
        given={"tau": 0.5},
        printed="0.5593079",
    ),
)
def test_transmittance_of_a_plate(check):
    plate = Slab(index=1.5, absorbed=check.given["tau"])
    assert fluxes([plate]).transmittance == pytest.approx(
        check.expected, abs=check.half_digit
    )


def test_diffuse_light_on_a_dyed_plate():
    # angle integral of the clear slab, n = 1.5, tau = 0.5: R 0.1106158, T 0.4761086
    # within 1e-5; a Monte Carlo gave 0.11061(20) and 0.47612(14)
    found = fluxes([Slab(index=1.5, absorbed=0.5)], light="diffuse")
    assert found.reflectance == pytest.approx(0.1106158, abs=1e-5)
    assert found.transmittance == pytest.approx(0.4761086, abs=1e-5)


@pytest.mark.parametrize("tau", [0.01, 0.1, 0.5, 2.0, 10.0])
def test_diffuse_light_through_a_sheet_without_faces(tau):
    # T = 2 E3(tau), Chandrasekhar 1960; 0.4432087 at tau = 0.5
    found = fluxes([Slab(index=1.0, absorbed=tau)], light="diffuse")
    assert found.transmittance == pytest.approx(2 * expn(3, tau), abs=1e-6)
    assert found.reflectance == pytest.approx(0.0, abs=1e-15)
    assert 2 * expn(3, 0.5) == pytest.approx(0.4432087, abs=1e-7)


@pytest.mark.parametrize("plates", [1, 2, 3, 10])
def test_pile_of_lossless_plates(plates):
    # Stokes 1862: T = (1 - r) / (1 + (2 m - 1) r); 0.8 for three plates of n = 1.5
    pile = [Slab(index=1.5, absorbed=0.0), GAP] * plates
    r = normal_reflectance(n_from=1.0, n_into=1.5)
    found = fluxes(pile[:-1])
    assert found.transmittance == pytest.approx(
        (1 - r) / (1 + (2 * plates - 1) * r), rel=1e-13
    )
    if plates == 3:
        assert found.transmittance == pytest.approx(0.8, abs=1e-9)


@published(
    Published(source="mean oblique path", given={"n": 1.41}, printed="1.164"),
    Published(source="mean oblique path", given={"n": 1.5}, printed="1.138"),
    Published(source="mean oblique path", given={"n": 1.57}, printed="1.122"),
)
def test_mean_path_of_the_diffuse_light_that_enters(check):
    # project's quadrature (numpy only), weighted with what the first face lets in
    n = check.given["n"]
    m = np.sqrt((np.arange(4000) + 0.5) / 4000)
    enters = 1 - oblique_reflectance(n_from=1.0, n_into=n, cosine=m)
    path = 1 / np.sqrt(1 - (1 - m * m) / n**2)
    mean = (enters * path).sum() / enters.sum()
    assert mean == pytest.approx(check.expected, abs=check.half_digit)


# ---- second implementation -----------------------------------------------------

STACKS = [
    ([1.5], [0.3]),
    ([1.4, 1.6], [0.1, 0.7]),
    ([1.5, 1.0, 1.57], [0.2, 0.0, 0.5]),
    ([1.5, 1.5, 1.0, 1.41], [0.1, 0.2, 0.05, 0.9]),
]


@pytest.mark.parametrize(("indices", "depths"), STACKS)
@pytest.mark.parametrize("cosine", [1.0, 0.5, 0.1])
def test_stack_against_bounces_followed_one_by_one(indices, depths, cosine):
    R, T = bounced_ray(indices=indices, depths=depths, cosine=cosine)
    slabs = [Slab(index=n, absorbed=t) for n, t in zip(indices, depths, strict=True)]
    found = fluxes(slabs, light=([cosine], [1.0]))
    assert found.reflectance == pytest.approx(R, abs=1e-12)
    assert found.transmittance == pytest.approx(T, abs=1e-12)


def test_diffuse_light_against_a_brute_mean_over_rays():
    indices, depths = STACKS[2]
    slabs = [Slab(index=n, absorbed=t) for n, t in zip(indices, depths, strict=True)]
    found = fluxes(slabs, light="diffuse")
    for part, value in enumerate((found.reflectance, found.transmittance)):
        literal = lambertian_mean(
            lambda m, part=part: bounced_ray(
                indices=indices, depths=depths, cosine=m, bounces=60
            )[part],
            count=400,
        )
        assert value == pytest.approx(literal, abs=3e-4)


# ---- identities ----------------------------------------------------------------


@pytest.mark.parametrize("n", [1.0, 1.41, 1.57])
def test_a_weakly_dyed_plate_absorbs_along_the_mean_oblique_path(n):
    # each ray enters with 1 - r and crosses 1 / (1 - r) times: faces cancel
    mean = lambertian_mean(lambda m: 1 / np.sqrt(1 - (1 - m * m) / n**2), count=40000)
    found = fluxes([Slab(index=n, absorbed=1e-6)], light="diffuse")
    absorbed = 1 - found.reflectance - found.transmittance
    assert absorbed / 1e-6 == pytest.approx(mean, rel=6e-3 if n == 1.0 else 1e-4)


def test_turned_over_a_stack_transmits_the_same_and_reflects_otherwise():
    indices = [np.array([1.5]), np.array([1.0]), np.array([1.6])]
    depths = [np.array([0.9]), np.array([0.0]), np.array([0.1])]
    cosines = np.array([1.0, 0.6, 0.2])
    front, through, back = ray_sum(indices=indices, depths=depths, cosines=cosines)
    turned = ray_sum(indices=indices[::-1], depths=depths[::-1], cosines=cosines)
    assert turned[1] == pytest.approx(through, rel=1e-13)
    assert turned[0] == pytest.approx(back, rel=1e-13)
    assert turned[2] == pytest.approx(front, rel=1e-13)
    assert (np.abs(front - back) > 0.01).all()


def test_a_clear_stack_shows_nothing_but_its_regular_part():
    stack = [
        Slab(index=1.5, absorbed=[0.1, 0.5, 2.0]),
        GAP,
        Slab(index=1.4, absorbed=1),
    ]
    found = solve(stack, lights=("normal", "diffuse"))
    for light in found.lights:
        assert (light.headon == 0).all()
        assert light.regular == pytest.approx(light.transmittance, rel=1e-15)
    assert (found.back_headon == 0).all()
    assert found.lights[0].regular_headon == pytest.approx(
        found.lights[0].transmittance, rel=1e-15
    )
    turned = solve(stack[::-1], lights=("normal", "diffuse"))
    assert found.back_regular_normal == pytest.approx(
        turned.lights[0].reflectance, rel=1e-13
    )
    assert found.back_reflectance == pytest.approx(
        turned.lights[1].reflectance, rel=1e-13
    )


def test_no_dye_no_index_no_stack():
    found = fluxes([GAP], light="diffuse")
    assert found.transmittance == pytest.approx(1.0, rel=1e-14)
    assert found.reflectance == pytest.approx(0.0, abs=1e-14)
