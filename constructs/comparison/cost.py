"""How long a comparison takes, said while it is worth knowing and corrected where it was wrong."""

from __future__ import annotations

from collections.abc import Callable

from buttress.words import duration

LONG = 20.0
"""Seconds from which on an estimate is worth a line."""
OFF = 1.5
"""Factor by which an estimate may be wrong before it is corrected aloud."""
SEEN = 0.3
"""Share of the work after which the rate is known well enough to correct by."""


class Cost:
    """Estimates the whole from the parts that are done, by their weights; that of a bone is 1."""

    def __init__(self, weight: float, workers: int, say: Callable[[str], None]) -> None:
        self.whole, self.workers, self.say = weight, max(1, workers), say
        self.done = self.seconds = 0.0
        self.said: float | None = None

    def spent(self, weight: float, seconds: float, last: bool = False) -> None:
        """A part is done, in so many seconds of its process."""
        self.done += weight
        self.seconds += seconds
        whole = self.seconds / self.done * self.whole / self.workers
        if last or (whole < LONG and self.said is None):
            return
        if self.said is None:
            self.said = whole
            self.say(f"about {duration(whole)} in all" + (
                f" on {self.workers} workers" if self.workers > 1 else ""))
        elif self.done >= SEEN * self.whole and not self.said / OFF < whole < self.said * OFF:
            self.say(f"about {duration(whole)} in all, judging by the constructs so far "
                     f"({duration(self.said)} was the first estimate)")
            self.said = whole
