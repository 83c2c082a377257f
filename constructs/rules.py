"""Rules of the trade: what a surgeon would say of a construct before anything is solved.

A broken rule is no error: the construct is solved all the same, and warned of. Only what cannot
be solved at all (an implant that touches no bone, a load beside the joint) is an `InputError`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
from shapely import LineString, Point, Polygon

from constructs import rules_screw
from constructs.placement import plate_line, screw_axis
from constructs.schema import Construct, Plate, Study
from constructs.section import Section
from fe.errors import InputError

Level = Literal["note", "warning", "broken"]


@dataclass(frozen=True)
class Finding:
    """What a rule says of a part of a construct, and why the rule is there.

    `level`: note = worth knowing, warning = doubtful, broken = against the rule. `rule` is a short
    stable name.
    """

    construct: str
    part: str
    level: Level
    rule: str
    message: str
    reason: str


def check(study: Study) -> list[Finding]:
    """All findings, in the order of the study.

    Raises InputError, with the key, where the study cannot be solved: a fracture or fragment
    outside the bone, a load beside the joint line, an implant that touches no bone.
    """
    section = Section(study.section)
    check_bone(study, section)
    return [finding for construct in study.constructs
            for finding in check_construct(study, section, construct)]


def check_bone(study: Study, section: Section) -> None:
    """Raise InputError where a fracture, a fragment's point or a load patch misses the bone."""
    bone = Polygon(section.outline()[0])
    for fracture in study.fractures:
        if not LineString(fracture.points_mm).intersects(bone):
            raise InputError("the fracture does not touch the bone",
                             key=f"fracture.{fracture.name}.points_mm",
                             expected="a line across the section: x lateral, y proximal, "
                                      "origin at the middle of the joint line")
    for fragment in study.fragments:
        if not bone.contains(Point(fragment.inside_mm)):
            raise InputError("the fragment's point lies outside the bone",
                             key=f"fragment.{fragment.name}.inside_mm",
                             value="[{:g}, {:g}]".format(*fragment.inside_mm),
                             expected=_where(section, fragment.inside_mm[1]))
    half = float(section.half_width(0.0))
    load = study.load
    for key in ("medial_centre_mm", "lateral_centre_mm"):
        centre = getattr(load, key)
        if abs(centre) + load.patch_width_mm / 2 > half + 1e-9:
            raise InputError("the load patch hangs over the edge of the joint line",
                             key=f"load.{key}", value=f"{centre:g}",
                             expected=f"the centre within {half - load.patch_width_mm / 2:g} mm "
                                      f"of the middle, for a patch {load.patch_width_mm:g} mm wide")


def _where(section: Section, y: float) -> str:
    """In words, where the bone lies at a height."""
    height = section.given.height_mm
    if not -height < y < 0:
        return f"a height between {-height:g} and 0"
    half = float(section.half_width(y))
    return f"x between {-half:.1f} and {half:.1f} at that height (medial is negative)"


def check_construct(study: Study, section: Section, construct: Construct) -> list[Finding]:
    """Findings of one construct. Raises InputError where an implant touches no bone."""
    found: list[Finding] = []

    def say(part: str, level: Level, rule: str, message: str, reason: str) -> None:
        found.append(Finding(construct.name, part, level, rule, message, reason))

    placed: list[rules_screw.Placed] = []
    try:
        for plate in construct.plates:
            for note in _plate(study, section, construct, plate):
                say(plate.name, *note)
        for screw in construct.screws:
            axis = screw_axis(section, screw, construct.plates)
            placed.append(rules_screw.place(study, section, screw, axis))
    except InputError as error:
        raise InputError(error.message, key=f"construct.{construct.name}.{error.key}",
                         value=error.value, expected=error.expected) from None
    for item in placed:
        for note in rules_screw.each(section, item):
            say(item.screw.name, *note)
    for part, note in rules_screw.together(section, construct, placed):
        say(part, *note)
    return found


def apexes(study: Study, section: Section, side: str) -> list[tuple[str, float, float]]:
    """(fracture, x, y) where fractures leave the bone on a side below the plateau's rim, mm.

    The lowest exit of each fracture; this is where a plate must lie to catch the fragment.
    """
    surface = LineString(section.surface(side))
    found = []
    for fracture in study.fractures:
        # Ends that only just reach the surface count: the mesher lets them reach it too.
        line = LineString(fracture.points_mm).buffer(0.1 * study.mesh.size_mm)
        met = surface.intersection(line)
        if not met.is_empty:
            low = met.bounds[1]
            point = surface.interpolate(surface.project(Point(met.centroid.x, low)))
            found.append((fracture.name, point.x, point.y))
    return found


def _plate(study: Study, section: Section, construct: Construct, plate: Plate,
           ) -> Iterator[tuple[Level, str, str, str]]:
    """What is said of one plate: (level, rule, message, reason)."""
    line = plate_line(section, plate)
    top, bottom = float(line.points[0, 1]), float(line.points[-1, 1])
    mine = [s for s in construct.screws if s.plate == plate.name and s.hole is not None]
    if not mine:
        yield ("broken", "plate without screws", "no screw goes through this plate",
               "only friction and contact would keep a loose plate on the bone")
    exits = apexes(study, section, plate.side)
    if study.fractures and not exits:
        yield ("note", "plate over the apex",
               f"no fracture comes out on the {plate.side} side, where this plate lies",
               "a plate supports a fragment best from the side towards which it would slide")
    for fracture, _, y in exits:
        if not bottom < y < top:
            yield ("broken", "plate over the apex",
                   f'the plate lies between heights {bottom:.0f} and {top:.0f}, '
                   f'the apex of "{fracture}" at {y:.0f} mm',
                   "the lower end of a sheared fragment moves outwards and down; a plate that does "
                   "not cover it cannot hold it in")
            continue
        below = sum(s.count for s in mine if float(line.at(plate.holes[(s.hole or 1) - 1])[0][1])
                    < y)
        if below < 2:
            yield ("broken", "two screws below the apex",
                   f'{below} screw(s) of this plate lie below the apex of "{fracture}" '
                   f"({y:.0f} mm)",
                   "the plate pushes the fragment in and is itself pushed off the shaft: one screw "
                   "is a hinge, two hold it")
    rest = construct.plates[construct.plates.index(plate) + 1:]
    for other in rest:
        if other.side == plate.side:
            theirs = plate_line(section, other)
            overlap = min(top, theirs.points[0, 1]) - max(bottom, theirs.points[-1, 1])
            if overlap > 0:
                yield ("broken", "implants meet",
                       f'overlaps plate "{other.name}" over {overlap:.0f} mm of height',
                       "two plates on one side of the section are drawn in the same place; "
                       "in the operation they would lie beside each other")
    if np.any(line.gap > 0):
        yield ("note", "plate off the bone",
               f"the plate stands {float(line.gap.max()):.1f} mm off the bone in its middle",
               "an under-contoured plate touches at its ends first and presses the bone only when "
               "its screws draw it in")
