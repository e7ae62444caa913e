"""The second implementations themselves, against published values and limits."""

import numpy as np
import pytest
from published import Published, published
from reference import (
    bounced_ray,
    chandrasekhar_h,
    saunderson,
    two_flux,
    two_flux_hyperbolic,
    two_sheets,
)

KUBELKA = "Kubelka 1948, JOSA 38:448"


@published(
    Published(source=KUBELKA, given={"K": 2.0, "S": 0.4, "i": 0}, printed="0.0831868"),
    Published(source=KUBELKA, given={"K": 2.0, "S": 0.4, "i": 1}, printed="0.0931599"),
    Published(
        source=KUBELKA + ", SX/(1+SX)",
        given={"K": 0.0, "S": 0.5, "i": 0},
        printed="0.3333333",
    ),
    Published(
        source=KUBELKA + ", 1/(1+SX)",
        given={"K": 0.0, "S": 0.5, "i": 1},
        printed="0.6666667",
    ),
    Published(
        source=KUBELKA + ", S = 0", given={"K": 0.3, "S": 0.0, "i": 0}, printed="0.0000"
    ),
    Published(
        source=KUBELKA + ", exp(-KX)",
        given={"K": 0.3, "S": 0.0, "i": 1},
        printed="0.7408182",
    ),
    Published(
        source="Kubelka and Munk 1931, R_inf",
        given={"K": 500.0, "S": 1000.0, "i": 0},
        printed="0.3819660",
    ),
    Published(
        source="Kubelka and Munk 1931, opaque",
        given={"K": 500.0, "S": 1000.0, "i": 1},
        printed="0.0000000",
    ),
)
def test_two_flux(check):
    K, S, i = (check.given[key] for key in "KSi")
    found = two_flux(absorption=K, scattering=S)[i]
    assert found == pytest.approx(check.expected, abs=check.half_digit)


def test_two_flux_in_two_algebraic_forms():
    for K, S in ((2.0, 0.4), (0.1, 3.0), (1e-3, 1.0)):
        assert two_flux(absorption=K, scattering=S) == pytest.approx(
            two_flux_hyperbolic(absorption=K, scattering=S), rel=1e-9
        )


@pytest.mark.parametrize("S", [1e-8, 1e-3, 1.0, 1e8])
def test_two_flux_loses_nothing_without_absorption(S):
    assert sum(two_flux(absorption=0.0, scattering=S)) == pytest.approx(1.0, abs=1e-12)


def test_two_flux_layers_add():
    half = two_flux(absorption=0.3, scattering=0.7)
    whole = two_flux(absorption=0.6, scattering=1.4)
    assert two_sheets(first=half, second=half) == pytest.approx(whole, rel=1e-12)


def test_saunderson_for_an_opaque_layer():
    # Saunderson 1942, JOSA 32:727: R = 0.5, k1 = 0.04, k2 = 0.6 gives 0.3142857
    R, T = saunderson(
        reflectance=0.5, transmittance=0.0, outside=0.04, inside=0.6, far_inside=0.6
    )
    assert pytest.approx(0.3142857, abs=1e-7) == R
    assert T == 0.0


@pytest.mark.parametrize("inside", [0.1, 0.6, 0.9])
def test_saunderson_loses_nothing_without_absorption(inside):
    total = saunderson(
        reflectance=0.3, transmittance=0.7, outside=0.05, inside=inside, far_inside=0.4
    )
    assert sum(total) == pytest.approx(1.0, abs=1e-12)


def test_two_sheets():
    # Kubelka 1954, JOSA 44:330: R1 0.2, T1 0.6, R2 0.3, T2 0.5
    R, T = two_sheets(first=(0.2, 0.6), second=(0.3, 0.5))
    assert pytest.approx(0.3148936, abs=1e-7) == R
    assert pytest.approx(0.3191489, abs=1e-7) == T


def test_bounces_of_a_lossless_plate_add_to_stokes():
    # Stokes 1862: R = 1/13, T = 12/13 for n = 1.5
    R, T = bounced_ray(indices=[1.5], depths=[0.0], cosine=1.0)
    assert pytest.approx(1 / 13, abs=1e-12) == R
    assert pytest.approx(12 / 13, abs=1e-12) == T


def test_h_function_has_its_known_mean():
    # Chandrasekhar 1960, chapter V, theorem: (a / 2) integral H = 1 - sqrt(1 - a)
    nodes, weights = np.polynomial.legendre.leggauss(64)
    H = chandrasekhar_h(albedo=0.9, cosines=(nodes + 1) / 2)
    mean = H @ weights / 2
    assert 0.45 * mean == pytest.approx(1 - np.sqrt(0.1), abs=1e-10)
