"""Positions of implants in the section: screw axes, plate lines, crossings of fractures.

Shared by the rules and by the model builder, so that both use the same points.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from shapely import LineString, Polygon
from shapely.ops import unary_union

from buttress.bone.section import Section
from buttress.fe.arrays import FloatArray
from buttress.fe.errors import InputError
from buttress.implants.sections import (
    depth_positions,
    glides,
    pilot,
    plate_stretches,
    screw_form,
)
from buttress.study.study import Pin, Plate, Screw, Study, Wire
from buttress.study.tables import number

TOUCH = 1e-6  # mm; a head on the outline counts as outside it
FAR = 1000.0  # mm; outside every void


@dataclass(frozen=True)
class PlateLine:
    """A plate on the bone: its line on the surface, proximal to distal.

    `points` (n, 2) on the bone surface, `normals` (n, 2) outward, `s` (n,) distance along the
    plate, `offset` (n,) from the surface to the plate's centroid, `gap` (n,) between plate and bone
    before loading (0 at the ends, `mismatch_mm` in the middle), `holes` their positions along s;
    all mm.
    """

    points: FloatArray
    normals: FloatArray
    s: FloatArray
    offset: FloatArray
    gap: FloatArray
    holes: tuple[float, ...]

    @property
    def centre(self) -> FloatArray:
        """Centroid line of the contoured plate (n, 2), without the gap."""
        return self.points + self.normals * self.offset[:, None]

    def at(self, s: ArrayLike) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Bone surface (..., 2) [mm], outward normals (..., 2), centroid offsets [mm] at s."""
        place = np.asarray(s, dtype=float)
        point, normal = (np.stack([np.interp(place, self.s, given[:, k]) for k in (0, 1)], axis=-1)
                         for given in (self.points, self.normals))
        long = np.linalg.norm(normal, axis=-1, keepdims=True)
        return point, normal / long, np.asarray(np.interp(place, self.s, self.offset))


@dataclass(frozen=True)
class Axis:
    """A screw's axis: from its head along `direction` (unit), `length` to the tip; mm.

    `entry` and `exit` are the distances from the head at which the axis enters bone and at which
    it would leave it again; the tip may lie short of the exit.
    """

    head: FloatArray
    direction: FloatArray
    length: float
    entry: float
    exit: float

    def point(self, s: ArrayLike) -> FloatArray:
        """Points (..., 2) at distances s from the head [mm]."""
        return self.head + np.asarray(s, dtype=float)[..., None] * self.direction

    @property
    def tip(self) -> FloatArray:
        """The tip (2,) [mm]."""
        return self.point(self.length)

    @property
    def in_bone(self) -> tuple[float, float]:
        """Stretch of the axis that lies in bone, as distances from the head [mm]."""
        return self.entry, max(self.entry, min(self.length, self.exit))


def plate_line(section: Section, plate: Plate, *, step: float = 0.5) -> PlateLine:
    """Line of a plate along a side of the bone, points at most `step` mm apart.

    Raises InputError when the plate reaches below the clamp or starts above the joint line.
    """
    surface = section.surface(plate.side)
    arc = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(surface, axis=0).T))])
    start = float(np.interp(-plate.top_mm, -surface[:, 1], arc))
    if plate.top_mm > surface[0, 1] + TOUCH:
        raise InputError("the plate extends above the joint line",
                         key=f"plate.{plate.name}.top_mm", value=f"{plate.top_mm:g}",
                         expected=f"at most {surface[0, 1]:.1f} mm on the {plate.side} side")
    if plate.top_mm < surface[-1, 1]:
        raise InputError("the plate begins below the clamp of the section",
                         key=f"plate.{plate.name}.top_mm", value=f"{plate.top_mm:g}",
                         expected=f"{surface[-1, 1]:.1f} to {surface[0, 1]:.1f} mm on the "
                                  f"{plate.side} side, or a larger section.height_mm")
    if start + plate.length > arc[-1] + TOUCH:
        room = max(0.0, float(arc[-1]) - start)
        raise InputError("the plate extends below the clamp of the section",
                         key=f"plate.{plate.name}.length_mm", value=f"{plate.length:g}",
                         expected=f"at most {room:.1f} mm from top_mm = {plate.top_mm:g}, "
                                  "or a larger section.height_mm")
    # With points at every vertex of the surface, every hole and every change of section.
    fixed = [0.0, plate.length, *plate.holes, *(end for end, _ in plate_stretches(plate)),
             *(a - start for a in arc if 0.0 < a - start < plate.length)]
    s = _filled(fixed, step)
    points = np.column_stack([np.interp(start + s, arc, surface[:, k]) for k in (0, 1)])
    normals = _normals(surface, arc, start + s, -section.sign(plate.side))
    stretches = plate_stretches(plate)
    ends = np.array([end for end, _ in stretches])
    inner = np.array([stretch.solid.inner for _, stretch in stretches])
    offset = inner[np.minimum(np.searchsorted(ends, s), len(ends) - 1)]
    gap = plate.mismatch_mm * 4.0 * s * (plate.length - s) / plate.length**2
    return PlateLine(points=points, normals=normals, s=s, offset=offset, gap=gap, holes=plate.holes)


def _filled(places: list[float], step: float) -> FloatArray:
    """Increasing distances that include all `places`, at most `step` and at least 1e-6 apart."""
    ordered = np.unique(np.round(places, 9))
    ordered = ordered[np.concatenate([[True], np.diff(ordered) > TOUCH])]
    gap = np.diff(ordered)
    count = np.ceil(gap / step).astype(int)
    nth = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    return np.append(np.repeat(ordered[:-1], count) + nth * np.repeat(gap / count, count),
                     ordered[-1])


def _normals(surface: FloatArray, arc: FloatArray, s: FloatArray, turn: float) -> FloatArray:
    """Outward unit normals at distances s along the surface, turning linearly near its vertices.

    Turning from 1 mm before a vertex of the polygon to 1 mm after it removes the kinks, so that a
    plate is smooth; further away each edge has its own normal.
    """
    edge = np.diff(surface, axis=0)
    length = np.hypot(*edge.T)
    normal = turn * np.column_stack([edge[:, 1], -edge[:, 0]]) / length[:, None]
    reach = np.minimum(length / 2, 1.0)
    knots = np.column_stack([arc[:-1] + reach, arc[1:] - reach]).ravel()
    found = np.column_stack([np.interp(s, knots, np.repeat(normal[:, k], 2)) for k in (0, 1)])
    return np.asarray(found / np.hypot(*found.T)[:, None])


def screw_axis(section: Section, pin: Pin, plates: Sequence[Plate] = (),
               lines: Mapping[str, PlateLine] | None = None) -> Axis:
    """Axis of a screw with its head on a plate's centroid line, or of a pin on the bone's surface.

    ``lines``: those of the plates by name, where they are known already.
    Serves screws and wires. A "bicortical" length ends 1 mm beyond the far cortex. Raises
    InputError when it touches no bone, or a thread is longer than the resolved length.
    """
    key = f"{pin.what}.{pin.name}"
    head, inward, side = _start(section, pin, plates, lines or {})
    # Positive angles move the tip proximally: counter-clockwise from the side at -x.
    angle = -math.radians(pin.angle_deg) * section.sign(side)
    cos, sin = math.cos(angle), math.sin(angle)
    direction = np.array([cos * inward[0] - sin * inward[1], sin * inward[0] + cos * inward[1]])
    # The plate may curve away from the outline; an axis that starts slightly outside meets it.
    met = crossings(head - TOUCH * direction, direction, _closed(section.outline()[0])) - TOUCH
    met = met[met > -10 * TOUCH]
    if len(met) < 2:
        raise InputError(f"the {pin.what} touches no bone", key=f"{key}.angle_deg",
                         value=f"{pin.angle_deg:g}", expected="an axis that enters the section")
    entry, leave = max(0.0, float(met[0])), float(met[1])
    if pin.length_mm == "bicortical":
        length = leave + number("screws", "in use", "bicortical_excess")
    else:
        length = float(pin.length_mm)
    if length <= entry:
        raise InputError(f"the {pin.what} touches no bone", key=f"{key}.length_mm",
                         value=f"{length:g}", expected=f"more than {entry:.1f} mm")
    _meets_bone_in_depth(section, pin, Axis(
        head=head, direction=direction, length=length, entry=entry, exit=leave))
    thread = pin.thread_mm if isinstance(pin, Screw) else None
    if thread is not None and thread > length:
        raise InputError("the thread is longer than the screw",
                         key=f"{key}.thread_mm", value=f"{thread:g}",
                         expected=f"at most {length:.1f} mm, its bicortical length")
    return Axis(head=head, direction=direction, length=length, entry=entry, exit=leave)


def _start(section: Section, pin: Pin, plates: Sequence[Plate], lines: Mapping[str, PlateLine]
           ) -> tuple[FloatArray, FloatArray, str]:
    """Head (2,), inward direction (2,) at angle 0, and side of a screw or wire."""
    if isinstance(pin, Screw) and pin.plate is not None and pin.hole is not None:
        plate = next(p for p in plates if p.name == pin.plate)
        line = lines.get(plate.name) or plate_line(section, plate)
        point, normal, offset = line.at(plate.holes[pin.hole - 1])
        return point + offset * normal, -normal, plate.side
    assert isinstance(pin, Screw | Wire)
    assert pin.side is not None
    assert pin.height_mm is not None
    surface = section.surface(pin.side)
    if pin.height_mm < surface[-1, 1]:
        raise InputError(f"the {pin.what} lies below the clamp of the section",
                         key=f"{pin.what}.{pin.name}.height_mm", value=f"{pin.height_mm:g}",
                         expected=f"{surface[-1, 1]:g} to 0 mm")
    if pin.height_mm > surface[0, 1] + TOUCH:
        raise InputError(f"the {pin.what} lies above the joint line",
                         key=f"{pin.what}.{pin.name}.height_mm", value=f"{pin.height_mm:g}",
                         expected=f"at most {surface[0, 1]:.1f} mm on the {pin.side} side")
    x = np.interp(-pin.height_mm, -surface[:, 1], surface[:, 0])
    return (np.array([x, pin.height_mm]), np.array([-section.sign(pin.side), 0.0]),
            pin.side)


def _meets_bone_in_depth(section: Section, pin: Pin, axis: Axis) -> None:
    """Raise InputError where a pin (or one of several side by side) misses the bone."""
    room = float(section.chord(axis.point(np.linspace(*axis.in_bone, 50))).max()) / 2
    farthest = max(depth_positions(pin), key=abs)
    if abs(farthest) >= room:
        where = ("outside the slice" if section.given.sagittal
                 else "in front of or behind the bone")
        reach = room - abs(farthest - pin.position_in_depth_mm)
        if reach <= 0.0:    # wherever its middle lies
            raise InputError(f"a row of {pin.count} is wider than the bone: some {pin.what}s pass "
                             + where, key=f"{pin.what}.{pin.name}.count", value=f"{pin.count}",
                             expected=f"a row less than {2 * room:.1f} mm wide")
        raise InputError(f"the {pin.what} passes {where}" if pin.count == 1 else
                         f"of a row of {pin.count}, the {pin.what} at {farthest:g} mm passes "
                         + where, key=f"{pin.what}.{pin.name}.position_in_depth_mm",
                         value=f"{pin.position_in_depth_mm:g}",
                         expected=f"between {-reach:.1f} and {reach:.1f} mm"
                         + (", or a smaller count" if pin.count > 1 else ""))


def _closed(points: FloatArray) -> FloatArray:
    return np.vstack([points, points[:1]])


def crossings(start: FloatArray, direction: FloatArray, line: FloatArray) -> FloatArray:
    """Distances along the ray start + s direction, s >= 0, where it crosses a polyline (n, 2)."""
    a, edge = line[:-1], np.diff(line, axis=0)
    cross = direction[0] * edge[:, 1] - direction[1] * edge[:, 0]
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        apart = a - start
        s = (apart[:, 0] * edge[:, 1] - apart[:, 1] * edge[:, 0]) / cross
        along = (apart[:, 0] * direction[1] - apart[:, 1] * direction[0]) / cross
    hit = (np.abs(cross) > 1e-12) & (along >= -1e-12) & (along <= 1.0 + 1e-12) & (s >= 0.0)
    found = np.sort(s[hit])
    if not len(found):
        return found
    # A vertex belongs to both of its edges.
    return found[np.concatenate([[True], np.diff(found) > TOUCH])]


def fracture_crossings(study: Study, axis: Axis, in_voids: bool = False) -> list[tuple[float, str]]:
    """(distance from the head, fracture) where the axis, in bone, crosses a fracture; increasing.

    The part of a fracture line inside a void does not count unless ``in_voids``.
    """
    low, high = axis.in_bone
    empty = [] if in_voids else void_stretches(study, axis)
    met = [(float(s), f.name) for f in study.fractures
           for s in crossings(axis.head, axis.direction, np.array(f.points_mm))
           if low <= s <= high and not any(a + TOUCH < s < b - TOUCH for a, b, _ in empty)]
    return sorted(met)


def runs_along(study: Study, axis: Axis, within: float) -> list[tuple[str, float]]:
    """(fracture, mm): how far the axis, in bone, stays within a distance [mm] of each fracture.

    What lies in a void does not count.
    """
    low, high = axis.in_bone
    inside = LineString(axis.point([low, high])).difference(
        unary_union([Polygon(v.points_mm).buffer(0) for v in study.voids]))
    return [(f.name, LineString(f.points_mm).buffer(within).intersection(inside).length)
            for f in study.fractures]


def void_stretches(study: Study, axis: Axis) -> list[tuple[float, float, str]]:
    """(start, end, void): segments [mm] of the axis from entry to tip in voids; increasing."""
    low, high = axis.in_bone
    found = []
    for void in study.voids:
        ring = np.array([*void.points_mm, void.points_mm[0]])
        # From far outside, walls are crossed in pairs: in, out.
        met = crossings(axis.head - FAR * axis.direction, axis.direction, ring) - FAR
        for a, b in itertools.pairwise(met):
            middle = axis.point(0.5 * (a + b))
            if _within(middle, ring) and min(b, high) - max(a, low) > TOUCH:
                found.append((max(float(a), low), min(float(b), high), void.name))
    return sorted(found)


def _within(point: FloatArray, ring: FloatArray) -> bool:
    """Whether a closed polygon (first point repeated) contains a point: odd number of crossings."""
    a, b = ring[:-1], ring[1:]
    spans = (a[:, 1] > point[1]) != (b[:, 1] > point[1])
    with np.errstate(divide="ignore", invalid="ignore"):
        x = a[:, 0] + (point[1] - a[:, 1]) / (b[:, 1] - a[:, 1]) * (b[:, 0] - a[:, 0])
    return bool((spans & (x > point[0])).sum() % 2)


def thread_span(pin: Pin, length: float) -> tuple[float, float]:
    """Threaded stretch of a pin of a resolved length, as distances from the head [mm].

    A wire has none: (length, length).
    """
    if not isinstance(pin, Screw):
        return length, length
    thread = pin.thread_mm
    if thread is None:
        thread = screw_form(pin.form).default_thread(length)
    return length - thread, length


def engaged_thread(pin: Pin, axis: Axis, crossed: Sequence[tuple[float, str]],
                   ) -> tuple[float, float]:
    """Segment of thread engaged in bone, as distances [mm] from the head; empty if end <= start.

    A gliding hole as wide as the thread disengages it up to the first fracture, a pilot hole as
    wide as the thread all of it.
    """
    low, high = axis.in_bone
    if isinstance(pin, Screw) and pilot(pin) >= screw_form(pin.form).thread:
        return high, high
    start = max(low, thread_span(pin, axis.length)[0])
    if isinstance(pin, Screw) and glides(pin) and crossed:
        start = max(start, crossed[0][0])
    return start, high
