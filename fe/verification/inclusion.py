"""A circular inclusion in a plate pulled from afar (Goodier 1933; memory, derived again here).

With Kolosov's potentials phi = s0/4 (z + 2c a²/z), psi = -s0/2 (z + d a²/z - c a⁴/z³) outside and
phi = s0/4 A z, psi = -s0/2 B z inside, continuity of traction gives c = 1 - B, d = 1 - A, that of
displacement A and B. A hole is A = B = 0 (Kirsch).
"""

from __future__ import annotations

from functools import cache, partial

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.assembly import edge_load, sheet, stiffness
from buttress.fe.bodies.stress import strain, stress, weights
from buttress.fe.verification import Case, register
from buttress.fe.verification.meshes import Grid, merge, quarter_disc, quarter_ring
from buttress.fe.verification.problem import solve, symmetry

RADIUS, FAR = 1.0, 4.0  # mm
MATRIX, INCLUSION = sheet(1.0, 0.3), sheet(10.0, 0.3)  # MPa


def coefficients(stiffer: float, nu_inside: float, nu_matrix: float) -> tuple[float, float]:
    """A, B for a ratio of moduli E_i/E_m in plane stress."""
    ki, km = ((3 - nu) / (1 + nu) for nu in (nu_inside, nu_matrix))
    g = stiffer * (1 + nu_matrix) / (1 + nu_inside)
    return g * (km + 1) / (2 * g + ki - 1), g * (km + 1) / (1 + g * km)


def outside(xy: FloatArray, a_coefficient: float, b_coefficient: float) -> FloatArray:
    """Stress (..., 3) in the matrix at `xy` (..., 2) for a unit pull along x, radius 1."""
    z = xy[..., 0] + 1j * xy[..., 1]
    c, d = 1 - b_coefficient, 1 - a_coefficient
    total = np.real(1 - 2 * c / z**2)  # sxx + syy = 4 Re phi'
    # syy - sxx + 2i sxy = 2 (conj(z) phi'' + psi')
    pair = 2 * np.conj(z) * c / z**3 - (1 - d / z**2 + 3 * c / z**4)
    return np.stack([(total - pair.real) / 2, (total + pair.real) / 2, pair.imag / 2], axis=-1)


def far_traction(a_coefficient: float, b_coefficient: float, xy: FloatArray,
                 normal: FloatArray) -> FloatArray:
    """The exact traction on any edge in the matrix, N/mm for 1 mm."""
    sxx, syy, sxy = np.moveaxis(outside(xy, a_coefficient, b_coefficient), -1, 0)
    nx, ny = normal[..., 0], normal[..., 1]
    return np.stack([sxx * nx + sxy * ny, sxy * nx + syy * ny], axis=-1)


A, B = coefficients(10.0, 0.3, 0.3)


@cache
def inside(arc: int) -> tuple[Grid, FloatArray, FloatArray]:
    """Mesh, stress (k, q, 3) and area (k, q) of the inclusion's triangles, `arc` edges an arc."""
    disc = quarter_disc(arc // 2, RADIUS)
    ring = quarter_ring(arc, arc, RADIUS, FAR, graded=True)
    # The ring's inner edge takes the disc's names so that the glued pair is dropped.
    glued = merge(disc, Grid(ring.points, ring.triangles,
                             {"bottom": ring.edges["bottom"], "left": ring.edges["top"],
                              "arc": ring.edges["left"], "far": ring.edges["right"]}))
    count = len(disc.triangles)
    sheets = np.where(np.arange(len(glued.triangles))[:, None, None] < count, INCLUSION, MATRIX)
    load = edge_load(glued, glued.edges["far"], partial(far_traction, A, B))
    u = solve(stiffness(glued, sheets), load, symmetry(glued.edges["left"], glued.edges["bottom"]))
    return (glued, stress(strain(glued, u)[:count], INCLUSION), weights(glued)[:count])


def mean_stress(arc: int, component: int) -> float:
    """Mean stress in the inclusion, of the pull; never averaged across the two materials."""
    _, stresses, area = inside(arc)
    return float(np.sum(stresses[..., component] * area) / area.sum())


CASES = register(*(
    Case(f"inclusion, {label}", "Goodier, J Appl Mech 1933; derived again in this module",
         "memory", f"{label} inside over the remote stress", "-", reference, 0.005,
         partial(mean_stress, 16, component))
    for component, (label, reference) in enumerate((("sxx", 1.436641), ("syy", 0.023213)))))
