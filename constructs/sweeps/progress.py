"""Progress of a sweep on a terminal."""

from __future__ import annotations

from collections.abc import Callable
from time import perf_counter

from buttress.words import counted, duration

EVERY, SLOWER = 2.0, 15.0
"""Seconds between progress lines, and the factor by which the interval grows during a run."""
MEASURED, OFF = 5, 1.5
"""Cases and seconds after which an estimate is corrected where it is off by more than a factor."""


class Progress:
    """Progress lines: number of cases, rate, time left, and that an estimate was wrong."""

    def __init__(self, total: int, say: Callable[[str], None], said: float | None = None,
                 begun: int = 0) -> None:
        self.total, self.say, self.said = total, say, said
        self.done = self.begun = begun     # what was solved before the clock runs
        self.start = self.last = self.first = perf_counter()

    def step(self) -> None:
        """Record one more completed case."""
        self.done += 1
        now = perf_counter()
        here = self.done - self.begun
        if here == 1:
            self.first = now
        self._correct(now)
        every = EVERY * min(SLOWER, 1.0 + (now - self.start) / 40.0)
        if now - self.last >= every or self.done == self.total:
            self.last = now
            # From the first case on: starting the workers and meshing come before it.
            rate = (here - 1) / max(now - self.first, 1e-9)
            pace = f", {rate:.3g} per second, {duration((self.total - self.done) / rate)} left" \
                if rate else ""
            self.say(f"{self.done} of {counted(self.total, 'case')}{pace}")

    def _correct(self, now: float) -> None:
        """Say what the first cases show, once, where it is far from what was estimated."""
        passed = now - self.first
        here, total = self.done - self.begun, self.total - self.begun
        if self.said is None or here < MEASURED or passed < MEASURED:
            return
        whole = self.first - self.start + passed * (total - 1) / (here - 1)
        if not self.said / OFF < whole < self.said * OFF:
            self.say(f"about {duration(whole)} in all, judging by the first {self.done} cases "
                     f"({duration(self.said)} was the first estimate)")
        self.said = None
