"""Beam members: screws, wires and plates as Timoshenko elements, unconstrained in the plane.

Element stiffness by the exact solution of the Timoshenko beam (e.g. Przemieniecki, Theory of
Matrix Structural Analysis, 1968, ch. 5; memory): shear parameter phi = 12 EI / (kGA L^2).
Sign convention of `internal_forces`: axial tension positive; shear and moment are those exerted by
the part behind the cut on the part before it, the moment counter-clockwise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse as sp

from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.bodies.body import Body, Column


@dataclass(frozen=True)
class BeamSection:
    """Stiffness of one element: axial EA [N], bending EI [N mm²], shear kGA [N]."""

    axial: float
    bending: float
    shear: float


def beam_stiffness(length: FloatArray, sections: FloatArray) -> FloatArray:
    """Stiffness ``(k, 6, 6)`` of elements of ``length (k,)`` in local axes.

    ``sections (k, 3)``: EA, EI and kGA. Dofs (u, v, theta) at both ends.
    """
    ea, ei, shear = sections.T
    phi = 12.0 * ei / (shear * length**2)
    a = ea / length
    b = 12.0 * ei / (length**3 * (1.0 + phi))
    c = 0.5 * length * b
    d = ei * (4.0 + phi) / (length * (1.0 + phi))
    e = ei * (2.0 - phi) / (length * (1.0 + phi))
    o = np.zeros_like(a)
    return np.array([
        [a, o, o, -a, o, o],
        [o, b, c, o, -b, c],
        [o, c, d, o, -c, e],
        [-a, o, o, a, o, o],
        [o, -b, -c, o, b, -c],
        [o, c, e, o, -c, d],
    ]).transpose(2, 0, 1)


def chain_stiffness(points: FloatArray, sections: FloatArray) -> tuple[IntArray, FloatArray]:
    """Degrees of freedom ``(k-1, 6)`` and stiffness ``(k-1, 6, 6)`` of the elements of a chain
    through ``points (k, 2)`` [mm], in space; ``sections (k-1, 3)`` as of `beam_stiffness`."""
    step = np.diff(points, axis=0)
    length = np.hypot(*step.T)
    cos, sin = (step / length[:, None]).T
    turn = np.zeros((len(sections), 6, 6))
    for first in (0, 3):
        turn[:, first, first] = turn[:, first + 1, first + 1] = cos
        turn[:, first, first + 1], turn[:, first + 1, first] = sin, -sin
        turn[:, first + 2, first + 2] = 1.0
    return (3 * np.arange(len(sections))[:, None] + np.arange(6),
            turn.transpose(0, 2, 1) @ beam_stiffness(length, sections) @ turn)


def kinked(points: FloatArray, nodes: Sequence[int] | IntArray) -> FloatArray:
    """Displacements ``(3k, h)`` of a chain when the part before each of the nodes rotates by 1 rad.

    The virtual work of the chain's forces on this motion is the bending moment at the node.
    """
    arm = points[:, None] - points[None, nodes]
    before = np.arange(len(points))[:, None] < np.asarray(nodes, dtype=int)[None]
    shape = np.stack([-arm[..., 1], arm[..., 0], np.ones(arm.shape[:2])], axis=1)
    return np.asarray(shape * before[:, None]).reshape(3 * len(points), len(nodes))


def internal_forces(points: FloatArray, forces: FloatArray) -> FloatArray:
    """Axial force [N], shear [N] and moment at both ends [N mm] of each element, ``(k-1, 4)``.

    By statics alone: a free open chain is statically determinate. ``forces (3k,)`` are all
    forces on the nodes.
    """
    p, x = forces.reshape(-1, 3), points
    resultant = np.cumsum(p[:, :2], axis=0)[:-1]
    moment0 = np.cumsum(x[:, 0] * p[:, 1] - x[:, 1] * p[:, 0] + p[:, 2])[:-1]
    step = np.diff(x, axis=0)
    along = step / np.hypot(step[:, 0], step[:, 1])[:, None]
    across = np.stack([-along[:, 1], along[:, 0]], axis=1)
    out = np.empty((len(x) - 1, 4))
    out[:, 0] = -(resultant * along).sum(axis=1)
    out[:, 1] = -(resultant * across).sum(axis=1)
    for column, end in ((2, x[:-1]), (3, x[1:])):
        out[:, column] = end[:, 0] * resultant[:, 1] - end[:, 1] * resultant[:, 0] - moment0
    return out


class Member(Body):
    """An open chain of beam elements through ``points (k, 2)``, with one section per element."""

    def __init__(self, name: str, points: FloatArray, sections: list[BeamSection],
                 fixed: tuple[int, ...] = ()) -> None:
        points = np.asarray(points, dtype=float)
        if len(sections) != len(points) - 1:
            raise ValueError(f"{name}: {len(points)} nodes need {len(points) - 1} sections")
        self.sections = tuple(sections)
        self.table = np.array([(s.axial, s.bending, s.shear) for s in sections]).reshape(-1, 3)
        n = 3 * len(points)
        dofs, local = chain_stiffness(points, self.table)
        stiffness = sp.csc_matrix(
            (local.ravel(), (np.repeat(dofs, 6), np.tile(dofs, 6).ravel())), shape=(n, n))
        super().__init__(name, stiffness, points, fixed, rotation_dof=True)

    def translation(self, node: int, direction: FloatArray,
                    arm: FloatArray | tuple[float, float] = (0.0, 0.0)) -> Column:
        """Motion along ``direction`` of a point fixed to ``node`` at the offset ``arm`` [mm]."""
        dx, dy = float(direction[0]), float(direction[1])
        turn = float(arm[0]) * dy - float(arm[1]) * dx
        return Column.of([3 * node, 3 * node + 1, 3 * node + 2], [dx, dy, turn])

    def rotation(self, node: int) -> Column:
        """Rotation of ``node`` [rad]; the conjugate force is a moment [N mm]."""
        return Column.of([3 * node + 2], [1.0])

    def kinks(self, nodes: Sequence[int]) -> FloatArray:
        """Displacements ``(n_dof, h)`` of unit kinks [rad] at nodes; see `kinked`."""
        return kinked(self.points, nodes)

    def internal_forces(self, forces: FloatArray) -> FloatArray:
        """Forces and moments in each element ``(k-1, 4)`` under ``forces (n_dof,)``; see
        `internal_forces`."""
        return internal_forces(self.points, forces)
