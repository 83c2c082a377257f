"""Linear complementarity problems: against non-negative least squares (scipy), and rays by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import nnls

from buttress.fe.solve.lemke import Pivots, lemke, proves_none


def minimum(matrix: np.ndarray, right: np.ndarray) -> np.ndarray:
    """The z >= 0 that makes ½ z.Mz + q.z least, which solves the problem (Kuhn, Tucker)."""
    root = np.linalg.cholesky(matrix)     # M = L L^T: least |L^T z + L^-1 q|
    return nnls(root.T, -np.linalg.solve(root, right))[0]


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("covering", [False, True])
def test_positive_definite_problems_are_those_of_least_squares(seed: int, covering: bool) -> None:
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, 12))
    half = rng.normal(size=(n, n))
    matrix, right = half @ half.T + 0.1 * np.eye(n), rng.normal(size=n)
    right[int(np.argmin(right))] -= 2.0      # something must give way
    z, why = lemke(matrix, right, Pivots(), covering=rng.uniform(0.5, 2.0, n) if covering else None)
    assert why == "solution"
    assert z == pytest.approx(minimum(matrix, right), abs=1e-9)
    v = matrix @ z + right
    assert v.min() >= -1e-9
    assert np.abs(z * v).max() < 1e-9


def test_ties_do_not_cycle() -> None:
    """Equal springs in a row, all pressed alike: every ratio is a tie at first."""
    n = 30
    matrix = 2.0 * np.eye(n) - np.eye(n, k=1) - np.eye(n, k=-1)
    right = -np.ones(n)
    z, why = lemke(matrix, right, Pivots())
    assert why == "solution"
    x = np.arange(1, n + 1)
    assert z == pytest.approx(x * (n + 1 - x) / 2.0)      # a string under even load
    assert lemke(matrix, right, Pivots(3)) == (None, "pivots")


def test_what_is_not_pressed_stays() -> None:
    z, why = lemke(-np.eye(2), np.array([0.0, 3.0]), Pivots())
    assert (z.tolist(), why) == ([0.0, 0.0], "solution")
    assert lemke(np.zeros((0, 0)), np.zeros(0), Pivots())[1] == "solution"


def test_a_mechanism_under_load_is_a_ray_along_its_motion() -> None:
    """Two rows that only a common motion leaves without resistance."""
    matrix, right = np.array([[1.0, -1.0], [-1.0, 1.0]]), np.array([-1.0, -1.0])
    z, why = lemke(matrix, right, Pivots())
    assert why == "ray"
    assert z[0] == pytest.approx(z[1])
    assert z[0] > 0.0
    assert proves_none(matrix, right, z)


@pytest.mark.parametrize(("matrix", "right", "ray", "wanted"), [
    ([[0.0]], [-1.0], [1.0], True),            # free, and pushed
    ([[0.0]], [-1.0], [5.0], True),            # however long the ray
    ([[0.0]], [1.0], [1.0], False),            # free, and held back by the load
    ([[0.0]], [0.0], [1.0], False),            # free, without load
    ([[1.0]], [-1.0], [1.0], False),           # a spring stores energy
    ([[0.0, -1.0], [1.0, 0.0]], [-1.0, -1.0], [1.0, 1.0], False),    # one row resists
    ([[0.0, 1.0], [1.0, 0.0]], [-1.0, -1.0], [1.0, 0.0], True),      # another only gains
    ([[0.0, 0.0], [0.0, 1.0]], [-1.0, -9.0], [0.0, 1.0], False)])
def test_only_a_motion_without_resistance_and_with_work_of_the_load_proves_that_none_holds(
        matrix: list, right: list, ray: list, wanted: bool) -> None:
    assert proves_none(np.array(matrix), np.array(right), np.array(ray)) is wanted


def test_numbers_beyond_all_bounds_prove_nothing() -> None:
    """Neither a solution nor a ray: a pivot on what rounding has left lets numbers grow so far."""
    with np.errstate(invalid="ignore"):
        z, why = lemke(np.array([[1.0, np.inf], [0.0, 1.0]]), np.array([-1.0, -2.0]), Pivots())
    assert (z, why) == (None, "overflow")
