"""Irons' patch test (memory); tolerance 1e-10, what rounding leaves with a margin."""

import numpy as np
import pytest

from buttress.fe.verification import patch


@pytest.mark.parametrize("case", patch.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_curved_sides_are_curved():
    def bow(mesh):
        ends = mesh.points[mesh.triangles]
        return np.abs(ends[:, 3:] - (ends[:, :3] + ends[:, [1, 2, 0]]) / 2).max()
    assert bow(patch.plate(curved=True)) > 1e-3
    assert bow(patch.plate(curved=False)) < 1e-15


def test_stress_of_the_linear_field():
    # E/(1-nu²) (exx + nu eyy) = 1000/0.91 · 1.15e-3; shear 1000/2.6 · 2e-4 (derived)
    assert pytest.approx([1.2637362637, 0.8791208791, 0.0769230769], rel=1e-9) == patch.STRESS
