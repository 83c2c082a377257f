"""Pull-out of a screw (Chapman; formula from memory): 1e-6."""

import numpy as np
import pytest

from buttress.fe.solve.capacity import capacity
from buttress.fe.verification import pullout
from buttress.fe.verification.parts import limit


@pytest.mark.parametrize("case", pullout.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_closed_form_is_the_rounded_values():
    assert pullout.CANCELLOUS.holding() == pytest.approx(708.508, rel=1e-6)
    assert pullout.CORTICAL.holding() == pytest.approx(1157.343, rel=1e-6)


def test_the_program_names_the_threads():
    solver = pullout.screw(pullout.CANCELLOUS)
    found = capacity(solver.problem, np.ones(1))
    assert {solver.problem.links.links[i].kind for i in found.at_bound} == {"thread"}
    assert len(found.at_bound) == 20


def test_the_shank_holds_nothing():
    longer = limit(pullout.screw(pullout.CANCELLOUS, shank=40.0), np.ones(1))
    assert longer == pytest.approx(pullout.CANCELLOUS.holding(), rel=1e-9)
