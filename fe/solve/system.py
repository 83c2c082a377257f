"""The linear system of one trial state: which links have left the sticking state, and how.

The sticking problem is inverted once (`fe.solve.sticking`); a trial state only needs a small system
over the links that have opened, slipped or yielded and the hinges that rotate. The states that a
search tries differ in few links: the factors of one state, bordered by what has changed (Schur's
complement), solve the next ones.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.linalg.lapack as lapack

from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.solve.step import Step

RCOND = 1e-12
SOUND = 1e-10
"""Reciprocal condition above which factors serve other states, too."""
FEW = 0.1
"""Share of the unknowns that may differ from those of the factors."""
MOST_KNOWN = 8
"""Number of factors that a solver keeps."""


class Singular(Exception):
    """The linear system of a guess is singular: the links that are left do not hold a body.

    Carries the matrix.
    """

    def __init__(self, matrix: FloatArray) -> None:
        super().__init__("the links that are left do not hold a body")
        self.matrix = matrix


@dataclass(frozen=True)
class Equations:
    """Equations of links at a bound and of hinges that rotate, one for each unknown.

    Equation i is row ``own[i]`` of the table of replies less ``slope[i]`` times row ``mate[i]``,
    with ``stiffen[i]`` added at its own unknown. Hinges are numbered after the links.
    """

    own: IntArray
    mate: IntArray
    slope: FloatArray
    stiffen: FloatArray

    @property
    def size(self) -> int:
        """The number of unknowns."""
        return int(self.own.size)

    @property
    def key(self) -> bytes:
        """What tells them from others of the same solver."""
        return b"".join(a.tobytes() for a in (self.own, self.slope, self.stiffen))

    def part(self, which: IntArray) -> Equations:
        """Some of the equations."""
        return Equations(self.own[which], self.mate[which], self.slope[which], self.stiffen[which])

    def rows(self, replies: FloatArray, unknowns: IntArray) -> FloatArray:
        """Coefficients of the equations ``(k, u)`` for unknowns ``(u,)``."""
        out = _block(replies, self.own, unknowns)
        rubs = np.flatnonzero(self.slope)
        if rubs.size:
            out[rubs] -= self.slope[rubs, None] * _block(replies, self.mate[rubs], unknowns)
        at = np.flatnonzero(self.stiffen)
        if at.size:
            out[at] += np.where(self.own[at, None] == unknowns, self.stiffen[at, None], 0.0)
        return out


def _block(table: FloatArray, rows: IntArray, columns: IntArray) -> FloatArray:
    """Some rows and columns of a table; the fewer first, faster than both at once."""
    if columns.size < rows.size:
        return table.take(columns, axis=1).take(rows, axis=0)
    return table.take(rows, axis=0).take(columns, axis=1)


class Factors:
    """Equations with their factors; ``rcond`` is the reciprocal of their condition."""

    def __init__(self, equations: Equations, matrix: FloatArray) -> None:
        self.equations, self.rcond = equations, 1.0
        if equations.size:
            norm = np.abs(matrix).sum(axis=0).max()
            # transposed: no copy into column order
            self._lu, self._pivots, info = lapack.dgetrf(matrix.T)
            self.rcond = float(lapack.dgecon(self._lu, norm, norm="I")[0]) if info == 0 else 0.0

    def solve(self, right: FloatArray) -> FloatArray:
        """Unknowns for a right-hand side ``(k,)`` or several ``(k, r)``."""
        if not self.equations.size:
            return right.copy()
        return np.asarray(lapack.dgetrs(self._lu, self._pivots, right, trans=1)[0])


class Bordered:
    """Equations that differ in few from those of ``base``, solved with its factors.

    Unknowns that come are added with their equations; an equation that changes or goes is freed
    by an unknown of its own, and replaced or its unknown set to zero.
    """

    def __init__(self, base: Factors, equations: Equations, replies: FloatArray,
                 most: float) -> None:
        self.base, self.equations, self.rcond = base, equations, 0.0
        old = base.equations
        place = np.full(len(replies), -1)
        place[old.own] = np.arange(old.size)
        self._at = place[equations.own]
        self._come = np.flatnonzero(self._at < 0)
        kept = np.flatnonzero(self._at >= 0)
        was = self._at[kept]
        differ = ((equations.slope[kept] != old.slope[was])
                  | (equations.stiffen[kept] != old.stiffen[was]))
        self._changed = kept[differ]
        gone = np.ones(old.size, dtype=bool)
        gone[was] = False
        leave = np.flatnonzero(gone)
        self._freed = np.concatenate([was[differ], leave])
        come = self._come.size
        size = come + self._freed.size
        if size > most:
            return
        ids = equations.own[self._come]
        columns = np.zeros((old.size, size))
        columns[:, :come] = old.rows(replies, ids)
        columns[self._freed, come + np.arange(self._freed.size)] = 1.0
        new = equations.part(np.concatenate([self._come, self._changed]))
        self._rows = np.zeros((size, old.size))
        self._rows[:new.size] = new.rows(replies, old.own)
        self._rows[new.size + np.arange(leave.size), leave] = 1.0
        corner = np.zeros((size, size))
        corner[:new.size, :come] = new.rows(replies, ids)
        self._columns = base.solve(columns) if size else columns
        unknowns = Equations(np.arange(size), np.zeros(size, dtype=int), np.zeros(size),
                             np.zeros(size))
        self._schur = Factors(unknowns, corner - self._rows @ self._columns)
        self.rcond = min(base.rcond, self._schur.rcond)

    def solve(self, right: FloatArray) -> FloatArray:
        """Unknowns for a right-hand side ``(k,)``."""
        below = np.zeros(self.base.equations.size)
        stay = self._at >= 0
        below[self._at[stay]] = right[stay]
        below[self._freed] = 0.0
        first = self.base.solve(below)
        wanted = np.zeros(self._come.size + self._freed.size)
        wanted[:self._come.size] = right[self._come]
        wanted[self._come.size:self._come.size + self._changed.size] = right[self._changed]
        border = self._schur.solve(wanted - self._rows @ first)
        first -= self._columns @ border
        out = np.zeros(right.size)
        out[stay] = first[self._at[stay]]
        out[self._come] = border[:self._come.size]
        return out


class Unsolved:
    """The equations of one state, without their factors.

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
        none = np.zeros(self.hin.size)
        # A bound that hardens moves with what gives way at it.
        self.equations = Equations(
            np.concatenate([self.out, n + self.hin]),
            np.concatenate([self.mate, none.astype(int)]), np.concatenate([self.slope, none]),
            np.concatenate([-self.rise * s.scale[self.out],
                            self.kink_rise * s.kink_scale[self.hin]]))


class System(Unsolved):
    """The linear system of one state, factorised; raises `Singular`."""

    def __init__(self, step: Step, state: IntArray, turning: IntArray) -> None:
        super().__init__(step, state, turning)
        equations = self.equations
        near = None if step.factors is None else Bordered(
            step.factors, equations, step.solver.replies, FEW * equations.size)
        self.borrowed = near is not None and near.rcond > SOUND
        if self.borrowed and near is not None:
            self.solve, self.rcond = near.solve, near.rcond
        else:
            self.factorise()

    def factorise(self) -> None:
        """Solve with the factors of this state itself; raises `Singular`."""
        factors = factors_of(self.step, self.equations)
        self.solve, self.rcond, self.borrowed = factors.solve, factors.rcond, False


def factors_of(step: Step, equations: Equations) -> Factors:
    """The factors of some equations of a step; raises `Singular`."""
    # Factors of earlier steps serve where they are those that would be made here: what is found
    # does not depend on what was asked before.
    known, key = step.solver.known, equations.key
    factors = known.pop(key, None)
    if factors is None:
        replies = step.solver.replies
        matrix = equations.rows(replies, equations.own)
        factors = Factors(equations, matrix)
        if factors.rcond < RCOND:
            raise Singular(matrix)
    known[key] = factors
    if len(known) > MOST_KNOWN:
        del known[next(iter(known))]
    if factors.rcond > SOUND:
        step.factors = factors
    return factors
