"""Threads and bonds that lose strength beyond their peak, against closed forms."""

import numpy as np
import pytest

from buttress.fe.links.link import End, Link, LinkList
from buttress.fe.verification import softening
from buttress.fe.verification.parts import GROUND


@pytest.mark.parametrize("case", softening.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_the_ram_finds_a_peak_and_a_rise_after_it():
    loads = np.array([p.load_N for p in softening.stripped(softening.MANY).points])
    peak = int(np.argmax(np.diff(loads) < 0))
    assert loads[peak] == pytest.approx(softening.carried(softening.STRENGTH / softening.K), rel=1e-6)
    assert loads[-1] > loads[peak:].min() + 100.0


def test_only_a_two_way_link_without_slope_softens():
    for law in ({"lower": 0.0}, {"lower": -1.0, "slope": 1.0}, {"lower": -1.0, "residual": 1.5}):
        with pytest.raises(ValueError, match="softening"):
            LinkList().add(Link("x", "x", End(None, None), GROUND, soften=0.1,
                                **({"residual": 0.5} | law)))
