"""Fallback where active sets do not converge: bounded links as one complementarity problem.

A frictional pair has the nonnegative variables (lam_n, beta+, beta-, gamma) with ``lam_t = beta+ -
beta-`` and ``gamma`` the amount of slip; a link between two bounds its force above the lower one
and its slack at the upper; a rigid motion or a kink its two signs, and likewise what a link gives
way by at two bounds that harden, a mode of its own. The matrix is copositive, so
Lemke's method terminates. Links and hinges that are not expected to reach a bound, and the rigid
motions that such links prevent, are eliminated first; those that exceed a bound in the solution are
restored.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import scipy.linalg

from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.solve.answer import Answer
from buttress.fe.solve.capacity import Capacity, Escape
from buttress.fe.solve.lemke import lemke, proves_none
from buttress.fe.solve.search import follow
from buttress.fe.solve.step import Step
from buttress.fe.status import Status

PATHS = 6
"""Further starts where the first path ends on a ray; one for a large problem."""
SMALL = 400
"""Up to this many links and hinges, all of them are included before a ray is accepted."""


class Reduced:
    """The complementarity problem of one step: ``active (n,)`` links and ``hinging (h,)`` kinks.

    All other links are unbounded and eliminated, all other kinks are locked.
    """

    def __init__(self, step: Step, active: np.ndarray, hinging: np.ndarray) -> None:
        self.step, p, s = step, step.p, step.solver
        self.free, self.kept = np.flatnonzero(~active), np.flatnonzero(active)
        self.hinges = np.flatnonzero(hinging)
        self.slaved = held_motions(p.rigid[self.free])
        self.loose = np.setdiff1d(np.arange(p.rigid.shape[1]), self.slaved)
        kept, free, k = self.kept, self.free, self.kept.size
        self.gives = free[step.slope_low[free] > 0]
        giving = np.zeros((p.n, self.gives.size))
        giving[self.gives, np.arange(self.gives.size)] = -1.0
        modes = np.hstack([p.rigid[:, self.loose], p.kinks[:, self.hinges], giving])
        # K [lam_f; -a_slaved] = b - X lam_k + Y modes, with K symmetric
        g_s = p.rigid[free][:, self.slaved]
        zero = np.zeros((self.slaved.size, self.slaved.size))
        system = np.block([[s.stiff[np.ix_(free, free)], g_s], [g_s.T, zero]])
        self.x = np.vstack([s.stiff[np.ix_(free, kept)], p.rigid[kept][:, self.slaved].T])
        self.y = np.vstack([modes[free], np.zeros((self.slaved.size, modes.shape[1]))])
        self.b = np.concatenate([step.d[free], step.r[self.slaved]])
        self.factor = scipy.linalg.lu_factor(system) if system.size else None
        back = self._inner(np.hstack([self.x, self.y, self.b[:, None]]))
        m = modes.shape[1]
        self.a = s.stiff[np.ix_(kept, kept)] - self.x.T @ back[:, :k]
        self.g = modes[kept] - self.x.T @ back[:, k:k + m]
        self.d = step.d[kept] - self.x.T @ back[:, -1]
        self.mm = self.y.T @ back[:, k:k + m]         # flexibility of the modes through free links
        # force on the modes = r - g^T lam_k - mm a
        none = np.zeros(self.loose.size)
        self.r = np.concatenate([step.r[self.loose], step.k[self.hinges],
                                 np.zeros(self.gives.size)]) - self.y.T @ back[:, -1]
        moved, limit = step.kink_moved[self.hinges], p.kink_limit[self.hinges]
        self.limits = (np.concatenate([none, limit + moved, step.upper[self.gives]]),
                       np.concatenate([none, limit - moved, -step.lower[self.gives]]))
        self.rise = np.concatenate([none, p.kink_slope[self.hinges], p.slope[self.gives]])

    def _inner(self, right: FloatArray) -> FloatArray:
        return scipy.linalg.lu_solve(self.factor, right) if self.factor is not None else right

    def solve(self) -> tuple[FloatArray, FloatArray, str]:
        """Forces of the kept links, amplitudes of the modes, and how the method ended."""
        step, kept = self.step, self.kept
        force0 = step.reference
        length = step.solver.unit * force0
        where = {int(link): i for i, link in enumerate(kept)}
        maps: list[tuple[int, float]] = []           # variable -> (kept link, sign of its force)
        base = np.zeros(kept.size)
        frictional: list[tuple[int, int, int, int]] = []
        box: list[tuple[int, int, float, float]] = []
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
                    box.append((count, i, step.upper[link] - step.lower[link],
                                step.slope_high[link]))
                count += 1
        forces = count
        m = self.rise.size
        size = forces + len(frictional) + len(box) + 2 * m
        expand = np.zeros((kept.size, forces))
        for v, (i, sign) in enumerate(maps):
            expand[i, v] = sign
        big, q = np.zeros((size, size)), np.zeros(size)
        unit = step.solver.unit
        big[:forces, :forces] = expand.T @ self.a @ expand / unit
        q[:forces] = expand.T @ (self.a @ base - self.d) / length
        at = forces
        for ahead, back, i, mate in frictional:
            big[ahead, at] = big[back, at] = 1.0
            big[at, ahead] = big[at, back] = -1.0
            link = kept[i]
            mu = step.friction[link]
            big[at, normal_variable[mate]] = mu
            q[at] = (mu * base[mate] + step.upper[link]) / force0
            at += 1
        for v, _, width, rise in box:
            big[v, at], big[at, v], big[at, at] = 1.0, -1.0, rise * unit
            q[at] = width / force0
            at += 1
        # v of the mode signs: limit -/+ (r - G^T lam - mm a); slack of links gets -G a
        for sign, limit in zip((1.0, -1.0), self.limits, strict=True):
            span = slice(at, at + m)
            big[:forces, span] = -sign * (expand.T @ self.g)
            big[span, :forces] = sign * (self.g.T @ expand)
            q[span] = (limit - sign * (self.r - self.g.T @ base)) / force0
            at += m
        plus, minus = slice(size - 2 * m, size - m), slice(size - m, size)
        own = (self.mm + np.diag(self.rise)) * unit
        big[plus, plus] = big[minus, minus] = own
        big[plus, minus] = big[minus, plus] = -own
        # Stiff and soft links differ by many powers of ten; a positive scaling of the variables
        # (and rows) makes every link's own flexibility one and changes nothing else.
        own_flex = np.maximum(np.diag(self.a), 1e-12 * unit) / unit
        weight = np.ones(size)
        weight[:forces] = 1.0 / np.sqrt(np.abs(expand).T @ own_flex)
        partners = [first for first, _, _, _ in frictional] + [v for v, *_ in box]
        weight[forces:forces + len(partners)] = 1.0 / weight[partners]
        pull = np.abs(big[:forces, plus] * weight[:forces, None]).max(axis=0, initial=0.0)
        weight[plus] = weight[minus] = 1.0 / np.where(pull > 0, pull, 1.0)
        scaled, right = weight[:, None] * big * weight, weight * q
        z, reason = lemke(scaled, right, step.pivots)
        rng = np.random.default_rng(0)
        for _ in range(PATHS if size <= SMALL else 1):
            if reason == "solution" or step.pivots.left <= 0:
                break
            # With friction a ray does not prove that there is no solution: try other paths.
            other = lemke(scaled, right, step.pivots, covering=rng.uniform(0.05, 1.0, size))
            if other[1] == "solution" or z is None:
                z, reason = other
        if z is None:
            return base, np.zeros(m), reason
        if reason == "ray" and not proves_none(scaled, right, z):
            reason = "a ray that may be due to rounding"
        z = weight * z
        force = expand @ z[:forces] * force0
        if reason == "solution":
            force += base
        modes = (z[plus] - z[minus]) * length
        return force, modes, reason

    def full(self, force: FloatArray, modes: FloatArray, direction: bool = False
             ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """All forces, rigid motions and kinks, including the eliminated ones.

        With ``direction`` they belong to a ray, without the load itself.
        """
        p = self.step.p
        out, rigid, kink = np.zeros(p.n), np.zeros(p.rigid.shape[1]), np.zeros(p.kinks.shape[1])
        own = 0.0 * self.b if direction else self.b
        inner = self._inner(own - self.x @ force + self.y @ modes)
        out[self.kept], out[self.free] = force, inner[:self.free.size]
        rigid[self.slaved] = -inner[self.free.size:]
        rigid[self.loose] = modes[:self.loose.size]
        kink[self.hinges] = modes[self.loose.size:self.loose.size + self.hinges.size]
        return out, rigid, kink


def held_motions(rigid: FloatArray) -> IntArray:
    """Numbers of the rigid motions that the links ``(f, m)`` prevent: independent columns."""
    if not rigid.size:
        return np.zeros(0, dtype=np.int64)
    _, r, order = scipy.linalg.qr(rigid, mode="economic", pivoting=True)
    size = np.abs(np.diag(r))
    return np.sort(order[:int((size > 1e-3 * size[0]).sum())])


def lemke_answer(step: Step, limit: Capacity) -> Answer:
    """The step's answer by Lemke's method, refined by one solve in the resulting state."""
    p = step.p
    modes_of_own = step.slope_low > 0       # see `Reduced`
    active = (step.friction > 0) | (np.isfinite(step.lower) & np.isinf(step.upper))
    active[p.partner[step.friction > 0]] = True
    active[list(step.prescribed)] = True
    active &= ~modes_of_own
    bounded = (np.isfinite(step.lower) & ~modes_of_own) | active
    hinging = np.zeros(p.kinks.shape[1], dtype=bool)
    for _ in range(20):
        reduced = Reduced(step, active, hinging)
        kept_force, modes, reason = reduced.solve()
        force, rigid, kink = reduced.full(kept_force, modes, direction=reason == "ray")
        if reason != "solution":
            if (((active == bounded).all() and hinging.all()) or p.n + hinging.size > SMALL
                    or step.pivots.left <= 0):
                break
            active, hinging = bounded, np.ones_like(hinging)
            continue
        too_far = step.moved_too_far(rigid, kink)
        if too_far is not None:
            return replace(too_far, method="Lemke")
        slack = step.d - step.solver.stiff @ force + p.rigid @ rigid + p.kinks @ kink
        found = follow(step, force, slack, kink)
        if found is not None:
            return replace(found, method="Lemke")
        over = (force > step.upper + step.tol) | (force < step.lower - step.tol)
        over &= ~active & ~modes_of_own
        turned = ~hinging & (np.abs(step.k - p.kinks.T @ force) > p.kink_limit + step.tol)
        if over.any() or turned.any():
            active, hinging = active | over, hinging | turned
            continue
        found = step.accept(force, rigid, kink, np.nan, 0)
        if found is not None:
            return replace(found, method="Lemke")
        return step.none(Status.UNCONVERGED, None,
                         "the residuals of Lemke's solution are too large")
    if reason == "ray":
        # Some force system could carry the load (else the linear program would say so), but loading
        # never causes it, as with parallel faces without preload. The ray is the motion.
        largest = max(float(np.abs(rigid).max(initial=0.0)), 1e-300)
        return step.none(Status.NO_EQUILIBRIUM, Escape(rigid / largest, kink / largest),
                          "no force system that develops under load carries it (a ray of Lemke's "
                          "method: not a strict proof with friction)", method="Lemke")
    if reason == "pivots":
        reason = f"the limit of {step.pivots.most} pivots"
    return step.none(Status.UNCONVERGED, limit.escape, f"Lemke's method ended on: {reason}")
