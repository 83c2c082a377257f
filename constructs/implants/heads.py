"""A screw's head or its washer on bone: it presses on both sides of the hole, and rubs.

As on a plate (`sections.rim`), each side is one contact at the mean radius of the annulus between
hole and edge. Either may lie on another piece: a washer over the end of a fracture keeps the wedge
that comes out from under it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from buttress.bone.pieces import Solid
from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.member import Member
from buttress.fe.errors import InputError
from buttress.fe.links.link import LinkList
from buttress.implants.hardware import STIFF
from buttress.implants.kinds import Hold
from buttress.implants.placement import Axis
from buttress.implants.sections import head_diameter, outer
from buttress.study.study import Screw
from buttress.study.tables import number

SPOTS = 5
"""Points over which each side of a rim is spread."""
STEP, UNDER = 0.05, 0.2
"""Step of the search for the surface under a point of the rim, and depth of the point in it, mm."""


def head_on_bone(solids: Sequence[Solid], screw: Screw, axis: Axis, member: Member,
                 links: LinkList) -> tuple[int, ...]:
    """Contacts of a head with the bone on either side of its hole; their numbers along the axis.

    ``solids``: bone and fills. A side with nothing under it has none. Raises `InputError` where
    there is no bone under the head at all.
    """
    along = axis.direction
    across = np.array([-along[1], along[0]])
    rims: list[int] = []
    for side in (-1.0, 1.0):
        found = _under(solids, axis.point(axis.entry), along, side * across, rim(screw))
        if found is None:
            continue
        solid, spots = found
        take = solid.body.spread(spots, np.ones(len(spots)))
        # Both forces of a contact act at one place: without the arm the pair would not balance.
        place = spots.mean(axis=0)
        arm = place - member.points[0]
        rims.append(links.contact(
            Hold.HEAD_ON_BONE, screw.name, (member, solid.body),
            (lambda d, r=arm: member.translation(0, d, r), take), normal=along,
            friction=number("materials", "friction", "plate_on_bone"), compliance=STIFF,
            place=(float(place[0]), float(place[1])))[0])
    if not rims:
        raise InputError("the screw head has no bone under it", key=f"screw.{screw.name}",
                         expected="a head on the bone surface")
    return tuple(rims)


def rim(screw: Screw) -> tuple[float, float]:
    """Inner and outer radius [mm] of the ring on which a head, or its washer, presses on bone."""
    wide = number("screws", "in use", "washer") if screw.washer else 1.0
    return outer(screw) / 2, wide * head_diameter(screw) / 2


def _under(solids: Sequence[Solid], surface: FloatArray, along: FloatArray, outward: FloatArray,
           ring: tuple[float, float]) -> tuple[Solid, FloatArray] | None:
    """The solid under one side of a ring and the points ``(k, 2)`` of it that are pressed on.

    Bone that is not at right angles to the screw is met before or behind the head's plane; a head
    is seated there. Bone thinner than ``UNDER`` is pressed on at its surface.
    """
    reach, lines = search_lines(surface, along, outward, ring)
    first, owner = np.full(SPOTS, np.inf), np.full(SPOTS, -1)
    for i, solid in enumerate(solids):
        inside = solid.body.inside(lines.reshape(-1, 2)).reshape(lines.shape[:2])
        at = np.where(inside.any(axis=1), reach[inside.argmax(axis=1)], np.inf)
        nearer = at < first
        first[nearer], owner[nearer] = at[nearer], i
    if (owner < 0).all():
        return None
    number_ = int(np.bincount(owner[owner >= 0]).argmax())
    solid = solids[number_]
    spots = (surface + np.linspace(*ring, SPOTS)[:, None] * outward
             + (np.where(np.isfinite(first), first, 0.0) + UNDER)[:, None] * along)
    kept = spots[solid.body.inside(spots)]
    return solid, kept if len(kept) else (spots - UNDER * along)[owner == number_]


def search_lines(surface: FloatArray, along: FloatArray, outward: FloatArray,
                 ring: tuple[float, float]) -> tuple[FloatArray, FloatArray]:
    """Distances ``(n,)`` along a screw at which bone is looked for under one side of a ring, from
    the head's place on, and the points ``(SPOTS, n, 2)`` of that search, mm."""
    reach = np.arange(-ring[1], ring[1], STEP)
    across = surface + np.linspace(*ring, SPOTS)[:, None] * outward
    return reach, across[:, None] + reach[:, None] * along
