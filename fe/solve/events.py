"""What happens along a path, in order: first slip, opening, crushing, yield, hinges, snaps, peak.

An event of links is where one of them has moved beyond its bound by a stated distance since it was
tightened: what moves less than can be measured rests on the mesh and on the steps. Between two
committed points the response is nearly a chain of straight pieces; the place is sought by steps
between the two, so that its load is right to about half a per cent of the step, on moved geometry
(each try on its own, or on one within a tenth of the step) to a few per cent of it. Of each source
the first of every kind counts. A bound at which a link stood before any load, since it was
tightened, is no event of loading: `standing` tells those.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import pairwise

import numpy as np

from buttress.fe.arrays import BoolArray, FloatArray, IntArray
from buttress.fe.links.link import Hinge, Link
from buttress.fe.links.placed import still_meet
from buttress.fe.solve.answer import Answer
from buttress.fe.solve.path import PLATEAU, Path, Point
from buttress.fe.solve.ram import Pressed, Ram
from buttress.fe.solve.reached import at_place

SLIP_MM = 1e-6
"""Movement beyond a bound that is no rounding: the least from which on an event may count."""
ROUNDED = 1e-3
"""Share of that movement which may be rounding."""
SHARED = 0.1
"""Share of a step within which a state on moved geometry lends it to others while events are
sought: tried on two studies, loads are within 2 % of those with geometry of their own, most within
1 %, and with that of the next point they were off by up to 8 %."""
FINE, FINE_MOVED = 0.005, 0.05
"""Share of a step, in load or in displacement, within which an event is located; on moved geometry
a try may cost as much as a step."""
TRIES = 16
CARRIES = 1e-6
"""Share of the load below which a link carries nothing."""
AT_BOUND = 1e-6
"""Share of a bound, short of which a link stands at it."""
SNAP_MM, SNAP_TIMES = 0.05, 5.0
"""Movement in a step, and its rate over that of the step before, of what may have snapped."""
SNAP_RATE, SNAP_SHARE, SNAP_HALVINGS = 10.0, 0.5, 10
"""A jump is faster than the ram by this, and this share of the movement in its step, where the step
has been halved so often."""


@dataclass(frozen=True)
class Event:
    """``kind``: "slip" (friction, under force), "opening" (contact that carried a force),
    "crushing" (one-sided link beyond its strength), "yield" (two-sided link beyond it), "hinge"
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

    def __init__(self, path: Path, number: int) -> None:
        ram, (before, after) = path.ram_of(number), path.points[number - 1:number + 1]
        self.ram, self.before, self.size = ram, before, path.peak_N
        self.path, self.number, self.close = path, number, list[Point]()
        self.fine = FINE if after.moved is None else FINE_MOVED
        self.began = path.began(number)
        begun = self.began.offset if after.slipped is None else after.slipped
        self.slid = begun - path.points[0].memory.offset    # up to its start, since tightened
        # What the first point left is committed: only later movement counts.
        self.known = [ram.settled(before.state), after.state]

    @property
    def moves(self) -> bool:
        """Whether it lies on moved geometry."""
        return self.path.points[self.number].moved is not None

    def at(self, place: float, own: bool = True) -> Pressed | None:
        """The state at a position of the ram [mm], stepped to from the first point.

        Where there are two, after a snap, the one next to what lies below is meant. On moved
        geometry it has its own, or that of one nearby; without ``own`` that of the second point,
        which takes much less time.
        """
        if own and self.moves:
            return self._moved(place)
        number = int(np.searchsorted([s.place for s in self.known], place))
        low, high = self.known[number - 1], self.known[min(number, len(self.known) - 1)]
        near = [self.before.state if low is self.known[0] else low, high]
        found = self.ram.step(self.began, place=place, near=near, size=self.size)
        if found is None or not found.held:
            return None
        self.known.insert(number, found)
        return found

    def _moved(self, place: float) -> Pressed | None:
        ram_mm = place - self.path.zero
        near = min(self.close, key=lambda p: abs(p.ram_mm - ram_mm), default=None)
        point = at_place(self.path, self.number, ram_mm, near, SHARED)
        if point is None:
            return None
        if near is None or point.ram is not near.ram:
            self.close.append(point)        # those that have their own geometry
        self.known.insert(int(np.searchsorted([s.place for s in self.known], place)), point.state)
        return point.state

    def first_zero(self, value: Callable[[Pressed], float]) -> tuple[float, float]:
        """Position [mm] and load [N] where a value that ends positive first passes zero."""
        first, last = self.known[0], self.known[-1]
        top = next(i for i, s in enumerate(self.known) if value(s) > 0.0 or s is last)
        low, high = self.known[max(top - 1, 0)], self.known[top]
        v_low, v_high, width = value(low), value(high), np.inf
        for _ in range(TRIES):
            if v_low >= -CARRIES * self.size or v_high <= 0.0:
                break
            if (high.place - low.place <= self.fine * (last.place - first.place)
                    or abs(high.load - low.load) <= self.fine * abs(last.load - first.load)):
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
        """Where a movement jumps: the last position and load before; None where it only goes
        fast."""
        found = self._jump(move, own=not self.moves)
        return found if found is None or not self.moves else self._jump(move, own=True)

    def _jump(self, move: Callable[[Pressed], float], own: bool) -> tuple[float, float] | None:
        low, high = self.known[0], self.known[-1]
        whole = left = abs(move(high) - move(low))
        for _ in range(SNAP_HALVINGS):
            middle = self.at(0.5 * (low.place + high.place), own)
            if middle is None:
                return None
            first, second = abs(move(middle) - move(low)), abs(move(high) - move(middle))
            low, high = (low, middle) if first > second else (middle, high)
            left = max(first, second)
            if left < SNAP_SHARE * whole:
                return None
        if left < SNAP_RATE * (high.place - low.place):
            return None
        return low.place, low.load


@dataclass(frozen=True)
class _Stood:
    """At which bound links ``(n,)`` and hinges ``(h,)`` stood before any load: 1 the upper, -1 the
    lower, 0 neither. Reaching that bound again is no event of loading."""

    links: IntArray
    hinges: IntArray

    @staticmethod
    def of(path: Path) -> _Stood:
        """What stands at its bound in the state that a path starts from."""
        p, a, carries = path.ram.plain, path.points[0].answer, CARRIES * path.largest
        normal = a.force[p.partner]
        width = p.friction * np.maximum(normal, 0.0)
        upper, lower = p.upper + width, p.lower - width
        # No force is a bound of contact and of friction on what is open, and no strength.
        strong = np.where(p.friction > 0, normal > carries, True)
        high = strong & (upper > 0.0) & (a.force >= (1 - AT_BOUND) * upper)
        low = strong & (lower < 0.0) & (a.force <= (1 - AT_BOUND) * lower)
        moment, most = _moment(path.ram, a), (1 - AT_BOUND) * p.kink_limit
        return _Stood(high.astype(np.int8) - low.astype(np.int8),
                      (moment >= most).astype(np.int8) - (moment <= -most).astype(np.int8))


def _moment(ram: Ram, answer: Answer) -> FloatArray:
    """Moments [N mm] of all hinges ``(h,)``."""
    return np.asarray(ram.plain.load_kinks @ answer.load - ram.plain.kinks.T @ answer.force)


def _values(piece: _Piece, stood: _Stood, kind: str, least: float, state: Pressed) -> FloatArray:
    """Values [N] of all links (of all hinges for "hinge"): positive beyond the event.

    Of what is at its bound the movement beyond it, else minus what is left to the bound.
    """
    ram = piece.ram
    p, s, a = ram.plain, ram.solver, state.answer
    if kind == "hinge":
        turn, moment = a.kink_step / s.kink_scale, _moment(ram, a)
        high = moment - p.kink_limit + np.maximum(turn, 0.0)
        low = -p.kink_limit - moment + np.maximum(-turn, 0.0)
        return _either(high, low, stood.hinges)
    scale, slid, still = s.scale[:-1], a.slack + piece.slid, ROUNDED * least
    if kind == "opening":
        return np.where(a.slack < -still, -a.slack / scale, -np.abs(a.force)) - least / scale
    normal = a.force[p.partner]
    width = p.friction * np.maximum(normal, 0.0)
    up = np.where(slid > still, slid / scale, np.minimum(a.force - p.upper - width, 0.0))
    down = np.where(slid < -still, -slid / scale, np.minimum(p.lower - width - a.force, 0.0))
    over = _either(up, -np.inf if kind == "crushing" else down, stood.links) - least / scale
    if kind != "slip":
        return over
    parted = normal <= CARRIES * abs(state.load)
    return np.where(parted, np.minimum(a.slack[p.partner] / scale, 0.0), over)


def _either(high: FloatArray, low: FloatArray | float, stood: IntArray) -> FloatArray:
    """How far values are beyond one of their bounds at which nothing stood before any load."""
    return np.maximum(np.where(stood > 0, -np.inf, high), np.where(stood < 0, -np.inf, low))


def _happened(piece: _Piece, stood: _Stood, kind: str, least: float, carried: BoolArray,
              after: Point, built: FloatArray) -> BoolArray:
    """Which links (hinges for "hinge") a kind of event has happened to up to a point. ``carried``:
    links that a force has pressed on before; ``built (n,)``: gaps before any movement; what slides
    beyond the end of the other face does not open."""
    p, a = piece.ram.plain, after.answer
    if kind == "hinge":
        return (np.abs(a.kink_step) > SLIP_MM) & (np.sign(a.kink_step) != stood.hinges)
    beyond = _values(piece, stood, kind, least, after.state) > 0.0
    if kind == "opening":
        return p.opens & beyond & carried & still_meet(p.gap, built)
    rubs = p.friction > 0
    if kind == "slip":
        return rubs & beyond
    # What has no friction, or has lost it, has no strength that it could reach.
    return beyond & (p.upper > p.lower) & (p.opens if kind == "crushing" else ~p.opens & ~rubs)


KINDS = ("slip", "opening", "crushing", "yield", "hinge")
EVERY = (*KINDS, "snap", "peak")


def events_of(path: Path, kinds: Sequence[str] = EVERY, least_mm: float = SLIP_MM
              ) -> tuple[Event, ...]:
    """The events of a path, of some kinds, in the order of the ram's displacement.

    ``least_mm``: how far a link has slipped, parted, been crushed or yielded before it counts.
    """
    ram, found, seen = path.ram, list[Event](), set[tuple[str, str]]()
    if not path.points or path.peak_N <= 0.0:
        return ()
    stood = _Stood.of(path)
    links, hinges = ram.plain.links.links, ram.plain.links.hinges
    built, carried = ram.plain.gap, np.zeros(ram.plain.n, dtype=bool)
    for number, (before, after) in enumerate(pairwise(path.points)):
        piece = _Piece(path, number + 1)
        carried |= before.answer.force > CARRIES * max(abs(after.load_N), abs(before.load_N))
        for kind in (k for k in KINDS if k in kinds):
            named = hinges if kind == "hinge" else links
            groups: dict[str, list[int]] = {}
            for i in np.flatnonzero(_happened(piece, stood, kind, least_mm, carried, after,
                                              built)):
                groups.setdefault(_source(named, int(i)), []).append(int(i))
            for source, members in groups.items():
                if (kind, source) in seen:
                    continue
                seen.add((kind, source))
                values = partial(_values, piece, stood, kind, least_mm)
                at, load = piece.first_zero(partial(_largest, values, members))
                # The member that is furthest beyond there.
                near = next(s for s in piece.known if s.place >= at - 1e-12 or s is after.state)
                first = members[int(np.argmax(values(near)[members]))]
                found.append(_event(kind, load, at - path.zero, source, named, first))
        snapped = _snap(path, piece, number) if "snap" in kinds else None
        if snapped is not None:
            found.append(snapped)
    if "peak" in kinds and path.peak_status == "found":
        top = next(p for p in path.points if p.load_N >= path.peak_N * (1 - PLATEAU * FINE))
        found.append(Event("peak", top.load_N, top.ram_mm, (np.nan, np.nan), "ram"))
    return tuple(sorted(found, key=lambda e: e.ram_mm))


def standing(path: Path) -> tuple[Event, ...]:
    """What stands at its bound before any load, since it was tightened: one event of each kind and
    source, under no load, at the link or hinge that carries most."""
    if not path.points:
        return ()
    p, stood, a = path.ram.plain, _Stood.of(path), path.points[0].answer
    rubs, moment, found = p.friction > 0, np.abs(_moment(path.ram, a)), list[Event]()
    for kind, which, size in (
            ("slip", rubs, np.abs(a.force)), ("crushing", p.opens, a.force),
            ("yield", ~p.opens & ~rubs, np.abs(a.force)), ("hinge", moment >= 0.0, moment)):
        at = stood.hinges if kind == "hinge" else stood.links
        named = p.links.hinges if kind == "hinge" else p.links.links
        most: dict[str, int] = {}
        for i in np.flatnonzero(which & (at != 0)):
            source = _source(named, int(i))
            if source not in most or size[i] > size[most[source]]:
                most[source] = int(i)
        found += [_event(kind, 0.0, 0.0, source, named, i) for source, i in most.items()]
    return tuple(found)


def _largest(values: Callable[[Pressed], FloatArray], members: list[int], state: Pressed) -> float:
    return float(values(state)[members].max())


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
    moved = _movements(ram, after)
    if not moved.size or number == 0:
        return None
    longer = (after.ram_mm - before.ram_mm) / (before.ram_mm - path.points[number - 1].ram_mm)
    moved[moved < SNAP_TIMES * longer * _movements(ram, before)] = 0.0
    which = int(np.argmax(moved))
    if moved[which] < SNAP_MM:
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
