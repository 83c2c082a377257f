"""Equal cylinders pressed, then sheared: stick in the middle, slip at the edges.

Cattaneo 1938, Mindlin 1949 (Johnson, Contact Mechanics, 1985, ch. 7; memory): the stick zone has
the half-width c = a sqrt(1 - Q/(mu P)), and the traction is that of full slip less that of a
smaller Hertz contact. Two steps: the press is remembered (`Solver.advance`) before the shear
comes. On unloading, reverse slip extends from the edges only to c = a sqrt(1 - Q/(2 mu P)), and
traction remains locked in. The upper body is held by the contact alone. The shear acts together
with a moment that brings its resultant into the face, and the lower body is loaded as the upper
one turned by half a turn: so the press raises no traction and the shear no pressure.
"""

from __future__ import annotations

from dataclasses import dataclass
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
from buttress.fe.verification.hertz import graded, stretched
from buttress.fe.verification.parts import matched, piece, touch
from buttress.fe.verification.problem import node_at, unknowns

MODULUS, POISSON, FRICTION = 70e3, 0.3, 0.4  # MPa (plane stress), -, -
PRESS, RATIO = 1000.0, 0.288  # N/mm, Q/(mu P)
WIDTH = 1.0  # mm, the half-width a: the radius follows
RADIUS = WIDTH**2 * np.pi * MODULUS / (4 * PRESS)  # of each
ACROSS = 16  # elements in a
SOURCE = "Cattaneo 1938, Mindlin 1949; Johnson, Contact Mechanics, 1985, ch. 7"


@dataclass(frozen=True)
class Sheared:
    """By place x (k,): weight [mm], pressure and traction [MPa], slip [mm] of the last step."""

    x: FloatArray
    weight: FloatArray
    pressure: FloatArray
    traction: FloatArray
    slip: FloatArray


@cache
def sheared(ratios: tuple[float, ...] = (RATIO,), across: int = ACROSS) -> Sheared:
    """The face after the press and one shear after the other, each a share of mu P."""
    half = stretched(across, WIDTH, 1.2, 1.4)
    lines, depth = np.concatenate([-half[:0:-1], half]), stretched(across, WIDTH, 0.2, 1.4)
    depth = depth * half[-1] / depth[-1]
    down, up = graded(lines, -depth[::-1]), graded(lines, depth)
    far = half[-1]
    # Fixed where reactions vanish: the loads below mirror those above.
    pins = [*unknowns([node_at(down, 0.0, -far)]), 2 * node_at(down, far, -far) + 1]
    low = piece(down, MODULUS, POISSON, fixed=pins, name="lower")
    high = piece(up, MODULUS, POISSON, name="upper")
    nodes = matched(down, "top", up, "bottom")
    near = np.abs(down.points[nodes[0], 0]) < 1.2 * WIDTH
    nodes = (nodes[0][near], nodes[1][near])
    x = down.points[nodes[0], 0]
    links = LinkList()
    normal = touch(links, low, high, nodes, [0.0, 1.0], friction=FRICTION,
                   gap=x**2 / RADIUS)  # two cylinders: x²/2R each

    def press(xy: FloatArray, outward: FloatArray) -> FloatArray:
        return -outward / (2 * far)

    def shear(xy: FloatArray, outward: FloatArray) -> FloatArray:
        # 1 N along x at the height `far`, and its moment about the face taken out again.
        lever = 1.5 * xy[..., 0] / far**2
        return np.stack([outward[..., 1] / (2 * far), lever], axis=-1)

    solver = Solver(condense([low, high], links, [
        [(high, Column.dense(edge_load(up, up.edges["top"], load))),
         (low, Column.dense(edge_load(down, down.edges["bottom"], load)))]
        for load in (press, shear)]))
    memory = None
    for ratio in (0.0, *ratios):
        answer = solver.answer(np.array([PRESS, ratio * FRICTION * PRESS]), memory)
        if not answer.held:
            raise SolveError(f"verification problem: {answer.status}")
        memory = solver.advance(answer, memory)
    weight = edge_weights(down, down.edges["top"])[nodes[0]]
    order = np.argsort(x)
    first = np.array(normal)[order]
    return Sheared(
        x=x[order], weight=weight[order], pressure=answer.force[first] / weight[order],
        traction=answer.force[first + 1] / weight[order], slip=answer.slack[first + 1])


def stick(*ratios: float) -> float:
    """Half-width of the zone without slip in the last step, over a; mean of both sides."""
    face = sheared(ratios)
    slips = np.abs(face.slip) > 1e-9 * np.abs(face.slip).max()
    # The edge lies between the last node that sticks and the first that slips.
    step = face.x[1] - face.x[0]
    stuck = face.x[~slips & (np.abs(face.x) < WIDTH)]
    return float((stuck.max() - stuck.min() + step) / 2 / WIDTH)


NODE = 1 / (2 * ACROSS)  # one node's step over a
EXACT, BACK = float(np.sqrt(1 - RATIO)), float(np.sqrt(1 - RATIO / 2))
CASES = register(
    Case("Cattaneo-Mindlin, stick zone", SOURCE, "memory", "stick half-width over a", "-", EXACT,
         NODE / EXACT, partial(stick, RATIO)),
    Case("Cattaneo-Mindlin, unloaded", SOURCE + "; Mindlin and Deresiewicz 1953", "memory",
         "half-width without slip back, over a", "-", BACK, NODE / BACK,
         partial(stick, RATIO, 0.0)))
