"""What is crushed where a link gives way (bone, foam, graft or cement), and from when on at a screw
or wire."""

from __future__ import annotations

import numpy as np

from buttress.bone.pieces import Made, Solid
from buttress.fe.links.link import Link
from buttress.fe.solve.answer import Answer
from buttress.fe.solve.events import AT_BOUND
from buttress.implants.kinds import Hold
from buttress.model.model import Model
from buttress.results.path import NOTICED_MM
from buttress.results.records import Where
from buttress.results.search import Gauge, Reading

BONE, FOAM, GRAFT, CEMENT = "bone", "foam", "graft", "cement"
MEDIA = (BONE, FOAM, GRAFT, CEMENT)
CRUSHED = "is crushed locally"
"""Said of what has been crushed by `NOTICED_MM` at one place, the first station of a screw or node
of a face: what is around it still carries."""


def medium(model: Model, link: Link) -> str:
    """What gives way at a link: what it presses on, of two that press on each other the weaker."""
    at = np.array([link.place])
    sides = [s for s in model.solids for end in (link.a, link.b) if s.body is end.body]
    return _of(model, min(sides, key=lambda s: float(s.piece.crush(at)[0])), at) if sides else BONE


def _of(model: Model, solid: Solid, at: np.ndarray) -> str:
    if solid.kind == Made.BONE:
        return FOAM if model.bone.study.section.bone == FOAM else BONE
    return GRAFT if float(solid.piece.crushable(at)[0]) > 0.0 else CEMENT


def at_pins(model: Model) -> Gauge:
    """The gauge of what screws and wires press on across their axes: how far it is crushed [mm].

    What tightening or stages have crushed already is no event of loading.
    """
    links, upper = model.problem.links.links, model.problem.upper
    start = model.pressing.start if model.stands else None
    own = np.array([i for i, link in enumerate(links) if link.kind == Hold.BEARING and (
        start is None or abs(start.force[i]) < (1.0 - AT_BOUND) * upper[i])], dtype=int)
    begun = model.pressing.begun if model.stands else np.zeros(model.problem.n)

    def read(answer: Answer) -> Reading | None:
        if not own.size:
            return None
        far = np.abs(answer.slack[own] - begun[own])
        first = int(own[far.argmax()])
        return Reading(float(far.max()), Where(links[first].source, links[first].place))

    return Gauge("bearing of screws", "", NOTICED_MM, "mm", read)


def medium_at(model: Model, where: Where) -> str:
    """What a screw or wire presses on at a place."""
    return medium(model, next(x for x in model.problem.links.links if (
        x.kind, x.source, x.place) == (Hold.BEARING, where.part, where.place_mm)))
