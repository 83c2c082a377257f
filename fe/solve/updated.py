"""The inverse of a state's equations, updated as links and hinges change their state one at a time.

A pivot changes one equation; bordering the inverse by it, or taking it out again, costs a product
where factors cost a solution for each change since they were made. What is found so is only a
guide: answers are proved with factors of their own.
"""

from __future__ import annotations

import numpy as np

from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.solve.system import Equations, Factors

MOST_CHANGES = 4
"""Equations that may change at once; with more, factors are made again."""
CANCELS = 1e-8
"""Share of its terms below which a pivot may be rounding, and the equations singular."""


class Updated:
    """The inverse ``(k, k)`` of the equations of one state after another; see `to`."""

    def __init__(self, equations: Equations, factors: Factors, replies: FloatArray) -> None:
        self.replies = replies
        self.inverse = factors.solve(np.eye(equations.size))
        self.own = equations.own.copy()
        self.at = np.full(len(replies), -1)
        self.at[self.own] = np.arange(self.own.size)
        self.slope, self.stiffen = np.zeros(len(replies)), np.zeros(len(replies))
        self.mate = np.zeros(len(replies), dtype=np.int64)
        self.slope[self.own], self.stiffen[self.own] = equations.slope, equations.stiffen
        self.mate[self.own] = equations.mate

    def to(self, equations: Equations) -> bool:
        """Go over to other equations; False, and of no more use, where that may not be sound."""
        own = equations.own
        there = np.zeros(len(self.replies), dtype=bool)
        there[own] = True
        known = self.at[own] >= 0
        differ = ~known | (self.slope[own] != equations.slope) | (
            self.stiffen[own] != equations.stiffen)
        leave = [*self.own[~there[self.own]].tolist(), *own[known & differ].tolist()]
        come = np.flatnonzero(differ)
        if len(leave) + come.size > MOST_CHANGES:
            return False
        return all(self._drop(x) for x in leave) and all(
            self._add(equations.part(come[i:i + 1])) for i in range(come.size))

    def _drop(self, number: int) -> bool:
        """Take out an unknown with its equation."""
        w, j, last = self.inverse, int(self.at[number]), self.own.size - 1
        pivot = w[j, j]
        if abs(pivot) <= CANCELS * min(np.abs(w[j]).max(), np.abs(w[:, j]).max()):
            return False
        w -= np.outer(w[:, j] / pivot, w[j])
        # The last takes its place.
        w[j], self.own[j] = w[last], self.own[last]
        w[:, j] = w[:, last]
        self.inverse, self.at[self.own[j]] = w[:last, :last], j
        self.own, self.at[number] = self.own[:last], -1
        return True

    def _add(self, equation: Equations) -> bool:
        """Add an unknown with its equation."""
        w, k, number = self.inverse, self.own.size, int(equation.own[0])
        column = self.replies[self.own, number]
        rubs = self.slope[self.own]
        if rubs.any():
            column = column - rubs * self.replies[self.mate[self.own], number]
        row = equation.rows(self.replies, np.append(self.own, number))[0]
        corner = row[k]
        right = w @ column
        left = row[:k] @ w
        terms = row[:k] * right
        rest = corner - terms.sum()
        if abs(rest) <= CANCELS * (abs(corner) + np.abs(terms).sum()):
            return False
        out = np.empty((k + 1, k + 1))
        out[:k, :k] = np.outer(right / rest, left)
        out[:k, :k] += w
        out[:k, k], out[k, :k], out[k, k] = -right / rest, -left / rest, 1.0 / rest
        self.inverse, self.own, self.at[number] = out, np.append(self.own, number), k
        self.slope[number], self.stiffen[number] = equation.slope[0], equation.stiffen[0]
        self.mate[number] = equation.mate[0]
        return True

    def solve(self, right: FloatArray, own: IntArray) -> FloatArray:
        """Unknowns ``(k,)`` for a right-hand side, both in the order of ``own``."""
        place = self.at[own]
        ordered = np.empty(right.size)
        ordered[place] = right
        return np.asarray((self.inverse @ ordered)[place])
