"""Pull-out of a screw by Chapman's formula, and of a member with threads that yield.

Chapman et al., J Biomech Eng 1996;118:391-8: F = S pi D L (0.5 + 0.57735 d/p), where S is the
*shear* strength [MPa], L the engaged thread, d = (D - core)/2 its depth and p its pitch [mm].
The screw is held by springs along its thread that yield at the formula's force per length; the
capacity is that of the linear program, and the largest load that the incremental solver holds.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np

from buttress.fe.links.condense import condense
from buttress.fe.links.link import End, LinkList
from buttress.fe.solve.solver import Solver
from buttress.fe.verification import Case, register
from buttress.fe.verification.parts import (
    ACROSS,
    ALONG,
    GROUND,
    largest_held,
    limit,
    line,
    round_rod,
    spring,
)

SOURCE = "Chapman et al., J Biomech Eng 1996;118:391-8"


@dataclass(frozen=True)
class Thread:
    """Shear strength of the bone [MPa] and the thread's measures [mm]."""

    strength: float
    outer: float
    core: float
    pitch: float
    engaged: float

    def holding(self) -> float:
        """Chapman's pull-out force, N."""
        factor = 0.5 + 0.57735 * (self.outer - self.core) / 2 / self.pitch
        return float(self.strength * np.pi * self.outer * self.engaged * factor)


CANCELLOUS = Thread(strength=2.0, outer=6.5, core=3.0, pitch=2.75, engaged=20.0)
CORTICAL = Thread(strength=5.6, outer=4.5, core=3.1, pitch=1.75, engaged=20.0)


def screw(thread: Thread, shank: float = 20.0, stations: int = 20) -> Solver:
    """A steel screw pulled by 1 N at its head; only the thread beyond the shank holds."""
    step = thread.engaged / stations
    points = line(shank + thread.engaged, step)
    rod = round_rod("screw", points, thread.core, 200e3)
    links = LinkList()
    engaged = range(round(shank / step) + 1, len(points))
    for node in engaged:
        share = thread.holding() / len(engaged)
        spring(links, End(rod, rod.translation(node, ALONG)), GROUND, 500.0 * step,
               kind="thread", lower=-share, upper=share)
    for node in (0, len(points) - 1):
        spring(links, End(rod, rod.translation(node, ACROSS)), GROUND, 500.0)
    return Solver(condense([rod], links, [[(rod, rod.translation(0, -ALONG))]]))


def by_program(thread: Thread) -> float:
    """Capacity in pull-out, N."""
    return limit(screw(thread), np.ones(1))


def by_solver(thread: Thread) -> float:
    """Largest pull that the incremental solver holds, N."""
    return largest_held(screw(thread), np.ones(1), 2 * thread.holding())


# The rounded references of the two screws, with the formula that is entered above.
CASES = register(*(
    Case(f"pull-out of a {name} screw, {way}", SOURCE, "memory", "pull-out force", "N", reference,
         1e-6, partial(find, thread))
    for name, thread, reference in (("6.5 mm", CANCELLOUS, CANCELLOUS.holding()),
                                    ("4.5 mm", CORTICAL, CORTICAL.holding()))
    for way, find in (("linear program", by_program), ("solver", by_solver))))
