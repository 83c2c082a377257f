"""A screw head that presses on a plate with both edges of its rim, at +r and -r from its axis.

Turned by a moment M, the plate stays on both edges until the far one carries nothing; then it turns
about the other. On a pin under the head the far edge carries (P - M/r)/2 and lets go at M = P r,
whatever bends: head and plate turn by M/kb + M r/(6 EI), with kb = EI/L of the built-in screw; from
there on by M/kb + (M/r - P)/(ka r) + (M - P r/2) r/(3 EI), with its axial stiffness ka = EA/L and
P/2 on the edge from tightening. On two supports at +a and -a the plate itself carries a share, by
the deflections of a beam of span a under an end couple m and a load Q at r:

    m r (a - r)(2a - r) / (6 a EI)     and     Q r^2 (a - r)^2 / (3 a EI).
"""

from __future__ import annotations

from functools import cache, partial

import numpy as np

from buttress.fe.bodies.member import BeamSection, Member
from buttress.fe.errors import SolveError
from buttress.fe.links.condense import Measure, condense
from buttress.fe.links.link import End, Link, LinkList
from buttress.fe.solve.answer import Answer, Memory
from buttress.fe.solve.solver import Solver
from buttress.fe.verification import Case, Status, register
from buttress.fe.verification.parts import ACROSS, SLENDER

R, SPAN, LONG = 2.5, 20.0, 30.0  # mm: arm of the rim, half of the plate, length of the screw
AXIAL, SCREW, PLATE = 5e5, 3e5, 2e5  # EA [N], EI of the screw and of the plate [N mm²]
PRELOAD = 600.0  # N
SOURCE = "statics and deflections of beams (Roark's formulas), by hand"
STATUS: Status = "memory"
FAR, NEAR = 0, 1  # the links


@cache
def clamped(pinned: bool) -> tuple[Solver, Memory]:
    """The plate under the tightened head; the unit load turns its middle by 1 N mm.

    ``pinned``: on a pin under the head; otherwise on supports at its ends.
    """
    places = np.array([-SPAN, -R, 0.0, R, SPAN])
    plate = Member("plate", np.stack([places, 0 * places], axis=1),
                   [BeamSection(1e9, PLATE, SLENDER)] * 4,
                   fixed=(6, 7) if pinned else (6, 1, 13))
    screw = Member("screw", np.array([[0.0, 0.0], [0.0, -LONG]]),
                   [BeamSection(AXIAL, SCREW, SLENDER)], fixed=(3, 4, 5))
    links = LinkList()
    for node in (1, 3):
        arm = plate.points[node] - screw.points[0]
        links.add(Link("rim", "screw", End(screw, screw.translation(0, -ACROSS, arm)),
                       End(plate, plate.translation(node, -ACROSS)), lower=0.0))
    turn = plate.rotation(2)
    solver = Solver(condense([plate, screw], links, [[(plate, turn)]],
                             [Measure("turn", ((plate, turn),))]))
    tightened = solver.answer(np.zeros(1), prescribed={FAR: PRELOAD / 2, NEAR: PRELOAD / 2})
    return solver, solver.advance(tightened)


def turned(pinned: bool, moment: float) -> Answer:
    """The answer at a moment [N mm]."""
    solver, memory = clamped(pinned)
    answer = solver.answer(np.array([moment]), memory)
    if not answer.held:
        raise SolveError(f"verification problem: {answer.status}")
    return answer


def rotation(moment: float) -> float:
    """Rotation [rad] of the pinned plate since it was tightened."""
    problem = clamped(True)[0].problem
    after, before = (problem.measures(a.load, a.force, a.rigid, a.kink)["turn"]
                     for a in (turned(True, moment), turned(True, 0.0)))
    return after - before


def opening(pinned: bool) -> float:
    """Moment [N mm] at which the far edge carries nothing any more, by bisection."""
    low, high = 0.0, 100 * PRELOAD * R
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (middle, high) if turned(pinned, middle).force[FAR] > 0 else (low, middle)
    return low


def by_hand(moment: float) -> float:
    """Rotation [rad] of the pinned plate: with the head, then about one edge of it."""
    bent = moment * LONG / SCREW
    if moment <= PRELOAD * R:
        return bent + moment * R / (6 * PLATE)
    return (bent + (moment / R - PRELOAD) * LONG / (AXIAL * R)
            + (moment - PRELOAD * R / 2) * R / (3 * PLATE))


def opens_on_supports() -> float:
    """Moment [N mm] at which the difference of both edges' forces is the tension."""
    couple = (SPAN - R) * (2 * SPAN - R) / (12 * SPAN * PLATE)
    yields = R * LONG / SCREW + R * (SPAN - R)**2 / (6 * SPAN * PLATE)
    return PRELOAD * yields / couple


CASES = register(
    Case("head with a rim, pinned plate", SOURCE, "derived", "moment at which an edge lets go",
         "N mm", PRELOAD * R, 1e-6, partial(opening, True)),
    Case("head with a rim, plate on two supports", SOURCE, STATUS,
         "moment at which an edge lets go", "N mm", opens_on_supports(), 1e-6,
         partial(opening, False)),
    *(Case(f"head with a rim, {name}", SOURCE, STATUS, "rotation of the plate", "rad",
           by_hand(share * PRELOAD * R), 1e-6, partial(rotation, share * PRELOAD * R))
      for name, share in (("on both edges", 0.5), ("about one edge", 3.0))))
