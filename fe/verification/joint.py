"""A tightened bolt and what it clamps: the joint diagram.

The clamped part and the bolt work in parallel until the joint opens, at the external force
P0 / (1 - kb/(kb + kc)). The bolt is tightened against the part by a link that first carries P0 and
then keeps its length; the load follows in a second stage.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from buttress.fe.bodies.member import BeamSection, Member
from buttress.fe.errors import SolveError
from buttress.fe.links.condense import Condensed, condense
from buttress.fe.links.link import End, Kind, Link, LinkList
from buttress.fe.solve.answer import Memory
from buttress.fe.solve.solver import Solver
from buttress.fe.verification import Case, register
from buttress.fe.verification.parts import ACROSS, GROUND

BOLT, CLAMPED, PRELOAD = 2e4, 8e4, 1000.0  # N/mm, N/mm, N
LENGTH = 30.0  # mm
SOURCE = "joint diagram of a bolted joint, closed form"
FOOT, HEAD = 0, 1  # the links


def upright(name: str, stiffness: float, held: tuple[int, ...]) -> Member:
    """A column of one element that can only move along itself."""
    points = np.array([[0.0, 0.0], [0.0, LENGTH]])
    return Member(name, points, [BeamSection(stiffness * LENGTH, 1e9, 1e9)],
                  fixed=(0, 2, 3, 5, *held))


@cache
def joint() -> tuple[Solver, Memory]:
    """The joint and its memory after tightening; unit load 1 N lifts the part's top."""
    part, bolt = upright("part", CLAMPED, ()), upright("bolt", BOLT, (1,))
    links = LinkList()
    links.add(Link(Kind.CONTACT, "base", GROUND, End(part, part.translation(0, ACROSS)), lower=0.0))
    links.add(Link("head", "bolt", End(part, part.translation(1, ACROSS)),
                   End(bolt, bolt.translation(1, ACROSS)), lower=0.0))
    problem: Condensed = condense([part, bolt], links, [[(part, part.translation(1, ACROSS))]])
    solver = Solver(problem)
    tightened = solver.answer(np.zeros(1), prescribed={HEAD: PRELOAD})
    return solver, solver.advance(tightened)


def forces(load: float) -> tuple[float, float]:
    """Force [N] that still clamps the part to its base, and force of the bolt."""
    solver, memory = joint()
    answer = solver.answer(np.array([load]), memory)
    if not answer.held:
        raise SolveError(f"verification problem: {answer.status}")
    return float(answer.force[FOOT]), float(answer.force[HEAD])


def opening() -> float:
    """Load at which the base carries nothing any more, N, by bisection."""
    low, high = 0.0, 4 * PRELOAD
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (middle, high) if forces(middle)[0] > 0 else (low, middle)
    return low


SHARE = BOLT / (BOLT + CLAMPED)
CASES = register(
    Case("bolted joint, opening", SOURCE, "derived", "load at which it opens", "N",
         PRELOAD / (1 - SHARE), 1e-6, opening),
    Case("bolted joint, half the opening load", SOURCE, "derived", "force of the bolt", "N",
         PRELOAD + SHARE * PRELOAD / (1 - SHARE) / 2, 1e-6,
         lambda: forces(PRELOAD / (1 - SHARE) / 2)[1]),
    Case("bolted joint, opened", SOURCE, "derived", "force of the bolt", "N", 1500.0, 1e-6,
         lambda: forces(1500.0)[1]))
