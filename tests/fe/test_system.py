"""The system of a trial state: factors of another state, bordered, against solving it whole."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from buttress.fe.solve.solver import Solver
from buttress.fe.solve.sticking import LARGE
from buttress.fe.solve.system import Bordered, Equations, Factors
from buttress.fe.verification import pressed

SIZE = 14


def some(rng: np.random.Generator, own: np.ndarray) -> Equations:
    """Equations of given unknowns, some with a partner, some with a slope."""
    slope = np.where(rng.random(own.size) < 0.3, rng.uniform(-0.5, 0.5, own.size), 0.0)
    stiffen = np.where(rng.random(own.size) < 0.3, rng.uniform(0.1, 1.0, own.size), 0.0)
    return Equations(own, rng.integers(0, SIZE, own.size), slope, stiffen)


def whole(equations: Equations, replies: np.ndarray) -> np.ndarray:
    """Coefficients written out one by one."""
    out = np.zeros((equations.size, equations.size))
    for i, (own, mate) in enumerate(zip(equations.own, equations.mate, strict=True)):
        for j, other in enumerate(equations.own):
            out[i, j] = replies[own, other] - equations.slope[i] * replies[mate, other]
        out[i, i] += equations.stiffen[i]
    return out


@given(st.integers(0, 2**31), st.integers(0, SIZE), st.integers(0, 6), st.integers(0, 4))
def test_bordered_factors_solve_the_changed_equations(seed: int, count: int, flips: int,
                                                      change: int) -> None:
    """Against LAPACK through numpy.linalg.solve on the whole matrix."""
    rng = np.random.default_rng(seed)
    replies = rng.normal(size=(SIZE, SIZE)) * 0.2 + np.eye(SIZE)
    first = some(rng, np.sort(rng.permutation(SIZE)[:count]))
    flipped = rng.permutation(SIZE)[:flips]
    own = np.setxor1d(first.own, flipped)
    now = some(rng, own)
    # What stays keeps its equation, but for a few.
    for i, name in enumerate(own):
        old = np.flatnonzero(first.own == name)
        if old.size and i >= change:
            for field in ("mate", "slope", "stiffen"):
                getattr(now, field)[i] = getattr(first, field)[old[0]]
    base = Factors(first, first.rows(replies, first.own))
    near = Bordered(base, now, replies, most=np.inf)
    right = rng.normal(size=own.size)
    matrix = whole(now, replies)
    assert now.rows(replies, own) == pytest.approx(matrix, abs=1e-12)
    if base.rcond < 1e-6 or near.rcond < 1e-6:
        return
    expected = np.linalg.solve(matrix, right) if own.size else right
    assert near.solve(right) == pytest.approx(expected, rel=1e-6, abs=1e-7)
    assert Factors(now, matrix).solve(right) == pytest.approx(expected, rel=1e-6, abs=1e-7)


def test_what_differs_too_much_is_not_bordered() -> None:
    replies = np.eye(SIZE)
    none = Equations(np.arange(4), np.zeros(4, dtype=int), np.zeros(4), np.zeros(4))
    base = Factors(none, none.rows(replies, none.own))
    other = Equations(np.arange(6, 12), np.zeros(6, dtype=int), np.zeros(6), np.zeros(6))
    assert Bordered(base, other, replies, most=9).rcond == 0.0
    assert Bordered(base, other, replies, most=10).rcond > 0.5


def test_equations_without_a_unique_answer_have_no_condition() -> None:
    replies = np.ones((SIZE, SIZE)) + np.diag([1.0] * 4 + [0.0] * (SIZE - 4))
    fine = Equations(np.arange(4), np.zeros(4, dtype=int), np.zeros(4), np.zeros(4))
    base = Factors(fine, fine.rows(replies, fine.own))
    alike = Equations(np.arange(6), np.zeros(6, dtype=int), np.zeros(6), np.zeros(6))
    assert base.rcond > 1e-3
    assert Bordered(base, alike, replies, most=9).rcond < 1e-12


def test_what_a_solver_forgets_is_made_anew_the_same() -> None:
    """Points of a path keep no inverse; what is asked of one later is what it was."""
    ram = pressed.bent(True).ram
    solver = Solver(ram.solver.problem)
    before = {name: getattr(solver, name).copy() for name in LARGE}
    solver.rest()
    assert not set(LARGE) & set(vars(solver))
    for name, values in before.items():
        assert np.array_equal(getattr(solver, name), values), name
    with pytest.raises(AttributeError):
        solver.nothing_of_the_kind  # noqa: B018
