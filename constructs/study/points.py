"""Named points of a fracture, from its line and the surfaces of the bone [mm]."""

from __future__ import annotations

import math
from collections.abc import Sequence

import shapely
from numpy.typing import ArrayLike
from shapely import LineString, Point

from buttress.study.bone import SectionInput
from buttress.study.shapes import Flared

XY = tuple[float, float]
SNAP = 0.5
"""Share of the mesh's size by which an end may miss the surface: the mesher snaps it to it, too."""


def apex(line: Sequence[Sequence[float]], section: SectionInput, snap_mm: float) -> XY | None:
    """The lowest point at which a fracture leaves the bone on one of its sides, below the plateau.

    ``line``: the fracture's points; ``snap_mm``: an end as near to the surface as this lies on it.
    None where it leaves the bone nowhere.
    """
    shape = section.drawn or Flared(section)
    met = [xy for wall in shape.walls() if (xy := leaves(line, wall, snap_mm)) is not None]
    return min(met, key=lambda xy: xy[1], default=None)


def leaves(line: Sequence[Sequence[float]], wall: ArrayLike, snap_mm: float) -> XY | None:
    """The lowest point at which a fracture meets one side of the bone; None where it does not."""
    surface, path = LineString(wall), LineString(line)
    met = [Point(xy) for xy in shapely.get_coordinates(surface.intersection(path))]
    if not met:
        met = [surface.interpolate(surface.project(end)) for end in map(Point, path.coords)
               if surface.distance(end) <= snap_mm]
    return min(((p.x, p.y) for p in met), key=lambda xy: xy[1], default=None)


def entry(line: Sequence[Sequence[float]], joint: ArrayLike) -> XY:
    """Where a fracture drawn from above first meets the joint line (n, 2); else its upper end."""
    path = LineString(line if line[0][1] >= line[-1][1] else line[::-1])
    met = shapely.get_coordinates(path.intersection(LineString(joint)))
    if not len(met):
        return ends(line)[0]
    x, y = min(met, key=lambda xy: path.project(Point(xy)))
    return float(x), float(y)


def ends(line: Sequence[Sequence[float]]) -> tuple[XY, XY]:
    """Upper and lower end of a line, as it is drawn."""
    upper, lower = sorted((line[0], line[-1]), key=lambda p: -p[1])
    return (upper[0], upper[1]), (lower[0], lower[1])


def slope(line: Sequence[Sequence[float]]) -> float:
    """Angle of a line's chord to the long axis [deg]: 0 is parallel to it."""
    (x0, y0), (x1, y1) = ends(line)
    return math.degrees(math.atan2(abs(x1 - x0), y0 - y1))
