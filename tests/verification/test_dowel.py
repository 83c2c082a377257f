"""Dowel across a closed crack (Friberg): 0.1 %."""

import pytest

from buttress.fe.verification import dowel


@pytest.mark.parametrize("case", dowel.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_closed_form_is_the_rounded_values():
    assert [case.reference for case in dowel.CASES] == pytest.approx(
        [2559.880, 2531.784, 2420.301], rel=3e-7)


def test_a_long_dowel_is_endless():
    assert dowel.finite(200.0) == pytest.approx(dowel.infinite(), rel=1e-8)
