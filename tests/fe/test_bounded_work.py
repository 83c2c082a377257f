"""Work of Lemke's method is bounded by a stated count; beyond it nothing is known, nor is it said
that something fails. Friction lost is the problem without friction's links."""

from __future__ import annotations

import numpy as np
import pytest
from enumerated import FORCE, problem

from buttress.fe.solve import path as paths
from buttress.fe.solve.answer import Memory
from buttress.fe.solve.capacity import capacity
from buttress.fe.solve.complementarity import lemke_answer
from buttress.fe.solve.lemke import Pivots, lemke
from buttress.fe.solve.path import press, steps
from buttress.fe.solve.ram import Pressed, Ram, RamStep
from buttress.fe.solve.solver import Solver
from buttress.fe.solve.step import Step
from buttress.fe.solve.subset import frictionless
from buttress.fe.status import Status
from buttress.fe.verification import hinge
from buttress.fe.verification.stagepath import FRICTION, PRESS, PUSH, sliding


def test_lemke_stops_when_its_pivots_are_used_up() -> None:
    """A problem with a known number of pivots: v = z - 1 takes one for each unknown."""
    size = 6
    enough, short = Pivots(), Pivots(2)
    # Unequal right-hand sides, so that each unknown comes in by a pivot of its own.
    matrix, right = np.eye(size), -np.arange(1.0, size + 1)
    found, reason = lemke(matrix, right, enough)
    assert reason == "solution"
    assert found == pytest.approx(-right)
    assert enough.taken >= size
    assert lemke(matrix, right, short) == (None, "pivots")
    assert short.left == 0


def test_an_answer_without_pivots_left_is_unconverged_and_says_so() -> None:
    tried = 0
    for seed in range(40):
        solver = Solver(problem(seed))
        step = Step(solver, FORCE, Memory.none(solver.problem), {})
        full = lemke_answer(step, capacity(solver.problem, FORCE))
        if solver.inverse is None or step.pivots.taken < 3 or not full.held:
            continue
        again = Step(solver, FORCE, Memory.none(solver.problem), {})
        again.pivots = Pivots(1)
        cut = lemke_answer(again, capacity(solver.problem, FORCE))
        assert cut.status == Status.UNCONVERGED
        assert "the limit of 1 pivots" in cut.notes[0]
        tried += 1
    assert tried > 5


def test_a_path_asks_lemke_no_more_once_its_pivots_are_used_up(
        monkeypatch: pytest.MonkeyPatch) -> None:
    """Beyond a place nothing is found, and each try costs 100 pivots: the path ends, not known."""
    ram, found, asked = Ram.of(hinge.bar(built_in=True).problem, np.ones(1)), Ram._search, []

    def search(self: Ram, step: RamStep, near: tuple[Pressed, ...], pivots: int) -> object:
        return found(self, step, near, pivots) if -step.memory.offset[-1] <= 0.2 or step.prescribed else None

    def hammer(self: Ram, step: RamStep) -> None:
        asked.append(step)
        self.tally.pivots += 100

    monkeypatch.setattr(Ram, "_search", search)
    monkeypatch.setattr(Ram, "_lemke", hammer)
    monkeypatch.setattr(paths, "MOST_PIVOTS", 300)
    path = press(ram, Memory.none(ram.plain), steps(1.0, first=0.02))
    assert len(asked) == 3
    assert path.pivots == 300
    assert (path.status, path.peak_status) == ("gaps", "not known")
    # What is gone on with has used up the same.
    assert press(ram, Memory.none(ram.plain), steps(2.0, first=0.02), onto=path).pivots == 300
    assert len(asked) == 3


def test_with_friction_lost_the_spring_carries_all_of_a_push() -> None:
    """A block that is pressed down and pushed along against a spring, statics by hand: friction
    carries its share of the push where there is some, and none where it is lost."""
    whole, load = sliding().problem, np.array([PRESS, PUSH])
    cut = frictionless(whole)
    assert cut.problem.n == whole.n - np.count_nonzero(whole.friction)
    assert np.count_nonzero(whole.friction) == 1
    rubs, lost = Solver(whole).answer(load), Solver(cut.problem).answer(load)
    assert abs(rubs.force[2]) == pytest.approx(PUSH - FRICTION * PRESS, rel=1e-9)
    back = cut.carried_back(lost, Memory.none(whole))
    assert abs(back.force[2]) == pytest.approx(PUSH, rel=1e-9)
    assert back.force[1] == 0.0
    # As the same law on all links.
    law = Solver(whole.with_law(friction=np.zeros_like(whole.friction))).answer(load)
    assert back.force == pytest.approx(law.force, abs=1e-9 * PRESS)


def test_what_sticks_by_itself_stays_when_friction_is_lost() -> None:
    whole = sliding().problem
    lower, upper = whole.lower.copy(), whole.upper.copy()
    lower[1], upper[1] = -50.0, 50.0
    cut = frictionless(whole.with_law(lower=lower, upper=upper))
    assert cut.problem.n == whole.n
    found = Solver(cut.problem).answer(np.array([PRESS, PUSH]))
    assert abs(found.force[2]) == pytest.approx(PUSH - 50.0, rel=1e-9)
