"""Loads at which something happens: where equilibrium ends, where a limit is reached."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from buttress.fe.solve.answer import Answer
from buttress.fe.solve.strategy import FEW_LINKS
from buttress.fe.status import Status
from buttress.model.model import Model
from buttress.results.reader import Reader
from buttress.results.records import (
    BEYOND,
    CANNOT_TIGHTEN,
    FOUND,
    HELD_BY_NOTHING,
    NOT_KNOWN,
    LimitResult,
    Where,
)
from buttress.study.activities import newtons

SEARCH_LIMIT_N = 10_000.0
"""Loads are searched up to here: about ten times body weight, beyond any activity of the knee."""
BISECTIONS = 12
VALUE_TOLERANCE, LOAD_TOLERANCE, REACHES = 1e-4, 1e-6, 40
"""A limit is reached where its figure is this close to it, or this much of the load over it."""
CLOSE = 1e-3
"""Share of the bound of limit analysis within which that proves the end of equilibrium."""
LEAST_N = 1.0
"""A construct that does not hold this load is held by nothing."""
NOT_FOUND = "not found"
"""How the words begin why a limit whose search did not converge has no load."""


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
    known: dict[float, float]    # values at loads that were read already


def not_found(limit: LimitResult) -> bool:
    """Whether the search of a limit did not converge."""
    return limit.missing.startswith(NOT_FOUND)


def _ending(answer: Answer) -> str:
    return FOUND if answer.status == Status.NO_EQUILIBRIUM else NOT_KNOWN


def without_load(model: Model) -> str:
    """Why a construct that holds no load at all does not, in words."""
    if model.tightened is None or model.tightened.held:
        return HELD_BY_NOTHING
    return (CANNOT_TIGHTEN if model.tightened.status == Status.NO_EQUILIBRIUM
            else "tightening did not converge")


class Search:
    """Loads at which something happens, found from the study's own ``answers`` on.

    Only an answer of no equilibrium ends the search: while it is narrowed down, a load that a
    neighbour's states do not answer counts as not held, but where that ends, all starts have
    their say, Lemke's method only where links are few. If none converges, the end is not known.
    It starts at the largest load of the study that is held. ``known_to``: largest load held [N].
    """

    def __init__(self, reader: Reader, model: Model, upper: float | None,
                 answers: dict[float, Answer]) -> None:
        self.reader, self.model, self.upper = reader, model, upper
        self.held = [p for p, a in answers.items() if a.held]
        self.known: dict[float, Answer] = {p: answers[p] for p in self.held}
        self.ends_status, self.known_to = self._find_end(max(self.held, default=0.0))

    @property
    def ends(self) -> float | None:
        """Largest load held by stepwise loading [N], None if beyond the search or not known."""
        return self.known_to if self.ends_status == FOUND else None

    def answer(self, total: float, quick: bool = True, brief: bool = False) -> Answer:
        """Answer at a load, followed from the nearest one that is known to hold."""
        if total not in self.known:
            nearest = min(self.known, key=lambda p: abs(p - total), default=None)
            near = None if nearest is None else self.known[nearest]
            found = self.model.answer(total, near, quick, brief)
            if not found.held:
                return found
            self.known[total] = found
        return self.known[total]

    def _find_end(self, good: float) -> tuple[str, float]:
        """What is known of the end of equilibrium, and the largest load known to be held [N]."""
        if good == 0.0:
            found = self.answer(good := LEAST_N, quick=False)
            if not found.held:
                return _ending(found), 0.0
        # Limit analysis bounds the load from above, so the search ends there at the latest.
        bound = max(good, np.inf if self.upper is None else self.upper)
        if bound > SEARCH_LIMIT_N and self.answer(SEARCH_LIMIT_N).held:
            return BEYOND, SEARCH_LIMIT_N
        top = min(bound, max(good, SEARCH_LIMIT_N))
        while True:
            good, bad = self._bisect(good, top, lambda p: self.answer(p, brief=True).held)
            if good >= (1.0 - CLOSE) * bound:
                return FOUND, good
            found = self._decided(bad)
            if not found.held:
                return _ending(found), good
            good = bad
            if good >= top:
                return BEYOND, good

    def _decided(self, total: float) -> Answer:
        """The answer where the search would end; with many links Lemke's method takes too long."""
        if self.model.problem.n > FEW_LINKS:
            return self.answer(total)
        found = self.answer(total, quick=False, brief=True)
        return found if found.status != Status.UNCONVERGED else self.answer(total, quick=False)

    def _bisect(self, good: float, bad: float, is_good: Callable[[float], bool]
                ) -> tuple[float, float]:
        for _ in range(BISECTIONS):
            middle = 0.5 * (good + bad)
            good, bad = (middle, bad) if is_good(middle) else (good, middle)
        return good, bad

    def reach(self, gauge: Gauge) -> tuple[float, Reading] | str:
        """Least load [N] at which a gauge that rises with the load reaches its limit, and its
        reading there; the words why there is none.

        Bracketed between loads of the study and the end of the search, then false position
        (Illinois): exact in one step where the figure is linear in the load.
        """
        top = self.known_to
        if top == 0.0 and self.ends_status == FOUND:
            return without_load(self.model)
        low, below = 0.0, -1.0
        for load in sorted({0.0, top, *(p for p in self.held if p < top)}):
            over = self._over(gauge, load)
            if isinstance(over, str):
                return over
            if over >= 0.0:
                return self._between(gauge, (low, below), (load, over))
            low, below = load, over
        return {BEYOND: f"not reached below {newtons(top)} N",
                FOUND: f"not reached before it lets go at {newtons(top)} N",
                NOT_KNOWN: f"not reached up to {newtons(round(top))} N, above which equilibrium is "
                           "not known"}[self.ends_status]

    def kept_to(self, gauge: Gauge) -> float:
        """Largest load [N] that was solved up to which a gauge is within its limit."""
        kept = 0.0
        for load in sorted(self.known):
            over = self._over(gauge, load)
            if isinstance(over, str) or over >= 0.0:
                break
            kept = load
        return kept

    def _between(self, gauge: Gauge, low: tuple[float, float], high: tuple[float, float]
                 ) -> tuple[float, Reading] | str:
        (a, fa), (b, fb), kept = low, high, 0
        for step in range(REACHES):
            if fb <= VALUE_TOLERANCE or b - a <= LOAD_TOLERANCE * b:
                break
            middle = 0.5 * (a + b) if step % 4 == 3 else (a * fb - b * fa) / (fb - fa)
            for _ in range(3):
                over = self._over(gauge, middle)
                if not isinstance(over, str):
                    break
                middle = 0.5 * (a + middle)   # a load without an answer: nearer to one that has it
            if isinstance(over, str):
                return over
            if abs(over) <= VALUE_TOLERANCE:
                b = middle
                break
            if over < 0.0:
                a, fa, fb, kept = middle, over, fb / 2 if kept < 0 else fb, -1
            else:
                b, fb, fa, kept = middle, over, fa / 2 if kept > 0 else fa, 1
        reading = self._read(gauge, b)
        return reading if isinstance(reading, str) else (b, reading)

    def _over(self, gauge: Gauge, load: float) -> float | str:
        """A gauge over its limit less 1 at a load; words where there is none."""
        if load not in gauge.known:
            reading = self._read(gauge, load)
            if isinstance(reading, str):
                return reading
            gauge.known[load] = reading.value
        return gauge.known[load] / gauge.limit - 1.0

    def _read(self, gauge: Gauge, load: float) -> Reading | str:
        """The reading of a gauge at a load, at 0 N that of the tightened construct."""
        if load == 0.0:
            if self.model.tightened is None:
                return Reading(0.0, Where("", None))
            answer = self.model.tightened
        else:
            answer = self.answer(load)
            if not answer.held:
                return f"{NOT_FOUND}: answers did not converge near it"
        return gauge.read(answer) or "no such figure in this section or construct"
