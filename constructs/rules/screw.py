"""Rules of the trade for screws and wires: thread, tip, drill, tension, and collisions."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from shapely import LineString, Point

from buttress.bone.layout import Layout
from buttress.bone.section import Section
from buttress.implants.placement import (
    Axis,
    engaged_thread,
    fracture_crossings,
    plate_line,
    runs_along,
    void_stretches,
)
from buttress.implants.sections import (
    depth_positions,
    gliding,
    head_diameter,
    outer,
    pilot,
    pull_out,
    screw_form,
    section_at,
)
from buttress.study.implants import tension
from buttress.study.study import Construct, Screw, Study, Wire
from buttress.study.tables import fields, number
from buttress.words import fixed, listed, piece_or_row

Level = Literal["note", "warning", "broken"]
PULLS_OUT = "its thread pulls out at about"
PLATE_ACROSS = "plate screws cross"
"""A rule whose note is also reported with the results: it states how a plate holds."""
Note = tuple[Level, str, str, str]  # level, rule, message, reason


@dataclass(frozen=True)
class Placed:
    """A screw or wire in its place; distances from the head, mm.

    `crossed` fractures as (distance, name), `engaged` thread as (start, end), `empty` stretches
    in voids as (start, end, name), fractures that it runs `along` as (name, mm). `parted`: whether
    it crosses a fracture, or a void along which one runs.
    """

    pin: Screw | Wire
    axis: Axis
    crossed: tuple[tuple[float, str], ...]
    engaged: tuple[float, float]
    empty: tuple[tuple[float, float, str], ...]
    parted: bool
    along: tuple[tuple[str, float], ...]


def threshold(name: str) -> float:
    """From where on the rules report something, in the unit of the table."""
    return number("screws", "rules", name)


def place(study: Study, pin: Screw | Wire, axis: Axis) -> Placed:
    """A screw or wire with the geometry that the rules need."""
    crossed, size = tuple(fracture_crossings(study, axis)), outer(pin)
    least = max(threshold("along"), threshold("along_diameters") * size)
    return Placed(
        pin=pin, axis=axis, crossed=crossed, engaged=engaged_thread(pin, axis, crossed),
        empty=tuple(void_stretches(study, axis)),
        parted=bool(fracture_crossings(study, axis, in_voids=True)),
        along=tuple(x for x in runs_along(study, axis, size / 2) if x[1] > least))


def each(study: Study, section: Section, construct: Construct, placed: Placed) -> Iterator[Note]:
    """Findings on one screw or wire by itself."""
    pin = placed.pin
    if isinstance(pin, Screw):
        yield from _thread(placed, pin)
    for name, length in placed.along:
        yield ("warning", "along a fracture",
               f'the {pin.what} runs along "{name}" over {length:.0f} mm',
               "an implant in the fracture itself lies in neither piece: it holds little and may "
               "wedge them apart, and on which side of the fracture it is decides what carries it")
    yield from _tip(section, placed)
    yield from _ends(study, construct, placed)
    if isinstance(pin, Screw):
        yield from _drill(pin)
        yield from _tension(section, placed, pin, _stage_force(construct, pin))
        yield from _in_hole(construct, pin)
    yield from _depth(section, placed)


def held_thread(placed: Placed) -> list[tuple[float, float]]:
    """Segments of engaged thread in bone, between voids; distances from the head, mm."""
    left = [placed.engaged]
    for a, b, _ in placed.empty:
        left = [part for start, end in left
                for part in ((start, min(end, a)), (max(start, b), end))]
    return [(start, end) for start, end in left if end > start]


def _thread(placed: Placed, screw: Screw) -> Iterator[Note]:
    start, end = placed.engaged
    held, least = held_thread(placed), threshold("thread")
    if sum(b - a for a, b in held) < least:
        yield ("broken", "thread holds", "no thread of this screw engages bone",
               "along its axis a screw is held only by its thread")
        return
    if screw.use == "lag":
        if not placed.parted:
            yield ("broken", "lag screw crosses", "this lag screw crosses no fracture",
                   "a lag screw compresses a fracture only if it crosses it")
            return
        if not placed.crossed:
            return
        first, name = placed.crossed[0]
        if start < first - least:
            yield ("broken", "lag thread beyond",
                   f'{first - start:.0f} mm of engaged thread lies on the head side of "{name}"',
                   "thread on the head side holds the gap open, so that tightening does not "
                   "compress the fracture; in a gliding hole as wide as the thread it would not "
                   "hold; technique follows training and the implant's instructions")
        elif end < first + least:
            yield ("broken", "lag thread beyond", f'no thread lies beyond "{name}"',
                   "a lag screw pulls the far piece towards its head by its thread in that piece")
        crossed = placed.crossed[1:]
    else:
        crossed = placed.crossed
    both = list(dict.fromkeys(
        name for s, name in crossed if name not in dict(placed.along)
        and any(a < s - least for a, _ in held) and any(b > s + least for _, b in held)))
    if both:
        # A locked screw and a row of screws cross on purpose, once the gap is closed.
        level: Level = "note" if screw.locked or screw.count > 1 else "warning"
        names = _listed(both)
        yield (level, "thread on both sides", f"thread engages both sides of {names}",
               "a thread engaged on both sides keeps the pieces at their distance and does not "
               "close a gap; technique follows training and the implant's instructions")


def one_piece(found: Layout, placed: Placed) -> Iterator[Note]:
    """A screw or wire without a plate that lies in one piece only, and so joins nothing.

    A lag screw that crosses no fracture is told of as such.
    """
    pin, low, high = placed.pin, *placed.axis.in_bone
    if placed.parted or not found.pieces or (isinstance(pin, Screw) and (
            pin.plate is not None or pin.use == "lag")):
        return
    line = LineString(placed.axis.point([low, high]))
    lengths = {name: piece.intersection(line).length for name, piece in found.pieces.items()}
    name = max(lengths, key=lambda n: lengths[n])
    within, reason = f"the {piece_or_row(pin.what, pin.count)} lies wholly within", (
        "a screw or wire holds pieces together only where it crosses the fracture between them")
    if lengths[name] > found.shaft.intersection(line).length:
        yield ("warning", "joins pieces", f'{within} "{name}" and holds it to nothing', reason)
    else:
        yield ("note", "joins pieces", f"{within} the shaft and holds no piece to it", reason +
               "; what rests on it or on its head is supported, not held")


def _tip(section: Section, placed: Placed) -> Iterator[Note]:
    axis, edge = placed.axis, threshold("joint")
    over = axis.length - axis.exit
    out = axis.point(axis.exit)
    if over > -edge and float(section.below(out)) < edge:
        yield ("broken", "out of the joint", "the tip penetrates the joint surface",
               "metal in the joint damages the opposing cartilage")
        return
    if over > -edge and out[1] < -section.given.height_mm + edge:
        yield ("warning", "inside the section",
               f"the {placed.pin.what} exits through the clamped end",
               "the bone ends there only in this model; choose a larger height_mm")
        return
    if over > number("screws", "in use", "tip_excess"):
        yield ("warning", "tip beyond the cortex",
               f"the tip protrudes {over:.1f} mm from the far cortex",
               "a tip that protrudes more than 2 mm irritates tendons, vessels and skin")
    elif over < 0 and isinstance(placed.pin, Screw):
        short = f"the tip ends {-over:.1f} mm short of the outer surface of the far cortex"
        def cortex(start: float, end: float) -> np.ndarray:
            return section.is_cortex(axis.point(np.linspace(start, end, 50)[1:-1]), 0.0)

        soft = "foam" if section.given.bone == "foam" else "cancellous bone"
        shell = any(cortex(*stretch).any() for stretch in held_thread(placed))
        if cortex(axis.length, axis.exit).all():
            yield ("note", "tip short of the cortex", short + ", within it",
                   "a thread is held only by the part of the far cortex that it enters")
        else:
            yield ("note", "tip short of the cortex", short,
                   "a screw that does not reach the far cortex is held by "
                   f"{f'the near one and {soft}' if shell else soft} only")
    low, high = axis.in_bone
    radius = outer(placed.pin) / 2
    inner = axis.point(np.linspace(low, high, 50))
    below = section.below(inner)
    near, at = float(below.min()) - radius, float(inner[int(below.argmin()), 0])
    if near < edge:
        yield ("broken", "out of the joint",
               (f"the {placed.pin.what} breaks through the joint surface" if near <= 0.0 else
                f"there is only {near:.1f} mm of bone between the {placed.pin.what} and "
                f"the joint surface") + f" at x = {fixed(at, 0)} mm",
               "metal in the joint damages the opposing cartilage")


def _ends(study: Study, construct: Construct, placed: Placed) -> Iterator[Note]:
    """A tip that ends in a fracture or in a void."""
    axis, what = placed.axis, placed.pin.what
    if axis.length > axis.exit:
        return
    least = threshold("thread")
    inside = [(a, name) for a, b, name in placed.empty if a < axis.length <= b + least]
    if inside:
        name = inside[0][1]
        filled = any(f.void == name for f in construct.fills)
        yield ("warning" if filled else "broken", "tip in a void",
               f'the {what} ends in the void "{name}"' + (", in its filling" if filled else ""),
               "an implant that ends where bone is missing is a cantilever, held at one end only")
        return
    near = number("screws", "in use", "tip_in_fracture")
    tip = Point(axis.tip)
    met = [f.name for f in study.fractures if LineString(f.points_mm).distance(tip) < near]
    if met:
        yield ("broken", "tip in a fracture", f'the {what} ends in "{met[0]}"',
               "a tip in a fracture is held by neither piece and may wedge them apart")


def _drill(screw: Screw) -> Iterator[Note]:
    form, drill = screw_form(screw.form), pilot(screw)
    if drill >= form.thread:
        yield ("broken", "pilot drill", f"a pilot hole of {drill:g} mm for a {form.thread:g} mm "
               "thread", "a hole as wide as the thread leaves no bone for it to engage")
    elif drill < form.core:
        yield ("broken", "pilot drill", f"a pilot hole of {drill:g} mm for a {form.core:g} mm core",
               "a hole narrower than the core splits the bone or breaks the screw")
    hole = gliding(screw)
    if hole is not None and hole < form.thread:
        yield ("broken", "gliding hole", f"a gliding hole of {hole:g} mm for a {form.thread:g} mm "
               "thread", "the thread engages a hole narrower than itself and does not glide")


def _stage_force(construct: Construct, screw: Screw) -> float:
    """The largest force [N] to which a stage tightens a screw; 0 where none says."""
    return max((s.force_N or 0.0 for s in construct.stages
                if s.do == "tighten" and screw.name in (s.what or ())), default=0.0)


def _in_hole(construct: Construct, screw: Screw) -> Iterator[Note]:
    """Whether a screw fits its plate's holes: a thread that passes, a head that locks."""
    plate = next((p for p in construct.plates if p.name == screw.plate), None)
    if plate is None or plate.section is None:
        return
    widest, thread = number("plates", plate.section, "thread"), screw_form(screw.form).thread
    if thread > widest:
        yield ("broken", "thread through the hole",
               f'a {thread:g} mm thread in plate "{plate.name}", whose holes take threads up to '
               f"{widest:g} mm",
               "a thread wider than the hole does not pass through the plate")
    if screw.locked and "locking_thread" not in fields("plates", plate.section):
        yield ("broken", "locking hole",
               f'locked in plate "{plate.name}", a {plate.section} plate without locking holes',
               "a head locks only in a hole that is made for it; in a plain hole it may tilt and "
               "slide")


def _tension(section: Section, placed: Placed, screw: Screw, staged: float) -> Iterator[Note]:
    pull = max(tension(screw), staged)
    if screw.use == "positional" and pull > 0 and screw.plate is None and not screw.locked:
        yield ("warning", "positional screw tightened",
               f"a positional screw is tightened to {pull:.0f} N",
               "a positional screw keeps pieces at their distance; what is meant to compress them "
               "is a lag screw, with its thread beyond the fracture")
    if screw.locked and (screw.use == "lag" or pull > 0):
        yield ("broken", "locked head", "a locked screw is given a tension for compression",
               "a head locked in its plate cannot draw the bone towards it, so its tension "
               "does not compress the fracture")
    if pull > 0:
        holds = thread_hold(section, placed)
        share = number("screws", "in use", "tension_share")
        if pull > holds:
            yield ("broken", "lag tension",
                   f"tightened to {pull:.0f} N; {PULLS_OUT} {holds:.0f} N",
                   "a thread strips before it reaches a tension above its pull-out force, so such "
                   "a construct cannot be made")
        elif pull > share * holds:
            yield ("warning", "lag tension",
                   f"tightened to {pull:.0f} N; {PULLS_OUT} {holds:.0f} N",
                   f"above {100 * share:.0f} % of its pull-out force a thread may strip while it "
                   "is tightened or soon after")


def thread_hold(section: Section, placed: Placed) -> float:
    """Pull-out force of one screw, N: Chapman's formula over the bone along the engaged thread."""
    pin = placed.pin
    if not isinstance(pin, Screw):
        return 0.0
    total = 0.0
    for start, end in held_thread(placed):
        # Midpoints of short segments: the cortex is thin, and a coarse rule would miss it.
        count = max(20, int(np.ceil((end - start) / 0.1)))
        s = start + (np.arange(count) + 0.5) * (end - start) / count
        bone = section.local_bone(placed.axis.point(s), pin.position_in_depth_mm)
        total += pull_out(screw_form(pin.form), end - start, float(bone.shear_strength.mean()))
    return total


def _depth(section: Section, placed: Placed) -> Iterator[Note]:
    low, high = placed.axis.in_bone
    inner = placed.axis.point(np.linspace(low, high, 41)[1:-1])
    radius = outer(placed.pin) / 2
    chord = section.chord(inner) / 2
    for z in depth_positions(placed.pin):
        share = float(np.mean(abs(z) + radius > chord))
        if share > threshold("outside"):
            yield ("broken", "inside the section",
                   f"at {z:+.0f} mm in depth the {placed.pin.what} lies outside the bone over "
                   f"{100 * share:.0f} % of its length",
                   "the bone is round: an implant far from its middle exits at the "
                   + section.given.beside)


def together(section: Section, construct: Construct, placed: Sequence[Placed],
             ) -> Iterator[tuple[str, Note]]:
    """Findings on pins that collide with each other or lie under a plate: (part, note)."""
    for one, two in itertools.combinations(placed, 2):
        clear = _clearance(one, two)
        if clear < 0:
            yield one.pin.name, (
                "broken", "implants meet", f'runs into {two.pin.what} "{two.pin.name}" '
                f"(they overlap by {-clear:.1f} mm)",
                "two implants cannot occupy the same space; in a study file position_in_depth_mm, "
                "height and angle say where each lies")
    for item in placed:
        if not isinstance(item.pin, Screw) or item.pin.plate is None:
            yield from _under_plate(section, construct, item)


def plates_across(construct: Construct, placed: Sequence[Placed]) -> Iterator[tuple[str, Note]]:
    """Plates whose screws hold a fracture together directly: (plate, note)."""
    counts = {item.pin.name: item.pin.count for item in placed}
    for plate in construct.plates:
        met: dict[tuple[str, ...], list[str]] = {}
        for item in placed:
            if isinstance(item.pin, Screw) and item.pin.plate == plate.name and item.crossed:
                names = tuple(dict.fromkeys(name for _, name in item.crossed))
                met.setdefault(names, []).append(item.pin.name)
        for fractures, screws in met.items():
            row = piece_or_row("screw", counts[screws[0]])
            what, verb = ("screws", "cross") if len(screws) > 1 else (row, "crosses")
            yield plate.name, (
                "note", PLATE_ACROSS, f"its {what} {_listed(screws)} {verb} {_listed(fractures)}",
                "a screw across the fracture holds the pieces together directly, so the load that "
                "such a construct carries is not due to the plate's buttress alone")


def _listed(names: Sequence[str]) -> str:
    return listed([f'"{n}"' for n in names])


def _under_plate(section: Section, construct: Construct, item: Placed,
                 ) -> Iterator[tuple[str, Note]]:
    head = head_diameter(item.pin) / 2
    for plate in construct.plates:
        if plate.side != item.pin.side:
            continue
        line = plate_line(section, plate)
        away = np.hypot(*(line.points - item.axis.head).T)
        k = int(away.argmin())
        width = section_at(plate, float(line.s[k])).width / 2
        z = min(abs(z) for z in depth_positions(item.pin))
        if away[k] < head and z < width + head:
            yield item.pin.name, (
                "broken", "implants meet", f'its head lies where plate "{plate.name}" lies',
                "a head under a plate lifts the plate off; in a study file `hole` puts a screw "
                "into the plate and `position_in_depth_mm` beside it")


def _clearance(one: Placed, two: Placed) -> float:
    """Least clearance between two pins or rows of pins, mm; negative where they overlap."""
    flat = LineString([one.axis.head, one.axis.tip]).distance(
        LineString([two.axis.head, two.axis.tip]))
    depth = min(abs(z - w) for z in depth_positions(one.pin)
                for w in depth_positions(two.pin))
    touch = (outer(one.pin) + outer(two.pin)) / 2
    # All axes are parallel to the section, so depth is perpendicular to distance in the section.
    return float(np.hypot(flat, depth)) - touch
