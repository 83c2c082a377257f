"""Fallback that always ends: Lemke's method with lexicographic ties.

Each bounded link is written with nonnegative variables. A frictional pair has (lam_n, beta+,
beta-, gamma) with ``lam_t = beta+ - beta-`` and ``gamma`` the amount of slip; a link between two
bounds its force above the lower one and its slack at the upper; a rigid motion or a kink its two
signs. The matrix is copositive, so the method ends in a solution or on a ray (Cottle, Pang, Stone,
The Linear Complementarity Problem, 1992, ch. 4; memory). Links that are not expected to reach a
bound are eliminated first and put back where the answer shows that they do.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import scipy.linalg

from fe.limit import Capacity, Escape

if TYPE_CHECKING:
    from fe.solve import Answer, _Step

FloatArray = np.ndarray
IntArray = np.ndarray
MOST_PIVOTS = 20_000


def lemke(matrix: FloatArray, right: FloatArray, most: int = MOST_PIVOTS
          ) -> tuple[FloatArray | None, str]:
    """Solve ``v = M z + q >= 0, z >= 0, z.v = 0``; returns ``z (n,)`` or None, and the reason.

    Reasons: "solution"; "ray" (none on this path; ``z`` is then the direction in which it
    escapes); "pivots" (limit reached, ``z`` is None). Ties in the ratio test are broken
    lexicographically by the rows of the basis inverse.
    """
    n = right.size
    if n == 0 or right.min() >= 0:
        return np.zeros(n), "solution"
    # Columns: v (n), z (n), cover (1), right-hand side.
    table = np.hstack([np.eye(n), -matrix, -np.ones((n, 1)), right[:, None]])
    basis = np.arange(n)
    cover = 2 * n

    def pivot(row: int, column: int) -> None:
        table[row] /= table[row, column]
        factors = table[:, column].copy()
        factors[row] = 0.0
        rows = np.flatnonzero(factors)
        table[rows] -= factors[rows, None] * table[row]
        basis[row] = column

    lowest = np.flatnonzero(right <= right.min() + 1e-15 * abs(right.min()))
    leaving = int(lowest[-1])
    entering = n + leaving  # complement of the v that the cover variable replaces
    pivot(leaving, cover)
    for _ in range(most):
        column = table[:, entering]
        rows = np.flatnonzero(column > 1e-11 * max(1.0, float(np.abs(column).max())))
        if rows.size == 0:
            inside = basis >= n
            z = np.zeros(n + 1)
            # Zero but for rounding, which grows with the right-hand side; the answer is proved by
            # its own residuals later.
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
                values = table[best, key] / table[best, entering]
                best = best[values <= values.min() + 1e-13 * max(1.0, float(np.abs(values).max()))]
                key += 1
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


def _proves_none(matrix: FloatArray, right: FloatArray, ray: FloatArray) -> bool:
    """Whether a ray is one along which nothing resists and the load gains: z, Mz >= 0, qz < 0.

    Without this check a pivot lost to rounding would be reported as "no equilibrium".
    """
    z = ray / max(float(np.abs(ray).max(initial=0.0)), 1e-300)
    force = matrix @ z
    scale = np.abs(matrix) @ z
    resists = float(force.min(initial=0.0)) < -1e-9 * float(scale.max(initial=0.0))
    stores = abs(float(z @ force)) > 1e-9 * float(z.sum() * scale.max(initial=0.0))
    gain = float(right @ z)
    return not resists and not stores and gain < -1e-9 * float(np.abs(right) @ z)


class _Reduced:
    """The complementarity problem of one step, with the links not in ``active`` eliminated."""

    def __init__(self, step: _Step, active: FloatArray) -> None:
        self.step, p, s = step, step.p, step.solver
        self.free = np.flatnonzero(~active)
        self.kept = np.flatnonzero(active)
        modes = np.hstack([p.rigid, p.kinks])
        a_kk = s.stiff[np.ix_(self.kept, self.kept)]
        a_kf = s.stiff[np.ix_(self.kept, self.free)]
        self.factor = scipy.linalg.lu_factor(s.stiff[np.ix_(self.free, self.free)]) \
            if self.free.size else None
        self.a_fk, self.g_f, self.d_f = a_kf.T, modes[self.free], step.d[self.free]
        inner = np.hstack([self.a_fk, self.g_f, self.d_f[:, None]])
        back = scipy.linalg.lu_solve(self.factor, inner) if self.factor is not None else inner
        k, m = self.kept.size, modes.shape[1]
        self.a = a_kk - a_kf @ back[:, :k]
        self.g = modes[self.kept] - a_kf @ back[:, k:k + m]
        self.d = step.d[self.kept] - a_kf @ back[:, -1]
        self.mm = self.g_f.T @ back[:, k:k + m]       # modes' own flexibility through free links
        # force on the modes = r - G_k^T lam_k - G_f^T lam_f
        self.r = np.concatenate([step.r, np.zeros(p.kinks.shape[1])]) - self.g_f.T @ back[:, -1]
        self.limit = np.concatenate([np.zeros(p.rigid.shape[1]), p.kink_limit])

    def solve(self) -> tuple[FloatArray, FloatArray, str]:
        """Forces of the kept links, amplitudes of the modes, and how the method ended."""
        step, kept = self.step, self.kept
        force0 = step.reference
        length = step.solver.unit * force0
        where = {int(link): i for i, link in enumerate(kept)}
        maps: list[tuple[int, float]] = []           # variable -> (kept link, sign of its force)
        base = np.zeros(kept.size)
        frictional: list[tuple[int, int, int, int]] = []
        box: list[tuple[int, int, float]] = []
        normal_variable: dict[int, int] = {}
        count = 0
        for i, link in enumerate(kept):
            if step.friction[link] > 0:
                frictional.append((count, count + 1, i, where[int(step.partner[link])]))
                maps += [(i, 1.0), (i, -1.0)]
                count += 2
            else:
                base[i] = step.lower[link]
                maps.append((i, 1.0))
                normal_variable[i] = count
                if np.isfinite(step.upper[link]):
                    box.append((count, i, step.upper[link] - step.lower[link]))
                count += 1
        forces = count
        m = self.limit.size
        size = forces + len(frictional) + len(box) + 2 * m
        expand = np.zeros((kept.size, forces))
        for v, (i, sign) in enumerate(maps):
            expand[i, v] = sign
        big, q = np.zeros((size, size)), np.zeros(size)
        unit = step.solver.unit
        big[:forces, :forces] = expand.T @ self.a @ expand / unit
        q[:forces] = expand.T @ (self.a @ base - self.d) / length
        at = forces
        for plus, minus, i, mate in frictional:
            big[plus, at] = big[minus, at] = 1.0
            big[at, plus] = big[at, minus] = -1.0
            link = kept[i]
            mu = step.friction[link]
            big[at, normal_variable[mate]] = mu
            q[at] = (mu * base[mate] + step.upper[link]) / force0
            at += 1
        for v, _, width in box:
            big[v, at], big[at, v] = 1.0, -1.0
            q[at] = width / force0
            at += 1
        # v of the mode signs: limit -/+ (r - G^T lam - mm a); slack of links gets -G a
        for sign in (1.0, -1.0):
            span = slice(at, at + m)
            big[:forces, span] = -sign * (expand.T @ self.g)
            big[span, :forces] = sign * (self.g.T @ expand)
            q[span] = (self.limit - sign * (self.r - self.g.T @ base)) / force0
            at += m
        plus, minus = slice(size - 2 * m, size - m), slice(size - m, size)
        own = self.mm * unit
        big[plus, plus] = big[minus, minus] = own
        big[plus, minus] = big[minus, plus] = -own
        # Stiff and soft links side by side differ by many powers of ten; a positive scaling of the
        # variables (rows alike) makes every link's own flexibility one and changes nothing else.
        own_flex = np.maximum(np.diag(self.a), 1e-12 * unit) / unit
        weight = np.ones(size)
        weight[:forces] = 1.0 / np.sqrt(np.abs(expand).T @ own_flex)
        for at, (plus_at, _, _, _) in enumerate(frictional, forces):
            weight[at] = 1.0 / weight[plus_at]
        for at, (v, _, _) in enumerate(box, forces + len(frictional)):
            weight[at] = 1.0 / weight[v]
        pull = np.abs(big[:forces, plus] * weight[:forces, None]).max(axis=0, initial=0.0)
        weight[plus] = weight[minus] = 1.0 / np.where(pull > 0, pull, 1.0)
        z, reason = lemke(weight[:, None] * big * weight, weight * q)
        if z is None:
            return base, np.zeros(m), reason
        if reason == "ray" and not _proves_none(weight[:, None] * big * weight, weight * q, z):
            reason = "a ray that rounding may have made"
        z = weight * z
        force = base + expand @ z[:forces] * force0
        modes = (z[plus] - z[minus]) * length
        return force, modes, reason

    def full(self, force: FloatArray, modes: FloatArray) -> FloatArray:
        """Forces of all links, the eliminated ones recovered."""
        out = np.zeros(self.step.p.n)
        out[self.kept] = force
        if self.factor is not None:
            out[self.free] = scipy.linalg.lu_solve(
                self.factor, self.d_f - self.a_fk @ force + self.g_f @ modes)
        return out


def lemke_answer(step: _Step, limit: Capacity) -> Answer:
    """The step's answer by Lemke's method, polished by one solve in the state that it found."""
    p = step.p
    one_sided = np.isfinite(step.lower) & np.isinf(step.upper)
    active = (step.friction > 0) | one_sided
    active[p.partner[step.friction > 0]] = True
    active[list(step.prescribed)] = True
    bounded = np.isfinite(step.lower) | active
    reason, modes = "pivots", np.zeros(0)
    for _ in range(12):
        reduced = _Reduced(step, active)
        kept_force, modes, reason = reduced.solve()
        if reason != "solution":
            if np.array_equal(active, bounded):
                break
            active = bounded
            continue
        force = reduced.full(kept_force, modes)
        m = p.rigid.shape[1]
        over = ~active & ((force > step.upper + step.tol) | (force < step.lower - step.tol))
        if over.any():
            active = active | over
            continue
        return _polish(step, force, modes[:m], modes[m:]) or step._none(
            "unconverged", None, "Lemke's answer did not pass its own residuals")
    if reason == "ray":
        # Some force system could carry the load (or the linear program would have said so), but
        # loading never raises it: parallel faces without pre-load, say. The ray is the motion.
        largest = max(float(np.abs(modes).max(initial=0.0)), 1e-300)
        m = p.rigid.shape[1]
        return step._none("no equilibrium", Escape(modes[:m] / largest, modes[m:] / largest),
                          "carried by no force system that loading raises", method="Lemke")
    return step._none("unconverged", limit.escape, f"Lemke's method ended on: {reason}")


def _polish(step: _Step, force: FloatArray, rigid: FloatArray, kink: FloatArray) -> Answer | None:
    from fe.solve import Singular

    slack = step.d - step.solver.stiff @ force + step.p.rigid @ rigid + step.p.kinks @ kink
    if step.solver.inverse is not None:
        _, _, state, turning = step._project(force, slack, kink)
        try:
            better = step._solve(state, turning)
            found = step._accept(*better[:2], better[3], float(better[4]), 0)
            if found is not None:
                return replace(found, method="Lemke")
        except Singular:
            pass
    found = step._accept(force, rigid, kink, np.nan, 0)
    return replace(found, method="Lemke, not polished") if found is not None else None
