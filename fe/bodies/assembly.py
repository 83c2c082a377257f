"""Stiffness and loads of a mesh of T6 triangles in plane stress or plane strain.

Unknown 2·node is the displacement along x, 2·node + 1 along y. The thickness is part of the sheet,
so stiffness is in N/mm, tractions along an edge in N/mm and nodal forces in N.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike
from scipy import sparse

from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.bodies.element import (
    EDGE_POINTS,
    EDGE_WEIGHTS,
    QUADRATURE,
    Triangles,
    edge_shape,
    shape,
)
from buttress.fe.bodies.plane import Plane, in_plane
from buttress.fe.errors import InputError, SolveError

BLOCK = 2048  # triangles processed together: their factors stay in the processor's cache


class Locatable(Triangles, Protocol):
    """A mesh that can locate the triangle that contains a point."""

    def locate(self, xy: FloatArray) -> tuple[IntArray, FloatArray]:
        """Triangle (p,), -1 outside, and reference coordinates (p, 2) of points (p, 2)."""


def sheet(modulus: ArrayLike, poisson: ArrayLike, thickness: ArrayLike = 1.0,
          plane: Plane = Plane.STRESS) -> FloatArray:
    """(D11, D12, D33) of an isotropic sheet times its thickness, (..., 3), N/mm.

    Sheets bonded face to face add: sum these arrays, never E and t apart. `modulus` in MPa,
    `thickness` in mm; with thickness 1 mm the numbers are the matrix of the material in MPa.
    Raises InputError for a negative modulus or thickness and for Poisson's ratio outside
    (-1, 0.5] (0.5 too, in plane strain).
    """
    e, nu, t = np.broadcast_arrays(*(np.asarray(v, dtype=float)
                                     for v in (modulus, poisson, thickness)))
    if not (np.all(e >= 0) and np.all(t >= 0)):
        raise InputError("modulus and thickness of a sheet must not be negative",
                         value=f"modulus from {e.min():g}, thickness from {t.min():g}")
    e, nu = in_plane(e, nu, plane)
    d11 = e * t / (1 - nu**2)
    return np.stack([d11, nu * d11, (1 - nu) / 2 * d11], axis=-1)


def quadrature_points(mesh: Triangles, rule: int = 6) -> FloatArray:
    """Positions of the quadrature points of each triangle, (m, q, 2), mm."""
    values, _ = shape(QUADRATURE[rule][0])
    return np.asarray(values @ mesh.points[mesh.triangles])


def jacobian(points: FloatArray, triangles: IntArray, xi: FloatArray) -> FloatArray:
    """dx_i/dxi_k at `xi` (q, 2) of each triangle, (m, q, 2, 2) indexed [.., i, k], mm."""
    _, gradient = shape(xi)
    corners = points[triangles].transpose(0, 2, 1).reshape(-1, 6)
    flat = corners @ gradient.transpose(1, 0, 2).reshape(6, -1)
    return flat.reshape(len(triangles), 2, len(xi), 2).transpose(0, 2, 1, 3)


@cache
def _reference(rule: int) -> FloatArray:
    """The tensor (q, 10, 144) that turns ten factors a quadrature point into a 12x12 matrix.

    Factors: those of dN_a/dxi_k dN_b/dxi_l in the xx block (k, l = 11, 12 or 21, 22), in the yy
    block (the same three) and in the xy block (11, 12, 21, 22); yx is the transpose of xy.
    """
    xi, weights = QUADRATURE[rule]
    _, gradient = shape(xi)
    products = np.einsum("q,qak,qbl->qklab", weights, gradient, gradient)
    out = np.zeros((len(xi), 10, 6, 2, 6, 2))
    mixed = products[:, 0, 1] + products[:, 1, 0]
    for i in (0, 1):
        for slot, block in enumerate((products[:, 0, 0], mixed, products[:, 1, 1])):
            out[:, 3 * i + slot, :, i, :, i] = block
    for slot, (k, m) in enumerate(((0, 0), (0, 1), (1, 0), (1, 1))):
        out[:, 6 + slot, :, 0, :, 1] = products[:, k, m]
        out[:, 6 + slot, :, 1, :, 0] = products[:, k, m].transpose(0, 2, 1)
    return out.reshape(len(xi), 10, 144)


def _straight(corners: FloatArray) -> bool:
    """Whether every mid-side of `corners` (m, 6, 2) is the midpoint: a constant Jacobian."""
    bow = corners[:, 3:] - (corners[:, :3] + corners[:, [1, 2, 0]]) / 2
    return bool(np.abs(bow).max(initial=0.0) <= 1e-13 * np.abs(corners).max(initial=0.0))


def _factors(jac: FloatArray, d: FloatArray) -> FloatArray:
    """The ten factors of `_reference`, (10, m, q), from jac (m, q or 1, 2, 2), d (m, q, 3)."""
    a, b, c, e = (np.ascontiguousarray(jac[..., i, k]) for i in (0, 1) for k in (0, 1))
    det = a * e - b * c
    if not np.all(det > 0):
        raise SolveError("assembly: a triangle is clockwise, degenerate or folded by its curved "
                         f"side (Jacobian {det.min():.3g} mm², should be positive)")
    d11, d12, d33 = (np.ascontiguousarray(d[..., i]) for i in range(3))
    # x gradient = (e, -c)/det, y gradient = (-b, a)/det; one det of the two is the area's.
    xx = e * e / det, -c * e / det, c * c / det
    yy = b * b / det, -a * b / det, a * a / det
    xy = -b * e / det, a * e / det, b * c / det, -a * c / det
    out = np.empty((10, *np.broadcast_shapes(det.shape, d11.shape)))
    for slot in range(3):
        out[slot] = d11 * xx[slot] + d33 * yy[slot]
        out[3 + slot] = d11 * yy[slot] + d33 * xx[slot]
    for slot, twin in enumerate((0, 2, 1, 3)):
        out[6 + slot] = d12 * xy[slot] + d33 * xy[twin]
    return out


def element_stiffness(points: FloatArray, triangles: IntArray, sheets: FloatArray,
                      rule: int = 6) -> FloatArray:
    """Stiffness of each triangle, (m, 12, 12), N/mm, unknowns (x, y) of node 0, node 1, ...

    `sheets` (m, q, 3) as from `sheet` at the points of `quadrature_points`; (m, 1, 3) or (3,) where
    they do not vary. Raises SolveError if a triangle is not positively oriented.
    """
    count = len(triangles)
    if sheets.ndim == 1:
        sheets = np.broadcast_to(sheets, (count, 1, 3))
    xi, _ = QUADRATURE[rule]
    if sheets.shape not in ((count, 1, 3), (count, len(xi), 3)):
        raise InputError("sheets do not match the mesh", value=str(sheets.shape),
                         expected=f"({count}, {len(xi)}, 3), ({count}, 1, 3) or (3,)")
    tensor = _reference(rule)
    out = np.empty((count, 144))
    for first in range(0, count, BLOCK):
        part = slice(first, first + BLOCK)
        straight = _straight(points[triangles[part]])
        jac = jacobian(points, triangles[part], xi[:1] if straight else xi)
        factors = _factors(jac, sheets[part])
        _, m, q = factors.shape
        # A constant integrand needs only the integrated reference tensor.
        g = tensor.transpose(1, 0, 2) if q > 1 else tensor.sum(axis=0)[:, None]
        table = factors.transpose(0, 2, 1).reshape(10 * q, m)
        np.matmul(table.T, g.reshape(10 * q, 144), out=out[part])
    return out.reshape(count, 12, 12)


class Pattern:
    """Positions of the entries of element matrices in the (CSC) matrix of a mesh.

    `triangles` (m, 6) may contain any nodes below `n_nodes`. Stored, it reduces another assembly on
    the same mesh to a single sum.
    """

    def __init__(self, triangles: IntArray, n_nodes: int) -> None:
        nodes = np.asarray(triangles, dtype=np.int64)
        rows = np.repeat(nodes, 6, axis=1)
        columns = np.tile(nodes, (1, 6))
        pairs, place = np.unique((columns * n_nodes + rows).ravel(), return_inverse=True)
        column, row = np.divmod(pairs, n_nodes)
        per_node = np.bincount(column, minlength=n_nodes)
        start = np.concatenate([[0], np.cumsum(per_node)])
        self.n_dof = 2 * n_nodes
        self.indptr = np.concatenate([[0], np.cumsum(np.repeat(2 * per_node, 2))]).astype(np.int32)
        # Block k of column c holds rows 2r, 2r+1 in column 2c at 2(start + k) and, 2·per_node
        # later, the same rows in column 2c + 1.
        base = 2 * start[column] + 2 * np.arange(len(pairs))
        step = 2 * per_node[column]
        self.nnz = 4 * len(pairs)
        self.indices = np.empty(self.nnz, dtype=np.int32)
        for i in (0, 1):
            for j in (0, 1):
                self.indices[base + j * step + i] = 2 * row + i
        here = base[place]
        both = np.stack([here, here + step[place]], axis=-1).reshape(-1, 6, 1, 12)
        self.scatter = (both + np.arange(2)[:, None]).ravel()

    def assemble(self, element_matrices: FloatArray) -> sparse.csc_matrix:
        """Sum of element matrices (m, 12, 12) as a CSC matrix (n_dof, n_dof)."""
        data = np.bincount(self.scatter, element_matrices.ravel(), minlength=self.nnz)
        return sparse.csc_matrix((data, self.indices, self.indptr), shape=(self.n_dof,) * 2)


def stiffness(mesh: Triangles, sheets: FloatArray, pattern: Pattern | None = None,
              rule: int = 6) -> sparse.csc_matrix:
    """Stiffness of a mesh, symmetric CSC (n_dof, n_dof), N/mm; `sheets` as `element_stiffness`.

    Pass the `Pattern` of the mesh when it is assembled more than once.
    """
    if pattern is None:
        pattern = Pattern(mesh.triangles, len(mesh.points))
    return pattern.assemble(element_stiffness(mesh.points, mesh.triangles, sheets, rule))


def _edge_geometry(mesh: Triangles, edges: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Points, outward normals times ds (k, 3, 2), and shape functions (3, 3) at Gauss points."""
    values, slope = edge_shape(EDGE_POINTS)
    nodes = mesh.points[edges]
    tangent = slope @ nodes
    outward = np.stack([tangent[..., 1], -tangent[..., 0]], axis=-1)  # the body is on the left
    return values @ nodes, outward * EDGE_WEIGHTS[:, None], values


def edge_load(mesh: Triangles, edges: IntArray,
              traction: Callable[[FloatArray, FloatArray], FloatArray]) -> FloatArray:
    """Nodal forces (n_dof,), N, of a traction on edges (k, 3) with the body on their left.

    `traction(xy, normal)` gets points and outward unit normals, both (k, 3, 2), and returns the
    force per length of edge (k, 3, 2), N/mm (stress times thickness). Edges may be curved.
    """
    xy, outward, values = _edge_geometry(mesh, edges)
    length = np.linalg.norm(outward, axis=-1, keepdims=True)
    unit = outward / length
    force = np.broadcast_to(traction(xy, unit), xy.shape) * length
    nodal = np.einsum("qa,kqi->kai", values, force)
    out = np.zeros((len(mesh.points), 2))
    np.add.at(out, edges, nodal)
    return out.ravel()


def edge_weights(mesh: Triangles, edges: IntArray) -> FloatArray:
    """Integral of each node's shape function along edges (k, 3), (n_nodes,), mm."""
    _, outward, values = _edge_geometry(mesh, edges)
    out = np.zeros(len(mesh.points))
    np.add.at(out, edges, np.linalg.norm(outward, axis=-1) @ values)
    return out


def interpolation_terms(mesh: Locatable, xy: FloatArray) -> tuple[IntArray, FloatArray]:
    """Nodes and shape function values (p, 6) that give a nodal field's value at points (p, 2).

    Raises InputError if a point lies outside the mesh.
    """
    element, local = mesh.locate(xy)
    if np.any(element < 0):
        first = xy[np.argmax(element < 0)]
        raise InputError("a point lies outside the mesh", value=f"({first[0]:g}, {first[1]:g}) mm")
    return mesh.triangles[element], shape(local)[0]
