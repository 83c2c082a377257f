"""Strain and stress of a solved mesh, and the area weights to average them with.

Strains are (exx, eyy, gxy) with the engineering shear, stresses (sxx, syy, sxy) in MPa.
"""

from __future__ import annotations

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.assembly import jacobian
from buttress.fe.bodies.element import NODES, QUADRATURE, Triangles, shape


def strain_at(mesh: Triangles, u: FloatArray, xi: FloatArray) -> FloatArray:
    """Strain (m, q, 3) at reference coordinates `xi` (q, 2) of each triangle; u (n_dof,), mm."""
    _, gradient = shape(xi)
    jac = jacobian(mesh.points, mesh.triangles, xi)
    # du_i/dxi_k, then du_i/dx_j = du_i/dxi_k dxi_k/dx_j
    local = np.einsum("mai,qak->mqik", u.reshape(-1, 2)[mesh.triangles], gradient)
    grad = local @ np.linalg.inv(jac)
    return np.stack([grad[..., 0, 0], grad[..., 1, 1], grad[..., 0, 1] + grad[..., 1, 0]], axis=-1)


def strain(mesh: Triangles, u: FloatArray, rule: int = 6) -> FloatArray:
    """Strain (m, q, 3) at the quadrature points; u (n_dof,), mm."""
    return strain_at(mesh, u, QUADRATURE[rule][0])


def stress(strains: FloatArray, sheets: FloatArray) -> FloatArray:
    """Stress (..., 3) of strains (..., 3) in sheets (D11, D12, D33) (..., 3).

    MPa for sheets of thickness 1 mm (a material's own matrix), N/mm for sheets times thickness.
    """
    exx, eyy, gxy = (strains[..., i] for i in range(3))
    d11, d12, d33 = (sheets[..., i] for i in range(3))
    return np.stack([d11 * exx + d12 * eyy, d12 * exx + d11 * eyy, d33 * gxy], axis=-1)


def principal(strains: FloatArray) -> FloatArray:
    """In-plane principal strains (..., 2), the larger first, of (exx, eyy, gxy) (..., 3)."""
    exx, eyy, gxy = (strains[..., i] for i in range(3))
    centre, radius = (exx + eyy) / 2, np.hypot((exx - eyy) / 2, gxy / 2)
    return np.stack([centre + radius, centre - radius], axis=-1)


def von_mises(stresses: FloatArray, out_of_plane: FloatArray | float = 0.0) -> FloatArray:
    """Von Mises stress (...) of (sxx, syy, sxy) (..., 3), in the same unit.

    ``out_of_plane``: szz over sxx + syy, 0 in plane stress, see `plane.out_of_plane`.
    """
    sxx, syy, sxy = (stresses[..., i] for i in range(3))
    szz = out_of_plane * (sxx + syy)
    return np.sqrt(sxx**2 - sxx * syy + syy**2 + 3 * sxy**2 + szz * (szz - sxx - syy))


def weights(mesh: Triangles, rule: int = 6) -> FloatArray:
    """Area of each quadrature point (m, q), mm², so that an integral is a weighted sum."""
    xi, weight = QUADRATURE[rule]
    return np.linalg.det(jacobian(mesh.points, mesh.triangles, xi)) * weight


def to_nodes(mesh: Triangles, values: FloatArray, rule: int = 6) -> FloatArray:
    """Values at quadrature points (m, q, ...) as a nodal average weighted by area (n, ...).

    Each triangle's best linear fit is extrapolated to its nodes. For figures only: it hides jumps
    between triangles, so it is not for use across two materials or for reported values.
    """
    xi, weight = QUADRATURE[rule]
    basis = np.column_stack([np.ones(len(xi)), xi])
    normal = basis.T * weight
    carry = np.column_stack([np.ones(6), NODES]) @ np.linalg.solve(normal @ basis, normal)
    m = len(mesh.triangles)
    area = weights(mesh, rule).sum(axis=1)
    nodal = np.einsum("aq,mqc->mac", carry, values.reshape(m, len(xi), -1)) * area[:, None, None]
    total = np.zeros((len(mesh.points), nodal.shape[2]))
    share = np.zeros(len(mesh.points))
    np.add.at(total, mesh.triangles, nodal)
    np.add.at(share, mesh.triangles, area[:, None])
    return (total / share[:, None]).reshape(len(mesh.points), *values.shape[2:])
