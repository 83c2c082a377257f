"""The order of constructs: by the load at which the joint has moved, with ties."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

from buttress.fe.status import Status
from buttress.model.pressing import SEARCH_LIMIT_N
from buttress.results.path import Derived
from buttress.results.records import (
    BEYOND,
    ENDED,
    FOUND,
    NOT_LOADED,
    ConstructResult,
    largest,
    not_loaded,
)
from buttress.study.activities import about, carried, newtons, reached
from buttress.study.tables import number
from buttress.words import listed, span

TIE = number("anatomy", "limits", "indifference")
"""Loads of two constructs that differ by no more than this share are a tie."""
EQUAL = 1e-6
"""Newtons, or millimetres, by which figures may differ and still be equal."""
NOT_RANKED = "bonded: a cross-check, not ranked"
MOVED, ENDS, AT_LEAST = "joint moved", "peak", "at least"


def order_words(movement_mm: float, bars: bool = False) -> str:
    """How constructs are ordered, for a movement of the joint that counts; with error bars."""
    also = ", and so do loads whose error bars overlap" if bars else ""
    return (f"Order: by the load at which the joint has moved {movement_mm:g} mm (the largest of "
            "net subsidence, step-off and gap) or, where it does not move that far, by the peak "
            f"load. Loads within {100 * TIE:g}\N{NO-BREAK SPACE}% share a rank{also}. A load "
            "marked ≥ is a lower bound: above it the answer is not known, and where that leaves "
            "the order open the rank is a range.")


@dataclass(frozen=True)
class Reserve:
    """The load [N] that a construct is ordered by, and what it is: `MOVED`, `ENDS`, `AT_LEAST`.

    ``most_N``: what a load that is `AT_LEAST` so large is at most, if that is known.
    """

    load_N: float
    kind: str
    most_N: float = inf

    @property
    def text(self) -> str:
        """As in a cell: ``3949``, ``≥ 950``, ``950–1020``."""
        if self.kind == MOVED:
            return f"{self.load_N:.0f}"
        if self.most_N < inf:
            return f"{carried(self.load_N)}\N{EN DASH}{reached(self.most_N)}"
        return f"{'≥ ' * (self.kind == AT_LEAST)}{carried(self.load_N)}"


def reserve(found: Derived) -> Reserve:
    """What a construct is ordered by, from its path: see `order_words`."""
    moved, top = found.reserve, found.peak_N or 0.0
    if moved.load_N is not None:
        return Reserve(moved.load_N, MOVED)
    if moved.kept_to_N is not None:
        return Reserve(moved.kept_to_N, AT_LEAST,
                       inf if moved.over_from_N is None else moved.over_from_N)
    if found.peak_status in (FOUND, ENDED):
        return Reserve(top, ENDS)
    return Reserve(SEARCH_LIMIT_N if found.peak_status == BEYOND else top, AT_LEAST)


def carries_nothing(found: Derived) -> bool:
    """Whether no load is carried, or none is known to be."""
    ordered = reserve(found)
    return ordered.load_N <= 0.0 and ordered.kind != MOVED and not (found.peak_N or 0.0) > 0.0


def reserve_words(construct: ConstructResult) -> str:
    """The load that a construct is ordered by, in a clause."""
    if not_loaded(construct):
        return f"it {NOT_LOADED[construct.status]}"
    found, far = reserve(construct), f"{construct.reserve.movement_mm:g} mm"
    load = newtons(round(found.load_N)) if found.kind == MOVED else carried(found.load_N)
    if found.kind == MOVED and found.load_N <= 0.0:
        return f"the joint has moved {far} before it is pressed"
    if found.kind == MOVED:
        return f"the joint has moved {far} at {about(found.load_N, load)}"
    if found.kind == ENDS and construct.peak_status == ENDED:
        return (f"the path ends at about {load} N, beyond which parts move farther than this "
                f"model follows, before the joint has moved {far}")
    if found.kind == ENDS:
        return (f"the load peaks at about {load} N, before the joint has moved {far}"
                if found.load_N > 0.0 else "no load is carried")
    if construct.peak_status == BEYOND and found.load_N == SEARCH_LIMIT_N:
        return f"the joint moves less than {far} up to {load} N, where the search ends"
    if found.most_N < inf:
        return (f"the joint moves less than {far} up to {load} N and has moved as far at "
                f"{reached(found.most_N)} N; between them the answer is not known")
    if found.load_N > 0.0:
        return (f"the joint moves less than {far} up to {load} N, above which the answer is "
                "not known")
    return ("it is not known which load is carried" if carries_nothing(construct)
            else f"it is not known at which load the joint has moved {far}")


def ranked(construct: ConstructResult) -> bool:
    """Whether a construct is ranked; what is bonded, a twin or not, is a cross-check."""
    return construct.twin_of is None and not construct.bonded


def best_first(constructs: tuple[ConstructResult, ...]) -> list[ConstructResult]:
    """Constructs in the order of `order_words`; a bonded twin stands right after its construct,
    other bonded ones last.

    Of equal loads, what breaks no rule comes first, then what moves less at the largest load.
    """
    twins = {c.twin_of: c for c in constructs if c.twin_of is not None}
    own = [c for c in constructs if c.twin_of is None]
    loads, moved = (_levels([of(c) for c in own]) for of in (lambda c: -reserve(c).load_N, _moved))
    order = sorted(range(len(own)), key=lambda i: (own[i].bonded, loads[i], own[i].breaks_rule,
                                                   moved[i]))
    return [one for i in order for one in (own[i], twins.get(own[i].name)) if one is not None]


def _levels(values: list[float]) -> list[float]:
    """Each value, or the smallest of those from which it differs by rounding alone."""
    least: dict[float, float] = {}
    before = at = -inf
    for value in sorted(values):
        at = at if value == before or value - before <= EQUAL else value
        least[value], before = at, value
    return [least[value] for value in values]


def _moved(c: ConstructResult) -> float:
    """How far the joint has moved [mm] at the largest load of the study that is held."""
    held = [r for r in c.loads if r.status == Status.HELD]
    if not held:
        return inf
    load = max(held, key=lambda r: r.total_load_N)
    found = largest([*(f.subsidence_net_mm for f in load.fragments.values()),
                     *(x for e in load.edges.values() for x in (e.step_off_mm, e.gap_mm))])
    return inf if found is None else found


def before(this: ConstructResult, other: ConstructResult) -> bool:
    """Whether one construct is known to come before another: by more than the stated indifference,
    and by more than their error bars, where they have any."""
    least, most = reserve(this).load_N, reserve(other)
    return (least > (1.0 + TIE) * (most.most_N if most.kind == AT_LEAST else most.load_N)
            and interval(this)[0] > interval(other)[1])


def interval(found: Derived) -> tuple[float, float]:
    """The interval of the load [N] that a construct is ordered by; without an error bar, itself."""
    load = reserve(found).load_N
    bar = found.bar("reserve_N")
    if bar is None or bar.low is None:
        return load, load
    return bar.low, inf if bar.high is None else bar.high


def tie_of(this: Derived, other: Derived) -> float:
    """The share by which loads of two constructs may differ and still be a tie: the larger of the
    stated indifference and their error bars."""
    bars = (c.bar("reserve_N") for c in (this, other))
    return max([TIE, *(b.share for b in bars if b is not None and b.share is not None)])


def fractured(constructs: Sequence[ConstructResult]) -> bool:
    """Whether there is a fragment that could move, and so an order of the constructs."""
    return any(load.fragments for c in constructs for load in c.loads)


def places(constructs: tuple[ConstructResult, ...]) -> dict[str, tuple[int, int]]:
    """First and last rank of each construct by name; bonded ones have none, and nobody has one
    where nothing is fractured."""
    own = [c for c in constructs if ranked(c)] if fractured(constructs) else []
    return {c.name: (1 + sum(before(other, c) for other in own),
                     len(own) - sum(before(c, other) for other in own)) for c in own}


def ranks(constructs: tuple[ConstructResult, ...]) -> dict[str, str]:
    """The rank of each construct by name, ``2`` or ``1–3``; bonded ones have none."""
    return {name: span(*found) for name, found in places(constructs).items()}


def moved_words(construct: ConstructResult) -> str:
    """Whose movement a construct is ordered by, where it has several fragments; else empty.

    Tables show the fragment that subsides most, and another may be the one that counts.
    """
    which, where = construct.reserve.which, construct.reserve.where
    several = any(len(load.fragments) > 1 for load in construct.loads)
    if reserve(construct).kind != MOVED or not several or not which:
        return ""
    return f"{'net ' if which == 'subsidence' else ''}{which} of {where}"


def basis_words(construct: ConstructResult) -> str:
    """The load that a construct is ordered by, and of several fragments whose movement counts;
    first that it is not ranked, where that is so."""
    whose = moved_words(construct)
    said = reserve_words(construct) + (f" ({whose})" if whose else "")
    return said if ranked(construct) else f"{NOT_RANKED}; {said}"


def rank_words(construct: ConstructResult, constructs: tuple[ConstructResult, ...]) -> str:
    """Rank and what it rests on: ``rank 1–3: the joint has moved 0.5 mm at about 3949 N``."""
    rank, said = ranks(constructs).get(construct.name), basis_words(construct)
    return f"rank {rank}: {said}" if rank else said


def tied_with(this: ConstructResult, constructs: tuple[ConstructResult, ...]) -> list[str]:
    """Names of the constructs that are known to come neither before this one nor after it."""
    return [c.name for c in constructs if c is not this and ranked(c) and ranked(this)
            and fractured(constructs) and not before(c, this) and not before(this, c)]


def named_first(order: list[ConstructResult]) -> ConstructResult:
    """Of the constructs that share the first rank, the first that breaks no rule of the trade; the
    first of all where there is none, or where a lower bound leaves open which come first."""
    own = [c for c in order if ranked(c)]
    level = [c for c in own if not any(before(other, c) for other in own)]
    known = [c for c in level if AT_LEAST not in (reserve(c).kind, reserve(order[0]).kind)]
    return next((c for c in known if not c.breaks_rule), order[0])


def why_first(order: list[ConstructResult]) -> str:
    """What puts the construct that is named first where it stands, in a clause."""
    named = named_first(order)
    said = reserve_words(named)
    tied, unknown = _beside_first(order)
    if tied or unknown:
        if tied:
            said += f"; tied with {_listed(tied)}"
        behind = [c.marked_name for c in order if c.marked_name in tied and before(order[0], c)]
        if behind:
            said += f" ('{order[0].marked_name}' comes before {_listed(behind)})"
        if unknown:
            said += (f"; it is not known whether {_listed(unknown)} "
                     f"{'comes' if len(unknown) == 1 else 'come'} before it")
        return said
    rival = next((c for c in order[1:] if ranked(c)), None)
    if rival is None:
        return said
    beside = tied_with(rival, tuple(order))
    if not beside:
        return f"{said}; next is '{rival.marked_name}': {reserve_words(rival)}"
    level = [c.marked_name for c in order if c is rival or c.name in beside]
    return (f"{said}; next are {_listed(level)}, which tie ('{rival.marked_name}': "
            f"{reserve_words(rival)})")


def _beside_first(order: list[ConstructResult]) -> tuple[list[str], list[str]]:
    """Names of the constructs that tie with the one that is named first, and of those that may come
    before it: a load of either that is a lower bound leaves that open."""
    named = named_first(order)
    beside = [c for c in order if c.name in tied_with(named, tuple(order))]
    open_ = [c for c in beside if AT_LEAST in (reserve(c).kind, reserve(named).kind)]
    return ([c.marked_name for c in beside if c not in open_],
            [c.marked_name for c in open_ if not before(order[0], c)])


@dataclass(frozen=True)
class Answer:
    """Which construct comes first and why: its name stands between two parts of a sentence."""

    before: str
    name: str = ""
    after: str = ""

    @property
    def words(self) -> str:
        """The sentence as plain text, the name in quotes."""
        return f"{self.before}'{self.name}'{self.after}" if self.name else self.before


def answer(order: list[ConstructResult]) -> Answer:
    """Which construct comes first and why, and whether it breaks a rule of the trade."""
    best = named_first(order)
    if not fractured(order):
        return Answer("Nothing is fractured in this study, so there is no fragment that could "
                      "subside or fail, and no order of the constructs.")
    if not any(ranked(c) for c in order):
        return Answer("Every construct of this study is bonded to the bone, a cross-check that is "
                      "not ranked, so there is no order of the constructs.")
    found = {r.status for c in order for r in c.loads}
    carries = "is known to carry" if Status.UNCONVERGED in found else "carries"
    none = "" if Status.HELD in found else f"No construct {carries} any of the loads."
    against = "it breaks a rule of the trade"
    if none and (len(order) == 1 or carries_nothing(best)):
        return Answer(none)
    if len(order) == 1:
        also = f" (note that {against})" if best.breaks_rule else ""
        return Answer("", best.marked_name, f": {why_first(order)}{also}.")
    tied, unknown = _beside_first(order)
    place = ("shares the first rank" if tied else "may come first" if unknown else "comes first")
    if best.breaks_rule:
        place += f", though {against}"
    return Answer(f"{none} " if none else "", best.marked_name, f" {place}: {why_first(order)}.")


def _listed(names: list[str]) -> str:
    return listed([f"'{name}'" for name in names])
