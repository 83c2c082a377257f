"""Two bars that yield in turn: ratcheting without hardening, shakedown with it, in closed form.

A guided yoke under a constant load P hangs on two bars in parallel. Each is a spring k that yields
at f, with slope H beyond (kinematic hardening), in series with a spring ke; a load Q on the joint
of the first bar comes and goes, which acts like a change of its length by q = Q/ke. With the
compliance c = 1/k + 1/ke of a bar, forces p1 + p2 = P and what the bars have given way s1, s2,

    c (p1 - p2) + s1 - s2 = q   while Q acts, 0 without it.

Without hardening (H = 0) the first bar gives way while Q acts and the second while it does not, by
2 c (P + q/(2c) - 2f) each and in every cycle: the yoke walks (Bree's problem with two bars). With
it, s1 = A + r s2 and s2 = B + r s1 with r = 1/(1 + 2cH), A = r 2c (P/2 - f + q/(2c)) and
B = r 2c (P/2 - f), so that changes fall by r² a cycle towards (A + rB)/(1 - r²) and
(B + rA)/(1 - r²): kinematic hardening shakes down (Melan). One bar alone under a load between 0 and
Q gives way by (Q - f)/H once if Q < 2f, else to and fro by (Q - 2f)/H.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from buttress.fe.bodies.member import BeamSection, Member
from buttress.fe.links.condense import condense
from buttress.fe.links.link import End, LinkList
from buttress.fe.solve.answer import Answer
from buttress.fe.solve.cycles import Cycled, cycle
from buttress.fe.solve.solver import Solver
from buttress.fe.solve.stages import Staging
from buttress.fe.verification import Case, register
from buttress.fe.verification.parts import ACROSS, GROUND, spring
from buttress.fe.verification.stagepath import STIFF

K, YIELD, LOAD, PULL = 1000.0, 300.0, 400.0, 1000.0     # N/mm, N
HARD = 100.0                                            # N/mm
FINE = 1e-4                                             # mm a cycle
C, Q = 2.0 / K, PULL / K                                # mm/N of a bar, mm
RATIO = 1.0 / (1.0 + 2.0 * C * HARD)
A = RATIO * 2.0 * C * (LOAD / 2 - YIELD + Q / (2.0 * C))
B = RATIO * 2.0 * C * (LOAD / 2 - YIELD)
ALONE, TO_AND_FRO = 1.5 * YIELD, 2.4 * YIELD            # N on one bar
SOURCE = "two elastic-plastic bars under a constant and a cyclic load (Bree, Miller), closed form"
ONE = "elastic-plastic spring with kinematic hardening under a cyclic load, closed form"


def guided(name: str) -> Member:
    """A stiff bar that only moves up and down."""
    return Member(name, np.array([[0.0, 0.0], [10.0, 0.0]]), [BeamSection(STIFF, STIFF, STIFF)],
                  fixed=(0, 2, 5))


@cache
def bars(slope: float) -> Staging:
    """The yoke on its bars; loads: P on the yoke, Q between the first bar's joint and the yoke."""
    yoke, joints, links = guided("yoke"), (guided("joint 1"), guided("joint 2")), LinkList()
    ends = [End(b, b.translation(0, -ACROSS)) for b in (yoke, *joints)]
    for joint in ends[1:]:
        spring(links, joint, GROUND, K, lower=-YIELD, upper=YIELD, slope=slope)
        spring(links, ends[0], joint, K)
    up, down = (yoke, yoke.translation(0, ACROSS)), (yoke, yoke.translation(0, -ACROSS))
    pull = (joints[0], joints[0].translation(0, -ACROSS))
    return Staging(Solver(condense([yoke, *joints], links, [[down], [pull, up]])))


def at(answer: Answer) -> np.ndarray:
    """Way of the yoke down [mm], by the elastic spring and the joint of the second bar."""
    return np.array([-(bars(HARD).problem.bodies[0].rigid[1] @ answer.rigid[:1])])


def cycled(slope: float, most: int) -> Cycled:
    """Q comes and goes under P."""
    staging = bars(slope)
    state = staging.start(np.ones(3, dtype=bool))
    return cycle(staging, state, [np.array([LOAD, PULL]), np.array([LOAD, 0.0])], at, most, FINE)


def alone(load: float) -> Cycled:
    """One bar that hardens, without the spring in series, under a load that comes and goes."""
    body, links = guided("bar"), LinkList()
    down = body.translation(0, -ACROSS)
    spring(links, End(body, down), GROUND, K, lower=-YIELD, upper=YIELD, slope=HARD)
    staging = Staging(Solver(condense([body], links, [[(body, down)]])))
    return cycle(staging, staging.start(np.ones(1, dtype=bool)),
                 [np.array([load]), np.array([0.0])], lambda a: a.force, 20, 1e-9)


def cycles_to_settle() -> int:
    """Cycles until one changes the yoke's place by `FINE` or less, from the recurrence."""
    first, second, count = A, B + RATIO * A, 1
    while True:
        count += 1
        now = A + RATIO * second
        if (1.0 + C * HARD) * (now - first) <= FINE:
            return count
        first, second = now, B + RATIO * now


def settled_place(cycles: int) -> float:
    """Way of the yoke [mm] without Q after so many cycles: c (f + H s2) + s2."""
    second = 0.0
    for _ in range(cycles):
        second = B + RATIO * (A + RATIO * second)
    return C * (YIELD + HARD * second) + second


CASES = register(
    Case("two bars without hardening", SOURCE, "derived", "advance a cycle", "mm",
         2.0 * C * (LOAD + Q / (2.0 * C) - 2.0 * YIELD), 1e-9,
         lambda: cycled(0.0, 12).change[-1]),
    Case("two bars that harden: cycles", SOURCE, "derived", "cycles until a cycle changes 0.1 µm",
         "-", float(cycles_to_settle()), 0.0, lambda: float(cycled(HARD, 200).count)),
    Case("two bars that harden", SOURCE, "derived", "place at the end", "mm",
         settled_place(cycles_to_settle()), 1e-9,
         lambda: float(at(cycled(HARD, 200).peaks[-1])[0])),
    Case("one bar that hardens, 1.5 times its yield", ONE, "derived",
         "gives way within the last cycle", "mm", 0.0, 1e-12, lambda: alone(ALONE).slip or 0.0),
    Case("one bar that hardens, 2.4 times its yield", ONE, "derived", "gives way to and fro", "mm",
         (TO_AND_FRO - 2.0 * YIELD) / HARD, 1e-9, lambda: alone(TO_AND_FRO).slip or 0.0))
