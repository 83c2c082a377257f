"""Paths on geometry that moves, at finite rotation: 2e-5; and what moving must not change."""

import numpy as np
import pytest

from buttress.fe.links.condense import condense
from buttress.fe.links.link import End, Kind, Link
from buttress.fe.moved.shape import Config
from buttress.fe.moved.walk import STEP_MM, Moving
from buttress.fe.solve.ram import Ram
from buttress.fe.solve.reached import NEAR, at_place, state_at
from buttress.fe.solve.recover import displacements, pushes
from buttress.fe.verification import moved
from buttress.fe.verification.parts import GROUND
from buttress.fe.verification.problem import node_at

ROWS = ("flexibility", "rigid", "kinks", "gap", "load_deformation", "load_rigid",
        "load_flexibility", "load_kinks")


@pytest.mark.parametrize("case", moved.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


@pytest.mark.parametrize("name", moved.WAYS)
def test_where_nothing_has_moved_the_problem_is_that_of_small_movements(name):
    built = moved.WAYS[name][0]()
    problem = condense(built.bodies, built.links, [[built.load]])
    mover = Moving(Ram.of(problem, np.ones(1)), (Kind.CONTACT,), 0.0).mover
    start = Config.start(mover.layout)
    again = mover.problem(start, mover.meeting(start))
    for row in ROWS:
        one, other = getattr(problem, row), getattr(again, row)
        assert np.abs(one - other).max(initial=0.0) <= 1e-12 * max(np.abs(one).max(initial=0), 1)


@pytest.mark.parametrize("name", ["block on a rough slope", "block over a corner"])
def test_forces_on_a_moved_piece_are_in_balance(name):
    path = moved.walked(name)
    answer, block = path.points[-1].answer, path.ram.plain.bodies[1]
    applied, sources = pushes(path.ram.plain, answer, block, block.points.mean(axis=0))
    left = applied + sum(sources.values())
    assert np.abs(left[:2]).max() < 1e-8 * np.abs(applied[:2]).max()
    assert abs(left[2]) < 1e-8 * 50.0 * np.abs(applied[:2]).max()


def test_a_moved_piece_is_drawn_where_it_is():
    path = moved.walked("block over a corner")
    point, block = path.points[-1], path.ram.plain.bodies[1]
    shown = block.points + displacements(path.ram.plain, point.answer)[1].reshape(-1, 2)
    # It has turned as a whole, about the corner of the base: no length has changed.
    angle = float(point.moved.config.angle[1])
    assert angle < -0.3
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    assert shown == pytest.approx(block.points @ turn.T, abs=1e-3)


def test_states_between_two_points_are_drawn_where_their_forces_say():
    """The spring at the far top of the block is as long as its force says, the corner stays, and the
    block has turned as far as its load says: nearer than geometry that is `NEAR` its own."""
    path = moved.walked("block over a corner")
    block = path.ram.plain.bodies[1]
    corner, foot, top = (node_at(block.mesh, x, y) for x, y in ((0, 0), (-40, 0), (-40, 30)))
    for number in (i for i, p in enumerate(path.points) if i and p.moved is not None):
        low, high = path.points[number - 1:number + 1]
        for share in (0.2, 0.5, 0.7):
            load = low.load_N + share * (high.load_N - low.load_N)
            answer = state_at(path, load).answer
            shown = displacements(path.ram.plain, answer)[1].reshape(-1, 2)
            assert moved.CORNER_SPRING * shown[top, 0] == pytest.approx(answer.force[-1], rel=1e-6)
            assert np.hypot(*shown[corner]) < 1e-4
            edge = block.points[top] + shown[top] - block.points[foot] - shown[foot]
            by_hand = moved.cornered_load(float(np.arctan2(-edge[0], edge[1])))
            assert abs(load - by_hand) < NEAR * (high.load_N - low.load_N)


def test_a_state_far_from_one_that_is_known_is_found_in_its_own_place():
    """Statics of the block there, as at points of the path; the known state is but near its own."""
    path = moved.walked("block over a corner")
    number = len(path.points) - 1
    low, high = (p.ram_mm for p in path.points[-2:])
    known = at_place(path, number, low + 0.1 * (high - low))
    for share in (0.5, 0.9):
        found = at_place(path, number, low + share * (high - low), known)
        assert found.ram_mm == pytest.approx(low + share * (high - low))
        assert found.load_N == pytest.approx(
            moved.cornered_load(float(found.moved.config.angle[1])), rel=2e-5)


def test_a_stop_with_clearance_carries_nothing_until_its_clearance_is_used_up():
    """Also where no face rubs. A block on a smooth slope comes down on it: its own balance, and the
    stop's stiffness for each mm more."""
    built, (clear, firm) = moved.sliding(0.0), (3.0, 40.0)
    block, column = built.load
    built.links.add(Link("stop", "stop", End(block, column), GROUND, compliance=1.0 / firm,
                         lower=0.0, gap=clear, direction=(0.0, -1.0)))
    path = built.path(6.0, 0.05)
    before, after = (p for p in path.points if p.ram_mm < clear), path.points[-1]
    for point in before:
        assert point.answer.force[-1] == 0.0
    assert after.load_N == pytest.approx(
        moved.sliding_load(0.0, after.ram_mm) + firm * (after.ram_mm - clear), rel=2e-5)


@pytest.mark.parametrize("name", moved.WAYS)
def test_no_step_on_moved_geometry_is_longer_than_stated(name):
    at = [p.ram_mm for p in moved.walked(name).points if p.moved is not None]
    assert np.diff(at).max() <= STEP_MM * (1 + 1e-9)
