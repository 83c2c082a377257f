"""Rigid motions: exactly three, of one curved element and of a mesh."""

import numpy as np
import pytest

from buttress.fe.bodies.assembly import sheet, stiffness
from buttress.fe.verification import rigid


@pytest.mark.parametrize("case", rigid.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


@pytest.mark.parametrize("rule", [3, 6, 7])
@pytest.mark.parametrize("mesh", rigid.MESHES.values(), ids=rigid.MESHES.keys())
def test_translations_and_rotation_need_no_force(mesh, rule):
    assert rigid.zero_eigenvalues(mesh, rule) == 3
    mesh = mesh()
    matrix = stiffness(mesh, sheet(1000.0, 0.3), rule=rule)
    x, y = mesh.points.T
    for motion in ((1 + 0 * x, 0 * x), (0 * x, 1 + 0 * x), (-y, x)):
        u = np.stack(motion, axis=1).ravel()
        assert np.abs(matrix @ u).max() < 1e-12 * np.abs(matrix).max()
