"""A rod pulled out of springs along its length: shear lag (Volkersen 1938; memory, derived).

Alone on ground springs, and in a meshed block so stiff that it is ground. In an elastic block the
peak of the shear sits where the softer side ends, and this closed form does not hold.
"""

from __future__ import annotations

from functools import partial

import numpy as np

from buttress.fe.bodies.body import Body
from buttress.fe.bodies.embed import spread_points
from buttress.fe.links.condense import Measure
from buttress.fe.links.link import End, LinkList
from buttress.fe.verification import Case, register
from buttress.fe.verification.meshes import rectangle
from buttress.fe.verification.parts import (
    ACROSS,
    ALONG,
    GROUND,
    RIGID,
    answered,
    foundation,
    piece,
    round_rod,
    spring,
)
from buttress.fe.verification.problem import unknowns

DIAMETER, MODULUS = 6.0, 200e3  # mm, MPa
SPRINGS, LENGTH, FORCE = 400.0, 40.0, 1000.0  # N/mm per mm, mm, N
AXIAL = MODULUS * np.pi * DIAMETER**2 / 4
ALPHA = float(np.sqrt(SPRINGS / AXIAL))  # 1/mm
PULL = float(FORCE / (np.tanh(ALPHA * LENGTH) * AXIAL * ALPHA))  # mm
SOURCE = "Volkersen 1938; u = P coth(aL)/(EA a), a² = k/EA"


def motion(matrix: float | None, step: float = 1.0) -> float:
    """Motion of the pulled end, mm; springs to the ground or to a block of modulus `matrix`."""
    middles = step * (np.arange(round(LENGTH / step)) + 0.5)
    x = np.concatenate([[0.0], middles, [LENGTH]])
    rod = round_rod("rod", np.stack([x, 0 * x], axis=1), DIAMETER, MODULUS)
    places = range(1, len(x) - 1)
    links = LinkList()
    bodies: list[Body] = [rod]
    base = None
    if matrix is not None:
        # 60 by 40 by 20 mm round the rod, held on the face beyond the rod's tip.
        grid = rectangle(30, 20, 60.0, 40.0, left=0.0, bottom=-20.0)
        block = piece(grid, matrix, 0.3, 20.0, unknowns(grid.edges["right"]))
        bodies.append(block)

        def base(i: int) -> End:
            spots = spread_points(rod.points[i], ALONG, step, DIAMETER)
            return End(block, block.spread(*spots)(ALONG))
    foundation(links, rod, places, np.full(len(places), step), SPRINGS, ALONG, base)
    # Nothing pushes across; two springs keep the rod from drifting.
    for i in (0, len(x) - 1):
        spring(links, End(rod, rod.translation(i, ACROSS)), GROUND, SPRINGS)
    end = rod.translation(0, -ALONG)
    _, read = answered(bodies, links, [[(rod, end)]], [FORCE], [Measure("end", ((rod, end),))])
    return read["end"]


CASES = register(
    Case("pulled rod on springs", SOURCE, "memory", "motion of the pulled end", "mm", PULL, 1e-3,
         partial(motion, None)),
    Case("pulled rod, stiffness", SOURCE, "memory", "force over motion", "N/mm", FORCE / PULL,
         1e-3, lambda: FORCE / motion(None)),
    Case("thread in a near-rigid block", SOURCE, "memory", "motion of the pulled end", "mm", PULL,
         1e-3, partial(motion, RIGID)))
