"""Which edges of joined lines bound bodies, which line they belong to, and empty parts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import shapely
from shapely.geometry import Point, Polygon

from buttress.fe.arrays import FloatArray


class Edge(NamedTuple):
    """An edge between points `start` and `end`: its kind, name, and position on its line.

    `kind` is "outline", "region", "void" or "cut"; `arc` is the length along the line at its
    start, mm; the direction is that of the line.
    """

    start: int
    end: int
    kind: str
    name: str
    arc: float


@dataclass(frozen=True, eq=False)
class Planar:
    """What is to be meshed, checked; lines that meet share their points exactly.

    `outline` (n, 2) mm is a closed polygon, counter-clockwise, without its first point repeated;
    `labels` (n,) name the edge from outline[i] to outline[i + 1]. `cuts` are fracture lines (m, 2)
    whose ends lie on the outline, on another cut, or on a void or region. `voids` are polygons
    removed, `regions` polygons that become separate bodies; a region takes precedence over a void.
    """

    outline: FloatArray
    labels: tuple[str, ...]
    cuts: dict[str, FloatArray] = field(default_factory=dict)
    voids: dict[str, FloatArray] = field(default_factory=dict)
    regions: dict[str, FloatArray] = field(default_factory=dict)

    def edges(self) -> tuple[FloatArray, list[Edge]]:
        """Points (p, 2) and the edges that bound bodies, each once, with its name and position."""
        return arrange(self.outline, self.labels, self.cuts, self.voids, self.regions)


def arrange(outline: FloatArray, labels: tuple[str, ...], cuts: Mapping[str, FloatArray],
            voids: Mapping[str, FloatArray], regions: Mapping[str, FloatArray]
            ) -> tuple[FloatArray, list[Edge]]:
    """Points (p, 2) and edges that bound bodies. Lines must already share their points.

    An edge shared by several lines belongs to the outline, else to a region, a void, a cut. Cuts
    inside a void or region and void edges inside a region bound nothing and are omitted, as are
    edges without material on either side.
    """
    number: dict[tuple[float, float], int] = {}
    taken: dict[tuple[int, int], Edge] = {}
    reach = float(np.ptp(outline, axis=0).max())
    filled = [Polygon(p) for p in regions.values()]
    emptied = [Polygon(p) for p in voids.values()]
    groups: list[tuple[str, Mapping[str, FloatArray], list[Polygon]]] = [
        ("outline", {"": outline}, []), ("region", regions, []), ("void", voids, filled),
        ("cut", cuts, filled + emptied)]
    for kind, group, within in groups:
        for name, line in group.items():
            ids = [number.setdefault((float(x), float(y)), len(number)) for x, y in line]
            ring = [*ids, ids[0]] if kind != "cut" else ids
            xy = line if kind == "cut" else np.vstack([line, line[:1]])
            arc = np.append(0.0, np.cumsum(np.hypot(*np.diff(xy, axis=0).T)))
            for j, (a, b) in enumerate(pairwise(ring)):
                middle = Point(*(0.5 * (xy[j] + xy[j + 1])))
                if (min(a, b), max(a, b)) in taken or any(
                        strictly_within(middle, p, reach) for p in within):
                    continue
                called = labels[j] if kind == "outline" else name
                taken[min(a, b), max(a, b)] = Edge(a, b, kind, called, float(arc[j]))
    points = np.array(list(number), dtype=float)
    edges = _with_material(points, list(taken.values()), voids, regions)
    used = sorted({p for e in edges for p in (e.start, e.end)})
    renumber = {p: i for i, p in enumerate(used)}
    return points[used], [e._replace(start=renumber[e.start], end=renumber[e.end]) for e in edges]


def strictly_within(place: Point, polygon: Polygon, reach: float) -> bool:
    """Whether a point lies inside a polygon and not on its border, to rounding of `reach` mm."""
    return bool(polygon.contains(place)) and polygon.exterior.distance(place) > 1e-9 * reach


def _with_material(points: FloatArray, edges: list[Edge], voids: Mapping[str, FloatArray],
                   regions: Mapping[str, FloatArray]) -> list[Edge]:
    """Omit outline edges along a void: both their sides are empty."""
    if not voids:
        return edges
    on_void = {_pair(a, b) for polygon in voids.values() for a, b in _ring(polygon)}
    on_region = {_pair(a, b) for polygon in regions.values() for a, b in _ring(polygon)}
    return [e for e in edges
            if e.kind != "outline"
            or (key := _pair(tuple(points[e.start].tolist()), tuple(points[e.end].tolist())))
            not in on_void or key in on_region]


def _ring(polygon: FloatArray) -> list[tuple[tuple[float, ...], tuple[float, ...]]]:
    corners = [tuple(p) for p in polygon.tolist()]
    return list(zip(corners, [*corners[1:], corners[0]], strict=True))


def _pair(a: tuple[float, ...], b: tuple[float, ...]
          ) -> tuple[tuple[float, ...], tuple[float, ...]]:
    return (a, b) if a < b else (b, a)


def empty_places(voids: Mapping[str, FloatArray],
                 regions: Mapping[str, FloatArray]) -> list[tuple[float, float]]:
    """One point inside each empty part: voids less the regions that fill them."""
    filled = shapely.union_all([Polygon(p) for p in regions.values()])
    places = []
    for polygon in voids.values():
        void = Polygon(polygon)
        for part in shapely.get_parts(void.difference(filled)):
            if part.geom_type == "Polygon" and part.area > 1e-9 * void.area:
                inner = part.representative_point()
                places.append((inner.x, inner.y))
    return places
