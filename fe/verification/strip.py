"""A hole in a strip of finite width: stress concentration on the net section."""

from __future__ import annotations

from functools import cache, partial

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.assembly import edge_load, sheet, stiffness
from buttress.fe.bodies.stress import stress
from buttress.fe.verification import Case, register
from buttress.fe.verification.meshes import Grid, mapped, merge, rectangle
from buttress.fe.verification.problem import node_at, solve, strain_at_node, symmetry

MATERIAL = sheet(1.0, 0.3)  # MPa
HALF = 1.0  # half the width, mm


def polynomial(x: float) -> float:
    """Peterson/Roark's fit, x = diameter over width, to be used with the net stress."""
    return 3 - 3.14 * x + 3.667 * x**2 - 1.527 * x**3


def quarter(n: int, radius: float) -> Grid:
    """Quarter strip with 2n edges on the hole's arc; "pulled" is the far end, x = 4 HALF."""
    def shape(s: FloatArray, t: FloatArray) -> tuple[FloatArray, FloatArray]:
        angle = t * np.pi / 2
        # The outer edge runs up the right side and back along the top of a square.
        out_x, out_y = np.minimum(1, 2 - 2 * t) * HALF, np.minimum(1, 2 * t) * HALF
        # Cells grow outward like a geometric row would, without its kink at the square's corner.
        blend = s * (0.3 + 0.7 * s)
        return (radius * np.cos(angle) * (1 - blend) + out_x * blend,
                radius * np.sin(angle) * (1 - blend) + out_y * blend)
    near = mapped(2 * n, 2 * n, shape)
    far = rectangle(2 * n, n, 3 * HALF, HALF, left=HALF)
    return merge(Grid(near.points, near.triangles, {"bottom": near.edges["bottom"],
                                                    "middle": near.edges["top"],
                                                    "joined": near.edges["right"]}),
                 Grid(far.points, far.triangles, {"bottom": far.edges["bottom"],
                                                  "joined": far.edges["left"],
                                                  "pulled": far.edges["right"]}))


@cache
def concentration(x: float, n: int) -> float:
    """Stress at the hole's side over the mean stress of the net section."""
    mesh = quarter(n, x * HALF)
    load = edge_load(mesh, mesh.edges["pulled"], lambda xy, normal: normal)
    u = solve(stiffness(mesh, MATERIAL), load, symmetry(mesh.edges["middle"],
                                                        mesh.edges["bottom"]))
    peak = stress(strain_at_node(mesh, u, node_at(mesh, 0.0, x * HALF)), MATERIAL)[0]
    return float(peak * (1 - x))


CASES = register(*(
    Case(f"hole in a strip, d/W {x}", "Peterson/Roark polynomial for the net section", "seen",
         "stress concentration", "-", polynomial(x), 0.01, partial(concentration, x, 16),
         basis="published")
    for x in (0.1, 0.2, 0.3, 0.4, 0.5)))
