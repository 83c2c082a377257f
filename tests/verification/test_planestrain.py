"""Plane strain of whole constructs: published cylinder 0.2 %, closed forms 1e-8 and 1e-9."""

from __future__ import annotations

import pytest

from buttress.verification import cases, planestrain
from buttress.verification.planestrain import CASES, cylinder, kelvin

# Every entry is run with those of whole constructs, in test_whole_constructs.py.


def test_its_cases_are_in_the_table() -> None:
    assert {c.name for c in CASES} <= {c.name for c in cases()}


def test_published_numbers_are_those_of_the_formula_beside_them() -> None:
    """V3.04.100 prints the formula and its values; a misprint would show here."""
    a, b, p = planestrain.INNER, planestrain.OUTER, planestrain.PRESSURE
    e, nu = planestrain.CYLINDER
    scale = p * a**2 / (b**2 - a**2)

    def radial(r: float) -> float:
        return scale / e * (1 + nu) * ((1 - 2 * nu) * r + b**2 / r)

    assert [c.reference for c in CASES[:4]] == pytest.approx(
        [radial(a), radial(b), scale * (1 + b**2 / a**2), 2 * nu * scale], rel=1e-12)


def test_the_cylinder_converges_to_them() -> None:
    coarse, fine = cylinder(4), cylinder(8)
    for c in CASES[:3]:
        error = [abs(found[c.quantity] - c.reference) for found in (coarse, fine)]
        assert error[1] < error[0] / 3, c.name


def test_plane_stress_has_other_references() -> None:
    """What the cases would be without the option: each differs by more than its tolerance."""
    e, nu = planestrain.BLOCK[:2]
    assert abs(e / (1 - nu**2) / planestrain.CONFINED - 1) > 0.05
    modulus, ratio, depth = planestrain.BONE
    free = 4 * modulus * depth * planestrain.wavenumber() / ((3 - ratio) * (1 + ratio))
    assert free / kelvin() == pytest.approx(20 / 21)     # at a ratio of 0.3
    assert ratio == 0.3
