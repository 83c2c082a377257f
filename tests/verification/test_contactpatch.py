"""Contact patch: a uniform pressure to 1e-10."""

import pytest

from buttress.fe.verification import contactpatch


@pytest.mark.parametrize("case", contactpatch.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_every_node_carries_the_same_pressure():
    assert contactpatch.pressures() == pytest.approx(contactpatch.PRESSURE, rel=1e-10)
    assert contactpatch.pressures().size == 11
