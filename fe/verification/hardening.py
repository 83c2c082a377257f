"""Beyond a bound: links and hinges whose force rises, pressed by a ram, against closed forms.

A spring of compliance c that is crushed at B and then rises by H carries, at the displacement s,
``(B + H s) / (1 + H c)``. A bar on two supports whose middle turns from the moment M on, with a
slope H in N mm for a radian, deflects by P/k elastically and by ``(P L/4 - M) L / (4 H)`` beyond.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from buttress.fe.errors import SolveError
from buttress.fe.links.condense import condense
from buttress.fe.links.link import End, Hinge
from buttress.fe.solve.path import Path
from buttress.fe.solve.reached import balance, to_load
from buttress.fe.solve.solver import Solver
from buttress.fe.verification import Case, register
from buttress.fe.verification.hinge import LENGTH, PLASTIC, bar
from buttress.fe.verification.parts import ALONG, GROUND, spring
from buttress.fe.verification.pressed import pressed
from buttress.fe.verification.statics import on_plane

STRENGTH, RISE, STIFFNESS = 800.0, 300.0, 1e4      # N, N/mm, N/mm
TURN_RISE = 2e4                                    # N mm for a radian
FAR, SHORT = 1.5, 2.0   # mm; the second so short that the moment turns the middle alone
SPRING = "bilinear spring, linear kinematic hardening after Prager (closed form)"
BAR = "bar on two supports with a hinge that hardens (closed form)"
ENERGY = "work of external forces = stored + dissipated energy (without friction)"


@cache
def crushed() -> Path:
    """A block on a smooth plane, pushed along it against a buttress that is crushed."""
    base, block, links, middle = on_plane(0.0)
    spring(links, End(block, middle(ALONG)), GROUND, STIFFNESS, kind="buttress", lower=0.0,
           upper=STRENGTH, slope=RISE)
    load = [[(block, middle(ALONG))]]
    return pressed(Solver(condense([base, block], links, load)), FAR, 0.02)


def carried() -> float:
    """Load [N] at the end of the way over that by hand: bodies give way by next to nothing."""
    path = crushed()
    by_hand = (STRENGTH + RISE * path.points[-1].ram_mm) / (1.0 + RISE / STIFFNESS)
    return path.points[-1].load_N / by_hand


@cache
def bent() -> Path:
    """A bar on two supports, its middle pressed down beyond its plastic moment."""
    p = bar(built_in=False).problem
    p.links.hinges[:] = [Hinge(x.source, x.member, x.node, PLASTIC, TURN_RISE)
                         for x in p.links.hinges]
    return pressed(Solver(condense(p.bodies, p.links, p.loads)), SHORT, 0.1)


def turned() -> float:
    """Displacement [mm] beyond the elastic one at the end of the way, over that by hand."""
    path = bent()
    last, elastic = path.points[-1], path.points[1].ram_mm / path.points[1].load_N
    load = last.load_N
    by_hand = (load * LENGTH / 4 - PLASTIC) * LENGTH / (4 * TURN_RISE)
    return (last.ram_mm - load * elastic) / by_hand


def energy(path: Path) -> float:
    """Work of the ram over what is stored, dissipated and kept by hardening, over a path."""
    done, stored, lost = np.sum([balance(path, i) for i in range(1, len(path.points))], axis=0)
    if not lost > stored > 0.0:
        raise SolveError("verification problem: nothing was dissipated")
    return float(done / (stored + lost))


def reloaded() -> float:
    """Load [N] at which the bar turns on when it is unloaded and pressed again, over the last."""
    path = bent()
    last = path.points[-1]
    down = to_load(path.ram, last, path.zero)
    up = None if down is None else to_load(path.ram, down[-1], path.zero, last.load_N)
    if up is None:
        raise SolveError("verification problem: reloading has no equilibrium")
    return up[-1].ram_mm / last.ram_mm


CASES = register(
    Case("buttress that hardens as it is crushed", SPRING, "derived", "load over that by hand",
         "-", 1.0, 1e-6, carried),
    Case("buttress that hardens: energy", ENERGY, "derived",
         "work over stored and dissipated energy", "-", 1.0, 1e-6, lambda: energy(crushed())),
    Case("hinge that hardens", BAR, "derived", "displacement beyond the elastic, over that by hand",
         "-", 1.0, 1e-6, turned),
    Case("hinge that hardens: energy", ENERGY, "derived",
         "work over stored and dissipated energy", "-", 1.0, 1e-6, lambda: energy(bent())),
    Case("hinge that hardens, unloaded and pressed again", BAR, "derived",
         "displacement at the same load, over the first", "-", 1.0, 1e-9, reloaded))
