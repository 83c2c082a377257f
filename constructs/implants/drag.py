"""A drag of about its weight keeps an unsupported piece in place while no force acts on it.

Without it, equilibrium does not determine where a loose fragment, graft or plate lies between two
stages.
"""

from __future__ import annotations

import numpy as np

from buttress.bone.bone import Bone
from buttress.bone.measures import frame_columns
from buttress.fe.bodies.body import Column
from buttress.fe.links.link import End, Link, LinkList
from buttress.implants.hardware import LEVER, Hardware
from buttress.implants.kinds import Hold
from buttress.study.tables import number

DRAG = Hold.DRAG


def add_drags(bone: Bone, hardware: Hardware, links: LinkList) -> None:
    """Three links to the ground per fragment, fill and plate: two translations and a rotation."""
    force = number("anatomy", "loose piece", "drag")
    for body in (*(bone.bodies[i] for i in bone.fragments), *(s.body for s in hardware.fills)):
        x, y, turn = frame_columns(body.points, np.arange(len(body.points)))
        for column in (x, y, Column(turn.dofs, turn.values * LEVER)):
            links.add(Link(DRAG, DRAG, End(None, None), End(body, column), lower=-force,
                           upper=force))
    for part in hardware.parts:
        if part.kind == "plate":
            node, member = len(part.member.points) // 2, part.member
            turn = member.rotation(node)
            for column in (member.translation(node, np.array([1.0, 0.0])),
                           member.translation(node, np.array([0.0, 1.0])),
                           Column(turn.dofs, turn.values * LEVER)):
                links.add(Link(DRAG, DRAG, End(None, None), End(member, column), lower=-force,
                               upper=force))
