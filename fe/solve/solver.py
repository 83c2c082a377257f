"""Bounded links with Coulomb friction: active sets on the condensed problem, with a final proof.

Every link starts as sticking; the sticking problem is inverted once per construct, and each step
solves only for the links that have left it (opened, slipped, yielded) and for the hinges that
rotate. The friction bound is part of the linear system: a slipping link's force is plus or minus
``friction`` times its partner's unknown force. The trial value of a link is its force plus its
residual divided by its own flexibility; projecting it onto the bounds gives the next state. Where
this does not converge, Lemke's method is used (`fe.solve.complementarity`), and where no force
system can carry the load, a linear program proves it (`fe.solve.capacity`). An answer is accepted
only by its own residuals.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.errors import SolveError
from buttress.fe.solve.answer import Answer, Memory
from buttress.fe.solve.search import follow
from buttress.fe.solve.step import Step
from buttress.fe.solve.sticking import Sticking
from buttress.fe.solve.strategy import run
from buttress.fe.solve.weakened import weakened
from buttress.fe.status import Status
from buttress.fe.threads import one_thread

WAY, LONGEST, SHORTEST, RESCUES = 0.1, 0.25, 0.005, 2
"""Shares of prescribed forces: the first by way of which a step is found where the direct way is
not, and the longest and shortest from one to the next; how often a step may take the long way."""


class Solver(Sticking):
    """Solver of one condensed problem; stores the inverse of its sticking state.

    ``variant`` gives a solver for other bounds, friction or gaps that shares the inverse. A
    mechanism raises no error: the answer then has the status "no equilibrium".
    """

    def answer(self, load: FloatArray, memory: Memory | None = None,
               prescribed: dict[int, float] | None = None, near: Answer | None = None,
               before: Answer | None = None) -> Answer:
        """The step to ``load (p,)`` from ``memory``; ``prescribed`` link forces [N] are constant.

        ``near``: a held answer at a similar load, from which the states are followed first; it does
        not affect acceptance. ``before``: the answer that ``memory`` stands for, without what it
        has committed; pivots lead on from it where short searches find nothing.
        """
        load = np.asarray(load, dtype=float)

        def once(kept: Memory, found: Answer | None) -> Answer:
            step = Step(self, load, kept, prescribed or {})
            answer = run(step, near if found is None else found, before)
            if answer.status == Status.UNCONVERGED and prescribed:
                return self._by_way(load, kept, prescribed) or answer
            return answer

        with one_thread():
            return weakened(self.problem, memory or Memory.none(self.problem), once,
                            lambda found: found.slack if found.held else None)

    def _by_way(self, load: FloatArray, kept: Memory, prescribed: dict[int, float]
                ) -> Answer | None:
        """The same step found by way of smaller prescribed forces from the same memory, which
        commit nothing; None where one of them is not found."""
        def step(share: float) -> Step:
            return Step(self, load, kept, {i: share * force for i, force in prescribed.items()})

        share, size, longer = WAY, LONGEST, RESCUES
        found = run(step(share))
        while found.held and share < 1.0:
            farther = min(1.0, share + size)
            near = follow(step(farther), found.force, found.slack, found.kink_step)
            if near is not None and near.held:
                found, share, size = near, farther, min(LONGEST, 1.5 * size)
            elif size >= SHORTEST:
                size *= 0.5
            elif longer:        # no neighbour: the long way for one step, as for the first
                share, size, longer = min(1.0, share + WAY), WAY, longer - 1
                found = run(step(share), found)
            else:
                return None
        return replace(found, method="active set, by way of smaller forces") \
            if found.held else None

    def advance(self, answer: Answer, memory: Memory | None = None) -> Memory:
        """Memory after an answer: slip, crushing, kinks and tightened lengths are kept."""
        memory = memory or Memory.none(self.problem)
        if not answer.held:
            raise SolveError("a stage without equilibrium cannot be followed by a further stage")
        keep = answer.slack.copy()
        # An open link has no memory of its opening; one that was just tightened carries a force.
        idle = np.abs(answer.force) <= 1e-12 * np.abs(answer.force).max(initial=0.0)
        keep[self.problem.opens & idle & (answer.slack < 0)] = 0.0
        p = self.problem
        given = p.after(keep, memory.given)
        broken = (p.soften > 0) & (p.kept(given)[0] == 0.0) & (p.upper != -p.lower)
        keep[broken & idle & (answer.slack < 0)] = 0.0
        return Memory(memory.offset + keep, memory.kink + answer.kink_step, given)
