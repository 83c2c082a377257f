"""One step of bounded links: its data, and the proof of an answer."""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.solve.answer import Answer, Memory
from buttress.fe.solve.capacity import Escape
from buttress.fe.solve.lemke import Pivots
from buttress.fe.solve.sticking import Sticking
from buttress.fe.status import Status

EQUILIBRIUM = 1e-9
COMPLEMENTARITY = 1e-8
LOCKED = 1e-3
"""Errors are relative to the larger of the load and this share of the largest force."""
LAST_DIGIT = 2.0 * float(np.finfo(float).eps)
"""Share of a motion below which a slack cannot be distinguished from rounding."""
TOO_FAR = "parts move farther than this model follows"
LINEAR_PROGRAM = "linear program"
"""Name of the method that proves that no force system carries the load."""


class Step:
    """One step from ``memory`` to ``load (p,)``, some links' forces ``prescribed`` [N]."""

    def __init__(self, solver: Sticking, load: FloatArray, memory: Memory,
                 prescribed: dict[int, float]) -> None:
        p = solver.problem
        self.solver, self.p, self.load, self.memory = solver, p, load, memory
        self.prescribed = prescribed
        self.lower, self.upper = p.lower.copy(), p.upper.copy()
        self.friction = p.friction.copy()
        both = p.lower < 0
        self.slope_high, self.slope_low = p.slope.copy(), np.where(both, p.slope, 0.0)
        left = p.kept(memory.given)
        self.lower, self.upper = self.lower * left[0], self.upper * left[1]
        # What has given way before has moved the bounds: in both directions, but none of opening.
        moved = p.slope * memory.given
        self.upper += moved
        self.lower[both] += moved[both]
        self.kink_moved = p.kink_slope * memory.kink
        for i, force in prescribed.items():
            self.lower[i] = self.upper[i] = force
            self.friction[i] = self.slope_high[i] = self.slope_low[i] = 0.0
        self.partner = np.where(self.friction > 0, p.partner, 0)
        self.d = p.load_deformation @ load - p.gap - memory.offset + p.kinks @ memory.kink
        self.r = p.load_rigid @ load
        self.k = p.load_kinks @ load
        applied = float(np.abs(self.r).sum()) if not load.any() else float(np.abs(load).sum())
        self.reference = max(applied, sum(abs(f) for f in prescribed.values()))
        if self.reference == 0.0:  # only misfit or earlier slip: the forces that it could cause
            self.reference = float((np.abs(self.d) / solver.scale).max(initial=1e-12))
        self.tol = 1e-12 * self.reference
        self.guesses = 0
        self.pivots = Pivots()
        self.factors: Any = None    # of a state tried before (`fe.solve.system`)

    @cached_property
    def sticking(self) -> FloatArray:
        """Forces and motions ``(n + m,)`` with every link sticking."""
        assert self.solver.inverse is not None
        return self.solver.inverse @ np.concatenate([self.d / self.solver.unit, self.r])

    def residuals(self, force: FloatArray, rigid: FloatArray, kink: FloatArray) -> tuple:
        """Slack recomputed from the answer, equilibrium error, complementarity error (relative)."""
        s, p = self.solver, self.p
        slack = self.d - s.stiff @ force + p.rigid @ rigid + p.kinks @ kink
        # Where a soft spring allows large motion, its rounding is no slack of a stiff link.
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
        """Trial values projected onto the bounds, and the resulting states.

        ``firm`` divides the contribution of slack: links then change state by their forces first.
        """
        s, p = self.solver, self.p
        trial = force + slack / (firm * s.scale)
        # Each bound moves with what gives way at it: slack of the other sign is no reason to stay.
        lower = self.lower + self.slope_low * np.minimum(slack, 0.0)
        upper = self.upper + self.slope_high * np.maximum(slack, 0.0)
        value = np.minimum(np.maximum(trial, lower), upper)
        rubs = np.flatnonzero(self.friction > 0)
        if rubs.size:
            width = self.friction[rubs] * np.maximum(value[self.partner[rubs]], 0.0)
            lower[rubs] -= width
            upper[rubs] += width
            value[rubs] = np.minimum(np.maximum(trial[rubs], lower[rubs]), upper[rubs])
        state = (trial > upper + self.tol).astype(np.int8) - (trial < lower - self.tol)
        # A friction link whose partner carries no force has no sign; it is given a fixed one, so
        # that noise does not look like a change of state. Prescribed forces likewise.
        state[(upper - lower) <= 2 * self.tol] = 1
        moment = self.k - p.kinks.T @ force
        trial_moment = moment + kink / s.kink_scale
        low = self.kink_moved - p.kink_limit + p.kink_slope * np.minimum(kink, 0.0)
        high = self.kink_moved + p.kink_limit + p.kink_slope * np.maximum(kink, 0.0)
        kink_value = np.minimum(np.maximum(trial_moment, low), high)
        turning = (trial_moment > high + self.tol).astype(np.int8) - (
            trial_moment < low - self.tol)
        return value, kink_value, state.astype(np.int8), turning.astype(np.int8)

    def hardened(self, slack: FloatArray) -> FloatArray:
        """How far the bounds of the links move with what gives way in this step ``(n,)``, N."""
        return self.slope_high * np.maximum(slack, 0.0) + self.slope_low * np.minimum(slack, 0.0)

    def acceptable(self, force: FloatArray, rigid: FloatArray, kink: FloatArray) -> bool:
        """Whether forces ``(n,)`` [N], rigid motions ``(m,)`` and kinks ``(h,)`` [mm] are so far
        within what `accept` asks for that a search may end although states still change.
        """
        _, balance, error = self.residuals(force, rigid, kink)
        return balance < EQUILIBRIUM and error < 0.01 * COMPLEMENTARITY

    def accept(self, force: FloatArray, rigid: FloatArray, kink: FloatArray, rcond: float,
                steps: int) -> Answer | None:
        """The answer, if its own residuals prove it and its displacements are small."""
        slack, balance, error = self.residuals(force, rigid, kink)
        if not (balance < EQUILIBRIUM and error < COMPLEMENTARITY):
            return None
        too_far = self.moved_too_far(rigid, kink)
        if too_far is not None:
            return too_far
        return Answer(
            status=Status.HELD, method="active set", force=force, rigid=rigid,
            kink=kink + self.memory.kink, slack=slack, kink_step=kink, load=self.load,
            residual=balance, complementarity=error, rcond=rcond, steps=steps)

    def moved_too_far(self, rigid: FloatArray, kink: FloatArray) -> Answer | None:
        """The rejection of a state in which bodies move beyond their limit."""
        far = float((np.abs(rigid) / self.p.farthest).max(initial=0.0))
        if far <= 1.0:
            return None
        size = float(np.abs(rigid).max())
        return self.none(Status.NO_EQUILIBRIUM, Escape(rigid / size, kink / size), TOO_FAR,
                         method="movement beyond its bound")

    def none(self, status: Status, escape: Escape | None, note: str = "",
              method: str = "") -> Answer:
        """An answer without numbers: NaN forces and motions, with the reason in ``note``."""
        p = self.p
        nan = np.full(p.n, np.nan)
        method = method or (LINEAR_PROGRAM if status == Status.NO_EQUILIBRIUM else "none")
        no_kink = np.full(p.kinks.shape[1], np.nan)
        return Answer(
            status=status, method=method, force=nan, rigid=np.full(p.rigid.shape[1], np.nan),
            kink=no_kink, slack=nan, kink_step=no_kink, load=self.load, residual=np.nan,
            complementarity=np.nan, rcond=0.0, steps=0, escape=escape,
            notes=(note,) if note else ())

