"""Make lines share their points where they meet: crossings, ends on lines, near misses.

Lines are ranked by their order. Where two meet, the point is placed on the earlier line and the
later one follows, so that the first line (an outline) keeps its shape exactly.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from buttress.fe.arrays import FloatArray
from buttress.fe.errors import InputError

ROUNDS = 50


def node_lines(lines: list[FloatArray], closed: list[bool], snap: float
               ) -> tuple[FloatArray, list[list[int]], list[int]]:
    """Give lines (n, 2) common points wherever they cross, touch or pass within `snap` mm.

    Returns all points (p, 2), each line as point indices (a closed one without its first point
    repeated), and the indices of the first line's own vertices, which never move. Later lines are
    bent by at most about `snap`. Raises InputError if this does not converge.
    """
    work = _Noding(lines, closed, snap)
    for _ in range(ROUNDS):
        changed = work.merge()
        changed = work.touch() or changed
        changed = work.cross() or changed
        if not changed:
            return work.compact()
    raise InputError("the lines are too close together to determine where they meet",
                     expected="lines that are clearly separate or clearly cross")


class _Noding:
    def __init__(self, lines: list[FloatArray], closed: list[bool], snap: float) -> None:
        self.snap, self.closed = snap, closed
        self.points = np.vstack(lines)
        ends = np.cumsum([len(line) for line in lines])
        self.chains = [list(range(end - len(line), end))
                       for end, line in zip(ends, lines, strict=True)]
        self.own = len(lines[0])

    def rank(self) -> NDArray[np.int64]:
        """First line that uses each point; a large number if none does any more."""
        rank = np.full(len(self.points), len(self.chains), dtype=np.int64)
        for k in reversed(range(len(self.chains))):
            rank[self.chains[k]] = k
        return rank

    def sides(self, k: int) -> list[tuple[int, int]]:
        chain = self.chains[k]
        pairs = list(pairwise(chain))
        return [*pairs, (chain[-1], chain[0])] if self.closed[k] and len(chain) > 2 else pairs

    def merge(self) -> bool:
        """Points closer than snap become one; the one on the earlier line stays."""
        rank = self.rank()
        used = np.flatnonzero(rank < len(self.chains))
        order = used[np.lexsort((used, used >= self.own, rank[used]))]
        into: dict[int, int] = {}
        for j, q in enumerate(order.tolist()):
            if q < self.own:
                continue
            before = order[:j]
            near = np.hypot(*(self.points[before] - self.points[q]).T)
            for p in before[np.argsort(near, kind="stable")[: int((near < self.snap).sum())]]:
                if int(p) not in into:
                    into[q] = int(p)
                    break
        if into:
            self.chains = [[into.get(p, p) for p in chain] for chain in self.chains]
        return self._tidy() or bool(into)

    def _tidy(self) -> bool:
        """Drop repeats (a, a) and spikes (a, b, a) produced by snapping."""
        changed = False
        for k, chain in enumerate(self.chains):
            out: list[int] = []
            for p in chain:
                if out and out[-1] == p:
                    continue
                if len(out) > 1 and out[-2] == p:
                    out.pop()
                    continue
                out.append(p)
            while self.closed[k] and len(out) > 1 and out[0] == out[-1]:
                out.pop()
            while self.closed[k] and len(out) > 2 and out[1] == out[-1]:
                out = out[1:-1]
            changed |= out != chain
            self.chains[k] = out
        return changed

    def touch(self) -> bool:
        """Points closer than snap to a line become points of that line."""
        changed = False
        for k in range(len(self.chains)):
            rank = self.rank()
            own = set(self.chains[k])
            others = np.array([p for p in np.flatnonzero(rank < len(self.chains)).tolist()
                               if p not in own], dtype=np.int64)
            if not len(others):
                continue
            inserts: list[tuple[tuple[int, int], float, int]] = []
            closest = np.full(len(others), self.snap)
            chosen: dict[int, tuple[tuple[int, int], float, FloatArray]] = {}
            for side in self.sides(k):
                a, b = self.points[side[0]], self.points[side[1]]
                along = b - a
                t = (self.points[others] - a) @ along / float(along @ along)
                foot = a + t[:, None] * along
                distance = np.hypot(*(self.points[others] - foot).T)
                for j in np.flatnonzero((t > 0.0) & (t < 1.0) & (distance < closest)).tolist():
                    closest[j] = distance[j]
                    chosen[j] = (side, float(t[j]), foot[j])
            for j, (side, t_j, foot_j) in sorted(chosen.items()):
                p = int(others[j])
                if rank[p] > k:
                    self.points[p] = foot_j
                inserts.append((side, t_j, p))
            changed |= self._insert(k, inserts)
        return changed

    def cross(self) -> bool:
        """Lines that cross get a common point; `merge` then joins it to a nearby vertex."""
        inserts: dict[int, list[tuple[tuple[int, int], float, int]]] = {}
        for first in range(len(self.chains)):
            for second in range(first + 1, len(self.chains)):
                sides, others = self.sides(first), self.sides(second)
                for i, j, s, t in _crossings(self.points, sides, others):
                    a, b = (self.points[p] for p in sides[i])
                    place = a + s * (b - a)
                    node = len(self.points)
                    self.points = np.vstack([self.points, place])
                    inserts.setdefault(first, []).append((sides[i], s, node))
                    inserts.setdefault(second, []).append((others[j], t, node))
        for k, found in inserts.items():
            self._insert(k, found)
        return bool(inserts)

    def _insert(self, k: int, inserts: list[tuple[tuple[int, int], float, int]]) -> bool:
        by_side: dict[tuple[int, int], list[tuple[float, int]]] = {}
        for side, t, p in inserts:
            by_side.setdefault(side, []).append((t, p))
        out: list[int] = []
        for side in self.sides(k):
            out.append(side[0])
            out.extend(p for _, p in sorted(by_side.get(side, [])))
        if not self.closed[k] or len(self.chains[k]) < 3:
            out.append(self.chains[k][-1])
        changed = out != self.chains[k]
        self.chains[k] = out
        return changed

    def compact(self) -> tuple[FloatArray, list[list[int]], list[int]]:
        rank = self.rank()
        used = rank < len(self.chains)
        number = np.cumsum(used) - 1
        chains = [[int(number[p]) for p in chain] for chain in self.chains]
        return self.points[used], chains, [int(number[p]) for p in range(self.own)]


def _crossings(points: FloatArray, sides: list[tuple[int, int]], others: list[tuple[int, int]]
               ) -> list[tuple[int, int, float, float]]:
    """Pairs (i, j) of sides that properly cross, with the parameters (s, t) along each."""
    first, second = (np.array(x, dtype=np.int64).reshape(-1, 2) for x in (sides, others))
    a, c = points[first[:, 0]][:, None], points[second[:, 0]][None]
    u, v = points[first[:, 1]][:, None] - a, points[second[:, 1]][None] - c
    w = c - a
    det = u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0]
    slope = np.hypot(u[..., 0], u[..., 1]) * np.hypot(v[..., 0], v[..., 1])
    apart = np.abs(det) > 1e-14 * slope
    safe = np.where(apart, det, 1.0)
    s = (w[..., 0] * v[..., 1] - w[..., 1] * v[..., 0]) / safe
    t = (w[..., 0] * u[..., 1] - w[..., 1] * u[..., 0]) / safe
    joined = (first[:, None, :, None] == second[None, :, None, :]).any(axis=(2, 3))
    hit = apart & ~joined & (s > 0.0) & (s < 1.0) & (t > 0.0) & (t < 1.0)
    return [(i, j, float(s[i, j]), float(t[i, j])) for i, j in np.argwhere(hit).tolist()]
