"""Where curves of load over movement of two constructs cross: for sentences and for pictures."""

from __future__ import annotations

from bisect import bisect
from dataclasses import dataclass

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.results.order import tie_of
from buttress.results.path import lies_between
from buttress.results.records import ConstructResult
from buttress.study.tables import number

FINEST = 0.1
"""Share of the movement by which constructs are ordered below which curves are not compared."""
LEAST_N = 1.0
"""Two curves as close as this are tied, however small the loads."""
UPRIGHT = 1e-9
"""Share of a movement over which a curve rises that goes straight up."""
Curve = tuple[FloatArray, FloatArray]
"""Movement [mm], rising, and load [N] of the points of a curve."""


@dataclass(frozen=True)
class Crossing:
    """One construct has moved less than another up to ``tied_from_N``, and more above ``load_N``.

    Both are the same where curves cross once; between them they cross and are tied. ``until_N``:
    where they cross back, if they do. ``places``: movement [mm] and load [N] at each of their
    crossings, the first and the second as told here, any further one where it ends.
    """

    stiffer: str
    other: str
    load_N: float
    moved_mm: float
    tied_from_N: float
    until_N: float | None
    places: tuple[tuple[float, float], ...]


def crossing(a: ConstructResult, b: ConstructResult) -> Crossing | None:
    """Where the curves of movement over load of two constructs cross.

    One carries more at first and the other later, each by more than `tie_of` them; curves
    that lie closer than that count as tied. None where there is no such place.
    """
    of_a, of_b = _curve(a), _curve(b)
    if of_a is None or of_b is None:
        return None
    turns = _turns(of_a, of_b, a, b)
    if not turns:
        return None
    first = turns[0]
    names = (a.name, b.name) if first.ahead > 0 else (b.name, a.name)
    told = _told(turns)

    def load(moved: float) -> float:
        return float(np.interp(moved, *of_a))

    return Crossing(*names, load(told[0]), told[0], load(first.zeros[0]),
                    load(told[1]) if len(told) > 1 else None,
                    tuple((moved, load(moved)) for moved in told))


def crossings(a: ConstructResult, b: ConstructResult, of_a: Curve, of_b: Curve
              ) -> list[tuple[float, float]]:
    """Where two other curves of two constructs cross, by the same rule, as movement [mm] and load
    [N]; none where a curve has no points or turns back."""
    if not (of_a[0].size and of_b[0].size) or any((np.diff(c[0]) <= 0.0).any()
                                                  for c in (of_a, of_b)):
        return []
    return [(moved, float(np.interp(moved, *of_a)))
            for moved in _told(_turns(of_a, of_b, a, b))]


@dataclass(frozen=True)
class _Turn:
    """``ahead``: 1 where the first of two carries more before, -1 the other; ``zeros``: movements
    [mm] at which they carry the same before the order is clear again, more than one in a tie."""

    ahead: int
    zeros: list[float]


def _told(turns: list[_Turn]) -> list[float]:
    """The movement [mm] at which each crossing is told: up to the second the later one is sure."""
    return [turn.zeros[0 if k == 1 else -1] for k, turn in enumerate(turns)]


def _turns(of_a: Curve, of_b: Curve, a: ConstructResult, b: ConstructResult) -> list[_Turn]:
    """Each change of who carries more, by more than a tie and than `LEAST_N`, up to failure in
    bench tests."""
    ordered = a.reserve.movement_mm
    least = max(FINEST * ordered, of_a[0][0], of_b[0][0])
    most = min(of_a[0][-1], of_b[0][-1], max(ordered, number("anatomy", "limits", "failure")))
    if most <= least:
        return []
    places = np.union1d(of_a[0], of_b[0])
    places = np.union1d(places[(places > least) & (places < most)], [least, most])
    load_a, load_b = np.interp(places, *of_a), np.interp(places, *of_b)
    tie = 1.0 + tie_of(a, b)
    ahead = np.where(np.abs(load_a - load_b) <= LEAST_N, 0, np.where(
        load_a > tie * load_b, 1, np.where(load_b > tie * load_a, -1, 0)))
    clear = np.flatnonzero(ahead).tolist()
    return [_Turn(int(ahead[i]), _zeros(places, load_a - load_b, i, j))
            for i, j in zip(clear, clear[1:], strict=False) if ahead[i] != ahead[j]]


def _zeros(places: FloatArray, gap: FloatArray, first: int, last: int) -> list[float]:
    """Where a difference, of one sign at ``first`` and of the other at ``last``, changes sign."""
    return [float(places[k] + (places[k + 1] - places[k]) * gap[k] / (gap[k] - gap[k + 1]))
            for k in range(first, last) if (gap[k] > 0.0) != (gap[k + 1] > 0.0)]


def _curve(c: ConstructResult) -> Curve | None:
    """Movement [mm] and the largest load [N] carried up to it, both rising; None without one."""
    moved, loads, top, farthest = [0.0], [0.0], 0.0, 0.0
    at, carried = 0.0, 0.0      # the point before
    for point in () if c.path is None else c.path.points:
        if point.moved_mm is None:
            continue
        if at < farthest < point.moved_mm:
            # The joint had gone back: up to here it has carried more without moving farther.
            again = carried + (point.load_N - carried) * (farthest - at) / (point.moved_mm - at)
            if again > top:
                top = again
                moved.append(farthest * (1.0 + UPRIGHT))
                loads.append(top)
        at, carried, top = point.moved_mm, point.load_N, max(top, point.load_N)
        if at > farthest * (1.0 + UPRIGHT):
            farthest = at
            moved.append(farthest)
            loads.append(top)
    if len(moved) < 3:
        return None
    # Loads at stated movements were looked for between the points, where a chord is less exact.
    for found in (c.reserve, c.reserve_to_failure):
        if found is not None and found.load_N is not None and found.movement_mm < farthest:
            k = bisect(moved, found.movement_mm)
            if (lies_between(found.load_N, loads[k - 1], loads[k])
                    and moved[k - 1] < found.movement_mm):
                moved.insert(k, found.movement_mm)
                loads.insert(k, found.load_N)
    return np.array(moved), np.array(loads)
