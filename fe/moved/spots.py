"""The material points that links, loads and measures take hold of, whatever way they are turned.

A column of a body is a functional of its displacements along a fixed direction. Once the body has
turned, the same force acts along another direction of the body's own frame. So every end of a link
is taken apart into a *spot* (nodes with shares, or a node of a member with an arm) and a direction;
two columns of a spot span all directions, and the flexibilities between them are found once
(`F = sum D Phi D^T`: nothing is factorised anew when the body moves).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.bodies.body import Column
from buttress.fe.bodies.member import Member
from buttress.fe.links.condense import Condensed
from buttress.fe.links.link import End, Link
from buttress.fe.moved.patches import Patches
from buttress.fe.moved.vectors import cross, left_of

NONE = -1
SAME = 1e-9
"""Share of a column by which it may differ from nodes with shares along one direction."""


class CannotMove(Exception):
    """A problem whose links or bodies cannot be moved; says which."""


@dataclass
class Spots:
    """Material points of all bodies; what is said of a spot is in the same place of each list.

    ``node`` is that of a member, and `NONE` in a continuum; ``arm`` [mm] leads from it to the
    point. ``table`` numbers the two columns of a continuum's spot among the body's own, and ``span
    (2, 2)`` gives their coefficients for a vector in the body's frame.
    """

    body: list[int] = field(default_factory=list)
    node: list[int] = field(default_factory=list)
    point: list[FloatArray] = field(default_factory=list)
    arm: list[FloatArray] = field(default_factory=list)
    table: list[IntArray] = field(default_factory=list)
    span: list[FloatArray] = field(default_factory=list)

    def add(self, body: int, point: FloatArray, node: int = NONE,
            arm: FloatArray | tuple[float, float] = (0.0, 0.0)) -> int:
        """Add the spot of a body at a point [mm], of a member by its node and arm; its number."""
        self.body.append(body)
        self.node.append(node)
        self.point.append(np.asarray(point, dtype=float))
        self.arm.append(np.asarray(arm, dtype=float))
        self.table.append(np.zeros(2, dtype=np.int64))
        self.span.append(np.zeros((2, 2)))
        return len(self.body) - 1


class Layout:
    """A condensed problem taken apart: its spots, and which of them each link joins.

    ``a``, ``b (n,)`` are the spots of the links' ends, `NONE` on the ground; ``along (n, 2)``
    their directions in the problem as it was built, ``lever (n, 2)`` the columns of ends that
    turn with a member (locked heads). Raises `CannotMove` for ends that are neither.
    """

    def __init__(self, problem: Condensed) -> None:
        self.problem = problem
        self.number = {id(b): i for i, b in enumerate(problem.bodies)}
        for body in problem.bodies:
            free = body.rigid.shape[1]
            if free not in (0, 3) or (isinstance(body, Member) and free != 3):
                raise CannotMove(f"'{body.name}' is held in some directions only")
        self.member = np.array([isinstance(b, Member) for b in problem.bodies], dtype=bool)
        self.free = np.array([b.rigid.shape[1] == 3 for b in problem.bodies], dtype=bool)
        self.length = np.array([b.length for b in problem.bodies])
        self.centre = np.array([b.centre for b in problem.bodies])
        links, n = problem.links.links, problem.n
        self.spots, self._known = Spots(), dict[Any, int]()
        self.columns: list[list[Column]] = [[] for _ in problem.bodies]
        self.a, self.b = np.full(n, NONE), np.full(n, NONE)
        self.along, self.lever = np.zeros((n, 2)), np.zeros((n, 2))
        self.ground = np.zeros((n, 2))
        wanted: dict[int, list[tuple[FloatArray, Column]]] = {}
        for i, link in enumerate(links):
            self.along[i] = _direction(link)
            spots = [self._spot(link, self.along[i], end, wanted) for end in (link.a, link.b)]
            self.a[i], self.b[i] = spots
            for k, end in enumerate((link.a, link.b)):
                if not self.along[i].any() and end.column is not None:
                    self.lever[i, k] = end.column.values[0]
            if NONE in spots:
                other = max(spots)
                self.ground[i] = self.spots.point[other] if other != NONE else 0.0
        self._span(wanted)
        s = self.spots
        self.body, self.node = np.array(s.body), np.array(s.node)
        self.point, self.arm = np.array(s.point).reshape(-1, 2), np.array(s.arm).reshape(-1, 2)
        self.table, self.span = np.array(s.table).reshape(-1, 2), np.array(s.span).reshape(-1, 2, 2)
        self.patches = Patches(self.body, self.point, [
            (link.source, spot) for i, link in enumerate(links)
            for spot in (int(self.a[i]), int(self.b[i]))
            if spot != NONE and not self.member[self.body[spot]]])
        self.apart = self._relative()
        self.start = np.einsum("ij,ij->i", self.along, self.apart)
        self.hinges = np.array([self.number[id(h.member)] for h in problem.links.hinges],
                               dtype=np.int64)
        self.hinge_node = np.array([h.node for h in problem.links.hinges], dtype=np.int64)

    def _relative(self) -> FloatArray:
        """From the b end of each link to its a end, as built ``(n, 2)`` [mm]."""
        point = np.vstack([self.point, np.zeros((1, 2))])
        a = np.where((self.a == NONE)[:, None], self.ground, point[self.a])
        b = np.where((self.b == NONE)[:, None], self.ground, point[self.b])
        return np.asarray(a - b)

    def _spot(self, link: Link, d: FloatArray, end: End,
              wanted: dict[int, list[tuple[FloatArray, Column]]]) -> int:
        body, column = end.body, end.column
        if body is None or column is None:
            return NONE
        number = self.number[id(body)]
        if isinstance(body, Member):
            return self._on_member(number, body, column, link, d)
        nodes = column.dofs // 2
        used, where = np.unique(nodes, return_inverse=True)
        v = np.zeros((used.size, 2))
        v[where, column.dofs % 2] = column.values
        share = v @ d
        whole = float(share.sum())
        if np.abs(v - share[:, None] * d).max() > SAME or abs(whole - 1.0) > 1e-6:
            raise CannotMove(f"a link of {link.source} ({link.kind}) has no direction")
        key = number, used.tobytes(), np.round(share, 12).tobytes()
        if key not in self._known:
            self._known[key] = self.spots.add(number, share @ body.points[used] / whole)
        spot = self._known[key]
        wanted.setdefault(spot, []).append((d, column))
        return spot

    def _on_member(self, number: int, body: Member, column: Column, link: Link,
                   d: FloatArray) -> int:
        node, axis = divmod(int(column.dofs[0]), 3)
        v = np.zeros(3)
        if not d.any():
            if axis != 2 or column.dofs.size != 1:
                raise CannotMove(f"a link of {link.source} ({link.kind}) has no direction")
            return self.spots.add(number, body.points[node], node)
        v[column.dofs - 3 * node] = column.values
        if np.abs(v[:2] - d).max() > SAME:
            raise CannotMove(f"a link of {link.source} ({link.kind}) has another direction")
        # The column gives the arm across the direction, the link's place that along it.
        place = np.array(link.place)
        ahead = 0.0 if np.isnan(place).any() else float((place - body.points[node]) @ d)
        arm = ahead * d - v[2] * left_of(d)
        return self.spots.add(number, body.points[node] + arm, node, arm)

    def _span(self, wanted: dict[int, list[tuple[FloatArray, Column]]]) -> None:
        """Two columns of each spot of a continuum: those of its links, or one turned."""
        for spot, given in wanted.items():
            (d, first), mine = given[0], self.columns[self.spots.body[spot]]
            other = next(((e, c) for e, c in given if abs(float(cross(d, e))) > 0.5), None)
            if other is None:
                v = self.turned(first)
                other = np.array([-d[1], d[0]]), v
            self.spots.table[spot] = np.array([len(mine), len(mine) + 1])
            mine += [first, other[1]]
            self.spots.span[spot] = np.linalg.inv(np.stack([d, other[0]], axis=1))

    @staticmethod
    def turned(column: Column) -> Column:
        """The column turned by a right angle, counter-clockwise."""
        node, axis = np.divmod(column.dofs, 2)
        return Column.of(2 * node + 1 - axis, np.where(axis == 0, column.values, -column.values))


def _direction(link: Link) -> FloatArray:
    """The direction of a link's force as built; that of its columns where the link names none."""
    found = np.array(link.direction, dtype=float)
    for end in (link.a, link.b):
        if found.any() or end.body is None or end.column is None:
            continue
        step = 3 if end.body.rotation_dof else 2
        for axis in (0, 1):
            found[axis] = end.column.values[end.column.dofs % step == axis].sum()
    return found
