from itertools import product
from math import factorial

import numpy as np
import pytest

from buttress.fe.bodies.element import (
    EDGE_POINTS,
    EDGE_WEIGHTS,
    NODES,
    QUADRATURE,
    edge_shape,
    shape,
)

DEGREE = {3: 2, 6: 4, 7: 5}


@pytest.mark.parametrize("points", QUADRATURE)
def test_quadrature_integrates_every_monomial_of_its_degree(points):
    (x, y), weights = QUADRATURE[points][0].T, QUADRATURE[points][1]
    assert len(weights) == points
    for i, j in product(range(DEGREE[points] + 1), repeat=2):
        if i + j <= DEGREE[points]:
            # integral of x^i y^j over the reference triangle
            exact = factorial(i) * factorial(j) / factorial(i + j + 2)
            assert weights @ (x**i * y**j) == pytest.approx(exact, rel=1e-14)


@pytest.mark.parametrize("points", QUADRATURE)
def test_quadrature_is_no_better_than_it_says(points):
    # Guards the test above: one degree more must not come out exactly for all monomials.
    (x, y), weights = QUADRATURE[points][0].T, QUADRATURE[points][1]
    n = DEGREE[points] + 1
    off = [weights @ (x**i * y**(n - i)) * factorial(n + 2) / (factorial(i) * factorial(n - i)) - 1
           for i in range(n + 1)]
    assert np.abs(off).max() > 1e-4


def test_shape_functions_are_one_at_their_node_and_sum_to_one():
    assert shape(NODES)[0] == pytest.approx(np.eye(6), abs=1e-15)
    xi = np.random.default_rng(0).uniform(0, 0.5, (9, 2))
    values, gradient = shape(xi)
    assert values.sum(axis=1) == pytest.approx(np.ones(9))
    assert gradient.sum(axis=1) == pytest.approx(np.zeros((9, 2)), abs=1e-14)


def test_gradients_are_the_slopes_of_the_values():
    xi, h = np.random.default_rng(1).uniform(0, 0.5, (9, 2)), 1e-6
    for k in (0, 1):
        step = np.eye(2)[k] * h
        slope = (shape(xi + step)[0] - shape(xi - step)[0]) / (2 * h)
        assert shape(xi)[1][..., k] == pytest.approx(slope, abs=1e-9)


def test_edge_rule_and_shape():
    for power in range(6):
        exact = 2 / (power + 1) if power % 2 == 0 else 0.0
        assert EDGE_WEIGHTS @ EDGE_POINTS**power == pytest.approx(exact, abs=1e-15)
    assert edge_shape(np.array([-1.0, 0, 1]))[0] == pytest.approx(np.eye(3))
    s, h = np.linspace(-0.9, 0.9, 5), 1e-6
    slope = (edge_shape(s + h)[0] - edge_shape(s - h)[0]) / (2 * h)
    assert edge_shape(s)[1] == pytest.approx(slope, abs=1e-9)
