"""A beam on an elastic foundation (Hetényi 1946): loaded at its end and in its middle."""

from __future__ import annotations

from functools import partial

import numpy as np

from buttress.fe.links.condense import Measure
from buttress.fe.links.link import End, LinkList
from buttress.fe.verification import Case, register
from buttress.fe.verification.parts import (
    ACROSS,
    ALONG,
    GROUND,
    answered,
    foundation,
    line,
    round_rod,
    shares,
    spring,
)

DIAMETER, MODULUS = 6.0, 200e3  # mm, MPa
SPRINGS, FORCE = 600.0, 500.0  # N/mm per mm, N
BENDING = MODULUS * np.pi * DIAMETER**4 / 64
BETA = float((SPRINGS / (4 * BENDING)) ** 0.25)  # 1/mm
SOURCE = "Hetényi, Beams on Elastic Foundation, 1946"


def deflection(length: float, loaded: float, step: float = 0.5) -> float:
    """Deflection, mm, under a force at the share `loaded` of a member's length."""
    rod = round_rod("rod", line(length, step), DIAMETER, MODULUS)
    count = len(rod.points)
    links = LinkList()
    foundation(links, rod, range(count), shares(rod.points[:, 0]), SPRINGS, ACROSS)
    spring(links, End(rod, rod.translation(0, ALONG)), GROUND, SPRINGS)
    column = rod.translation(round(loaded * (count - 1)), ACROSS)
    _, read = answered([rod], links, [[(rod, column)]], [FORCE],
                       [Measure("deflection", ((rod, column),))])
    return read["deflection"]


# 160 mm is 9.4 / beta: what is cut off is e^-9.4 of the whole.
CASES = register(
    Case("beam on foundation, loaded at its end", SOURCE, "seen", "deflection of the end", "mm",
         2 * FORCE * BETA / SPRINGS, 1e-3, partial(deflection, 160.0, 0.0)),
    Case("beam on foundation, loaded in its middle", SOURCE, "seen", "deflection of the middle",
         "mm", FORCE * BETA / (2 * SPRINGS), 1e-3, partial(deflection, 320.0, 0.5, 1.0)))
