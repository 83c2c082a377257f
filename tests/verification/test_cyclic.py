"""Shakedown, slip to and fro and walking of a frictional block, against closed forms."""

import numpy as np
import pytest

from buttress.fe.verification import cyclic


@pytest.mark.parametrize("case", cyclic.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_verdicts_and_limits():
    assert cyclic.pushed(cyclic.SHAKES).verdict == "settled"
    assert cyclic.pushed(cyclic.SWINGS).verdict == "settled"
    walk = cyclic.walked(0.0, 12)
    assert (walk.verdict, walk.count) == ("ratchets", 12)
    short = cyclic.walked(cyclic.STAY, 5)
    assert (short.verdict, short.count) == ("not settled", 5)
    assert short.ratio == pytest.approx(cyclic.RATIO**2, rel=1e-6)


def test_two_cycles_are_too_few_for_a_verdict_of_ratcheting():
    assert cyclic.walked(0.0, 2).verdict == "not settled"


def test_a_cycle_that_is_not_held_says_at_which():
    staging = cyclic.walker(0.0)
    pressed = np.array([cyclic.PRESS, cyclic.PRESS, 0.0])
    loads = [pressed, pressed + np.array([0.0, 0.0, 1e4])]
    found = cyclic.cycle(staging, staging.start(np.ones(1)), loads,
                         lambda a: cyclic.place(staging, a), 5, 1e-9)
    assert (found.verdict, found.count) == ("no equilibrium", 0)
