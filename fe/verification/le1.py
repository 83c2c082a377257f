"""NAFEMS LE1, elliptic membrane (seen): stress at the end of the inner ellipse's long axis.

The pressure acts outward on the outer edge; one public page misprints it as 1 MPa.
"""

from __future__ import annotations

from functools import partial

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.assembly import edge_load, sheet, stiffness
from buttress.fe.bodies.stress import stress
from buttress.fe.verification import Case, register
from buttress.fe.verification.meshes import Grid, mapped
from buttress.fe.verification.problem import node_at, solve, strain_at_node, symmetry

INNER, OUTER = (2000.0, 1000.0), (3250.0, 2750.0)  # semi-axes, mm
THICKNESS = 100.0  # mm
MATERIAL = sheet(210e3, 0.3)  # MPa
PRESSURE = 10.0  # MPa


def membrane(around: int, across: int) -> Grid:
    """Quarter of the membrane; "left" inner ellipse, "right" outer, "bottom" y = 0, "top" x = 0."""
    def shape(s: FloatArray, t: FloatArray) -> tuple[FloatArray, FloatArray]:
        a, b = (INNER[i] + (OUTER[i] - INNER[i]) * s for i in (0, 1))
        return a * np.cos(t * np.pi / 2), b * np.sin(t * np.pi / 2)
    return mapped(across, around, shape)


def stress_at_d(around: int, across: int) -> float:
    """Vertical stress at (2, 0) m, MPa."""
    mesh = membrane(around, across)
    load = edge_load(mesh, mesh.edges["right"], lambda xy, normal: PRESSURE * THICKNESS * normal)
    held = symmetry(mesh.edges["top"], mesh.edges["bottom"])
    u = solve(stiffness(mesh, MATERIAL * THICKNESS), load, held)
    node = node_at(mesh, INNER[0], 0.0)
    return float(stress(strain_at_node(mesh, u, node), MATERIAL)[1])


# Tolerances: what a T6 mesh of that size leaves by an independent kernel, 91.41 and 92.28 MPa.
CASES = register(*(
    Case(f"LE1, {around} by {across}", "NAFEMS Standard Benchmarks, LE1", "seen",
         "vertical stress at (2, 0) m", "MPa", 92.7, tolerance,
         partial(stress_at_d, around, across), basis="published")
    for around, across, tolerance in ((32, 16, 0.02), (64, 32, 0.005))))
