"""Friction and a dowel share the load on a sliding plane: the slip that follows.

Once the plane slides, friction is fully mobilised and the dowel carries the rest:
slip = (F cos(slope) - mu F sin(slope)) / K, with the slope measured from the line of the load F.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from buttress.fe.links.condense import condense
from buttress.fe.links.link import End, LinkList
from buttress.fe.solve.answer import Answer
from buttress.fe.solve.solver import Solver
from buttress.fe.verification import Case, register
from buttress.fe.verification.dowel import infinite
from buttress.fe.verification.parts import ACROSS, GROUND, spring
from buttress.fe.verification.statics import DOWN, FRICTION, LOAD, SLOPE, on_plane

DOWEL = infinite()  # N/mm, the dowel of `fe.verification.dowel`


@cache
def slid(load: float = LOAD) -> tuple[LinkList, Answer]:
    """Links (the dowel last) and answer of a rigid fragment on the plane."""
    base, block, links, middle = on_plane(FRICTION)
    spring(links, End(block, middle(DOWN)), GROUND, DOWEL, kind="dowel")
    problem = condense([base, block], links, [[(block, middle(-ACROSS))]])
    return links, Solver(problem).answer(np.array([load]))


def slip() -> float:
    """Mean slip of the sliding nodes, mm."""
    links, answer = slid()
    rubbing = np.array([i for i, link in enumerate(links.links) if link.friction])
    sliding = rubbing[np.abs(answer.slack[rubbing]) > 0]
    return float(np.abs(answer.slack[sliding]).mean())


CASES = register(
    Case("slip against friction and a dowel", "statics of a block on a plane, Friberg's dowel",
         "derived", "slip", "mm",
         LOAD * float(np.cos(SLOPE) - FRICTION * np.sin(SLOPE)) / DOWEL, 1e-5, slip))
