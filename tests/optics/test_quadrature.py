"""Nodes and weights."""

import numpy as np
import pytest

from tintlab.optics.quadrature import condensed, gauss, lagrange, radau, stream_split


@pytest.mark.parametrize("count", [2, 6, 12, 24])
def test_rules_integrate_polynomials_of_their_degree(count):
    for (nodes, weights), degree in (
        (gauss(count), 2 * count - 1),
        (radau(count), 2 * count - 2),
    ):
        for power in range(degree + 1):
            assert weights @ nodes**power == pytest.approx(1 / (power + 1), rel=1e-11)


def test_radau_starts_at_the_normal_and_is_inside_elsewhere():
    nodes, weights = radau(6)
    assert nodes[0] == 1.0
    assert (np.diff(nodes) < 0).all()
    assert nodes[-1] > 0
    assert (weights > 0).all()


def test_lagrange_reproduces_polynomials_and_picks_nodes():
    nodes, _ = radau(6)
    points = np.linspace(0, 1, 9)
    onto = lagrange(nodes=nodes, points=points)
    assert onto.sum(axis=1) == pytest.approx(np.ones(9), abs=1e-12)
    assert onto @ nodes**5 == pytest.approx(points**5, abs=1e-12)
    assert lagrange(nodes=nodes, points=nodes) == pytest.approx(np.eye(6), abs=1e-12)


def test_condensed_keeps_moments_with_few_nodes():
    x = np.linspace(0.2, 1, 500)
    w = x**3
    few, weights = condensed(nodes=x, weights=w, count=6)
    assert few.size == 6
    assert (weights > 0).all()
    assert ((few > 0.2) & (few < 1)).all()
    for power in range(12):
        assert weights @ few**power == pytest.approx(w @ x**power, rel=1e-10)


def test_condensed_keeps_a_distribution_of_few_nodes_as_it_is():
    few, weights = condensed(nodes=[0.3, 0.9, 0.9], weights=[1, 2, 3], count=6)
    assert few == pytest.approx([0.3, 0.9])
    assert weights == pytest.approx([1, 5])


def test_ten_streams_are_six_and_four():
    assert stream_split(10) == (6, 4)
    assert stream_split(20) == (12, 8)


def test_shared_rules_are_read_only():
    with pytest.raises(ValueError, match="read-only"):
        gauss(4)[0][0] = 0.0
