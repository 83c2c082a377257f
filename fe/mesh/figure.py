"""The plane figure that is to be meshed: an outline, cuts, voids and regions, checked and joined.

`plan` makes all lines share their points and refuses, naming the part, lines that cannot be meshed
or do not divide the section. Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import shapely
import shapely.ops
from numpy.typing import ArrayLike
from shapely.geometry import LineString, Point, Polygon
from shapely.validation import explain_validity

from buttress.fe.arrays import FloatArray
from buttress.fe.errors import InputError
from buttress.fe.mesh.checks import NEAR, check_plan
from buttress.fe.mesh.edges import Planar
from buttress.fe.mesh.noding import node_lines

SNAP = 0.1  # of the element size: closer lines and ends are joined
SHAPE_ERROR = 0.01  # mm, vertices of the outline that change it by less may be dropped
_WORD = {"cut": "fracture", "void": "void", "region": "region"}  # as in a user's keys


def plan(outline: ArrayLike, labels: Sequence[str], cuts: Mapping[str, ArrayLike],
         voids: Mapping[str, ArrayLike] | None = None,
         regions: Mapping[str, ArrayLike] | None = None, *, size: float) -> Planar:
    """Check a section and its cuts, join lines that meet, and return what is to be meshed.

    outline (n, 2) mm with one label per edge, in either direction; cuts: name -> (m, 2); voids and
    regions: name -> (k, 2) polygons; size: the smallest element size wanted, mm. Cuts, voids and
    regions are clipped to the section; points nearer than 0.1 size to a line are put on it, ends of
    cuts nearer than 0.5 size (an end that overshoots a line by so little is cut off there);
    vertices that shape the outline by less than 0.01 mm are dropped.

    Raises InputError with a key such as "fracture.NAME", "void.NAME", "region.NAME" or "outline"
    for lines that are not finite, cross themselves, do not divide the section, almost touch, leave
    a sliver or form a corner below `checks.SHARPEST`.
    """
    if not (np.isfinite(size) and size > 0.0):
        raise InputError("invalid element size", key="size", value=str(size),
                         expected="a length above 0 mm")
    _check_names(labels, {"fracture": cuts, "void": voids or {}, "region": regions or {}})
    border, names = _outline(outline, labels, min(SHAPE_ERROR, 0.006 * size))
    section = Polygon(border)
    snap = SNAP * size
    lines: list[FloatArray] = [border]
    keys: list[tuple[str, str]] = [("outline", "")]
    for kind, group in (("void", voids or {}), ("region", regions or {})):
        for name, polygon in group.items():
            lines.append(_polygon(polygon, section, snap, f"{kind}.{name}"))
            keys.append((kind, name))
    for name, cut in cuts.items():
        lines.append(_cut(cut, section, snap, f"fracture.{name}"))
        keys.append(("cut", name))
    _join_ends(lines, keys, snap, NEAR * size)
    points, chains, own = node_lines(lines, [kind != "cut" for kind, _ in keys], snap)
    return check_plan(_planar(points, chains, own, names, keys), size)


def _check_names(labels: Sequence[str], groups: Mapping[str, Mapping[str, ArrayLike]]) -> None:
    owner = {str(label): "an edge of the outline" for label in labels}
    for kind, group in groups.items():
        for name in group:
            if name in owner:
                raise InputError(f"the name is already used for {owner[name]}",
                                 key=f"{kind}.{name}", expected="names that differ")
            owner[name] = f"a {kind}"


def _join_ends(lines: list[FloatArray], keys: list[tuple[str, str]], snap: float, reach: float
               ) -> None:
    """Put ends of cuts that miss another line by `reach` mm or less on it, in place.

    So near to each other lines must meet, and an end that lies free divides nothing.
    """
    drawn = [LineString(line if kind == "cut" else np.vstack([line, line[:1]]))
             for line, (kind, _) in zip(lines, keys, strict=True)]
    empty = [Polygon(line) for line, (kind, _) in zip(lines, keys, strict=True) if kind == "void"]
    for k, (kind, _) in enumerate(keys):
        if kind != "cut":
            continue
        others = shapely.union_all([line for i, line in enumerate(drawn) if i != k])
        for turn in (1, -1):
            line = lines[k][::turn]
            end = Point(line[-1])
            if not snap < others.distance(end) <= reach or any(v.contains(end) for v in empty):
                continue
            path = LineString(line)
            met = [path.project(Point(xy))
                   for xy in shapely.get_coordinates(path.intersection(others))]
            last = max(met, default=0.0)
            if last > 0.0 and path.length - last <= 2.0 * reach:
                place = path.interpolate(last)
                kept = line[[path.project(Point(p)) < last - snap for p in line]]
            else:
                place, kept = _goes_on(line, drawn[0], others, 2.0 * reach), line[:-1]
            if len(kept):
                lines[k] = np.vstack([kept, [[place.x, place.y]]])[::turn]
                drawn[k] = LineString(lines[k])


def _goes_on(line: FloatArray, outline: LineString, others: shapely.Geometry, longest: float
             ) -> Point:
    """Where a line that ends short of others goes on to meet them.

    Straight on to another fracture or a void, where it meets one soon; else, and on the outline,
    the nearest place.
    """
    end = Point(line[-1])
    near = shapely.ops.nearest_points(others, end)[0]
    if outline.distance(near) > 1e-9:
        along = (line[-1] - line[-2]) / np.hypot(*(line[-1] - line[-2]))
        on = LineString([line[-1], line[-1] + longest * along]).intersection(others)
        met = [Point(xy) for xy in shapely.get_coordinates(on)]
        return min(met, key=end.distance, default=near)
    return near


def _planar(points: FloatArray, chains: list[list[int]], own: list[int], names: tuple[str, ...],
            keys: list[tuple[str, str]]) -> Planar:
    label_of = dict(zip(own, names, strict=True))
    labels: list[str] = []
    for p in chains[0]:
        labels.append(label_of.get(p, labels[-1] if labels else names[-1]))
    parts: dict[str, dict[str, FloatArray]] = {"cut": {}, "void": {}, "region": {}}
    for (kind, name), chain in list(zip(keys, chains, strict=True))[1:]:
        if len(chain) < (2 if kind == "cut" else 3):
            raise InputError("it is too small for the element size", key=f"{_WORD[kind]}.{name}",
                             expected="a larger part, or a smaller element size")
        if len(set(chain)) < len(chain):
            raise InputError("the line returns to itself within a tenth of an element",
                             key=f"{_WORD[kind]}.{name}", expected="a line without a loop")
        parts[kind][name] = points[chain]
    return Planar(
        outline=points[chains[0]], labels=tuple(labels), cuts=parts["cut"], voids=parts["void"],
        regions=parts["region"])


def _coordinates(values: ArrayLike, least: int, key: str) -> FloatArray:
    """Finite (n, 2) coordinates without consecutive repeats, at least `least` of them."""
    try:
        xy = np.array(values, dtype=float)
    except (TypeError, ValueError) as error:
        raise InputError("the coordinates cannot be read", key=key,
                         expected="a list of pairs (x, y) in mm") from error
    if xy.ndim != 2 or xy.shape[1] != 2:
        raise InputError("the coordinates have the wrong shape", key=key, value=str(xy.shape),
                         expected="a list of pairs (x, y) in mm")
    if not np.isfinite(xy).all():
        raise InputError("a coordinate is not a finite number", key=key,
                         value=str(xy[~np.isfinite(xy).all(axis=1)][0].tolist()))
    keep = np.ones(len(xy), dtype=bool)
    keep[1:] = (np.diff(xy, axis=0) != 0.0).any(axis=1)
    xy = xy[keep]
    if len(xy) < least:
        raise InputError("too few distinct points", key=key, value=str(len(xy)),
                         expected=f"at least {least}")
    return xy


def _check_simple(polygon: Polygon, key: str) -> None:
    if not polygon.is_valid:
        raise InputError("the polygon crosses or touches itself", key=key,
                         value=explain_validity(polygon))
    if polygon.area == 0.0:
        raise InputError("the polygon has no area", key=key)


def _outline(values: ArrayLike, labels: Sequence[str],
             tolerance: float) -> tuple[FloatArray, tuple[str, ...]]:
    given = _coordinates(values, 3, "outline")
    if len(given) > 1 and (given[0] == given[-1]).all():
        given = given[:-1]
    if len(labels) != len(given):
        raise InputError("the outline needs one label per edge, no point twice", key="outline",
                         value=f"{len(labels)} labels, {len(given)} points",
                         expected=f"{len(given)} labels")
    if len(given) < 3:
        raise InputError("too few distinct points", key="outline", expected="at least 3")
    polygon = Polygon(given)
    _check_simple(polygon, "outline")
    names = [str(label) for label in labels]
    if not polygon.exterior.is_ccw:
        given, names = given[::-1], [*names[-2::-1], names[-1]]
    return _simplified(given, names, tolerance)


def _simplified(xy: FloatArray, names: list[str],
                tolerance: float) -> tuple[FloatArray, tuple[str, ...]]:
    """Drop vertices that change the outline by less than the tolerance, never at a label change."""
    n = len(xy)
    turn = [i for i in range(n) if names[i] != names[i - 1]] or [0]
    # Two far ends at least, or a closed stretch would collapse onto its start.
    if len(turn) == 1:
        far = int(np.hypot(*(xy - xy[turn[0]]).T).argmax())
        turn = sorted([*turn, far])
    keep: list[FloatArray] = []
    labels: list[str] = []
    for start, end in zip(turn, [*turn[1:], turn[0] + n], strict=True):
        stretch = np.take(xy, range(start, end + 1), axis=0, mode="wrap")
        line = np.array(LineString(stretch).simplify(tolerance, preserve_topology=False).coords)
        keep.append(line[:-1])
        labels.extend([names[start % n]] * (len(line) - 1))
    simple = np.vstack(keep)
    if not Polygon(simple).is_valid:
        return xy, tuple(names)
    return simple, tuple(labels)


def _polygon(values: ArrayLike, section: Polygon, snap: float, key: str) -> FloatArray:
    xy = _coordinates(values, 3, key)
    if (xy[0] == xy[-1]).all():
        xy = xy[:-1]
    if len(xy) < 3:
        raise InputError("too few distinct points", key=key, expected="at least 3")
    polygon = Polygon(xy)
    _check_simple(polygon, key)
    inside = polygon if section.covers(polygon) else section.intersection(polygon)
    pieces = [p for p in shapely.get_parts(inside) if p.geom_type == "Polygon" and p.area > snap**2]
    if len(pieces) != 1:
        what = "lies outside the section" if not pieces else "meets the section in several pieces"
        raise InputError(f"it {what}", key=key, expected="one polygon within the outline")
    return np.array(shapely.geometry.polygon.orient(pieces[0]).exterior.coords)[:-1]


def _cut(values: ArrayLike, section: Polygon, snap: float, key: str) -> FloatArray:
    xy = _coordinates(values, 2, key)
    line = LineString(xy)
    if not line.is_simple or line.is_closed:
        raise InputError("the line crosses or touches itself, or is closed", key=key,
                         expected="an open line that does not meet itself; for an enclosed piece, "
                                  "two lines that meet at their ends")
    inside = line if section.covers(line) else section.intersection(line)
    pieces = [p for p in shapely.get_parts(inside)
              if p.geom_type == "LineString" and p.length > snap]
    if not pieces:
        left, low, right, high = section.bounds
        raise InputError("it does not divide the section: it lies outside", key=key,
                         expected=f"a line through the bone: x from {left:.1f} to {right:.1f}, y "
                                  f"from {low:.1f} to {high:.1f}, inside its outline")
    if len(pieces) > 1:
        x, y = pieces[0].coords[-1]
        raise InputError("it leaves the section and re-enters it", key=key,
                         value=f"leaves at ({x:.2f}, {y:.2f})",
                         expected="one segment inside the section: a line that ends there, or two "
                                  "lines")
    return np.array(pieces[0].coords)
