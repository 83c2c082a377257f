"""Forces and movements of one trial state.

A first pass needs no product with the large matrices beyond the solution itself, which is enough to
find the next state; `refine` removes the rounding of the inverse before a solution is checked.
"""

from __future__ import annotations

import contextlib

import numpy as np

from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.solve.step import Step
from buttress.fe.solve.system import Singular, System

REFINEMENTS = 4
ENOUGH = 1e-12
"""Error of the forces, relative to the load, below which no further pass is made."""


class Guess(System):
    """Forces, rigid motions, slack and kinks of one state; raises `Singular`."""

    def __init__(self, step: Step, state: IntArray, turning: IntArray) -> None:
        super().__init__(step, state, turning)
        p = step.p
        self.force, self.rigid = np.zeros(p.n), np.zeros(p.rigid.shape[1])
        self.slack, self.kink = np.zeros(p.n), np.zeros(p.kinks.shape[1])
        self._correct(step.sticking)

    def refine(self) -> None:
        """Remove the rounding of the inverse: the pass with the smallest error is kept.

        Where the factors of another state do not get there, those of this one do it.
        """
        if self._refined() > ENOUGH * self.step.reference and self.borrowed:
            with contextlib.suppress(Singular):
                self.factorise()
                self._refined()

    def _refined(self) -> float:
        """Refine; the error of the forces that is left [N]."""
        s, p, step = self.step.solver, self.step.p, self.step
        least, best = np.inf, (self.force, self.rigid, self.slack, self.kink)
        for count in range(REFINEMENTS + 1):
            gap = (step.d - s.stiff @ self.force + p.rigid @ self.rigid + p.kinks @ self.kink
                   - self.slack)
            error = float(np.abs(gap / s.scale).max(initial=0.0))
            if error >= least:
                break
            least = error
            best = (self.force.copy(), self.rigid.copy(), self.slack.copy(), self.kink.copy())
            if count == 0 or (count < REFINEMENTS and error > ENOUGH * step.reference):
                self._correct(s.inverse @ np.concatenate(
                    [gap / s.unit, step.r - p.rigid.T @ self.force]))
        self.force, self.rigid, self.slack, self.kink = best
        return least

    def _correct(self, base: FloatArray) -> None:
        """Add the solution for a right-hand side, given that of the sticking links."""
        s, p, step = self.step.solver, self.step.p, self.step
        assert s.inverse is not None
        n, k = p.n, self.out.size
        change = base
        if self.out.size or self.hin.size:
            miss = np.concatenate([
                self.bound + self.rise * self.slack[self.out]
                - (self.force[self.out] + base[self.out])
                + self.slope * (self.force[self.mate] + base[self.mate]),
                # the moment at a kink is k - kinks^T lam, at its bound turning * limit + rise
                step.k[self.hin] - self.limit - self.kink_rise * self.kink[self.hin]
                - self.kinks.T @ (self.force + base[:n])])
            move = self.solve(miss)
            spread = np.zeros(n)
            spread[self.out] = move[:k] * s.per_slack[self.out]
            change = base + s.inverse[:, :n] @ spread
            if self.hin.size:
                change += s.to_kink[:, self.hin] @ move[k:]
            self.slack[self.out] += move[:k] * s.scale[self.out]
            self.kink[self.hin] += move[k:] * s.kink_scale[self.hin]
        self.force += change[:n]
        plain = self.slope == 0.0
        own = self.out[plain]
        self.force[own] = self.bound[plain] + self.rise[plain] * self.slack[own]  # exactly
        self.rigid += change[n:] * s.unit
