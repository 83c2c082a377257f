"""Shared parts of the continuum cases: fix unknowns, solve, read a value at a node."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np
from numpy.typing import ArrayLike
from scipy import sparse
from scipy.sparse.linalg import splu

from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.bodies.assembly import quadrature_points
from buttress.fe.bodies.element import NODES, QUADRATURE, Triangles, shape
from buttress.fe.bodies.stress import strain_at, weights
from buttress.fe.errors import SolveError


def solve(matrix: sparse.csc_matrix, load: FloatArray, held: IntArray,
          values: ArrayLike = 0.0) -> FloatArray:
    """Displacements (n_dof,), mm, with the unknowns `held` at `values`; SolveError if inexact."""
    u = np.zeros(len(load))
    u[held] = values
    free = np.setdiff1d(np.arange(len(load)), held)
    right = load - matrix @ u
    factor = splu(matrix[free][:, free].tocsc(), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0,
                  options={"SymmetricMode": True})
    u[free] = factor.solve(right[free])
    # One step of refinement: half the cases need more digits than one solve gives.
    u[free] += factor.solve((load - matrix @ u)[free])
    left = np.abs((load - matrix @ u)[free]).max(initial=0.0)
    scale = np.abs(abs(matrix) @ np.abs(u)).max() + np.abs(load).max()
    if not left <= 1e-10 * scale:
        raise SolveError(f"verification problem: residual {left:.3g} of {scale:.3g}")
    return u


def unknowns(nodes: ArrayLike, axes: Iterable[int] = (0, 1)) -> IntArray:
    """Unknowns of nodes, sorted and each once; axes 0 (x), 1 (y)."""
    unique = np.unique(np.asarray(nodes))
    return np.sort(np.concatenate([2 * unique + axis for axis in axes]))


def symmetry(x_fixed: IntArray, y_fixed: IntArray) -> IntArray:
    """Unknowns that symmetry holds: x on the nodes of one edge, y on the nodes of another."""
    return np.union1d(unknowns(x_fixed, [0]), unknowns(y_fixed, [1]))


def node_at(mesh: Triangles, x: float, y: float) -> int:
    """The node at a place; SolveError if there is none within 1e-9 of the mesh's extent."""
    distance = np.hypot(*(mesh.points - (x, y)).T)
    node = int(np.argmin(distance))
    if distance[node] > 1e-9 * np.ptp(mesh.points):
        raise SolveError(f"verification problem: no node at ({x:g}, {y:g}) mm")
    return node


def strain_at_node(mesh: Triangles, u: FloatArray, node: int) -> FloatArray:
    """Strain (3,) at a node, the mean of what its triangles say there; one material only."""
    triangle, local = np.nonzero(mesh.triangles == node)
    return np.asarray(strain_at(mesh, u, NODES)[triangle, local].mean(axis=0))


def body_load(mesh: Triangles, force: Callable[[FloatArray, FloatArray], FloatArray]) -> FloatArray:
    """Nodal forces (n_dof,), N, of `force(x, y)` -> (2, m, q) per area, N/mm²; 7 points."""
    values, _ = shape(QUADRATURE[7][0])
    x, y = np.moveaxis(quadrature_points(mesh, 7), -1, 0)
    nodal = np.einsum("imq,mq,qa->mai", force(x, y), weights(mesh, 7), values)
    out = np.zeros((len(mesh.points), 2))
    np.add.at(out, mesh.triangles, nodal)
    return out.ravel()
