"""Lamé's thick ring under inner pressure, plane stress."""

from __future__ import annotations

from functools import cache, partial

from buttress.fe.bodies.assembly import edge_load, sheet, stiffness
from buttress.fe.bodies.stress import stress
from buttress.fe.verification import Case, register
from buttress.fe.verification.meshes import quarter_ring
from buttress.fe.verification.problem import node_at, solve, strain_at_node, symmetry

INNER, OUTER, PRESSURE = 10.0, 20.0, 100.0  # mm, mm, MPa
MODULUS, POISSON = 200e3, 0.3  # MPa
MATERIAL = sheet(MODULUS, POISSON)


def radial(r: float) -> float:
    """Lamé's displacement at a radius, mm."""
    scale = PRESSURE * INNER**2 / (MODULUS * (OUTER**2 - INNER**2))
    return scale * ((1 - POISSON) * r + (1 + POISSON) * OUTER**2 / r)


HOOP = PRESSURE * (OUTER**2 + INNER**2) / (OUTER**2 - INNER**2)


@cache
def ring(across: int) -> tuple[float, float, float]:
    """Displacement in and out, mm, and hoop stress at the inner edge, MPa."""
    mesh = quarter_ring(2 * across, across, INNER, OUTER)
    load = edge_load(mesh, mesh.edges["left"], lambda xy, normal: -PRESSURE * normal)
    u = solve(stiffness(mesh, MATERIAL), load, symmetry(mesh.edges["top"], mesh.edges["bottom"]))
    near, far = node_at(mesh, INNER, 0.0), node_at(mesh, OUTER, 0.0)
    hoop = stress(strain_at_node(mesh, u, near), MATERIAL)[1]
    return float(u[2 * near]), float(u[2 * far]), float(hoop)


CASES = register(*(
    Case(f"Lamé ring, {name}", "Lamé's closed form", "derived", name, unit, reference, 0.002,
         partial(lambda k: ring(8)[k], k))
    for k, (name, unit, reference) in enumerate((
        ("inner displacement", "mm", radial(INNER)), ("outer displacement", "mm", radial(OUTER)),
        ("inner hoop stress", "MPa", HOOP)))))
