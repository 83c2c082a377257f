"""Positions of pieces, voids and fills in the section, as plane figures: checks without a mesh."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike
from shapely import LineString, Point, Polygon
from shapely.geometry.polygon import orient

from buttress.bone.joining import joined
from buttress.bone.section import Section
from buttress.fe.arrays import FloatArray
from buttress.fe.errors import InputError
from buttress.fe.mesh.edges import Planar
from buttress.study.study import Fill, Fragment, Study

JOINED = 1e-6  # mm by which a block may protrude from its void: rounding
ADJOINS = 1.0  # mm of common border that make two figures neighbours
FACES = 0.5  # upward part of the normal (its cosine) from which a border counts as a top or bottom


@dataclass(frozen=True, eq=False)
class Layout:
    """Pieces separated by the fractures, and the voids between them; polygons in mm.

    `pieces` holds the named fragments, then the others as "piece 1", ...; `shaft` is the piece
    at the clamp, `joint` the joint surface.
    """

    bone: Polygon
    pieces: dict[str, Polygon]
    shaft: Polygon
    voids: dict[str, Polygon]
    joint: LineString

    @property
    def articular(self) -> dict[str, Polygon]:
        """Pieces other than the shaft that carry joint surface."""
        return {n: p for n, p in self.pieces.items()
                if p.buffer(JOINED).intersection(self.joint).length > ADJOINS}

    def below(self, points: FloatArray) -> FloatArray:
        """Depth of points (n, 2) below the plateaus, mm.

        What stands above the line from rim to rim, as the eminence does, does not count.
        """
        line = np.array(self.joint.coords)
        surface = np.minimum(np.interp(points[:, 0], line[:, 0], line[:, 1]),
                             np.interp(points[:, 0], line[[0, -1], 0], line[[0, -1], 1]))
        return np.asarray(surface - points[:, 1])

    def slope(self, direction: FloatArray) -> float:
        """Angle in degrees, 0 to 90, between a direction (2,) and the joint line."""
        along = np.subtract(self.joint.coords[-1], self.joint.coords[0])
        turn = along[0] * direction[1] - along[1] * direction[0]
        return math.degrees(math.atan2(abs(turn), abs(float(along @ direction))))

    @property
    def alone(self) -> dict[str, Polygon]:
        """Pieces that touch neither the shaft nor another piece: voids surround them."""
        every = [*self.pieces.values(), self.shaft]
        return {n: p for n, p in self.pieces.items()
                if all(p.boundary.intersection(q.buffer(0.01)).length < ADJOINS
                       for q in every if q is not p)}

    def inward(self, name: str) -> FloatArray:
        """Unit normals ``(k, 2)`` into a piece of its edges along other pieces."""
        ring = np.array(orient(self.pieces[name]).exterior.coords)
        others = shapely.union_all([p for n, p in (*self.pieces.items(), ("", self.shaft))
                                    if n != name])
        step, middle = np.diff(ring, axis=0), 0.5 * (ring[:-1] + ring[1:])
        on = shapely.distance(shapely.points(middle), others) < JOINED
        # The inside lies to the left of each edge.
        return np.column_stack([-step[:, 1], step[:, 0]])[on] / np.hypot(*step[on].T)[:, None]

    def above(self, void: str) -> dict[str, Polygon]:
        """Articular pieces above a void: their underside is its upper border."""
        roof, _ = ends(self.voids[void])
        return {n: p for n, p in self.articular.items()
                if p.buffer(0.01).intersection(roof).length > ADJOINS}


def layout(study: Study, section: Section) -> Layout:
    """The pieces of a study, divided as by the mesher.

    Raises InputError where the lines cannot be meshed, or where a fragment's point lies outside
    the bone, in a void, in the shaft, or in a piece that has a name already.
    """
    planar = planned(study)
    points, edges = planar.edges()
    bone = Polygon(planar.outline)
    voids = {name: Polygon(ring) for name, ring in planar.voids.items()}
    empty = shapely.union_all(list(voids.values()))
    cells = shapely.polygonize([LineString(points[[e.start, e.end]]) for e in edges])
    found = [p for p in shapely.get_parts(cells) if bone.contains(p.representative_point())
             and not empty.contains(p.representative_point())]
    held = min(found, key=lambda p: float(p.bounds[1]))
    names: dict[int, str] = {}
    for fragment in study.fragments:
        k = _piece_of(fragment, section, voids, found)
        point = "[{:g}, {:g}]".format(*fragment.inside_mm)
        if found[k] is held:
            raise InputError("the fragment's point lies in the shaft, which is fixed at the clamp",
                             key=f"fragment.{fragment.name}.inside_mm", value=point,
                             expected="a point beyond a fracture that divides the bone")
        if k in names:
            raise InputError(f'two names for one fragment: this piece is called "{names[k]}"',
                             key=f"fragment.{fragment.name}.inside_mm", value=point,
                             expected="one point in each piece; a fracture must separate the two")
        names[k] = fragment.name
    others = [p for k, p in enumerate(found) if k not in names and p is not held]
    pieces = {name: found[k] for k, name in names.items()}
    pieces |= {f"piece {i}": p for i, p in enumerate(others, start=1)}
    return Layout(
        bone=bone, pieces=pieces, shaft=held, voids=voids,
        joint=LineString(section.shape.joint_line()))


def _piece_of(fragment: Fragment, section: Section, voids: dict[str, Polygon],
              pieces: list[Polygon]) -> int:
    """Number of the piece that contains a fragment's point."""
    key = f"fragment.{fragment.name}.inside_mm"
    point, shown = Point(fragment.inside_mm), "[{:g}, {:g}]".format(*fragment.inside_mm)
    for name, void in voids.items():
        if void.intersects(point):
            raise InputError(f'the fragment\'s point lies in the void "{name}"', key=key,
                             value=shown, expected="a point in bone")
    for k, piece in enumerate(pieces):
        if piece.contains(point):
            return k
    if Polygon(section.outline()[0]).contains(point):
        raise InputError("the fragment's point lies on a fracture", key=key, value=shown,
                         expected="a point inside the piece")
    raise InputError("the fragment's point lies outside the bone", key=key, value=shown,
                     expected=_where(section, fragment.inside_mm[1]))


def _where(section: Section, y: float) -> str:
    """The extent of the bone at a height, in words."""
    height = section.given.height_mm
    top = float(section.shape.joint_line()[:, 1].max())
    if not -height < y < top:
        return f"a height between {-height:g} and {top:g}"
    low, high = (float(np.interp(-y, -wall[:, 1], wall[:, 0])) for wall in section.shape.walls())
    return (f"x between {low:.1f} and {high:.1f} at that height "
            f"({section.given.sides[0]} is negative)")


def planned(study: Study, blocks: Mapping[str, FloatArray] | None = None) -> Planar:
    """The lines of a study, and blocks in its voids, joined and checked as the mesher does.

    Raises InputError for lines or polygons that overlap, leave a sliver or do not divide the bone.
    """
    return joined(study, {v.name: np.array(v.points_mm) for v in study.voids}, blocks or {})


def ends(figure: Polygon) -> tuple[shapely.Geometry, shapely.Geometry]:
    """The upper and the lower border of a figure: its edges that face up and down.

    Where there are none, as at a pointed end, the highest or lowest corner.
    """
    ring = np.array(orient(figure).exterior.coords)
    step = np.diff(ring, axis=0)
    # Upward part of the outward normal: the inside lies to the left of each edge.
    up = -step[:, 0] / np.hypot(*step.T)
    out = []
    for sign, corner in ((1.0, int(ring[:, 1].argmax())), (-1.0, int(ring[:, 1].argmin()))):
        facing = [LineString(ring[i:i + 2]) for i in np.flatnonzero(sign * up > FACES)]
        out.append(shapely.union_all(facing) if facing else Point(ring[corner]))
    return out[0], out[1]


def fill_outline(study: Study, fill: Fill) -> FloatArray:
    """Outline (n, 2) mm of a fill, counter-clockwise: its own polygon, or all of its void.

    Raises InputError, with the key below the construct, where its polygon leaves the void.
    """
    void = polygon(next(v.points_mm for v in study.voids if v.name == fill.void),
                   f"void.{fill.void}.points_mm")
    own = void
    if fill.points_mm is not None:
        key = f"fill.{fill.name}.points_mm"
        own = polygon(fill.points_mm, key)
        outside = own.difference(void.buffer(JOINED)).area / own.area
        if outside > 0.0:
            raise InputError("the graft extends beyond its void", key=key,
                             value=f"{100 * outside:.0f} % of it lies outside",
                             expected=f'a polygon inside the void "{fill.void}"')
    return np.array(orient(own).exterior.coords)[:-1]


def polygon(points: ArrayLike, key: str) -> Polygon:
    """A polygon (n, 2) mm. Raises InputError where it crosses itself or has no area."""
    found = Polygon(np.asarray(points, dtype=float))
    if not found.is_valid or found.area == 0.0:
        raise InputError("the polygon crosses itself or has no area", key=key,
                         expected="its corners in order around it")
    return found
