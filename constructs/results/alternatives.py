"""What changes where the model is another one: order, first failing part, weight-bearing words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from buttress.results.bearing import asked_for
from buttress.results.comparison import Comparison
from buttress.results.judged import judged
from buttress.results.order import (
    AT_LEAST,
    TIE,
    before,
    carries_nothing,
    fractured,
    ranked,
    reserve,
)
from buttress.results.records import (
    NOT_KNOWN,
    NOT_LOADED,
    ConstructResult,
    not_loaded,
)
from buttress.results.spread import Alternative
from buttress.results.verdict import FAILURES, FURTHER, failure_words, first_failure, standing
from buttress.study.loads import LoadInput

ORDER, FAILURE, BEARING = "order", "first failing part", "weight bearing"
ABOUT = (ORDER, FAILURE, BEARING)
"""The kinds of verdicts that are compared."""
UNKNOWN = f"{NOT_KNOWN} what fails first"
EVERYWHERE = "every load of the weight-bearing table"


Verdicts = dict[tuple[str, str, str], str]
"""Words of a verdict by its kind, the construct and what else it is of."""


@dataclass(frozen=True)
class Change:
    """A verdict that an alternative changes, in words."""

    alternative: str
    about: str
    construct: str
    words: str


def verdicts(constructs: Mapping[str, ConstructResult], load: LoadInput,
             own: Mapping[str, ConstructResult]) -> Verdicts:
    """The verdicts that are compared, each in words; names are marked as those of the study's
    ``own`` constructs."""
    out: Verdicts = {}
    order = [c for c in constructs.values() if ranked(own[c.name])]
    for a, b in combinations(order if fractured(order) else (), 2):
        names = own[a.name].marked_name, own[b.name].marked_name
        out[ORDER, a.name, b.name] = _relation(a, b, *names)
    for c in constructs.values():
        out[FAILURE, c.name, ""] = fails(c)
        for name, (_, force), *_ in asked_for(load):
            out[BEARING, c.name, name] = judged(c, force).verdict
    return out


def _relation(a: ConstructResult, b: ConstructResult, one: str, other: str) -> str:
    if before(a, b):
        return f"'{one}' comes before '{other}'"
    if before(b, a):
        return f"'{other}' comes before '{one}'"
    if AT_LEAST in (reserve(a).kind, reserve(b).kind):
        return f"{NOT_KNOWN} which of '{one}' and '{other}' comes first"
    if carries_nothing(a) and carries_nothing(b):
        return f"neither '{one}' nor '{other}' carries any load"
    return f"'{one}' and '{other}' share a rank"


def fails(c: ConstructResult) -> str:
    """What fails first under rising load, without the load."""
    if not_loaded(c):
        # Without the force at which it lets go, which each model has another one of.
        part = next((r.escapes for r in c.loads if r.escapes), None)
        said = NOT_LOADED[c.status]
        return said if part is None else f"{said}: '{part}' lets go"
    if carries_nothing(c):
        return UNKNOWN if reserve(c).kind == AT_LEAST else "it carries no load"
    event = first_failure(c)
    if event is None:
        return UNKNOWN if c.peak_status == NOT_KNOWN else "nothing gives way"
    if event.kind in FURTHER and (event.kind, event.where.part) in standing(c):
        return f"{failure_words(c, event)} than by tightening alone"
    if event.kind == "peak":
        return "nothing fails under load before it peaks"
    return f"first to fail: {failure_words(c, event)}"


def _near(c: ConstructResult) -> frozenset[tuple[str, str]]:
    """What fails within the stated indifference of the load at which something fails first: which
    of these comes first is a tie."""
    event = None if not_loaded(c) else first_failure(c)
    if event is None or c.path is None:
        return frozenset()
    return frozenset((e.kind, e.where.part) for e in c.path.events
                     if e.kind in FAILURES and e.load_N <= (1.0 + TIE) * event.load_N)


def changes(comparison: Comparison) -> list[Change]:
    """Every verdict that an alternative changes: one line each, weight bearing per construct."""
    if comparison.alternatives is None:
        return []
    own, load = comparison.own, comparison.study.load
    return [c for x in comparison.alternatives.tried for c in _changes(own, x, load)]


def _changes(own: Mapping[str, ConstructResult], x: Alternative, load: LoadInput
             ) -> Iterator[Change]:
    usual, other = verdicts(own, load, own), verdicts(x.constructs, load, own)
    names = {n: f"'{c.marked_name}'" for n, c in own.items()}
    moved: dict[tuple[str, str, str], list[str]] = {}
    for (about, name, more), said in other.items():
        was = usual[about, name, more]
        if said == was or (about == FAILURE and _near(own[name]) & _near(x.constructs[name])):
            continue
        if about == BEARING:
            moved.setdefault((name, said, was), []).append(more)
        elif about == ORDER:
            loads = (f"{names[n]} {reserve(x.constructs[n]).text} N" for n in (name, more))
            yield Change(x.name, about, name, f"{said} ({', '.join(loads)}); in the study {was}")
        else:
            yield Change(x.name, about, name, f"{names[name]}: {said}; in the study {was}")
    count = len(asked_for(load))
    for (name, said, was), rows in moved.items():
        yield Change(x.name, BEARING, name,
                     f"{names[name]} at {_rows(rows, count)}: {said}; in the study {was}")


def _rows(names: Sequence[str], count: int) -> str:
    """Rows of the weight-bearing table, in words where they are all of its ``count``."""
    return EVERYWHERE if len(names) == count > 1 else ", ".join(names)


def surviving(comparison: Comparison) -> dict[str, tuple[list[str], int]]:
    """By kind: the verdicts that no alternative changes, in words, and how many there are in all.

    A verdict on a construct that an alternative refuses counts as not changed by that one. What is
    not known of the study itself is no verdict.
    """
    if comparison.alternatives is None:
        return {}
    load = comparison.study.load
    usual = verdicts(comparison.own, load, comparison.own)
    changed = {(c.about, c.construct) for c in changes(comparison) if c.about == FAILURE}
    others = [verdicts(x.constructs, load, comparison.own) for x in comparison.alternatives.tried]
    out: dict[str, tuple[list[str], int]] = {}
    for about in ABOUT:
        mine = {k: v for k, v in usual.items() if k[0] == about and not v.startswith(NOT_KNOWN)}
        kept = [_told(k, v, comparison.own) for k, v in mine.items()
                if (k[:2] not in changed if about == FAILURE
                    else all(o.get(k, v) == v for o in others))]
        if mine:
            out[about] = kept, len(mine)
    return out


def left_open(comparison: Comparison) -> dict[str, int]:
    """By kind: how many verdicts no alternative changes to another one, though with some of them it
    is not known."""
    if comparison.alternatives is None:
        return {}
    own, load = comparison.own, comparison.study.load
    others = [verdicts(x.constructs, load, own) for x in comparison.alternatives.tried]
    out: dict[str, int] = {}
    for key, said in verdicts(own, load, own).items():
        found = {o.get(key, said) for o in others} - {said}
        if found and all(other.startswith((NOT_KNOWN, UNKNOWN)) for other in found):
            out[key[0]] = out.get(key[0], 0) + 1
    return out


def kept_words(comparison: Comparison) -> dict[str, list[str]]:
    """By kind: the verdicts of `surviving` as a reader is told them, those on the weight bearing of
    a construct in one clause where the words are the same."""
    if comparison.alternatives is None:
        return {}
    out = {about: list(same) for about, (same, _) in surviving(comparison).items()}
    if BEARING in out:
        own = comparison.own
        usual = verdicts(own, comparison.study.load, own)
        rows: dict[tuple[str, str], list[str]] = {}
        for (about, name, more), words in usual.items():
            if about == BEARING and _told((about, name, more), words, own) in out[BEARING]:
                rows.setdefault((name, words), []).append(more)
        count = len(asked_for(comparison.study.load))
        out[BEARING] = [f"'{own[name].marked_name}' at {_rows(found, count)}: {words}"
                        for (name, words), found in rows.items()]
    return out


def _told(key: tuple[str, str, str], words: str, own: Mapping[str, ConstructResult]) -> str:
    about, name, more = key
    if about == ORDER:
        return words
    named = own[name].marked_name
    return f"'{named}' at {more}: {words}" if more else f"'{named}': {words}"
