"""Paths on geometry that moves, at finite rotation: 2e-5; and what moving must not change."""

import numpy as np
import pytest

from buttress.fe.links.condense import condense
from buttress.fe.links.link import Kind
from buttress.fe.moved.shape import Config
from buttress.fe.moved.walk import Moving
from buttress.fe.solve.ram import Ram
from buttress.fe.solve.recover import displacements, pushes
from buttress.fe.verification import moved

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
