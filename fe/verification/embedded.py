"""The dowel across a crack, its halves embedded in two meshed blocks.

Two blocks, each 40 mm along the dowel, 60 mm high and 20 mm thick, meet at a closed crack without
friction or touch. The far face of one is clamped; the far face of the other is kept from moving
along the dowel and turning, and sheared by V. The shift is the mean of that face, the work
conjugate of the load. The dowel is 40 mm long in each block; the springs (600 N/mm per mm) are the
*residual* between dowel and mesh, so what the blocks give comes on top of them: in near-rigid
blocks the closed form of the finite dowel returns, in bone the joint is softer. Each spring's force
is spread over its length by one diameter, so the mesh does not decide the answer.
"""

from __future__ import annotations

from functools import cache, partial

import numpy as np

from buttress.fe.bodies.assembly import edge_load
from buttress.fe.bodies.body import Column
from buttress.fe.bodies.embed import spread_points
from buttress.fe.links.condense import Measure
from buttress.fe.links.link import End, LinkList
from buttress.fe.verification import Case, register
from buttress.fe.verification.dowel import FORCE, SOURCE, finite, stations
from buttress.fe.verification.foundation import DIAMETER, MODULUS, SPRINGS
from buttress.fe.verification.meshes import rectangle
from buttress.fe.verification.parts import (
    ACROSS,
    ALONG,
    GROUND,
    answered,
    foundation,
    piece,
    round_rod,
    spring,
)
from buttress.fe.verification.problem import unknowns

SIDE, HEIGHT, THICKNESS, STEP = 40.0, 60.0, 20.0, 1.0  # mm
BONE, POISSON = 1000.0, 0.3  # MPa
SIZES = (4.0, 2.0, 1.0)  # mm, the three meshes


@cache
def stiffness(modulus: float, size: float) -> float:
    """Shear force over the shift of the loaded face, N/mm."""
    nx, ny = round(SIDE / size), round(HEIGHT / size)
    low, high = (rectangle(nx, ny, SIDE, HEIGHT, left=left, bottom=-HEIGHT / 2)
                 for left in (-SIDE, 0.0))
    held = piece(low, modulus, POISSON, THICKNESS, unknowns(low.edges["left"]))
    moved = piece(high, modulus, POISSON, THICKNESS, unknowns(high.edges["right"], [0]))
    x, places = stations(SIDE, STEP)
    rod = round_rod("dowel", np.stack([x, 0 * x], axis=1), DIAMETER, MODULUS)

    def base(i: int) -> End:
        block = held if x[i] < 0 else moved
        spots = spread_points(rod.points[i], ALONG, STEP, DIAMETER)
        return End(block, block.spread(*spots)(ACROSS))

    links = LinkList()
    foundation(links, rod, places, np.full(places.size, STEP), SPRINGS, ACROSS, base)
    spring(links, End(rod, rod.translation(0, ALONG)), GROUND, SPRINGS)
    shear = Column.dense(edge_load(high, high.edges["right"],
                                   lambda xy, normal: np.broadcast_to(ACROSS / HEIGHT, xy.shape)))
    _, read = answered([held, moved, rod], links, [[(moved, shear)]], [FORCE],
                       [Measure("shift", ((moved, shear),))])
    return FORCE / read["shift"]


def scatter() -> float:
    """Largest deviation of the meshes from the finest, relative."""
    values = np.array([stiffness(BONE, size) for size in SIZES])
    return float(np.abs(values / values[-1] - 1).max())


CASES = register(
    Case("embedded dowel, near-rigid blocks", SOURCE + "; 40 mm a side", "derived",
         "shear force over shift", "N/mm", finite(SIDE), 1e-3, partial(stiffness, 1e9, 2.0)),
    Case("embedded dowel, bone: softer than rigid", SOURCE + "; 40 mm a side", "derived",
         "shear force over shift", "N/mm", finite(SIDE), 0.0, partial(stiffness, BONE, 1.0),
         "at most", "self-consistency"),
    Case("embedded dowel, bone: meshes of 4, 2, 1 mm", "no mesh may decide the answer", "derived",
         "largest deviation from the finest", "-", 0.0, 0.02, scatter,
         basis="self-consistency"))
