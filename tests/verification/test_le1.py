"""NAFEMS LE1 (seen): 92.7 MPa; 2 % at 32x16 and 0.5 % at 64x32."""

import pytest

from buttress.fe.richardson import extrapolate
from buttress.fe.verification import le1


@pytest.mark.parametrize("case", le1.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_extrapolates_to_the_target():
    # An independent kernel (T6, same cells) extrapolated to 92.66 MPa.
    limit = extrapolate([le1.stress_at_d(n, n // 2) for n in (32, 64, 128)], (4, 2, 1))
    assert limit.limit == pytest.approx(92.66, rel=5e-4)
    assert limit.order > 1.5
