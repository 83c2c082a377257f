"""Timoshenko's beam: a cantilever and a beam on two supports, exact for beam elements."""

from __future__ import annotations

import numpy as np

from buttress.fe.bodies.body import Column
from buttress.fe.bodies.member import BeamSection, Member
from buttress.fe.links.condense import Measure
from buttress.fe.links.link import End, LinkList
from buttress.fe.verification import Case, register
from buttress.fe.verification.parts import ACROSS, ALONG, GROUND, answered, line, spring

LENGTH, FORCE = 60.0, 250.0  # mm, N
SECTION = BeamSection(axial=5e6, bending=1.2e7, shear=4e5)  # N, N mm², N: shear gives a quarter
SUPPORT = 1e12  # N/mm
TURN = 0.7  # rad: the chain lies askew, so that its turning to the axes is tried too
SOURCE = "Timoshenko's beam, closed form"


def askew() -> tuple[Member, np.ndarray, np.ndarray]:
    """A free member of six elements of unequal lengths, and its directions along and across."""
    cos, sin = np.cos(TURN), np.sin(TURN)
    along, across = np.array([cos, sin]), np.array([-sin, cos])
    at = LENGTH * np.array([0.0, 0.1, 0.3, 0.5, 0.6, 0.85, 1.0])
    return Member("beam", at[:, None] * along, [SECTION] * 6), along, across


def cantilever() -> float:
    """Deflection of the tip, mm, the root held by its unknowns."""
    points = line(LENGTH, LENGTH / 5)
    beam = Member("beam", points, [SECTION] * 5, fixed=(0, 1, 2))
    tip = beam.translation(5, ACROSS)
    # A weak spring to the ground makes a problem of links out of it; its share is below rounding.
    links = LinkList()
    spring(links, End(beam, beam.translation(5, ALONG)), GROUND, 1.0)
    _, read = answered([beam], links, [[(beam, tip)]], [FORCE], [Measure("tip", ((beam, tip),))])
    return read["tip"]


def three_point() -> float:
    """Deflection of the middle of a free member on three supporting links, mm."""
    beam, along, across = askew()
    links = LinkList()
    spring(links, End(beam, beam.translation(0, along)), GROUND, SUPPORT)
    for node in (0, 6):
        spring(links, End(beam, beam.translation(node, across)), GROUND, SUPPORT)
    middle: Column = beam.translation(3, across)
    _, read = answered([beam], links, [[(beam, middle)]], [FORCE],
                       [Measure("middle", ((beam, middle),))])
    return read["middle"]


CASES = register(
    Case("cantilever member", SOURCE, "derived", "deflection of the tip", "mm",
         FORCE * LENGTH**3 / (3 * SECTION.bending) + FORCE * LENGTH / SECTION.shear, 1e-8,
         cantilever),
    Case("member on two supports", SOURCE, "derived", "deflection of the middle", "mm",
         FORCE * LENGTH**3 / (48 * SECTION.bending) + FORCE * LENGTH / (4 * SECTION.shear), 1e-8,
         three_point))
