"""Steps in sequence: a frictional block on two loading paths, bolts tightened in turn.

A block on a spring is pressed down and pushed aside. Pressed first, friction carries its share of
the push; pushed first, the spring carries all of it and friction only holds what has come to rest.
A second bolt on a tightened joint compresses the part further, so the first loses force. A rod
that is placed next to a loaded one carries no force until the load changes.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from buttress.fe.bodies.member import BeamSection, Member
from buttress.fe.errors import SolveError
from buttress.fe.links.condense import condense
from buttress.fe.links.link import End, Kind, Link, LinkList
from buttress.fe.solve.answer import Answer
from buttress.fe.solve.solver import Solver
from buttress.fe.solve.stages import Staging, State
from buttress.fe.verification import Case, register
from buttress.fe.verification.joint import BOLT, CLAMPED, PRELOAD, SHARE, upright
from buttress.fe.verification.parts import ACROSS, ALONG, GROUND, spring

PRESS, PUSH, FRICTION, SPRING = 1000.0, 600.0, 0.4, 1000.0  # N, N, -, N/mm
PRESSED, PUSHED, BOTH = (PRESS, 0.0), (0.0, PUSH), (PRESS, PUSH)
STIFF = 1e15  # N and N mm², of a bar that a closed form takes as rigid
BY_HAND = "statics of a block with friction and a spring, by hand"
BOLTS = "bolts in parallel over one clamped part, closed form"


def block(feet: int = 1) -> Member:
    """A stiff bar on ``feet`` (1 or 2) nodes that does not turn on one foot."""
    points = np.array([[0.0, 0.0], [20.0, 0.0]])
    return Member("block", points, [BeamSection(STIFF, STIFF, STIFF)],
                  fixed=(2, 5) if feet == 1 else ())


def foot(links: LinkList, body: Member, node: int, friction: float, compliance: float = 0.0
         ) -> tuple[int, int]:
    """Contact of a node with the ground below it; numbers of the normal and friction links."""
    normal = links.add(Link(Kind.CONTACT, "ground", GROUND,
                            End(body, body.translation(node, ACROSS)), lower=0.0))
    return normal, links.add(Link(
        Kind.CONTACT_FRICTION, "ground", GROUND, End(body, body.translation(node, ALONG)),
        compliance=compliance, lower=0.0, upper=0.0, friction=friction, partner=normal))


@cache
def sliding() -> Staging:
    """Block on a frictional ground and a spring; unit loads press (down) and push (along)."""
    body, links = block(), LinkList()
    foot(links, body, 0, FRICTION)
    spring(links, GROUND, End(body, body.translation(0, ALONG)), SPRING)
    down, along = body.translation(0, -ACROSS), body.translation(0, ALONG)
    return Staging(Solver(condense([body], links, [[(body, down)], [(body, along)]])))


def held(found: tuple[Answer, State]) -> State:
    """The state after a step that must be held. Raises SolveError."""
    if not found[0].held:
        raise SolveError(f"verification problem: {found[0].status}")
    return found[1]


def along_path(*loads: tuple[float, float]) -> tuple[float, float]:
    """Displacement [mm] of the block and force [N] of friction against the push, at the end."""
    staging = sliding()
    state = staging.start(np.ones(1, dtype=bool))
    for load in loads:
        state = held(staging.step(state, np.array(load)))
    force = state.answer.force
    # A link of the ground carries what its compliance says: the spring measures the movement.
    return -float(force[2]) / SPRING, -float(force[1])


@cache
def bolted() -> tuple[Staging, tuple[int, int]]:
    """A part on its base and two bolts over it; numbers of the heads."""
    part = upright("part", CLAMPED, ())
    bolts = [upright(name, BOLT, (1,)) for name in ("first bolt", "second bolt")]
    links = LinkList()
    links.add(Link(Kind.CONTACT, "base", GROUND, End(part, part.translation(0, ACROSS)), lower=0.0))
    first, second = (links.add(Link("head", b.name, End(part, part.translation(1, ACROSS)),
                                    End(b, b.translation(1, ACROSS)), lower=0.0)) for b in bolts)
    lift = [(part, part.translation(1, ACROSS))]
    return Staging(Solver(condense([part, *bolts], links, [lift]))), (first, second)


def tightened(*order: int) -> tuple[float, float]:
    """Forces of the two bolts [N] after tightening in an order of 0 and 1, each to the preload.

    A bolt is put in just before it is tightened for the first time.
    """
    staging, heads = bolted()
    state = staging.start(np.array([True, False, False]))
    for bolt in order:
        if not state.present[1 + bolt]:
            state = staging.join(state, np.array([1 + bolt]))
        state = held(staging.step(state, np.zeros(1), {heads[bolt]: PRELOAD}))
    return float(state.answer.force[heads[0]]), float(state.answer.force[heads[1]])


ROD, BESIDE, PULL = 8e4, 2e4, 1000.0


def locked_in() -> float:
    """Compression [N] of a rod that was placed next to a stretched one, after unloading."""
    rod, beside = upright("rod", ROD, (1,)), upright("beside", BESIDE, (1,))
    links = LinkList()
    join = links.add(Link("weld", "beside", End(rod, rod.translation(1, ACROSS)),
                          End(beside, beside.translation(1, ACROSS))))
    staging = Staging(Solver(condense([rod, beside], links,
                                      [[(rod, rod.translation(1, ACROSS))]])))
    state = held(staging.step(staging.start(np.array([True, False])), np.array([PULL])))
    state = staging.join(state, np.array([1]))
    at_once = held(staging.step(state, np.array([PULL])))
    if abs(at_once.answer.force[join]) > 1e-9 * PULL:
        raise SolveError("verification problem: a body that joined was not without force")
    return -float(held(staging.step(state, np.zeros(1))).answer.force[join])


DRAG = 50.0   # N


@cache
def left_behind() -> tuple[float, float]:
    """Place [mm] of a loose block after a spring-held pusher has pushed it and gone back, and the
    force [N] that is left on it."""
    # Not stiffer than the tolerance requires: errors without load are relative to the force that
    # misfit could cause in the stiffest link.
    pusher, loose = (Member(name, np.array([[x, 0.0], [x + 20.0, 0.0]]),
                            [BeamSection(1e9, 1e9, 1e9)], fixed=(1, 2, 4, 5))
                     for name, x in (("pusher", 0.0), ("loose", 20.0)))
    links = LinkList()
    spring(links, GROUND, End(pusher, pusher.translation(0, ALONG)), SPRING)
    touch = links.add(Link(Kind.CONTACT, "pusher", End(pusher, pusher.translation(1, ALONG)),
                           End(loose, loose.translation(0, ALONG)), lower=0.0))
    drag = links.add(Link("drag", "drag", GROUND, End(loose, loose.translation(0, ALONG)),
                          lower=-DRAG, upper=DRAG))
    solver = Solver(condense([pusher, loose], links, [[(pusher, pusher.translation(0, ALONG))]]))
    staging = Staging(solver, {1: [drag]})
    state = staging.start(np.ones(2, dtype=bool))
    for push in (0.5 * PUSH, PUSH, 0.0):
        state = held(staging.step(state, np.array([push])))
    answer = state.answer
    mine = staging.problem.rigid_body == 1
    return float(loose.rigid[0] @ answer.rigid[mine]), float(answer.force[touch])


CASES = register(
    Case("block pressed, then pushed", BY_HAND, "derived", "displacement", "mm",
         (PUSH - FRICTION * PRESS) / SPRING, 1e-9, lambda: along_path(PRESSED, BOTH)[0]),
    Case("block pressed, then pushed: friction", BY_HAND, "derived", "friction against the push",
         "N", FRICTION * PRESS, 1e-9, lambda: along_path(PRESSED, BOTH)[1]),
    Case("block pushed, then pressed", BY_HAND, "derived", "displacement", "mm", PUSH / SPRING,
         1e-9, lambda: along_path(PUSHED, BOTH)[0]),
    Case("block pushed, then pressed, push gone", BY_HAND, "derived", "displacement", "mm",
         FRICTION * PRESS / SPRING, 1e-9, lambda: along_path(PUSHED, BOTH, PRESSED)[0]),
    Case("second bolt tightened", BOLTS, "derived", "force left in the first", "N",
         PRELOAD * (1 - SHARE), 1e-9, lambda: tightened(0, 1)[0]),
    Case("first bolt tightened again", BOLTS, "derived", "force left in the second", "N",
         PRELOAD * (1 - SHARE**2), 1e-9, lambda: tightened(0, 1, 0)[1]),
    Case("loose piece that is pushed and left", "spring and drag, by hand", "derived",
         "where it stays", "mm", (PUSH - DRAG) / SPRING, 1e-5, lambda: left_behind()[0]),
    Case("rod put beside a pulled one", "two rods in parallel, closed form", "derived",
         "compression when the pull has gone", "N", PULL * BESIDE / (ROD + BESIDE), 1e-9,
         locked_in))
