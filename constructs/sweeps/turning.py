"""A fracture turned to another angle to the long axis, so that it still divides the bone.

Plain lists of points are turned, before they are validated. The fracture turns about the place
where it enters the joint surface, or about its upper end where that lies on or in the bone. A lower
end that lies on a corner of a void or an end of another fracture keeps its height and moves that
corner with it, so that lines that meet remain connected; a free lower end that would lie inside the
bone is extended through its surface, and so is an upper end that was drawn above it.
"""

from __future__ import annotations

import math
from typing import Any

from pydantic import ValidationError

from buttress.bone.section import Section
from buttress.fe.errors import InputError
from buttress.study.bone import QUALITY, SectionInput
from buttress.study.points import entry
from buttress.study.points import slope as angle

Points = list[list[float]]
SAME_MM = 0.02
"""Points closer than this [mm] are identical."""
STEP_MM, MOST_STEPS = 2.0, 60
STEEPEST_DEG = 60.0
"""Beyond this angle [deg] a lower end does not keep its height: the line would be too long."""


def slope(points: Points) -> tuple[float, float]:
    """Angle of the chord to the long axis [deg], and the side (-1 or 1) to which it descends."""
    pivot, far = _ends(points)
    return angle(points), 1.0 if far[0] >= pivot[0] else -1.0


def turn_to(data: dict[str, Any], row: dict[str, Any], wanted: float) -> None:
    """Turn the fracture ``row`` of the study ``data`` to ``wanted`` [deg] from the long axis."""
    points: Points = [list(p) for p in row["points_mm"]]
    now, side = slope(points)
    bone = _bone(data)
    upper, far = _ends(points)
    pivot = upper if bone is None else list(entry(points, bone.shape.joint_line()))
    others = [p for kind in ("fracture", "void") for other in data.get(kind, ()) if other is not row
              for p in other["points_mm"] if math.dist(p, far) < SAME_MM]
    down = pivot[1] - far[1]
    if others and down > 0.0 and wanted <= STEEPEST_DEG:
        grow = side * (math.tan(math.radians(wanted)) - math.tan(math.radians(now)))
        new = [[x + grow * (pivot[1] - y), y] for x, y in points]
    else:
        turn = side * math.radians(wanted - now)
        cos, sin = math.cos(turn), math.sin(turn)
        new = [[pivot[0] + cos * (x - pivot[0]) - sin * (y - pivot[1]),
                pivot[1] + sin * (x - pivot[0]) + cos * (y - pivot[1])] for x, y in points]
    end = points.index(far)
    for other in others:
        other[:] = new[end]
    if bone is not None and wanted != now:
        if not others:
            _draw_on(bone, new, end)
        if pivot != upper:
            _draw_on(bone, new, points.index(upper))
    row["points_mm"] = new


def _ends(points: Points) -> tuple[list[float], list[float]]:
    """Upper and lower end of a line."""
    pivot, far = sorted((points[0], points[-1]), key=lambda p: -p[1])
    return pivot, far


def _bone(data: dict[str, Any]) -> Section | None:
    """The section of a study; None where it has errors, reported when the study is validated."""
    try:
        shape = {k: v for k, v in data.get("section", {}).items() if k not in QUALITY}
        return Section(SectionInput.model_validate(shape))
    except (ValidationError, InputError, OSError):
        return None


def _draw_on(bone: Section, points: Points, end: int) -> None:
    """Extend the last segment at a free end until it lies outside the bone."""
    from shapely import Point, Polygon

    ring = Polygon(bone.outline()[0]).buffer(SAME_MM)
    near = points[end - 1] if end else points[1]
    dx, dy = points[end][0] - near[0], points[end][1] - near[1]
    length = math.hypot(dx, dy)
    for _ in range(MOST_STEPS):
        if length == 0.0 or not ring.contains(Point(points[end])):
            return
        points[end] = [points[end][0] + STEP_MM * dx / length,
                       points[end][1] + STEP_MM * dy / length]
