"""A block on an incline (angle to the horizontal): sticks up to the friction angle, then slides."""

from __future__ import annotations

from functools import cache, partial

import numpy as np

from buttress.fe.bodies.body import Column
from buttress.fe.links.condense import condense
from buttress.fe.links.link import LinkList
from buttress.fe.solve.solver import Solver
from buttress.fe.verification import Case, register
from buttress.fe.verification.meshes import rectangle
from buttress.fe.verification.parts import limit, matched, piece, touch, turned
from buttress.fe.verification.problem import body_load, unknowns

FRICTION, WEIGHT = 0.4, 1000.0  # -, N
SIDE, THICKNESS = 30.0, 10.0  # mm
STICKS, SLIDES = 21.800, 21.803  # degrees, about arctan 0.4 = 21.8014
SOURCE = "Coulomb friction: slides where tan(slope) > friction"


@cache
def slope(degrees: float) -> Solver:
    """An elastic block under its own weight on an elastic base, inclined to the horizontal."""
    angle = float(np.radians(degrees))
    low = turned(rectangle(12, 4, 2 * SIDE, 20.0, left=-SIDE, bottom=-20.0), angle)
    high = turned(rectangle(6, 6, SIDE, SIDE, left=-SIDE / 2), angle)
    base = piece(low, 1000.0, 0.3, THICKNESS, unknowns(low.edges["bottom"]))
    block = piece(high, 1000.0, 0.3, THICKNESS)
    # The base's top is longer than the block's foot: only the nodes under it are matched.
    under = np.unique(low.edges["top"])
    along = low.points[under] @ [np.cos(angle), np.sin(angle)]
    under = under[np.abs(along) <= SIDE / 2 + 1e-6]
    low.edges["under"] = under[:, None]
    links = LinkList()
    touch(links, base, block, matched(low, "under", high, "bottom"),
          [-np.sin(angle), np.cos(angle)], friction=FRICTION)
    down = np.array([0.0, -1.0 / SIDE**2])
    weight = body_load(high, lambda x, y: np.broadcast_to(down[:, None, None], (2, *x.shape)))
    return Solver(condense([base, block], links, [[(block, Column.dense(weight))]]))


def solver_holds(degrees: float) -> float:
    """1 where the incremental solver finds equilibrium, 0 where it reports none."""
    status = slope(degrees).answer(np.array([WEIGHT])).status
    return {"held": 1.0, "no equilibrium": 0.0}[status]


def program_holds(degrees: float) -> float:
    """The same by the linear program."""
    return float(limit(slope(degrees), np.array([WEIGHT])) >= 1.0)


CASES = register(*(
    Case(f"slope of {degrees:.3f} degrees, {name}", SOURCE, "derived", "holds (1) or not (0)", "-",
         expected, 0.0, partial(verdict, degrees))
    for name, verdict in (("solver", solver_holds), ("linear program", program_holds))
    for degrees, expected in ((STICKS, 1.0), (SLIDES, 0.0))))
