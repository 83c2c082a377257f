"""Beam on an elastic foundation (Hetényi; seen in excerpt): 0.1 %."""

import pytest

from buttress.fe.verification import foundation


@pytest.mark.parametrize("case", foundation.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_closed_form_is_the_rounded_values():
    beta = foundation.BETA
    assert beta == pytest.approx(0.05859649, abs=5e-9)
    assert [case.reference for case in foundation.CASES] == pytest.approx([0.0976608, 0.0244152],
                                                                          rel=2e-6)


def test_springs_closer_together_come_closer():
    exact = foundation.CASES[0].reference
    errors = [abs(foundation.deflection(160.0, 0.0, step) - exact) for step in (2.0, 1.0)]
    assert errors[1] < 0.3 * errors[0]
