"""Cattaneo-Mindlin: the stick zone within one node of 16 elements in a (memory)."""

import numpy as np
import pytest

from buttress.fe.verification import cattaneo


@pytest.mark.parametrize("case", cattaneo.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_everything_is_carried():
    face = cattaneo.sheared()
    assert face.weight @ face.pressure == pytest.approx(cattaneo.PRESS, rel=1e-9)
    assert face.weight @ face.traction == pytest.approx(
        cattaneo.RATIO * cattaneo.FRICTION * cattaneo.PRESS, rel=1e-9)


def test_pressure_is_that_of_hertz():
    # The shear must not have moved it: equal bodies, and a moment that takes its lever out.
    face = cattaneo.sheared()
    assert face.pressure[len(face.x) // 2] == pytest.approx(
        2 * cattaneo.PRESS / (np.pi * cattaneo.WIDTH), rel=0.01)


def test_traction_is_full_slip_less_a_smaller_hertz_contact():
    face = cattaneo.sheared()
    peak = cattaneo.FRICTION * 2 * cattaneo.PRESS / np.pi
    inside = np.abs(face.x) < 0.7 * cattaneo.EXACT
    x = face.x[inside]
    exact = peak * (np.sqrt(1 - x**2) - np.sqrt(cattaneo.EXACT**2 - x**2))
    assert np.sqrt(np.mean((face.traction[inside] - exact)**2)) < 0.01 * peak


def test_slipping_nodes_rub_at_the_limit():
    face = cattaneo.sheared()
    slips = (np.abs(face.slip) > 1e-9 * np.abs(face.slip).max()) & (face.pressure > 1.0)
    assert slips.sum() > 4
    assert face.traction[slips] == pytest.approx(cattaneo.FRICTION * face.pressure[slips], rel=1e-9)


def test_a_full_cycle_closes():
    # There and back again to the same shear: the same tractions as the first time.
    once, again = cattaneo.sheared((0.5,), 8), cattaneo.sheared((0.5, 0.0, 0.5), 8)
    assert again.traction == pytest.approx(once.traction, abs=0.02 * once.traction.max())
    assert np.abs(cattaneo.sheared((0.5, 0.0), 8).traction).max() > 0.2 * once.traction.max()


def test_more_shear_leaves_less_stuck():
    def stuck(ratio):
        face = cattaneo.sheared((ratio,), 8)
        return int((np.abs(face.slip) < 1e-9 * np.abs(face.slip).max()).sum())

    assert stuck(0.2) > stuck(0.5) > stuck(0.8)
