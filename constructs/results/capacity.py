"""Holding capacity of limit analysis as a bracket, and what fails at it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

import numpy as np

from buttress.fe.solve.capacity import Capacity
from buttress.implants.kinds import Hold
from buttress.model.model import Model
from buttress.model.pressing import SEARCH_LIMIT_N
from buttress.results.limits import find_limit
from buttress.results.records import NOT_KNOWN, LetsGo, LimitResult
from buttress.results.search import LEAST_N, Gauge, Search

FIRST_RUNG_N, RUNG = 500.0, 1.1
"""With friction lost, a path is pressed from rung to rung of this ladder of loads, each longer by a
factor."""


def bracket(lower: Capacity, upper: Capacity) -> tuple[float | None, float | None]:
    """Capacity in newtons of total force: without friction, with friction; None is unlimited."""
    def value(c: Capacity) -> float | None:
        return None if c.factor is None else max(0.0, c.factor) + 0.0

    return value(lower), value(upper)


def lets_go(model: Model, upper: Capacity) -> tuple[LetsGo, ...]:
    """What is at its bound at capacity, by kind and source, the most informative first."""
    if upper.factor is None:
        return ()
    links = model.problem.links
    groups: dict[tuple[str, str], list[tuple[float, float]]] = defaultdict(list)
    for i in upper.at_bound:
        link = links.links[i]
        if link.opens:
            continue   # a face that opens is not what limits
        groups[link.kind, link.source].append(link.place)
    for i in upper.turning:
        groups[Hold.PLASTIC_HINGE, links.hinges[i].source].append(links.hinges[i].place)
    rank: list[str] = [Hold.PLASTIC_HINGE, Hold.THREAD, Hold.BEARING]
    order = sorted(groups, key=lambda k: (rank.index(k[0]) if k[0] in rank else 9, k))
    return tuple(LetsGo(kind, source, len(groups[kind, source]), _mean(groups[kind, source]))
                 for kind, source in order)


def _mean(places: list[tuple[float, float]]) -> tuple[float, float]:
    x, y = np.nanmean(np.array(places), axis=0)
    return float(x), float(y)


def friction_lost(model: Model, found: Sequence[Gauge], most: float = SEARCH_LIMIT_N
                  ) -> tuple[float | None, float | None, dict[str, LimitResult]]:
    """What is carried with friction lost [N], as far as ``most``; up to which load that is known,
    where the path ends with answers that do not converge; and the load at which each limit is
    reached then.

    Once a limit is reached it is pressed no further, and what is carried is not asked: None.
    Of a loose piece without any load on it there is no path; no limit is reached for that alone,
    and the rest is not known, unless forces balance any load without friction.
    """
    if not model.stands:
        return None, None, {}
    asked = _rung(model, found, most)
    search = Search(model, asked, lost=True)
    if search.ends == 0.0 and model.bone.unloaded:
        bound = model.capacity(frictionless=True).factor
        if bound is None or bound >= LEAST_N:
            return None, None if bound is None else 0.0, {}
    limits = {gauge.name: find_limit(search, gauge) for gauge in found}
    if asked < most:
        return None, None, limits
    return search.ends, search.known_to if search.ends_status == NOT_KNOWN else None, limits


def _rung(model: Model, found: Sequence[Gauge], most: float) -> float:
    """The load [N] up to ``most`` at which a limit is reached with friction lost, as far as the
    rungs of a ladder tell, or ``most``."""
    rung = FIRST_RUNG_N
    while rung < most and model.stands and model.slippery is not None:
        points = model.slippery.up_to(rung).points
        if not points or points[-1].load_N < rung:
            return most                     # it ends before
        answer = model.slippery.since_tightened(points[-1])
        read = ((gauge.read(answer), gauge.limit) for gauge in found if not gauge.costly)
        if any(at is not None and at.value >= limit for at, limit in read):
            return min(points[-1].load_N, most)
        rung *= RUNG
    return most
