"""Two matched blocks pressed together: the contact must pass a uniform pressure exactly.

The blocks differ in material and their common face lies askew in the mesh of neither; without
friction each widens as it likes, so the stress is uniform in both.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, partial

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.assembly import edge_load, edge_weights
from buttress.fe.bodies.body import Column
from buttress.fe.errors import SolveError
from buttress.fe.links.condense import condense
from buttress.fe.links.link import LinkList
from buttress.fe.solve.solver import Solver
from buttress.fe.verification import Case, register
from buttress.fe.verification.meshes import rectangle, scattered
from buttress.fe.verification.parts import matched, piece, touch
from buttress.fe.verification.problem import node_at, unknowns

PRESSURE, THICKNESS = 5.0, 3.0  # MPa, mm


@cache
def pressures() -> FloatArray:
    """Pressure at each node of the face, MPa."""
    low = scattered(rectangle(5, 3, 10.0, 6.0), 0.3)
    high = scattered(rectangle(5, 4, 10.0, 8.0, bottom=6.0), 0.3, seed=2)
    held = np.union1d(unknowns(low.edges["bottom"], [1]), [2 * node_at(low, 0.0, 0.0)])
    # Nothing holds the upper block sideways but this one unknown: no force comes of it.
    lower = piece(low, 1000.0, 0.3, THICKNESS, held, name="lower")
    upper = piece(high, 300.0, 0.2, THICKNESS, [2 * node_at(high, 0.0, 6.0)], name="upper")
    nodes = matched(low, "top", high, "bottom")
    links = LinkList()
    touch(links, lower, upper, nodes, [0.0, 1.0])
    load = edge_load(high, high.edges["top"], lambda xy, normal: -PRESSURE * THICKNESS * normal)
    problem = condense([lower, upper], links, [[(upper, Column.dense(load))]])
    answer = Solver(problem).answer(np.ones(1))
    if not answer.held:
        raise SolveError(f"verification problem: {answer.status}")
    weight = edge_weights(low, low.edges["top"])[nodes[0]] * THICKNESS
    return np.asarray(answer.force / weight)


def extreme(pick: Callable[[FloatArray], float]) -> float:
    """Lowest or highest pressure on the face, MPa."""
    return float(pick(pressures()))


CASES = register(*(
    Case(f"contact patch, {name} pressure", "equilibrium", "derived",
         f"{name} pressure on the face", "MPa", PRESSURE, 1e-10,
         partial(extreme, pick))
    for name, pick in (("lowest", np.min), ("highest", np.max))))
