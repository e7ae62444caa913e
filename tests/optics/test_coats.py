"""Coats, gaps and uneven thickness."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import gamma

from tintlab.errors import ModelError
from tintlab.optics.coats import (
    coats_absorbance,
    patchy_transmittance,
    uneven_transmittance,
)

# ---- published -----------------------------------------------------------------


def test_three_even_coats_add_their_absorbances():
    # additivity of absorbance, films in contact: 0.18 each, T = 0.2884032
    A = coats_absorbance(first=0.18, coats=3, gain=1.0)
    assert pytest.approx(0.2884032, abs=1e-7) == 10.0**-A


def test_a_patchy_film_averages_transmittance():
    # sieve effect (Duysens 1956): 0.9 covered with T = 0.1 gives 0.19, while the same
    # amount of dye spread evenly would give 0.1258925
    assert patchy_transmittance(coverage=0.9, film=0.1) == pytest.approx(0.19, abs=1e-9)
    assert pytest.approx(0.1258925, abs=1e-7) == 0.1**0.9


# ---- identities ----------------------------------------------------------------


def test_coats_from_none_to_many():
    n = np.array([0.0, 0.5, 1.0, 2.0, 4.0])
    A = coats_absorbance(first=0.5, coats=n, gain=0.8)
    assert pytest.approx([0.0, 0.25, 0.5, 0.9, 1.7], rel=1e-12) == A


def test_coverage_limits_and_what_lies_bare():
    film, bare = np.array([0.1, 0.5]), np.array([0.9, 0.8])
    assert patchy_transmittance(coverage=1, film=film, bare=bare) == pytest.approx(film)
    assert patchy_transmittance(coverage=0, film=film, bare=bare) == pytest.approx(bare)


@pytest.mark.parametrize("A", [0.0, 0.2, 1.0, 3.0])
def test_an_even_film_follows_beer(A):
    assert uneven_transmittance(absorbance=A, variation=0.0) == pytest.approx(10**-A)
    near = uneven_transmittance(absorbance=A, variation=1e-4)
    assert near == pytest.approx(10**-A, rel=1e-6)


def test_unevenness_always_lets_more_through():
    c = np.array([0.0, 0.1, 0.3, 0.6])
    T = uneven_transmittance(absorbance=1.5, variation=c)
    assert (np.diff(T) > 0).all()


# ---- second implementation -----------------------------------------------------


@pytest.mark.parametrize(("A", "c"), [(0.3, 0.3), (1.0, 0.3), (2.0, 0.6), (1.0, 1.0)])
def test_mean_over_a_gamma_distribution(A, c):
    thickness = gamma(1 / c**2, scale=c**2)
    assert thickness.mean() == pytest.approx(1.0)
    literal, _ = quad(lambda x: thickness.pdf(x) * 10 ** (-A * x), 0, np.inf)
    found = uneven_transmittance(absorbance=A, variation=c)
    assert found == pytest.approx(literal, rel=1e-7)


# ---- errors and shapes ---------------------------------------------------------


def test_impossible_films_are_refused():
    with pytest.raises(ModelError, match="coverage"):
        patchy_transmittance(coverage=1.1, film=0.5)
    with pytest.raises(ModelError, match="coats -1"):
        coats_absorbance(first=0.5, coats=-1, gain=0.8)
    with pytest.raises(ModelError, match="variation"):
        uneven_transmittance(absorbance=0.5, variation=-0.1)
    with pytest.raises(ModelError, match="absorbance"):
        uneven_transmittance(absorbance=np.nan, variation=0.1)


@pytest.mark.parametrize("lead", [(), (3,), (2, 3)])
def test_leading_axes_broadcast(lead):
    A = np.full((*lead, 5), 0.4)
    c = np.full((*lead, 1), 0.3)
    assert uneven_transmittance(absorbance=A, variation=c).shape == A.shape
    assert coats_absorbance(first=A, coats=1 + c, gain=0.8).shape == A.shape
