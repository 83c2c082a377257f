"""Dowel in meshed blocks: the closed form in stiff ones, in bone softer on any mesh."""

import pytest

from buttress.fe.verification import embedded


@pytest.mark.parametrize("case", embedded.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_bone_is_softer_and_tends_to_rigid():
    values = [embedded.stiffness(modulus, 2.0) for modulus in (1e3, 1e4, 1e6)]
    assert values == sorted(values)
    assert 0.4 * embedded.CASES[0].reference < values[0] < 0.7 * embedded.CASES[0].reference
    assert values[2] == pytest.approx(embedded.CASES[0].reference, rel=2e-3)


def test_the_three_meshes_agree():
    values = [embedded.stiffness(embedded.BONE, size) for size in embedded.SIZES]
    assert values == pytest.approx([values[-1]] * 3, rel=1e-3)
