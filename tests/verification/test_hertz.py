"""Hertz: peak and half-width within 1 % at 8 elements in the half-width (Johnson; memory)."""

import numpy as np
import pytest

from buttress.fe.verification import hertz


@pytest.mark.parametrize("case", hertz.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_theory_is_the_rounded_values():
    strain, stress = (hertz.theory(plane_strain=flag) for flag in (True, False))
    assert (strain.peak, strain.width) == pytest.approx((3585.36, 6.2146), rel=1e-5)
    assert (stress.peak, stress.width) == pytest.approx((3420.22, 6.5147), rel=1e-5)


def test_contact_ends_at_the_half_width():
    theory = hertz.theory(plane_strain=True)
    x, force, _ = hertz.solved(8, plane_strain=True)
    step = theory.width / 16
    touching = force > 1e-9 * force.max()
    assert abs(x[touching].max() - theory.width) <= step
    assert x[~touching].min() > x[touching].max()


def test_coarse_meshes_oscillate():
    theory = hertz.theory(plane_strain=True)

    def roughness(across):
        x, _, pressure = hertz.solved(across, plane_strain=True)
        inner = x < 0.8 * theory.width
        exact = theory.peak * np.sqrt(1 - (x[inner] / theory.width)**2)
        return np.abs(pressure[inner] / exact - 1).max()

    assert roughness(8) < 0.02
    assert roughness(4) > roughness(8)
