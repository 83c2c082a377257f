"""Plates: a member along the bone surface, in frictional contact with it node by node."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from buttress.bone.bone import Bone
from buttress.bone.measures import edge_lengths
from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.body import Column
from buttress.fe.bodies.member import Member
from buttress.fe.errors import InputError
from buttress.fe.links.link import End, Link, LinkList
from buttress.implants.hardware import (
    SHEAR_FLAT,
    STIFF,
    Hardware,
    Part,
    Seat,
    add_hinges,
    beam,
    stations,
)
from buttress.implants.kinds import Hold
from buttress.implants.loose import leave
from buttress.implants.placement import PlateLine, plate_line
from buttress.implants.sections import metal, section_at
from buttress.study.study import Plate

ON_NODE, UNDER = 0.2, 0.02
"""Ends of a plate nearer to a node than this need no contact of their own; depth of that in the
bone, mm."""
NEAR = 0.5
"""Surface nodes farther than this [mm] from the plate's line are not under it."""


def add_plate(bone: Bone, plate: Plate, links: LinkList, out: Hardware,
              bonded: bool = False, attached: bool = True) -> Seat:
    """The plate's member and its contact with the bone; ``bonded`` resists both directions.

    One that is not ``attached`` by a screw is left where it is, with a warning: bone can only push
    it away. Raises `InputError` where it touches no body.
    """
    line = plate_line(bone.section, plate)
    touching = _surface_nodes(bone, plate.side, line)
    touching = _in_order([*touching, *_ends(bone, line, touching)])
    if not touching:
        raise InputError("the plate touches no body", key=f"plate.{plate.name}",
                         expected="a plate that lies on the bone surface")
    edges = [h + side * section_at(plate, h).hole / 2 for h in line.holes for side in (-1, 1)]
    s = stations([line.s[0], line.s[-1], *line.holes, *np.clip(edges, line.s[0], line.s[-1]),
                  *(t[3] for t in touching)])
    points, normals, offset = line.at(s)
    centre = points + normals * offset[:, None]
    material = metal(plate.material)
    sections = []
    for a, b in zip(s[:-1], s[1:], strict=True):
        piece = section_at(plate, 0.5 * float(a + b))
        hole = any(abs(0.5 * (a + b) - h) < piece.hole / 2 for h in line.holes)
        sections.append(piece.net if hole else piece.solid)
    member = Member(plate.name, centre, [beam(x, material, SHEAR_FLAT,
                                               plane=bone.section.plane) for x in sections])
    part = Part(
        name=plate.name, kind="plate", member=member, sections=tuple(sections), material=material)
    out.parts.append(part)
    if not (bonded or attached):
        leave(member, links)
        out.loose.add(plate.name)
        out.warnings.append(f"no screw goes through '{plate.name}': it bears nothing; kept in "
                            "place, not part of the solution")
        touching = []
    for body, take, point, place, weight in touching:
        k = int(np.argmin(np.abs(s - place)))
        normal = normals[k]
        piece_body = bone.bodies[body]
        arm = point - centre[k]
        here: dict[str, Any] = {"compliance": STIFF, "place": (float(point[0]), float(point[1])),
                "weight": weight * section_at(plate, place).width}
        ends = take, _rigid(member, k, arm)
        if bonded:
            for direction in (normal, np.array([-normal[1], normal[0]])):
                links.add(Link(Hold.BONDED_PLATE, plate.name, End(piece_body, ends[0](direction)),
                               End(member, ends[1](direction)),
                               direction=(float(direction[0]), float(direction[1])), **here))
        else:
            links.contact(Hold.PLATE_ON_BONE, plate.name, (piece_body, member), ends, normal=normal,
                          friction=plate.friction,
                          gap=float(np.interp(place, line.s, line.gap)), **here)
    add_hinges(part, links, bone.study.hardening)
    return Seat(plate, part, line, s)


Touch = tuple[int, Callable[[FloatArray], Column], FloatArray, float, float]
"""Where bone meets a plate: body, its columns there, place, distance along the plate, length."""


def _surface_nodes(bone: Bone, side: str, line: PlateLine) -> list[Touch]:
    """Bone nodes under the plate, each with its tributary length."""
    found: list[Touch] = []
    for i, body in enumerate(bone.bodies):
        weight = edge_lengths(body.mesh, side)
        nodes = np.flatnonzero(weight)
        s, away = _project(body.points[nodes], line)
        near = away < NEAR
        found += [(i, body.node(node), body.points[node], place, length)
                  for node, place, length in zip(nodes[near].tolist(), s[near].tolist(),
                                                 weight[nodes[near]].tolist(), strict=True)]
    return _in_order(found)


def _in_order(found: list[Touch]) -> list[Touch]:
    """In order along the plate, as its links are to be."""
    return sorted(found, key=lambda t: (t[3], t[0]))


def _ends(bone: Bone, line: PlateLine, touching: list[Touch]) -> list[Touch]:
    """Bone under the very ends of a plate, where no node lies under them: its edges press too."""
    found: list[Touch] = []
    for at in (0, -1):
        end, apart = float(line.s[at]), [abs(t[3] - line.s[at]) for t in touching]
        room = min(apart, default=float(line.s[-1]))
        if room < ON_NODE:
            continue
        point = line.points[at] - UNDER * line.normals[at]
        for i, body in enumerate(bone.bodies):
            if body.inside(point[None])[0]:
                found.append((i, body.spread(point[None], np.ones(1)), point, end,
                              room / 2))
    return found


def _project(points: FloatArray, line: PlateLine) -> tuple[FloatArray, FloatArray]:
    """For each point, position along the plate of the nearest point of its line, and distance."""
    a, step = line.points[:-1], np.diff(line.points, axis=0)
    ahead = points[:, None] - a
    t = np.clip((ahead * step).sum(axis=2) / (step**2).sum(axis=1), 0.0, 1.0)
    away = np.linalg.norm(ahead - t[..., None] * step, axis=2)
    each, k = np.arange(len(points)), np.argmin(away, axis=1)
    return line.s[k] + t[each, k] * np.diff(line.s)[k], away[each, k]


def _rigid(member: Member, node: int, arm: FloatArray) -> Callable[[FloatArray], Column]:
    return lambda direction: member.translation(node, direction, arm)
