"""Shrink fit through contact (Lamé's rings): 0.1 % at every node."""

import numpy as np
import pytest

from buttress.fe.verification import shrinkfit


@pytest.mark.parametrize("case", shrinkfit.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_closed_form_is_the_rounded_value():
    assert shrinkfit.closed_form() == pytest.approx(45.48587, rel=2e-7)


def test_pressure_converges_at_second_order():
    errors = [np.abs(shrinkfit.pressures(n) / shrinkfit.closed_form() - 1).max() for n in (8, 16)]
    assert np.log2(errors[0] / errors[1]) > 1.7
