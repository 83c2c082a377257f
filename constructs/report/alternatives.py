"""Model spread: what changes with each alternative, for terminal, page and files."""

from __future__ import annotations

from math import isclose
from typing import Any

from buttress.files import plain
from buttress.report.markup import Table
from buttress.results.alternatives import ABOUT, changes, fails, kept_words, left_open, surviving
from buttress.results.comparison import Comparison
from buttress.results.order import TIE, ranks, reserve
from buttress.results.records import ConstructResult
from buttress.results.spread import ModelSpread
from buttress.words import BREAKS_RULE, counted

OWN = "as in the study"
MEANING = (
    "Model spread: every construct solved once more with each alternative, one change at a time. "
    "It shows which verdicts hang on a choice of the model. It is no interval of confidence: "
    "changes may add up, and what none of the alternatives represents is not in it. The first "
    "failing part is what is first crushed, strips, bends permanently or jumps under load; that "
    "metal yields at its surface, or part of an anchorage gives way, is told of a construct "
    "elsewhere and does not count here. Parts that fail within "
    f"{100 * TIE:g}\N{NO-BREAK SPACE}% of load of each other are a tie, and no change.")
SAME = 1e-9
"""Share by which loads may differ and still be the same."""


def summary(comparison: Comparison) -> str:
    """How many verdicts survive, in a sentence: for the list of kinds of error."""
    spread = comparison.alternatives
    assert spread is not None
    kept = ", ".join(f"{about} {len(same)} of {count}{_open(comparison, about)}"
                     for about, (same, count) in surviving(comparison).items())
    built = sum(bool(x.constructs) for x in spread.tried)
    idle, more = len(_idle(comparison)), len(spread.tried) - built
    beside = [f"{idle} of which {'changes' if idle == 1 else 'change'} no load of the order"
              ] * bool(idle) + [f"{more} more cannot be built"] * bool(more)
    return (f"verdicts that none of {counted(built, 'alternative')} changes"
            + (f" ({'; '.join(beside)})" if beside else "")
            + f": {kept}; the load by which constructs are ordered lies at "
            f"{_spans(comparison, spread)}")


def _open(comparison: Comparison, about: str) -> str:
    """How many verdicts are not contradicted, but left open; empty where none is."""
    count = left_open(comparison).get(about, 0)
    return f" ({count} more not contradicted, but not known with some)" if count else ""


def _spans(comparison: Comparison, spread: ModelSpread) -> str:
    out = []
    for name, c in comparison.own.items():
        found = [reserve(c), *(reserve(x.constructs[name]) for x in spread.tried
                               if name in x.constructs)]
        low, high = (pick(found, key=lambda r: r.load_N) for pick in (min, max))
        out.append(f"{low.text} to {high.text} N ('{c.marked_name}')" if high.load_N > low.load_N
                   else f"{low.text} N ('{c.marked_name}')")
    return ", ".join(out)


def change_lines(comparison: Comparison) -> list[str]:
    """One line for each verdict that an alternative changes: ``ALTERNATIVE, kind: words``."""
    return [f"{c.alternative}, {c.about}: {c.words}" for c in changes(comparison)]


def kept_lines(comparison: Comparison) -> list[str]:
    """What no alternative changes, kind by kind."""
    told = kept_words(comparison)
    return [f"{about}, the same with every alternative: {len(same)} of {count}"
            f"{_open(comparison, about)}"
            + (f": {'; '.join(told[about])}" if same else "")
            for about, (same, count) in surviving(comparison).items()]


def left_out_lines(spread: ModelSpread) -> list[str]:
    """What was not tried, or not for every construct, and why."""
    some = []
    for x in spread.tried:
        for found, words in ((x.refused, " cannot be built: "), (x.left_out, " left out, ")):
            for why in dict.fromkeys(found.values()):
                names = [f"'{name}'" for name, said in found.items() if said == why]
                some.append(f"{x.name}: {', '.join(names)}{words}{why}")
    return [*some, *(f"{name}: left out, {why}" for name, why in spread.left_out.items())]


def _idle(comparison: Comparison) -> list[str]:
    spread, own = comparison.alternatives, comparison.own
    assert spread is not None
    return [x.name for x in spread.tried if x.constructs and all(
        isclose(reserve(c).load_N, reserve(own[name]).load_N, rel_tol=SAME)
        for name, c in x.constructs.items())]


def idle_lines(comparison: Comparison) -> list[str]:
    """Alternatives that leave the load of every construct as it is."""
    idle = _idle(comparison)
    return [f"no load of the order changes at all with: {', '.join(idle)}"] if idle else []


def lines(comparison: Comparison) -> list[str]:
    """All of it for the terminal."""
    spread = comparison.alternatives
    assert spread is not None
    return [MEANING, *(f"  {x.name}: {x.words}" for x in spread.tried),
            *(f"  {line}" for line in (*left_out_lines(spread), *idle_lines(comparison))), "",
            *(change_lines(comparison) or ["No alternative changes a verdict."]), "",
            *kept_lines(comparison),
            *([f"{BREAKS_RULE}."] if any(c.breaks_rule for c in comparison.constructs) else [])]


def page(comparison: Comparison) -> dict[str, Any] | None:
    """What the page shows; None without alternatives."""
    spread = comparison.alternatives
    if spread is None:
        return None
    return {
        "meaning": MEANING, "kept": kept_lines(comparison),
        "left_out": [*left_out_lines(spread), *idle_lines(comparison)],
        "changes": Table(("alternative", "verdict on", "what changes"),
                         [(c.alternative, c.about, c.words) for c in changes(comparison)],
                         (0, 1, 2), "small"),
        "tried": Table(("alternative", "what is changed", "source", "status"),
                       [(x.name, x.words, x.source, x.status) for x in spread.tried],
                       (0, 1, 2, 3), "small")}


COLUMNS = ("construct", "alternative", "choice", "what_is_changed", "reserve_N", "reserve_is",
           "reserve_change_share", "rank", "peak_N", "peak_status", "first_failing_part",
           "verdicts_changed", "source", "status")


def rows(comparison: Comparison) -> list[dict[str, Any]]:
    """One row per construct and alternative for alternatives.csv, the study itself first."""
    spread = comparison.alternatives
    assert spread is not None
    own = comparison.own
    changed = changes(comparison)

    def row(c: ConstructResult, every: dict[str, ConstructResult], **about: Any) -> dict[str, Any]:
        base, found = reserve(own[c.name]), reserve(c)
        return {"construct": c.name, "reserve_N": found.load_N, "reserve_is": found.kind,
                "reserve_change_share": found.load_N / base.load_N - 1.0 if base.load_N else None,
                "rank": ranks(tuple(every.values())).get(c.name), "peak_N": c.peak_N,
                "peak_status": c.peak_status, "first_failing_part": fails(c), **about}

    out = []
    for name, c in own.items():
        out.append(row(c, own, alternative=OWN, choice=None, what_is_changed=None,
                       verdicts_changed=0, source=None, status=None))
        out += [row(x.constructs[name], dict(x.constructs), alternative=x.name, choice=x.group,
                    what_is_changed=x.words, source=x.source, status=x.status,
                    verdicts_changed=sum(
                        (y.alternative, y.construct) == (x.name, name) for y in changed))
                for x in spread.tried if name in x.constructs]
    return out


def document(comparison: Comparison) -> dict[str, Any] | None:
    """For JSON: each alternative with its loads, what changes and what does not."""
    spread = comparison.alternatives
    if spread is None:
        return None
    return {
        "about": MEANING,
        "tried": [{"name": x.name, "choice": x.group, "what_is_changed": x.words,
                   "values": plain(dict(x.values)), "source": x.source, "status": x.status,
                   "refused": dict(x.refused), "left_out": dict(x.left_out),
                   "constructs": {n: {**plain(reserve(c)), "peak_N": c.peak_N,
                                      "peak_status": c.peak_status, "first_failing_part": fails(c)}
                                  for n, c in x.constructs.items()}} for x in spread.tried],
        "left_out": dict(spread.left_out), "changes": plain(changes(comparison)),
        "the_same_with_every_alternative": {
            about: {"verdicts": kept.get(about, ([], 0))[0], "of": kept.get(about, ([], 0))[1]}
            for kept in (surviving(comparison),) for about in ABOUT if about in kept}}
