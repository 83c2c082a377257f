"""Where the bodies of a condensed problem are: finite poses, and members bent and kinked.

A meshed body keeps its shape up to its elastic displacements, which stay linear in its own frame:
its pose is a place of its centre and an angle. A member is a chain. Each element has its natural
length and angle; the forces at its ends turn it against its chord and stretch it, and hinges add
their kinks (finite angles). The chain of turned and stretched elements is its shape, exact for any
rotation (a co-rotational beam: Crisfield, Non-linear Finite Element Analysis of Solids and
Structures, vol. 1, 1991, ch. 7; memory); its stiffness is then that of a straight-line beam chain
through the points of that shape, so that forces act where they now are (string action).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import scipy.linalg.lapack as lapack

from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.bodies.member import BeamSection, Member, chain_stiffness, internal_forces
from buttress.fe.moved.vectors import cross, left_of, turned

BAND = 5
"""Degrees of freedom of an element beyond its first."""


@dataclass(frozen=True)
class Shape:
    """A member as it is: points ``(k, 2)``, angles of its nodes since it was straight as built
    ``(k,)``, the forces on its nodes under which it has this shape ``(3k,)`` and the kinks that it
    has ``(h,)`` [rad]; ``natural`` is the member as built."""

    points: FloatArray
    angle: FloatArray
    forces: FloatArray
    kinks: FloatArray
    natural: Member

    @cached_property
    def sections(self) -> FloatArray:
        """EA, EI and kGA of its elements ``(k - 1, 3)``, which give way as at their natural
        lengths, however stretched."""
        long = [np.hypot(*np.diff(x, axis=0).T) for x in (self.points, self.natural.points)]
        ratio = long[0] / long[1]
        return self.natural.table * np.column_stack([ratio, ratio, 1.0 / ratio])

    @cached_property
    def member(self) -> Member:
        """The chain through its points."""
        return Member(self.natural.name, self.points,
                      [BeamSection(*row) for row in self.sections.tolist()])

    @cached_property
    def flexibility(self) -> FloatArray:
        """Of the chain through its points, held where the natural member is ``(3k, 3k)``."""
        dofs, blocks = chain_stiffness(self.points, self.sections)
        row, column = (np.broadcast_to(x, blocks.shape) for x in (dofs[:, :, None],
                                                                  dofs[:, None, :]))
        # A held degree of freedom stands alone.
        held = np.zeros(self.natural.n_dof, dtype=bool)
        held[self.natural.held] = True
        kept = (row >= column) & ~held[row] & ~held[column]
        # Below the diagonal of a band, column by column (LAPACK).
        band = np.zeros((BAND + 1, held.size))
        np.add.at(band, (row[kept] - column[kept], column[kept]), blocks[kept])
        band[0, held] = 1.0
        factor, info = lapack.dpbtrf(band, lower=1)
        if info != 0:
            raise ValueError(f"'{self.natural.name}' is not held as it stands")
        out = lapack.dpbtrs(factor, np.eye(held.size), lower=1)[0]
        out[held, held] = 0.0
        return np.asarray(0.5 * (out + out.T))

    @cached_property
    def bent(self) -> FloatArray:
        """Elastic displacements ``(3k,)`` of the chain under this shape's forces [mm, rad]."""
        return self.flexibility @ self.forces


def bend(natural: Member, hinges: IntArray, before: Shape, move: FloatArray,
         forces: FloatArray, kinks: FloatArray) -> Shape:
    """The shape of a member under ``forces`` with ``kinks`` at the nodes ``hinges``.

    ``move (3k,)``: how its nodes are to move from the shape ``before``, to first order; the shape
    is placed to fit that best.
    """
    x = natural.points
    step = np.diff(x, axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    inner = internal_forces(before.points, forces)
    ea, ei, shear = natural.table.T
    phi = 12.0 * ei / (shear * length**2)
    # An element on two pins under the moments of its ends.
    first, second = -inner[:, 2], inner[:, 3]
    unit = length / (12.0 * ei)
    begin = unit * ((4.0 + phi) * first - (2.0 - phi) * second)
    end = unit * ((4.0 + phi) * second - (2.0 - phi) * first)
    jump = np.zeros(len(x))
    np.add.at(jump, hinges, kinks)
    # The part before a hinge turns by its kink against the part behind it.
    chord = np.concatenate([[0.0], np.cumsum(end[:-1] - begin[1:] - jump[1:-1])])
    stretched = (1.0 + inner[:, 0] / ea)[:, None] * turned(chord, step)
    shape = np.vstack([np.zeros(2), np.cumsum(stretched, axis=0)])
    # Behind a hinge its node turns with the part behind.
    angle = np.concatenate([[chord[0] + begin[0]], chord + end])
    angle[1:] -= jump[1:]
    wanted = before.points + move.reshape(-1, 3)[:, :2]
    arm, aim = shape - shape.mean(axis=0), wanted - wanted.mean(axis=0)
    turn = float(np.arctan2(cross(arm, aim).sum(), (arm * aim).sum()))
    placed = wanted.mean(axis=0) + turned(np.full(len(x), turn), arm)
    # Angles are counted on beyond half a turn.
    about = before.angle.mean() + move[2::3].mean()
    turn += 2.0 * np.pi * round((about - angle.mean() - turn) / (2.0 * np.pi))
    held = _held(placed, inner[:, 0], first, second)
    return Shape(placed, angle + turn, held, kinks, natural)


def _held(points: FloatArray, axial: FloatArray, first: FloatArray, second: FloatArray
          ) -> FloatArray:
    """Forces ``(3k,)`` that hold the elements of a chain as they are strained.

    Each element is in equilibrium by itself. Forces of the links are so about the points before; in
    the new shape their unbalanced moments would bend the chain between whatever is pinned.
    """
    step = np.diff(points, axis=0)
    length = np.hypot(step[:, 0], step[:, 1])
    along = step / length[:, None]
    end = axial[:, None] * along - ((first + second) / length)[:, None] * left_of(along)
    out = np.zeros((len(points), 3))
    out[:-1, :2] -= end
    out[1:, :2] += end
    out[:-1, 2] += first
    out[1:, 2] += second
    return out.ravel()


@dataclass(frozen=True)
class Config:
    """Where all bodies are. ``centre (b, 2)`` and ``angle (b,)`` are those of meshed bodies;
    ``shapes`` has those of members by their number. ``pushed (p,)`` is what each unit load has
    moved along its own fixed line by the poses of meshed bodies [mm]. ``patches (k, 3)``: motions
    of the patches of meshed bodies, see `Patches`."""

    centre: FloatArray
    angle: FloatArray
    shapes: dict[int, Shape]
    pushed: FloatArray
    patches: FloatArray

    @staticmethod
    def start(layout: Any) -> Config:
        """As built."""
        bodies = layout.problem.bodies
        shapes = {}
        for i, body in enumerate(bodies):
            if layout.member[i]:
                k, own = len(body.points), np.flatnonzero(layout.hinges == i)
                shapes[i] = Shape(body.points, np.zeros(k), np.zeros(3 * k), np.zeros(own.size),
                                  body)
        return Config(layout.centre.copy(), np.zeros(len(bodies)), shapes,
                      np.zeros(len(layout.problem.loads)), np.zeros((len(layout.patches.body), 3)))

    def middle(self, layout: Any) -> FloatArray:
        """The points ``(b, 2)`` about which the rigid motions of the bodies turn, mm."""
        out = self.centre.copy()
        for i, shape in self.shapes.items():
            out[i] = shape.points.mean(axis=0)
        return out

    def turns(self, layout: Any) -> FloatArray:
        """By how much the bodies have turned ``(b,)``, rad; of a member the mean of its nodes."""
        out = self.angle.copy()
        for i, shape in self.shapes.items():
            out[i] = shape.angle.mean()
        return out

    def spots(self, layout: Any) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Places ``(s, 2)`` of all spots, in meshed bodies as their patches carry them, and the
        angles ``(s,)`` by which what is fixed to them has turned [mm, rad]; and which of the
        elastic displacements are in the places ``(s, 2)``."""
        body = layout.body
        moved, turn, elastic = layout.patches.carried(self.patches)
        arm = layout.point + moved - layout.centre[body]
        place = self.centre[body] + turned(self.angle[body], arm)
        elastic = turned(self.angle[body], elastic)
        angle = self.angle[body] + turn
        for i, shape in self.shapes.items():
            own = np.flatnonzero(body == i)
            node = layout.node[own]
            angle[own] = shape.angle[node]
            place[own] = shape.points[node] + turned(angle[own], layout.arm[own])
        return place, angle, elastic


def rigid_move(points: FloatArray, centre: FloatArray, length: float, amplitude: FloatArray
               ) -> FloatArray:
    """Displacements ``(3k,)`` of points and angles by small rigid motions [mm]."""
    turn = amplitude[2] / length
    flat = amplitude[:2] + turn * left_of(points - centre)
    return np.column_stack([flat, np.full(len(points), turn)]).ravel()
