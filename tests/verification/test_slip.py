"""Slip against friction and a dowel: 1e-5."""

import pytest

from buttress.fe.verification import slip


@pytest.mark.parametrize("case", slip.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_closed_form_is_the_rounded_value():
    assert slip.CASES[0].reference == pytest.approx(0.313641, abs=5e-7)


def test_the_dowel_takes_what_friction_leaves():
    _, answer = slip.slid()
    assert answer.force[-1] == pytest.approx(slip.CASES[0].reference * slip.DOWEL, rel=1e-6)
