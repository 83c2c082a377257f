"""Pressed by a ram: what a test machine would read, against closed forms.

A block of weight W on a slope theta < phi is pushed along it: up with W (sin theta + mu cos theta),
down with W (mu cos theta - sin theta), however far. A fragment on a plane against a buttress that
crushes at B lets go at B tan(slope + phi). Bars with plastic hinges let go at 4 M/L and 6 M/L; the
built-in end of the propped one yields first, at 16 M/(3 L). A tightened joint is lifted open at
P0 / (1 - kb/(kb + kc)). Without friction the work of the ram is what is stored and dissipated.
"""

from __future__ import annotations

from functools import cache, partial

import numpy as np

from buttress.fe.errors import SolveError
from buttress.fe.links.condense import condense
from buttress.fe.solve.answer import Memory
from buttress.fe.solve.events import events_of
from buttress.fe.solve.path import Path, press, steps
from buttress.fe.solve.ram import Ram
from buttress.fe.solve.reached import balance, state_at, to_load
from buttress.fe.solve.solver import Solver
from buttress.fe.verification import Case, register
from buttress.fe.verification.hinge import LENGTH, PLASTIC, bar
from buttress.fe.verification.joint import PRELOAD, SHARE, joint
from buttress.fe.verification.statics import DOWN, FRICTION, NORMAL, PHI, SLOPE, fragment, on_plane

THETA = float(np.radians(15.0))
WEIGHT, CRUSHES, PAST = 1000.0, 1000.0, 0.9  # N, N, share of a peak
SLOPES = "block on a slope with Coulomb friction, by hand"
PLASTICITY = "limit analysis of bars (closed form)"
ENERGY = "work of external forces = stored + dissipated energy (without friction)"


@cache
def slope(angle: float, uphill: bool) -> Path:
    """A block whose weight is turned by an angle [rad] from the slope's normal, pushed along it."""
    base, block, links, middle = on_plane(FRICTION)
    weight = np.cos(angle) * -NORMAL + np.sin(angle) * DOWN
    push = middle(-DOWN if uphill else DOWN)
    problem = condense([base, block], links, [[(block, middle(weight))], [(block, push)]])
    ram = Ram.of(problem, np.array([0.0, 1.0]), base=np.array([WEIGHT, 0.0]))
    return press(ram, Memory.none(problem), steps(2.0, first=0.05))


def pushed(uphill: bool) -> float:
    """Load [N] at the end of the way."""
    return slope(THETA, uphill).points[-1].load_N


def steady(uphill: bool) -> float:
    """Largest change of the load [N] once it slides."""
    return float(np.ptp([p.load_N for p in slope(THETA, uphill).points if p.ram_mm > 1e-6]))


def rests(degrees: float) -> float:
    """1 where the block rests on its slope before it is pushed, 0 where it has no equilibrium."""
    path = slope(float(np.radians(degrees)), True)
    return float(bool(path.points))


def pressed(solver: Solver, farthest: float, first: float, memory: Memory | None = None) -> Path:
    """The path of a solver's only load; SolveError where it has gaps."""
    ram = Ram.of(solver.problem, np.ones(1))
    path = press(ram, memory or Memory.none(solver.problem), steps(farthest, first))
    if path.gaps:
        raise SolveError("verification problem: a path with gaps")
    return path


@cache
def bent(built_in: bool) -> Path:
    """The path of a bar with hinges."""
    return pressed(bar(built_in=built_in), 20.0, 0.1)


def bent_peak(built_in: bool) -> float:
    """The peak of a bar with hinges, N."""
    return peak(bent(built_in))


@cache
def sunk() -> Path:
    """The path of a fragment that slides down to a buttress which crushes."""
    return pressed(fragment(stop=CRUSHES), 1.0, 0.02)


def peak(path: Path) -> float:
    """The peak [N]; NaN where it is not found."""
    return path.peak_N if path.peak_status == "found" else float("nan")


def first_event(path: Path, kind: str) -> float:
    """Load [N] of the first event of a kind."""
    return next(e.load_N for e in events_of(path) if e.kind == kind)


def opened() -> float:
    """Load [N] at which the tightened joint opens."""
    solver, memory = joint()
    return first_event(pressed(solver, 0.05, 0.004, memory), "opening")


def energy(built_in: bool) -> float:
    """Work of the ram over stored and dissipated energy, over the whole path."""
    path = bent(built_in)
    done, stored, lost = np.sum([balance(path, i) for i in range(1, len(path.points))], axis=0)
    if not lost > stored > 0.0:
        raise SolveError("verification problem: nothing was dissipated")
    return float(done / (stored + lost))


def stays() -> float:
    """Displacement [mm] that stays of the bar on two supports, over that by hand.

    Unloading is elastic: what stays is what has been pressed beyond the elastic response.
    """
    path = bent(False)
    last = path.points[-1]
    elastic = last.load_N * path.points[1].ram_mm / path.points[1].load_N
    way = to_load(path.ram, last, path.zero)
    if way is None:
        raise SolveError("verification problem: unloading has no equilibrium")
    return way[-1].ram_mm / (last.ram_mm - elastic)


def on_the_way() -> float:
    """Force [N] of the ram on the block's fragment at a share of its peak, asked for by load."""
    path = sunk()
    found = state_at(path, PAST * path.peak_N)
    if found is None:
        raise SolveError("verification problem: the load is not reached")
    return float(found.answer.force[-1])


LET_GO = CRUSHES * float(np.tan(SLOPE + PHI))
CASES = register(
    *(Case(f"block pushed {name} a slope by the ram", SLOPES, "derived", "load", "N",
           WEIGHT * (FRICTION * np.cos(THETA) + sign * np.sin(THETA)), 1e-6, partial(pushed, up))
      for name, sign, up in (("up", 1, True), ("down", -1, False))),
    *(Case(f"block pushed {name} a slope by the ram: steady", SLOPES, "derived",
           "change of the load while it slides", "N", 0.0, 1e-6, partial(steady, up))
      for name, up in (("up", True), ("down", False))),
    *(Case(f"block on a slope of {degrees:.3f} degrees before it is pushed", SLOPES, "derived",
           "rests (1) or not (0)", "-", expected, 0.0, partial(rests, degrees))
      for degrees, expected in ((21.800, 1.0), (21.803, 0.0))),
    Case("fragment on a buttress that crushes, by the ram", SLOPES, "derived", "peak", "N", LET_GO,
         1e-6, lambda: peak(sunk())),
    Case("fragment on a buttress, by the ram, at a load", SLOPES, "derived",
         "force on the buttress", "N", PAST * CRUSHES, 1e-6, on_the_way),
    Case("fragment on a buttress, by the ram: crushing", SLOPES, "derived", "load of the event",
         "N", LET_GO, 5e-3,
         lambda: first_event(sunk(), "crushing")),
    *(Case(f"plastic hinge, {name}, by the ram", PLASTICITY, "derived", "peak", "N",
           count * PLASTIC / LENGTH, 1e-6, partial(bent_peak, built_in))
      for name, built_in, count in (("bar on two supports", False, 4), ("propped bar", True, 6))),
    *(Case(f"plastic hinge, {name}, by the ram: energy", ENERGY, "derived",
           "work over stored and dissipated energy", "-", 1.0, 1e-6, partial(energy, built_in),
           basis="self-consistency")
      for name, built_in in (("bar on two supports", False), ("propped bar", True))),
    Case("plastic hinge, bar on two supports: unloaded", PLASTICITY, "derived",
         "displacement that stays, over that by hand", "-", 1.0, 1e-9, stays),
    Case("bolted joint lifted by the ram", "joint diagram of a bolted joint, closed form",
         "derived", "load of the opening event", "N", PRELOAD / (1 - SHARE), 5e-3, opened))
