"""What a search for a better placement has found."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from buttress import LABEL
from buttress.display import Displayed
from buttress.fe.arrays import FloatArray
from buttress.improving.free import Free, own_key, shares_of
from buttress.results.order import TIE
from buttress.words import counted, marked, minus

SOLVED, REFUSED, UNKNOWN, LEFT = "solved", "refused", "not known", "left"
SEARCH = ("An educational search within a simplified model: where in this model a placement does "
          "better, by one figure. It says nothing about a patient.")
WORDS = {"reserve": ("reserve", "N"), "peak": ("peak load", "N"),
         "stiffness": ("secant stiffness", "N/mm")}
"""What constructs may be improved by, in words and with the unit."""


@dataclass(frozen=True)
class Placement:
    """A placement: a value of each free key, and what came of it.

    ``status``: "solved", "refused" (it cannot be built, or breaks a rule of the trade), "not known"
    or "left". ``value``: of the quantity, the worst of all samples of bone; ``bound``: whether it
    is only a lower bound, since loads are not pressed further.
    """

    values: tuple[float | int, ...]
    status: str
    value: float | None = None
    bound: bool = False
    reason: str = ""


@dataclass(frozen=True, repr=False)
class Improved(Displayed):
    """A search: its placements in the order in which they were tried, the start first.

    ``by``: the quantity; ``bones``: number of samples of uncertain bone, 1 for the study's own;
    ``broken``: rules of the trade that the start breaks; ``misses``: median size of the error of
    the estimate between placements, each left out once, None where there are too few; ``path``:
    the store; ``interrupted``: placements are left.
    """

    brief = ("study", "construct", "by", "start", "best")

    study: str
    construct: str
    by: str
    free: tuple[Free, ...]
    coupled: dict[str, str]
    placements: tuple[Placement, ...]
    bones: int
    seed: int
    broken: tuple[str, ...]
    misses: float | None
    path: Path
    interrupted: bool

    @property
    def start(self) -> Placement:
        """The study's own placement."""
        return self.placements[0]

    @property
    def best(self) -> Placement | None:
        """The best of those that are solved, and the start where no other is better; None where
        none is solved. A start that breaks rules is not among them."""
        tried = self.placements[1:] if self.broken else self.placements
        solved = [p for p in tried if p.status == SOLVED]
        # The first of equals, which is the start where it is among them.
        return max(solved, key=lambda p: p.value or 0.0, default=None)

    @property
    def gain(self) -> float | None:
        """By which share the best does better than the start; None where one of them is not known
        or the start carries nothing."""
        best = self.best
        if best is None or best.value is None or not self.start.value:
            return None
        return best.value / self.start.value - 1.0

    @property
    def beyond_tie(self) -> bool:
        """Whether the best is better by more than loads of two constructs that share a rank."""
        best, start = self.best, self.start
        return (best is not None and best.value is not None and start.value is not None
                and not start.bound and best.value > (1.0 + TIE) * start.value)

    @property
    def counts(self) -> dict[str, int]:
        """Numbers of placements by status."""
        found = Counter(p.status for p in self.placements)
        return {status: found[status] for status in (SOLVED, REFUSED, UNKNOWN, LEFT)}

    @property
    def shares(self) -> FloatArray:
        """Places ``(n, d)`` of the placements between the bounds."""
        return shares_of(self.free, [p.values for p in self.placements])

    def shown(self, placement: Placement) -> str:
        """Its value with the unit, marked where it is a lower bound."""
        if placement.value is None:
            return placement.status
        return f"{'≥ ' if placement.bound else ''}{placement.value:.0f} {WORDS[self.by][1]}"

    @property
    def tied(self) -> bool:
        """Whether the largest found is more than the start, but within the width of a tie."""
        return (self.best is not self.start and self.gain is not None and self.gain > 0.0
                and not self.beyond_tie)

    def _first_refused(self) -> str:
        """Which placement was refused first, and why, in a clause."""
        first = next((p for p in self.placements if p.status == REFUSED and p.reason), None)
        if first is None:
            return ""
        at = ", ".join(f"{f.key} = {v:g}" for f, v in zip(self.free, first.values, strict=True))
        return f" (first refused: {minus(at)}: {first.reason})"

    def sentences(self) -> list[str]:
        """What was found, in words."""
        of = WORDS[self.by][0] + (
            f", the least over {self.bones} samples of bone" if self.bones > 1 else "")
        tried = self.counts
        out = [f"{marked(self.construct, bool(self.broken))}: {of}",
               f"{counted(len(self.placements), 'placement')}: " + ", ".join(
                   f"{n} {status}" for status, n in tried.items() if n or status != LEFT)
               + self._first_refused(),
               f"start: {self.shown(self.start)}" + (
                   f"; it breaks a rule of the trade ({'; '.join(self.broken)})"
                   if self.broken else "")]
        other = [f.key for f in self.free if not own_key(f.key, self.construct)]
        if other:
            out.append(f"not of the construct but of bone, fracture or load: {', '.join(other)}; "
                       "the search changes the case and not only how it is fixed")
        best, gain = self.best, self.gain
        width = f"the width of a tie ({100 * TIE:g} %)"
        if best is None:
            return [*out, "no placement within the bounds has an answer"]
        if self.start.status != SOLVED:
            out.append(f"largest found: {self.shown(best)}; how much more that is than at the "
                       "start is not known")
        elif best is self.start or not gain or gain <= 0.0:
            return [*out, "no placement tried does better than the start"]
        else:
            more = f"largest found: {self.shown(best)}, {100 * gain:.1f} % more than the start, "
            out.append(more + ("beyond " if self.beyond_tie else "which is no difference: within ")
                       + width)
        if best.bound:
            reach = sum(p.bound and p.value == best.value for p in self.placements)
            out.append(f"{counted(reach, 'placement')} reach the end of the range that is pressed, "
                       "so that they are not told apart")
        bounds = [f.key for f, v in zip(self.free, best.values, strict=True) if f.at_bound(v)]
        if bounds:
            out.append(f"it lies at a bound of {', '.join(bounds)}: wider bounds may hold more")
        if self.misses is not None:
            out.append(f"between placements the picture's estimate is off by about "
                       f"{self.misses:.0f} {WORDS[self.by][1]} (median, each left out once)")
        return out

    def rows(self) -> list[tuple[str, str, str, str]]:
        """Each free key with its bounds, its value at the start and at the largest found."""
        best = self.best
        return [(f.key, minus(f"{f.low:g} to {f.high:g}"), minus(f"{f.start:g}"),
                 "-" if best is None else minus(f"{best.values[i]:g}"))
                for i, f in enumerate(self.free)]

    def document(self) -> dict[str, Any]:
        """For JSON."""
        best = self.best
        return {"label": LABEL, "search": SEARCH, "study": self.study, "construct": self.construct,
                "by": self.by, "unit": WORDS[self.by][1], "samples_of_bone": self.bones,
                "seed": self.seed, "counts": self.counts, "sentences": self.sentences(),
                "free": [{"key": f.key, "low": f.low, "high": f.high, "start": f.start,
                          "found": None if best is None else best.values[i]}
                         for i, f in enumerate(self.free)],
                "coupled": self.coupled, "start": self.start.value,
                "start_is_lower_bound": self.start.bound, "start_breaks": list(self.broken),
                "found": None if best is None else best.value,
                "found_is_lower_bound": best is not None and best.bound, "gain": self.gain,
                "beyond_tie": self.beyond_tie, "tie": TIE, "misses": self.misses,
                "interrupted": self.interrupted, "store": str(self.path),
                "placements": [{"values": list(p.values), "status": p.status, "value": p.value,
                                "lower_bound": p.bound, "reason": p.reason}
                               for p in self.placements]}


def known(placements: tuple[Placement, ...] | list[Placement]) -> list[int]:
    """Numbers of the placements that have a value."""
    return [i for i, p in enumerate(placements) if p.status == SOLVED and p.value is not None]


def values_of(placements: tuple[Placement, ...] | list[Placement]) -> FloatArray:
    """Values ``(n,)`` of the placements that have one."""
    return np.array([placements[i].value for i in known(placements)], dtype=float)
