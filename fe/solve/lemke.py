"""Lemke's method for linear complementarity problems, with lexicographic tie-breaking.

For a copositive matrix it ends at a solution or on a ray (Cottle, Pang, Stone, The Linear
Complementarity Problem, 1992, ch. 4; memory). `fe.solve.complementarity` writes bounded links in
this form.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg.blas import dger

from buttress.fe.arrays import FloatArray

MOST_PIVOTS = 5_000
"""Pivots that one answer may cost, all its rounds together: those that are found take less than
twice as many as there are unknowns. With more it is not known."""


@dataclass
class Pivots:
    """What is left of the pivots of an answer, and how many it took."""

    most: int = MOST_PIVOTS
    taken: int = 0

    @property
    def left(self) -> int:
        """How many may still be taken."""
        return self.most - self.taken


def lemke(matrix: FloatArray, right: FloatArray, pivots: Pivots,
          covering: FloatArray | None = None) -> tuple[FloatArray | None, str]:
    """Solve ``v = M z + q >= 0, z >= 0, z.v = 0``; returns ``z (n,)`` or None, and the reason.

    Reasons: "solution"; "ray" (none on this path; ``z`` is then the unbounded direction); "pivots"
    (none are left of ``pivots``, ``z`` is None); "overflow" (numbers have grown beyond all bounds,
    ``z`` is None). Ties in the ratio test are broken
    lexicographically by the rows of the basis inverse. ``covering (n,)`` is the positive vector
    that starts the path, ones if not given: with friction another path may end at a solution.
    """
    n = right.size
    if n == 0 or right.min() >= 0:
        return np.zeros(n), "solution"
    cover_by = np.ones(n) if covering is None else covering
    # Variables: v (n), z (n), cover (1). Columns: of those that are zero, and the right-hand side;
    # the others' are unit vectors. By columns in memory: a pivot is one update in place (BLAS ger).
    table = np.asfortranarray(np.hstack([-matrix, -cover_by[:, None], right[:, None]]))
    basis, cover = np.arange(n), 2 * n
    place = np.concatenate([np.full(n, -1), np.arange(n + 1)])     # column of a variable

    def pivot(row: int, entering: int) -> None:
        at, left = place[entering], basis[row]
        scaled = table[row] / table[row, at]
        scaled[at] = 1.0 / table[row, at]
        factors = table[:, at].copy()
        factors[row] = 0.0
        table[:, at] = 0.0
        dger(-1.0, factors, scaled, a=table, overwrite_a=1)
        table[row] = scaled
        basis[row], place[left], place[entering] = entering, at, -1

    need = right / cover_by
    lowest = np.flatnonzero(need <= need.min() + 1e-15 * abs(need.min()))
    leaving = int(lowest[-1])
    entering = n + leaving  # complement of the v that the cover variable replaces
    pivot(leaving, cover)
    while pivots.left > 0:
        pivots.taken += 1
        column = table[:, place[entering]]
        if not (np.isfinite(column).all() and np.isfinite(table[:, -1]).all()):
            return None, "overflow"
        rows = np.flatnonzero(column > 1e-11 * max(1.0, float(np.abs(column).max())))
        if rows.size == 0:
            inside = basis >= n
            z = np.zeros(n + 1)
            # Zero apart from rounding, which grows with the right-hand side; the residuals of the
            # solution are checked later.
            if table[basis == cover, -1].max(initial=0.0) <= 1e-9 * max(1.0, abs(right).max()):
                z[basis[inside] - n] = table[inside, -1]
                return np.maximum(z[:n], 0.0), "solution"
            z[basis[inside] - n] = -column[inside]
            if entering >= n:
                z[entering - n] = 1.0
            return np.maximum(z[:n], 0.0), "ray"
        ratios = table[rows, -1] / column[rows]
        best = rows[ratios <= ratios.min() + 1e-13 * max(1.0, abs(float(ratios.min())))]
        holds_cover = best[basis[best] == cover]
        if holds_cover.size:
            row = int(holds_cover[0])
        else:
            key = 0
            while best.size > 1 and key < n:
                values = (table[best, place[key]] if place[key] >= 0
                          else (basis[best] == key).astype(float)) / column[best]
                best = best[values <= values.min() + 1e-13 * max(1.0, float(np.abs(values).max()))]
                key += 1
            if best.size == 0:      # none is least: not a number
                return None, "overflow"
            row = int(best[0])
        left = int(basis[row])
        pivot(row, entering)
        if left == cover:
            z = np.zeros(n)
            inside = basis >= n
            z[basis[inside] - n] = table[inside, -1]
            return np.maximum(z, 0.0), "solution"
        entering = left + n if left < n else left - n
    return None, "pivots"


def proves_none(matrix: FloatArray, right: FloatArray, ray: FloatArray) -> bool:
    """Whether a ray is a motion without resistance and with work of the load: z, Mz >= 0, qz < 0.

    Without this check a pivot lost to rounding would be reported as "no equilibrium".
    """
    z = ray / max(float(np.abs(ray).max(initial=0.0)), 1e-300)
    force = matrix @ z
    scale = np.abs(matrix) @ z
    resists = float(force.min(initial=0.0)) < -1e-9 * float(scale.max(initial=0.0))
    stores = abs(float(z @ force)) > 1e-9 * float(z.sum() * scale.max(initial=0.0))
    gain = float(right @ z)
    return not resists and not stores and gain < -1e-9 * float(np.abs(right) @ z)
