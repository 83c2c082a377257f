"""The sentence that a researcher would quote from a ranking."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from constructs.certainty import SAME, Difference
from constructs.plurals import counted

if TYPE_CHECKING:
    from constructs.rank import Against, Driven, Standing

FloatArray = np.ndarray
SURE = 0.5
"""From this share of the variance on, an input is said to decide most of it."""


def sentence(load: float, reference: str, against: Sequence[Against], driven: Sequence[Driven],
             standings: Sequence[Standing], samples: int) -> str:
    """Reference against the best of the others, with the interval, and what decides the rest.

    ``against`` comes best first. The median is quoted: a mean may be that of one sample.
    """
    loss = {s.construct: round(samples * (s.holds.share - s.keeps_all.share)) for s in standings}
    rival = against[0]
    loose = rival.only_reference + rival.neither
    more = rival.sinks_more
    words = (f"At {load:.0f} N '{reference}' sinks less than '{rival.construct}'"
             + (", or holds where that does not," if loose else "")
             + f" in {100 * more.share:.0f} % of {samples} samples (95 % interval "
             f"{100 * more.low:.0f} to {100 * more.high:.0f} %)")
    if rival.subsidence_mm.median is not None:
        median = -rival.subsidence_mm.median
        words += (f"; where both hold ({counted(rival.both_held, 'sample')}) it sinks "
                  f"{abs(median):.2g} mm {'less' if median <= 0 else 'more'} in the median "
                  f"({_reach(rival.subsidence_mm)})")
    if loose:
        words += f"; '{rival.construct}' lets go in {counted(loose, 'sample')}"
    lost = rival.only_this + rival.neither
    if lost:
        words += f"; '{reference}' lets go in {counted(lost, 'sample')}"
    if rival.unanswered:
        words += f"; there is no answer of one of them in {counted(rival.unanswered, 'sample')}"
    for name in (rival.construct, reference):
        if loss[name]:
            words += f"; '{name}' holds but breaks a limit in {counted(loss[name], 'sample')}"
    return words + _cause(rival.construct, driven) + "."


def _reach(found: Difference) -> str:
    if found.middle is None:
        return "too few for an interval"
    low, high = found.middle
    return f"95 % interval of its difference {0.0 - high:.2g} to {0.0 - low:.2g} mm"


def _cause(name: str, driven: Sequence[Driven]) -> str:
    found = next((d.sinks_less for d in driven if d.construct == name), None)
    if found is None or found.note == SAME:
        return ""
    if found.total is None:
        return "; the other samples are too few to tell what decides between the two"
    if not found.settled:
        return "; so few samples do not settle what decides the rest"
    return "; " + _most(found.inputs, found.total)


def _most(inputs: Sequence[str], total: FloatArray) -> str:
    """The input with the largest total index, as far as the intervals tell it from the next."""
    order = sorted(range(len(inputs)), key=lambda i: -total[i, 0])
    first, second = order[0], order[1] if len(order) > 1 else order[0]
    share, low, high = (min(1.0, max(0.0, float(x))) for x in total[first])
    if first == second or total[first, 1] > total[second, 2]:
        told = f"{inputs[first]} " + ("decides the rest" if share >= SURE
                                      else "matters most for the rest")
    else:
        told = f"{inputs[first]} seems to matter most for the rest, which more samples must show"
    return told + f" (total index {share:.2f}, 95 % interval {low:.2f} to {high:.2f})"
