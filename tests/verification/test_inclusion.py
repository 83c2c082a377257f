"""Circular inclusion (Goodier; memory, derived): uniform inside, 0.5 % at 16 an arc."""

import numpy as np
import pytest

from buttress.fe.verification import inclusion


@pytest.mark.parametrize("case", inclusion.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_formula_is_the_rounded_value():
    a, b = inclusion.A, inclusion.B
    assert (a + b) / 2 == pytest.approx(1.436641, abs=5e-7)
    assert (a - b) / 2 == pytest.approx(0.023213, abs=5e-7)


def test_traction_is_continuous_across_the_edge():
    angle = np.linspace(0, np.pi / 2, 7)
    normal = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    a, b = inclusion.A, inclusion.B
    inside = normal * [(a + b) / 2, (a - b) / 2]
    assert inclusion.far_traction(a, b, normal, normal) == pytest.approx(inside, abs=1e-14)


def test_stress_inside_tends_to_uniform():
    # The pointwise error sits at the edge, where the disc's cells meet at a flat corner.
    exact = np.array([(inclusion.A + inclusion.B) / 2, (inclusion.A - inclusion.B) / 2, 0.0])

    def scatter(arc):
        _, stresses, area = inclusion.inside(arc)
        off = np.sum((stresses - exact)**2, axis=-1)
        return np.sqrt(np.sum(area * off) / area.sum()) / exact[0]

    assert scatter(16) < 0.005
    assert np.log2(scatter(16) / scatter(32)) > 1.9


def test_no_stiffness_contrast_changes_nothing():
    assert inclusion.coefficients(1.0, 0.3, 0.3) == pytest.approx((1.0, 1.0))
    assert inclusion.outside(np.array([2.0, 1.0]), 1.0, 1.0) == pytest.approx([1, 0, 0])
