"""Constrained Delaunay triangulation with a graded element size, behind one function.

pythoncdt gives the triangulation of given points; their positions are determined here: along the
segments at the spacing of the size field, inside by splitting triangles that are too large,
followed by smoothing. Nothing is random, so the same input gives the same mesh.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

import numpy as np
import pythoncdt
from numpy.typing import ArrayLike, NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.errors import InputError, SolveError
from buttress.fe.mesh.sizing import Sizing, divide, sharpest_corners

SizeField = float | Callable[[FloatArray], FloatArray]

SMALLEST_ANGLE = 15.0  # degrees, required minimum; a quality limit by practice, no source
SMOOTHINGS = 10
ATTEMPTS = 10
FILL_ROUNDS = 80
MOST_POINTS = 1_000_000  # refuse a size in the wrong unit before memory runs out
EQUILATERAL = np.sqrt(3.0) / 4.0  # area of the equilateral triangle of unit side


class Triangulation(NamedTuple):
    """A triangulation that follows its segments.

    `points` (n, 2) mm, the input points first; `triangles` (m, 3) counter-clockwise;
    `edges` (k, 2) the pieces of the segments, in the direction of their segment and ordered along
    it; `segment` (k,) the segment that each piece belongs to.
    """

    points: FloatArray
    triangles: IntArray
    edges: IntArray
    segment: IntArray


def triangulate(points: ArrayLike, segments: ArrayLike, size: SizeField, *,
                holes: ArrayLike = ()) -> Triangulation:
    """Mesh the area enclosed by the segments with triangles of about the target size.

    points: (n, 2) mm, distinct; segments: (m, 2) point indices, that meet only at points;
    size: target edge length, mm, a number or a function of points (p, 2) giving (p,);
    holes: (h, 2) mm, one point inside each part that is left out.

    The size is reduced where segments are closer together than it, and grows from there. Raises
    SolveError, with the position, when an angle remains below 15 degrees (at a sharper corner of
    the input: below the angle of that corner) or when the segments cannot be followed.
    """
    given = np.ascontiguousarray(points, dtype=float).reshape(-1, 2)
    lines = np.ascontiguousarray(segments, dtype=np.int64).reshape(-1, 2)
    inside_holes = np.asarray(holes, dtype=float).reshape(-1, 2)
    corner_gate = np.minimum(SMALLEST_ANGLE, sharpest_corners(given, lines)) - 1e-6
    sizing = Sizing(given, lines, size)
    worst: tuple[float, FloatArray] = (-np.inf, np.zeros(2))
    for _ in range(ATTEMPTS):
        found = _attempt(given, lines, sizing, inside_holes)
        angle = angles(found.points, found.triangles).min(axis=1)
        # Only a triangle at a sharp corner of the input may be as sharp as that corner.
        gate = np.full(len(found.points), SMALLEST_ANGLE - 1e-6)
        gate[: len(given)] = corner_gate
        bad = angle < gate[found.triangles].min(axis=1)
        if not bad.any():
            return found
        k = int(np.where(bad, angle, np.inf).argmin())
        worst = max(worst, (float(angle[k]), found.points[found.triangles[k]].mean(axis=0)),
                    key=lambda seen: seen[0])
        # Finer elements around what is bad give the seeding another, easier, start.
        sizing.refine(found.points[found.triangles[bad]].mean(axis=1), 0.7)
    x, y = worst[1]
    raise SolveError(
        f"the mesh has an angle of {worst[0]:.1f} degrees near ({x:.2f}, {y:.2f}) mm, "
        f"at least {SMALLEST_ANGLE:.0f} needed; use a smaller element size or simpler lines there"
    )


def angles(points: FloatArray, triangles: IntArray) -> FloatArray:
    """Angles of straight triangles at their corners, degrees: points (n, 2), (m, 3) -> (m, 3)."""
    corner = points[triangles[:, :3]]
    towards = np.roll(corner, -1, axis=1) - corner
    back = np.roll(corner, 1, axis=1) - corner
    cross = towards[..., 0] * back[..., 1] - towards[..., 1] * back[..., 0]
    return np.degrees(np.arctan2(cross, np.einsum("mcx,mcx->mc", towards, back)))


def _attempt(given: FloatArray, lines: IntArray, sizing: Sizing,
             holes: FloatArray) -> Triangulation:
    points, edges, segment = divide(given, lines, sizing)
    fixed = len(points)
    for _ in range(FILL_ROUNDS):
        triangles, neighbours = _delaunay(points, edges, holes)
        new = _too_large(points, triangles, neighbours, sizing)
        if not len(new):
            break
        points = np.vstack([points, new])
        if len(points) > MOST_POINTS:
            raise InputError("the element size leads to too many elements", key="size",
                             expected=f"at most about {2 * MOST_POINTS:.0e} triangles")
    points, triangles = _smooth(points, fixed, edges, holes, sizing)
    return Triangulation(points, triangles, edges, segment)


def _delaunay(points: FloatArray, edges: IntArray, holes: FloatArray) -> tuple[IntArray, IntArray]:
    """Triangles (m, 3) inside the edges and outside the holes, and their neighbours (m, 3).

    Neighbour j lies across the side from corner j to corner j+1; -1 where there is none or where
    an edge of the input is in between.
    """
    mesher: Any = pythoncdt.Triangulation(
        pythoncdt.VertexInsertionOrder.AUTO, pythoncdt.IntersectingConstraintEdges.NOT_ALLOWED, 0.0)
    try:
        mesher.insert_vertices(np.ascontiguousarray(points))
        mesher.insert_edges(np.ascontiguousarray(edges, dtype=np.uint32))
        mesher.erase_outer_triangles()
    except RuntimeError as error:
        reason = str(error).splitlines()[0]
        raise SolveError(f"the lines cannot be triangulated: {reason}") from error
    records = mesher.triangles_array()
    triangles = records["vertices"].astype(np.int64)
    neighbours = records["neighbors"].astype(np.int64)
    if not len(triangles):
        raise SolveError("the lines cannot be triangulated: they enclose nothing")
    neighbours[neighbours >= len(triangles)] = -1
    n = len(points)
    sides = np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=-1)
    constrained = np.isin(_keys(sides, n), _keys(edges, n))
    neighbours[constrained] = -1
    if len(holes):
        keep = ~_in_holes(points, triangles, neighbours, holes)
        renumber = np.where(keep, np.cumsum(keep) - 1, -1)
        triangles, neighbours = triangles[keep], neighbours[keep]
        neighbours = np.where(neighbours >= 0, renumber[neighbours], -1)
    return triangles, neighbours


def _keys(pairs: IntArray, n: int) -> IntArray:
    return pairs.min(axis=-1) * n + pairs.max(axis=-1)


def _in_holes(points: FloatArray, triangles: IntArray, neighbours: IntArray,
              holes: FloatArray) -> NDArray[np.bool_]:
    row, side = np.nonzero(neighbours >= 0)
    m = len(triangles)
    graph = coo_matrix((np.ones(len(row)), (row, neighbours[row, side])), shape=(m, m))
    part = connected_components(graph, directed=False)[1]
    corner = points[triangles]
    taken = np.zeros(part.max() + 1, dtype=bool)
    for place in holes:
        towards = np.roll(corner, -1, axis=1) - corner
        cross = (towards[..., 0] * (place[1] - corner[..., 1])
                 - towards[..., 1] * (place[0] - corner[..., 0]))
        hit = int(cross.min(axis=1).argmax())
        if cross[hit].min() >= 0.0:
            taken[part[hit]] = True
    return taken[part]


def _area(points: FloatArray, triangles: IntArray) -> FloatArray:
    a, b, c = (points[triangles[:, j]] for j in range(3))
    return 0.5 * ((b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1])
                  - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0]))


def _too_large(points: FloatArray, triangles: IntArray, neighbours: IntArray,
               sizing: Sizing) -> FloatArray:
    """Centroids of triangles too large for the size field, no two of them neighbours."""
    centre = points[triangles].mean(axis=1)
    excess = _area(points, triangles) / (EQUILATERAL * sizing(centre) ** 2)
    beside = np.where(neighbours >= 0, excess[neighbours], 0.0)
    # Ties go to the lower index, so that equal neighbours do not both wait.
    first = (excess[:, None] > beside) | (
        (excess[:, None] == beside) & (np.arange(len(excess))[:, None] < neighbours))
    first |= neighbours < 0
    return centre[(excess > 1.65) & first.all(axis=1)]


def _smooth(points: FloatArray, fixed: int, edges: IntArray, holes: FloatArray, sizing: Sizing
            ) -> tuple[FloatArray, IntArray]:
    """Move interior points towards the weighted centroids of their triangles, re-triangulating."""
    n = len(points)
    triangles, _ = _delaunay(points, edges, holes)
    wanted = sizing(points)  # points move by less than their size: asked once
    for _ in range(SMOOTHINGS):
        area = _area(points, triangles)
        centre = points[triangles].mean(axis=1)
        weight = area / wanted[triangles].mean(axis=1) ** 3
        total = np.bincount(triangles.ravel(), np.repeat(weight, 3), n)
        moved = points.copy()
        for axis in (0, 1):
            pull = np.bincount(triangles.ravel(), np.repeat(weight * centre[:, axis], 3), n)
            moved[fixed:, axis] = pull[fixed:] / total[fixed:]
        # A move that turns a triangle over could carry its point across a segment: take it back.
        for _ in range(4):
            over = _area(moved, triangles) <= 0.05 * area
            if not over.any():
                break
            held = np.unique(triangles[over])
            moved[held] = points[held]
        else:
            moved = points
        points = moved
        triangles, _ = _delaunay(points, edges, holes)
    return points, triangles
