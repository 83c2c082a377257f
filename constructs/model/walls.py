"""Walls of a void around a block that does not fill it: they catch the block once it gets there.

Faces that touch are matched node by node (`fe.links.faces`); the sides of a block that is narrower
than its void touch nothing at first. A block that slides between two faces that are not parallel
would leave through the bone.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from buttress.bone.layout import fill_outline
from buttress.bone.pieces import Solid
from buttress.fe.arrays import FloatArray
from buttress.fe.links.link import LinkList
from buttress.implants.hardware import STIFF
from buttress.implants.kinds import Hold
from buttress.study.study import Construct, Study
from buttress.study.tables import number

ENDS = (0.1, 0.9)
"""Shares of a side at which it meets a wall: near its corners, which come there first."""
DEEP_MM = 0.2
"""How far below the surface either is taken hold of."""
STRIDE_MM = 0.02
"""Stride in which the wall is looked for."""


def wall_links(study: Study, construct: Construct, solids: Sequence[Solid], links: LinkList
               ) -> None:
    """One-sided links across the gaps between blocks and the bone beside them, without friction.

    They bear what the weaker side bears over half the length of the block's side, and then more as
    that side is crushed, by the law of faces that touch. A block that touches nothing stays as
    loose as it is.
    """
    rise = study.hardening.bone_share / number("materials", "crushed bone", "face_layer")
    least = number("grafts", "in use", "touching")
    farthest = number("anatomy", "small movements", "move")
    for fill in construct.fills:
        if fill.points_mm is None:
            continue
        block = next(s for s in solids if s.name == fill.name)
        if not any(block.body is end.body for x in links.links for end in (x.a, x.b)):
            continue
        others = [s for s in solids if s is not block]
        ring = fill_outline(study, fill)
        for start, step in zip(ring, np.roll(ring, -1, axis=0) - ring, strict=True):
            length = float(np.hypot(*step))
            outward = np.array([step[1], -step[0]]) / length
            for share in ENDS:
                place = start + share * step
                found = _wall(others, place, outward, farthest)
                if found is None or found[1] <= least:
                    continue
                wall, gap = found
                sides = [(block, place - DEEP_MM * outward),
                         (wall, place + (gap + DEEP_MM) * outward)]
                if all(bool(s.body.inside(at[None])[0]) for s, at in sides):
                    _add(links, fill.name, sides, outward, gap, 0.5 * length, rise)


def _add(links: LinkList, source: str, sides: list[tuple[Solid, FloatArray]], outward: FloatArray,
         gap: float, length: float, rise: float) -> None:
    (block, inner), (wall, outer) = sides
    depth = min(float(s.piece.depth(at[None])[0]) for s, at in sides)
    crush, soft = min((float(s.piece.crush(at[None])[0]), float(s.piece.crushable(at[None])[0]))
                      for s, at in sides)
    one = np.ones(1)
    links.contact(Hold.WALL, source, (block.body, wall.body),
                  (block.body.spread(inner[None], one), wall.body.spread(outer[None], one)),
                  normal=outward, friction=0.0, gap=gap, strength=crush * depth * length,
                  slope=rise * soft * depth * length, compliance=STIFF,
                  place=(float(outer[0]), float(outer[1])), weight=depth * length)


def _wall(solids: Sequence[Solid], place: FloatArray, outward: FloatArray, reach: float
          ) -> tuple[Solid, float] | None:
    """The first solid beyond a place along a direction, and the distance [mm]."""
    ahead = np.arange(0.0, reach, STRIDE_MM) + 0.5 * STRIDE_MM
    points = place + ahead[:, None] * outward
    hits = [(float(ahead[inside.argmax()]), i) for i, solid in enumerate(solids)
            for inside in (solid.body.inside(points),) if inside.any()]
    if not hits:
        return None
    distance, first = min(hits)
    return solids[first], distance
