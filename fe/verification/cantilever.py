"""Cantilever under an end load, plane-stress solution of Timoshenko and Goodier (memory).

The end is moved as the solution says; clamping it fully is another problem.
"""

from __future__ import annotations

from functools import cache, partial

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.assembly import edge_load, sheet, stiffness
from buttress.fe.verification import Case, register
from buttress.fe.verification.meshes import rectangle
from buttress.fe.verification.problem import node_at, solve, unknowns

LENGTH, DEPTH, LOAD = 48.0, 12.0, 1000.0  # mm, mm, N
MODULUS, POISSON = 30e6, 0.3  # MPa
INERTIA = DEPTH**3 / 12  # mm⁴, 1 mm thick
TIP = (LOAD * LENGTH**3 / (3 * MODULUS * INERTIA)
       + (4 + 5 * POISSON) * LOAD * DEPTH**2 * LENGTH / (24 * MODULUS * INERTIA))


def exact(xy: FloatArray) -> FloatArray:
    """Displacement (..., 2), mm, with the load up at x = L and y from the middle."""
    x, y = xy[..., 0], xy[..., 1]
    factor = LOAD / (6 * MODULUS * INERTIA)
    u = -factor * y * ((6 * LENGTH - 3 * x) * x + (2 + POISSON) * (y**2 - DEPTH**2 / 4))
    v = factor * (3 * POISSON * y**2 * (LENGTH - x) + (4 + 5 * POISSON) * DEPTH**2 * x / 4
                  + (3 * LENGTH - x) * x**2)
    return np.stack([u, v], axis=-1)


def shear(xy: FloatArray, normal: FloatArray) -> FloatArray:
    """The parabolic end traction, N/mm."""
    y = xy[..., 1]
    return np.stack([0 * y, LOAD / (2 * INERTIA) * (DEPTH**2 / 4 - y**2)], axis=-1)


@cache
def tip(n: int) -> float:
    """Deflection of the end's middle, mm, with n elements in the depth."""
    mesh = rectangle(4 * n, n, LENGTH, DEPTH, bottom=-DEPTH / 2)
    held = unknowns(mesh.edges["left"])
    u = solve(stiffness(mesh, sheet(MODULUS, POISSON)),
              edge_load(mesh, mesh.edges["right"], shear), held, exact(mesh.points).ravel()[held])
    return float(u[2 * node_at(mesh, LENGTH, 0.0) + 1])


CASES = register(
    Case("cantilever, 8 in depth", "Timoshenko and Goodier, Theory of Elasticity, end-loaded "
         "cantilever", "memory", "tip deflection", "mm", TIP, 1e-5, partial(tip, 8)))
