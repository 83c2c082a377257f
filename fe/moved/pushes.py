"""Loads and measures of bodies that have moved: columns fixed in space, turned into their frames.

A load keeps its direction and its line in space: on a body that has turned, each of its forces
acts on the same node along a turned direction, and its moment is that of the fixed line. A measure
is a functional of displacements in space.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import scipy.sparse as sp

from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.bodies.body import Body, Column
from buttress.fe.moved.shape import Config
from buttress.fe.moved.spots import Layout
from buttress.fe.moved.vectors import cross, left_of, turned


class Pushes:
    """The loads ``(p,)`` and measures ``(k,)`` of a layout, body by body."""

    def __init__(self, layout: Layout) -> None:
        self.layout, p = layout, layout.problem
        self.loads = [_by_body(p.loads, b) for b in p.bodies]
        self.reads = [_by_body(p.measure_parts, b) for b in p.bodies]
        self.tables: list[FloatArray] = []
        self.nodal: list[sp.csr_matrix | None] = []
        self._start: list[tuple[int, int]] = []
        for i, body in enumerate(p.bodies):
            columns = [] if layout.member[i] else list(layout.columns[i])
            self._start.append((len(columns), len(columns) + 2 * len(self.loads[i])))
            for _, column in (*self.loads[i], *self.reads[i]) if not layout.member[i] else ():
                columns += [column, layout.turned(column)]
            if layout.member[i]:
                self.tables.append(np.zeros((0, 0)))
                self.nodal.append(None)
            else:
                ids = body.register(columns)
                self.tables.append(body.flexibility(ids, ids))
                self.nodal.append(body.matrix(ids))
        counts = len(p.loads), len(p.measure_names)
        self._spread = [
            () if layout.member[i] else tuple(
                _Spread(group, start, (count, len(self.tables[i]))) for group, start, count in zip(
                    (self.loads[i], self.reads[i]), self._start[i], counts, strict=True))
            for i in range(len(p.bodies))]
        self._load_rows = [column_matrix(g, b.n_dof) for g, b in zip(self.loads, p.bodies,
                                                                     strict=True)]
        self._read_rows = [column_matrix(g, b.n_dof) for g, b in zip(self.reads, p.bodies,
                                                                     strict=True)]
        self._summed = [
            (_summed(load, rows, len(p.loads)), _summed(read, more, len(p.measure_names)))
            for load, rows, read, more in zip(self.loads, self._load_rows, self.reads,
                                              self._read_rows, strict=True)]
        # Of all unit loads on each meshed body, about its centre as built.
        self.force = np.zeros((len(p.bodies), len(p.loads), 2))
        self.moment = np.zeros((len(p.bodies), len(p.loads)))
        for i in np.flatnonzero(~layout.member).tolist():
            arm = p.bodies[i].points - layout.centre[i]
            for (case, _), row in zip(self.loads[i], self._load_rows[i], strict=True):
                v = row.toarray().reshape(-1, 2)
                self.force[i, case] += v.sum(axis=0)
                self.moment[i, case] += cross(arm, v).sum()

    def on_member(self, number: int) -> tuple[sp.csr_matrix, sp.csr_matrix]:
        """Loads ``(p, n_dof)`` and measures ``(k, n_dof)`` on the nodes of a member."""
        return self._summed[number]

    def on_piece(self, number: int, angle: float
                 ) -> tuple[FloatArray, sp.csr_matrix, sp.csr_matrix]:
        """Flexibilities of a meshed body's columns [mm/N], its loads and measures among them."""
        load, read = (x.at(angle) for x in self._spread[number])
        return self.tables[number], load, read

    def rigid(self, config: Config, middle: FloatArray, modes: IntArray,
              bent: Sequence[FloatArray | None]) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Loads on the rigid motions ``(m, p)``, measures of them ``(k, m)``, and measures of the
        poses and shapes ``(k,)`` [mm]."""
        lay, p = self.layout, self.layout.problem
        m = p.rigid.shape[1]
        load, read = np.zeros((m, len(p.loads))), np.zeros((len(p.measure_names), m))
        measured = np.zeros(len(p.measure_names))
        for i, body in enumerate(p.bodies):
            if lay.free[i] and self.loads[i]:
                at = slice(modes[i], modes[i] + 3)
                if lay.member[i]:
                    shape = config.shapes[i]
                    rows = self.on_member(i)[0]
                    load[at] = (rows @ _modes(shape.points, middle[i], lay.length[i], 3)).T
                else:
                    load[at] = self.unit(config, i, middle[i]).T / [[1.0], [1.0], [lay.length[i]]]
            if not self.reads[i]:
                continue
            rows = self._summed[i][1]
            if lay.member[i]:
                now, step = config.shapes[i].points, 3
                moved = bent[i]
            else:
                arm = body.points - lay.centre[i]
                now, step = config.centre[i] + turned(np.full(len(arm), config.angle[i]), arm), 2
                moved = (now - body.points).ravel()
            measured += rows @ moved
            if lay.free[i]:
                read[:, modes[i]:modes[i] + 3] = rows @ _modes(now, middle[i], lay.length[i], step)
        return load, read, measured

    def unit(self, config: Config, number: int, about: FloatArray) -> FloatArray:
        """Force and moment about a point of all unit loads on a meshed body ``(p, 3)``, on lines
        fixed in space."""
        force = self.force[number]
        moment = self.moment[number] + cross(self.layout.centre[number] - about, force)
        return np.column_stack([force, moment])


def _modes(points: FloatArray, centre: FloatArray, length: float, step: int) -> FloatArray:
    out = np.zeros((len(points), step, 3))
    out[:, 0, 0] = out[:, 1, 1] = 1.0
    out[:, :2, 2] = left_of(points - centre) / length
    if step == 3:
        out[:, 2, 2] = 1.0 / length
    return out.reshape(-1, 3)


def _by_body(groups: Sequence[Sequence[tuple[Body, Column]]], body: Body
             ) -> list[tuple[int, Column]]:
    return [(i, column) for i, items in enumerate(groups) for owner, column in items
            if owner is body]


def _summed(group: list[tuple[int, Column]], rows: sp.csr_matrix, count: int) -> sp.csr_matrix:
    """Rows of columns added up by the load case or measure that they belong to."""
    which = np.array([i for i, _ in group], dtype=np.int64)
    gather = sp.csr_matrix((np.ones(which.size), (which, np.arange(which.size))),
                           shape=(count, which.size))
    return sp.csr_matrix(gather @ rows)


class _Spread:
    """A body's columns in space as combinations of its own, straight and turned by turns: of the
    load cases or measures that they belong to, for any angle."""

    def __init__(self, group: list[tuple[int, Column]], start: int, shape: tuple[int, int]) -> None:
        which = np.repeat(np.array([i for i, _ in group], dtype=np.int64), 2)
        # Numbers of the entries, to see where each has gone.
        entries = np.arange(1.0, which.size + 1.0)
        self._made = sp.csr_matrix((entries, (which, start + np.arange(which.size))), shape=shape)
        self._odd = self._made.data.astype(np.int64) % 2 == 0

    def at(self, angle: float) -> sp.csr_matrix:
        """The combinations once the body has turned by an angle [rad]."""
        made = self._made
        return sp.csr_matrix((np.where(self._odd, -np.sin(angle), np.cos(angle)), made.indices,
                              made.indptr), shape=made.shape)


def column_matrix(group: list[tuple[int, Column]], size: int) -> sp.csr_matrix:
    """Columns as rows of a sparse matrix ``(k, size)``."""
    columns = [c for _, c in group]
    if not columns:
        return sp.csr_matrix((0, size))
    start = np.concatenate([[0], np.cumsum([c.dofs.size for c in columns])]).astype(np.int64)
    return sp.csr_matrix((np.concatenate([c.values for c in columns]),
                          np.concatenate([c.dofs for c in columns]), start),
                         shape=(len(columns), size))
