"""Rules of the trade for plates: the apex, screws on both of its sides, plates that overlap."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from buttress.bone.section import Section
from buttress.implants.placement import PlateLine, plate_line
from buttress.implants.sections import depth_positions, head_diameter, section_at
from buttress.rules.screw import Note
from buttress.study.points import SNAP, XY, leaves, slope
from buttress.study.study import Construct, Fracture, Plate, Study
from buttress.study.tables import number
from buttress.words import fixed, listed


def apexes(study: Study, section: Section, side: str) -> list[tuple[str, float, float]]:
    """(fracture, x, y) where fractures leave the bone on a side below the plateau's rim, mm.

    The lowest exit of each fracture, which a plate must cover to buttress the fragment; none of one
    that is nearly level, on which the fragment rests.
    """
    level = number("screws", "rules", "level")
    return [(f.name, *xy) for f, xy in _exits(study, section, side) if slope(f.points_mm) < level]


def _exits(study: Study, section: Section, side: str) -> list[tuple[Fracture, XY]]:
    """The fractures that leave the bone on a side below the plateau's rim, and where, mm."""
    surface, snap = section.surface(side), SNAP * study.mesh.size_mm
    return [(f, xy) for f in study.fractures
            if (xy := leaves(f.points_mm, surface, snap)) is not None]


def plate_notes(study: Study, section: Section, construct: Construct, plate: Plate,
                ) -> Iterator[Note]:
    """Findings on one plate. Raises InputError where it does not lie on the bone."""
    line = plate_line(section, plate)
    top, bottom = float(line.points[0, 1]), float(line.points[-1, 1])
    mine = [s for s in construct.screws if s.plate == plate.name and s.hole is not None]
    if not mine:
        yield ("broken", "plate without screws", "no screw goes through this plate",
               "a plate without screws is in contact with the bone but not attached to it")
    yield from _apex(study, section, construct, plate, line)
    for screw in mine:
        at = section_at(plate, plate.holes[(screw.hole or 1) - 1]).width / 2
        reach = max(abs(z) for z in depth_positions(screw)) + head_diameter(screw) / 2
        if reach > at + number("screws", "rules", "head_beside"):
            heads = f'head of "{screw.name}" extends' if screw.count == 1 else \
                f'heads of "{screw.name}" extend'
            yield ("broken", "head beside the plate",
                   f'the {heads} {reach:.0f} mm to the '
                   f"{section.given.beside}, the plate only {at:.0f} mm there",
                   "a plate holds only screw heads that lie in its holes; " + (
                       "in a study file position_in_depth_mm says how far a screw lies from the "
                       "plate's middle" if screw.count == 1 else
                       "a longer row fits only a wider head of a plate"))
    for other in construct.plates[construct.plates.index(plate) + 1:]:
        if other.side == plate.side:
            theirs = plate_line(section, other)
            overlap = min(top, theirs.points[0, 1]) - max(bottom, theirs.points[-1, 1])
            if overlap > 0:
                yield ("broken", "implants meet",
                       f'overlaps plate "{other.name}" over {overlap:.0f} mm of height',
                       "two plates on one side of the section are drawn in the same place; "
                       "in an operation they would lie next to each other")
    if np.any(line.gap > 0):
        yield ("note", "plate off the bone",
               f"the plate is {float(line.gap.max()):.1f} mm off the bone at its middle",
               "an under-contoured plate touches at its ends first and compresses the bone only "
               "when its screws draw it in")
    if np.any(line.gap < 0):
        yield ("note", "plate off the bone",
               f"the ends of the plate are {-float(line.gap.min()):.1f} mm off the bone",
               "an over-contoured plate touches at its middle first; its ends reach the bone only "
               "when screws draw them in, which stresses screws and plate before any load")


def _apex(study: Study, section: Section, construct: Construct, plate: Plate, line: PlateLine,
          ) -> Iterator[Note]:
    """Whether a plate covers each fracture that exits on its side, with fixation below it."""
    top, bottom = float(line.points[0, 1]), float(line.points[-1, 1])
    exits = apexes(study, section, plate.side)
    level = [f'"{f.name}"' for f, _ in _exits(study, section, plate.side)]
    if not exits and level:
        yield ("note", "plate over the apex",
               f"what exits on the {plate.side} side ({listed(level)}) is nearly level: a level "
               "fracture has no apex to buttress",
               "a fragment on a level fracture rests on the shaft and has no lower end that moves "
               "outwards; there the plate and its screws act against tilt, shift and gaping")
    elif study.fractures and not exits:
        yield ("note", "plate over the apex",
               f"no fracture exits on the {plate.side} side, where this plate lies",
               "a plate supports a fragment best on the side towards which it would slide")
    for fracture, _, y in exits:
        if bottom >= y:
            yield ("broken", "plate over the apex",
                   f'the plate stops {bottom - y:.0f} mm short of the apex of "{fracture}" '
                   f"({fixed(y, 0)} mm): its lower end is at {fixed(bottom, 0)} mm",
                   "the lower end of a sheared fragment moves outwards and down; a plate that "
                   "stops short of it holds on to the fragment only")
            continue
        if top <= y:
            yield ("broken", "plate over the apex",
                   f'the plate begins at {fixed(top, 0)} mm, below the apex of "{fracture}" '
                   f"({fixed(y, 0)} mm)",
                   "the lower end of a sheared fragment moves outwards and down; a plate that does "
                   "not cover it cannot buttress it")
            continue
        below = sum(s.count for s in construct.screws
                    if s.plate == plate.name and s.hole is not None
                    and float(line.at(plate.holes[s.hole - 1])[0][1]) < y)
        if below < 2:
            yield ("broken", "two screws below the apex",
                   f'{"only one" if below else "no"} screw of this plate lies below the apex of '
                   f'"{fracture}" ({fixed(y, 0)} mm)',
                   "the plate pushes the fragment inwards and is itself pushed off the shaft: one "
                   "screw acts as a hinge, two resist rotation")
        elif y == min(at for _, _, at in exits):
            yield from _next_below(study, construct, plate, line, fracture, y)


def _next_below(study: Study, construct: Construct, plate: Plate, line: PlateLine, fracture: str,
                y: float) -> Iterator[Note]:
    """Whether a hole between the lowest apex, at the height ``y`` [mm], and the first screw is
    empty; or that screw so near that small movements leave out what matters."""
    apex = float(np.interp(-y, -line.points[:, 1], line.s))
    taken = {s.hole for s in construct.screws if s.plate == plate.name}
    below = [(i, at) for i, at in enumerate(line.holes, 1) if at > apex]
    first, at = next(((i, at) for i, at in below if i in taken), (0, apex))
    empty = [str(i) for i, _ in below if i < first]
    if empty:
        holes = f"hole {empty[0]} is" if len(empty) == 1 else (
            f'holes {", ".join(empty[:-1])} and {empty[-1]} are')
        yield ("note", "screw next to the apex",
               f'{holes} empty between the apex of "{fracture}" and the first screw below it: '
               f"the plate bends freely over {at - apex:.0f} mm",
               "the plate holds the apex like a cantilever, the stiffer the nearer its first screw "
               "lies below it; how near a screw may come is for training and the implant's "
               "instructions")
    arm = at - apex
    if study.press.large_movements == "off" and 0.0 < arm < number("screws", "rules", "short_arm"):
        yield ("note", "arm that shortens",
               f'the first screw below the apex of "{fracture}" lies {arm:.1f} mm from it, and '
               "movements are taken as small",
               "a fragment that slides along the plate brings its apex nearer to that screw, which "
               'small movements leave out: without large_movements = "off" in [press] the plate '
               "may carry far more at the same movement")
