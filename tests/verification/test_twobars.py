"""Ratcheting and shakedown of two bars with and without hardening, against closed forms."""

import pytest

from buttress.fe.verification import twobars


@pytest.mark.parametrize("case", twobars.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_hardening_alone_decides_between_ratcheting_and_shakedown():
    without, with_it = twobars.cycled(0.0, 12), twobars.cycled(twobars.HARD, 200)
    assert (without.verdict, without.count) == ("ratchets", 12)
    assert with_it.verdict == "settled"
    assert with_it.ratio == pytest.approx(twobars.RATIO**2, rel=1e-5)
    assert with_it.slip < 2 * twobars.FINE


def test_a_bar_that_yields_both_ways_settles_but_slips():
    found = twobars.alone(twobars.TO_AND_FRO)
    assert found.verdict == "settled"
