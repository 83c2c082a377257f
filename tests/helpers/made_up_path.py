"""A made-up construct with a path of chosen loads, movements and events: nothing is solved."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from made_up import moves

from buttress.results.path import PathEvent, PathPoint, PathResult, Where
from buttress.results.records import ConstructResult

STIFF = {0.0: 0.0, 1000.0: 0.1, 2000.0: 0.2, 2100.0: 1.0}
STRONG = {0.0: 0.0, 500.0: 0.1, 1000.0: 0.2, 5000.0: 1.0}


def pressed(name: str, curve: dict[float, float], events: tuple[PathEvent, ...] = (),
            **given: object) -> ConstructResult:
    """A construct with movements [mm] by load [N] along its path."""
    points = tuple(PathPoint(2.0 * moved, load, "held", {}, {}, {}, moved)
                   for load, moved in curve.items())
    path = PathResult("complete", "", True, 0.0, points, events)
    at = float(np.interp(0.5, list(curve.values()), list(curve)))
    return replace(moves(name, at), path=path, **given)


def event(kind: str, load: float, ram: float, part: str) -> PathEvent:
    what = ("graft" if part == "graft" else "bone") if kind == "crushing" else ""
    return PathEvent(kind, load, ram, Where(part, (-31.2, -40.0)), what)
