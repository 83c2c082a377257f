"""Cook's skew membrane. The often quoted 23.96 is from memory; 23.9677 is an extrapolation.

The corner at (0, 44) is singular, so the deflection converges with order 1.4 and not 3. The point
is the middle of the right edge, (48, 52).
"""

from __future__ import annotations

from functools import cache, partial

from buttress.fe.bodies.assembly import edge_load, sheet, stiffness
from buttress.fe.verification import Case, register
from buttress.fe.verification.meshes import Grid, mapped
from buttress.fe.verification.problem import node_at, solve, unknowns

SHEET = sheet(1.0, 1 / 3)


def membrane(n: int) -> Grid:
    """(0, 0), (48, 44), (48, 60), (0, 44) mm cut into n by n cells, each by its short diagonal.

    The long one leaves twice the error: 0.17 % at n = 16.
    """
    return mapped(n, n, lambda s, t: (48 * s, 44 * s + t * (44 - 28 * s)), falling=True)


@cache
def deflection(n: int) -> float:
    """Upward displacement of (48, 52), mm, under a shear of 1 N spread over the right edge."""
    mesh = membrane(n)
    load = edge_load(mesh, mesh.edges["right"], lambda xy, normal: (normal * 0) + [0.0, 1 / 16])
    u = solve(stiffness(mesh, SHEET), load, unknowns(mesh.edges["left"]))
    return float(u[2 * node_at(mesh, 48.0, 52.0) + 1])


CASES = register(*(
    Case(f"Cook's membrane, {n} by {n}",
         "Richardson extrapolation by an independent T6 kernel; Cook's 23.96 from memory",
         "derived", "deflection at (48, 52)", "mm", 23.9677, 1e-3, partial(deflection, n),
         basis="self-consistency")
    for n in (16, 32)))
