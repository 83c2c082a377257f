"""Pressing by displacement: the path of a construct under its ram, step by step.

A path starts from the tightened state and presses from zero to a stated displacement of the ram.
Each point is a step from the memory that the point before has left (slip, crushing, kinks, lost
contact), proved by its own residuals. "The first state to be reached by pressing slowly from the
tightened state" is what is meant by the state at a load: friction alone would allow several.

Displacements ``ram_mm`` are counted from the tightened state; loads are the force of the ram [N].
A step that finds nothing is found by way of shorter ones that commit nothing, so that its state
does not rest on how it is found; then it is halved twice and Lemke's method is tried once. Where
that finds nothing either the path has a gap, and the next larger displacement is tried from the
last point.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.solve.answer import Answer, Memory
from buttress.fe.solve.geometry import Geometry
from buttress.fe.solve.ram import Pressed, Ram

FIRST_MM, GROWTH = 0.02, 1.35
HALVINGS, HALVINGS_MOVED = 2, 5
"""How often a step is halved; on moved geometry a long one may miss what a short one finds."""
BEYOND = "movements are no longer small"
CLOSINGS, CLOSED_MM = 5, 1e-3
"""Trials by which the end of a path is found on moved geometry, and how close to it they come."""
FARTHER = "movements are larger than moved geometry is followed"
FAR = (BEYOND, FARTHER)
"""Ends of a path by movement: more is not held, as far as the model follows."""
LOAD_LIMIT = "limit of load"
RISES = "still rising"
SEAT_N = 1.0
"""Force [N] that seats the parts before they are pressed by displacement."""
WAY = (0.25, 0.5, 1.0)
"""Shares of a step over which it is found where the direct way is not."""
STRIDE = 1.5
"""Longest step on moved geometry, over the one before: what was too far once is so again."""
MOST_GAPS, MOST_GAPS_MOVED = 6, 2
"""Gaps one after another after which nothing larger is tried; on moved geometry each costs more."""
MOST_PIVOTS = 20_000
"""Pivots of Lemke's method on one path; after them it is not asked again, and what the other ways
do not find is not known."""
MOST_LOST = 40
"""Steps on moved geometry of one path that may find nothing, those that were then halved among
them: where more is needed it catches on every point that it passes, and more is not known."""
PLATEAU, LAST = 1e-3, 0.2
"""A load that rises by less than this share of the peak over the last fifth of the way is on its
plateau."""


@dataclass(frozen=True)
class Point:
    """A committed point: its step's state, and the memory that this leaves.

    ``ram_mm`` is counted from the tightened state, ``load_N`` is the force of the ram.
    """

    ram_mm: float
    load_N: float
    state: Pressed
    memory: Memory
    began: Memory | None = None
    """The memory that its step began from; None for the tightened state."""
    ram: Ram | None = None
    """The ram on the moved geometry in which it was found; None: that of the path."""
    moved: Any = None
    """Where the bodies are after it (`fe.moved`); None as long as geometry is as built."""
    slipped: FloatArray | None = None
    """Slip of each link up to its step ``(n,)`` [mm], in moved geometry, whose memory begins anew
    with each step where faces slide."""

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

    ``status``: "complete" (pressed to the stated displacement), "stopped" (ended before, by the
    rule ``stopped``), "gaps" (at least one displacement has no answer). ``peak_status``: "found"
    (the load falls after its peak, or rises no more up to the last point; a gap that closes later
    is not foreseen), "beyond the search" (the limit of load
    ended the path while the load rose), "still rising" (it rose to the last point), "not known"
    (there are gaps near the top, or too few points). ``zero`` is the ram's position [mm] in the
    tightened state.
    """

    ram: Ram
    points: tuple[Point, ...]
    gaps: tuple[Gap, ...]
    status: str
    stopped: str
    peak_N: float
    peak_status: str
    zero: float = 0.0
    pivots: int = 0
    """Of Lemke's method, up to the last point."""
    lost: int = 0
    """Steps on moved geometry that found nothing, up to the last point."""
    tried: float = 0.0
    """The largest of the stated displacements [mm] that was tried, reached or not."""
    geometry: Geometry | None = None
    """What has moved its geometry, if that may move."""

    @property
    def largest(self) -> float:
        """The largest size of the ram's force so far [N]: what errors are relative to."""
        return max((abs(p.load_N) for p in self.points), default=0.0)

    def ram_of(self, number: int) -> Ram:
        """The ram with which a point was found."""
        return self.points[number].ram or self.ram

    def began(self, number: int) -> Memory:
        """The memory that the step to a point began from."""
        point = self.points[number]
        return self.points[number - 1].memory if point.began is None else point.began

    def between(self, number: int, found: Pressed) -> Point:
        """A point for a state that was stepped to from the point before the numbered one."""
        after, ram, began = self.points[number], self.ram_of(number), self.began(number)
        return Point(found.place - self.zero, found.load, found, ram.advance(found, began), began,
                     after.ram, slipped=after.slipped)

    @property
    def moves_from(self) -> float | None:
        """Displacement of the ram [mm] from which on geometry moves; None where it never does."""
        number = next((i for i, p in enumerate(self.points) if p.moved is not None), None)
        return None if number is None else self.points[max(number - 1, 0)].ram_mm

    def first_above(self, load: float) -> int | None:
        """Number of the first point that carries ``load`` [N] or more; None where none does."""
        return next((i for i, p in enumerate(self.points) if p.load_N >= load), None)

    def reach(self, load: float) -> str:
        """Whether the path reaches a load: "reached", "never" (the peak is lower), "not known"."""
        if self.first_above(load) is not None:
            return "reached"
        return "never" if self.peak_status == "found" else "not known"


def steps(farthest: float, first: float = FIRST_MM, growth: float = GROWTH) -> tuple[float, ...]:
    """Displacements [mm] of a path up to ``farthest``: each step is longer by a factor."""
    out: list[float] = []
    size = first
    while not out or out[-1] < farthest:
        out.append(min((out[-1] if out else 0.0) + size, farthest))
        size *= growth
    return tuple(out)


def press(ram: Ram, memory: Memory, places: Sequence[float], *, near: Answer | None = None,
          most_load: float = np.inf, stop: Callable[[Point], str | None] | None = None,
          after: tuple[Point, float] | None = None, onto: Path | None = None,
          geometry: Geometry | None = None) -> Path:
    """Press from the state that ``memory`` stands for to rising displacements ``places`` [mm].

    ``near``: the tightened answer. ``most_load`` [N] ends the search. ``stop`` says of a point why
    the path ends with it, or None. ``after``: a point to start from instead, and the zero of its
    path (reloading). ``onto``: a path that was pressed less far, which is gone on with: its points
    are those that pressing at once would have. ``geometry``: steps on geometry that moves, from
    where they are due. Raises ValueError for displacements that are not
    positive and rising.
    """
    first = 0.0 if after is None else after[0].ram_mm
    if not len(places) or places[0] <= first or (np.diff(places) <= 0).any():
        raise ValueError(f"displacements of the ram must rise from {first:g} mm")
    if onto is not None and onto.points:
        walk = _Walk(ram, onto.points[0], onto.zero, geometry)
        walk.points, walk.gaps, walk.size = list(onto.points), list(onto.gaps), onto.largest
        walk.missed = sum(g.ram_mm > walk.points[-1].ram_mm for g in walk.gaps)
        walk.pivots, walk.lost = onto.pivots, onto.lost
        places = [place for place in places if place > onto.tried]
    elif after is None:
        rest = ram.rest(memory, near)
        if rest is None or not rest.held:
            status = "unconverged" if rest is None else rest.answer.status
            return Path(ram, (), (Gap(0.0, status),), "gaps", "", np.nan, "not known")
        walk = _Walk(ram, Point(0.0, 0.0, rest, ram.advance(rest, memory)), rest.place,
                     geometry)
        walk.seat(float(places[-1]))
        places = [place for place in places if place > walk.points[-1].ram_mm]
    else:
        walk = _Walk(ram, *after, geometry)
    why, tried = "", 0.0 if onto is None else onto.tried
    for place in places:
        before, tried = len(walk.points), float(place)
        walk.to(float(place))
        # What a step was halved into stays: where a path ends does not change its points.
        for point in walk.points[before:]:
            why = why or (stop(point) if stop is not None else None) or ""
            if point.load_N > most_load:
                why = why or LOAD_LIMIT
        why = why or walk.why
        if why or walk.missed >= walk.most_gaps:
            break
    status = "gaps" if walk.gaps else "stopped" if why else "complete"
    peak, peak_status = _peak(walk.points, walk.gaps, why, most_load)
    return Path(ram, tuple(walk.points), tuple(walk.gaps), status, why, peak, peak_status,
                walk.zero, walk.pivots, walk.lost, tried, geometry)


class _Walk:
    """The points so far, and the way to the next."""

    def __init__(self, ram: Ram, start: Point, zero: float, geometry: Geometry | None) -> None:
        self.ram, self.zero, self.geometry = ram, zero, geometry
        self.points, self.gaps = [start], list[Gap]()
        self.size, self.missed, self.why = abs(start.load_N), 0, ""
        self.pivots = self.lost = 0

    @property
    def most_gaps(self) -> int:
        """Gaps one after another with which the path ends."""
        if self.points[-1].moved is None:
            return MOST_GAPS
        return MOST_GAPS_MOVED if self.lost < MOST_LOST else 1

    def seat(self, place: float) -> None:
        """Seat the parts by a small force, if they are then short of a displacement [mm].

        Pressed by displacement, a piece that is only pushed on could also run ahead of the ram
        without any force; under a force it cannot. What is free to move lies where the force has
        left it, and is pressed from there.
        """
        start = self.points[0]
        found = self.ram.step(start.memory, load=SEAT_N, near=[start.state], size=SEAT_N,
                              hammer=True)
        if found is not None and found.held and 0.0 < found.place - self.zero < place:
            self.size = max(self.size, SEAT_N)
            self.points.append(Point(found.place - self.zero, found.load, found,
                                     self.ram.advance(found, start.memory), start.memory))

    def to(self, place: float) -> bool:
        """Go to a displacement, in short steps once geometry moves; whether it was reached."""
        while self.geometry is not None and self.geometry.due(self.points[-1]):
            last = self.points[-1]
            if last.moved is not None and self.geometry.beyond(last) > 0.0:
                self.why = FARTHER
                self._close(self.geometry)
                return False
            rest = place - last.ram_mm
            usual = stride = rest / np.ceil(rest / self.geometry.longest - 1e-9)
            # After a gap what was tried is not tried once more.
            if last.moved is not None and not self.missed:
                stride = STRIDE * (last.ram_mm - self.points[-2].ram_mm)
            count = int(np.ceil(rest / np.clip(stride, usual / 2**HALVINGS_MOVED, usual) - 1e-9))
            halved = int(np.log2(usual * count / rest) + 1e-9)
            if count <= 1:
                break
            if not self._to(last.ram_mm + rest / count, halved):
                return False
        return self._to(place)

    def _close(self, geometry: Geometry) -> None:
        """Let the path end where a piece has moved as far as it is followed, whatever the step that
        has gone beyond."""
        while self.points[-2].moved is not None and geometry.beyond(self.points[-2]) > 0.0:
            self.points.pop()
        before, last = self.points[-2:]
        if before.moved is None:
            return
        a, b = before.ram_mm, last.ram_mm
        low, high = geometry.beyond(before), geometry.beyond(last)
        for _ in range(CLOSINGS):
            place = a + (b - a) * low / (low - high)
            found = geometry.step(before, self.zero + place, self.zero, self.size, 0, False, last)
            if not isinstance(found, Point):
                return
            self.points[-1], now = found, geometry.beyond(found)
            if abs(now) <= CLOSED_MM:
                return
            a, low, b, high = (place, now, b, high) if now < 0.0 else (a, low, place, now)

    def _to(self, place: float, halved: int = 0) -> bool:
        # Without any force the next answer is proportional to the step: shorter ones are no easier.
        moved = self.points[-1].moved is not None and not self.missed
        most = HALVINGS_MOVED if moved else HALVINGS
        last = halved == most or not self.points[-1].answer.force.any()
        found = self._step(place, halved, hammer=last)
        if found is True:
            self.missed, self.why = 0, ""
            return True
        self.lost += self.points[-1].moved is not None
        if last or self.lost >= MOST_LOST:
            # What carries load and then jumps was not followed there: more is not known.
            if found is None or (self.points[-1].moved is not None
                                 and self.points[-1].load_N > SEAT_N):
                self.gaps.append(Gap(place, "unconverged" if found is None else "jumps"))
                self.missed += 1
            else:
                self.why = FARTHER if self.points[-1].moved is not None else BEYOND
            return False
        middle = 0.5 * (self.points[-1].ram_mm + place)
        return self._to(middle, halved + 1) and self._to(place, halved + 1)

    def _step(self, place: float, halved: int, hammer: bool) -> bool | None:
        """Whether the point is reached; None where that is not known."""
        last, tally = self.points[-1], self.ram.tally
        if self.geometry is not None and self.geometry.due(last):
            point = self.geometry.step(last, self.zero + place, self.zero, self.size, halved,
                                       hammer)
            if not isinstance(point, Point):
                return point
            self.size = max(self.size, abs(point.load_N))
            self.points.append(point)
            if last.ram is not None:
                last.ram.solver.rest()
            return True
        before = tally.pivots
        found = self.ram.step(last.memory, place=self.zero + place, near=[last.state],
                              size=self.size, hammer=hammer and self.pivots < MOST_PIVOTS)
        if found is None and not hammer:
            found = self._by_way(place)
        self.pivots += tally.pivots - before
        if found is None or not found.held:
            return None if found is None else False
        self.size = max(self.size, abs(found.load))
        self.points.append(Point(place, found.load, found, self.ram.advance(found, last.memory),
                                 last.memory))
        return True

    def _by_way(self, place: float) -> Pressed | None:
        """The same step by way of shorter ones from the same memory, which commit nothing.

        Whether the direct way is found may rest on rounding; what is committed must not.
        """
        last = self.points[-1]
        state = last.state
        for share in WAY:
            there = last.ram_mm + share * (place - last.ram_mm)
            found = self.ram.step(last.memory, place=self.zero + there, near=[state],
                                  size=self.size,
                                  hammer=share == WAY[0] and self.pivots < MOST_PIVOTS)
            if found is None or not found.held:
                return None
            state = found
        return state


def _peak(points: Sequence[Point], gaps: Sequence[Gap], why: str, most: float
          ) -> tuple[float, str]:
    """The largest load [N], and how far it is known to be the peak up to a load of ``most``."""
    loads = np.array([p.load_N for p in points])
    at = np.array([p.ram_mm for p in points])
    top = int(np.argmax(loads))
    peak = float(loads[top])
    limit = at[loads > most].min(initial=np.inf)    # what comes beyond is not asked for
    if len(points) < 3 or any(at[max(top - 1, 0)] < g.ram_mm < limit for g in gaps):
        return peak, "not known"
    if loads[-1] < peak * (1 - PLATEAU):
        return peak, "found"
    if loads[-1] - np.interp((1 - LAST) * at[-1], at, loads) <= PLATEAU * peak:
        return peak, "found"
    return peak, "beyond the search" if why == LOAD_LIMIT else RISES
