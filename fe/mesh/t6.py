"""A mesh of quadratic triangles of one body, with named edges and point location."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.errors import InputError
from buttress.fe.mesh.triangulate import angles

SIDES = np.array([[0, 1], [1, 2], [2, 0]])  # corners of the sides that mid-sides 3, 4, 5 lie on


@dataclass(frozen=True, eq=False)
class Mesh:
    """T6 mesh of one body.

    `points` (n, 2) mm; `triangles` (m, 6): corners 0, 1, 2 counter-clockwise, then the mid-sides
    of 0-1, 1-2, 2-0; `edges`: name -> (k, 3) start, middle and end point of each edge on the
    border, the body on the left. Every point belongs to a triangle, or InputError is raised.
    """

    name: str
    points: FloatArray
    triangles: IntArray
    edges: dict[str, IntArray]

    def __post_init__(self) -> None:
        used = np.zeros(len(self.points), dtype=bool)
        used[self.triangles] = True
        if not used.all():
            raise InputError(f"the mesh of {self.name} has loose points",
                             value=f"point {int((~used).argmax())} belongs to no triangle")
        area = corner_areas(self.points, self.triangles)
        if not (area > 0.0).all():
            raise InputError(f"the mesh of {self.name} has a clockwise or flat triangle",
                             value=f"triangle {int(area.argmin())}")

    @property
    def n_dof(self) -> int:
        """Number of unknowns: 2 per point, x at 2i and y at 2i + 1."""
        return 2 * len(self.points)

    @cached_property
    def size(self) -> float:
        """Median distance between neighbouring corners, mm."""
        corner = self.points[self.triangles[:, :3]]
        return float(np.median(np.linalg.norm(np.roll(corner, -1, axis=1) - corner, axis=2)))

    @cached_property
    def quality(self) -> float:
        """Smallest corner angle of any triangle, degrees."""
        return float(angles(self.points, self.triangles).min())

    @cached_property
    def area(self) -> float:
        """Area of the straight-sided triangles, mm²."""
        return float(corner_areas(self.points, self.triangles).sum())

    def locate(self, xy: ArrayLike) -> tuple[IntArray, FloatArray]:
        """Triangle (p,) and local coordinates (p, 2) of points xy (p, 2) mm.

        Local coordinates (r, s) are 1 at corner 1 and at corner 2. Triangle -1, and coordinates
        NaN, for a point outside by more than 1e-9 of the size. On a common side the triangle in
        which the point lies deepest is taken, in a tie the one of lower number. Sides count as
        straight.
        """
        places = np.asarray(xy, dtype=float).reshape(-1, 2)
        grid = self._grid
        element = np.full(len(places), -1, dtype=np.int64)
        local = np.full((len(places), 2), np.nan)
        cell = grid.cell_of(places)
        place, triangle = grid.candidates(cell)
        if not len(place):
            return element, local
        offset = places[place] - self.points[self.triangles[triangle, 0]]
        rs = np.einsum("kij,kj->ki", self._inverse[triangle], offset)
        depth = np.minimum(np.minimum(rs[:, 0], rs[:, 1]), 1.0 - rs.sum(axis=1))
        # Depth is relative to the height of the triangle, of the order of the size.
        order = np.lexsort((triangle, -np.round(depth, 12), place))
        first = np.unique(place[order], return_index=True)[1]
        chosen = order[first]
        chosen = chosen[depth[chosen] >= -1e-9]
        element[place[chosen]] = triangle[chosen]
        local[place[chosen]] = rs[chosen]
        return element, local

    @cached_property
    def _inverse(self) -> FloatArray:
        a, b, c = (self.points[self.triangles[:, j]] for j in range(3))
        return np.linalg.inv(np.stack([b - a, c - a], axis=2))

    @cached_property
    def _grid(self) -> _Grid:
        return _Grid.over(self.points[self.triangles[:, :3]], 1.5 * self.size)


class _Grid(NamedTuple):
    """Square cells with the triangles whose boxes overlap each (compressed rows)."""

    origin: FloatArray
    width: float
    shape: tuple[int, int]
    start: IntArray
    triangles: IntArray

    @classmethod
    def over(cls, corners: FloatArray, width: float) -> _Grid:
        low, high = corners.min(axis=1), corners.max(axis=1)
        pad = 1e-6 * width
        origin = low.min(axis=0) - pad
        extent = np.floor((high.max(axis=0) + pad - origin) / width).astype(int) + 1
        first = np.floor((low - pad - origin) / width).astype(int).clip(0)
        last = np.minimum(np.floor((high + pad - origin) / width).astype(int), extent - 1)
        span = last - first + 1
        count = span.prod(axis=1)
        owner = np.repeat(np.arange(len(corners)), count)
        step = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
        column = first[owner, 0] + step % span[owner, 0]
        row = first[owner, 1] + step // span[owner, 0]
        cell = row * extent[0] + column
        order = np.argsort(cell, kind="stable")
        start = np.searchsorted(cell[order], np.arange(extent[0] * extent[1] + 1))
        return cls(origin, width, (int(extent[0]), int(extent[1])), start, owner[order])

    def cell_of(self, places: FloatArray) -> IntArray:
        """Cell of each point, -1 off the grid (also for points that are not finite)."""
        scaled = (places - self.origin) / self.width
        inside: NDArray[np.bool_] = np.all((scaled >= 0.0) & (scaled < self.shape), axis=1)
        cell: IntArray = np.floor(np.where(inside[:, None], scaled, 0.0)).astype(np.int64)
        return np.where(inside, cell[:, 1] * self.shape[0] + cell[:, 0], -1)

    def candidates(self, cell: IntArray) -> tuple[IntArray, IntArray]:
        """Pairs (point, triangle) to be tried."""
        known = np.flatnonzero(cell >= 0)
        begin = self.start[cell[known]]
        count = self.start[cell[known] + 1] - begin
        place = np.repeat(known, count)
        step = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
        return place, self.triangles[np.repeat(begin, count) + step]


def corner_areas(points: FloatArray, triangles: IntArray) -> FloatArray:
    """Signed areas (m,) of the straight triangles, mm²: above zero if counter-clockwise."""
    a, b, c = (points[triangles[:, j]] for j in range(3))
    return 0.5 * ((b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1])
                  - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0]))


def with_midsides(points: FloatArray, corners: IntArray) -> tuple[FloatArray, IntArray]:
    """Add a point at the middle of every side: (n, 2), (m, 3) -> (n + sides, 2), (m, 6)."""
    sides = np.sort(corners[:, SIDES].reshape(-1, 2), axis=1)
    unique, which = np.unique(sides, axis=0, return_inverse=True)
    middle = 0.5 * (points[unique[:, 0]] + points[unique[:, 1]])
    return (np.vstack([points, middle]),
            np.hstack([corners, len(points) + which.reshape(-1, 3)]).astype(np.int64))


def border(triangles: IntArray) -> IntArray:
    """Edges (k, 3) start, middle, end that belong to one triangle only, the body on the left."""
    edges = np.stack([triangles[:, SIDES[:, 0]], triangles[:, 3:6], triangles[:, SIDES[:, 1]]],
                     axis=2).reshape(-1, 3)
    _, first, count = np.unique(edges[:, 1], return_index=True, return_counts=True)
    return edges[np.sort(first[count == 1])]
