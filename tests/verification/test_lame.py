"""Lamé's ring (closed form): 0.2 % at 8 elements across."""

import numpy as np
import pytest

from buttress.fe.verification import lame


@pytest.mark.parametrize("case", lame.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_closed_form_is_the_rounded_values():
    assert [case.reference for case in lame.CASES] == pytest.approx(
        [9.833333e-3, 6.666667e-3, 166.6667], rel=3e-7)


def test_orders_of_convergence():
    coarse, fine = (np.array(lame.ring(n)) for n in (8, 16))
    exact = np.array([case.reference for case in lame.CASES])
    rates = np.log2(np.abs(coarse - exact) / np.abs(fine - exact))
    assert rates[:2].min() > 2.5
    assert rates[2] > 1.5
