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
from buttress.fe.status import Status

FIRM = 1e3
"""Weight of force against slack in trial values, for when the natural one does not converge."""
OTHER_FRICTION = (0.0, 3.0, 10.0, 0.3)
"""Shares of the friction at which a start is sought."""
SOON = 20
"""Trial states after which limit analysis is consulted first."""
FEW_LINKS = 600
RAMP = (0.3, 0.5, 0.65, 0.75, 0.85, 0.9, 0.93, 0.96, 0.98, 1.0)
"""Shares of a load through which its states are followed where no start converges directly."""


def _impossible(limit: Capacity) -> bool:
    """Whether limit analysis proves that no force system carries the load."""
    return not limit.feasible or (limit.factor is not None and limit.factor < 1.0 - 1e-9)


def _start(step: Step, stick: IntArray) -> Answer | None:
    """From all links sticking, then the further starts."""
    return search(step, stick) or _further(step, stick)


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


def _follow_load(step: Step, stick: IntArray) -> Answer | None:
    """Follow the states while the load grows; each is only a start for the next."""
    if step.prescribed or not step.load.any():
        return None
    near: Answer | None = None
    for share in RAMP:
        part, found = Step(step.solver, share * step.load, step.memory, {}), None
        if near is None:
            found = _start(part, stick)
            if found is None:
                return None
        else:
            for firm in (1.0, FIRM):
                found = found or follow(part, near.force, near.slack, near.kink_step, firm)
        near = found or near
        if near is not None and not near.held:
            return replace(near, load=step.load)  # it already moves too far
    return found


def run(step: Step, near: Answer | None = None, quick: bool = False, brief: bool = False
        ) -> Answer:
    """The answer of a step, from the first start that converges; see `solver.Solver.answer`."""
    p = step.p
    limit: Capacity | None = None
    by_lemke: Answer | None = None
    stick = np.zeros(p.n, dtype=np.int8)
    for i in step.prescribed:
        stick[i] = 1
    # An open gap starts open: sticking across it would pull the parts together.
    stick[p.opens & (p.gap > 0)] = -1
    if step.solver.inverse is not None:
        if near is not None and near.held:
            found = follow(step, near.force, near.slack, near.kink_step)
            if found is not None:
                return replace(found, method="active set, neighbour")
            if brief and not quick:
                limit = capacity(p, step.load, prescribed=step.prescribed)
                return (step.none(Status.NO_EQUILIBRIUM, limit.escape) if _impossible(limit)
                        else lemke_answer(step, limit))
            if brief:
                return step.none(Status.UNCONVERGED, None, "skipped: all starts but a neighbour's")
        # Most searches end soon. The proof that nothing holds costs less than long ones.
        found = search(step, stick, most=SOON)
        if found is not None:
            return found
        if not quick or near is None:
            limit = capacity(p, step.load, prescribed=step.prescribed)
            if _impossible(limit):
                return step.none(Status.NO_EQUILIBRIUM, limit.escape)
        if most_guesses(p.n) > SOON:
            found = search(step, stick)
        found = found or _further(step, stick)
        if found is not None:
            return found
        if quick and near is not None:
            return step.none(Status.UNCONVERGED, None, "skipped: the longer searches")
    if limit is None:
        limit = capacity(p, step.load, prescribed=step.prescribed)
        if _impossible(limit):
            return step.none(Status.NO_EQUILIBRIUM, limit.escape)
    if step.solver.inverse is not None:
        found = _follow_load(step, stick)
        if found is not None:
            return replace(found, method="active set, load followed")
        if p.n <= FEW_LINKS and not quick:
            # Its time grows steeply with the links; for few it costs less than further starts.
            by_lemke = lemke_answer(step, limit)
            if by_lemke.held:
                return by_lemke
        # A fragment that slides up to a stop is held only with that stop closed.
        closed = np.where(p.opens, 0, stick).astype(np.int8)
        for base, sign, name in ((stick, 1, "slip start"), (stick, -1, "opposite slip start"),
                                 (closed, 1, "closed slip start"),
                                 (closed, -1, "closed opposite slip start"),
                                 (stick, 0, "damped")):
            start = base.copy()
            start[step.friction > 0] = sign
            for i in step.prescribed:
                start[i] = 1
            found = search(step, start, damped=sign == 0)
            if found is not None:
                return replace(found, method=f"active set, {name}")
    if quick:
        return step.none(Status.UNCONVERGED, limit.escape, "skipped: Lemke's method")
    return by_lemke or lemke_answer(step, limit)
