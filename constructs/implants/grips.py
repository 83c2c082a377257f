"""Where a pin passes through bone and graft, and how each segment of it is anchored there.

This depends on the pin's axis and diameters alone, not on its metal: it is stored with the bone,
so that a pin in an unchanged position is evaluated once.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from buttress.bone.bone import Bone
from buttress.bone.pieces import FillPiece, Solid
from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.body import Column
from buttress.fe.bodies.continuum import Continuum
from buttress.fe.bodies.embed import keep_pairs, spread_points
from buttress.implants.placement import Axis, void_stretches
from buttress.implants.sections import outer, screw_form
from buttress.study.implants import Pin
from buttress.study.study import Screw

STATION = (1.5, 3.0)
"""Shortest and longest spacing of stations [mm]; half a thread diameter within these."""
STEP = 0.02
"""Tolerance [mm] to which walls crossed by an axis are located."""
LEAST = 0.2
"""Shorter segments [mm] are ignored."""
EMPTY, OUTSIDE = -1, -2
"""In a void that nothing fills, where bone can rest on a pin; and in no part of the section."""


@dataclass(frozen=True)
class Cell:
    """A segment of a pin in one solid, or in a void (``solid`` is EMPTY), with one station."""

    solid: int
    start: float
    end: float

    @property
    def middle(self) -> float:
        """Distance of its station from the head [mm]."""
        return 0.5 * (self.start + self.end)


@dataclass(frozen=True)
class Grip:
    """The material around a cell's station, and the columns that couple it to its solid.

    Moduli and strengths in MPa; ``crushable`` as in `LocalBone`;
    ``sheet`` the first entry of the sheet's stiffness [N/mm].
    """

    modulus: float
    poisson: float
    crush: float
    shear: float
    crushable: float
    sheet: float
    depth: float
    across: Column
    along: Column


def gripped(bone: Bone, solids: Sequence[Solid], pin: Pin, axis: Axis, low: float
            ) -> tuple[list[Cell], list[Grip | None]]:
    """The cells of a pin from its head on and the grip of each, None in a void.

    ``low``: where the thread starts to engage; nearer to the head a screw has its shaft's diameter.
    """
    shaft = (screw_form(pin.form).shaft if isinstance(pin, Screw) else None) or outer(pin)
    # Measured from the hole in the surface, which does not move when a thicker plate moves the
    # head, and rounded, so that round-off creates no new position.
    place = tuple(np.round([*axis.point(axis.entry), *axis.direction, axis.length - axis.entry,
                            axis.exit - axis.entry, low - axis.entry], 9).tolist())
    key = (place, shaft, outer(pin), pin.position_in_depth_mm, *map(_known_by, solids))
    if key not in bone.grips:
        x, y, dx, dy, length, leave, thread = place
        hole = Axis(
            head=np.array([x, y]), direction=np.array([dx, dy]), length=length, entry=0.0,
            exit=leave)
        cells = _cut(bone, solids, pin, hole)
        bone.grips[key] = cells, _grips(solids, cells, hole, pin, [
            shaft if c.middle < thread else outer(pin) for c in cells])
    cells, grips = bone.grips[key]
    return [replace(c, start=c.start + axis.entry, end=c.end + axis.entry) for c in cells], grips


def _known_by(solid: Solid) -> tuple[int, bytes]:
    """All on which a solid's columns and material depend; bodies live as long as their bone."""
    piece = solid.piece
    return id(solid.body), piece.material.strength.tobytes() if isinstance(
        piece, FillPiece) else b""


def _cut(bone: Bone, solids: Sequence[Solid], pin: Pin, axis: Axis) -> list[Cell]:
    """Segments of an axis from the surface on, solid by solid, none across a fracture.

    Beyond the surface, whether at its end or where it grazes the bone, nothing can rest on a pin.
    """
    fine = np.arange(0.0, axis.length, STEP) + STEP / 2
    owner = np.full(fine.size, OUTSIDE)
    for start, end, _ in void_stretches(bone.study, axis):
        owner[(fine > start) & (fine < end)] = EMPTY
    for i, piece in enumerate(solids):
        owner[piece.body.inside(axis.point(fine))] = i
    wanted = float(np.clip(outer(pin) / 2, *STATION))
    cells: list[Cell] = []
    for run in np.split(np.arange(fine.size), np.flatnonzero(np.diff(owner)) + 1):
        solid, start, end = int(owner[run[0]]), fine[run[0]] - STEP / 2, fine[run[-1]] + STEP / 2
        if end - start < LEAST or solid == OUTSIDE:
            continue
        bounds = np.linspace(start, end, max(1, round((end - start) / wanted)) + 1)
        cells += [Cell(solid, float(a), float(b))
                  for a, b in zip(bounds[:-1], bounds[1:], strict=True)]
    return cells


def _grips(solids: Sequence[Solid], cells: Sequence[Cell], axis: Axis, pin: Pin,
           diameters: Sequence[float]) -> list[Grip | None]:
    """The grips of cells, evaluated together for each solid."""
    out: list[Grip | None] = [None] * len(cells)
    along = axis.direction
    across = np.array([-along[1], along[0]])
    for i in {c.solid for c in cells} - {EMPTY}:
        its = [k for k, c in enumerate(cells) if c.solid == i]
        solid, places = solids[i], axis.point([cells[k].middle for k in its])
        local = solid.piece.local(places, pin.position_in_depth_mm)
        values = [np.broadcast_to(v, len(its)).tolist() for v in (
            local.modulus, local.poisson, local.compressive_strength, local.shear_strength,
            local.crushable, solid.piece.sheets(places)[:, 0], solid.piece.depth(places))]
        for j, k in enumerate(its):
            take = hold(solid.body, places[j], along, cells[k].end - cells[k].start, diameters[k])
            modulus, poisson, crush, shear, crushable, sheet, depth = (v[j] for v in values)
            out[k] = Grip(
                modulus=modulus, poisson=poisson, crush=crush, shear=shear, crushable=crushable,
                sheet=sheet, depth=depth, across=take(across), along=take(along))
    return out


def hold(body: Continuum, centre: FloatArray, along: FloatArray, length: float, diameter: float
         ) -> Callable[[FloatArray], Column]:
    """Where a station is anchored in a body: spread over its length and one diameter."""
    points, weights = spread_points(centre, along, length, diameter)
    points, weights = keep_pairs(points, weights, body.inside(points))
    if not len(points):
        points, weights = centre[None], np.ones(1)
    return body.spread(points, weights)
