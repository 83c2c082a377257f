"""Cook's membrane: 23.9677 by extrapolation, 0.1 % from 16 cells a side on."""

import pytest

from buttress.fe.verification import cook


@pytest.mark.parametrize("case", cook.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_the_point_is_in_the_middle_of_the_right_edge():
    mesh = cook.membrane(4)
    right = mesh.points[mesh.edges["right"]]
    assert right[..., 0] == pytest.approx(48.0)
    assert (right[..., 1].min(), right[..., 1].max()) == pytest.approx((44.0, 60.0))
    assert cook.node_at(mesh, 48.0, 52.0) in mesh.edges["right"]


def test_deflection_grows_with_refinement():
    assert cook.deflection(8) < cook.deflection(16) < cook.deflection(32) < 23.9677
