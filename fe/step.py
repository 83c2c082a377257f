"""One step of bounded links: linear solves for a guessed state and the search for the right one."""

from __future__ import annotations

from copy import copy
from dataclasses import replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from fe.answer import Answer, Memory
from fe.limit import Capacity, Escape, capacity
from fe.search import most_guesses, search

if TYPE_CHECKING:
    from fe.solve import Solver

FloatArray = np.ndarray
IntArray = np.ndarray

EQUILIBRIUM = 1e-9
COMPLEMENTARITY = 1e-8
LOCKED = 1e-3
"""Errors are relative to the load, or to this share of the largest force where that is more."""
LAST_DIGIT = 2.0 * float(np.finfo(float).eps)
"""Share of a motion below which a slack cannot be told from rounding."""
FIRM = 1e3
"""Weight of force against slack in trial values, tried where the natural one does not end."""
OTHER_FRICTION = (0.0, 3.0, 10.0, 0.3)
"""Shares of the friction at which a start is looked for."""
TOO_FAR = "would be held only after moving farther than small movements allow"
LINEAR_PROGRAM = "linear program"
"""Method of a proof that no force system carries the load."""
SOON = 20
"""Guesses after which it is asked first whether anything holds at all."""
FEW_LINKS = 600
RAMP = (0.3, 0.5, 0.65, 0.75, 0.85, 0.9, 0.93, 0.96, 0.98, 1.0)
"""Shares of a load through which its states are followed where no start ends at once."""


def _impossible(limit: Capacity) -> bool:
    """Whether limit analysis proves that no force system carries the load."""
    return not limit.feasible or (limit.factor is not None and limit.factor < 1.0 - 1e-9)


class Step:
    """One step: data, linear solves for a guessed state, and the search for the right state."""

    def __init__(self, solver: Solver, load: FloatArray, memory: Memory,
                 prescribed: dict[int, float]) -> None:
        p = solver.problem
        self.solver, self.p, self.load, self.memory = solver, p, load, memory
        self.prescribed = prescribed
        self.lower, self.upper = p.lower.copy(), p.upper.copy()
        self.friction = p.friction.copy()
        for i, force in prescribed.items():
            self.lower[i] = self.upper[i] = force
            self.friction[i] = 0.0
        self.partner = np.where(self.friction > 0, p.partner, 0)
        self.d = p.load_deformation @ load - p.gap - memory.offset + p.kinks @ memory.kink
        self.r = p.load_rigid @ load
        self.k = p.load_kinks @ load
        applied = float(np.abs(self.r).sum()) if not load.any() else float(np.abs(load).sum())
        self.reference = max(applied, sum(abs(f) for f in prescribed.values()))
        if self.reference == 0.0:  # only lack of fit or earlier slip: the forces it could raise
            self.reference = float((np.abs(self.d) / solver.scale).max(initial=1e-12))
        self.tol = 1e-12 * self.reference
        self.guesses = 0

    @cached_property
    def sticking(self) -> FloatArray:
        """Forces and motions ``(n + m,)`` with every link stuck."""
        assert self.solver.inverse is not None
        return self.solver.inverse @ np.concatenate([self.d / self.solver.unit, self.r])

    def residuals(self, force: FloatArray, rigid: FloatArray, kink: FloatArray) -> tuple:
        """Slack recomputed from the answer, equilibrium error, complementarity error (relative)."""
        s, p = self.solver, self.p
        slack = self.d - s.stiff @ force + p.rigid @ rigid + p.kinks @ kink
        # Where a soft spring lets all move far, the last digit of that is no slack of a stiff link.
        moved = np.abs(self.d) + np.abs(p.rigid) @ np.abs(rigid)
        slack[np.abs(slack) <= LAST_DIGIT * moved] = 0.0
        target, kink_target, _, _ = self.project(force, slack, kink)
        error = float(np.abs(target - force).max(initial=0.0))
        moment = self.k - p.kinks.T @ force
        error = max(error, float(np.abs(kink_target - moment).max(initial=0.0)))
        balance = float(np.abs(self.r - p.rigid.T @ force).max(initial=0.0))
        against = self.against(force)
        return slack, balance / against, error / against

    def against(self, force: FloatArray) -> float:
        """The force [N] to which errors are relative."""
        # Tightened parts under a small load: rounding is relative to the forces that are there.
        largest = float(np.abs(force).max(initial=0.0))
        if self.load.any() or self.prescribed:
            return max(self.reference, LOCKED * largest)
        return max(largest, LOCKED * self.reference)

    def project(self, force: FloatArray, slack: FloatArray, kink: FloatArray,
                 firm: float = 1.0) -> tuple:
        """Trial values projected on the bounds, and the states that this means.

        ``firm`` divides the slack's part: links then change state by their forces first.
        """
        s, p = self.solver, self.p
        trial = force + slack / (firm * s.scale)
        lower, upper = self.lower, self.upper
        value = np.clip(trial, lower, upper)
        rubs = self.friction > 0
        width = np.where(rubs, self.friction * np.maximum(value[self.partner], 0.0), 0.0)
        lower, upper = lower - width, upper + width
        value = np.where(rubs, np.clip(trial, lower, upper), value)
        state = (trial > upper + self.tol).astype(np.int8) - (trial < lower - self.tol)
        # A friction link whose partner carries nothing has no sign; give it one for good, so
        # that noise does not look like a change of state. Prescribed forces likewise.
        state[(upper - lower) <= 2 * self.tol] = 1
        moment = self.k - p.kinks.T @ force
        trial_moment = moment + kink / s.kink_scale
        kink_value = np.clip(trial_moment, -p.kink_limit, p.kink_limit)
        turning = (trial_moment > p.kink_limit + self.tol).astype(np.int8) - (
            trial_moment < -p.kink_limit - self.tol)
        return value, kink_value, state.astype(np.int8), turning.astype(np.int8)

    # -- search -----------------------------------------------------------------------------
    def acceptable(self, force: FloatArray, rigid: FloatArray, kink: FloatArray) -> bool:
        _, balance, error = self.residuals(force, rigid, kink)
        return balance < EQUILIBRIUM and error < 0.01 * COMPLEMENTARITY

    def accept(self, force: FloatArray, rigid: FloatArray, kink: FloatArray, rcond: float,
                steps: int) -> Answer | None:
        """The answer, if its own residuals prove it; one that moves too far is none."""
        slack, balance, error = self.residuals(force, rigid, kink)
        if not (balance < EQUILIBRIUM and error < COMPLEMENTARITY):
            return None
        too_far = self.moved_too_far(rigid, kink)
        if too_far is not None:
            return too_far
        return Answer("held", "active set", force, rigid, kink + self.memory.kink, slack, kink,
                      self.load, balance, error, rcond, steps)

    def moved_too_far(self, rigid: FloatArray, kink: FloatArray) -> Answer | None:
        """That a state is no answer, where bodies move farther in it than they may."""
        far = float((np.abs(rigid) / self.p.farthest).max(initial=0.0))
        if far <= 1.0:
            return None
        size = float(np.abs(rigid).max())
        return self.none("no equilibrium", Escape(rigid / size, kink / size), TOO_FAR,
                         method="movement beyond its bound")

    def follow(self, force: FloatArray, slack: FloatArray, kink: FloatArray, firm: float = 1.0
               ) -> Answer | None:
        """Follow the states that given forces and slacks stand for."""
        if self.solver.inverse is None:
            return None
        state, turning = self.project(force, slack, kink, firm)[2:]
        return search(self, state, turning, firm)

    def _start(self, stick: IntArray) -> Answer | None:
        """From all links sticking, then the further starts."""
        return search(self, stick) or self._further(stick)

    def _further(self, stick: IntArray) -> Answer | None:
        """With forces weighed more; from another friction's states."""
        # Soft graft between stiff walls overreacts to its slack and cycles.
        found = search(self, stick, firm=FIRM)
        if found is not None:
            return replace(found, method="active set, firm")
        for share in OTHER_FRICTION if self.friction.any() else ():
            other = copy(self)
            other.friction = share * self.friction
            near = search(other, stick, firm=FIRM)
            if near is None or not near.held:
                continue
            found = self.follow(near.force, near.slack, near.kink_step, FIRM)
            if found is not None:
                return replace(found, method="active set, from other friction")
        return None

    def _follow_load(self, stick: IntArray) -> Answer | None:
        """Follow the states while the load grows; each is only a start for the next."""
        if self.prescribed or not self.load.any():
            return None
        near: Answer | None = None
        for share in RAMP:
            part, found = Step(self.solver, share * self.load, self.memory, {}), None
            if near is None:
                found = part._start(stick)
                if found is None:
                    return None
            else:
                for firm in (1.0, FIRM):
                    found = found or part.follow(near.force, near.slack, near.kink_step, firm)
            near = found or near
            if near is not None and not near.held:
                return replace(near, load=self.load)  # it moves too far already
        return found

    def run(self, near: Answer | None = None, quick: bool = False, brief: bool = False) -> Answer:
        p = self.p
        limit: Capacity | None = None
        by_lemke: Answer | None = None
        stick = np.zeros(p.n, dtype=np.int8)
        for i in self.prescribed:
            stick[i] = 1
        # A gap that is still open starts open: sticking across it would pull the parts together.
        stick[p.opens & (p.gap > 0)] = -1
        if self.solver.inverse is not None:
            if near is not None and near.held:
                found = self.follow(near.force, near.slack, near.kink_step)
                if found is not None:
                    return replace(found, method="active set, neighbour")
                if brief:
                    return self.none("unconverged", None, "left out: all starts but a neighbour's")
            # Most searches end soon. The proof that nothing holds costs less than long ones.
            found = search(self, stick, most=SOON)
            if found is not None:
                return found
            if not quick or near is None:
                limit = capacity(p, self.load, prescribed=self.prescribed)
                if _impossible(limit):
                    return self.none("no equilibrium", limit.escape)
            if most_guesses(p.n) > SOON:
                found = search(self, stick)
            found = found or self._further(stick)
            if found is not None:
                return found
            if quick and near is not None:
                return self.none("unconverged", None, "left out: the longer searches")
        if limit is None:
            limit = capacity(p, self.load, prescribed=self.prescribed)
            if _impossible(limit):
                return self.none("no equilibrium", limit.escape)
        if self.solver.inverse is not None:
            found = self._follow_load(stick)
            if found is not None:
                return replace(found, method="active set, load followed")
            if p.n <= FEW_LINKS and not quick:
                # Its time rises steeply with the links; for few it costs less than more starts.
                by_lemke = self._lemke(limit)
                if by_lemke.held:
                    return by_lemke
            # A fragment that slides up to a stop is held only with that stop closed.
            closed = np.where(p.opens, 0, stick).astype(np.int8)
            for base, sign, name in ((stick, 1, "slip start"), (stick, -1, "opposite slip start"),
                                     (closed, 1, "closed slip start"),
                                     (closed, -1, "closed opposite slip start"),
                                     (stick, 0, "damped")):
                start = base.copy()
                start[self.friction > 0] = sign
                for i in self.prescribed:
                    start[i] = 1
                found = search(self, start, damped=sign == 0)
                if found is not None:
                    return replace(found, method=f"active set, {name}")
        if quick:
            return self.none("unconverged", limit.escape, "left out: Lemke's method")
        return by_lemke or self._lemke(limit)

    def _lemke(self, limit: Capacity) -> Answer:
        from fe.fallback import lemke_answer  # only the rare case pays for it

        return lemke_answer(self, limit)

    def none(self, status: str, escape: Escape | None, note: str = "",
              method: str = "") -> Answer:
        p = self.p
        nan = np.full(p.n, np.nan)
        method = method or (LINEAR_PROGRAM if status == "no equilibrium" else "none")
        no_kink = np.full(p.kinks.shape[1], np.nan)
        return Answer(status, method, nan, np.full(p.rigid.shape[1], np.nan), no_kink, nan,
                      no_kink, self.load, np.nan, np.nan, 0.0, 0,
                      escape, (note,) if note else ())

