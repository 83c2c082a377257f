"""Side plates over a core (sum of sheets): 1e-6."""

import pytest

from buttress.fe.verification import sideplates


@pytest.mark.parametrize("case", sideplates.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_theory_is_the_rounded_values():
    assert list(sideplates.theory().values()) == pytest.approx(
        [240018.16, 0.327548, 0.41285, 45.8715], rel=1.2e-5)


def test_pull_is_shared():
    found = sideplates.pulled()
    assert found["core"] * 20 + found["skin"] * 2 == pytest.approx(100.0, rel=1e-9)


def test_averaging_modulus_and_thickness_apart_would_be_seen():
    (e1, _, t1), (e2, _, t2) = sideplates.CORE, sideplates.SKIN
    assert e1 * t1 + e2 * t2 != pytest.approx(sideplates.theory()["modulus times thickness"],
                                              rel=5e-5)
