"""A sequence of steps on one condensed problem: bodies join and leave, links change their law.

A body joins without force: its links are fitted to the current positions of the other bodies.
Slip, crushing, plastic bending and shortening by tightening carry over from step to step, so the
order matters. Everything is done on the condensed problem: nothing is factorised again, and each
combination of active parts is inverted once.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from buttress.fe.arrays import BoolArray, FloatArray, IntArray
from buttress.fe.links.condense import Condensed
from buttress.fe.solve.answer import Answer, Memory
from buttress.fe.solve.solver import Solver
from buttress.fe.solve.step import Step
from buttress.fe.solve.subset import Subset, link_bodies, subset
from buttress.fe.status import Status

MOST_SUBSETS = 12


@dataclass(frozen=True)
class State:
    """The state after a step. Arrays are over the bodies and links of the whole problem."""

    present: BoolArray     # (b,) active bodies
    held_back: BoolArray   # (n,) links without force although their bodies are active
    lower: FloatArray      # (n,) law of the links from here on
    upper: FloatArray
    friction: FloatArray
    memory: Memory
    answer: Answer         # the last held answer


class Staging:
    """Steps of one condensed problem; stores a solver for each combination of active parts.

    ``solver``: one of the whole problem, used where everything is active. ``drag``: links, by
    number of their body, that are active only while no other force acts on it: equilibrium does not
    determine the position of such a body, so its drag keeps it in place until it is pushed.
    """

    def __init__(self, solver: Solver, drag: Mapping[int, Sequence[int]] | None = None) -> None:
        self.problem: Condensed = solver.problem
        self.ends = link_bodies(self.problem)
        self.drag = {body: np.array(links) for body, links in (drag or {}).items()}
        self.drags = np.zeros(self.problem.n, dtype=bool)
        for links in self.drag.values():
            self.drags[links] = True
        everything = np.ones(len(self.problem.bodies), dtype=bool)
        self._known: dict[bytes, tuple[Subset, Solver]] = {}
        whole = subset(self.problem, everything, np.ones(self.problem.n, dtype=bool))
        self._known[self._key(everything, np.ones(self.problem.n, dtype=bool))] = (whole, solver)

    def start(self, present: BoolArray) -> State:
        """The initial state: no load, no displacement, no force."""
        p = self.problem
        at_rest = Answer(
            status=Status.HELD, method="at rest", force=np.zeros(p.n),
            rigid=np.zeros(p.rigid.shape[1]), kink=np.zeros(p.kinks.shape[1]), slack=np.zeros(p.n),
            kink_step=np.zeros(p.kinks.shape[1]), load=np.zeros(len(p.loads)), residual=0.0,
            complementarity=0.0, rcond=1.0, steps=0)
        return State(
            present=np.asarray(present, dtype=bool), held_back=self.drags, lower=p.lower,
            upper=p.upper, friction=p.friction, memory=Memory.none(p), answer=at_rest)

    def live(self, state: State) -> BoolArray:
        """Active links ``(n,)``: not held back and both bodies active."""
        there = np.append(state.present, True)
        return there[self.ends].all(axis=1) & ~state.held_back

    def lack(self, state: State) -> FloatArray:
        """``w`` of every link [mm] in a state: 0 where in contact, minus its gap where open."""
        p, a = self.problem, state.answer
        return (p.load_deformation @ a.load - p.gap - state.memory.offset - p.flexibility @ a.force
                - p.compliance * a.force + p.rigid @ a.rigid + p.kinks @ a.kink)

    def _fitted(self, state: State, links: BoolArray) -> State:
        """The state with links fitted to the current positions: no force, gaps as manufactured."""
        offset = state.memory.offset.copy()
        offset[links] += (self.lack(state) + self.problem.gap)[links]
        return replace(state, memory=replace(state.memory, offset=offset))

    def join(self, state: State, bodies: IntArray) -> State:
        """Activate bodies from here on, without force in the current positions."""
        present = state.present.copy()
        present[bodies] = True
        after = replace(state, present=present)
        return self._fitted(after, self.live(after) & ~self.live(state))

    def leave(self, state: State, bodies: IntArray) -> State:
        """Remove bodies with their links; the forces of these are released in the next step."""
        present = state.present.copy()
        present[bodies] = False
        after = replace(state, present=present)
        gone = np.flatnonzero(np.isin(self.problem.rigid_body, bodies))
        force, rigid = state.answer.force.copy(), state.answer.rigid.copy()
        force[~self.live(after)] = 0.0
        rigid[gone] = 0.0
        return replace(after, answer=replace(state.answer, force=force, rigid=rigid))

    def fasten(self, state: State, links: IntArray) -> State:
        """Make links two-way from here on, with their current force.

        Those that were held back or open start without force in the current positions.
        """
        held_back = state.held_back.copy()
        held_back[links] = False
        loose = np.zeros(self.problem.n, dtype=bool)
        loose[links] = state.answer.force[links] == 0.0
        lower, upper, friction = state.lower.copy(), state.upper.copy(), state.friction.copy()
        lower[links], upper[links], friction[links] = -np.inf, np.inf, 0.0
        after = replace(state, held_back=held_back, lower=lower, upper=upper, friction=friction)
        offset = after.memory.offset.copy()
        offset[loose] += self.lack(after)[loose]     # an open gap keeps its width
        return replace(after, memory=replace(after.memory, offset=offset))

    def part(self, state: State) -> tuple[Subset, Solver]:
        """The active parts, with the laws of the state, and their solver."""
        live = self.live(state)
        key = self._key(state.present, live)
        if key not in self._known:
            if len(self._known) >= MOST_SUBSETS:
                self._known.pop(list(self._known)[1])    # the first is the whole problem
            cut = subset(self.problem, state.present, live)
            self._known[key] = cut, Solver(cut.problem)
        cut, solver = self._known[key]
        lower, upper, friction = (x[cut.links] for x in (state.lower, state.upper, state.friction))
        law = cut.problem.with_law(lower=lower, upper=upper, friction=friction,
                                   opens=(lower == 0.0) & (friction == 0.0))
        return replace(cut, problem=law), solver.variant(law)

    @staticmethod
    def _key(present: BoolArray, live: BoolArray) -> bytes:
        return present.tobytes() + live.tobytes()

    def step(self, state: State, load: FloatArray, prescribed: dict[int, float] | None = None,
             near: Answer | None = None) -> tuple[Answer, State]:
        """The answer of the step to ``load (p,)`` and the state after it.

        ``prescribed`` forces [N] of links (by number) are reached in this step; the links then keep
        their length. Without equilibrium the state is that before the step. ``near``: a held answer
        of a similar step with the same parts; it affects only the search, not the answer.
        """
        if state.held_back[self.drags].all():
            plain = state
        else:
            # Bodies held only by drag: kept where nothing changes, else tried without drag.
            if not prescribed and np.array_equal(load, state.answer.load):
                cut, solver = self.part(state)
                if self._unchanged(cut, solver, state, cut.memory(state.memory)) is not None:
                    return self._step(state, load, {}, None)
            plain = replace(state, held_back=state.held_back | self.drags)
        answer, after = self._step(plain, load, prescribed, near)
        if answer.method == "unchanged" or answer.status == Status.NO_EQUILIBRIUM:
            return answer, after
        loose = self.loose(after, answer)
        if not loose:
            return answer, after
        links = np.concatenate([self.drag[body] for body in loose])
        back = plain.held_back.copy()
        back[links] = False
        dragged, fit = replace(plain, held_back=back), np.zeros(self.problem.n, dtype=bool)
        fit[links] = state.held_back[links]      # bodies already held keep their position
        found = self._step(self._fitted(dragged, fit), load, prescribed, near)
        return found if found[0].held else (answer, after)

    def loose(self, state: State, answer: Answer) -> list[int]:
        """Bodies with drag that have no two-way link and on which no link carries a force.

        Without an answer, all that have no two-way link.
        """
        live = self.live(state) & ~self.drags
        both_ways = (state.lower < 0.0) & (state.upper > 0.0)
        size = np.abs(answer.force) if answer.held else np.zeros(self.problem.n)
        firm = live & (both_ways | (size > 1e-9 * size.max(initial=0.0)))
        held = set(self.ends[firm].ravel().tolist())
        return [body for body in self.drag if state.present[body] and body not in held]

    def _step(self, state: State, load: FloatArray, prescribed: dict[int, float] | None,
              near: Answer | None) -> tuple[Answer, State]:
        """A step with the active links of a state."""
        cut, solver = self.part(state)
        memory, load = cut.memory(state.memory), np.asarray(load, dtype=float)
        held = cut.prescribed(prescribed or {})
        found = None
        if not held and np.array_equal(load, state.answer.load):
            found = self._unchanged(cut, solver, state, memory)
        if found is None:
            found = solver.answer(load, memory, held, cut.narrowed(near) if near else None,
                                  cut.narrowed(self._settled(state)))
        answer = cut.carried_back(found, state.memory)
        if not answer.held:
            return answer, state
        after = cut.remembered(solver.advance(found, memory), state.memory)
        return answer, replace(state, memory=after, answer=answer)

    def _settled(self, state: State) -> Answer:
        """The answer of a state whose slip and crushing are committed: what is open has a slack."""
        p, a = self.problem, state.answer
        opens = (state.lower == 0.0) & (state.friction == 0.0) & (a.force == 0.0)
        return replace(a, slack=np.where(opens, np.minimum(self.lack(state), 0.0), 0.0),
                       kink_step=np.zeros(p.kinks.shape[1]))

    def _unchanged(self, cut: Subset, solver: Solver, state: State, memory: Memory
                   ) -> Answer | None:
        """The forces of the state, where their own residuals prove that they are still valid."""
        step = Step(solver, state.answer.load, memory, {})
        if not state.answer.force.any() and not state.answer.load.any():
            # Without any force, errors are relative to the forces that misfit could cause.
            step.reference = max(step.reference, 1.0)
        found = step.accept(state.answer.force[cut.links], state.answer.rigid[cut.motions],
                            np.zeros(cut.hinges.size), 1.0, 0)
        return None if found is None else replace(found, method="unchanged")
