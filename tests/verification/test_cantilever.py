"""Timoshenko and Goodier's cantilever (memory): tip 0.0089 mm, 1e-5 at 8 in the depth."""

import numpy as np
import pytest

from buttress.fe.verification import cantilever


@pytest.mark.parametrize("case", cantilever.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_formula_is_the_rounded_value():
    assert pytest.approx(0.0089, rel=1e-12) == cantilever.TIP


def test_field_is_in_equilibrium_with_the_end_shear():
    # gxy G of the exact field, by differences, is minus the parabola that the end gets downward.
    y = np.linspace(-5.5, 5.5, 9)
    h, at = 1e-4, np.stack([np.full_like(y, 20.0), y], axis=1)
    step = np.eye(2) * h
    exact = cantilever.exact
    gxy = ((exact(at + step[1]) - exact(at - step[1]))[:, 0]
           + (exact(at + step[0]) - exact(at - step[0]))[:, 1]) / (2 * h)
    modulus = cantilever.MODULUS / (2 * (1 + cantilever.POISSON))
    expected = cantilever.shear(at, at)[:, 1]
    assert modulus * gxy == pytest.approx(expected, rel=1e-6)


def test_converges_with_at_least_third_order():
    error = [abs(cantilever.tip(n) - cantilever.TIP) for n in (2, 4, 8)]
    assert np.log2(error[0] / error[1]) > 3
    assert np.log2(error[1] / error[2]) > 3
