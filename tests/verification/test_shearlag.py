"""Shear lag of a pulled rod (Volkersen; memory): 0.1 %."""

import pytest

from buttress.fe.verification import shearlag


@pytest.mark.parametrize("case", shearlag.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_closed_form_is_the_rounded_values():
    motion, stiffness, _ = (case.reference for case in shearlag.CASES)
    assert motion == pytest.approx(0.06484025, abs=5e-9)
    assert stiffness == pytest.approx(15422.52, rel=3e-7)


def test_bone_adds_to_the_motion():
    assert shearlag.motion(1000.0) > 1.2 * shearlag.PULL
