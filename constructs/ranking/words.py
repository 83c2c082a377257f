"""The summary sentence of a ranking, for quotation."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from buttress.ranking.certainty import SAME, UNKNOWN, Difference, Indices
from buttress.ranking.outcomes import RESERVE, SUBSIDENCE
from buttress.ranking.records import Against, Driven, RankResult
from buttress.results.order import TIE
from buttress.words import counted, minus

SURE = 0.5
"""Share of the variance above which an input is reported as decisive."""


def sentence(result: RankResult) -> str:
    """The reference against the first of the others, with the interval, and what decides the rest.

    The median is quoted, since a single sample may dominate the mean. Among constructs that fail
    everywhere, none subsides less or more than another.
    """
    samples, load = len(result.samples.shares), result.outcomes.load_N
    at = f"At {load:.0f} N "
    if result.outcomes.by == SUBSIDENCE and not any(s.holds.share > 0.0 for s in result.standings):
        silent = [f"there is no answer of '{s.construct}' in {counted(s.unanswered, 'sample')}"
                  for s in result.standings if s.unanswered]
        return "; ".join([f"{at}none of the constructs is held {_of(result.none_held, samples)}",
                          *silent]) + "."
    rival, reference = result.against[0], result.reference
    words = at + _order(rival, reference, samples) if result.outcomes.by == SUBSIDENCE else \
        _more(result, rival)
    if result.outcomes.by == SUBSIDENCE and rival.subsidence_mm.median is not None:
        words += (f"; where both hold ({counted(rival.both_held, 'sample')}) the mean subsidence "
                  f"of '{rival.construct}' minus that of '{reference}' is "
                  f"{signed(rival.subsidence_mm.median, 'mm')} mm in the median "
                  f"({_reach(rival.subsidence_mm, 'mm')})")
    if capped := result.capped_words(rival.construct, reference):
        words += f"; {capped}"
    more = _losses(result, rival)
    if more and result.outcomes.by != SUBSIDENCE:
        more[0] = f"at {load:.0f} N {more[0]}"
    if rival.unanswered:
        more.append(f"there is no answer of one of them in {counted(rival.unanswered, 'sample')}")
    if rival.refused:
        more.append(f"{counted(rival.refused, 'sample')} of one of them "
                    f"{'was' if rival.refused == 1 else 'were'} refused")
    words = "; ".join([words, *more])
    return words + _cause(rival.construct, result.driven) + "." + as_written(result)


def as_written(result: RankResult) -> str:
    """A sentence where constructs are ordered otherwise as the study is written; else empty."""
    by, count = result.outcomes.by, len(result.samples.shares)
    says = {RESERVE: "'{}' comes before '{}'",
            SUBSIDENCE: "'{}' subsides less than '{}', or holds where the latter does not"}.get(
                by, f"'{{}}' has a larger {result.by_words} than '{{}}'")
    found = [f"{says.format(a, b)}, while it is the other way round in {n} of "
             f"{counted(count, 'sample')}" for a, b, n in result.turned]
    # The comparison orders by the reserve.
    where = " (“buttress compare”)" if by == RESERVE else ""
    return f" As the study is written{where}, {'; '.join(found)}." if found else ""


def _losses(result: RankResult, rival: Against) -> list[str]:
    """How often the two fail at the load, or exceed a limit, in clauses."""
    samples, reference = len(result.samples.shares), result.reference
    out = []
    for name, loose in ((rival.construct, rival.only_reference + rival.neither),
                        (reference, rival.only_this + rival.neither)):
        if loose:
            out.append(f"'{name}' fails (no equilibrium) in {counted(loose, 'sample')}")
    if rival.neither and rival.both_held + rival.only_this + rival.only_reference:
        out[-1] += f", both of them in {rival.neither}"
    loss = {s.construct: round(s.holds.samples * (s.holds.share - s.keeps_all.share))
            for s in result.standings if s.holds.samples}
    out += [f"'{name}' holds but exceeds a limit in {counted(loss[name], 'sample')}"
            for name in (rival.construct, reference) if loss.get(name)]
    if result.none_keeps:
        out.append("no construct meets all limits " + _of(result.none_keeps, samples))
    return out


def _more(result: RankResult, rival: Against) -> str:
    """Which of the two has more of the chosen quantity, or that they are tied."""
    merit, found, reference = result.outcomes.merit, rival.difference, result.reference
    words = result.by_words
    if found.median is None:
        return f"The {words} of '{reference}' and '{rival.construct}' is not known"
    median = (f"the {words} of '{rival.construct}' minus that of '{reference}' is "
              f"{bounded(found.median, found.median_is, merit.unit)} {merit.unit} in the median "
              f"({_reach(found, merit.unit)})")
    more = rival.behind
    both = rival.undecided + more.samples
    lost = f", {rival.undecided} of {both} not known" if rival.undecided else ""
    if rival.told_apart is None:
        return (f"Whether the {words} of '{reference}' and '{rival.construct}' differ by more than "
                f"{100 * TIE:g} % is not known{lost}: {median}")
    if not rival.told_apart:
        return (f"'{reference}' and '{rival.construct}' are tied: {median}, within "
                f"{100 * TIE:g} % of it")
    return (f"'{reference}' has a larger {words} than '{rival.construct}', by more than "
            f"{100 * TIE:g} %, in {100 * more.share:.0f} % of {counted(more.samples, 'sample')} "
            f"(95 % interval {100 * more.low:.0f} to {100 * more.high:.0f} %){lost}; {median}")


def _order(rival: Against, reference: str, samples: int) -> str:
    """The share of samples in which the reference is ahead of the other."""
    more = rival.behind
    if not (rival.both_held or rival.only_this or rival.only_reference):
        return f"neither '{reference}' nor '{rival.construct}' is held {_of(samples, samples)}"
    share = (f" in {100 * more.share:.0f} % of {counted(more.samples, 'sample')} (95 % interval "
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


def signed(value: float, unit: str) -> str:
    """A difference with its sign: whole newtons, two digits of anything smaller."""
    return minus(f"{value:+.2g}" if unit == "mm" else f"{round(value) + 0.0:+.0f}")


def bounded(value: float, how: str, unit: str) -> str:
    """A difference that may be a bound: ``at most −1199``, ``not known``."""
    return how if how == UNKNOWN else f"{how} {signed(value, unit)}".strip()


def _reach(found: Difference, unit: str) -> str:
    if found.middle is None:
        return "too few for an interval"
    low, high = (bounded(x, how, unit)
                 for x, how in zip(found.middle, found.middle_is, strict=True))
    return f"95 % interval {low} to {high} {unit}"


def _cause(name: str, driven: Sequence[Driven]) -> str:
    found = next((d.ahead for d in driven if d.construct == name), None)
    if found is None or found.note == SAME:
        return ""
    if found.total is None:
        return "; the samples are too few to determine what decides between the two"
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
