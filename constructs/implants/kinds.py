"""What the links of hardware are called; those of bone on bone are in `buttress.fe.links.link`."""

from __future__ import annotations

from enum import StrEnum


class Hold(StrEnum):
    """What a link of a plate, screw or wire stands for, as it is named in results."""

    BEARING = "bearing"
    THREAD = "thread"
    PRESS_FIT = "press fit"
    REST = "rest"
    HEAD_ON_BONE = "head on bone"
    HEAD_ON_BONE_FRICTION = "head on bone friction"
    HEAD_ON_PLATE = "head on plate"
    HEAD_ON_PLATE_FRICTION = "head on plate friction"
    LOCKED_HEAD = "locked head"
    LOCKED_HEAD_ACROSS = "locked head across"
    PLATE_ON_BONE = "plate on bone"
    PLATE_ON_BONE_FRICTION = "plate on bone friction"
    BONDED_PLATE = "bonded plate"
    WALL = "wall of the void"
    PLASTIC_HINGE = "plastic hinge"
    DRAG = "drag of a loose piece"
    LEFT_OUT = "left where it is"
