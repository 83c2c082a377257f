"""When the thread of a screw gives way along all of its length in one piece."""

from __future__ import annotations

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.solve.answer import Answer
from buttress.fe.solve.events import AT_BOUND, SLIP_MM
from buttress.implants.kinds import Hold
from buttress.model.model import Model
from buttress.results.path import NOTICED_MM
from buttress.results.records import Where
from buttress.results.search import Gauge, Reading

THREAD = "thread that gives way"


def slides(slid: FloatArray) -> float:
    """How far [mm] the one of some stations has slid that has done so least, all one way."""
    return float(max(slid.min(), (-slid).min()))


def used(force: FloatArray, slid: FloatArray, upper: FloatArray) -> float:
    """Least share of the strength [N] that is used at any of some stations, all pulled one way.

    ``slid`` [mm]: what has given way, and may have less left.
    """
    share = force / upper
    share[slid > SLIP_MM], share[slid < -SLIP_MM] = 1.0, -1.0
    return float(max(share.min(), (-share).min()))


def whole_thread(model: Model) -> Gauge:
    """The gauge of the thread of a screw in one piece: how far all of it has slid [mm].

    A screw whose thread gives way at some places only is still held by the others. What
    tightening alone has led to is no event: thread on the head side of a fracture must give way
    there, so that the fracture is compressed.
    """
    groups: dict[tuple[str, int], list[int]] = {}
    for number, link in enumerate(model.problem.links.links):
        if link.kind == Hold.THREAD:
            groups.setdefault((link.source, id(link.b.body)), []).append(number)
    upper = model.problem.upper

    start = model.pressing.start if model.stands else None
    if start is not None:
        # Unloading lets threads slip back: of what stages have loaded, only the forces count.
        slid = start.slack if model.start is None else np.zeros_like(start.slack)
        groups = {at: s for at, s in groups.items()
                  if used(start.force[s], slid[s], upper[s]) < 1.0 - AT_BOUND}
    begun = model.pressing.begun if model.stands else np.zeros(model.problem.n)

    def read(answer: Answer) -> Reading | None:
        if not groups:
            return None
        most, source = max((slides(answer.slack[s] - begun[s]), source)
                           for (source, _), s in groups.items())
        return Reading(most, Where(source, None))

    return Gauge(THREAD, "", NOTICED_MM, "mm", read)
