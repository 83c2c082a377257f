"""Checks of a joined plane figure before it is meshed; each refusal names the part."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry import LineString, Point, Polygon

from buttress.fe.arrays import FloatArray
from buttress.fe.errors import InputError
from buttress.fe.mesh.edges import Edge, Planar, empty_places

SHARPEST = 8.0  # degrees; sharper corners are refused. Elements at a corner are as sharp as it is
NEAR = 0.5  # of the element size: lines closer than this must meet
THIN = 0.25  # of the element size: a body that vanishes when shrunk by this is a sliver


def check_plan(planar: Planar, size: float) -> Planar:
    """Return the figure if it can be meshed at this size [mm], else raise InputError."""
    _check_overlap(planar.voids, "void", size)
    _check_overlap(planar.regions, "region", size)
    points, edges = planar.edges()
    _check_present(planar, edges)
    _check_dangling(points, edges)
    cells = _cells(planar, points, edges)
    _check_corners(points, edges, cells, size)
    _check_near(points, edges, size)
    _check_parted(points, edges, cells, size)
    _check_slivers(points, edges, cells, size)
    return planar


def key_of(edge: Edge) -> str:
    """The key by which a user knows the line of an edge."""
    if edge.kind == "outline":
        return "outline"
    return f"{'fracture' if edge.kind == 'cut' else edge.kind}.{edge.name}"


def _check_overlap(group: dict[str, FloatArray], kind: str, size: float) -> None:
    names = list(group)
    shapes = [Polygon(group[name]) for name in names]
    for i, first in enumerate(shapes):
        if not first.is_valid:
            raise InputError("it is too small for the element size", key=f"{kind}.{names[i]}",
                             expected="a larger part, or a smaller element size")
        for j in range(i):
            if first.intersection(shapes[j]).area > 1e-3 * size**2:
                raise InputError(f"it overlaps {kind}.{names[j]}", key=f"{kind}.{names[i]}",
                                 expected="parts that are separate or share a border")


def _check_present(planar: Planar, edges: list[Edge]) -> None:
    left = {e.name for e in edges if e.kind == "cut"}
    for name in planar.cuts:
        if name not in left:
            raise InputError("it does not divide the section: all of it lies on other lines or in "
                             "a void or region", key=f"fracture.{name}",
                             expected="a line farther than a tenth of an element from "
                          "every other")


def _check_dangling(points: FloatArray, edges: list[Edge]) -> None:
    degree = np.bincount([p for e in edges for p in (e.start, e.end)], minlength=len(points))
    for e in edges:
        for p in (e.start, e.end):
            if degree[p] != 1:
                continue
            rest = shapely.union_all([LineString(points[[f.start, f.end]])
                                      for f in edges if key_of(f) != key_of(e)])
            x, y = points[p]
            raise InputError(
                "it does not divide the section: an end lies inside", key=key_of(e),
                value=f"end ({x:.2f}, {y:.2f}), {rest.distance(Point(x, y)):.2f} mm from any line",
                expected="ends on the outline, on another fracture, on a void or beyond")


def _cells(planar: Planar, points: FloatArray, edges: list[Edge]) -> list[Polygon]:
    """The pieces of material that the edges enclose."""
    lines = [LineString(points[[e.start, e.end]]) for e in edges]
    cells = [p for p in shapely.get_parts(shapely.polygonize(lines)) if p.area > 0.0]
    empty = [Point(p) for p in empty_places(planar.voids, planar.regions)]
    section = Polygon(planar.outline)
    return [c for c in cells if section.contains(c.representative_point())
            and not any(c.contains(p) for p in empty)]


def _check_corners(points: FloatArray, edges: list[Edge], cells: list[Polygon],
                   size: float) -> None:
    spokes: dict[int, list[tuple[float, Edge]]] = {}
    for e in edges:
        dx, dy = points[e.end] - points[e.start]
        spokes.setdefault(e.start, []).append((float(np.arctan2(dy, dx)), e))
        spokes.setdefault(e.end, []).append((float(np.arctan2(-dy, -dx)), e))
    for node, around in sorted(spokes.items()):
        around.sort(key=lambda spoke: spoke[0])
        for j, (angle, e) in enumerate(around):
            after, other = around[(j + 1) % len(around)]
            opening = (after - angle) % (2.0 * np.pi)
            if opening >= np.radians(SHARPEST):
                continue
            short = min(float(np.hypot(*(points[f.end] - points[f.start]))) for f in (e, other))
            middle = angle + 0.5 * opening
            inside = points[node] + 0.1 * short * np.array([np.cos(middle), np.sin(middle)])
            if not any(c.contains(Point(inside)) for c in cells):
                continue  # an empty corner needs no elements
            first, second = sorted((e, other), key=edges.index)
            x, y = points[node]
            raise InputError(
                f"it forms a corner of {np.degrees(opening):.1f} degrees with {key_of(first)}",
                key=key_of(second), value=f"at ({x:.2f}, {y:.2f})",
                expected=f"at least {SHARPEST:.0f} degrees: a wider angle between the two lines"
                + _bent(points, first, second, node, size))


def _bent(points: FloatArray, first: Edge, second: Edge, node: int, size: float) -> str:
    """Where a cut that meets the outline at a small angle could turn to leave at a right one.

    Its tip beyond that place is thinner than an element.
    """
    if first.kind != "outline" or second.kind != "cut":
        return ""
    def away(e: Edge) -> FloatArray:
        return points[e.end if e.start == node else e.start] - points[node]

    side, cut = away(first), away(second)
    side, length = side / np.hypot(*side), float(np.hypot(*cut))
    across = cut / length - (cut / length @ side) * side
    thin = float(np.hypot(*across))
    if thin * length < 2.0 * size:
        return ""
    turn = points[node] + 1.5 * size / thin * cut / length
    out = turn - 3.0 * size * across / thin
    return (f", or an end that turns outward, as from ({turn[0]:.1f}, {turn[1]:.1f}) to "
            f"({out[0]:.1f}, {out[1]:.1f})")


def _check_near(points: FloatArray, edges: list[Edge], size: float) -> None:
    """Refuse lines that pass within half an element of each other without meeting."""
    lines: dict[str, list[Edge]] = {}
    for e in edges:
        lines.setdefault(key_of(e), []).append(e)
    sampled = {key: _samples(points, part, 0.25 * size) for key, part in lines.items()}
    nodes = {key: {p for e in part for p in (e.start, e.end)} for key, part in lines.items()}
    for key, places in sampled.items():
        for other, part in lines.items():
            if other == key:
                continue
            whole = shapely.union_all([LineString(points[[e.start, e.end]]) for e in part])
            distance = shapely.distance(shapely.points(places), whole)
            common = sorted(nodes[key] & nodes[other])
            from_joint = np.full(len(places), np.inf)
            for p in common:
                from_joint = np.minimum(from_joint, np.hypot(*(places - points[p]).T))
            # Near a common point lines are always close: by the sine of their angle of the length.
            apart = 0.96 * np.sin(np.radians(SHARPEST)) * from_joint
            near = (distance < NEAR * size) & (distance < apart)
            if near.any():
                x, y = places[near][int(distance[near].argmin())]
                first, second = sorted((key, other), key=list(lines).index)
                raise InputError(
                    f"it almost touches {first}", key=second,
                    value=f"{distance[near].min():.2f} mm apart at ({x:.2f}, {y:.2f})",
                    expected=f"lines that meet, or are at least {NEAR * size:.2f} mm apart")


def _samples(points: FloatArray, edges: list[Edge], step: float) -> FloatArray:
    out = []
    for e in edges:
        a, b = points[e.start], points[e.end]
        count = max(2, int(np.ceil(np.hypot(*(b - a)) / step)) + 1)
        out.append(a + np.linspace(0.0, 1.0, count)[:, None] * (b - a))
    return np.vstack(out)


def _check_parted(points: FloatArray, edges: list[Edge], cells: list[Polygon],
                  size: float) -> None:
    """Each edge of a cut must have two different pieces on its sides."""
    for e in edges:
        if e.kind != "cut":
            continue
        a, b = points[e.start], points[e.end]
        along = b - a
        length = float(np.hypot(*along))
        offset = 1e-3 * min(length, size) * np.array([-along[1], along[0]]) / length
        sides = [next((k for k, c in enumerate(cells) if c.contains(Point(p))), -1)
                 for p in (0.5 * (a + b) + offset, 0.5 * (a + b) - offset)]
        if sides[0] == sides[1]:
            x, y = 0.5 * (a + b)
            raise InputError("it does not divide the section: the same piece lies on both sides",
                             key=key_of(e), value=f"at ({x:.2f}, {y:.2f})",
                             expected="a line from border to border")


def _check_slivers(points: FloatArray, edges: list[Edge], cells: list[Polygon],
                   size: float) -> None:
    for cell in cells:
        if not cell.buffer(-THIN * size).is_empty:
            continue
        border = cell.exterior
        owners = [e for e in edges if e.kind != "outline" and border.distance(
            Point(*(0.5 * (points[e.start] + points[e.end])))) < 1e-6 * size]
        key = key_of(max(owners, key=lambda e: (e.kind == "cut", e.arc))) if owners else "outline"
        inner = cell.representative_point()
        raise InputError("it leaves a sliver too thin for the element size", key=key,
                         value=f"near ({inner.x:.2f}, {inner.y:.2f}), {cell.area:.2f} mm²",
                         expected=f"pieces at least {2 * THIN * size:.2f} mm thick")
