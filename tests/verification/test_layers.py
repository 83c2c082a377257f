"""Two-layer beam (composite beam theory): 1e-8."""

import pytest

from buttress.fe.verification import layers


@pytest.mark.parametrize("case", layers.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_theory_is_the_rounded_values():
    assert pytest.approx(3.891509e-3, rel=2e-7) == layers.CURVATURE
    assert [case.reference for case in layers.CASES[1:]] == pytest.approx(
        [18.396, 2.830, 56.604, -99.057], abs=6e-4)
