"""Mesh a checked plane figure as a whole, divide it into bodies, and match their faces."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from shapely.geometry import Polygon

from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.errors import InputError
from buttress.fe.mesh.edges import Edge, Planar, empty_places
from buttress.fe.mesh.t6 import SIDES, Mesh, border, corner_areas, with_midsides
from buttress.fe.mesh.triangulate import SizeField, Triangulation, triangulate


@dataclass(frozen=True, eq=False)
class Interface:
    """Matched faces of two bodies along a cut or the border of a region.

    `name` is that of the cut or region; `body_a`, `body_b` index the list of meshes. The k points
    `nodes_a` and `nodes_b` lie at the same places, ordered along the line. `normal` (k, 2) unit,
    from a to b, the length-weighted mean where the line bends; `weight` (k,) mm, the integral of
    the edge shape functions, 1/6, 4/6, 1/6 of each edge; `position` (k,) mm, the length along the
    whole line; `edges_a`, `edges_b` (e, 3) start, middle, end, each with its own body on the left.
    """

    name: str
    body_a: int
    body_b: int
    nodes_a: IntArray
    nodes_b: IntArray
    normal: FloatArray
    weight: FloatArray
    position: FloatArray
    edges_a: IntArray
    edges_b: IntArray

    @property
    def length(self) -> float:
        """Length of the face, mm."""
        return float(self.weight.sum())


def mesh_bodies(planar: Planar, size: SizeField,
                bodies: Mapping[str, tuple[float, float]] | None = None
                ) -> tuple[list[Mesh], list[Interface]]:
    """Mesh the whole figure and divide it along its cuts and regions.

    size: element edge length, mm, a number or a function of points (p, 2) giving (p,);
    bodies: name -> a point (x, y) mm inside the body. Regions keep their own name, other bodies
    without a name are "body 1", "body 2", ... Bodies are in the order of `bodies`, then by
    decreasing area, then regions in their order. A point where bodies meet is a point of each.

    Raises InputError for a point in no body or a second name for a body, SolveError for a mesh
    below the required quality.
    """
    places, edges = planar.edges()
    mesh = triangulate(places, np.array([[e.start, e.end] for e in edges]), size,
                       holes=empty_places(planar.voids, planar.regions))
    part = _parts(mesh)
    order, names = _names(planar, mesh, part, dict(bodies or {}))
    points, triangles = with_midsides(mesh.points, mesh.triangles)
    body = np.argsort(order)[part]
    owners = _owners(mesh, triangles, edges)
    meshes, local = [], []
    for k, name in enumerate(names):
        mine = triangles[body == k]
        used, renumbered = np.unique(mine, return_inverse=True)
        number = np.full(len(points), -1, dtype=np.int64)
        number[used] = np.arange(len(used))
        rim = border(mine)
        meshes.append(Mesh(name, points[used], renumbered.reshape(-1, 6),
                           _named_edges(rim, owners, edges, number)))
        local.append((rim, number))
    return meshes, _interfaces(points, local, owners, edges)


def _parts(mesh: Triangulation) -> IntArray:
    """Number the groups of triangles that are joined without crossing a line."""
    n, m = len(mesh.points), len(mesh.triangles)
    sides = np.sort(mesh.triangles[:, SIDES].reshape(-1, 2), axis=1)
    key = sides[:, 0] * n + sides[:, 1]
    lines = np.sort(mesh.edges, axis=1)
    open_side = ~np.isin(key, lines[:, 0] * n + lines[:, 1])
    owner = np.repeat(np.arange(m), 3)[open_side]
    order = np.argsort(key[open_side], kind="stable")
    pair = owner[order].reshape(-1, 2)  # an open side has exactly two triangles
    graph = coo_matrix((np.ones(len(pair)), (pair[:, 0], pair[:, 1])), shape=(m, m))
    return connected_components(graph, directed=False)[1].astype(np.int64)


def _names(planar: Planar, mesh: Triangulation, part: IntArray,
           bodies: dict[str, tuple[float, float]]) -> tuple[IntArray, list[str]]:
    """Order of the parts and their names."""
    area = np.bincount(part, corner_areas(mesh.points, mesh.triangles))
    whole = Mesh("section", *with_midsides(mesh.points, mesh.triangles), {})
    named: dict[int, str] = {}
    for name, place in bodies.items():
        found = int(whole.locate(np.array([place]))[0][0])
        if found < 0:
            raise InputError("the point lies in no body", key=f"bodies.{name}", value=str(place),
                             expected="a point inside the section, mm")
        if int(part[found]) in named:
            raise InputError(f"the point lies in the body already named "
                             f"{named[int(part[found])]}", key=f"bodies.{name}",
                             value=str(place), expected="one name for each body")
        named[int(part[found])] = name
    last: dict[int, str] = {}
    for name, polygon in planar.regions.items():
        inside = _inside(polygon)
        found = int(part[int(whole.locate(inside[None])[0][0])])
        if found not in named:
            last[found] = name
    middle = [k for k in np.lexsort((np.arange(len(area)), -np.round(area, 9))).tolist()
              if k not in named and k not in last]
    taken = {*named.values(), *last.values()}
    free = (f"body {i}" for i in range(1, len(area) + len(taken) + 1) if f"body {i}" not in taken)
    names = [*named.values(), *(next(free) for _ in middle), *last.values()]
    return np.array([*named, *middle, *last], dtype=np.int64), names


def _inside(polygon: FloatArray) -> FloatArray:
    place = Polygon(polygon).representative_point()
    return np.array([place.x, place.y])


def _owners(mesh: Triangulation, triangles: IntArray, edges: list[Edge]
            ) -> dict[int, tuple[int, int, float]]:
    """Mid-side point -> (line edge, place among the pieces, length along the line at its start)."""
    n = len(mesh.points)
    sides = np.sort(triangles[:, SIDES].reshape(-1, 2), axis=1)
    key, first = np.unique(sides[:, 0] * n + sides[:, 1], return_index=True)
    pieces = np.sort(mesh.edges, axis=1)
    middle = triangles[:, 3:6].ravel()[first[np.searchsorted(key, pieces[:, 0] * n + pieces[:, 1])]]
    out = {}
    for j, (mid, k) in enumerate(zip(middle.tolist(), mesh.segment.tolist(), strict=True)):
        # The points of the line edges come first in the mesh, under the same numbers.
        along = mesh.points[mesh.edges[j, 0]] - mesh.points[edges[k].start]
        out[mid] = (k, j, edges[k].arc + float(np.hypot(*along)))
    return out


def _named_edges(rim: IntArray, owners: dict[int, tuple[int, int, float]], edges: list[Edge],
                 number: IntArray) -> dict[str, IntArray]:
    """Border edges of one body by name, ordered along their lines, in the body's own numbers."""
    rows: dict[str, list[tuple[int, int]]] = {}
    for i, mid in enumerate(rim[:, 1].tolist()):
        k, j, _ = owners[mid]
        rows.setdefault(edges[k].name, []).append((j, i))
    return {name: number[rim[[i for _, i in sorted(found)]]] for name, found in rows.items()}


def _interfaces(points: FloatArray, local: list[tuple[IntArray, IntArray]],
                owners: dict[int, tuple[int, int, float]], edges: list[Edge]) -> list[Interface]:
    sides: dict[int, list[tuple[int, IntArray]]] = {}
    for body, (rim, _) in enumerate(local):
        for row in rim:
            sides.setdefault(int(row[1]), []).append((body, row))
    faces: dict[tuple[str, int, int], list[tuple[int, int]]] = {}
    for mid, both in sides.items():
        if len(both) == 2:
            k, j, _ = owners[mid]
            faces.setdefault((edges[k].name, both[0][0], both[1][0]), []).append((j, mid))
    rank = {e.name: k for k, e in reversed(list(enumerate(edges)))}
    out = []
    for name, a, b in sorted(faces, key=lambda f: (rank[f[0]], f[1], f[2])):
        mids = [mid for _, mid in sorted(faces[name, a, b])]
        edge_a = np.array([sides[mid][0][1] for mid in mids])
        edge_b = np.array([sides[mid][1][1] for mid in mids])
        out.append(_face(points, name, (a, b), (edge_a, edge_b),
                         (local[a][1], local[b][1]), [owners[mid] for mid in mids], edges))
    return out


def _face(points: FloatArray, name: str, pair: tuple[int, int],
          sides: tuple[IntArray, IntArray], numbers: tuple[IntArray, IntArray],
          owner: list[tuple[int, int, float]], edges: list[Edge]) -> Interface:
    edge_a, edge_b = sides
    along = points[edge_a[:, 2]] - points[edge_a[:, 0]]
    length = np.hypot(along[:, 0], along[:, 1])
    outward = np.stack([along[:, 1], -along[:, 0]], axis=1)  # times length; the body is on the left
    position: dict[int, float] = {}
    for row, (k, _, arc), long in zip(edge_a, owner, length.tolist(), strict=True):
        # The line may run against the edge of body a.
        line = points[edges[k].end] - points[edges[k].start]
        forward = float(line @ (points[row[2]] - points[row[0]])) > 0.0
        ends = row if forward else row[::-1]
        for p, part in zip(ends.tolist(), (0.0, 0.5, 1.0), strict=True):
            position.setdefault(p, arc + part * long)
    nodes = sorted(position, key=lambda p: (position[p], p))
    index = {p: i for i, p in enumerate(nodes)}
    where = np.array([[index[p] for p in row] for row in edge_a.tolist()])
    weight, normal = np.zeros(len(nodes)), np.zeros((len(nodes), 2))
    for corner, share in zip(range(3), (1.0 / 6.0, 4.0 / 6.0, 1.0 / 6.0), strict=True):
        np.add.at(weight, where[:, corner], share * length)
        np.add.at(normal, where[:, corner], outward)
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    number_a, number_b = numbers
    return Interface(name, *pair, number_a[nodes], number_b[nodes], normal, weight,
                     np.array([position[p] for p in nodes]), number_a[edge_a], number_b[edge_b])
