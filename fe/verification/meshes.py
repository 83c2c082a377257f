"""Structured T6 meshes: lattices of quadrilaterals mapped to a shape and cut into triangles."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from scipy.spatial import cKDTree

from buttress.fe.arrays import FloatArray, IntArray

Map = Callable[[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]


@dataclass(frozen=True)
class Grid:
    """Points (n, 2), triangles (m, 6) counter-clockwise, named edges (k, 3), body on the left."""

    points: FloatArray
    triangles: IntArray
    edges: dict[str, IntArray] = field(default_factory=dict)


def mapped(nx: int, ny: int, shape: Map, *, falling: bool = False) -> Grid:
    """`nx` by `ny` quadrilaterals, each cut in two; `shape(s, t)` maps the unit square.

    The cut runs from (0, 0) to (1, 1) of a cell, with `falling` from (0, 1) to (1, 0).

    Mid-sides are mapped too, so they lie on curved edges. Edges are named after the unit square's:
    "bottom" (t = 0), "right" (s = 1), "top", "left". `shape` must keep the orientation.
    """
    columns, rows = 2 * nx + 1, 2 * ny + 1
    s, t = np.meshgrid(np.linspace(0, 1, columns), np.linspace(0, 1, rows))
    number = np.arange(columns * rows).reshape(rows, columns)
    steps = [(i, j) for i in range(3) for j in range(3)]
    cell = {(i, j): number[j:rows - 2 + j:2, i:columns - 2 + i:2].ravel() for i, j in steps}
    if falling:
        lower = [(0, 0), (2, 0), (0, 2), (1, 0), (1, 1), (0, 1)]
        upper = [(2, 0), (2, 2), (0, 2), (2, 1), (1, 2), (1, 1)]
    else:
        lower = [(0, 0), (2, 0), (2, 2), (1, 0), (2, 1), (1, 1)]
        upper = [(0, 0), (2, 2), (0, 2), (1, 1), (1, 2), (0, 1)]
    triangles = np.concatenate([np.stack([cell[k] for k in half], axis=1)
                                for half in (lower, upper)])
    sides = {"bottom": number[0], "right": number[:, -1], "top": number[-1, ::-1],
             "left": number[::-1, 0]}
    edges = {name: np.stack([side[:-2:2], side[1:-1:2], side[2::2]], axis=1)
             for name, side in sides.items()}
    return Grid(np.stack(shape(s.ravel(), t.ravel()), axis=1), triangles, edges)


def rectangle(nx: int, ny: int, width: float, height: float, left: float = 0.0,
              bottom: float = 0.0) -> Grid:
    """A rectangle from (left, bottom)."""
    return mapped(nx, ny, lambda s, t: (left + width * s, bottom + height * t))


def quarter_ring(around: int, across: int, inner: float, outer: float, *,
                 graded: bool = False) -> Grid:
    """Quarter ring about the origin: "bottom" y = 0, "top" x = 0, "left" inner, "right" outer.

    `graded` keeps the triangles' proportions: their size grows with the radius.
    """
    def shape(s: FloatArray, t: FloatArray) -> tuple[FloatArray, FloatArray]:
        radius = inner * (outer / inner) ** s if graded else inner + (outer - inner) * s
        return radius * np.cos(t * np.pi / 2), radius * np.sin(t * np.pi / 2)
    return mapped(across, around, shape)


def quarter_disc(n: int, radius: float) -> Grid:
    """Quarter disc with 2n edges along its arc ("right" up to 45 degrees, then "top")."""
    def shape(s: FloatArray, t: FloatArray) -> tuple[FloatArray, FloatArray]:
        # Transfinite: straight sides along the axes, arcs opposite; the cells' diagonals halve
        # the straight angle where the arcs meet.
        low, high = t * np.pi / 4, np.pi / 2 - s * np.pi / 4
        corner = np.sqrt(0.5)
        x = s * np.cos(low) + t * np.cos(high) + (1 - t) * s - s * (1 - t) - s * t * corner
        y = s * np.sin(low) + t * np.sin(high) + (1 - s) * t - t * (1 - s) - s * t * corner
        return radius * x, radius * y
    return mapped(n, n, shape)


def merge(*grids: Grid) -> Grid:
    """Grids glued where their points coincide; edges between two of them are dropped."""
    points = np.concatenate([g.points for g in grids])
    offset = np.concatenate([[0], np.cumsum([len(g.points) for g in grids])])
    pairs = cKDTree(points).query_pairs(1e-9 * np.ptp(points), output_type="ndarray")
    first = np.arange(len(points))
    np.minimum.at(first, pairs.max(axis=1), pairs.min(axis=1))
    kept, number = np.unique(first, return_inverse=True)
    sides: dict[str, list[IntArray]] = {}
    for grid, shift in zip(grids, offset[:-1], strict=True):
        for name, edge in grid.edges.items():
            sides.setdefault(name, []).append(number[edge + shift])
    middles = np.concatenate([e[:, 1] for parts in sides.values() for e in parts])
    once = np.bincount(middles, minlength=len(kept)) == 1
    edges = {name: np.concatenate(parts) for name, parts in sides.items()}
    return Grid(points[kept],
                np.concatenate([number[g.triangles + k]
                                for g, k in zip(grids, offset[:-1], strict=True)]),
                {name: edge[once[edge[:, 1]]] for name, edge in edges.items()})


def scattered(grid: Grid, amount: float, *, curved: bool = False, seed: int = 1) -> Grid:
    """The grid with its inner corners moved at random by up to `amount` mm each way.

    Mid-sides follow; `curved` moves the inner ones too, by a fifth of that. Needs straight edges.
    """
    rng = np.random.default_rng(seed)
    points = grid.points.copy()
    outer = np.unique(np.concatenate(list(grid.edges.values())))
    corners = np.setdiff1d(grid.triangles[:, :3], outer)
    points[corners] += rng.uniform(-amount, amount, (len(corners), 2))
    ends = grid.triangles[:, [1, 2, 0]]
    points[grid.triangles[:, 3:]] = (points[grid.triangles[:, :3]] + points[ends]) / 2
    if curved:
        middles = np.setdiff1d(grid.triangles[:, 3:], outer)
        points[middles] += rng.uniform(-amount / 5, amount / 5, (len(middles), 2))
    return Grid(points, grid.triangles, grid.edges)
