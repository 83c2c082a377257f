"""Block on a slope: exact verdicts about the angle of friction, 21.8014 degrees."""

import numpy as np
import pytest

from buttress.fe.verification import incline


@pytest.mark.parametrize("case", incline.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_the_angle_is_between_the_two():
    angle = np.degrees(np.arctan(incline.FRICTION))
    assert incline.STICKS < angle < incline.SLIDES
    assert angle == pytest.approx(21.8014, abs=5e-5)


def test_the_escape_points_down_the_slope():
    answer = incline.slope(incline.SLIDES).answer(np.array([incline.WEIGHT]))
    assert answer.escape is not None
    x, y, _ = answer.escape.rigid
    angle = np.radians(incline.SLIDES)
    down, out = -np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
    assert down @ (x, y) > 0
    # The program's motion dilates: it leaves the plane at the angle of friction.
    assert out @ (x, y) == pytest.approx(incline.FRICTION * (down @ (x, y)), rel=1e-6)


def test_numbers_that_do_not_exist_are_nan():
    answer = incline.slope(incline.SLIDES).answer(np.array([incline.WEIGHT]))
    assert np.isnan(answer.force).all()
    assert not answer.held
