"""Plastic hinges: limit loads 4 Mp/L and 6 Mp/L by both solvers, 1e-6."""

import numpy as np
import pytest

from buttress.fe.solve.capacity import capacity
from buttress.fe.verification import hinge


@pytest.mark.parametrize("case", hinge.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"

LOAD = 4 * hinge.PLASTIC / hinge.LENGTH


@pytest.mark.parametrize("share", [1 - 1e-6, 1 + 1e-6])
def test_verdict_about_the_limit(share):
    answer = hinge.bar(built_in=False).answer(np.array([share * LOAD]))
    assert answer.status == ("held" if share < 1 else "no equilibrium")


def test_the_middle_turns_first():
    solver = hinge.bar(built_in=False)
    found = capacity(solver.problem, np.ones(1))
    assert [solver.problem.links.hinges[i].node for i in found.turning] == [4]


def test_a_propped_bar_redistributes():
    # Elastic moments are 3FL/16 at the built-in end and 5FL/32 in the middle: the end yields
    # first and turns until the middle yields too.
    answer = hinge.bar(built_in=True).answer(np.array([5.9 * hinge.PLASTIC / hinge.LENGTH]))
    assert answer.held
    assert abs(answer.force[-1]) == pytest.approx(hinge.PLASTIC, rel=1e-9)
    assert not answer.kink.any()


def test_a_kink_is_remembered():
    # An end that never yields: the middle turns, the end takes FL/2 - 2Mp by statics, and unloading
    # is elastic, so that the difference from the elastic moment is locked in.
    solver = hinge.bar(built_in=True, end=np.inf)
    load = 7 * hinge.PLASTIC / hinge.LENGTH
    elastic = solver.answer(np.ones(1)).force[-1] * load
    yielded = solver.answer(np.array([load]))
    assert np.flatnonzero(yielded.kink).tolist() == [3]
    assert abs(yielded.force[-1]) == pytest.approx(
        load * hinge.LENGTH / 2 - 2 * hinge.PLASTIC, rel=1e-9)
    rest = solver.answer(np.zeros(1), solver.advance(yielded))
    assert rest.kink == pytest.approx(yielded.kink)
    assert rest.force[-1] == pytest.approx(yielded.force[-1] - elastic, rel=1e-9)
