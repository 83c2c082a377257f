"""The ram of a test machine: a load pattern that is pressed by displacement.

The pattern (a force on every load case for 1 N of ram) becomes one more link, the last, of a
condensed problem: its column is the pattern itself over all the bodies that it presses, so that
its deformation is the displacement conjugate to the load. Sign conventions: the ram's force ``P``
[N] is its link force and positive where it presses the way the pattern points; its displacement
``s`` [mm] is the work-conjugate ``f^T u``, positive that way too, and ``P ds`` is the work that it
does. The ram can only press: where the bodies run away from it its force is zero.

With the position ``s`` prescribed the load is an answer; with the force prescribed, the position.
Either way the bounds, the friction and the proof are those of any other step, and one inverse
serves them all.
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from scipy.optimize import linprog

from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.links.condense import Condensed
from buttress.fe.links.link import End, Link, LinkList
from buttress.fe.silence import output_to_errors
from buttress.fe.solve.answer import Answer, Memory
from buttress.fe.solve.capacity import Capacity
from buttress.fe.solve.complementarity import lemke_answer
from buttress.fe.solve.search import search
from buttress.fe.solve.solver import Solver
from buttress.fe.solve.step import LOCKED, Step
from buttress.fe.solve.strategy import FIRM
from buttress.fe.solve.trace import MOST_PIVOTS, Trace
from buttress.fe.solve.weakened import weakened
from buttress.fe.threads import one_thread

GROUND = End(None, None)
APART = 1e-3
"""Clearance of a motion that nothing resists, over the ram's way."""
NOTHING = 1e-13
"""Share of the reference below which the ram's force is none."""
SOON = 10
"""Guesses from a neighbour's states before pivots lead on from it."""
PROBED = 20
"""Guesses of a search for another answer: all that found one in the shipped studies took at most
14."""


@dataclass
class Tally:
    """How many linear problems were solved, and how many in searches that ended in nothing."""

    guesses: int = 0
    lost: int = 0               # guesses of searches without an answer
    lemke: int = 0              # times that Lemke's method solved the whole problem
    pivots: int = 0             # of that method

    def add(self, guesses: int, found: bool) -> None:
        """Enter a search."""
        self.guesses += guesses
        if not found:
            self.lost += guesses


@dataclass(frozen=True)
class Pressed:
    """A held state under the ram: the answer of the problem without ram, force and position."""

    answer: Answer
    load: float       # N, force of the ram
    place: float      # mm, position of the ram f^T u

    @property
    def held(self) -> bool:
        """Whether there is an equilibrium."""
        return self.answer.held


def with_ram(problem: Condensed, pattern: FloatArray) -> Condensed:
    """The problem with the ram as its last link; ``pattern (p,)`` is the load for 1 N of it."""
    pattern = np.asarray(pattern, dtype=float)

    def bordered(table: FloatArray, row: FloatArray) -> FloatArray:
        return np.vstack([table, row[None, :]])

    def longer(values: Any, last: float) -> Any:
        return np.append(values, np.asarray(last, dtype=values.dtype))

    base = 0.0 if problem.load_base is None else float(pattern @ problem.load_base)
    n = problem.n
    flexibility = np.empty((n + 1, n + 1))
    flexibility[:n, :n] = problem.flexibility
    # The ram's column is minus the pattern: a pressing force is positive.
    flexibility[n, :n] = flexibility[:n, n] = -(problem.load_deformation @ pattern)
    flexibility[n, n] = pattern @ problem.load_flexibility @ pattern
    listed = LinkList([*problem.links.links, Link("ram", "ram", GROUND, GROUND, lower=0.0)],
                      problem.links.hinges)
    return replace(
        problem, links=listed, flexibility=flexibility,
        rigid=bordered(problem.rigid, -(problem.load_rigid @ pattern)),
        kinks=bordered(problem.kinks, -(problem.load_kinks @ pattern)),
        load_deformation=bordered(problem.load_deformation, -(problem.load_flexibility @ pattern)),
        measure_links=np.hstack([problem.measure_links,
                                 -(problem.measure_loads @ pattern)[:, None]]),
        compliance=longer(problem.compliance, 0.0), lower=longer(problem.lower, 0.0),
        upper=longer(problem.upper, np.inf), gap=longer(problem.gap, base),
        friction=longer(problem.friction, 0.0), slope=longer(problem.slope, 0.0),
        soften=longer(problem.soften, 0.0), residual=longer(problem.residual, 1.0),
        partner=longer(problem.partner, -1),
        opens=longer(problem.opens, True))


class RamStep(Step):
    """A step of the problem with ram: to a position [mm], or to a force [N] of the ram.

    ``size`` [N]: load against which errors are told while the ram carries less.
    """

    def __init__(self, ram: Ram, memory: Memory, place: float | None, load: float | None,
                 size: float) -> None:
        n = ram.plain.n
        # w of the ram is its position less f^T u.
        kept = Memory(np.append(memory.offset, -(place or 0.0)), memory.kink,
                      np.append(memory.given, 0.0))
        super().__init__(ram.solver, ram.base, kept, {} if load is None else {n: load})
        self.base = float(np.abs(ram.base).sum())
        self.rests = load == 0.0 and not self.base
        self.reference = max(self.base, abs(load or 0.0), size)
        stuck = 0.0 if ram.solver.inverse is None else abs(float(self.sticking[n]))
        if self.reference < LOCKED * stuck:
            self.reference = stuck      # the ram has met no resistance, or not pressed yet
        self.reference = max(self.reference, 1e-12)
        self.tol = 1e-12 * self.reference

    def against(self, force: FloatArray) -> float:
        """The load on the bodies, or a share of the largest force or of what was carried before.

        Without any load it is the largest force, as for every step.
        """
        largest = float(np.abs(force).max(initial=0.0))
        if self.rests:
            return max(largest, LOCKED * self.reference)
        return max(self.base + abs(float(force[-1])), LOCKED * largest, LOCKED * self.reference)


def _unresisted(step: RamStep) -> Answer | None:
    """A motion of the bodies that no link resists, and so without any force; None without one."""
    p, m = step.p, step.p.rigid.shape[1]
    if step.prescribed or step.base or not m:
        return None
    parts = p.opens & (step.lower == 0.0)
    holds = (step.lower < 0.0) & (step.upper > 0.0)
    most = np.hstack([np.vstack([np.eye(m), -np.eye(m)]), -np.ones((2 * m, 1))])
    apart = np.hstack([p.rigid[parts], np.zeros((np.count_nonzero(parts), 1))])
    together = np.hstack([p.rigid[holds], np.zeros((np.count_nonzero(holds), 1))])
    # Clear of everything by a share of the way, so that rounding presses on nothing.
    clear = APART * float(np.abs(step.d).max(initial=0.0))
    solve: Any = linprog
    with output_to_errors():
        found = solve(np.append(np.zeros(m), 1.0), A_ub=np.vstack([apart, most]),
                      b_ub=np.concatenate([-step.d[parts] - clear, np.zeros(2 * m)]),
                      A_eq=together, b_eq=-step.d[holds], bounds=(None, None), method="highs")
    if found.status != 0:
        return None
    none = step.accept(np.zeros(p.n), found.x[:m], np.zeros(p.kinks.shape[1]), 1.0, 0)
    return None if none is None else replace(none, method="nothing resists")


@dataclass(frozen=True)
class Ram:
    """A condensed problem under a ram; ``base (p,)`` [N] is a load that acts all the time."""

    plain: Condensed
    solver: Solver
    pattern: FloatArray
    base: FloatArray
    tally: Tally = field(default_factory=Tally)

    @staticmethod
    def of(problem: Condensed, pattern: FloatArray, base: FloatArray | None = None) -> Ram:
        """Put a ram on a problem. Raises ValueError where it presses on nothing."""
        pattern = np.asarray(pattern, dtype=float)
        base = np.zeros(len(pattern)) if base is None else np.asarray(base, dtype=float)
        if not np.isfinite(pattern).all() or not pattern.any():
            raise ValueError("the ram has nothing to press on: its load pattern is zero")
        return Ram(problem, Solver(with_ram(problem, pattern)), pattern, base)

    def with_law(self, problem: Condensed) -> Ram:
        """The same ram on the same links with another law; compliances must be the same."""
        changed = with_ram(problem, self.pattern)
        return replace(self, plain=problem, solver=self.solver.variant(changed))

    def _cut(self, found: Answer) -> Pressed:
        """What was found, without the ram's own row; loads are NaN where it moves too far."""
        n, load = self.plain.n, float(found.force[-1])
        moved = float(self.place_of(found))
        answer = replace(found, force=found.force[:n], slack=found.slack[:n],
                         load=self.base + load * self.pattern,
                         moved=None if self.plain.placed is None else self.plain)
        return Pressed(answer, load, moved)

    def place_of(self, found: Answer) -> float:
        """``f^T u`` [mm] of an answer of the problem with ram."""
        p = self.solver.problem
        return -float(p.load_deformation[-1] @ self.base - p.flexibility[-1] @ found.force
                      + p.rigid[-1] @ found.rigid + p.kinks[-1] @ found.kink) + float(p.gap[-1])

    def step(self, memory: Memory, *, place: float | None = None, load: float | None = None,
             near: Sequence[Pressed] = (), size: float = 0.0, hammer: bool = False,
             pivots: int = MOST_PIVOTS) -> Pressed | None:
        """The step from ``memory`` to a position [mm] or a force [N] of the ram; None if not found.

        ``near``: states whose neighbours are tried first. ``hammer``: Lemke's method, where
        active sets find nothing. ``pivots``: most of them from a neighbour. Where links soften, the
        step is repeated with the strength that they have left at its end, so that it does not
        depend on its length.
        """
        def once(kept: Memory, found: Pressed | None) -> Pressed | None:
            return self._step(kept, place, load, near if found is None else [found], size,
                              hammer, pivots)

        return weakened(self.plain, memory, once, lambda found: None if found is None or
                        not found.held else found.answer.slack)

    def _step(self, memory: Memory, place: float | None, load: float | None,
              near: Sequence[Pressed], size: float, hammer: bool, pivots: int
              ) -> Pressed | None:
        """One step with the strengths that a memory leaves."""
        with one_thread():
            step = RamStep(self, memory, place, load, size)
            found = self._search(step, near, pivots)
            if found is None and hammer:
                found = _unresisted(step) or self._lemke(step)
        if found is None or found.status == "unconverged":
            return None
        if abs(found.force[-1]) <= NOTHING * step.reference:
            found.force[-1] = 0.0       # rounding
        return self._cut(found)

    def _search(self, step: RamStep, near: Sequence[Pressed], pivots: int) -> Answer | None:
        if self.solver.inverse is None:
            return None
        moved = [self._lifted(step, other) for other in near if other.answer.force.any()]
        for a in moved:
            state, turning = step.project(a.force, a.slack, a.kink_step)[2:]
            found = self._tried(step, state, turning)
            if found is not None:
                return replace(found, method="active set, neighbour")
        for a in moved[:1]:
            before = step.guesses
            found = Trace(step, a).run(pivots)
            self.tally.add(step.guesses - before, found is not None)
            if found is not None:
                return replace(found, method="pivots from a neighbour")
        if any(other.load > 0.0 for other in near):
            return None
        stick = np.zeros(step.p.n, dtype=np.int8)
        stick[list(step.prescribed)] = 1
        stick[:-1][step.p.opens[:-1] & (step.p.gap[:-1] > 0)] = -1
        for firm in (1.0, FIRM):
            found = self._tried(step, stick, None, firm, most=None)
            if found is not None:
                return found
        return None

    def _lifted(self, step: RamStep, near: Pressed) -> Answer:
        """A state as an answer of the problem with ram."""
        a, free = near.answer, bool(step.prescribed)
        return replace(a, force=np.append(a.force, near.load),
                       slack=np.append(a.slack, -near.place if free else 0.0))

    def _tried(self, step: RamStep, state: IntArray, turning: IntArray | None, firm: float = 1.0,
               most: int | None = SOON) -> Answer | None:
        before = step.guesses
        found = search(step, state, turning, firm, most=most)
        self.tally.add(step.guesses - before, found is not None)
        return found

    def _lemke(self, step: RamStep) -> Answer | None:
        before = step.guesses
        found = lemke_answer(step, Capacity("not asked", None, True, None, None))
        self.tally.guesses += step.guesses - before
        self.tally.lemke += 1
        self.tally.pivots += step.pivots.taken
        return found

    def settled(self, state: Pressed) -> Pressed:
        """A state whose slip, crushing and kinks are committed: only what is open has a slack."""
        a = state.answer
        return replace(state, answer=replace(
            a, slack=np.where(self.plain.opens, np.minimum(a.slack, 0.0), 0.0),
            kink_step=np.zeros_like(a.kink_step)))

    def others(self, memory: Memory, state: Pressed, place: float, shares: Sequence[float]
               ) -> list[Pressed]:
        """What other starts than the neighbour's lead to at a position [mm]: slip starts, and
        the states under ``shares`` of the friction."""
        out: list[Pressed] = []
        if self.solver.inverse is None:
            return out
        with one_thread():
            step = RamStep(self, memory, place, None, state.load)
            rubs = step.friction > 0
            force, slack = np.append(state.answer.force, state.load), state.answer.slack
            known, turning = step.project(force, np.append(slack, 0.0), state.answer.kink_step)[2:]
            starts = [(np.where(rubs, sign, known).astype(np.int8), turning) for sign in (1, -1)]
            for share in shares if rubs.any() else ():
                other = copy(step)
                other.friction = share * step.friction
                near = search(other, known, turning, most=PROBED)
                if near is not None and near.held:
                    starts.append(step.project(near.force, near.slack, near.kink_step)[2:])
            for start in starts if rubs.any() else ():
                found = self._tried(step, *start, most=PROBED)
                if found is not None and found.held:
                    out.append(self._cut(found))
        return out

    def energy(self, state: Pressed) -> float:
        """Elastic energy [N mm] of bodies and link compliances in a state."""
        p, force = self.solver.problem, np.append(state.answer.force, state.load)
        return float(0.5 * force @ (p.flexibility @ force) + 0.5 * force**2 @ p.compliance
                     - force @ (p.load_deformation @ self.base)
                     + 0.5 * self.base @ p.load_flexibility @ self.base)

    def dissipated(self, state: Pressed) -> float:
        """Energy [N mm] that slip, crushing and hinges have taken in the step to a state."""
        links, hinges = self.taken(state)
        return float(links.sum() + hinges.sum())

    def taken(self, state: Pressed) -> tuple[FloatArray, FloatArray]:
        """What each link ``(n,)`` and hinge ``(h,)`` has taken by giving way in that step, N mm.

        Forces are those at its end, less half of what has hardened in the step: exact where they
        stay at a bound that moves with their own slip alone.
        """
        p, a = self.plain, state.answer
        moment = p.load_kinks @ a.load - p.kinks.T @ a.force
        given = np.where((a.slack > 0) | (p.lower < 0), a.slack, 0.0)
        return (a.force * a.slack - 0.5 * p.slope * given**2,
                moment * a.kink_step - 0.5 * p.kink_slope * a.kink_step**2)

    def base_place(self, state: Pressed) -> float:
        """What the base load has moved by, times it [N mm]: its work up to a state."""
        p, a = self.plain, state.answer
        moved = (p.load_flexibility @ a.load - p.load_deformation.T @ a.force
                 + p.load_rigid.T @ a.rigid + p.load_kinks.T @ a.kink)
        return float(self.base @ moved)

    def rest(self, memory: Memory, near: Answer | None = None) -> Pressed | None:
        """The state without force of the ram, as tightened: where pressing starts from."""
        n = self.plain.n
        with one_thread():
            step = RamStep(self, memory, None, 0.0, 0.0)
            none = np.zeros(step.p.kinks.shape[1])
            still = step.accept(np.zeros(n + 1), np.zeros(step.p.rigid.shape[1]), none, 1.0, 0)
            if still is None and near is not None and near.held:
                # What tightening has led to, if it stays so when the screws are let go.
                still = step.accept(np.append(near.force, 0.0), near.rigid, none, near.rcond, 0)
        if still is not None:
            return self._cut(replace(still, method="at rest"))
        known = [] if near is None else [Pressed(near, 0.0, 0.0)]
        return self.step(memory, load=0.0, near=known, hammer=True)

    def advance(self, state: Pressed, memory: Memory) -> Memory:
        """Memory after a state: slip, crushing and kinks are kept; see `Solver.advance`."""
        kept = Memory(np.append(memory.offset, 0.0), memory.kink, np.append(memory.given, 0.0))
        a = state.answer
        lifted = replace(a, force=np.append(a.force, state.load), slack=np.append(a.slack, 0.0))
        after = self.solver.advance(lifted, kept)
        return Memory(after.offset[:-1], after.kink, after.given[:-1])
