"""An order of steps on one condensed problem: bodies join and leave, links change their law.

A body that joins does so at rest: its links take the lengths that the others have given them by
then, so that it starts without force. What slipped, was crushed, bent or shortened by tightening
is carried from step to step, so the order matters. All of it works on the condensed problem:
nothing is factorised again, and what takes part is inverted once for each combination.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from buttress.fe.arrays import BoolArray, FloatArray, IntArray
from buttress.fe.links.condense import Condensed
from buttress.fe.solve.answer import Answer, Memory, Status
from buttress.fe.solve.solver import Solver
from buttress.fe.solve.step import Step
from buttress.fe.solve.subset import Subset, link_bodies, subset

MOST_SUBSETS = 12


@dataclass(frozen=True)
class State:
    """What a step leaves. Arrays are over the bodies and links of the whole problem."""

    present: BoolArray     # (b,) bodies that take part
    held_back: BoolArray   # (n,) links without force although their bodies are there
    lower: FloatArray      # (n,) law of the links from here on
    upper: FloatArray
    friction: FloatArray
    memory: Memory
    answer: Answer         # the last that was held


class Staging:
    """Steps of one condensed problem; keeps a solver for each combination of what takes part.

    ``solver``: one of the whole problem, used where everything takes part. ``drag``: links by
    number of their body that take part only while nothing else carries a force on it: equilibrium
    does not say where such a body lies, so its drag keeps it where it is until it is pushed.
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

    def start(self, present: BoolArray, held_back: BoolArray | None = None) -> State:
        """Rest without load: nothing has moved and nothing carries a force."""
        p = self.problem
        back = self.drags if held_back is None else self.drags | held_back
        at_rest = Answer(
            status=Status.HELD, method="at rest", force=np.zeros(p.n),
            rigid=np.zeros(p.rigid.shape[1]), kink=np.zeros(p.kinks.shape[1]), slack=np.zeros(p.n),
            kink_step=np.zeros(p.kinks.shape[1]), load=np.zeros(len(p.loads)), residual=0.0,
            complementarity=0.0, rcond=1.0, steps=0)
        return State(
            present=np.asarray(present, dtype=bool), held_back=back, lower=p.lower, upper=p.upper,
            friction=p.friction, memory=Memory.none(p), answer=at_rest)

    def live(self, state: State) -> BoolArray:
        """Links that take part ``(n,)``: not held back and both bodies there."""
        there = np.append(state.present, True)
        return there[self.ends].all(axis=1) & ~state.held_back

    def lack(self, state: State) -> FloatArray:
        """``w`` of every link [mm] in a state: 0 where it fits, minus its gap where it is open."""
        p, a = self.problem, state.answer
        return (p.load_deformation @ a.load - p.gap - state.memory.offset - p.flexibility @ a.force
                - p.compliance * a.force + p.rigid @ a.rigid + p.kinks @ a.kink)

    def _fitted(self, state: State, links: BoolArray) -> State:
        """The state with links made to fit as the bodies lie: no force, gaps as they were made."""
        offset = state.memory.offset.copy()
        offset[links] += (self.lack(state) + self.problem.gap)[links]
        return replace(state, memory=Memory(offset, state.memory.kink))

    def join(self, state: State, bodies: IntArray) -> State:
        """Bodies take part from here on, without force as all lies now."""
        present = state.present.copy()
        present[bodies] = True
        after = replace(state, present=present)
        return self._fitted(after, self.live(after) & ~self.live(state))

    def leave(self, state: State, bodies: IntArray) -> State:
        """Bodies are taken out with their links; what these carried is let go in the next step."""
        present = state.present.copy()
        present[bodies] = False
        after = replace(state, present=present)
        gone = np.flatnonzero(np.isin(self.problem.rigid_body, bodies))
        force, rigid = state.answer.force.copy(), state.answer.rigid.copy()
        force[~self.live(after)] = 0.0
        rigid[gone] = 0.0
        return replace(after, answer=replace(state.answer, force=force, rigid=rigid))

    def fasten(self, state: State, links: IntArray) -> State:
        """Links hold both ways from here on, with the force that they have now.

        Those that were held back or open start without force as all lies now.
        """
        held_back = state.held_back.copy()
        held_back[links] = False
        loose = np.zeros(self.problem.n, dtype=bool)
        loose[links] = state.answer.force[links] == 0.0
        lower, upper, friction = state.lower.copy(), state.upper.copy(), state.friction.copy()
        lower[links], upper[links], friction[links] = -np.inf, np.inf, 0.0
        after = replace(state, held_back=held_back, lower=lower, upper=upper, friction=friction)
        offset = after.memory.offset.copy()
        offset[loose] += self.lack(after)[loose]     # an open gap stays as wide as it is
        return replace(after, memory=Memory(offset, after.memory.kink))

    def part(self, state: State) -> tuple[Subset, Solver]:
        """What takes part, with the laws of the state, and its solver."""
        live = self.live(state)
        key = self._key(state.present, live)
        if key not in self._known:
            if len(self._known) >= MOST_SUBSETS:
                self._known.pop(list(self._known)[1])    # the first is the whole
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

        ``prescribed`` forces [N] of links (by number) are reached in this step; the links keep
        the length that they then have. Without equilibrium the state is the one before. ``near``:
        a held answer of a like step with the same parts; it changes no answer, only the way to it.
        """
        if state.held_back[self.drags].all():
            plain = state
        else:
            # Bodies that only their drag held: where nothing changes they stay, else they are tried
            # without it.
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
        fit[links] = state.held_back[links]      # those that drag already remember where from
        found = self._step(self._fitted(dragged, fit), load, prescribed, near)
        return found if found[0].held else (answer, after)

    def loose(self, state: State, answer: Answer) -> list[int]:
        """Bodies with a drag that no link holds both ways and on which none carries a force.

        Without an answer, all that no link holds both ways.
        """
        live = self.live(state) & ~self.drags
        both_ways = (state.lower < 0.0) & (state.upper > 0.0)
        size = np.abs(answer.force) if answer.held else np.zeros(self.problem.n)
        firm = live & (both_ways | (size > 1e-9 * size.max(initial=0.0)))
        held = set(self.ends[firm].ravel().tolist())
        return [body for body in self.drag if state.present[body] and body not in held]

    def _step(self, state: State, load: FloatArray, prescribed: dict[int, float] | None,
              near: Answer | None) -> tuple[Answer, State]:
        """A step with the links that take part in a state."""
        cut, solver = self.part(state)
        memory, load = cut.memory(state.memory), np.asarray(load, dtype=float)
        held = cut.prescribed(prescribed or {})
        found = None
        if not held and np.array_equal(load, state.answer.load):
            found = self._unchanged(cut, solver, state, memory)
        if found is None:
            found = solver.answer(load, memory, held, cut.narrowed(near) if near else None)
        answer = cut.carried_back(found, state.memory)
        if not answer.held:
            return answer, state
        after = cut.remembered(solver.advance(found, memory), state.memory)
        return answer, replace(state, memory=after, answer=answer)

    def _unchanged(self, cut: Subset, solver: Solver, state: State, memory: Memory
                   ) -> Answer | None:
        """The forces of the state, where their own residuals prove that they are still right."""
        step = Step(solver, state.answer.load, memory, {})
        if not state.answer.force.any() and not state.answer.load.any():
            # Without any force, errors are told against what the lack of fit could raise.
            step.reference = max(step.reference, 1.0)
        found = step.accept(state.answer.force[cut.links], state.answer.rigid[cut.motions],
                            np.zeros(cut.hinges.size), 1.0, 0)
        return None if found is None else replace(found, method="unchanged")
