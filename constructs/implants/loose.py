"""Unsupported pieces: not connected to the shaft, and fixed in place while unloaded."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from buttress.bone.bone import Bone
from buttress.bone.pieces import Solid
from buttress.fe.bodies.body import Body, Column
from buttress.fe.bodies.continuum import Continuum
from buttress.fe.bodies.member import Member
from buttress.fe.links.link import End, Link, LinkList
from buttress.implants.hardware import LEVER, Hardware
from buttress.implants.kinds import Hold

LEFT_OUT = Hold.LEFT_OUT
"""Source of the links that keep a loose, unloaded piece in place; they carry no force."""


def leave_out_loose(bone: Bone, solids: Sequence[Solid], hardware: Hardware, links: LinkList
                    ) -> None:
    """Fix pieces that no link connects to the shaft and on which no load acts, with a warning.

    Otherwise their free motion would make the whole problem singular. A loose piece under load
    stays free: it has no equilibrium, which is then the result.
    """
    bodies: list[Body] = [*(s.body for s in solids), *(p.member for p in hardware.parts)]
    groups = _groups(bodies, links)
    loaded = {groups[id(bone.bodies[i])] for i in loaded_bodies(bone)}
    shaft = groups[id(bone.bodies[bone.shaft])]
    names = {id(s.body): s.name for s in solids} | {id(p.member): p.name for p in hardware.parts}
    for group in dict.fromkeys(groups.values()):
        if group == shaft or group in loaded:
            continue
        mine = [b for b in bodies if groups[id(b)] == group]
        held = next((b for b in mine if isinstance(b, Continuum)), None)
        if held is None:
            continue    # hardware without contact is refused where it is placed
        _hold(held, links)
        hardware.loose |= {names[id(b)] for b in mine}
        words = " and ".join(f"'{names[id(b)]}'" for b in mine)
        hardware.warnings.append(
            f"unsupported and unloaded: {words}; kept in place, not part of the solution")


def loaded_bodies(bone: Bone) -> tuple[int, ...]:
    """Numbers of the bodies on which a part of the joint force acts."""
    found = {id(body) for force, case in zip(bone.load_vector(1.0), bone.loads, strict=True)
             if force != 0.0 for body, _ in case}
    return tuple(i for i, body in enumerate(bone.bodies) if id(body) in found)


def _groups(bodies: Sequence[Body], links: LinkList) -> dict[int, int]:
    """Number of the group of joined bodies that each body belongs to, by the body's id."""
    above = {id(b): id(b) for b in bodies}

    def top(k: int) -> int:
        while above[k] != k:
            k = above[k]
        return k

    for link in links.links:
        if link.a.body is not None and link.b.body is not None:
            above[top(id(link.a.body))] = top(id(link.b.body))
    return {k: top(k) for k in above}


def leave(member: Member, links: LinkList) -> None:
    """Three links to the ground that keep a member where it is; it touches nothing else."""
    turn = member.rotation(0)
    for column in (member.translation(0, np.array([1.0, 0.0])),
                   member.translation(0, np.array([0.0, 1.0])),
                   Column.of(turn.dofs, turn.values * LEVER)):
        links.add(Link(LEFT_OUT, LEFT_OUT, End(member, column), End(None, None)))


def _hold(body: Continuum, links: LinkList) -> None:
    """Three links to the ground that prevent a body's three rigid motions."""
    away = np.hypot(*(body.points - body.points[0]).T)
    far = int(away.argmax())
    arm = body.points[far] - body.points[0]
    turn = np.array([-arm[1], arm[0]]) / away[far]
    for node, direction in ((0, (1.0, 0.0)), (0, (0.0, 1.0)), (far, turn)):
        column = Column.of([2 * node, 2 * node + 1], np.asarray(direction, dtype=float))
        links.add(Link(LEFT_OUT, LEFT_OUT, End(body, column), End(None, None)))
