"""The summary sentence of a ranking, for quotation."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from buttress.ranking.certainty import SAME, Difference, Indices
from buttress.ranking.records import Against, Driven, RankResult
from buttress.words import counted

SURE = 0.5
"""Share of the variance above which an input is reported as decisive."""


def sentence(result: RankResult) -> str:
    """The reference against the first of the others, with the interval, and what decides the rest.

    The median is quoted, since a single sample may dominate the mean. Among constructs that fail
    everywhere, none subsides less or more than another.
    """
    samples, load = len(result.samples.shares), result.outcomes.load_N
    if result.none_held == samples:
        silent = [f"there is no answer of '{s.construct}' in {counted(s.unanswered, 'sample')}"
                  for s in result.standings if s.unanswered]
        return "; ".join([f"At {load:.0f} N none of the constructs is held "
                          f"{_of(samples, samples)}", *silent]) + "."
    rival, reference = result.against[0], result.reference
    words = f"At {load:.0f} N " + _order(rival, reference, samples)
    if rival.subsidence_mm.median is not None:
        words += (f"; where both hold ({counted(rival.both_held, 'sample')}) the mean subsidence "
                  f"of '{rival.construct}' minus that of '{reference}' is "
                  f"{rival.subsidence_mm.median:+.2g} mm in the median "
                  f"({_reach(rival.subsidence_mm)})")
    for name, loose in ((rival.construct, rival.only_reference + rival.neither),
                        (reference, rival.only_this + rival.neither)):
        if loose:
            words += f"; '{name}' fails (no equilibrium) in {counted(loose, 'sample')}"
    if rival.neither and rival.both_held + rival.only_this + rival.only_reference:
        words += f", both of them in {rival.neither}"
    if rival.unanswered:
        words += f"; there is no answer of one of them in {counted(rival.unanswered, 'sample')}"
    loss = {s.construct: round(samples * (s.holds.share - s.keeps_all.share))
            for s in result.standings}
    for name in (rival.construct, reference):
        if loss[name]:
            words += f"; '{name}' holds but exceeds a limit in {counted(loss[name], 'sample')}"
    if result.none_keeps:
        words += "; no construct meets all limits " + _of(result.none_keeps, samples)
    return words + _cause(rival.construct, result.driven) + "."


def _order(rival: Against, reference: str, samples: int) -> str:
    """The share of samples in which the reference is ahead of the other."""
    more = rival.sinks_more
    if not (rival.both_held or rival.only_this or rival.only_reference):
        return f"neither '{reference}' nor '{rival.construct}' is held {_of(samples, samples)}"
    share = (f" in {100 * more.share:.0f} % of {samples} samples (95 % interval "
             f"{100 * more.low:.0f} to {100 * more.high:.0f} %)")
    if not rival.both_held:
        return f"'{reference}' holds where '{rival.construct}' does not" + share
    loose = rival.only_reference + rival.neither
    return (f"'{reference}' subsides less than '{rival.construct}'"
            + (", or holds where the latter does not," if loose else "") + share)


def _of(number: int, samples: int) -> str:
    """``in any of the 8 samples``, or ``in 3 of 8 samples``."""
    return f"in any of the {samples} samples" if number == samples else \
        f"in {number} of {samples} samples"


def _reach(found: Difference) -> str:
    if found.middle is None:
        return "too few for an interval"
    low, high = found.middle
    return f"95 % interval {low:+.2g} to {high:+.2g} mm"


def _cause(name: str, driven: Sequence[Driven]) -> str:
    found = next((d.sinks_less for d in driven if d.construct == name), None)
    if found is None or found.note == SAME:
        return ""
    if found.total is None:
        return "; the other samples are too few to determine what decides between the two"
    return "; " + _most(found)


def _most(found: Indices) -> str:
    """The input with the largest total index, where its interval is conclusive."""
    if found.total is None or found.driver is None:
        return (f"the samples ({found.samples} base samples of the indices) are too few to "
                "determine what decides the rest")
    # No index can exceed 1; where one input decides alone, half of the estimates do.
    share, low, high = np.clip(found.total[found.driver], 0.0, 1.0)
    return (f"{found.inputs[found.driver]} "
            + ("decides the rest" if share >= SURE else "matters most for the rest")
            + f" (total index {share:.2f}, 95 % interval {low:.2f} to {high:.2f}, "
            f"from {found.samples} base samples)")
