"""A linear elastic body: factorised stiffness, rigid motions and responses to unit forces.

A *column* is a sparse linear functional of the body's displacements: the direction in which a
link acts, a load, or a quantity to be evaluated. Links, loads and measures are all columns, so
one table of flexibilities ``c_i^T K^+ c_j`` serves every variant of loads, friction, strengths
and hardware without using the mesh again.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.linalg
import scipy.sparse as sp
import scipy.sparse.linalg as spla

from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.errors import SolveError

BLOCK = 16
"""Right-hand sides solved at once: measured best for splu on 10^4 to 10^5 unknowns."""
FARTHEST_MM = 1e4
"""A body that moves farther than this counts as not held, regardless of the residuals."""
ENTRIES = 40_000
"""For small bodies (members), as many at once as give this many numbers."""


@dataclass(frozen=True)
class Column:
    """Sparse functional ``sum(values * u[dofs])`` of a body's displacements."""

    dofs: IntArray
    values: FloatArray

    @staticmethod
    def of(dofs: Sequence[int] | IntArray, values: Sequence[float] | FloatArray) -> Column:
        """Column with repeated dofs summed and dofs in ascending order."""
        d = np.asarray(dofs, dtype=np.int64).ravel()
        v = np.asarray(values, dtype=float).ravel()
        if d.size == v.size and (d[1:] > d[:-1]).all():  # as passed by most callers
            return Column(d, v)
        unique, inverse = np.unique(d, return_inverse=True)
        sums = np.bincount(inverse, weights=v, minlength=unique.size).astype(float)
        return Column(unique, sums)

    @staticmethod
    def dense(vector: FloatArray) -> Column:
        """Column from a full vector over the body's dofs (a load vector, say)."""
        d = np.flatnonzero(vector)
        return Column(d.astype(np.int64), np.asarray(vector, dtype=float)[d])

    @cached_property
    def key(self) -> bytes:
        """The bytes of degrees of freedom and values: equal columns have equal keys."""
        return self.dofs.tobytes() + self.values.tobytes()


def plane_rigid_motions(points: FloatArray, rotation_dof: bool) -> tuple[FloatArray, FloatArray,
                                                                        float]:
    """Two translations and the rotation about the centre, the rotation scaled to mm.

    Returns ``R (n_dof, 3)``, the centre ``(2,)`` and the length by which the rotation is scaled
    (so that all three amplitudes are in mm; the angle in radians is amplitude / length).
    """
    centre = points.mean(axis=0)
    arm = points - centre
    length = max(float(np.sqrt((arm**2).sum(axis=1).mean())), 1e-12)
    step = 3 if rotation_dof else 2
    rigid = np.zeros((step * len(points), 3))
    rigid[0::step, 0] = 1.0
    rigid[1::step, 1] = 1.0
    rigid[0::step, 2] = -arm[:, 1] / length
    rigid[1::step, 2] = arm[:, 0] / length
    if rotation_dof:
        rigid[2::step, 2] = 1.0 / length
    return rigid, centre, length


class Body:
    """Continuum piece or beam member, with its response to forces at its columns.

    Parameters
    ----------
    name: for messages.
    stiffness: ``(n, n)`` symmetric sparse matrix, N/mm (and N, N mm for rotation dofs).
    points: ``(k, 2)`` node positions in mm; two dofs per node, or three with ``rotation_dof``.
    fixed: dofs that are fixed at zero. Rigid motions that remain free are in ``rigid``.

    Raises `SolveError` where the stiffness cannot be factorised.
    """

    def __init__(self, name: str, stiffness: sp.spmatrix, points: FloatArray,
                 fixed: Iterable[int] = (), rotation_dof: bool = False) -> None:
        self.name = name
        self.points = np.asarray(points, dtype=float)
        self.rotation_dof = rotation_dof
        self.stiffness = sp.csc_matrix(stiffness)
        self.n_dof = self.stiffness.shape[0]
        self.fixed = np.unique(np.asarray(list(fixed), dtype=np.int64))
        all_rigid, self.centre, self.length = plane_rigid_motions(self.points, rotation_dof)
        self.rigid = self._free_motions(all_rigid)
        self.farthest = np.full(self.rigid.shape[1], FARTHEST_MM)
        self._factorise()
        self._index: dict[bytes, int] = {}
        self._columns: list[Column] = []
        self._rows = sp.csr_matrix((0, self._free.size))
        self._table = np.zeros((0, 0))
        self._motions = np.zeros((0, self.rigid.shape[1]))
        self._done = 0
        # Of a free meshed body: R / sqrt(N), orthonormal.
        self._modes = self.rigid / np.sqrt(len(self.points)) if (
            not rotation_dof and self.rigid.shape[1] == 3 and not self.fixed.size) else None

    def _free_motions(self, all_rigid: FloatArray) -> FloatArray:
        """Rigid motions that the fixed dofs do not prevent, as ``(n_dof, r)``."""
        if self.fixed.size == 0:
            return all_rigid
        basis = scipy.linalg.null_space(all_rigid[self.fixed], rcond=1e-10)
        return all_rigid @ basis

    def _factorise(self) -> None:
        # Pins that just prevent the remaining rigid motions: for a load in equilibrium their
        # reactions are zero, so the pinned solution is K^+ f up to a rigid motion.
        r = self.rigid.shape[1]
        pins = np.zeros(0, dtype=np.int64)
        if r:
            _, _, order = scipy.linalg.qr(self.rigid.T, pivoting=True, mode="economic")
            pins = np.asarray(order[:r], dtype=np.int64)
        held = np.union1d(self.fixed, pins)
        self._free = np.setdiff1d(np.arange(self.n_dof), held)
        inner = self.stiffness[self._free][:, self._free].tocsc()
        try:
            self._lu = spla.splu(inner, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0,
                                 options={"SymmetricMode": True})
        except RuntimeError as error:
            raise SolveError(
                f"the stiffness of '{self.name}' could not be factorised ({error}): "
                "a part of it is unsupported or has no stiffness") from error

    def solve(self, forces: FloatArray) -> FloatArray:
        """Displacements ``K^+ f``, shape as ``forces`` ``(n,)`` or ``(n, k)``, mm.

        For a floating body the result is meaningful only up to a rigid motion and for forces that
        are in equilibrium. Nodes of a meshed one do not move on the mean, and what forces lack of
        equilibrium all nodes bear alike: neither rests on where its mesh is pinned.
        """
        forces = self._without_mean(np.asarray(forces, dtype=float))
        out = np.zeros_like(forces)
        if forces.ndim == 1:
            out[self._free] = self._lu.solve(np.ascontiguousarray(forces[self._free]))
            return self._without_mean(out)
        for start in range(0, forces.shape[1], BLOCK):
            block = np.ascontiguousarray(forces[self._free, start:start + BLOCK])
            out[self._free, start:start + BLOCK] = self._lu.solve(block)
        return self._without_mean(out)

    def _without_mean(self, values: FloatArray) -> FloatArray:
        """Displacements of a free meshed body without their mean motion, or forces on it with a
        resultant that all nodes bear."""
        if self._modes is None:
            return values
        return values - self._modes @ (self._modes.T @ values)

    def keep_small(self, move: float, turn: float) -> None:
        """Limits of small displacements: beyond ``move`` [mm] or ``turn`` [rad] a solution is
        rejected, since forces act on the undeformed geometry. For a body without fixed dofs."""
        if self.rigid.shape[1] == 3 and not self.fixed.size:
            self.farthest = np.array([move, move, turn * self.length])

    def register(self, columns: Sequence[Column]) -> IntArray:
        """Numbers under which the columns' flexibilities are stored; equal columns share one."""
        ids = np.empty(len(columns), dtype=np.int64)
        for i, column in enumerate(columns):
            key = column.key
            number = self._index.get(key)
            if number is None:
                number = len(self._columns)
                self._index[key] = number
                self._columns.append(column)
            ids[i] = number
        return ids

    def matrix(self, ids: IntArray) -> sp.csr_matrix:
        """The columns as rows of a sparse matrix ``(len(ids), n_dof)``."""
        chosen = [self._columns[i] for i in ids]
        sizes = [c.dofs.size for c in chosen]
        indptr = np.concatenate([[0], np.cumsum(sizes)]).astype(np.int64)
        if not chosen:
            return sp.csr_matrix((0, self.n_dof))
        return sp.csr_matrix((np.concatenate([c.values for c in chosen]),
                              np.concatenate([c.dofs for c in chosen]), indptr),
                             shape=(len(chosen), self.n_dof))

    def flexibility(self, rows: IntArray, cols: IntArray) -> FloatArray:
        """``c_i^T K^+ c_j`` for registered columns, ``(len(rows), len(cols))`` in mm/N.

        Responses not yet known are solved in blocks; the displacement fields themselves are not
        kept, since symmetry gives every pair from the newer of its two columns.
        """
        self._extend()
        return self._table[np.ix_(rows, cols)]

    def motions(self, ids: IntArray) -> FloatArray:
        """Values of registered columns for the rigid motions, ``(len(ids), r)``."""
        self._extend()
        return self._motions[ids]

    def _extend(self) -> None:
        total, done = len(self._columns), self._done
        if total == done:
            return
        added = self.matrix(np.arange(done, total))
        self._rows = sp.vstack([self._rows, added[:, self._free]]).tocsr()
        self._motions = np.vstack([self._motions, added @ self.rigid])
        if total > len(self._table):
            # Space for twice as many: columns are added a few at a time, and the table is large.
            wider = np.zeros((2 * total, 2 * total) if done else (total, total))
            wider[:done, :done] = self._table[:done, :done]
            self._table = wider
        table, block = self._table[:total, :total], max(BLOCK, ENTRIES // self.n_dof)
        # As in `solve`, of the columns alone.
        modes = np.zeros((self._free.size, 0)) if self._modes is None else self._modes[self._free]
        on_modes = self._motions[:, :modes.shape[1]] / np.sqrt(len(self.points))
        for start in range(done, total, block):
            stop = min(start + block, total)
            given = self._rows[start:stop].toarray().T - modes @ on_modes[start:stop].T
            moved = self._lu.solve(np.ascontiguousarray(given))
            table[:, start:stop] = self._rows @ moved - on_modes @ (modes.T @ moved)
        table[done:, :done] = table[:done, done:].T
        new = table[done:, done:]
        table[done:, done:] = 0.5 * (new + new.T)
        self._done = total

    def forget(self, known: int) -> None:
        """Drop all responses after the first ``known``: what is registered next is then solved in
        the same blocks whatever came before, and so is the same to the last bit."""
        for column in self._columns[known:]:
            del self._index[column.key]
        del self._columns[known:]
        if self._done > known:
            self._rows, self._motions = self._rows[:known], self._motions[:known]
            self._done = known

    @cached_property
    def held(self) -> IntArray:
        """Degrees of freedom at which `solve` gives zero: fixed, or pinned for want of others."""
        return np.setdiff1d(np.arange(self.n_dof), self._free)

    @property
    def responses_known(self) -> int:
        """Number of unit responses for which this body has been solved."""
        return self._done
