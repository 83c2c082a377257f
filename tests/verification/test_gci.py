"""Richardson and GCI: Cook's membrane and the NPARC worked example."""

import numpy as np
import pytest
from scipy.optimize import brentq

from buttress.fe.verification import gci


@pytest.mark.parametrize("case", gci.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_cook_tends_to_the_order_of_its_corner():
    # Williams 1952, clamped-free wedge (memory): k sin²(l w) = (k + 1)²/4 - l² sin² w, plane
    # stress k = (3 - nu)/(1 + nu) = 2 for nu 1/3; w = 108.435 degrees at (0, 44).
    k, w = 2.0, np.pi / 2 + np.arctan(16 / 48)
    corner = 2 * brentq(lambda x: k * np.sin(x * w)**2 - (k + 1)**2 / 4 + (x * np.sin(w))**2,
                        0.5, 0.9)
    assert corner == pytest.approx(1.354, abs=1e-3)
    orders = [gci.cook(n).order for n in (16, 32)]
    assert corner < orders[1] < orders[0]
    assert orders[1] == pytest.approx(corner, rel=0.03)
    assert gci.cook(32).limit == pytest.approx(23.9677, abs=5e-5)
