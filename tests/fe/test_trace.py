"""The way from a known answer to the next: in proportion while no link changes its state, then one
change after the other. The references are closed forms of statics and answers that the search
finds from rest."""

from __future__ import annotations

import numpy as np
import pytest

from buttress.fe.links.condense import condense
from buttress.fe.links.link import End, Hinge
from buttress.fe.solve.answer import Answer, Memory
from buttress.fe.solve.solver import Solver
from buttress.fe.solve.step import LINEAR_PROGRAM, Step
from buttress.fe.solve.trace import Trace
from buttress.fe.status import Status
from buttress.fe.verification.hardening import RISE, STIFFNESS, STRENGTH, TURN_RISE
from buttress.fe.verification.hinge import LENGTH, PLASTIC, bar
from buttress.fe.verification.parts import ACROSS, ALONG, GROUND, spring
from buttress.fe.verification.statics import PHI, SLOPE, fragment, on_plane

COT, SMOOTH = 1.0 / np.tan(SLOPE + PHI), 1.0 / np.tan(SLOPE)
"""Force on a level buttress over the load, of a fragment that slides with and without friction."""


def crushed() -> Solver:
    """A fragment on a smooth plane above a buttress that hardens as it is crushed."""
    base, block, links, middle = on_plane(0.0)
    spring(links, End(block, middle(ALONG)), GROUND, STIFFNESS, kind="buttress", lower=0.0,
           upper=STRENGTH, slope=RISE)
    return Solver(condense([base, block], links, [[(block, middle(-ACROSS))]]))


def bent() -> Solver:
    """A bar on two supports whose middle yields and hardens."""
    p = bar(built_in=False).problem
    p.links.hinges[:] = [Hinge(x.source, x.member, x.node, PLASTIC, TURN_RISE)
                         for x in p.links.hinges]
    return Solver(condense(p.bodies, p.links, p.loads))


def way(solver: Solver, start: float, end: float, near: Answer | None = None,
        prescribed: tuple[dict[int, float], dict[int, float]] = ({}, {})) -> tuple[Trace, Answer]:
    """The way between two loads from rest, and the answer at its start."""
    none = Memory.none(solver.problem)
    first = near or solver.answer(np.array([start]), none, prescribed[0])
    assert first.held
    return Trace(Step(solver, np.array([end]), none, prescribed[1]), first), first


def test_a_sliding_fragment_presses_its_buttress_in_proportion() -> None:
    trace, first = way(fragment(stop=np.inf, gap=0.2), 500.0, 800.0)
    force, slack, _ = trace.rates()
    assert not trace.snaps
    assert force[-1] == pytest.approx(300.0 * COT, rel=1e-6)
    assert np.abs(force[:-1]).sum() > 300.0     # the face carries the rest
    assert force == pytest.approx(
        fragment(stop=np.inf, gap=0.2).answer(np.array([800.0])).force - first.force, abs=1e-7 * 800.0)
    assert np.count_nonzero(np.abs(slack) > 1e-6) == np.count_nonzero(np.abs(first.slack) > 1e-6)


def test_what_hardens_moves_by_its_slope() -> None:
    trace, first = way(crushed(), (STRENGTH + 100.0) / SMOOTH, (STRENGTH + 250.0) / SMOOTH)
    force, slack, _ = trace.rates()
    assert force[-1] == pytest.approx(150.0, rel=1e-6)
    assert slack[-1] == pytest.approx(150.0 / RISE, rel=1e-6)
    assert first.slack[-1] == pytest.approx(100.0 / RISE, rel=1e-6)


def test_a_hinge_turns_by_its_slope() -> None:
    top = 4.0 * PLASTIC / LENGTH
    solver = bent()
    trace, _ = way(solver, 1.01 * top, 1.02 * top)
    _, _, kink = trace.rates()
    # Moment over slope is the angle; an amplitude of 1 mm is 1 mm over the body's length.
    by_hand = 0.01 * top * LENGTH / 4.0 / TURN_RISE * solver.problem.bodies[0].length
    assert np.abs(kink).max() == pytest.approx(by_hand, rel=1e-6)
    assert np.count_nonzero(kink) == 1


def test_a_prescribed_force_changes_as_it_is_told() -> None:
    solver = fragment(stop=np.inf, gap=0.0, delta=0.0)
    screw = solver.problem.n - 1
    trace, first = way(solver, 100.0, 100.0, prescribed=({screw: 300.0}, {screw: 400.0}))
    assert first.force[screw] == pytest.approx(300.0, rel=1e-12)
    assert trace.rates()[0][screw] == pytest.approx(100.0, rel=1e-9)


@pytest.mark.parametrize(("make", "start", "end", "last"), [
    (lambda: fragment(stop=np.inf, gap=0.0), 1.0, 900.0, 900.0 * COT),
    (lambda: fragment(stop=np.inf, gap=0.0), 900.0, 300.0, None),
    (crushed, 100.0, (STRENGTH + 200.0) / SMOOTH, STRENGTH + 200.0),
    (bent, 10.0, 1.02 * 4.0 * PLASTIC / LENGTH, None)])
def test_pivots_end_in_the_state_that_a_search_from_rest_finds(make, start, end, last) -> None:
    """Its first guess there is the answer: nothing is left to search."""
    solver = make()
    trace, _ = way(solver, start, end)
    found, wanted = trace.run(), solver.answer(np.array([end]))
    assert found is not None
    assert found.steps == 1
    assert found.force == pytest.approx(wanted.force, abs=1e-7 * end)
    assert found.kink == pytest.approx(wanted.kink, abs=1e-9)
    assert found.slack == pytest.approx(wanted.slack, abs=1e-9)
    if last is not None:
        assert found.force[-1] == pytest.approx(last, rel=1e-3)


def test_only_a_proof_that_nothing_holds_names_its_method() -> None:
    """A step without an answer is not known: no linear program has proved anything of it."""
    solver = fragment(stop=np.inf, gap=0.2)
    step = Step(solver, np.array([500.0]), Memory.none(solver.problem), {})
    assert step.none(Status.NO_EQUILIBRIUM, None).method == LINEAR_PROGRAM
    lost = step.none(Status.UNCONVERGED, None, "why")
    assert (lost.method, lost.notes, lost.held) == ("none", ("why",), False)
    assert np.isnan(lost.force).all()
