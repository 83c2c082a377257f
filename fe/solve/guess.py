"""The linear problem of one trial state: which links have left the sticking state, and how.

The sticking problem is inverted once (`fe.solve.sticking`); a trial state only needs a small system
over the links that have opened, slipped or yielded and the hinges that rotate. A first pass needs
no product with the large matrices beyond the solution itself, which is enough to find the next
state; `refine` removes the rounding of the inverse before a solution is checked.
"""

from __future__ import annotations

import numpy as np
import scipy.linalg.lapack as lapack

from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.solve.step import Step

RCOND = 1e-12
REFINEMENTS = 4
ENOUGH = 1e-12
"""Error of the forces, relative to the load, below which no further pass is made."""


class Singular(Exception):
    """The linear system of a guess is singular: the links that are left do not hold a body.

    Carries the system and its matrix.
    """

    def __init__(self, system: System, matrix: FloatArray) -> None:
        super().__init__("the links that are left do not hold a body")
        self.system, self.matrix = system, matrix


class System:
    """The linear system of one state, factorised; raises `Singular`.

    ``state (n,)`` is 0 for a sticking link, +1 at its upper and -1 at its lower bound;
    ``turning (h,)`` likewise for hinges. A slipping link's bound moves with its partner's force.
    """

    def __init__(self, step: Step, state: IntArray, turning: IntArray) -> None:
        s, p = step.solver, step.p
        assert s.inverse is not None
        self.step, n = step, p.n
        self.out, self.hin = np.flatnonzero(state), np.flatnonzero(turning)
        sign = state[self.out].astype(float)
        self.bound = np.where(sign > 0, step.upper[self.out], step.lower[self.out])
        self.rise = np.where(sign > 0, step.slope_high[self.out], step.slope_low[self.out])
        self.mate = step.partner[self.out]
        # There is no friction at an open contact.
        parted = (state[self.mate] < 0) & (step.lower[self.mate] == 0.0)
        self.slope = np.where(parted, 0.0, sign * step.friction[self.out])
        self.kinks = p.kinks[:, self.hin]
        self.limit = turning[self.hin] * p.kink_limit[self.hin] + step.kink_moved[self.hin]
        self.kink_rise = p.kink_slope[self.hin]
        k, size = self.out.size, self.out.size + self.hin.size
        small = np.zeros((size, size))
        per_slack = s.per_slack[self.out]
        small[:k, :k] = s.inverse.take(self.out, axis=0).take(self.out, axis=1) * per_slack
        small[:k, k:] = s.to_kink[np.ix_(self.out, self.hin)]
        rubs = np.flatnonzero(self.slope)
        if rubs.size:
            mates, slope = self.mate[rubs], self.slope[rubs, None]
            small[rubs, :k] -= slope * s.inverse[np.ix_(mates, self.out)] * per_slack
            small[rubs, k:] -= slope * s.to_kink[np.ix_(mates, self.hin)]
        if self.hin.size:
            small[k:, :k] = self.kinks.T @ s.inverse[:n, self.out] * per_slack
            small[k:, k:] = self.kinks.T @ s.to_kink[:n, self.hin]
        # A bound that hardens moves with what gives way at it.
        at = np.arange(size)
        small[at[:k], at[:k]] -= self.rise * s.scale[self.out]
        small[at[k:], at[k:]] += self.kink_rise * s.kink_scale[self.hin]
        self.factor, self.rcond = None, 1.0
        if size:
            norm = np.abs(small).sum(axis=0).max()
            lu, piv, info = lapack.dgetrf(small.T)   # transposed: no copy into column order
            self.rcond = float(lapack.dgecon(lu, norm, norm="I")[0]) if info == 0 else 0.0
            if self.rcond < RCOND:
                raise Singular(self, small)
            self.factor = (lu, piv)


class Guess(System):
    """Forces, rigid motions, slack and kinks of one state; raises `Singular`."""

    def __init__(self, step: Step, state: IntArray, turning: IntArray) -> None:
        super().__init__(step, state, turning)
        p = step.p
        self.force, self.rigid = np.zeros(p.n), np.zeros(p.rigid.shape[1])
        self.slack, self.kink = np.zeros(p.n), np.zeros(p.kinks.shape[1])
        self._correct(step.sticking)

    def refine(self) -> None:
        """Remove the rounding of the inverse: the pass with the smallest error is kept."""
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

    def _correct(self, base: FloatArray) -> None:
        """Add the solution for a right-hand side, given that of the sticking links."""
        s, p, step = self.step.solver, self.step.p, self.step
        assert s.inverse is not None
        n, k = p.n, self.out.size
        change = base
        if self.factor is not None:
            miss = np.concatenate([
                self.bound + self.rise * self.slack[self.out]
                - (self.force[self.out] + base[self.out])
                + self.slope * (self.force[self.mate] + base[self.mate]),
                # the moment at a kink is k - kinks^T lam, at its bound turning * limit + rise
                step.k[self.hin] - self.limit - self.kink_rise * self.kink[self.hin]
                - self.kinks.T @ (self.force + base[:n])])
            move = lapack.dgetrs(*self.factor, miss, trans=1)[0]
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
