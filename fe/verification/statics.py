"""A rigid fragment on a sliding plane: what a buttress or a tightened screw must do.

The load F points down the long axis, and the plane is at the angle `SLOPE` to that axis. The
friction angle is phi.
A horizontal buttress must give F cot(slope + phi); a screw whose pull makes the angle delta with
the plane's normal, turned against the slide, must be tightened to F cos(slope + phi) /
sin(delta + phi). All forces meet in the middle of the plane, so that only sliding decides.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, partial

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.body import Column
from buttress.fe.bodies.continuum import Continuum
from buttress.fe.links.condense import condense
from buttress.fe.links.link import End, LinkList
from buttress.fe.solve.solver import Solver
from buttress.fe.status import Status
from buttress.fe.verification import Case, register
from buttress.fe.verification.meshes import rectangle
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
    turned,
)
from buttress.fe.verification.problem import node_at, unknowns

SLOPE, FRICTION, LOAD = float(np.radians(20.0)), 0.4, 1000.0  # rad, -, N
PHI = float(np.arctan(FRICTION))
TENSION = 1000.0  # N
SOURCE = "statics of a block on a plane with Coulomb friction"
NORMAL = np.array([np.cos(SLOPE), np.sin(SLOPE)])  # from the base into the fragment
DOWN = np.array([np.sin(SLOPE), -np.cos(SLOPE)])  # along the plane, the way it slides


def buttress_needed(friction: float = FRICTION) -> float:
    """Closed form, N."""
    return float(LOAD / np.tan(SLOPE + np.arctan(friction)))


def tension_needed(delta: float) -> float:
    """Closed form, N; delta in degrees."""
    return float(LOAD * np.cos(SLOPE + PHI) / np.sin(np.radians(delta) + PHI))


def on_plane(friction: float) -> tuple[
        Continuum, Continuum, LinkList, Callable[[FloatArray], Column]]:
    """Base, fragment, their contact and the middle of the fragment's face."""
    # The base's top edge becomes the plane: it is turned so that up is the normal.
    angle = float(np.arctan2(NORMAL[1], NORMAL[0]) - np.pi / 2)
    low = turned(rectangle(6, 2, 30.0, 10.0, left=-15.0, bottom=-10.0), angle)
    high = turned(rectangle(6, 3, 30.0, 15.0, left=-15.0), angle)
    base = piece(low, RIGID, 0.3, 10.0, unknowns(low.edges["bottom"]), name="base")
    block = piece(high, RIGID, 0.3, 10.0, name="fragment")
    links = LinkList()
    touch(links, base, block, matched(low, "top", high, "bottom"), NORMAL, friction=friction)
    return base, block, links, block.node(node_at(high, 0.0, 0.0))


@cache
def fragment(*, friction: float = FRICTION, stop: float | None = None, gap: float = 0.0,
             delta: float | None = None, stiffness: float = 1e4) -> Solver:
    """Base and fragment; a buttress with the capacity `stop` [N] behind a gap [mm], or a screw.

    The buttress is link number -1, and so is the screw (its pull is positive). Unit load 1 N.
    """
    base, block, links, middle = on_plane(friction)
    if stop is not None:
        spring(links, End(block, middle(ALONG)), GROUND, stiffness, kind="buttress", lower=0.0,
               upper=stop, gap=gap)
    if delta is not None:
        turn = np.radians(delta)
        pull = -np.cos(turn) * NORMAL - np.sin(turn) * DOWN
        spring(links, End(block, middle(-pull)), GROUND, stiffness, kind="screw", lower=0.0)
    return Solver(condense([base, block], links, [[(block, middle(-ACROSS))]]))


def buttress_by_program(friction: float) -> float:
    """Least capacity [N] of the buttress with which the linear program carries the load."""
    return TENSION * LOAD / limit(fragment(friction=friction, stop=TENSION), np.ones(1))


def buttress_by_solver(gap: float) -> float:
    """Force [N] on the buttress in the incremental answer, the fragment sliding up to it."""
    answer = fragment(stop=np.inf, gap=gap).answer(np.array([LOAD]))
    return float(answer.force[-1])


def untightened() -> float:
    """1 if an untightened screw normal to the plane is reported correctly: no equilibrium, although
    the linear program finds no limit, since it assigns the screw a tension that sliding never
    causes.
    """
    solver = fragment(delta=0.0)
    slides = solver.answer(np.array([LOAD])).status == Status.NO_EQUILIBRIUM
    return float(slides and limit(solver, np.ones(1)) == np.inf)


def held_by_program(delta: float) -> float:
    """Load [N] that a screw held at `TENSION` carries, by the linear program."""
    solver = fragment(delta=delta)
    return limit(solver, np.ones(1), {solver.problem.n - 1: TENSION})


def held_by_solver(delta: float) -> float:
    """The same by the incremental solver: the largest load with equilibrium."""
    solver = fragment(delta=delta)
    return largest_held(solver, np.ones(1), 2 * LOAD,
                        prescribed={solver.problem.n - 1: TENSION})


def held_closed(delta: float) -> float:
    """Closed form of the two, N."""
    return TENSION * LOAD / tension_needed(delta)


BEST = 90.0 - float(np.degrees(PHI))
CASES = register(
    *(Case(f"buttress of a fragment, friction {mu:g}, linear program", SOURCE, "derived",
           "force needed", "N", buttress_needed(mu), 1e-6, partial(buttress_by_program, mu))
      for mu in (FRICTION, 0.0)),
    Case("buttress reached after 0.1 mm, solver", SOURCE, "derived", "force on the buttress", "N",
         buttress_needed(), 1e-6, partial(buttress_by_solver, 0.1)),
    *(Case(f"screw at {delta:.3g} degrees to the normal, {name}", SOURCE, "derived",
           "tension needed", "N", tension_needed(delta), 1e-6,
           partial(lambda find, delta: TENSION * LOAD / find(delta), find, delta))
      for delta in (0.0, 20.0, 40.0, BEST)
      for name, find in (("linear program", held_by_program), ("solver", held_by_solver))),
    Case("untightened screw normal to the plane: solver and linear program differ", SOURCE,
         "derived", "slides (solver), not limited (linear program)", "-", 1.0, 0.0, untightened,
         basis="self-consistency"),
    *(Case(f"1000 N of tension at {delta:g} degrees, {name}", SOURCE, "derived", "load carried",
           "N", held_closed(delta), 1e-6, partial(find, delta))
      for delta in (0.0, 20.0, -10.0)
      for name, find in (("linear program", held_by_program), ("solver", held_by_solver))))
