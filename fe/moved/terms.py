"""What each moved body adds to the condensed problem: its flexibility, its kinks and what its own
forces have done to its shape, as links, loads and measures see them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.bodies.member import kinked
from buttress.fe.links.placed import Pushing
from buttress.fe.moved.pushes import Pushes
from buttress.fe.moved.shape import Config, Shape
from buttress.fe.moved.vectors import cross, turned


@dataclass(frozen=True)
class Joined:
    """The links where they are: legs (a link, a spot, a weight each) and what is apart.

    ``direction (n, 2)`` of each link's force; ``at (legs, 2)``: where it acts; ``apart (n,)`` [mm].
    """

    link: IntArray
    spot: IntArray
    weight: FloatArray
    lever: FloatArray
    at: FloatArray
    direction: FloatArray
    apart: FloatArray


@dataclass(frozen=True)
class _Columns:
    """A body's columns: those of its links (``pushing``), their flexibilities ``table
    (c, c)`` [mm/N], ``load (p, c)`` and ``read (k, c)`` of loads and measures."""

    pushing: Pushing
    table: FloatArray
    load: sp.csr_matrix
    read: sp.csr_matrix


class Terms:
    """Tables of the condensed problem in a configuration; those of flexibilities once `fill` is
    called.

    Of ``n`` links, ``p`` loads, ``k`` measures and ``h`` hinges: ``flexibility (n, n)``,
    ``load_deformation (n, p)``, ``load_flexibility (p, p)``, ``measure_links (k, n)`` and
    ``measure_loads (k, p)`` [mm/N]; ``kinks (n, h)``, ``load_kinks (h, p)``, ``measure_kinks
    (k, h)``, of kinks times the length of their body; ``in_shape (h,)`` the kinks that the shapes
    have [mm]; ``apart (n,)`` and ``load_base (p,)`` what links and loads are apart [mm].
    ``parts``, ``bent`` and ``forces`` have one entry for each body, the last two None for those
    that are meshed.
    """

    def __init__(self, pushes: Pushes, config: Config, joined: Joined) -> None:
        self.pushes, self.config, self.joined = pushes, config, joined
        self.layout = pushes.layout
        problem = self.layout.problem
        n, h = problem.n, problem.kinks.shape[1]
        loads, measures = len(problem.loads), len(problem.measure_names)
        self.flexibility = np.zeros((n, n))
        self.load_deformation, self.load_flexibility = np.zeros((n, loads)), np.zeros((loads,) * 2)
        self.measure_links = np.zeros((measures, n))
        self.measure_loads = np.zeros((measures, loads))
        self.kinks, self.load_kinks = np.zeros((n, h)), np.zeros((h, loads))
        self.measure_kinks, self.in_shape = np.zeros((measures, h)), np.zeros(h)
        self.apart, self.load_base = joined.apart.copy(), config.pushed.copy()
        self.bent: list[FloatArray | None] = []
        self.forces: list[FloatArray | None] = []
        self._body = self.layout.body[joined.spot]
        self._toward = joined.direction[joined.link]
        self.parts: list[_Columns] = []
        for number in range(len(problem.bodies)):
            self._add(number)

    def _add(self, number: int) -> None:
        """Add a body, without its flexibility."""
        own = np.flatnonzero(self._body == number)
        if self.layout.member[number]:
            shape = self.config.shapes[number]
            self._bend(number, shape, own)
            part = self._of_member(number, shape, own)
            self.apart[part.pushing.links] -= part.pushing.rows @ shape.bent
        else:
            self.bent.append(None)
            self.forces.append(None)
            part = self._of_piece(number, own)
        self.parts.append(part)

    def moved_by(self, force: FloatArray, load: FloatArray) -> FloatArray:
        """What forces of the links ``(n,)`` and loads ``(p,)`` move the links ``(n,)`` [mm] by the
        flexibilities of all bodies, which need not be filled in."""
        out = np.zeros(force.size)
        for c in self.parts:
            out[c.pushing.links] += c.pushing.rows @ (
                c.table @ (c.load.T @ load - c.pushing.columns(force)))
        return out

    def fill(self) -> None:
        """Enter the flexibilities of all bodies."""
        for part in self.parts:
            self._flex(part)

    def _of_member(self, number: int, shape: Shape, own: IntArray) -> _Columns:
        """Columns of a member are all motions of its nodes."""
        node = self.layout.node[self.joined.spot[own]]
        values = np.column_stack([self._toward[own], self._moments(shape.points[node], own)])
        links, at, values = self._legs(own, values)
        columns = 3 * node[:, None] + np.arange(3)
        rows = sp.csr_matrix((values.ravel(), (at.ravel(), columns.ravel())),
                             shape=(links.size, 3 * len(shape.points)))
        return _Columns(Pushing(links, rows), shape.flexibility, *self.pushes.on_member(number))

    def _of_piece(self, number: int, own: IntArray) -> _Columns:
        """Columns of a meshed body are those of its spots, in its own frame."""
        lay, spot = self.layout, self.joined.spot[own]
        back = turned(-self.config.angle[self._body[own]], self._toward[own])
        values = np.einsum("kij,kj->ki", lay.span[spot], back)
        table, load, read = self.pushes.on_piece(number, self.config.angle[number])
        links, at, values = self._legs(own, values)
        rows = sp.csr_matrix((values.ravel(), (at.ravel(), lay.table[spot].ravel())),
                             shape=(links.size, len(table)))
        return _Columns(Pushing(links, rows, self.pushes.nodal[number]), table, load, read)

    def _moments(self, about: FloatArray, own: IntArray) -> FloatArray:
        """Moments of the forces of legs ``own`` about points of their body [mm], of the shape of
        both."""
        j = self.joined
        return cross(j.at[own] - about, self._toward[own]) + j.lever[own]

    def _legs(self, own: IntArray, values: FloatArray) -> tuple[IntArray, IntArray, FloatArray]:
        """The links of legs ``own``, in order, and of each value of a leg which of them it belongs
        to, and the value with the leg's weight."""
        links, at = np.unique(self.joined.link[own], return_inverse=True)
        return (links, np.broadcast_to(at[:, None], values.shape),
                values * self.joined.weight[own][:, None])

    def _bend(self, number: int, shape: Shape, own: IntArray) -> None:
        """The shape of a member, the kinks in it, and what its loads have moved so far."""
        lay = self.layout
        load, read = self.pushes.on_member(number)
        start = lay.problem.bodies[number].points
        moved = np.column_stack([shape.points - start, shape.angle]).ravel()
        self.bent.append(moved)
        self.forces.append(shape.forces)
        mine = np.flatnonzero(lay.hinges == number)
        self.in_shape[mine] = shape.kinks * lay.length[number]
        nodes, node = lay.hinge_node[mine], lay.node[self.joined.spot[own]][:, None]
        # A kink moves the links on one side of it.
        moment = self._moments(shape.points[nodes], own[:, None]) * (node < nodes)
        np.add.at(self.kinks, (self.joined.link[own][:, None], mine),
                  self.joined.weight[own][:, None] * moment / lay.length[number])
        if mine.size and (load.nnz or read.nnz):
            field = kinked(shape.points, nodes) / lay.length[number]
            self.load_kinks[mine] = (load @ field).T
            self.measure_kinks[:, mine] += read @ field
        # Dead loads on members: exactly what their nodes have moved, less what is elastic.
        self.load_base += load @ (moved - shape.bent)

    def _flex(self, c: _Columns) -> None:
        """What links, loads and measures move by the flexibility of a body."""
        links, rows = c.pushing.links, c.pushing.rows
        first = rows @ c.table
        self.flexibility[np.ix_(links, links)] += (rows @ first.T).T
        if c.load.nnz:
            self.load_deformation[links] += (c.load @ first.T).T
            self.load_flexibility += c.load @ (c.load @ c.table).T
        if c.read.nnz:
            self.measure_links[:, links] += c.read @ first.T
            if c.load.nnz:
                self.measure_loads += c.read @ (c.load @ c.table).T
