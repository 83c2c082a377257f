"""A sleeve shrunk into a hub, pressed by contact links (Lamé's rings, plane stress).

Nodal forces of a uniform pressure go 1 : 4 : 1 along an edge; only a force over its node's weight
(1/6, 4/6, 1/6 of each edge) is a pressure.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, partial

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.assembly import edge_weights
from buttress.fe.errors import SolveError
from buttress.fe.links.condense import condense
from buttress.fe.links.link import LinkList
from buttress.fe.solve.solver import Solver
from buttress.fe.verification import Case, register
from buttress.fe.verification.meshes import quarter_ring
from buttress.fe.verification.parts import matched, piece, touch
from buttress.fe.verification.problem import symmetry

BORE, FACE, RIM = 5.0, 10.0, 20.0  # mm
SLEEVE, HUB = (110e3, 0.33), (200e3, 0.3)  # MPa, -
INTERFERENCE = 0.01  # mm, radial


def closed_form() -> float:
    """Pressure between the rings, MPa."""
    outside = ((RIM**2 + FACE**2) / (RIM**2 - FACE**2) + HUB[1]) / HUB[0]
    inside = ((FACE**2 + BORE**2) / (FACE**2 - BORE**2) - SLEEVE[1]) / SLEEVE[0]
    return INTERFERENCE / (FACE * (outside + inside))


@cache
def pressures(across: int = 16) -> FloatArray:
    """Pressure at each node of the face, MPa."""
    around = 2 * across
    inner = quarter_ring(around, across, BORE, FACE)
    outer = quarter_ring(around, across, FACE, RIM)
    sleeve, hub = (piece(grid, *law, fixed=symmetry(grid.edges["top"], grid.edges["bottom"]))
                   for grid, law in ((inner, SLEEVE), (outer, HUB)))
    nodes = matched(inner, "right", outer, "left")
    links = LinkList()
    touch(links, sleeve, hub, nodes, inner.points[nodes[0]] / FACE, gap=-INTERFERENCE)
    answer = Solver(condense([sleeve, hub], links, [[]])).answer(np.zeros(1))
    if not answer.held:
        raise SolveError(f"verification problem: {answer.status}")
    return np.asarray(answer.force / edge_weights(inner, inner.edges["right"])[nodes[0]])


def extreme(pick: Callable[[FloatArray], float]) -> float:
    """Lowest or highest pressure on the face, MPa."""
    return float(pick(pressures()))


CASES = register(*(
    Case(f"shrink fit, {name} pressure", "Lamé's rings with an interference, closed form",
         "derived", f"{name} pressure on the face", "MPa", closed_form(), 1e-3,
         partial(extreme, pick))
    for name, pick in (("lowest", np.min), ("highest", np.max))))
