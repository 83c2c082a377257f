"""A dowel across a closed crack (Friberg 1940, from the beam on a foundation).

Half of the dowel is bedded in a piece that is held, half in a rigid piece that is shifted across
the crack by V. By antisymmetry the moment is zero at the crack, so each half is a beam loaded at
its end: V/shift = k/(4 beta).
"""

from __future__ import annotations

from functools import partial

import numpy as np

from buttress.fe.bodies.body import Column
from buttress.fe.bodies.member import BeamSection, Member
from buttress.fe.links.condense import Measure
from buttress.fe.links.link import End, LinkList
from buttress.fe.verification import Case, register
from buttress.fe.verification.foundation import BETA, DIAMETER, MODULUS, SPRINGS
from buttress.fe.verification.parts import (
    ACROSS,
    ALONG,
    GROUND,
    SLENDER,
    answered,
    foundation,
    line,
    round_rod,
    spring,
)

POISSON, SHAPE = 0.3, 0.9  # shape factor of a round section in shear
SHEAR = SHAPE * MODULUS / (2 * (1 + POISSON)) * np.pi * DIAMETER**2 / 4  # N
FORCE = 100.0  # N
SOURCE = "Friberg, Trans ASCE 1940; the beam on a foundation of Hetényi"


def infinite(shear: float = np.inf) -> float:
    """Shear stiffness [N/mm] of an endless dowel; finite `shear` is Timoshenko's beam."""
    return float(SPRINGS / (4 * np.sqrt(BETA**2 + SPRINGS / (4 * shear))))


def finite(side: float) -> float:
    """The same for `side` [mm] in each piece, without shear deformation."""
    x = BETA * side
    more = (np.sinh(x) * np.cosh(x) - np.sin(x) * np.cos(x)) / (np.sinh(x)**2 - np.sin(x)**2)
    return float(SPRINGS / (4 * BETA) / more)


def sliding_piece() -> Member:
    """A piece that can only shift across: its first node has one motion left."""
    return Member("piece", line(1.0, 1.0), [BeamSection(1e12, 1e12, 1e12)], fixed=(0, 2))


def stations(side: float, step: float) -> tuple[np.ndarray, np.ndarray]:
    """Nodes x (k,) of a dowel from -side to side, and which of them are springs' places.

    Springs stand at the middles of equal steps, so that none lies on the crack.
    """
    middles = -side + step * (np.arange(round(2 * side / step)) + 0.5)
    x = np.sort(np.concatenate([middles, [-side, 0.0, side]]))
    return x, np.flatnonzero(np.isin(x, middles))


def stiffness(side: float, shear: float = SLENDER, step: float = 0.5) -> float:
    """Shear force over shift [N/mm], computed."""
    x, places = stations(side, step)
    rod = round_rod("dowel", np.stack([x, 0 * x], axis=1), DIAMETER, MODULUS, shear=shear)
    other = sliding_piece()
    shift: Column = other.translation(0, ACROSS)
    links = LinkList()
    foundation(links, rod, places, np.full(places.size, step), SPRINGS, ACROSS,
               lambda i: GROUND if x[i] < 0 else End(other, shift))
    spring(links, End(rod, rod.translation(0, ALONG)), GROUND, SPRINGS)
    _, read = answered([rod, other], links, [[(other, shift)]], [FORCE],
                       [Measure("shift", ((other, shift),))])
    return FORCE / read["shift"]


CASES = register(
    Case("dowel across a crack", SOURCE, "seen", "shear force over shift", "N/mm", infinite(),
         1e-3, partial(stiffness, 120.0)),
    Case("dowel with shear deformation", SOURCE + ", Timoshenko's beam", "derived",
         "shear force over shift", "N/mm", infinite(SHEAR), 1e-3,
         partial(stiffness, 120.0, SHEAR)),
    Case("dowel with 40 mm a side", SOURCE, "derived", "shear force over shift", "N/mm",
         finite(40.0), 1e-3, partial(stiffness, 40.0)))
