"""Cyclic loads on a frictional block: shakedown, slip to and fro, and ratcheting in closed form.

On one foot and a spring k, under a push that alternates between 0 and Q, friction R = mu N: with
R < Q < 2 R the first push slips by (Q - R)/k and the response is elastic thereafter; with Q > 2 R
the block slips back and forth by (Q - 2 R)/k in every cycle. On two feet with compliance, a weight
that rocks from one to the other makes the block walk under a constant push Q: the loaded foot
stretches its spring k by Q/k while the other one follows, so each cycle advances by 2 Q/k. With a
spring K to the ground the walk decays: after j half cycles it has advanced by
(Q/K) (1 - r^j), r = k/(k + K). A block whose friction wears evenly to w R over the first cycles
stays where it is while Q is below what is left, and at last lies at (Q - w R)/k.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from buttress.fe.links.condense import condense
from buttress.fe.links.link import End, LinkList
from buttress.fe.solve.answer import Answer
from buttress.fe.solve.cycles import Cycled, cycle
from buttress.fe.solve.solver import Solver
from buttress.fe.solve.stages import Staging, State
from buttress.fe.verification import Case, register
from buttress.fe.verification.parts import ACROSS, ALONG, GROUND, spring
from buttress.fe.verification.stagepath import FRICTION, PRESS, SPRING, block, foot, held, sliding

ROUGH = FRICTION * PRESS    # N
SHAKES, SWINGS = 1.5 * ROUGH, 2.75 * ROUGH
FOOT, STAY, WALK = 2000.0, 500.0, 300.0    # N/mm of a foot, of the spring that holds, N of push
RUB, LEFT, WEARS = 0.9 * ROUGH, 0.5, 10     # N of push, share of friction left, cycles
FINE = 1e-4                 # mm a cycle, at which a walk counts as settled
SOURCE = "frictional block under a cyclic push, closed form"
WALKING = "frictional block that rocks on two feet, closed form"


def moved(answer: Answer) -> np.ndarray:
    """Displacement of the block on one foot [mm], measured by its spring."""
    return np.array([-answer.force[2] / SPRING])


def pushed(push: float) -> Cycled:
    """The block on one foot, pressed, under an alternating push."""
    staging = sliding()
    state = held(staging.step(staging.start(np.ones(1, dtype=bool)), np.array([PRESS, 0.0])))
    loads = [np.array([PRESS, push]), np.array([PRESS, 0.0])]
    return cycle(staging, state, loads, moved, 20, 1e-9)


def wearing(push: float, left: float, cycles: int) -> Cycled:
    """The block on one foot under an alternating push while its friction wears to a share."""
    staging = sliding()
    state = held(staging.step(staging.start(np.ones(1, dtype=bool)), np.array([PRESS, 0.0])))

    def worn(now: State, count: int) -> State:
        share = 1.0 - (1.0 - left) * min(count / cycles, 1.0)
        return replace(now, friction=share * staging.problem.friction)

    loads = [np.array([PRESS, push]), np.array([PRESS, 0.0])]
    return cycle(staging, state, loads, moved, 50, 1e-9, worn, cycles)


@cache
def walker(stay: float) -> Staging:
    """A block on two feet and a spring ``stay`` [N/mm] (0: none); loads press each and push."""
    body, links = block(2), LinkList()
    for node in (0, 1):
        foot(links, body, node, FRICTION, 1.0 / FOOT)
    if stay:
        spring(links, GROUND, End(body, body.translation(0, ALONG)), stay)
    loads = [[(body, body.translation(node, -ACROSS))] for node in (0, 1)]
    return Staging(Solver(condense([body], links, [*loads, [(body, body.translation(0, ALONG))]])))


def walked(stay: float, limit: int) -> Cycled:
    """The block under a constant push while its weight rocks from foot to foot."""
    staging = walker(stay)
    loads = [np.array([PRESS, 0.0, WALK]), np.array([0.0, PRESS, WALK])]
    return cycle(staging, staging.start(np.ones(1, dtype=bool)), loads,
                 lambda a: place(staging, a), limit, FINE)


def place(staging: Staging, answer: Answer) -> np.ndarray:
    """Displacement of the block along x [mm] from its rigid motions: the bar itself is stiff."""
    return np.array([staging.problem.bodies[0].rigid[0] @ answer.rigid])


RATIO = FOOT / (FOOT + STAY)


def cycles_to_settle() -> int:
    """Cycles until the first of a cycle's two positions changes by `FINE` or less."""
    count = 2
    while WALK / STAY * RATIO**(2 * count - 3) * (1 - RATIO**2) > FINE:
        count += 1
    return count


def end_of(found: Cycled, peak: int) -> float:
    """Displacement at a load of the last cycle, mm."""
    return float(moved(found.peaks[peak])[0])


def walk_of(stay: float, limit: int) -> float:
    """Total advance of the block, mm."""
    found = walked(stay, limit)
    return float(place(walker(stay), found.peaks[-1])[0])


CASES = register(
    Case("shakedown of a block", SOURCE, "derived", "displacement that stays", "mm",
         (SHAKES - ROUGH) / SPRING, 1e-9, lambda: end_of(pushed(SHAKES), 1)),
    Case("shakedown of a block: elastic", SOURCE, "derived", "slip in the last cycle", "mm",
         0.0, 1e-12, lambda: pushed(SHAKES).slip or 0.0),
    Case("block that slips to and fro", SOURCE, "derived", "slip each way", "mm",
         (SWINGS - 2 * ROUGH) / SPRING, 1e-9, lambda: pushed(SWINGS).slip or 0.0),
    Case("block whose friction wears", SOURCE, "derived", "place at the end", "mm",
         (RUB - LEFT * ROUGH) / SPRING, 1e-9,
         lambda: end_of(wearing(RUB, LEFT, WEARS), 1)),
    Case("block whose friction wears: cycles", SOURCE, "derived", "cycles until it is at rest", "-",
         WEARS + 1, 0.0, lambda: float(wearing(RUB, LEFT, WEARS).count)),
    Case("block that walks", WALKING, "derived", "advance a cycle", "mm", 2 * WALK / FOOT, 1e-9,
         lambda: walked(0.0, 12).change[-1]),
    Case("block that walks against a spring", WALKING, "derived", "advance at the end", "mm",
         WALK / STAY * (1 - RATIO**(2 * cycles_to_settle())), 1e-9, lambda: walk_of(STAY, 200)),
    Case("block that walks against a spring: cycles", WALKING, "derived",
         "cycles until a cycle changes 0.1 µm", "-", float(cycles_to_settle()), 0.0,
         lambda: float(walked(STAY, 200).count)))
