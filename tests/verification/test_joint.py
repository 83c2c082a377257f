"""Joint diagram of a tightened bolt: 1e-6."""

import numpy as np
import pytest

from buttress.fe.verification import joint


@pytest.mark.parametrize("case", joint.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_tightening_is_remembered():
    assert joint.forces(0.0) == pytest.approx((joint.PRELOAD, joint.PRELOAD), rel=1e-9)


@pytest.mark.parametrize(("load", "opened"), [(1249.999, False), (1250.001, True)])
def test_opens_at_1250(load, opened):
    assert (joint.forces(load)[0] == pytest.approx(0.0, abs=1e-9)) is opened


def test_unloading_brings_the_preload_back():
    solver, memory = joint.joint()
    loaded = solver.answer(np.array([2000.0]), memory)
    again = solver.answer(np.zeros(1), solver.advance(loaded, memory))
    assert again.force == pytest.approx([joint.PRELOAD, joint.PRELOAD], rel=1e-9)
