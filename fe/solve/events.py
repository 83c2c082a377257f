"""What happens along a path, in order: first slip, opening, crushing, yield, hinges, snaps, peak.

Between two committed points the response is nearly a chain of straight pieces. An event is where
a link's trial value (its force from its bound, or its slack once it is there) passes zero; that is
sought by steps between the two points, so that its load is right to about half a per cent of the
step. Of each source the first of every kind counts.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import pairwise

import numpy as np

from buttress.fe.arrays import BoolArray, FloatArray
from buttress.fe.links.link import Hinge, Link
from buttress.fe.solve.path import PLATEAU, Path, Point
from buttress.fe.solve.ram import Pressed, Ram

SLIP_MM = 1e-6
"""Movement of a link at its bound from which on it counts."""
FINE = 0.005
"""Share of a step, in load and in displacement, within which an event is located."""
TRIES = 16
CARRIES = 1e-6
"""Share of the load below which a link carries nothing."""
SNAP_RATE, SNAP_TIMES, SNAP_HALVINGS = 2.0, 5.0, 7
"""Movement over the ram's, and over that of the step before, of what may have snapped."""


@dataclass(frozen=True)
class Event:
    """``kind``: "slip" (friction, under force), "opening" (contact that carried a force),
    "crushing" (one-sided link at its strength), "yield" (two-sided link at its capacity), "hinge"
    (of a member), "snap" (movement that jumps while the ram hardly moves), "peak".

    ``link`` or ``hinge`` is its number; the other is -1. ``load_N`` and ``ram_mm`` as in `Point`.
    """

    kind: str
    load_N: float
    ram_mm: float
    place: tuple[float, float]
    source: str
    link: int = -1
    hinge: int = -1


class _Piece:
    """The way between two committed points, with the states that have been solved on it."""

    def __init__(self, ram: Ram, before: Point, after: Point, size: float) -> None:
        self.ram, self.before, self.size = ram, before, size
        # What the first point left is committed: only later movement counts.
        self.known = [ram.settled(before.state), after.state]

    def at(self, place: float) -> Pressed | None:
        """The state at a position of the ram [mm], stepped to from the first point."""
        number = int(np.searchsorted([s.place for s in self.known], place))
        low, high = self.known[number - 1], self.known[min(number, len(self.known) - 1)]
        near = [self.before.state if low is self.known[0] else low, high]
        if high.place - place < place - low.place:
            near.reverse()
        found = self.ram.step(self.before.memory, place=place, near=near, size=self.size)
        if found is None or not found.held:
            return None
        self.known.insert(number, found)
        return found

    def first_zero(self, value: Callable[[Pressed], float]) -> tuple[float, float]:
        """Position [mm] and load [N] where a value that ends positive first passes zero."""
        first, last = self.known[0], self.known[-1]
        top = next(i for i, s in enumerate(self.known) if value(s) > 0.0 or s is last)
        low, high = self.known[max(top - 1, 0)], self.known[top]
        v_low, v_high, width = value(low), value(high), np.inf
        for _ in range(TRIES):
            if v_low >= -CARRIES * self.size or v_high <= 0.0:
                break
            if (high.place - low.place <= FINE * (last.place - first.place)
                    or abs(high.load - low.load) <= FINE * abs(last.load - first.load)):
                break
            # By proportion; by halves where that has gained little, a value that jumps in slope.
            before, width = width, high.place - low.place
            share = v_low / (v_low - v_high) if width <= 0.5 * before else 0.5
            middle = self.at(low.place + min(max(share, 0.01), 0.99) * width)
            if middle is None:
                break
            v = value(middle)
            if v > 0.0:
                high, v_high = middle, v
            else:
                low, v_low = middle, v
        v_low, v_high = min(value(low), 0.0), value(high)
        share = v_low / (v_low - v_high) if v_high > v_low else 0.0
        return (low.place + share * (high.place - low.place),
                low.load + share * (high.load - low.load))

    def snap(self, move: Callable[[Pressed], float]) -> tuple[float, float] | None:
        """Where a movement jumps, position and load; None where it only goes fast."""
        low, high = self.known[0], self.known[-1]
        whole = abs(move(high) - move(low))
        for _ in range(SNAP_HALVINGS):
            middle = self.at(0.5 * (low.place + high.place))
            if middle is None:
                return None
            if abs(move(middle) - move(low)) > abs(move(high) - move(middle)):
                high = middle
            else:
                low = middle
        left = abs(move(high) - move(low))
        if left < 0.5 * whole or left < SNAP_TIMES * SNAP_RATE * (high.place - low.place):
            return None
        return high.place, high.load


def _values(ram: Ram, kind: str, state: Pressed) -> FloatArray:
    """Trial values [N] of all links (of all hinges for "hinge"): positive beyond the event."""
    p, s, a = ram.plain, ram.solver, state.answer
    if kind == "hinge":
        moment = p.load_kinks @ a.load - p.kinks.T @ a.force
        return np.abs(moment) - p.kink_limit + np.abs(a.kink_step) / s.kink_scale
    move = a.slack / s.scale[:-1]
    if kind == "slip":
        normal = a.force[p.partner]
        width = p.friction * np.maximum(normal, 0.0)
        over = np.maximum(a.force - p.upper, p.lower - a.force) - width + np.abs(move)
        parted = normal <= CARRIES * abs(state.load)
        return np.where(parted, np.minimum(move[p.partner], 0.0), over)
    if kind == "opening":
        return -a.force + np.maximum(-move, 0.0)
    if kind == "crushing":
        return a.force - p.upper + np.maximum(move, 0.0)
    return np.maximum(a.force - p.upper, p.lower - a.force) + np.abs(move)


def _happened(ram: Ram, kind: str, before: Point, after: Point) -> BoolArray:
    """Which links (hinges for "hinge") a kind of event has happened to in a step."""
    p, a = ram.plain, after.answer
    carries = CARRIES * max(abs(after.load_N), abs(before.load_N))
    if kind == "hinge":
        return np.abs(a.kink_step) > SLIP_MM
    moved = np.abs(a.slack) > SLIP_MM
    rubs = p.friction > 0
    if kind == "slip":
        return rubs & moved & (a.force[p.partner] > carries)
    if kind == "opening":
        return p.opens & moved & (a.slack < 0) & (before.answer.force > carries)
    if kind == "crushing":
        return p.opens & moved & (a.slack > 0)
    return ~p.opens & ~rubs & moved


KINDS = ("slip", "opening", "crushing", "yield", "hinge")
EVERY = (*KINDS, "snap", "peak")


def events_of(path: Path, kinds: Sequence[str] = EVERY) -> tuple[Event, ...]:
    """The events of a path, of some kinds, in the order of the ram's displacement."""
    ram, found, seen = path.ram, list[Event](), set[tuple[str, str]]()
    if not path.points or path.peak_N <= 0.0:
        return ()
    links, hinges = ram.plain.links.links, ram.plain.links.hinges
    for number, (before, after) in enumerate(pairwise(path.points)):
        piece = _Piece(ram, before, after, path.peak_N)
        for kind in (k for k in KINDS if k in kinds):
            named = hinges if kind == "hinge" else links
            groups: dict[str, list[int]] = {}
            for i in np.flatnonzero(_happened(ram, kind, before, after)):
                groups.setdefault(_source(named, int(i)), []).append(int(i))
            for source, members in groups.items():
                if (kind, source) in seen:
                    continue
                seen.add((kind, source))
                at, load = piece.first_zero(partial(_largest, ram, kind, members))
                # The member that is furthest beyond there.
                near = next(s for s in piece.known if s.place >= at - 1e-12 or s is after.state)
                first = members[int(np.argmax(_values(ram, kind, near)[members]))]
                found.append(_event(kind, load, at - path.zero, source, named, first))
        snapped = _snap(path, piece, number) if "snap" in kinds else None
        if snapped is not None:
            found.append(snapped)
    if "peak" in kinds and path.peak_status == "found":
        top = next(p for p in path.points if p.load_N >= path.peak_N * (1 - PLATEAU * FINE))
        found.append(Event("peak", top.load_N, top.ram_mm, (np.nan, np.nan), "ram"))
    return tuple(sorted(found, key=lambda e: e.ram_mm))


def _largest(ram: Ram, kind: str, members: list[int], state: Pressed) -> float:
    return float(_values(ram, kind, state)[members].max())


def _source(named: Sequence[Link | Hinge], number: int) -> str:
    # A problem without named links (a test's) has one source.
    return named[number].source if number < len(named) else ""


def _event(kind: str, load: float, at: float, source: str, named: Sequence[Link | Hinge],
           number: int, hinge: bool = False) -> Event:
    place = named[number].place if number < len(named) else (np.nan, np.nan)
    hinge = hinge or kind == "hinge"
    return Event(kind, load, at, place, source, -1 if hinge else number, number if hinge else -1)


def _movements(ram: Ram, point: Point) -> FloatArray:
    """Movements under force of all links and hinges in a point's step ``(n + h,)``, mm."""
    p, a = ram.plain, point.answer
    force = np.where(p.friction > 0, a.force[p.partner], a.force)
    under = np.abs(force) > CARRIES * abs(point.load_N)
    return np.concatenate([np.where(under, np.abs(a.slack), 0.0), np.abs(a.kink_step)])


def _snap(path: Path, piece: _Piece, number: int) -> Event | None:
    """A snap in a step: what moves by far the fastest, if that jumps."""
    ram, n = path.ram, path.ram.plain.n
    before, after = path.points[number:number + 2]
    rate = _movements(ram, after) / (after.ram_mm - before.ram_mm)
    if not rate.size or number == 0:
        return None
    earlier = _movements(ram, before) / (before.ram_mm - path.points[number - 1].ram_mm)
    rate[rate < SNAP_TIMES * earlier] = 0.0
    which = int(np.argmax(rate))
    if rate[which] < SNAP_RATE:
        return None

    def move(state: Pressed) -> float:
        return float(state.answer.slack[which] if which < n else state.answer.kink_step[which - n])

    found = piece.snap(move)
    if found is None:
        return None
    links, hinges = ram.plain.links.links, ram.plain.links.hinges
    named, index = (links, which) if which < n else (hinges, which - n)
    return _event("snap", found[1], found[0] - path.zero, _source(named, index), named, index,
                  hinge=which >= n)
