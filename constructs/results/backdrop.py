"""What a picture shows beside the model: the inner border of the cortex, and ghosts behind it.

Ghosts (fibula, tubercle, cartilage) are no part of the model; they are drawn with the anatomical
outline only, where they help to see which bone it is. Sizes: `data/anatomy.toml`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from buttress.bone.section import Section
from buttress.display import Brief
from buttress.fe.arrays import FloatArray
from buttress.study.tables import number

STEP_MM = 2.0
ROUND = np.linspace(0.0, np.pi, 17)


@dataclass(frozen=True, repr=False)
class Backdrop(Brief):
    """Lines (n, 2) in mm: ``cortex`` per wall, ``ghosts`` by name."""

    brief = ("names",)

    cortex: tuple[FloatArray, ...] = ()
    ghosts: tuple[tuple[str, FloatArray], ...] = ()

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the ghosts."""
        return tuple(name for name, _ in self.ghosts)


NO_BACKDROP = Backdrop()


def backdrop(section: Section) -> Backdrop:
    """The backdrop of a section."""
    given = section.given
    ghosts = given.outline == "anatomical" and given.bone != "foam"
    return Backdrop(() if section.map_of_all else cortex_lines(section),
                    (_sagittal if given.sagittal else _coronal)(section) if ghosts else ())


def cortex_lines(section: Section) -> tuple[FloatArray, ...]:
    """Inner border of the cortex along each wall, from under the subchondral layer to the clamp."""
    out = []
    for side in section.given.sides:
        wall = section.surface(side)
        y = np.linspace(wall[0, 1] - max(section.given.subchondral_mm, 1.0), wall[-1, 1],
                        round((wall[0, 1] - wall[-1, 1]) / STEP_MM) + 1)
        x = np.interp(-y, -wall[:, 1], wall[:, 0])
        at = section.level(np.column_stack([x, y]))
        out.append(np.column_stack([x - section.sign(side) * section.cortex(at), y]))
    return tuple(out)


def _coronal(section: Section) -> tuple[tuple[str, FloatArray], ...]:
    half = section.extent / 2
    return (*_cartilage(section, _size("cartilage_from") * half),
            ("fibula", _fibula(_size("fibula_place") * half, section.given.height_mm)),
            ("tubercle", _oval(_size("tubercle_half_width"))))


def _sagittal(section: Section) -> tuple[tuple[str, FloatArray], ...]:
    depth = np.linspace(_size("tubercle_top"), _size("tubercle_top") + _size("tubercle_length"), 15)
    wall = section.surface("anterior")
    x = np.interp(depth, -wall[:, 1], wall[:, 0])
    share = np.linspace(0.0, 1.0, len(depth))
    out = x - _size("tubercle_height") * np.sin(np.pi * share) ** 0.8
    tubercle = np.column_stack([np.concatenate([out, x[::-1]]),
                                -np.concatenate([depth, depth[::-1]])])
    ghosts = (*_cartilage(section, 0.0), ("tubercle", tubercle))
    if section.given.slice_condyle == "medial":
        return ghosts
    # Behind the lateral condyle, seen from the side.
    fibula = _fibula(_size("fibula_place") * section.extent / 2, section.given.height_mm)
    return (*ghosts, ("fibula", fibula))


def _cartilage(section: Section, beside: float) -> tuple[tuple[str, FloatArray], ...]:
    """Cartilage over the joint line, on both sides of the eminence where there is one."""
    line = section.shape.joint_line()
    thick = _size("cartilage")
    out = []
    for part in (line[line[:, 0] <= -beside], line[line[:, 0] >= beside]) if beside else (line,):
        share = np.linspace(0.0, 1.0, len(part))
        over = part + np.column_stack([0.0 * share, thick * np.sin(np.pi * share) ** 0.35])
        out.append(("cartilage", np.vstack([part, over[::-1]])))
    return tuple(out)


def _fibula(middle: float, height: float) -> FloatArray:
    """A rounded head that narrows to a shaft, from its tip to the clamp."""
    head, shaft = _size("fibula_head"), _size("fibula_shaft")
    top, neck = _size("fibula_top"), _size("fibula_neck")
    cap = np.column_stack([middle + head * np.cos(ROUND), -(top + head) + head * np.sin(ROUND)])
    down = np.array([[head, top + head], [0.5 * (head + shaft), 0.5 * (top + head + neck)],
                     [shaft, neck], [shaft, height]])
    right = np.column_stack([middle + down[:, 0], -down[:, 1]])
    left = np.column_stack([middle - down[:, 0], -down[:, 1]])
    return np.vstack([right[::-1], cap, left])


def _oval(half: float) -> FloatArray:
    turn = np.linspace(0.0, 2.0 * np.pi, 41)
    top, long = _size("tubercle_top"), _size("tubercle_length")
    return np.column_stack([half * np.cos(turn), -(top + long / 2) + long / 2 * np.sin(turn)])


def _size(field: str) -> float:
    return number("anatomy", "ghosts", field)
