"""What must hold of any construct: balance, symmetry, proportion, mirror images, renumbering."""

from dataclasses import replace

import numpy as np
import pytest
from blocks import FORCE, HOLD, build, cases, mirror, motion, springs
from eigenvalue import smallest_eigenvalue
from hypothesis import given
from hypothesis import strategies as st

from buttress.fe.solve.answer import Memory
from buttress.fe.solve.capacity import capacity
from buttress.fe.solve.complementarity import lemke_answer
from buttress.fe.solve.step import Step

LOAD = np.array([FORCE])


def bodies_forces(problem, answer):
    """Forces (n_dof,) on every body by its links and loads, from their columns alone."""
    forces = {id(body): np.zeros(body.n_dof) for body in problem.bodies}
    for factor, load in zip(answer.load, problem.loads, strict=True):
        for body, column in load:
            forces[id(body)][column.dofs] += factor * column.values
    for force, link in zip(answer.force, problem.links.links, strict=True):
        for sign, end in ((-1.0, link.a), (1.0, link.b)):
            if end.body is not None:
                forces[id(end.body)][end.column.dofs] += sign * force * end.column.values
    return forces


@given(cases(held=False))
def test_equilibrium_closes(case):
    solver = build(case)
    answer = solver.answer(LOAD)
    if not answer.held:
        assert answer.status == "no equilibrium"
        assert np.isnan(answer.force).all()
        return
    forces = bodies_forces(solver.problem, answer)
    block = next(body for body in solver.problem.bodies if body.name == "block")
    p = forces[id(block)].reshape(-1, 2)
    assert np.abs(p.sum(axis=0)).max() < 1e-9 * FORCE
    moment = block.points[:, 0] * p[:, 1] - block.points[:, 1] * p[:, 0]
    assert abs(moment.sum()) < 1e-9 * FORCE * 20.0


@given(cases(held=False))
def test_every_link_obeys_its_law(case):
    solver = build(case)
    answer = solver.answer(LOAD)
    if not answer.held:
        return
    problem = solver.problem
    forces = bodies_forces(problem, answer)
    moved, start = {}, 0
    for body in problem.bodies:
        modes = body.rigid.shape[1]
        moved[id(body)] = (body.solve(forces[id(body)])
                           + body.rigid @ answer.rigid[start:start + modes])
        start += modes
    for force, link in zip(answer.force, problem.links.links, strict=True):
        slack = -link.gap - link.compliance * force
        for sign, end in ((1.0, link.a), (-1.0, link.b)):
            if end.body is not None:
                slack += sign * float(end.column.values @ moved[id(end.body)][end.column.dofs])
        width = link.friction * max(answer.force[link.partner], 0.0) if link.friction else 0.0
        lower, upper = link.lower - width, link.upper + width
        assert lower - 1e-6 * FORCE < force < upper + 1e-6 * FORCE
        # Where links are redundant a thin layer makes their forces unique (`Solver.layer`).
        thin = 1e-7 + solver.layer * abs(force)
        if slack > thin:
            assert force == pytest.approx(upper, abs=1e-6 * FORCE)
        if slack < -thin:
            assert force == pytest.approx(lower, abs=1e-6 * FORCE)


@given(cases(held=False))
def test_flexibility_is_symmetric_and_not_negative(case):
    problem = build(case).problem
    assert problem.flexibility == pytest.approx(problem.flexibility.T, abs=0.0)
    assert smallest_eigenvalue(problem) > -1e-10


@given(cases(held=False), st.floats(0.1, 10.0))
def test_a_bonded_construct_is_linear(case, factor):
    solver = build(case, bonded=True)
    one, more = solver.answer(LOAD), solver.answer(factor * LOAD)
    assert more.force == pytest.approx(factor * one.force, abs=1e-9 * factor * FORCE)
    assert motion(solver, more) == pytest.approx(factor * motion(solver, one), rel=1e-9, abs=1e-12)


@given(cases(held=False), springs(("two", "capped", "one")))
def test_one_more_link_never_lowers_the_capacity(case, added):
    def factor(case):
        found = capacity(build(case).problem, LOAD).factor
        return np.inf if found is None else found

    without = factor(case)
    assert factor(replace(case, springs=(*case.springs, added))) >= without * (1 - 1e-9) - 1e-9


@given(cases(held=False))
def test_the_load_is_held_up_to_its_capacity_only(case):
    solver = build(case)
    found = capacity(solver.problem, LOAD)
    if found.factor is None:
        return
    beyond = solver.answer((1.001 * found.factor + 1e-6) * LOAD)
    assert beyond.status == "no equilibrium"
    # The motion that starts lets the load work, and no link at rest resists it.
    assert beyond.escape.rigid @ solver.problem.load_rigid[:, 0] > 0


@given(cases(held=True))
def test_a_mirror_image_answers_with_a_mirror_image(case):
    solver, other = build(case), build(mirror(case))
    one, two = solver.answer(LOAD), other.answer(LOAD)
    assert one.held
    assert two.held
    assert motion(other, two) == pytest.approx(motion(solver, one) * [-1.0, 1.0], abs=1e-9)
    count = len(case.springs)
    assert two.force[-count:] == pytest.approx(one.force[-count:], abs=1e-6)


@given(cases(held=False))
def test_a_mirror_image_has_the_same_capacity(case):
    one, two = (capacity(build(x).problem, LOAD) for x in (case, mirror(case)))
    assert one.status == two.status
    if one.factor is not None:
        assert two.factor == pytest.approx(one.factor, rel=1e-8, abs=1e-9)


@given(cases(held=True), st.randoms(use_true_random=False))
def test_numbering_changes_nothing(case, random):
    order = list(range(len(case.springs)))
    random.shuffle(order)
    shuffled = replace(case, order=tuple(order), late=True)
    solver, other = build(case), build(shuffled)
    one, two = solver.answer(LOAD), other.answer(LOAD)
    assert motion(other, two) == pytest.approx(motion(solver, one), abs=1e-9)
    count = len(order)
    assert two.force[:count] == pytest.approx(one.force[-count:][order], abs=1e-6)
    assert two.force[count:] == pytest.approx(one.force[:-count], abs=1e-6)


@given(cases(held=True))
def test_lemke_agrees_with_active_sets(case):
    solver = build(case)
    answer = solver.answer(LOAD)
    step = Step(solver, LOAD, Memory.none(solver.problem), {})
    fallback = lemke_answer(step, capacity(solver.problem, LOAD))
    assert len(case.springs) >= len(HOLD)
    assert answer.held
    assert fallback.held
    assert fallback.force == pytest.approx(answer.force, abs=1e-7 * FORCE)
