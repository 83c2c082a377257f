"""Fragment on a sliding plane: limits of statics, 1e-6, by both solvers."""

import numpy as np
import pytest

from buttress.fe.solve.capacity import capacity, sliding_motion
from buttress.fe.verification import statics


@pytest.mark.parametrize("case", statics.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"

LOADS = np.array([statics.LOAD])


def test_closed_form_is_the_rounded_values():
    assert [statics.buttress_needed(mu) for mu in (0.4, 0.0)] == pytest.approx(
        [1118.384, 2747.477], rel=5e-7)
    assert [statics.tension_needed(delta) for delta in (0, 20, 40, statics.BEST)] == pytest.approx(
        [2007.211, 1118.384, 845.849, 745.460], rel=1e-6)
    assert [statics.held_closed(delta) for delta in (0, 20, -10)] == pytest.approx(
        [498.2036, 894.1475, 274.3544], rel=2e-7)


def test_no_angle_needs_less_than_the_best():
    angles = np.linspace(-10.0, 90.0, 201)
    assert min(map(statics.tension_needed, angles)) >= statics.tension_needed(statics.BEST)


def test_forces_on_the_plane_without_sliding():
    # N = F sin(slope), T = F cos(slope); a plane rough enough holds them alone.
    answer = statics.fragment(friction=3.0).answer(LOADS)
    assert answer.held
    assert answer.force[0::2].sum() == pytest.approx(342.020, rel=1e-6)
    assert abs(answer.force[1::2].sum()) == pytest.approx(939.693, rel=1e-6)


@pytest.mark.parametrize("gap", [0.1, 0.5])
def test_a_gap_mobilises_all_friction(gap):
    assert statics.buttress_by_solver(gap) == pytest.approx(statics.buttress_needed(), rel=1e-6)


def test_friction_turns_round_on_unloading():
    # Friction may lie anywhere between its bounds: after unloading by half it holds the fragment
    # down, and the buttress bears more than the limit's half.
    solver = statics.fragment(stop=np.inf)
    memory = solver.advance(solver.answer(LOADS))
    less = solver.answer(LOADS / 2, memory)
    assert less.held
    assert less.force[-1] > 1.1 * statics.buttress_needed() / 2


def test_a_tightened_screw_keeps_its_tension():
    solver = statics.fragment(delta=20.0)
    answer = solver.answer(LOADS / 2, prescribed={solver.problem.n - 1: statics.TENSION})
    assert answer.force[-1] == pytest.approx(statics.TENSION, rel=1e-12)


@pytest.mark.parametrize("strength", [0.999999, 1.000001])
def test_a_buttress_just_too_weak_lets_go(strength):
    solver = statics.fragment(stop=strength * statics.buttress_needed())
    answer = solver.answer(LOADS)
    assert answer.status == ("held" if strength > 1 else "no equilibrium")
    if not answer.held:
        assert answer.escape.rigid[:2] @ statics.DOWN > 0


def test_tension_beyond_the_friction_angle_slides_on_tightening_alone():
    def tightened(delta):
        solver = statics.fragment(delta=delta)
        return solver.answer(np.zeros(1), prescribed={solver.problem.n - 1: 1000.0})

    phi = float(np.degrees(statics.PHI))
    assert tightened(phi - 1).held
    slides = tightened(phi + 1)
    assert slides.status == "no equilibrium"
    assert slides.escape.rigid[:2] @ statics.DOWN < 0


@pytest.mark.parametrize("share", [0.5, 0.9])
def test_the_motion_of_limit_analysis_slides_along_the_face(share):
    # The dual of the friction cone alone would part the faces at the friction angle.
    problem = statics.fragment(stop=share * statics.buttress_needed()).problem
    slides = sliding_motion(problem, LOADS)
    assert slides is not None
    assert slides.rigid[:2] / np.hypot(*slides.rigid[:2]) == pytest.approx(statics.DOWN, abs=1e-9)
    parts = capacity(problem, LOADS).escape.rigid[:2]
    opening = np.degrees(np.arctan2(parts @ statics.NORMAL, parts @ statics.DOWN))
    assert opening == pytest.approx(np.degrees(statics.PHI), abs=1e-6)
