"""The inverse of a state's equations, updated from one state to the next, against the whole one."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.solve.system import Equations, Factors
from buttress.fe.solve.updated import MOST_CHANGES, Updated

SIZE = 14


def equations(own: IntArray, slope: FloatArray, stiffen: FloatArray, mate: IntArray) -> Equations:
    return Equations(own, mate[own], slope[own], stiffen[own])


@given(st.integers(0, 2**31), st.integers(1, SIZE), st.integers(1, 25))
def test_one_change_after_another_solves_as_the_whole_system_does(seed: int, count: int,
                                                                  pivots: int) -> None:
    """Against LAPACK through numpy.linalg.solve on each state's own matrix."""
    rng = np.random.default_rng(seed)
    replies = rng.normal(size=(SIZE, SIZE)) * 0.1 + np.eye(SIZE)
    mate = rng.integers(0, SIZE, SIZE)
    slope = np.where(rng.random(SIZE) < 0.4, 0.3, 0.0)
    stiffen = np.where(rng.random(SIZE) < 0.3, 0.5, 0.0)
    own = np.sort(rng.permutation(SIZE)[:count])
    first = equations(own, slope, stiffen, mate)
    updated = Updated(first, Factors(first, first.rows(replies, own)), replies)
    for _ in range(pivots):
        if rng.random() < 0.3 and own.size:
            at = own[rng.integers(own.size)]
            slope[at] = -slope[at]          # slips the other way
        else:
            own = np.setxor1d(own, rng.integers(SIZE, size=1))
        now = equations(own, slope, stiffen, mate)
        assert updated.to(now)
        right = rng.normal(size=own.size)
        expected = np.linalg.solve(now.rows(replies, own), right) if own.size else right
        assert updated.solve(right, own) == pytest.approx(expected, rel=1e-8, abs=1e-9)


def test_many_changes_and_what_would_be_singular_are_refused() -> None:
    replies = np.eye(SIZE)
    replies[0, 1] = replies[1, 0] = 1.0      # two equations of which one says nothing new
    none = np.zeros(SIZE)
    mate = np.zeros(SIZE, dtype=np.int64)

    def start() -> Updated:
        first = equations(np.array([0]), none, none, mate)
        return Updated(first, Factors(first, first.rows(replies, first.own)), replies)

    assert start().to(equations(np.array([0, 2]), none, none, mate))
    assert not start().to(equations(np.array([0, 1]), none, none, mate))
    assert not start().to(equations(np.arange(2, 3 + MOST_CHANGES), none, none, mate))
