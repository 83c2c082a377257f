"""Where elastic displacements carry the surroundings of links: patches of meshed bodies.

The elastic displacements of a meshed body are linear in its own frame. Where it bends, as a held
shaft does below the joint, its surface turns with them: a face on it, the bone around a screw.
Each part's spots on a body are a *patch*, which moves as a rigid piece by the best fit (least
squares) to their elastic displacements; geometry is taken where patches are, and what is left of
the displacements stays linear.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.moved.vectors import cross, left_of, turned

SHORT_MM = 5.0
"""A patch shorter than this turns with all patches of its body."""


class Patches:
    """The ``k`` patches of meshed bodies: one for each source of links on each of them.

    ``body (s,)`` and ``point (s, 2)`` [mm] are those of all spots; ``parts``: the source of a link
    and a spot of it on a meshed body, for all there are. Motions of patches are ``(k, 3)``:
    displacement of their centre [mm] and turn [rad], in the frame of their body.
    """

    def __init__(self, body: IntArray, point: FloatArray, parts: Iterable[tuple[str, int]]) -> None:
        self._of, self._point = body, point
        groups: dict[tuple[int, str], set[int]] = {}
        for source, spot in parts:
            groups.setdefault((int(body[spot]), source), set()).add(spot)
        self.body = np.array([number for number, _ in groups], dtype=np.int64)
        own = [np.array(sorted(spots), dtype=np.int64) for spots in groups.values()]
        self.spot = np.concatenate([np.zeros(0, dtype=np.int64), *own])
        self.patch = np.repeat(np.arange(len(own)), [x.size for x in own])
        # A spot of several parts moves as its patches do on the mean.
        self.share = 1.0 / np.bincount(self.spot, minlength=len(body))[self.spot]
        self.centre = self._mean(point)
        self._arm = point[self.spot] - self.centre[self.patch]
        self._size = self._sum((self._arm**2).sum(axis=1))
        long = np.zeros(len(own))
        np.maximum.at(long, self.patch, np.hypot(*self._arm.T))
        self._short = 2.0 * long < SHORT_MM

    def _sum(self, values: FloatArray) -> FloatArray:
        out = np.zeros((len(self.body), *values.shape[1:]))
        np.add.at(out, self.patch, values)
        return out

    def _mean(self, of_spots: FloatArray) -> FloatArray:
        count = np.bincount(self.patch, minlength=len(self.body))[:, None]
        return self._sum(of_spots[self.spot]) / count

    def fit(self, elastic: FloatArray) -> FloatArray:
        """The motions that fit elastic displacements ``(s, 2)`` of the spots best."""
        mean = self._mean(elastic)
        spin = self._sum(cross(self._arm, elastic[self.spot] - mean[self.patch]))
        turn = spin / np.where(self._short, 1.0, self._size)
        for body in np.unique(self.body[self._short]):
            turn[self._short & (self.body == body)] = self._whole(int(body), elastic)
        return np.column_stack([mean, turn])

    def _whole(self, body: int, elastic: FloatArray) -> float:
        """The turn of all spots on a body together."""
        spots = np.flatnonzero(self._of == body)
        arm = self._point[spots] - self._point[spots].mean(axis=0)
        size = float((arm**2).sum())
        u = elastic[spots] - elastic[spots].mean(axis=0)
        return float(cross(arm, u).sum()) / size if size > 0.0 else 0.0

    def carried(self, motion: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Displacements ``(s, 2)`` [mm] and turns ``(s,)`` [rad] of the spots by motions of their
        patches, and what linear elasticity says of these displacements ``(s, 2)``."""
        m = motion[self.patch]
        each = (m[:, :2] + turned(m[:, 2], self._arm) - self._arm, m[:, 2],
                m[:, :2] + m[:, 2:] * left_of(self._arm))
        out = []
        for values in each:
            whole = np.zeros((len(self._of), *values.shape[1:]))
            np.add.at(whole, self.spot, (values.T * self.share).T)
            out.append(whole)
        return out[0], out[1], out[2]
