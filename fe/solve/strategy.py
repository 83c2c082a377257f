"""The order in which starts are tried until a step has an answer or a proof of none."""

from __future__ import annotations

from copy import copy
from dataclasses import replace

import numpy as np

from buttress.fe.arrays import IntArray
from buttress.fe.solve.answer import Answer
from buttress.fe.solve.capacity import Capacity, capacity
from buttress.fe.solve.complementarity import lemke_answer
from buttress.fe.solve.search import follow, most_guesses, search
from buttress.fe.solve.step import Step
from buttress.fe.solve.trace import Trace
from buttress.fe.status import Status

FIRM = 1e3
"""Weight of force against slack in trial values, for when the natural one does not converge."""
OTHER_FRICTION = (0.0, 3.0, 10.0, 0.3)
"""Shares of the friction at which a start is sought."""
SOON = 20
"""Trial states after which limit analysis is consulted first."""


def _impossible(limit: Capacity) -> bool:
    """Whether limit analysis proves that no force system carries the load."""
    return not limit.feasible or (limit.factor is not None and limit.factor < 1.0 - 1e-9)


def _further(step: Step, stick: IntArray) -> Answer | None:
    """With forces weighed more; from another friction's states."""
    # Soft graft between stiff walls overreacts to its slack, which leads to cycles.
    found = search(step, stick, firm=FIRM)
    if found is not None:
        return replace(found, method="active set, firm")
    for share in OTHER_FRICTION if step.friction.any() else ():
        other = copy(step)
        other.friction = share * step.friction
        near = search(other, stick, firm=FIRM)
        if near is None or not near.held:
            continue
        found = follow(step, near.force, near.slack, near.kink_step, FIRM)
        if found is not None:
            return replace(found, method="active set, from other friction")
    return None


def run(step: Step, near: Answer | None = None, before: Answer | None = None) -> Answer:
    """The answer of a step, from the first start that converges; see `solver.Solver.answer`."""
    p, found = step.p, None
    stick = np.zeros(p.n, dtype=np.int8)
    for i in step.prescribed:
        stick[i] = 1
    # An open gap starts open: sticking across it would pull the parts together.
    stick[p.opens & (p.gap > 0)] = -1
    starts = step.solver.inverse is not None
    if starts and near is not None and near.held:
        found = follow(step, near.force, near.slack, near.kink_step)
        if found is not None:
            return replace(found, method="active set, neighbour")
    # Most searches end soon. The proof that nothing holds costs less than long ones.
    found = search(step, stick, most=SOON) if starts else None
    if found is not None:
        return found
    limit = capacity(p.firm(), step.load, prescribed=step.prescribed)
    if _impossible(limit):
        return step.none(Status.NO_EQUILIBRIUM, limit.escape)
    if starts and before is not None:
        found = Trace(step, before).run()
        if found is not None:
            return replace(found, method="pivots from a neighbour")
    if starts and most_guesses(p.n) > SOON:
        found = search(step, stick)
    if starts:
        found = found or _further(step, stick)
    return found or lemke_answer(step, limit)
