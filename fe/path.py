"""Pressing by displacement: the path of a construct under its ram, step by step.

A path starts from the tightened state and presses from zero to a stated displacement of the ram.
Each point is a step from the memory that the point before has left (slip, crushing, kinks, lost
contact), proved by its own residuals. "The first state to be reached by pressing slowly from the
tightened state" is what is meant by the state at a load: friction alone would allow several.

Displacements ``ram_mm`` are counted from the tightened state; loads are the force of the ram [N].
A step that finds nothing is halved twice, then Lemke's method is tried once. Where that finds
nothing either the path has a gap, and the next larger displacement is tried from the last point.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fe.answer import Answer, Memory
from fe.ram import Pressed, Ram

FloatArray = np.ndarray
FIRST_MM, GROWTH = 0.02, 1.35
HALVINGS = 2
BEYOND = "movements are no longer small"
LOAD_LIMIT = "limit of load"
MOST_GAPS = 6
"""Gaps one after another after which nothing larger is tried."""
PLATEAU = 1e-4
"""Rise of the load, over the peak and the share of the way, below which the path is a plateau."""


@dataclass(frozen=True)
class Point:
    """A committed point; ``answer`` is the step's, ``memory`` what it leaves."""

    ram_mm: float
    load_N: float
    state: Pressed
    memory: Memory

    @property
    def answer(self) -> Answer:
        return self.state.answer


@dataclass(frozen=True)
class Gap:
    """A displacement at which no equilibrium was found: not known, and no verdict."""

    ram_mm: float
    status: str


@dataclass(frozen=True)
class Path:
    """A path. ``points[0]`` is the tightened state, without force of the ram.

    ``status``: "complete" (pressed to the stated displacement), "stopped" (by a rule before),
    "gaps" (at least one displacement has no answer). ``peak_status``: "found" (the load falls
    after it, or stays), "beyond the search" (stopped while it rose by the limit of load),
    "not known" (otherwise).
    """

    ram: Ram
    points: tuple[Point, ...]
    gaps: tuple[Gap, ...]
    status: str
    stopped: str
    peak_N: float
    peak_status: str


def steps(farthest: float, first: float = FIRST_MM, growth: float = GROWTH) -> tuple[float, ...]:
    """Displacements [mm] of a path: each step longer than the one before by a factor."""
    out, size = [], first
    while not out or out[-1] < farthest:
        out.append(min((out[-1] if out else 0.0) + size, farthest))
        size *= growth
    return tuple(out)


def press(ram: Ram, memory: Memory, places: Sequence[float], *, near: Answer | None = None,
          most_load: float = np.inf, stop: Callable[[Point], str | None] | None = None) -> Path:
    """Press to the rising displacements ``places`` [mm] in turn.

    ``near``: the tightened answer. ``most_load`` [N] ends the search. ``stop`` says of a point why
    the path ends with it, or None.
    """
    if not len(places) or places[0] <= 0 or (np.diff(places) <= 0).any():
        raise ValueError("displacements of the ram must be positive and rising")
    rest = ram.rest(memory, near)
    if rest is None:
        return Path(ram, (), (Gap(0.0, "unconverged"),), "gaps", "", np.nan, "not known")
    walk = _Walk(ram, Point(0.0, 0.0, rest, memory), rest.place)
    why = ""
    for place in places:
        before = len(walk.points)
        walk.to(float(place))
        why = walk.why
        for point in walk.points[before:]:
            why = why or (stop(point) if stop is not None else None) or ""
            if point.load_N > most_load:
                why = LOAD_LIMIT
        if why or walk.missed >= MOST_GAPS:
            break
    status = "gaps" if walk.gaps else "stopped" if why else "complete"
    peak, peak_status = _peak(walk.points, walk.gaps, why)
    return Path(ram, tuple(walk.points), tuple(walk.gaps), status, why, peak, peak_status)


class _Walk:
    """The points so far, and the way to the next."""

    def __init__(self, ram: Ram, start: Point, zero: float) -> None:
        self.ram, self.zero = ram, zero
        self.points, self.gaps = [start], list[Gap]()
        self.size, self.missed, self.why = 0.0, 0, ""

    def to(self, place: float, halved: int = 0) -> bool:
        """Go to a displacement; whether it was reached, or the path ends before."""
        # Without any force the next answer is proportional to the step: shorter ones are no easier.
        hammer = halved == HALVINGS or not self.points[-1].answer.force.any()
        if self._step(place, hammer):
            self.missed = 0
            return True
        if hammer:
            self.gaps.append(Gap(place, "unconverged"))
            self.missed += 1
            return False
        here = self.points[-1].ram_mm
        middle = 0.5 * (here + place)
        return self.to(middle, halved + 1) and bool(self.why or self.to(place, halved + 1))

    def _step(self, place: float, hammer: bool) -> bool:
        last = self.points[-1]
        found = self.ram.step(last.memory, place=self.zero + place, near=[last.state],
                              size=self.size, hammer=hammer)
        if found is None:
            return False
        if not found.held:
            self.why = BEYOND
            return True
        self.size = max(self.size, abs(found.load))
        self.points.append(Point(place, found.load, found, self.ram.advance(found, last.memory)))
        return True


def _peak(points: Sequence[Point], gaps: Sequence[Gap], why: str) -> tuple[float, str]:
    loads = np.array([p.load_N for p in points])
    at = np.array([p.ram_mm for p in points])
    top = int(np.argmax(loads))
    peak = float(loads[top])
    if len(points) < 2:
        return peak, "not known"
    falls = loads[-1] < peak * (1 - PLATEAU)
    half = int(np.searchsorted(at, 0.5 * at[-1]))
    rise = loads[-1] - loads[min(half, len(loads) - 2)]
    flat = rise <= PLATEAU * peak
    if gaps and max(g.ram_mm for g in gaps) > at[max(top - 1, 0)]:
        return peak, "not known"
    if falls or flat:
        return peak, "found"
    return peak, "beyond the search" if why == LOAD_LIMIT else "not known"
