"""Lemke's method on the links that have not settled, all others frozen in their states.

Where active sets run in circles, most links keep their state all the while; only a few change to
and fro. With the others held as they are (stuck, open, slipping at the bound that their partner
sets, crushed), the forces of the few follow from their slacks by one small system, and their
states from a complementarity problem of that size. What the answer then finds to be wrong among
the others joins the few, until nothing changes.
"""

from __future__ import annotations

import numpy as np
import scipy.linalg.lapack as lapack

from fe.answer import Answer
from fe.guess import Guess, Singular
from fe.lemke import lemke
from fe.search import search
from fe.step import Step

FloatArray = np.ndarray
IntArray = np.ndarray
ROUNDS = 6
MOST = 8
"""Guesses that may follow each time."""
PATHS = 2
"""Further starts where the first path ends on a ray."""
MOST_PIVOTS = 10
"""Pivots for each variable."""
LARGEST = 250
"""Links that have not settled beyond which this is not the cheaper way."""


class Frozen:
    """The problem of the links ``few`` and hinges ``bends``; the others keep ``state, turning``.

    Forces of the few (moments of the hinges) are ``stuck + own y``, ``y`` their slacks and kinks
    over their scales. Raises `Singular` where the others do not hold a body.
    """

    def __init__(self, step: Step, state: IntArray, turning: IntArray, few: IntArray,
                 bends: IntArray) -> None:
        p, s = step.p, step.solver
        assert s.inverse is not None
        self.step, self.few, self.bends = step, few, bends
        rest, others = state.copy(), turning.copy()
        rest[few], others[bends] = 0, 0
        self.guess = g = Guess(step, rest, others)
        # What unit slacks and kinks of the few change, the others yielding as their states say.
        change = np.hstack([s.inverse[:, few] * s.per_slack[few], s.to_kink[:, bends]])
        self.yields = np.zeros((0, few.size + bends.size))
        k = g.out.size
        if g.factor is not None:
            miss = np.vstack([g.slope[:, None] * change[g.mate] - change[g.out],
                              -g.kinks.T @ change[:p.n]])
            self.yields = lapack.dgetrs(*g.factor, miss, trans=1)[0]
            change += s.inverse[:, g.out] @ (self.yields[:k] * s.per_slack[g.out][:, None])
            change += s.to_kink[:, g.hin] @ self.yields[k:]
        self.change = change
        self.own = np.vstack([change[few], -p.kinks[:, bends].T @ change[:p.n]])
        self.stuck = np.concatenate([g.force[few],
                                     step.k[bends] - p.kinks[:, bends].T @ g.force])

    def solve(self) -> FloatArray | None:
        """``y`` of the few by Lemke's method; None where it ends without."""
        step, few = self.step, self.few
        limit = step.p.kink_limit[self.bends]
        lower = np.concatenate([step.lower[few], -limit])
        upper = np.concatenate([step.upper[few], limit])
        friction = np.concatenate([step.friction[few], np.zeros(limit.size)])
        below = np.flatnonzero(np.isfinite(lower))
        above = np.flatnonzero(np.isfinite(upper))
        size = lower.size
        # Slack either way is one variable each; what is left to its bound is complementary to it.
        move = np.hstack([-np.eye(size)[:, below], np.eye(size)[:, above]])
        left = -move.T
        rubs = np.flatnonzero(friction)
        mates = np.searchsorted(few, step.partner[few[rubs]])
        widths = np.zeros((size, size))
        widths[rubs, mates] = friction[rubs]
        left += np.vstack([widths[below], widths[above]])
        matrix = left @ self.own @ move
        right = left @ self.stuck + np.concatenate([-lower[below], upper[above]])
        weight = 1.0 / np.sqrt(np.maximum(np.abs(np.diag(matrix)), 1e-12))
        scaled, to = weight[:, None] * matrix * weight, weight * right / step.reference
        rng = np.random.default_rng(0)
        for covering in (None, *rng.uniform(0.05, 1.0, (PATHS, to.size))):
            found, reason = lemke(scaled, to, most=MOST_PIVOTS * to.size, covering=covering)
            if reason == "solution":
                return move @ (weight * found) * step.reference
        return None

    def states(self, y: FloatArray) -> tuple[IntArray, IntArray]:
        """States of all links and hinges that ``y`` of the few stand for."""
        step, g, p, s = self.step, self.guess, self.step.p, self.step.solver
        slack, kink = g.slack.copy(), g.kink.copy()
        slack[self.few] = y[:self.few.size] * s.scale[self.few]
        kink[self.bends] = y[self.few.size:] * s.kink_scale[self.bends]
        if g.factor is not None:
            moved = self.yields @ y
            slack[g.out] += moved[:g.out.size] * s.scale[g.out]
            kink[g.hin] += moved[g.out.size:] * s.kink_scale[g.hin]
        state, turning = step.project(g.force + self.change[:p.n] @ y, slack, kink)[2:]
        return state, turning


def settle(step: Step) -> Answer | None:
    """Settle the links that the last guesses of a step have changed; None where it cannot."""
    p = step.p
    if step.solver.inverse is None:
        return None
    few, bends = np.zeros(p.n, dtype=bool), np.zeros(p.kinks.shape[1], dtype=bool)
    for _ in range(ROUNDS):
        for links, hinges in step.recent:
            few[links], bends[hinges] = True, True
        few |= np.isin(step.solver.problem.partner, np.flatnonzero(few)) & (step.friction > 0)
        few[step.partner[few & (step.friction > 0)]] = True
        few[list(step.prescribed)] = False
        if np.count_nonzero(few) > LARGEST:
            return None
        state, turning = step.state, step.turning
        try:
            part = Frozen(step, state, turning, np.flatnonzero(few), np.flatnonzero(bends))
        except Singular:
            return None
        y = part.solve()
        if y is None:
            return None
        new, bent = part.states(y)
        over, turned = (new != state) & ~few, (bent != turning) & ~bends
        step.recent.clear()
        found = search(step, new, bent, most=MOST)
        if found is not None:
            return found
        few, bends = few | over, bends | turned
    return None
