"""How the bodies of a condensed problem have moved: what turns an answer back to space.

A condensed problem whose geometry was moved is still linear in its forces and in small motions
from there; `Placed` holds the rest: the finite poses, shapes of members, and directions of links.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import scipy.sparse as sp

from buttress.fe.arrays import BoolArray, FloatArray, IntArray
from buttress.fe.bodies.member import Member

OPEN_MM = 10.0
"""Gap of a point that meets nothing."""
FOLLOWED = 0.9
"""Share of that by which no gap of faces that still meet grows: movements end before."""


class Chain(Protocol):
    """A chain through the points ``(k, 2)`` that a member now has."""

    @property
    def points(self) -> FloatArray:
        """[mm]."""

    @property
    def flexibility(self) -> FloatArray:
        """``(3k, 3k)`` [mm/N, 1/N, 1/(N mm)]."""

    @property
    def member(self) -> Member:
        """The same as a body."""


@dataclass(frozen=True)
class Pushing:
    """What unit forces of some links do to a body.

    ``links (u,)`` are their numbers, ``rows (u, c)`` their coefficients for columns of the body's
    own, and ``nodal (c or more, n_dof)`` these as forces on its nodes; None where the columns are
    the motions of its nodes.
    """

    links: IntArray
    rows: FloatArray | sp.csr_matrix
    nodal: sp.csr_matrix | None = None

    def columns(self, force: FloatArray) -> FloatArray:
        """Forces of all links ``(n,)`` [N] as factors of the columns ``(c,)``."""
        return np.asarray(self.rows.T @ force[self.links])

    def nodes(self, force: FloatArray) -> FloatArray:
        """Forces ``(n_dof,)`` on the nodes, in the body's own frame (a member's is space)."""
        out = self.columns(force)
        return out if self.nodal is None else np.asarray(self.nodal[:out.size].T @ out)


@dataclass(frozen=True)
class Placed:
    """The moved geometry of ``n`` links and ``b`` bodies.

    ``pushing``: of each body, what the forces of links do to it. ``angle (b,)`` [rad],
    ``centre (b, 2)`` and ``start (b, 2)`` are the poses (now, as built), ``length`` that of a turn
    of 1. ``members`` are chains through the points that members now have, ``bent`` the
    displacements of their nodes to there, elastic ones under ``forces`` among them; None for meshed
    bodies. ``measured (k,)`` are
    the measures of poses and shapes alone [mm], ``kinks (h,)`` those that the shapes have [mm].
    ``direction (n, 2)``: of each link's force; ``at (2, n, 2)``: where it acts on its first and
    its second body, ``ground (2, n)``: or on none.
    """

    pushing: tuple[Pushing, ...]
    angle: FloatArray
    centre: FloatArray
    start: FloatArray
    length: FloatArray
    bent: tuple[FloatArray | None, ...]
    forces: tuple[FloatArray | None, ...]
    members: tuple[Chain | None, ...]
    measured: FloatArray
    kinks: FloatArray
    direction: FloatArray
    at: FloatArray
    ground: BoolArray

    def turned(self, number: int, vectors: FloatArray, back: bool = False) -> FloatArray:
        """Vectors ``(..., 2)`` of a body's frame in space, or ``back``."""
        angle = -self.angle[number] if back else self.angle[number]
        cos, sin = np.cos(angle), np.sin(angle)
        return np.stack([cos * vectors[..., 0] - sin * vectors[..., 1],
                         sin * vectors[..., 0] + cos * vectors[..., 1]], axis=-1)

    def carried(self, number: int, points: FloatArray) -> FloatArray:
        """Displacements ``(k, 2)`` of points of a meshed body by its pose [mm]."""
        arm = points - self.start[number]
        return self.centre[number] + self.turned(number, arm) - points


def still_meet(gap: FloatArray, built: FloatArray) -> BoolArray:
    """Of each link, whether its faces still lie over one another, from gaps now and as built
    ``(n,)`` [mm]: what has slid beyond the end of the other face has the stated gap."""
    return np.asarray(gap - built < FOLLOWED * OPEN_MM)
