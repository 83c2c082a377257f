"""The sentence that a researcher would quote from a ranking."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from constructs.certainty import Indices
    from constructs.rank import Against, Driven

SURE = 0.5
"""From this share of the variance on, an input is said to decide most of it."""


def sentence(load: float, reference: str, against: Sequence[Against], driven: Sequence[Driven],
             samples: int) -> str:
    """Reference against its nearest rival, with the interval, and what decides the rest."""
    rival = min(against, key=lambda a: (1.0 - a.sinks_less.share, -a.sinks_less.samples))
    beats = 1.0 - rival.sinks_less.share
    low, high = 1.0 - rival.sinks_less.high, 1.0 - rival.sinks_less.low
    words = (f"At {load:.0f} N '{reference}' does no worse than '{rival.construct}' in "
             f"{beats:.0%} of {samples} samples (95 % interval {low:.0%} to {high:.0%})")
    if rival.subsidence_mm.mean is not None:
        mean = -rival.subsidence_mm.mean
        word = "less" if mean >= 0 else "more"
        words += (f"; where both hold ({rival.both_held} samples) it sinks {abs(mean):.2g} mm {word} "
                  f"in the mean ({_reach(rival)})")
    loose = rival.only_reference + rival.neither
    if loose:
        words += f"; '{rival.construct}' lets go in {loose} samples"
    lost = rival.only_this + rival.neither
    if lost:
        words += f"; '{reference}' lets go in {lost} samples"
    return words + _cause(rival.construct, driven) + "."


def _reach(rival: Against) -> str:
    low, high = rival.subsidence_mm.low, rival.subsidence_mm.high
    assert low is not None
    assert high is not None
    return f"95 % interval {-high:.2g} to {-low:.2g} mm"


def _cause(name: str, driven: Sequence[Driven]) -> str:
    found = next((d.sinks_less for d in driven if d.construct == name), None)
    if found is None:
        return ""
    if found.total is None:
        return "; no sampled input changes that"
    return "; " + _most(found)


def _most(found: Indices) -> str:
    assert found.total is not None
    order = sorted(range(len(found.inputs)), key=lambda i: -found.total[i, 0])
    first, second = order[0], order[1] if len(order) > 1 else order[0]
    share, low, high = (min(1.0, max(0.0, float(x))) for x in found.total[first])
    told = f"{found.inputs[first]} "
    if found.total[first, 1] > found.total[second, 2]:
        told += "decides the rest" if share >= SURE else "matters most for the rest"
    else:
        told += f"and {found.inputs[second]} seem to matter most for the rest"
    return told + f" (total index {share:.2f}, 95 % interval {low:.2f} to {high:.2f})"
