"""A wedge driven down between two blocks that stand on a table, with friction at every face.

The wedge's faces lean by alpha from the vertical; phi is the friction angle of every face. While
the wedge goes down, friction is mobilised everywhere, so that a face whose push across is X gives
the wedge the lift X tan(alpha + phi). A block with the weight W, held by a force H from outside,
starts to slide at

    X = H + mu (W + X tan(alpha + phi)),        X = (H + mu W) / (1 - mu tan(alpha + phi)),

and the wedge carries P = X tan(alpha_left + phi) + X tan(alpha_right + phi) with the smaller X of
the two sides. When H grows instead, the blocks move inwards, every friction turns round, and the
wedge is squeezed out at H = X + mu (W + X tan(alpha - phi)) with X = P / (sum of tan(alpha - phi)).

Which bound is which: limit analysis with Coulomb friction is an upper bound in general. Here it is
the value itself, since all faces slip in the only motion there is and friction is then known by
its sign; the incremental solver must end at the same load. Without friction the linear program
gives the lower bound, the same forms with phi = 0.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, partial

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.body import Body
from buttress.fe.bodies.continuum import Continuum
from buttress.fe.links.condense import condense
from buttress.fe.links.link import End, LinkList
from buttress.fe.solve.capacity import capacity
from buttress.fe.solve.solver import Solver
from buttress.fe.verification import Case, register
from buttress.fe.verification.meshes import Grid, mapped, rectangle
from buttress.fe.verification.parts import (
    ACROSS,
    ALONG,
    GROUND,
    RIGID,
    largest_held,
    limit,
    matched,
    piece,
    spring,
    touch,
)
from buttress.fe.verification.problem import unknowns

FRICTION = 0.3
PHI = float(np.arctan(FRICTION))
HELD, WEIGHT, DRIVEN = 400.0, 250.0, 900.0  # N: H, W of each block; P where the wedge is squeezed
HEIGHT, TIP, WIDTH, DEPTH = 30.0, 10.0, 60.0, 10.0  # mm: of all, wedge below, block below, in depth
SYMMETRIC, SKEW = (25.0, 25.0), (22.0, 30.0)  # degrees: alpha left and right
SOURCE = "statics of a wedge between two blocks with Coulomb friction at all faces"
SIDES = (-1.0, 1.0)


def drive_limit(angles: tuple[float, float], friction: float = FRICTION) -> float:
    """Largest force on the wedge before a block slides outwards, closed form, N."""
    lift = np.tan(np.radians(angles) + np.arctan(friction))
    return float(np.min((HELD + friction * WEIGHT) / (1.0 - friction * lift)) * lift.sum())


def squeeze_limit(angles: tuple[float, float]) -> float:
    """Largest force on each block from outside before the wedge comes out, closed form, N."""
    lift = np.tan(np.radians(angles) - PHI)
    across = DRIVEN / lift.sum()
    return float(np.min(across + FRICTION * (WEIGHT + across * lift)))


@dataclass(frozen=True)
class Built:
    """The solver and the numbers of its links that carry the constant forces.

    Load cases: 1 N down on the wedge, 1 N on each block from outside.
    """

    solver: Solver
    wedge: int               # pushes the wedge down
    outside: tuple[int, int]  # push the blocks inwards
    weight: tuple[int, int]  # push the blocks down

    def constant(self, *, drive: bool) -> dict[int, float]:
        """Forces [N] that stay while the wedge is driven, or while the blocks are pressed."""
        out = dict.fromkeys(self.weight, WEIGHT)
        other = dict.fromkeys(self.outside, HELD if drive else 0.0)
        return out | other | {self.wedge: 0.0 if drive else DRIVEN}


def _shapes(angles: tuple[float, float]) -> tuple[Grid, list[Grid], list[Grid]]:
    """The wedge; left and right block; the table under each."""
    lean = np.tan(np.radians(angles))

    def face(side: int, t: FloatArray) -> FloatArray:
        return SIDES[side] * (TIP / 2 + HEIGHT * lean[side] * t)

    middle = mapped(4, 6, lambda s, t: (face(0, t) * (1 - s) + face(1, t) * s, HEIGHT * t))
    out = TIP / 2 + WIDTH
    left = mapped(8, 6, lambda s, t: (-out * (1 - s) + face(0, t) * s, HEIGHT * t))
    right = mapped(8, 6, lambda s, t: (face(1, t) * (1 - s) + out * s, HEIGHT * t))
    table = [rectangle(8, 1, WIDTH, 5.0, left=x, bottom=-5.0) for x in (-out, TIP / 2)]
    return middle, [left, right], table


def _middle_node(grid: Grid, edge: str) -> int:
    nodes = grid.edges[edge]
    return int(nodes[len(nodes) // 2, 0])


@cache
def built(angles: tuple[float, float], friction: float = FRICTION) -> Built:
    """Wedge, blocks and table, all but rigid, with contact and friction at every face."""
    middle, beside, tables = _shapes(angles)
    wedge = piece(middle, RIGID, 0.3, DEPTH, name="wedge")
    links = LinkList()
    bodies: list[Body] = [wedge]
    blocks: list[Continuum] = []
    for side, (grid, slab) in enumerate(zip(beside, tables, strict=True)):
        block = piece(grid, RIGID, 0.3, DEPTH, name=("left", "right")[side])
        table = piece(slab, RIGID, 0.3, DEPTH, unknowns(slab.edges["bottom"]), name="table")
        alpha = np.radians(angles[side])
        mine, its = ("left", "right") if side == 0 else ("right", "left")
        touch(links, wedge, block, matched(middle, mine, grid, its),
              [SIDES[side] * np.cos(alpha), -np.sin(alpha)], friction=friction)
        touch(links, table, block, matched(slab, "top", grid, "bottom"), ACROSS,
              friction=friction)
        bodies += [block, table]
        blocks.append(block)
    top = wedge.node(_middle_node(middle, "top"))
    push = spring(links, End(wedge, top(ACROSS)), GROUND, 1e4, kind="drive")
    sides, weights, outer = [], [], []
    for side, (block, grid) in enumerate(zip(blocks, beside, strict=True)):
        outward = SIDES[side] * ALONG
        # Low enough that a block slides before it tips.
        low = grid.edges[("left", "right")[side]]
        at = block.node(int(low[np.argmin(np.abs(grid.points[low[:, 0], 1] - HEIGHT / 3)), 0]))
        outer.append((block, at(-outward)))
        sides.append(spring(links, End(block, at(outward)), GROUND, 1e4, kind="outside"))
        weights.append(spring(links, End(block, block.node(_middle_node(grid, "top"))(ACROSS)),
                              GROUND, 1e4, kind="weight"))
    solver = Solver(condense(bodies, links, [[(wedge, top(-ACROSS))], outer]))
    return Built(solver, push, (sides[0], sides[1]), (weights[0], weights[1]))


def by_program(angles: tuple[float, float], drive: bool) -> float:
    """Limit force of the linear program, N."""
    b = built(angles)
    return limit(b.solver, np.array([drive, not drive], dtype=float), b.constant(drive=drive))


def without_friction(angles: tuple[float, float]) -> float:
    """Lower bound for driving: the linear program with every face smooth, N."""
    b = built(angles)
    factor = capacity(b.solver.problem, np.array([1.0, 0.0]), prescribed=b.constant(drive=True),
                      frictionless=True).factor
    return np.inf if factor is None else factor


def by_solver(angles: tuple[float, float], drive: bool) -> float:
    """Largest force that the incremental solver holds, N."""
    b = built(angles)
    high = 1.7 * (drive_limit(angles) if drive else squeeze_limit(angles))
    return largest_held(b.solver, np.array([drive, not drive], dtype=float), high,
                        prescribed=b.constant(drive=drive), digits=26)


def holds(angles: tuple[float, float], drive: bool, share: float) -> float:
    """1 where the incremental solver holds this share of the limit, 0 where it holds nothing."""
    b = built(angles)
    closed = drive_limit(angles) if drive else squeeze_limit(angles)
    load = share * closed * np.array([drive, not drive], dtype=float)
    status = b.solver.answer(load, prescribed=b.constant(drive=drive)).status
    return {"held": 1.0, "no equilibrium": 0.0}[status]


NAMED = {"even": SYMMETRIC, "uneven": SKEW}
JUST = 1e-5
CASES = register(
    *(Case(f"wedge of three blocks, {name} faces, {what}, linear program", SOURCE, "derived",
           "limit force", "N", drive_limit(angles) if drive else squeeze_limit(angles), 1e-6,
           partial(by_program, angles, drive))
      for name, angles in NAMED.items()
      for what, drive in (("driven in", True), ("squeezed out", False))),
    *(Case(f"wedge of three blocks, {name} faces, {what}, solver at {share:.5f} of the limit",
           SOURCE, "derived", "holds (1) or not (0)", "-", float(share < 1.0), 0.0,
           partial(holds, angles, drive, share))
      for name, angles in NAMED.items()
      for what, drive in (("driven in", True), ("squeezed out", False))
      for share in (1.0 - JUST, 1.0 + JUST)),
    *(Case(f"wedge of three blocks, {name} faces, driven in, without friction", SOURCE, "derived",
           "lower bound", "N", drive_limit(angles, 0.0), 1e-6, partial(without_friction, angles))
      for name, angles in NAMED.items()))
