"""From a solved state to the next by Lemke's pivots: one change of state after the other.

Between two problems of one construct the data change from those of the first, whose answer is
known, to those of the second. While no link changes its state, the answer moves in proportion;
where one reaches its bound (or comes to rest on it), its state changes and the answer moves on,
forwards or, where something snaps, backwards for a while. That is Lemke's method with the change
of the data as the covering vector and the known answer as its start (parametric pivoting: Cottle,
Pang, Stone, The Linear Complementarity Problem, 1992, ch. 4; memory): as many pivots as links that
change, each a small linear system.
"""

from __future__ import annotations

import numpy as np
import scipy.linalg

from buttress.fe.arrays import FloatArray
from buttress.fe.solve.answer import Answer
from buttress.fe.solve.search import search
from buttress.fe.solve.step import Step
from buttress.fe.solve.system import RCOND, SOUND, Singular, Unsolved, factors_of
from buttress.fe.solve.updated import Updated

MOST_PIVOTS = 150
MOST_GUESSES = 8
"""Guesses that may follow the last pivot."""
FAR_BACK = -2.0
"""How far back the data may go, over the way to go."""
NOISE = 1e-11
"""Rates below this share of the largest count as none."""


class Trace:
    """The way from a known answer ``start`` to the data of ``step``."""

    def __init__(self, step: Step, start: Answer) -> None:
        s, p = step.solver, step.p
        assert s.inverse is not None
        self.step = step
        force, slack, kink = start.force.copy(), start.slack.copy(), start.kink_step.copy()
        self.force, self.slack, self.kink = force, slack, kink
        self.state, self.turning = step.project(force, slack, kink)[2:]
        # Change of prescribed forces, and of bounds that what gave way before has moved.
        bound = np.where(self.state > 0, step.upper, step.lower) + step.hardened(slack)
        self.pull = np.where((self.state != 0) & (p.slope > 0), bound - force, 0.0)
        self.bend = np.where(self.turning != 0, self.turning * p.kink_limit + step.kink_moved
                             + p.kink_slope * kink - (step.k - p.kinks.T @ force), 0.0)
        self.bend[p.kink_slope == 0] = 0.0
        for i in step.prescribed:
            self.pull[i] = step.lower[i] - force[i]
        before = s.stiff @ force - p.rigid @ start.rigid - p.kinks @ kink + slack
        unbalanced = step.r - p.rigid.T @ force
        self.push = s.inverse @ np.concatenate([(step.d - before) / s.unit, unbalanced])
        self.way = 0.0
        self.updated: Updated | None = None
        self.rubs = np.flatnonzero(step.friction > 0)
        self.mates = step.partner[self.rubs]
        self.one_way = step.lower[self.mates] == 0.0
        self.fixed = np.flatnonzero((step.upper == step.lower) & ~(step.friction > 0))

    def rates(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Forces [N], slacks and kinks [mm] for the whole way, if no state changed."""
        s, p = self.step.solver, self.step.p
        n = p.n
        change, slack, kink = self.push[:n].copy(), np.zeros(n), np.zeros(p.kinks.shape[1])
        self.snaps, move = False, np.zeros(0)
        g = Unsolved(self.step, self.state, self.turning)
        if g.equations.size:
            miss = np.concatenate([self.pull[g.out] + g.slope * change[g.mate] - change[g.out],
                                   -self.bend[g.hin] - g.kinks.T @ change])
            try:
                move = self._moves(g, miss)
            except Singular as error:
                # A mechanism: it moves while the data stay.
                self.snaps = True
                move = _mechanism(error.matrix) * self.step.reference
                change = np.zeros(n)
        k = g.out.size
        if move.size:
            spread = np.zeros(n)
            spread[g.out] = move[:k] * s.per_slack[g.out]
            change += s.inverse[:n, :n] @ spread  # type: ignore[index]
            if g.hin.size:
                change += s.to_kink[:n, g.hin] @ move[k:]
            slack[g.out] = move[:k] * s.scale[g.out]
            kink[g.hin] = move[k:] * s.kink_scale[g.hin]
        return change, slack, kink

    def _moves(self, g: Unsolved, miss: FloatArray) -> FloatArray:
        """The unknowns of a state; raises `Singular`."""
        if self.updated is not None and self.updated.to(g.equations):
            return self.updated.solve(miss, g.equations.own)
        self.updated = None
        factors = factors_of(self.step, g.equations)
        if factors.rcond > SOUND:
            self.updated = Updated(g.equations, factors, self.step.solver.replies)
        return factors.solve(miss)

    def room(self, force: FloatArray, slack: FloatArray, kink: FloatArray, *, rate: bool
             ) -> FloatArray:
        """What is left to the two bounds of each link and hinge ``(2, n + h)``, N; or its rate.

        Row 0 is for the upper bound: of a stuck link what its force is from it, of one that is
        there its slack. Infinite where nothing bounds.
        """
        step, s, p = self.step, self.step.solver, self.step.p
        n, rubs, none = p.n, self.rubs, 0.0 if rate else np.inf
        width = np.zeros(n)
        width[rubs] = step.friction[rubs] * force[self.mates]
        moment = -(p.kinks.T @ force)
        both = np.empty((2, n + moment.size))
        links, hinges = both[:, :n], both[:, n:]
        if rate:
            links[0], links[1] = width - force, width + force
            hinges[0], hinges[1] = -moment, moment
        else:
            links[0], links[1] = step.upper + width - force, force - step.lower + width
            moment = step.k + moment - step.kink_moved
            hinges[0], hinges[1] = p.kink_limit - moment, moment + p.kink_limit
        for rooms, state, moved in ((links, self.state, slack / s.scale),
                                    (hinges, self.turning, kink / s.kink_scale)):
            left = np.flatnonzero(state)
            high = state[left] > 0
            rooms[0, left] = np.where(high, moved[left], none)
            rooms[1, left] = np.where(high, none, -moved[left])
        links[:, rubs[(self.state[self.mates] < 0) & self.one_way]] = none
        links[:, self.fixed] = none
        return both

    def run(self, most: int = MOST_PIVOTS) -> Answer | None:
        """Pivot until the data are the step's, ``most`` times; the answer there, if its residuals
        prove it."""
        forwards, flipped = 1.0, -1
        n = self.step.p.n
        for _ in range(most):
            self.step.guesses += 1
            force, slack, kink = self.rates()
            room = self.room(self.force, self.slack, self.kink, rate=False)
            rate = self.room(force, slack, kink, rate=True)
            if flipped >= 0:
                # What has just changed its state goes into the room that it now has.
                side = self.side
                now = rate[side, flipped]
                if now == 0.0:
                    return None
                forwards = 1.0 if now > 0.0 else -1.0
                room[side, flipped] = max(room[side, flipped], 0.0)
            speed = forwards * rate
            blocks = speed < -NOISE * np.abs(rate).max(initial=1e-300)
            if flipped >= 0:
                blocks[self.side, flipped] = False
            time = np.where(blocks, np.maximum(room, 0.0) / np.where(blocks, -speed, 1.0), np.inf)
            row, which = np.unravel_index(int(np.argmin(time)), time.shape)
            far = float(time[row, which])
            on = 0.0 if self.snaps else forwards
            if on > 0 and self.way + far >= 1.0:
                return self._end(1.0 - self.way, force, slack, kink)
            if not np.isfinite(far) or self.way + on * far < FAR_BACK:
                return None
            self.way += on * far
            self.force += forwards * far * force
            self.slack += forwards * far * slack
            self.kink += forwards * far * kink
            self._flip(int(which), int(row), n)
            flipped = int(which)
        return None

    def _flip(self, which: int, row: int, n: int) -> None:
        """Change the state of a link or hinge that has come to its bound, or left it."""
        states = self.state if which < n else self.turning
        at = which if which < n else which - n
        self.side = row
        before = states[at]
        states[at] = 0 if before else (1 if row == 0 else -1)
        if which >= n:
            self.kink[at] = 0.0 if before else self.kink[at]
            return
        if before:
            self.slack[at] = 0.0
        step = self.step
        if step.lower[at] == 0.0 and step.friction[at] == 0.0 and row == 1:
            # With the contact its friction comes and goes.
            rubbing = np.flatnonzero((step.friction > 0) & (step.partner == at))
            for i in rubbing:
                self.state[i] = 1 if self.slack[i] >= 0.0 else -1

    def _end(self, rest: float, force: FloatArray, slack: FloatArray, kink: FloatArray
             ) -> Answer | None:
        step = self.step
        state, turning = step.project(self.force + rest * force, self.slack + rest * slack,
                                      self.kink + rest * kink)[2:]
        found = search(step, self.state, self.turning, most=MOST_GUESSES)
        return found or search(step, state, turning, most=MOST_GUESSES)


def _mechanism(matrix: FloatArray) -> FloatArray:
    """What singular equations ``(k, k)`` leave free ``(k,)``, of length one.

    From a factorisation with pivots (Golub and Van Loan, Matrix Computations, ch. 5; memory); from
    the singular vectors, which take several times as long, where more than one motion is free.
    """
    upper, order = scipy.linalg.qr(matrix, mode="r", pivoting=True, check_finite=False)
    last = matrix.shape[0] - 1
    if last and abs(upper[last - 1, last - 1]) <= RCOND * abs(upper[0, 0]):
        return np.asarray(scipy.linalg.svd(matrix)[2][-1])
    out = np.ones(last + 1)
    out[order[:last]] = -scipy.linalg.solve_triangular(upper[:last, :last], upper[:last, last],
                                                       check_finite=False)
    out[order[last]] = 1.0
    return np.asarray(out / np.linalg.norm(out))
