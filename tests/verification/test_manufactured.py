"""Manufactured solution: orders of convergence of the T6 triangle on distorted meshes."""

import numpy as np
import pytest

from buttress.fe.verification import manufactured


@pytest.mark.parametrize("case", manufactured.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_every_refinement_converges():
    errors = np.array([manufactured.errors(n) for n in (4, 8, 16, 32)])
    rates = np.log2(errors[:-1] / errors[1:])
    assert rates[:, 0].min() > 2.8
    assert rates[:, 1].min() > 1.9


def test_load_balances_the_stress():
    # Divergence by central differences of the stress that was differentiated by hand.
    rng = np.random.default_rng(0)
    x, y = rng.uniform(0, 1, (2, 20))
    h = 1e-5

    def stresses(x, y):
        return manufactured.stress(manufactured.exact_strain(x, y), manufactured.SHEET)

    along_x = (stresses(x + h, y) - stresses(x - h, y)) / (2 * h)
    along_y = (stresses(x, y + h) - stresses(x, y - h)) / (2 * h)
    divergence = np.stack([along_x[:, 0] + along_y[:, 2], along_x[:, 2] + along_y[:, 1]])
    assert np.allclose(-divergence, manufactured.force(x, y), atol=1e-8)
    exact = manufactured.exact
    shear = ((exact(x, y + h) - exact(x, y - h))[:, 0]
             + (exact(x + h, y) - exact(x - h, y))[:, 1]) / (2 * h)
    assert np.allclose(shear, manufactured.exact_strain(x, y)[:, 2], atol=1e-8)
