"""Plastic hinges: limit loads of a bar on two supports and of a propped one."""

from __future__ import annotations

from functools import partial

import numpy as np

from buttress.fe.bodies.member import BeamSection, Member
from buttress.fe.links.condense import condense
from buttress.fe.links.link import End, Hinge, LinkList
from buttress.fe.solve.solver import Solver
from buttress.fe.verification import Case, register
from buttress.fe.verification.parts import ACROSS, ALONG, GROUND, largest_held, limit, line, spring

LENGTH, PLASTIC = 80.0, 5000.0  # mm, N mm
SECTION = BeamSection(axial=4e6, bending=3e6, shear=1.2e6)
SUPPORT = 1e6  # N/mm
SOURCE = "limit analysis, kinematic and static theorem (closed form)"


def bar(*, built_in: bool, end: float = PLASTIC) -> Solver:
    """A bar loaded in its middle by 1 N, hinges at every inner node.

    A built-in end yields at the moment `end` [N mm].
    """
    beam = Member("bar", line(LENGTH, LENGTH / 8), [SECTION] * 8)
    links = LinkList()
    spring(links, End(beam, beam.translation(0, ALONG)), GROUND, SUPPORT)
    for node in (0, 8):
        spring(links, End(beam, beam.translation(node, ACROSS)), GROUND, SUPPORT)
    if built_in:
        # The hinge of a built-in end is a rotation link that yields.
        spring(links, End(beam, beam.rotation(0)), GROUND, SUPPORT * LENGTH**2, kind="moment",
               lower=-end, upper=end)
    links.hinges += [Hinge("bar", beam, node, PLASTIC) for node in range(1, 8)]
    return Solver(condense([beam], links, [[(beam, beam.translation(4, -ACROSS))]]))


def by_program(built_in: bool) -> float:
    """Limit load by the linear program, N."""
    return limit(bar(built_in=built_in), np.ones(1))


def by_solver(built_in: bool) -> float:
    """Largest load that the incremental solver holds, N."""
    return largest_held(bar(built_in=built_in), np.ones(1), 20 * PLASTIC / LENGTH)


CASES = register(*(
    Case(f"plastic hinge, {name}, {way}", SOURCE, "derived", "limit load", "N",
         count * PLASTIC / LENGTH, 1e-6, partial(find, built_in))
    for name, built_in, count in (("bar on two supports", False, 4), ("propped bar", True, 6))
    for way, find in (("linear program", by_program), ("solver", by_solver))))
