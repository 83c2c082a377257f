"""Screws and wires: members anchored in bone or graft, or supporting bone across a void."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from buttress.bone.bone import Bone
from buttress.bone.pieces import Made, Solid
from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.embed import axial_compliance, lateral_compliance, medium_lateral
from buttress.fe.bodies.member import Member
from buttress.fe.bodies.plane import in_plane
from buttress.fe.errors import InputError
from buttress.fe.links.link import End, Link, LinkList
from buttress.implants.grips import EMPTY, Cell, Grip, gripped
from buttress.implants.hardware import (
    SAME_PLACE,
    SHEAR_ROUND,
    STIFF,
    Hardware,
    Part,
    Seat,
    add_hinges,
    beam,
    stations,
)
from buttress.implants.heads import head_on_bone
from buttress.implants.kinds import Hold
from buttress.implants.placement import (
    Axis,
    engaged_thread,
    fracture_crossings,
    screw_axis,
    thread_span,
)
from buttress.implants.sections import (
    metal,
    outer,
    pin_section,
    press_fit,
    rim,
    screw_form,
    section_at,
    thread_shape_factor,
)
from buttress.study.implants import Pin, tension
from buttress.study.study import Construct, Screw
from buttress.study.tables import number

DEEPER = 0.2
"""How far below the surface bone that rests on a pin is taken hold of [mm]."""


def add_pin(bone: Bone, construct: Construct, pin: Pin, solids: list[Solid],
            seats: dict[str, Seat], links: LinkList, out: Hardware) -> None:
    """Member, bearing, thread, rests and head of a screw or wire.

    Raises `InputError` where it touches no body.
    """
    axis = screw_axis(bone.section, pin, construct.plates,
                      {name: seat.line for name, seat in seats.items()})
    low, high = engaged_thread(pin, axis, fracture_crossings(bone.study, axis))
    cells, grips = gripped(bone, solids, pin, axis, low)
    if not any(c.solid != EMPTY for c in cells):
        raise InputError(f"the {pin.what} touches no body", key=f"{pin.what}.{pin.name}",
                         expected="an axis that passes through bone")
    material = metal(pin.material)
    ends = [c.end for c, d in zip(cells[:-1], cells[1:], strict=True) if c.solid != d.solid]
    s = stations([0.0, axis.length, *(c.middle for c in cells), *ends])
    threaded = thread_span(pin, axis.length)[0]
    sections = tuple(pin_section(pin, bool(0.5 * (a + b) >= threaded))
                     for a, b in zip(s[:-1], s[1:], strict=True))
    member = Member(pin.name, axis.point(s),
                    [beam(x, material, SHEAR_ROUND, pin.count, bone.section.plane)
                     for x in sections])
    part = Part(
        name=pin.name, kind=pin.what, member=member, sections=sections, material=material,
        count=pin.count)
    out.parts.append(part)
    _embed(bone, pin, axis, zip(cells, grips, strict=True), (low, high), s, part, solids, links)
    _rest(bone, pin, axis, cells, s, part, solids, links)
    if isinstance(pin, Screw):
        later = construct.locks_later(pin.name)
        head = _head_on_plate(pin, axis, part, seats[pin.plate], links, later) if pin.plate \
            else head_on_bone(solids, pin, axis, member, links)
        if tension(pin) > 0 and not pin.locked and not construct.stages:
            out.tighten |= shared(head, tension(pin) * pin.count)
    add_hinges(part, links, bone.study.hardening)


def _embed(bone: Bone, pin: Pin, axis: Axis, held: Iterable[tuple[Cell, Grip | None]],
           thread: tuple[float, float], s: FloatArray, part: Part, solids: list[Solid],
           links: LinkList) -> None:
    """Bearing across the pin in every cell; thread (or press fit) along it where it holds.

    Bone that a pin crushes carries more, by the study's share of its elastic foundation.
    """
    crushed, plane = bone.study.hardening.bone_share, bone.section.plane
    metal_modulus = part.material.in_plane(plane)
    count, member, along = part.count, part.member, axis.direction
    across = np.array([-along[1], along[0]])
    low, high = thread
    for cell, grip in held:
        if grip is None:
            continue
        solid, modulus, poisson = solids[cell.solid], grip.modulus, grip.poisson
        node = int(np.argmin(np.abs(s - cell.middle)))
        centre = axis.point(cell.middle)
        # E t of the share of the sheet for each of the pieces side by side
        stretch = grip.sheet * (1.0 - float(in_plane(1.0, poisson, plane)[1])**2) / count
        depth = grip.depth / count
        element = part.sections[min(node, len(part.sections) - 1)]
        length = cell.end - cell.start
        diameter = outer(pin)
        if isinstance(pin, Screw) and cell.middle < low:
            diameter = screw_form(pin.form).shaft or diameter
        here: dict[str, Any] = {"place": (float(centre[0]), float(centre[1]))}
        bearing = count * grip.crush * diameter * length
        bending = metal_modulus * element.inertia
        side = lateral_compliance(modulus, poisson, stretch, diameter, bending, plane)
        rise = crushed * medium_lateral(grip.crushable, poisson, diameter, bending)
        links.add(Link(Hold.BEARING, pin.name, End(member, member.translation(node, across)),
                       End(solid.body, grip.across), compliance=side / (length * count),
                       lower=-bearing, upper=bearing, slope=rise * length * count,
                       direction=_pair(across),
                       weight=length * count, **here))
        if isinstance(pin, Screw):
            engaged = min(cell.end, high) - max(cell.start, low)
            shear = grip.shear * thread_shape_factor(screw_form(pin.form))
        else:
            # A smooth wire is held only by press fit, in bone.
            engaged, shear = length, press_fit() if solid.kind == Made.BONE else 0.0
        if engaged <= SAME_PLACE or shear <= 0.0:
            continue
        kept: dict[str, Any] = {}
        if isinstance(pin, Screw) and bone.study.hardening.thread_residual < 1.0:
            kept = {"residual": bone.study.hardening.thread_residual,
                    "soften": number("materials", "broken", "thread_slip")
                    * screw_form(pin.form).pitch}
        hold_back = count * shear * np.pi * outer(pin) * engaged
        pull = axial_compliance(modulus, poisson, stretch, outer(pin),
                                metal_modulus * element.area, depth, plane)
        links.add(Link(Hold.THREAD if isinstance(pin, Screw) else Hold.PRESS_FIT, pin.name,
                       End(member, member.translation(node, along)), End(solid.body, grip.along),
                       compliance=pull / (engaged * count), lower=-hold_back, upper=hold_back,
                       direction=_pair(along), weight=engaged * count, **kept, **here))


def _rest(bone: Bone, pin: Pin, axis: Axis, cells: list[Cell], s: FloatArray, part: Part,
          solids: list[Solid], links: LinkList) -> None:
    """Bone or graft that the pin touches where it passes through a void, filled or not."""
    member, along = part.member, axis.direction
    across = np.array([-along[1], along[0]])
    friction = number("materials", "friction", "plate_on_bone")
    rest = number("screws", "in use", "rest_gap")
    for cell in cells:
        if cell.solid != EMPTY and solids[cell.solid].kind == Made.BONE:
            continue
        centre, node = axis.point(cell.middle), int(np.argmin(np.abs(s - cell.middle)))
        for outward in (across, -across):
            found = _nearest(solids, centre, outward, outer(pin) / 2 + rest, cell.solid)
            if found is None:
                continue
            number_, distance = found
            solid, length = solids[number_], cell.end - cell.start
            touch = _deeper(solid, centre + distance * outward, outward)
            points = touch + np.linspace(-0.5, 0.5, 5)[:, None] * length * along
            inside = solid.body.inside(points)
            inside &= inside[::-1]
            spots = points[inside] if inside.any() else touch[None]
            take = solid.body.spread(spots, np.ones(len(spots)))
            # Friction acts on the pin's surface: without the arm the pair would not balance.
            arm = touch - member.points[node]
            local = solid.piece.local(touch, pin.position_in_depth_mm)
            crush = float(local.compressive_strength)
            element = part.sections[min(node, len(part.sections) - 1)]
            # On one side only, unlike around a pin.
            rise = 0.5 * bone.study.hardening.bone_share * medium_lateral(
                float(local.crushable), float(local.poisson), outer(pin),
                part.material.in_plane(bone.section.plane) * element.inertia)
            links.contact(Hold.REST, pin.name, (member, solid.body),
                          (lambda d, n=node, r=arm: member.translation(n, d, r), take),
                          normal=outward, friction=friction,
                          gap=max(0.0, distance - outer(pin) / 2),
                          strength=pin.count * crush * outer(pin) * length,
                          slope=pin.count * rise * length, compliance=STIFF,
                          place=_pair(touch), weight=pin.count * outer(pin) * length)


def _nearest(solids: list[Solid], centre: FloatArray, outward: FloatArray, reach: float,
             within: int) -> tuple[int, float] | None:
    """First solid met from a place along a direction, other than the one that the place is
    ``within``: its number and the distance [mm]."""
    steps = np.arange(0.0, reach, 0.02) + 0.01
    points = centre + steps[:, None] * outward
    best: tuple[int, float] | None = None
    for i, solid in enumerate(solids):
        hit = np.flatnonzero(solid.body.inside(points)) if i != within else np.zeros(0, dtype=int)
        if hit.size and (best is None or steps[hit[0]] < best[1]):
            best = (i, float(steps[hit[0]]))
    return best


def _deeper(solid: Solid, surface: FloatArray, inward: FloatArray) -> FloatArray:
    """A point ``(2,)`` just below a solid's surface; on it where the solid is thinner than that."""
    deep = surface + DEEPER * inward
    return deep if solid.body.inside(deep[None])[0] else surface


def heads_of(links: LinkList) -> dict[str, tuple[int, ...]]:
    """The links whose forces add up to the force of a screw's head along its axis, by screw."""
    found: dict[str, tuple[int, ...]] = {}
    for i, link in enumerate(links.links):
        if link.kind in (Hold.HEAD_ON_BONE, Hold.HEAD_ON_PLATE, Hold.LOCKED_HEAD):
            found[link.source] = (*found.get(link.source, ()), i)
    return found


def shared(head: tuple[int, ...], force: float) -> dict[int, float]:
    """A force [N] of a head in equal parts on its links: tightened, a head sits evenly."""
    return {i: force / len(head) for i in head}


def _head_on_plate(screw: Screw, axis: Axis, part: Part, seat: Seat, links: LinkList,
                   later: bool = False) -> tuple[int, ...]:
    """Head in a plate's hole: locked, or in frictional contact on both sides of the hole.

    It meets the plate at two points, see `rim`. In contact it presses and rubs there, so that a
    plate turns about an edge of the head, and slides up to the hole's edge; locked, it holds both
    points as contact does that neither opens nor slips. ``later``: a stage locks it; until then
    it is in contact only. Returns the links along the axis.
    """
    assert screw.hole is not None
    hole = seat.line.holes[screw.hole - 1]
    node = int(np.argmin(np.abs(seat.s - hole)))
    along = axis.direction
    across = np.array([-along[1], along[0]])
    head, held = part.member, seat.part.member

    def link(kind: str, direction: FloatArray, at: FloatArray = axis.head, on: int = node,
             **law: float) -> int:
        return links.add(Link(kind, screw.name,
                              End(head, head.translation(0, direction, at - axis.head)),
                              End(held, held.translation(on, direction, at - held.points[on])),
                              compliance=STIFF / part.count, place=_pair(at),
                              direction=_pair(direction), **law))  # type: ignore[arg-type]

    normal = seat.line.at(hole)[1]
    tangent = np.array([-normal[1], normal[0]])
    tangent *= np.sign(tangent @ (held.points[-1] - held.points[0]))
    reach, radius = rim(screw, seat.given, hole), section_at(seat.given, hole).hole / 2
    rims, locked = [], screw.locked and not later
    for side in (-1.0, 1.0):
        room = hole - seat.s[0] if side < 0 else seat.s[-1] - hole
        edge = int(np.argmin(np.abs(seat.s - (hole + side * radius))))
        at = axis.head + side * min(reach, room) * tangent
        if locked:
            rims.append(link(Hold.LOCKED_HEAD, along, at, edge))
            link(Hold.LOCKED_HEAD_ACROSS, across, at, edge)
            continue
        rims.append(link(Hold.HEAD_ON_PLATE, along, at, edge, lower=0.0))
        link(Hold.HEAD_ON_PLATE_FRICTION, across, at, edge, lower=0.0, upper=0.0,
             friction=seat.given.friction, partner=rims[-1])
    for direction in () if locked else (across, -across):
        link("head at the edge of the hole", direction, lower=0.0,
             gap=seat.given.hole_clearance_mm)
    return tuple(rims)


def _pair(vector: FloatArray) -> tuple[float, float]:
    return float(vector[0]), float(vector[1])
