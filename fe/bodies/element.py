"""The six-node triangle (T6) and the three-node edge: shape functions and quadrature.

Node order of a triangle: corners 0, 1, 2 counter-clockwise, then the mid-sides of 0-1, 1-2, 2-0.
Node order of an edge: start, middle, end. Reference triangle: (0, 0), (1, 0), (0, 1), area 1/2.
"""

from __future__ import annotations

from math import sqrt
from typing import Protocol

import numpy as np

from buttress.fe.arrays import FloatArray, IntArray

#: Reference coordinates of the six nodes, (6, 2).
NODES: FloatArray = np.array([[0, 0], [1, 0], [0, 1], [0.5, 0], [0.5, 0.5], [0, 0.5]])


class Triangles(Protocol):
    """The part of a mesh that the element routines need."""

    @property
    def points(self) -> FloatArray:
        """Node coordinates (n, 2), mm."""

    @property
    def triangles(self) -> IntArray:
        """Nodes of each triangle (m, 6), counter-clockwise."""


def shape(xi: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Shape functions (q, 6) and their reference gradients (q, 6, 2) at `xi` (q, 2)."""
    x, y = xi[:, 0], xi[:, 1]
    z = 1 - x - y
    values = np.stack([z * (2 * z - 1), x * (2 * x - 1), y * (2 * y - 1),
                       4 * z * x, 4 * x * y, 4 * y * z], axis=1)
    o = np.zeros_like(x)
    along_x = np.stack([1 - 4 * z, 4 * x - 1, o, 4 * (z - x), 4 * y, -4 * y], axis=1)
    along_y = np.stack([1 - 4 * z, o, 4 * y - 1, -4 * x, 4 * x, 4 * (z - y)], axis=1)
    return values, np.stack([along_x, along_y], axis=2)


def _orbit(corner: float) -> list[list[float]]:
    """The three points with two equal area coordinates, the third being `corner`."""
    other = (1 - corner) / 2
    return [[other, other], [corner, other], [other, corner]]


def _rules() -> dict[int, tuple[FloatArray, FloatArray]]:
    # Closed forms of the symmetric rules of degree 2 (Strang-Fix), 4 (Dunavant) and 5 (Radon);
    # from memory, confirmed by integrating every monomial of that degree in the unit tests.
    root = sqrt(38 - 44 * sqrt(0.4))
    near, far = (8 - sqrt(10) - root) / 18, (8 - sqrt(10) + root) / 18
    spread = sqrt(213125 - 53320 * sqrt(10))
    light, heavy = (620 - spread) / 7440, (620 + spread) / 7440
    inner, outer = (6 - sqrt(15)) / 21, (6 + sqrt(15)) / 21
    return {
        3: (np.array(_orbit(2 / 3)), np.full(3, 1 / 6)),
        6: (np.array(_orbit(1 - 2 * near) + _orbit(1 - 2 * far)),
            np.array([light] * 3 + [heavy] * 3)),
        7: (np.array([[1 / 3, 1 / 3], *_orbit(1 - 2 * inner), *_orbit(1 - 2 * outer)]),
            np.array([9 / 80] + [(155 - sqrt(15)) / 2400] * 3 + [(155 + sqrt(15)) / 2400] * 3)),
    }


#: Number of points -> (points (q, 2), weights (q,) that sum to 1/2). Exact to degree 2, 4 and 5.
#: Curved edges need 6 or more: the products of their gradients are not polynomials of degree 2.
QUADRATURE: dict[int, tuple[FloatArray, FloatArray]] = _rules()

#: Gauss points on [-1, 1], exact to degree 5, and their weights (sum 2).
EDGE_POINTS: FloatArray = np.array([-sqrt(0.6), 0.0, sqrt(0.6)])
EDGE_WEIGHTS: FloatArray = np.array([5, 8, 5]) / 9


def edge_shape(s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Shape functions (q, 3) of start, middle, end and their derivatives, at `s` in [-1, 1]."""
    values = np.stack([s * (s - 1) / 2, 1 - s * s, s * (s + 1) / 2], axis=1)
    return values, np.stack([s - 0.5, -2 * s, s + 0.5], axis=1)
