"""scikit-fem on the same mesh: stiffness matrix and displacements to 1e-10 relative."""

import numpy as np
import pytest
from skfem import Basis, BilinearForm, ElementTriP2, ElementVector, MeshTri2
from skfem.helpers import ddot, sym_grad, trace

from buttress.fe.bodies.assembly import edge_load, quadrature_points, sheet, stiffness
from buttress.fe.verification.meshes import mapped, quarter_ring, rectangle, scattered
from buttress.fe.verification.problem import solve, symmetry

MESHES = {
    "straight": scattered(rectangle(7, 5, 30.0, 20.0), 0.8),
    "curved": quarter_ring(8, 4, 10.0, 20.0),
    "skew": mapped(6, 6, lambda s, t: (48 * s, 44 * s + t * (44 - 28 * s))),
}
MODULUS, POISSON = 210e3, 0.3


def thickness(x, y):
    return 2.0 + 0.05 * x + 0.002 * y**2


def reference(mesh):
    """Stiffness by scikit-fem with its own shape functions, mapping and sums, our node order."""
    corners = np.unique(mesh.triangles[:, :3])
    middles = np.unique(mesh.triangles[:, 3:])
    number = np.empty(len(mesh.points), dtype=int)
    number[corners] = np.arange(len(corners))
    number[middles] = len(corners) + np.arange(len(middles))
    # Their mesh wants the corners numbered first.
    by_number = np.concatenate([mesh.points[corners], mesh.points[middles]])
    theirs = MeshTri2(by_number.T.copy(), number[mesh.triangles].T.copy(), sort_t=False)
    basis = Basis(theirs, ElementVector(ElementTriP2()), intorder=4)
    lam = MODULUS * POISSON / (1 - POISSON**2)  # plane stress
    mu = MODULUS / (2 * (1 + POISSON))

    @BilinearForm
    def form(u, v, w):
        e, d = sym_grad(u), sym_grad(v)
        return thickness(*w.x) * (2 * mu * ddot(e, d) + lam * trace(e) * trace(d))

    matrix = form.assemble(basis).tocsr()
    # Match unknowns by place: theirs are numbered by vertex and facet of their own.
    ours = {(round(x, 7), round(y, 7)): node for node, (x, y) in enumerate(mesh.points)}
    place = [ours[round(x, 7), round(y, 7)] for x, y in basis.doflocs.T]
    axis = np.empty(len(place), dtype=int)
    seen = set()
    for k, node in enumerate(place):
        axis[k] = node in seen
        seen.add(node)
    to = 2 * np.array(place) + axis
    back = np.argsort(to)
    return matrix[back][:, back]


@pytest.mark.parametrize("mesh", MESHES.values(), ids=MESHES.keys())
def test_stiffness_and_displacements(mesh):
    x, y = np.moveaxis(quadrature_points(mesh), -1, 0)
    matrix = stiffness(mesh, sheet(MODULUS, POISSON, thickness(x, y)))
    theirs = reference(mesh)
    assert abs(matrix - theirs).max() < 1e-10 * abs(theirs).max()

    load = edge_load(mesh, mesh.edges["right"], lambda xy, normal: normal + np.array([0.3, -0.2]))
    held = symmetry(mesh.edges["left"], mesh.edges["bottom"])
    mine, other = (solve(k.tocsc(), load, held) for k in (matrix, theirs))
    assert np.abs(mine - other).max() < 1e-10 * np.abs(other).max()
