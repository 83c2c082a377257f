"""Kirsch's hole (memory): 3; 1 % from 16 elements a quarter arc on."""

import numpy as np
import pytest

from buttress.fe.verification import kirsch
from buttress.fe.verification.inclusion import outside


@pytest.mark.parametrize("case", kirsch.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_exact_field_is_kirsch():
    # Closed forms along the two axes: hoop 3 at the side, -1 in front; no stress on the hole.
    side, front = outside(np.array([[0.0, 1.0], [1.0, 0.0]]), 0.0, 0.0)
    assert side == pytest.approx([3, 0, 0], abs=1e-14)
    assert front == pytest.approx([0, -1, 0], abs=1e-14)
    r = 2.0  # sxx on the side axis: (2 + a²/r² + 3a⁴/r⁴)/2
    assert outside(np.array([0.0, r]), 0.0, 0.0)[0] == pytest.approx(
        (2 + 1 / r**2 + 3 / r**4) / 2)
    assert outside(np.array([600.0, 800.0]), 0.0, 0.0) == pytest.approx([1, 0, 0], abs=1e-5)


def test_hole_is_free_of_traction():
    angle = np.linspace(0, np.pi / 2, 7)
    normal = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    assert np.abs(kirsch.far_traction(0.0, 0.0, normal, normal)).max() < 1e-14


def test_fine_mesh_is_closer_than_a_coarse_one():
    coarse, fine = (abs(kirsch.concentration(n) - 3) for n in (4, 64))
    assert fine < coarse / 20
