"""Manufactured solution u = (sin(pi x) cosh y, cos(pi x) exp(y/2)) on the unit square.

Quadratic triangles converge with order 3 in the mean square of displacement and 2 in energy.
"""

from __future__ import annotations

from functools import cache, partial

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.assembly import edge_load, quadrature_points, sheet, stiffness
from buttress.fe.bodies.element import QUADRATURE, shape
from buttress.fe.bodies.stress import strain, stress, weights
from buttress.fe.verification import Case, register
from buttress.fe.verification.meshes import rectangle, scattered
from buttress.fe.verification.problem import body_load, solve, unknowns

SHEET = sheet(1.0, 0.3)
PI = np.pi


def exact(x: FloatArray, y: FloatArray) -> FloatArray:
    """Displacement (..., 2)."""
    return np.stack([np.sin(PI * x) * np.cosh(y), np.cos(PI * x) * np.exp(y / 2)], axis=-1)


def exact_strain(x: FloatArray, y: FloatArray) -> FloatArray:
    """Strain (..., 3), differentiated by hand."""
    grow = np.exp(y / 2)
    return np.stack([PI * np.cos(PI * x) * np.cosh(y), np.cos(PI * x) * grow / 2,
                     np.sin(PI * x) * (np.sinh(y) - PI * grow)], axis=-1)


def force(x: FloatArray, y: FloatArray) -> FloatArray:
    """The load per area that the solution needs, minus the divergence of stress, (2, ...)."""
    d11, d12, d33 = SHEET
    s, c, grow = np.sin(PI * x), np.cos(PI * x), np.exp(y / 2)
    u_xx, u_yy, u_xy = -PI**2 * s * np.cosh(y), s * np.cosh(y), PI * c * np.sinh(y)
    v_xx, v_yy, v_xy = -PI**2 * c * grow, c * grow / 4, -PI / 2 * s * grow
    return np.stack([-(d11 * u_xx + d12 * v_xy + d33 * (u_yy + v_xy)),
                     -(d33 * (u_xy + v_xx) + d12 * u_xy + d11 * v_yy)])


def traction(xy: FloatArray, normal: FloatArray) -> FloatArray:
    """Stress of the solution times the normal."""
    sxx, syy, sxy = np.moveaxis(stress(exact_strain(xy[..., 0], xy[..., 1]), SHEET), -1, 0)
    nx, ny = normal[..., 0], normal[..., 1]
    return np.stack([sxx * nx + sxy * ny, sxy * nx + syy * ny], axis=-1)


@cache
def errors(n: int) -> tuple[float, float]:
    """Mean-square error of displacement and error in the energy norm on a distorted n by n mesh.

    Held on the left and bottom, loaded on the right and top.
    """
    mesh = scattered(rectangle(n, n, 1.0, 1.0), 0.15 / n)
    field = exact(*mesh.points.T).ravel()
    load = body_load(mesh, force)
    for side in ("right", "top"):
        load += edge_load(mesh, mesh.edges[side], traction)
    held = unknowns(np.concatenate([mesh.edges["left"], mesh.edges["bottom"]]))
    u = solve(stiffness(mesh, SHEET), load, held, field[held])
    x, y = np.moveaxis(quadrature_points(mesh, 7), -1, 0)
    area = weights(mesh, 7)
    values, _ = shape(QUADRATURE[7][0])
    off = values @ u.reshape(-1, 2)[mesh.triangles] - exact(x, y)
    wrong = strain(mesh, u, 7) - exact_strain(x, y)
    energy = np.sum(wrong * stress(wrong, SHEET), axis=-1)
    return (float(np.sqrt(np.sum(area[..., None] * off**2))),
            float(np.sqrt(np.sum(area * energy))))


def rate(which: int) -> float:
    """Observed order between 16 and 32 elements a side."""
    return float(np.log2(errors(16)[which] / errors(32)[which]))


CASES = register(
    Case("manufactured, displacement", "approximation theory: order 3 for quadratic elements",
         "derived", "observed order in L2", "-", 2.8, 0.0, partial(rate, 0), "at least",
         "self-consistency"),
    Case("manufactured, energy", "approximation theory: order 2 for quadratic elements",
         "derived", "observed order in the energy norm", "-", 1.9, 0.0, partial(rate, 1),
         "at least", "self-consistency"))
