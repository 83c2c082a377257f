"""Paths under a ram against closed forms: slopes, plastic hinges, a joint that opens, energies."""

import numpy as np
import pytest

from buttress.fe.solve.capacity import capacity
from buttress.fe.solve.events import events_of
from buttress.fe.verification import hinge, pressed


@pytest.mark.parametrize("case", pressed.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


@pytest.mark.parametrize("built_in", [False, True])
def test_peaks_are_those_of_the_linear_program(built_in):
    path = pressed.bent(built_in)
    limit = capacity(hinge.bar(built_in=built_in).problem, np.ones(1)).factor
    assert path.peak_status == "found"
    assert path.peak_N == pytest.approx(limit, rel=1e-8)


def test_the_built_in_end_yields_before_the_middle():
    kinds = [(e.kind, e.source) for e in events_of(pressed.bent(True))]
    assert kinds == [("yield", "moment"), ("hinge", "bar"), ("peak", "ram")]
