"""Bonded inclusion against a member with stiff links: how far the two agree, and why."""

import pytest

from buttress.fe.verification import bonded


@pytest.mark.parametrize("case", bonded.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


@pytest.mark.parametrize(("direction", "least", "most"),
                         [("pull", 0.92, 0.97), ("shear", 0.52, 0.58)])
def test_share_of_the_stiffening(direction, least, most):
    # In bending a link has no couple, so the member works on less than its length.
    bone, inclusion, member = (bonded.compliance(direction, way)
                               for way in ("bone", "inclusion", "member"))
    assert least < (1 - member / bone) / (1 - inclusion / bone) < most


@pytest.mark.parametrize("direction", ["pull", "shear"])
def test_the_mesh_does_not_decide_it(direction):
    values = [bonded.compliance(direction, "member", size) for size in (1.0, 0.5)]
    assert values[0] == pytest.approx(values[1], rel=5e-3)
