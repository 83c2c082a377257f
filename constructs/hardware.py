"""Screws and plates of a construct as members, and their links to bone and to each other."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from constructs.bone import Bone
from constructs.implants import (
    Bending,
    Material,
    metal,
    round_section,
    screw_form,
    section_at,
    tension,
    thread_shape_factor,
)
from constructs.placement import (
    Axis,
    PlateLine,
    engaged_thread,
    fracture_crossings,
    plate_line,
    screw_axis,
    thread_span,
)
from constructs.schema import Construct, Plate, Screw
from fe.body import Column
from fe.continuum import Continuum
from fe.embed import axial_compliance, keep_pairs, lateral_compliance, spread_points
from fe.errors import InputError
from fe.link import End, Hinge, Link, LinkList
from fe.member import BeamSection, Member

FloatArray = np.ndarray
STIFF = 1e-6
"""Compliance of a joint that is taken as stiff [mm/N]: a thousandth of a millimetre a kilonewton."""
LEVER = 10.0
"""Arm by which moments of locked heads are carried as forces [mm], so that all links are newtons."""
SHEAR_ROUND, SHEAR_FLAT = 0.9, 5.0 / 6.0
"""Timoshenko shear factors of a round and of a flat section (Cowper 1966; memory)."""
STATION = (1.5, 3.0)
"""Shortest and longest spacing of a screw's stations [mm]; half a thread diameter between."""
SAME_PLACE = 0.05
"""Stations closer than this [mm] are one."""


@dataclass(frozen=True)
class Part:
    """A member with what is needed to read its stress: one section and material an element."""

    name: str
    kind: str                          # "plate" | "screw"
    member: Member
    sections: tuple[Bending, ...]      # one an element, for ``count`` pieces one by one
    material: Material
    count: int = 1


@dataclass(frozen=True)
class Seat:
    """A plate to which heads can be joined: its line on the bone and its stations along it."""

    given: Plate
    part: Part
    line: PlateLine
    s: FloatArray


@dataclass
class Hardware:
    """Everything that a construct adds to the bone."""

    parts: list[Part] = field(default_factory=list)
    tighten: dict[int, float] = field(default_factory=dict)
    warnings: list[str] = field(default_factory=list)


def build_hardware(bone: Bone, construct: Construct, links: LinkList) -> Hardware:
    """Members of a construct; their links and hinges are appended to ``links``.

    Raises `InputError` for a screw or plate that touches no body.
    """
    out = Hardware()
    plates: dict[str, Seat] = {}
    for plate in construct.plates:
        plates[plate.name] = _plate(bone, plate, links, out)
    for screw in construct.screws:
        _screw(bone, construct, screw, plates, links, out)
    return out


# -- plates -----------------------------------------------------------------------------------

def _plate(bone: Bone, plate: Plate, links: LinkList, out: Hardware
           ) -> Seat:
    line = plate_line(bone.section, plate)
    touching = _surface_nodes(bone, plate.side, line)
    if not touching:
        raise InputError("the plate touches no body", key=f"plate.{plate.name}",
                         expected="a plate that lies on the bone's surface")
    s = np.unique(np.concatenate([[line.s[0], line.s[-1]], line.holes,
                                  [t[2] for t in touching]]))
    s = s[np.concatenate([[True], np.diff(s) > SAME_PLACE])]
    at = [line.at(float(x)) for x in s]
    centre = np.array([p + n * h for p, n, h in at])
    material = metal(plate.material)
    sections = []
    for a, b in zip(s[:-1], s[1:], strict=True):
        piece = section_at(plate, 0.5 * float(a + b))
        hole = any(abs(0.5 * (a + b) - h) < piece.hole / 2 for h in line.holes)
        sections.append(piece.net if hole else piece.solid)
    member = Member(plate.name, centre, [_beam(x, material, SHEAR_FLAT) for x in sections])
    part = Part(plate.name, "plate", member, tuple(sections), material)
    out.parts.append(part)
    for body, node, place, weight in touching:
        k = int(np.argmin(np.abs(s - place)))
        _, normal, offset = at[k]
        piece_body = bone.bodies[body]
        point = piece_body.points[node]
        arm = point - centre[k]
        links.contact("plate on bone", plate.name, (piece_body, member),
                      (piece_body.node(node), _rigid(member, k, arm)), normal=normal,
                      friction=plate.friction, compliance=STIFF, gap=float(np.interp(place, line.s, line.gap)),
                      place=(float(point[0]), float(point[1])),
                      weight=weight * section_at(plate, place).width)
    _hinges(part, links)
    return Seat(plate, part, line, s)


def _surface_nodes(bone: Bone, side: str, line: PlateLine) -> list[tuple[int, int, float, float]]:
    """Bone nodes under the plate: (body, node, distance along the plate, length it stands for)."""
    found = []
    for i, body in enumerate(bone.bodies):
        edges = body.mesh.edges.get(side)
        if edges is None:
            continue
        length = np.hypot(*(body.points[edges[:, 2]] - body.points[edges[:, 0]]).T)
        weight = np.zeros(len(body.points))
        np.add.at(weight, edges, length[:, None] * np.array([1.0, 4.0, 1.0]) / 6.0)
        for node in np.flatnonzero(weight):
            s, away = _project(body.points[node], line)
            if away < 0.5:
                found.append((i, int(node), s, float(weight[node])))
    return sorted(found, key=lambda t: (t[2], t[0]))


def _project(point: FloatArray, line: PlateLine) -> tuple[float, float]:
    """Distance along the plate of the nearest place of its line, and the distance from it."""
    a, step = line.points[:-1], np.diff(line.points, axis=0)
    t = np.clip(((point - a) * step).sum(axis=1) / (step**2).sum(axis=1), 0.0, 1.0)
    away = np.hypot(*(point - a - t[:, None] * step).T)
    k = int(np.argmin(away))
    return float(line.s[k] + t[k] * (line.s[k + 1] - line.s[k])), float(away[k])


def _rigid(member: Member, node: int, arm: FloatArray):
    return lambda direction: member.translation(node, direction, arm)


def _beam(section: Bending, material: Material, factor: float, count: int = 1) -> BeamSection:
    return BeamSection(count * material.modulus * section.area,
                       count * material.modulus * section.inertia,
                       count * factor * material.shear_modulus * section.area)


def _hinges(part: Part, links: LinkList) -> None:
    """A hinge at every inner station, at the smaller plastic moment of its two elements."""
    for node in range(1, len(part.member.points) - 1):
        moment = min(part.sections[node - 1].plastic_moment(part.material.yield_strength),
                     part.sections[node].plastic_moment(part.material.yield_strength))
        links.hinges.append(Hinge(part.name, part.member, node, part.count * moment))


# -- screws -----------------------------------------------------------------------------------

def _screw(bone: Bone, construct: Construct, screw: Screw,
           plates: dict[str, Seat], links: LinkList,
           out: Hardware) -> None:
    axis = screw_axis(bone.section, screw, construct.plates)
    cells = _cells(bone, screw, axis)
    if not cells:
        raise InputError("the screw touches no body", key=f"screw.{screw.name}",
                         expected="an axis that passes through bone")
    form, material, count = screw_form(screw.form), metal(screw.material), screw.count
    s = _stations(cells, axis.length)
    threaded = thread_span(screw, axis.length)
    sections = tuple(form.section(bool(0.5 * (a + b) >= threaded[0]))
                     for a, b in zip(s[:-1], s[1:], strict=True))
    member = Member(screw.name, axis.point(s),
                    [_beam(x, material, SHEAR_ROUND, count) for x in sections])
    part = Part(screw.name, "screw", member, sections, material, count)
    out.parts.append(part)
    _embed(bone, screw, axis, cells, s, part, links)
    head = _head_on_plate(screw, axis, part, plates[screw.plate], links) if screw.plate \
        else _head_on_bone(bone, screw, axis, member, links)
    if tension(screw) > 0 and not screw.locked:
        out.tighten[head] = tension(screw) * count
    _hinges(part, links)


@dataclass(frozen=True)
class _Cell:
    """A stretch of a screw in one body."""

    body: int
    start: float
    end: float

    @property
    def middle(self) -> float:
        return 0.5 * (self.start + self.end)


def _cells(bone: Bone, screw: Screw, axis: Axis) -> list[_Cell]:
    """Stretches of the axis, body by body, none across a fracture, each with one station."""
    fine = np.arange(0.0, axis.length, 0.02) + 0.01
    owner = np.full(fine.size, -1)
    for i, body in enumerate(bone.bodies):
        owner[body.inside(axis.point(fine))] = i
    wanted = float(np.clip(screw_form(screw.form).thread / 2, *STATION))
    cells = []
    change = np.flatnonzero(np.diff(owner)) + 1
    for run in np.split(np.arange(fine.size), change):
        body, start, end = int(owner[run[0]]), fine[run[0]] - 0.01, fine[run[-1]] + 0.01
        if body < 0 or end - start < 0.2:
            continue
        count = max(1, round((end - start) / wanted))
        bounds = np.linspace(start, end, count + 1)
        cells += [_Cell(body, float(a), float(b))
                  for a, b in zip(bounds[:-1], bounds[1:], strict=True)]
    return cells


def _stations(cells: list[_Cell], length: float) -> FloatArray:
    """Nodes of the screw: head, tip, middles of cells, and where it passes between bodies."""
    places = [0.0, length, *(c.middle for c in cells)]
    places += [c.end for c, d in zip(cells[:-1], cells[1:], strict=True) if c.body != d.body]
    s = np.unique(np.array(places))
    return s[np.concatenate([[True], np.diff(s) > SAME_PLACE])]


def _embed(bone: Bone, screw: Screw, axis: Axis, cells: list[_Cell], s: FloatArray, part: Part,
           links: LinkList) -> None:
    """Bearing across the screw in every cell, thread along it where the thread is engaged."""
    form, count, member = screw_form(screw.form), part.count, part.member
    along = axis.direction
    across = np.array([-along[1], along[0]])
    crossed = fracture_crossings(bone.study, axis)
    low, high = engaged_thread(screw, axis, crossed)
    middles = axis.point(np.array([c.middle for c in cells]))
    local = bone.section.local_bone(middles, screw.position_in_depth_mm)
    sheets = bone.section.sheets(middles)
    depth = bone.section.thickness(middles)
    metal_ = part.material
    for i, cell in enumerate(cells):
        node = int(np.argmin(np.abs(s - cell.middle)))
        modulus, poisson = float(local.modulus[i]), float(local.poisson[i])
        # E t of the sheet that one of the screws side by side has for itself
        stretch = float(sheets[i, 0]) * (1.0 - poisson**2) / count
        element = part.sections[min(node, len(part.sections) - 1)]
        diameter = form.thread if form.shaft is None or cell.middle >= low else form.shaft
        bending = metal_.modulus * element.inertia
        length = cell.end - cell.start
        take = _hold(bone.bodies[cell.body], middles[i], along, length, diameter)
        place = (float(middles[i, 0]), float(middles[i, 1]))
        bearing = count * float(local.compressive_strength[i]) * diameter * length
        side = lateral_compliance(modulus, poisson, stretch, diameter, bending)
        links.add(Link("bearing", screw.name, End(member, member.translation(node, across)),
                       End(bone.bodies[cell.body], take(across)),
                       compliance=side / (length * count), lower=-bearing, upper=bearing,
                       place=place, direction=(float(across[0]), float(across[1])),
                       weight=length * count))
        engaged = min(cell.end, high) - max(cell.start, low)
        if engaged <= SAME_PLACE:
            continue
        shear = count * float(local.shear_strength[i]) * np.pi * form.thread
        shear *= thread_shape_factor(form) * engaged
        pull = axial_compliance(modulus, poisson, stretch, form.thread,
                                metal_.modulus * element.area, float(depth[i]) / count)
        links.add(Link("thread", screw.name, End(member, member.translation(node, along)),
                       End(bone.bodies[cell.body], take(along)),
                       compliance=pull / (engaged * count), lower=-shear, upper=shear,
                       place=place, direction=(float(along[0]), float(along[1])),
                       weight=engaged * count))


def _hold(body: Continuum, centre: FloatArray, along: FloatArray, length: float, diameter: float):
    """Where a station takes hold of a body: spread over its length and one diameter."""
    points, weights = spread_points(centre, along, length, diameter)
    points, weights = keep_pairs(points, weights, body.inside(points))
    if not len(points):
        points, weights = centre[None], np.ones(1)
    return body.spread(points, weights)


def _head_on_bone(bone: Bone, screw: Screw, axis: Axis, member: Member, links: LinkList) -> int:
    """One-sided link between head and cortex, spread over the head (or twice it: a washer)."""
    form = screw_form(screw.form)
    reach = form.head / 2 * (2.0 if screw.washer else 1.0)
    along = axis.direction
    across = np.array([-along[1], along[0]])
    surface = axis.point(axis.entry)
    spots = surface + 0.3 * along + np.linspace(-reach, reach, 9)[:, None] * across
    for body in bone.bodies:
        inside = body.inside(spots)
        inside &= inside[::-1]
        if inside.any():
            take = body.spread(spots[inside], np.ones(int(inside.sum())))
            return links.add(Link("head on bone", screw.name,
                                  End(member, member.translation(0, along)),
                                  End(body, take(along)), compliance=STIFF, lower=0.0,
                                  place=(float(surface[0]), float(surface[1])),
                                  direction=(float(along[0]), float(along[1]))))
    raise InputError("the head of the screw rests on no body", key=f"screw.{screw.name}",
                     expected="a head on the bone's surface")


def _head_on_plate(screw: Screw, axis: Axis, part: Part,
                   on: Seat, links: LinkList) -> int:
    """Head in a plate's hole: pressed and rubbing until the hole's edge, or locked."""
    plate, line, s, given = on.part, on.line, on.s, on.given
    assert screw.hole is not None
    node = int(np.argmin(np.abs(s - line.holes[screw.hole - 1])))
    along = axis.direction
    across = np.array([-along[1], along[0]])
    arm = axis.head - plate.member.points[node]
    head, held = part.member, plate.member
    place = (float(axis.head[0]), float(axis.head[1]))

    def link(kind: str, direction: FloatArray, **law: float) -> int:
        return links.add(Link(kind, screw.name, End(head, head.translation(0, direction)),
                              End(held, held.translation(node, direction, arm)),
                              compliance=STIFF / part.count, place=place,
                              direction=(float(direction[0]), float(direction[1])),
                              **law))  # type: ignore[arg-type]

    if screw.locked:
        axial = link("locked head", along)
        link("locked head", across)
        turn = [Column.of(c.dofs, c.values * LEVER) for c in (head.rotation(0),
                                                             held.rotation(node))]
        links.add(Link("locked head moment", screw.name, End(head, turn[0]), End(held, turn[1]),
                       compliance=STIFF / part.count, place=place))
        return axial
    axial = link("head on plate", along, lower=0.0)
    link("head on plate friction", across, lower=0.0, upper=0.0,
         friction=given.friction, partner=axial)
    for direction in (across, -across):
        link("head at the edge of the hole", direction, lower=0.0, gap=given.hole_clearance_mm)
    return axial
