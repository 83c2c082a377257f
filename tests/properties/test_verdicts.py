"""Verdicts on small random problems against trying every state of every link."""

import numpy as np
from enumerated import FORCE, problem, solutions, violation
from hypothesis import given
from hypothesis import strategies as st

from buttress.fe.solve.capacity import capacity
from buttress.fe.solve.solver import Solver

FAR = 1.0
"""A body that falls farther [mm] before it jams is not what "no equilibrium" denies."""


@given(st.integers(0, 10**6), st.booleans())
def test_the_verdict_is_right(seed, hardens):
    p = problem(seed, hardens)
    answer = Solver(p).answer(FORCE)
    every = list(solutions(p))
    if answer.held:
        assert np.isfinite(np.concatenate([answer.force, answer.rigid, answer.slack])).all()
        # The thin layer of redundant links is the only liberty taken.
        assert violation(p, answer.force, answer.rigid) < 1e-6
        limit = capacity(p.firm(), FORCE).factor
        assert limit is None or limit > 1 - 1e-9
    else:
        assert answer.status == "no equilibrium"
        if answer.method == "linear program":
            assert not every
        assert all(np.abs(rigid).max() > FAR for _, rigid in every)


def test_the_examples_are_of_both_kinds():
    verdicts = [bool(list(solutions(problem(seed)))) for seed in range(60)]
    assert 10 < sum(verdicts) < 50


def test_the_enumeration_notices_a_wrong_answer():
    p = next(p for p in map(problem, range(100)) if list(solutions(p)))
    force, rigid = next(solutions(p))
    assert violation(p, force, rigid) < 1e-8
    assert violation(p, force * 1.01, rigid) > 1e-4
    assert violation(p, force, rigid + 1e-3) > 1e-6
