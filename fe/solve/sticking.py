"""The sticking state of a condensed problem: all links stick, and the system is inverted once."""

from __future__ import annotations

from typing import Any, Self

import numpy as np
import scipy.linalg.lapack as lapack

from buttress.fe.arrays import FloatArray
from buttress.fe.links.condense import Condensed
from buttress.fe.threads import one_thread

LOOSE = 1e-13
"""Reciprocal condition below which the sticking problem counts as singular."""
SOUND = 1e-7
"""Reciprocal condition of ``F + C`` above which the sticking problem is inverted through it."""
FLOOR = 1e-4
"""Smallest flexibility by which a link's slack is scaled, relative to the links' median."""
LEAST = 1e-9
"""The same relative to the largest: the median may be rounding, where most links join pins."""
LAYER = 1e-7
"""Compliance added to redundant links, relative to the flexibility of each."""
LARGE = ("stiff", "inverse", "to_kink", "replies")
"""What takes most of the memory, and can be made anew."""


class Sticking:
    """A condensed problem with all links sticking, and the inverse of that state.

    ``inverse`` is None where a body is loose even then.
    """

    stiff: FloatArray
    inverse: FloatArray | None
    to_kink: FloatArray
    replies: FloatArray

    def __init__(self, problem: Condensed, _shared: Sticking | None = None) -> None:
        self.problem = problem
        self.known: dict[bytes, Any] = {}    # factors of states (`fe.solve.system`)
        if _shared is not None:
            self.__dict__.update({k: v for k, v in _shared.__dict__.items() if k != "problem"})
            return
        self._make()

    def rest(self) -> None:
        """Forget what takes much memory; where it is asked for again it is made anew."""
        self.known = {}
        for name in LARGE:
            self.__dict__.pop(name, None)

    def __getattr__(self, name: str) -> Any:
        if name not in LARGE or "problem" not in self.__dict__:
            raise AttributeError(name)
        self._make()
        return self.__dict__[name]

    def _make(self) -> None:
        problem = self.problem
        n = problem.n
        self.stiff = problem.flexibility.copy()
        self.stiff[np.arange(n), np.arange(n)] += problem.compliance
        # A link between two nodes that both happen to be pinned has no flexibility of its own.
        own = np.diag(self.stiff)
        self.scale = np.maximum(own, max(FLOOR * float(np.median(own)), LEAST * float(own.max()),
                                         1e-300) if n else 1.0)
        self.unit = float(np.mean(self.scale)) if n else 1.0
        self.kink_scale = np.full(problem.kinks.shape[1], 1.0 / self.unit)
        self.layer = 0.0
        with one_thread():
            self.inverse = self._invert()
            if self.inverse is None and n:
                # Where three bodies meet at a point, their links are redundant: a thin layer
                # between the faces makes the forces unique. A structure that is loose even with
                # everything stuck stays singular.
                # Relative to each link's own flexibility: a soft spring elsewhere sets no scale.
                own = np.diag(problem.flexibility)
                layer = LAYER * np.maximum(own, FLOOR * np.median(own))
                layer[problem.compliance > 0.0] = 0.0
                self.layer = float(layer.max(initial=0.0))
                self.stiff = self.stiff + np.diag(layer)
                self.inverse = self._invert()
            if self.inverse is None:
                self.to_kink = self.replies = np.zeros((0, 0))
                return
            # Force answers to unit slack (`inverse[:, :n] * per_slack`) and to unit kinks, both
            # made dimensionless.
            self.per_slack = -self.scale / self.unit
            self.to_kink = self._of_kinks()
            diagonal = np.einsum("ij,ij->j", problem.kinks, self.to_kink[:n])
            self.kink_scale = 1.0 / np.maximum(diagonal, 1e-12 / self.unit)
            self.to_kink = self.to_kink * self.kink_scale
            self.replies = self._of_slack_and_kinks()

    def _invert(self) -> FloatArray | None:
        """Inverse of the sticking problem ``[[F + C, -G], [G^T, 0]]``, None where singular."""
        n, m = self.problem.n, self.problem.rigid.shape[1]
        if n + m == 0:
            return np.zeros((0, 0))    # one fixed body without links
        quickly = self._invert_definite()
        if quickly is not None:
            return quickly
        system = np.zeros((n + m, n + m))
        system[:n, :n] = self.stiff / self.unit
        system[:n, n:] = -self.problem.rigid
        system[n:, :n] = self.problem.rigid.T
        norm = np.linalg.norm(system, 1)
        lu, piv, info = lapack.dgetrf(system)
        if info != 0 or lapack.dgecon(lu, norm)[0] < LOOSE:
            return None
        return lapack.dgetri(lu, piv)[0]

    def _invert_definite(self) -> FloatArray | None:
        """The same from Cholesky's factors of ``F + C``, in less work and with less rounding.

        None where there are none, or where cancellation would be too large: two pinned nodes
        joined, redundant links, a loose body.
        """
        n, m, rigid = self.problem.n, self.problem.rigid.shape[1], self.problem.rigid
        if n == 0:
            return None
        soft = self.stiff / self.unit
        size = np.abs(soft).sum(axis=0).max()
        factor, info = lapack.dpotrf(soft.T, lower=1, overwrite_a=1)
        if info != 0:
            return None
        soft = lapack.dpotri(factor, lower=1, overwrite_c=1)[0].T
        soft += np.triu(soft, 1).T          # the other half is left zero
        if size * np.abs(soft).sum(axis=0).max() > 1.0 / SOUND:
            return None
        by_motion = soft @ rigid
        firmness = rigid.T @ by_motion      # (m, m): forces on the modes for unit motions
        if m and 1.0 / max(np.linalg.cond(firmness), 1.0) < LOOSE:
            return None
        motion = np.linalg.inv(firmness)
        weighed = by_motion @ motion
        soft -= weighed @ by_motion.T
        out = np.empty((n + m, n + m))
        out[:n, :n], out[:n, n:], out[n:, :n], out[n:, n:] = soft, weighed, -weighed.T, motion
        return out

    def _of_kinks(self) -> FloatArray:
        """Force and motion answers to unit kinks; only the links of its own member feel one."""
        assert self.inverse is not None
        p = self.problem
        members: dict[int, list[int]] = {}
        out = np.zeros((len(self.inverse), p.kinks.shape[1]))
        for j, hinge in enumerate(p.links.hinges):
            members.setdefault(id(hinge.member), []).append(j)
        for own in members.values():
            felt = np.flatnonzero(p.kinks[:, own].any(axis=1))
            out[:, own] = self.inverse[:, felt] @ p.kinks[felt][:, own] / self.unit
        return out

    def _of_slack_and_kinks(self) -> FloatArray:
        """Replies ``(n + h, n + h)``: forces of links and moments of hinges to unit slack of links
        and unit kinks."""
        assert self.inverse is not None
        n, to_kink = self.problem.n, self.to_kink[:self.problem.n]
        out = np.empty((n + to_kink.shape[1],) * 2)
        np.multiply(self.inverse[:n, :n], self.per_slack, out=out[:n, :n])
        out[:n, n:] = to_kink
        np.multiply(to_kink.T, self.per_slack * self.unit / self.kink_scale[:, None],
                    out=out[n:, :n])
        np.matmul(self.problem.kinks.T, to_kink, out=out[n:, n:])
        return out

    def variant(self, problem: Condensed) -> Self:
        """The same links with another law, sharing the inverse where compliances are the same."""
        if not np.array_equal(problem.compliance, self.problem.compliance):
            return type(self)(problem)
        return type(self)(problem, _shared=self)
