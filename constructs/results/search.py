"""Loads at which something happens to a construct, read along its path."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from buttress.fe.solve.answer import Answer
from buttress.fe.solve.path import FAR, PLATEAU, RISES, Point
from buttress.fe.solve.reached import at_place
from buttress.fe.status import Status
from buttress.model.model import Model
from buttress.model.pressing import SEARCH_LIMIT_N, Pressing
from buttress.results.records import (
    BEYOND,
    ENDED,
    FOUND,
    GAVE_WAY,
    HELD_BY_NOTHING,
    NOT_KNOWN,
    NOT_LOADED,
    NOT_TIGHTENED,
    UNDECIDED,
    LimitResult,
    Where,
)
from buttress.study.activities import carried, newtons

VALUE_TOLERANCE, PLACE_TOLERANCE, REACHES = 1e-4, 1e-6, 30
"""A limit is reached where its figure is this close to it, or the ram within this share of a step
of where it is."""
NOT_FOUND = "not found"
"""First words of the reason why the load at a limit is not known."""
LEAST_N = 1.0
"""A construct that does not carry this load is not supported at all."""
NEAR = 0.01
"""The load at a limit counts as found where it lies between two that differ by this share, or by
`LEAST_N`, though answers between them did not converge."""
MORE_THAN_NONE_N = 1e-9
"""What is reached as soon as a construct is pressed is not reached without any load."""


@dataclass(frozen=True)
class Reading:
    """A figure of an answer, and where it is largest."""

    value: float
    where: Where


@dataclass(frozen=True)
class Gauge:
    """A figure with its limit. ``read`` gives None where the section has no such figure."""

    name: str
    key: str
    limit: float
    unit: str
    read: Callable[[Answer], Reading | None]
    costly: bool = False
    """Whether reading it takes long; it is then taken to rise steadily along the path."""


def not_found(limit: LimitResult) -> bool:
    """Whether the load at a limit was not found, since answers did not converge."""
    return limit.missing.startswith(NOT_FOUND)


def without_load(model: Model) -> str:
    """Why a construct carries no load at all, in words."""
    if model.tightened is None or model.tightened.held:
        return HELD_BY_NOTHING
    status = unloaded_status(model)
    return NOT_LOADED.get(status, status)


def unloaded_status(model: Model) -> str:
    """Status of a construct that is not loaded, or of which that is not known."""
    known = model.tightened is None or model.tightened.status == Status.NO_EQUILIBRIUM
    return ((NOT_TIGHTENED, GAVE_WAY) if known else UNDECIDED)[model.gave_way]


@dataclass(frozen=True)
class Reached:
    """Where along the path a gauge is at its limit: the load there, its reading, the answer.

    ``carried_N``: the largest load that was carried up to there.
    """

    load_N: float
    reading: Reading
    ram_mm: float
    carried_N: float


class Search:
    """What happens along the path of a construct; ``lost``: with friction lost after tightening.

    ``ends_status``: `FOUND` (the load has a peak), `ENDED` (it rises to the end of the ram's way,
    or to where what comes next would move farther than small movements allow: more is not held),
    `BEYOND` (it still rises at ``most`` [N], up to where the path is pressed) or `NOT_KNOWN`.
    ``known_to``: the largest load that the path carries [N].
    """

    lost = False

    def __init__(self, model: Model, most: float = SEARCH_LIMIT_N, lost: bool = False) -> None:
        self.model, self.most, self.lost = model, most, lost
        self.points: tuple[Point, ...] = ()
        self.ends_status, self.known_to = NOT_KNOWN, 0.0
        tightened = model.tightened
        if tightened is not None and not tightened.held:
            self.ends_status = FOUND if tightened.status == "no equilibrium" else NOT_KNOWN
            return
        if lost and model.slippery is None:
            self.ends_status = FOUND
            return
        self.path = path = self.pressing.up_to(most)
        self.points = path.points
        if self.points:
            self.known_to = max(p.load_N for p in self.points)
            if path.peak_status == "beyond the search":
                self.known_to = min(self.known_to, most)
            self.ends_status = {"found": FOUND, "beyond the search": BEYOND, RISES: ENDED}.get(
                path.peak_status, NOT_KNOWN)
            if self.ends_status in (ENDED, NOT_KNOWN):
                # Limit analysis bounds every load, however far its screws are stretched.
                bound = model.capacity(frictionless=lost, rising=True).factor
                # Moved pieces may find what holds them better.
                small = path.moves_from is None
                if small and bound is not None and self.known_to >= (1.0 - PLATEAU) * bound:
                    self.ends_status = FOUND
                elif path.stopped in FAR:
                    self.ends_status = ENDED
            # The last point on the plateau of the peak.
            self.peak = max(i for i, p in enumerate(self.points)
                            if p.load_N >= (1.0 - PLATEAU) * self.known_to)
            if self.ends_status in (FOUND, ENDED) and self.known_to < LEAST_N:
                self.known_to, self.ends_status = 0.0, FOUND

    @property
    def pressing(self) -> Pressing:
        """What its path is pressed by."""
        return self.model.slippery or self.model.pressing if self.lost else self.model.pressing

    @property
    def ends(self) -> float | None:
        """The largest load of the path [N]; None if none up to ``most`` or not known."""
        return self.known_to if self.ends_status in (FOUND, ENDED) else None

    def reach(self, gauge: Gauge, past_peak: bool = False) -> Reached | str:
        """The first place along the path where a gauge reaches its limit; the words why none.

        ``past_peak``: also after the largest load, which only a ram goes past.
        """
        if not self.points:
            return (without_load(self.model) if self.ends_status == FOUND
                    else f"{NOT_FOUND}: answers did not converge")
        if self.known_to == 0.0 and self.ends_status == FOUND and not past_peak:
            return without_load(self.model)
        last = len(self.points) - 1 if past_peak else self.peak
        values: dict[int, Reading] = {}

        def over(number: int) -> bool | str:
            if number not in values:
                found = self._read(gauge, self.points[number])
                if isinstance(found, str):
                    return found
                values[number] = found
            return values[number].value >= gauge.limit

        first = self._first(over, last, gauge.costly)
        if isinstance(first, str):
            return first
        if first is None:
            return self._not_reached(past_peak)
        if first == 0:
            return Reached(0.0, values[0], 0.0, 0.0)
        found = self._between(gauge, first, values[first - 1], values[first])
        if isinstance(found, Reached) and found.load_N > self.most and not past_peak:
            return self._not_reached(past_peak)
        return found

    def reach_by(self, gauge: Gauge) -> tuple[Reached | str, bool]:
        """As `reach`, up to the largest load; where that place was not found, the first point of
        the path by which the limit is reached, and True."""
        found = self.reach(gauge)
        if isinstance(found, str) and found.startswith(NOT_FOUND) and self.points:
            for number, point in enumerate(self.points[:self.peak + 1]):
                reading = self._read(gauge, point)
                if isinstance(reading, Reading) and reading.value >= gauge.limit:
                    return Reached(point.load_N, reading, point.ram_mm,
                                   self._carried(number, point)), True
        return found, False

    def _first(self, over: Callable[[int], bool | str], last: int, costly: bool
               ) -> int | str | None:
        """Number of the first point over a limit."""
        if not costly:
            for number in range(last + 1):
                found = over(number)
                if isinstance(found, str):
                    return found
                if found:
                    return number
            return None
        low, high = -1, last
        found = over(last)
        if isinstance(found, str) or not found:
            return found if isinstance(found, str) else None
        while high - low > 1:
            middle = (low + high) // 2
            found = over(middle)
            if isinstance(found, str):
                return found
            low, high = (low, middle) if found else (middle, high)
        if high > 0:
            over(high - 1)
        return high

    def _between(self, gauge: Gauge, number: int, low: Reading, high: Reading) -> Reached | str:
        """False position (Illinois) between two points: exact in one step where it is linear."""
        before, after = self.points[number - 1], self.points[number]
        a, b = before.ram_mm, after.ram_mm
        fa, fb = low.value / gauge.limit - 1.0, high.value / gauge.limit - 1.0
        best, reading, kept = after, high, 0
        close: Point | None = None
        under = self._carried(number)
        for _ in range(REACHES):
            if abs(fb) <= VALUE_TOLERANCE or b - a <= PLACE_TOLERANCE * (after.ram_mm
                                                                        - before.ram_mm):
                break
            middle = min(max((a * fb - b * fa) / (fb - fa), a + 0.01 * (b - a)),
                         b - 0.01 * (b - a))
            point = at_place(self.path, number, middle, close)
            if point is None:
                middle = 0.5 * (a + b)
                point = at_place(self.path, number, middle, close)
            if point is None:
                least = self._carried(number, best)
                if least - under <= max(LEAST_N, NEAR * least):
                    break
                return f"{NOT_FOUND}: answers did not converge near it"
            if close is None or point.ram is not close.ram:
                close = point       # the one that has its own geometry
            found = self._read(gauge, point)
            if isinstance(found, str):
                return found
            over = found.value / gauge.limit - 1.0
            if abs(over) <= VALUE_TOLERANCE or over >= 0.0:
                best, reading = point, found
            if abs(over) <= VALUE_TOLERANCE:
                break
            if over < 0.0:
                under = max(under, point.load_N)
                a, fa, fb, kept = middle, over, fb / 2 if kept < 0 else fb, -1
            else:
                b, fb, fa, kept = middle, over, fa / 2 if kept > 0 else fa, 1
        return Reached(best.load_N, reading, best.ram_mm,
                       max(self._carried(number, best), MORE_THAN_NONE_N))

    def _carried(self, number: int, *others: Point) -> float:
        """The largest load [N] of the points before one, and of others."""
        return max((p.load_N for p in (*self.points[:number], *others)), default=0.0)

    def _not_reached(self, past_peak: bool) -> str:
        top = self.known_to
        if past_peak:
            return f"not reached when the ram has moved {self.points[-1].ram_mm:.2g} mm"
        return {BEYOND: f"not reached below {newtons(self.most)} N",
                ENDED: f"not reached up to {carried(top)} N, beyond which parts move "
                       "farther than this model follows",
                FOUND: f"not reached before the peak at {carried(top)} N",
                NOT_KNOWN: f"not reached up to {carried(top)} N, above which the path is "
                           "not known"}[self.ends_status]

    def between(self, gauge: Gauge) -> tuple[float, float | None]:
        """Of the path's points, the largest load [N] up to which a gauge is within its limit, and
        the load from which on it has been over it; None where no point tells."""
        kept = 0.0
        for point in self.points:
            found = self._read(gauge, point)
            if isinstance(found, str):
                break
            if found.value >= gauge.limit:
                return kept, max(kept, point.load_N)
            kept = max(kept, point.load_N)
        return kept, None

    def _read(self, gauge: Gauge, point: Point) -> Reading | str:
        """The reading of a gauge at a point, at the first that of the tightened construct.

        Nothing has happened there yet where no force acts; a plate that does not fit is drawn in
        also by screws that nothing tightens.
        """
        if (point is self.points[0] and self.model.tightened is None
                and not point.answer.force.any()):
            return Reading(0.0, Where("", None))
        answer = self.pressing.since_tightened(point)
        return gauge.read(answer) or "this section or construct has no such figure"
