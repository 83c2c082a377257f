"""Kirsch's hole in a wide plate: the exact tractions act on a circle of four radii."""

from __future__ import annotations

from functools import cache, partial

from buttress.fe.bodies.assembly import edge_load, sheet, stiffness
from buttress.fe.bodies.stress import stress
from buttress.fe.verification import Case, register
from buttress.fe.verification.inclusion import far_traction
from buttress.fe.verification.meshes import quarter_ring
from buttress.fe.verification.problem import node_at, solve, strain_at_node, symmetry

MATERIAL = sheet(1.0, 0.3)  # MPa
SOURCE = ("Kirsch, Z Ver dt Ing 1898;42:797-807, closed form; the equations read in Wikipedia, "
          "\"Kirsch equations\"")


@cache
def concentration(arc: int) -> float:
    """Stress along the pull at the hole's side over the remote stress, `arc` edges an arc."""
    mesh = quarter_ring(arc, arc, 1.0, 4.0, graded=True)
    load = edge_load(mesh, mesh.edges["right"], partial(far_traction, 0.0, 0.0))
    u = solve(stiffness(mesh, MATERIAL), load, symmetry(mesh.edges["top"], mesh.edges["bottom"]))
    return float(stress(strain_at_node(mesh, u, node_at(mesh, 0.0, 1.0)), MATERIAL)[0])


CASES = register(*(
    Case(f"Kirsch, {arc} a quarter arc", SOURCE, "seen",
         "stress concentration", "-", 3.0, 0.01, partial(concentration, arc))
    for arc in (16, 32, 64)))
