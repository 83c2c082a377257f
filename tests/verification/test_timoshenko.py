"""Timoshenko's beam: exact at any number of elements."""

import pytest

from buttress.fe.verification import timoshenko


@pytest.mark.parametrize("case", timoshenko.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_shear_counts():
    case = timoshenko.CASES[0]
    bending = timoshenko.FORCE * timoshenko.LENGTH**3 / (3 * timoshenko.SECTION.bending)
    assert case.compute() > 1.02 * bending
