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
from buttress.results.records import LetsGo, LimitResult
from buttress.results.search import Gauge, Search


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
                  ) -> tuple[float | None, dict[str, LimitResult]]:
    """What is carried with friction lost [N], as far as ``most``: by the path or, where that is not
    known, by limit analysis if that says more; and the load at which each limit is reached then."""
    least: float | None
    least, known = model.without_friction(most)
    if not known:
        bound = bracket(model.capacity(frictionless=True), model.capacity())[0]
        least = None if bound is None else max(bound, least)
    if not model.stands:
        return least, {}
    search = Search(model, most, lost=True)
    return least, {gauge.name: find_limit(search, gauge) for gauge in found}
