"""A head that presses with both edges of its rim: 1e-6."""

import pytest

from buttress.fe.verification import rim


@pytest.mark.parametrize("case", rim.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_a_tightened_head_sits_evenly():
    assert rim.turned(True, 0.0).force == pytest.approx([rim.PRELOAD / 2] * 2, rel=1e-9)


@pytest.mark.parametrize("share", [0.3, 0.999, 1.001, 4.0])
def test_edges_share_the_moment_until_one_lets_go(share):
    moment = share * rim.PRELOAD * rim.R
    far, near = rim.turned(True, moment).force
    assert (near - far) * rim.R == pytest.approx(moment, rel=1e-9)
    assert far == pytest.approx(max(0.0, (1 - share) * rim.PRELOAD / 2), abs=1e-9)
