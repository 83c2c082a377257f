"""How long a comparison takes, said while it is worth knowing and corrected where it was wrong."""

from __future__ import annotations

from collections.abc import Callable

from buttress.words import duration

LONG = 20.0
"""Seconds from which on an estimate is worth a line."""
SEEN = 0.12
"""Share of the work after which the pace is known well enough to tell by."""
OFF = 1.5
"""Factor by which an estimate may be wrong before it is corrected aloud."""


class Cost:
    """Estimates the whole from the parts that are done, by their weights; that of a bone is 1.

    Parts of the same weight differ by how hard they are to solve, so that what is left is taken at
    the pace of what is done, and the estimate is corrected after every part that shows it wrong.
    ``called``: what takes so long.
    """

    def __init__(self, weight: float, workers: int, say: Callable[[str], None],
                 called: str = "to solve all constructs") -> None:
        self.whole, self.workers, self.say, self.called = weight, max(1, workers), say, called
        self.done = self.seconds = 0.0
        self.said: float | None = None

    def spent(self, weight: float, seconds: float, last: bool = False) -> None:
        """A part is done, in so many seconds of its process."""
        self.done += weight
        self.seconds += seconds
        whole = self.seconds / self.done * self.whole / self.workers
        known = self.said is not None or (whole >= LONG and self.done >= SEEN * self.whole)
        if last or not known:
            return
        on = f" on {self.workers} workers" if self.workers > 1 else ""
        if self.said is None:
            self.said = whole
            self.say(f"about {duration(whole)} {self.called}{on}")
        elif not self.said / OFF < whole < self.said * OFF:
            self.say(f"about {duration(whole)} {self.called}{on}, judging by the constructs so far "
                     f"({duration(self.said)} was the first estimate)")
            self.said = whole
