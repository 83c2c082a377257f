"""One sentence per construct: what carries, what fails first, what it depends on.

All of it is read off the numbers of a comparison: shares of the load, events along the path, the
capacity without friction, the tension of screws, and where curves of two constructs cross.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, floor, inf

from buttress.fe.solve.path import SEAT_N
from buttress.fe.status import Status
from buttress.results.beyond import (
    OR_LESS,
    OVER,
    friction_needed,
    friction_not_known,
)
from buttress.results.crossing import Crossing, crossing
from buttress.results.crushed import BONE, CEMENT, CRUSHED, GRAFT
from buttress.results.judged import HOLDS, ONLY_FRICTION, judged
from buttress.results.order import (
    AT_LEAST,
    best_first,
    carries_nothing,
    ranked,
    reserve,
    reserve_words,
)
from buttress.results.path import PathEvent
from buttress.results.records import NOT_KNOWN, ConstructResult, LoadResult, not_loaded
from buttress.study.activities import carried, newtons, reached
from buttress.words import listed, piece_or_row

FAILURES = {"hinge": "{} forms a plastic hinge", "thread": "{}",
            "crushing": "{} " + CRUSHED, "snap": "{} shifts in a jump",
            "peak": "the load peaks"}
"""Events that follow slip and opening, in words; ``{}`` stands for the part. Part of a thread that
gives way is none of them: the rest of it still holds the screw."""
STANDING = {"hinge": "{} has a plastic hinge", "thread": "{}",
            "crushing": "{} " + CRUSHED}
"""What tightening alone has led to."""
FURTHER = {"hinge": "{} forms a further plastic hinge",
           "crushing": "more {} " + CRUSHED}
"""The same under load, where tightening has led to it already."""
FILLING = "the filling"
PART = "anchorage"
"""Part of an anchorage or of a bond gives way: told where nothing else is known."""
PUSHED = 1.05
"""Share of the load on a fragment from which on other parts are said to push it."""
SAME, SAME_MM = 0.01, 0.0005
"""Share, or millimetres, by which two movements may differ and still be told as the same."""
MOST_SHARE = 5.0
"""Share of the load on a fragment beyond which what presses on it is tightening, not the load."""
KEPT = ("{} keep their tension for ever in this model, while in bone they lose part of it: the "
        "stage “relax” lets tension and friction fade, as the shipped study “fading-tension” "
        "shows.")
"""What is to be said where a construct relies on the tension of screws; ``{}`` names these."""
NO_STRENGTH = "bonded screws, wires and anchorage have no strength to reach"
SEATED, SOON = 1.5, "as soon as it is loaded"
"""Loads up to this multiple of the force that seats the parts are not told in newtons."""


def verdict(c: ConstructResult, every: tuple[ConstructResult, ...]) -> str:
    """What carries a construct's load, what fails first and what it depends on, in one sentence."""
    if why := not_loaded(c):
        return _sentence([why])
    if carries_nothing(c):
        return _sentence([reserve_words(c) + _at_its_best(c)])
    found = (_carries(c), _fails(c), _rests_on(c), _crosses(c, every))
    return _sentence([x for x in found if x] or [reserve_words(c)])


def _at_its_best(c: ConstructResult) -> str:
    """That limit analysis finds a capacity where the path finds none."""
    high = c.capacity_N[1]
    if reserve(c).kind == AT_LEAST or high == 0.0:
        return ""
    most = "any load" if high is None else f"up to {carried(high)} N"
    return f", though friction at its best could balance {most}: nothing here brings it to that"


def _sentence(clauses: list[str]) -> str:
    text = "; ".join(clauses)
    return f"{text[0].upper()}{text[1:]}."


def _load(load: float) -> str:
    return f"{newtons(round(load))} N"


def _part(c: ConstructResult, name: str) -> str:
    """A part with what it is: ``the screw 'upper lag'``, ``the row of 4 screws 'raft'``."""
    for load in c.loads:
        if name in load.members:
            found = load.members[name]
            return f"the {piece_or_row(found.kind, found.count)} '{name}'"
        if name in load.grafts:
            return f"{FILLING} '{name}'"
        if name in load.fractures:
            return f"the fracture '{name}'"
    return f"'{name}'"


def _carries(c: ConstructResult) -> str:
    """What carries most of a fragment at the largest listed load that is held."""
    held = [r for r in c.loads if r.status == Status.HELD]
    if not held:
        return ""
    load = max(held, key=lambda r: r.total_load_N)
    found = [(f.carried_most_share, name, f.carried_most_by) for name, f in load.fragments.items()
             if f.carried_most_share is not None and f.carried_most_by is not None]
    if not found:
        return ""
    name = _worst(load) or found[0][1]
    share, name, source = next((x for x in found if x[1] == name), found[0])
    if share > MOST_SHARE:
        return ""
    metal = " with any metal bonded across it" if not ranked(c) and source in load.fractures else ""
    return (f"at {_load(load.total_load_N)} {_part(c, source)}{metal} carries "
            f"{100 * share:.0f}\N{NO-BREAK SPACE}% of the load on '{name}'"
            + (", since other parts push it on" if share >= PUSHED else ""))


def _worst(load: LoadResult) -> str | None:
    """The loaded fragment that subsides most."""
    sunk = {k: f.subsidence_mean_mm for k, f in load.fragments.items()
            if f.subsidence_mean_mm is not None and f.carried_by}
    most = max(sunk.values(), default=0.0)
    # Of those that sink alike, the first of the study.
    return next((k for k in sunk if sunk[k] >= most - max(SAME * abs(most), SAME_MM)), None)


def first_failure(c: ConstructResult) -> PathEvent | None:
    """The first event after slip and opening up to where the search ends; None without one."""
    return _first(c, () if c.path is None else c.path.events, tuple(FAILURES))


def _first(c: ConstructResult, events: Sequence[PathEvent], kinds: tuple[str, ...]
           ) -> PathEvent | None:
    return min((e for e in events if e.kind in kinds and e.load_N <= c.search_limit_N),
               key=lambda e: e.ram_mm, default=None)


def failure_words(c: ConstructResult, event: PathEvent) -> str:
    """What an event of a construct's path means: ``the plate 'a' forms a plastic hinge``."""
    more = event.kind in FURTHER and (event.kind, event.where.part) in standing(c)
    return (FURTHER if more else FAILURES)[event.kind].format(_what(c, event, more))


def standing(c: ConstructResult) -> dict[tuple[str, str], PathEvent]:
    """What tightening alone has led to, by kind of event and part."""
    already = () if c.path is None else c.path.already
    return {(e.kind, e.where.part): e for e in already if e.kind in STANDING}


def _what(c: ConstructResult, event: PathEvent, more: bool = False) -> str:
    """What an event is of. Metal and gaps are not crushed: bone is, at a screw or a fracture."""
    kind, named = event.kind, _part(c, event.where.part)
    if kind == PART:
        return f"the {'bond' if named.startswith(FILLING) else 'anchorage'} of {named}"
    if kind == "thread":
        row = named.startswith("the row")
        return f"the {'threads' if row else 'thread'} of {named} {'give' if row else 'gives'} way"
    if kind != "crushing":
        return named
    graft, crushed = named.startswith(FILLING), event.what or BONE
    if graft and crushed in (GRAFT, CEMENT):
        return f"of {named}" if more else named
    return f"{crushed} {'along' if graft or named.startswith('the fracture') else 'at'} {named}"


def _fails(c: ConstructResult) -> str:
    if c.path is None:
        return ""
    event, before = first_failure(c), standing(c)
    when = "after its stages" if c.begins else "when tightened"
    already = [f"already {when}, {STANDING[kind].format(_what(c, found))}"
               for (kind, _), found in sorted(before.items(), key=lambda x: x[0])]
    if event is None:
        most = min(c.search_limit_N, max(p.load_N for p in c.path.points))
        falls = _falls(c, inf)
        parts = _parts(c, falls[0][0]) if falls else []
        part = "" if parts else _part_at_strength(c, when)
        yields = [f"{'then' if k else 'first'}, {at}, {said}" for k, (_, at, said) in enumerate(
            sorted(_yields(c, most) + falls + parts))]
        more, whole = "more " if already or yields else "", " as a whole" if part or parts else ""
        words = f"nothing {more}gives way{whole} up to {carried(most)} N"
        if not ranked(c):
            words += f" ({NO_STRENGTH})"
        return "; ".join(filter(None, (*already, *yields, words, part)))
    told = _yields(c, event.load_N) + _falls(c, event.ram_mm) + _parts(c, event.load_N)
    steps = [*((when, said) for _, when, said in sorted(told)),
             (_at(event.load_N, event.kind), failure_words(c, event))]
    return "; ".join([*already, *(f"{'then' if already or k else 'first'}, {when}, {said}"
                                  for k, (when, said) in enumerate(steps))])


def _yields(c: ConstructResult, before_N: float) -> list[tuple[float, str, str]]:
    """That an outer fibre of metal yields before anything fails under load: the load [N], when and
    what."""
    load, at = c.first_yield_N, c.first_yield_at
    if load is None or not 0.0 < load < before_N:
        return []
    part = "metal" if at is None else _part(c, at.part)
    at_most = OR_LESS * c.first_yield_at_most
    return [(load, _at(load) + at_most, f"{part} yields at its surface")]


def _parts(c: ConstructResult, before_N: float) -> list[tuple[float, str, str]]:
    """That part of an anchorage or bond gives way before a load [N]: as `_yields`."""
    found = None if c.path is None else _first(c, c.path.events, (PART,))
    if found is None or found.load_N >= before_N:
        return []
    return [(found.load_N, _at(found.load_N), f"part of {_what(c, found)} gives way")]


def _falls(c: ConstructResult, before_mm: float) -> list[tuple[float, str, str]]:
    """That a piece goes down without more load before anything fails: as `_yields`."""
    found = None if c.path is None else _first(c, c.path.events, ("plateau",))
    if found is None or found.ram_mm > before_mm:
        return []
    piece = _part(c, found.where.part) if found.where.part else "the joint"
    return [(found.load_N, _at(found.load_N),
             f"{piece} goes down by {found.what} without more load")]


def _at(load: float, kind: str = "") -> str:
    if load <= SEATED * SEAT_N:
        return SOON
    # A peak is the last load that is carried, whatever else happens is so from its load on.
    return f"at about {carried(load) if kind == 'peak' else reached(load)} N"


def _part_at_strength(c: ConstructResult, when: str) -> str:
    """Of what part gives way first, or has been at its strength since it was tightened."""
    assert c.path is not None
    for found, already in ((c.path.already, True), (c.path.events, False)):
        event = _first(c, found, (PART,))
        if event is not None:
            return f"part of {_what(c, event)} " + (
                f"is at its strength {when}" if already else
                f"gives way {_at(event.load_N)}")
    return ""


def _rests_on(c: ConstructResult) -> str:
    """Friction, where the weight-bearing table rests on it, and tension of screws."""
    when = "after its stages, without load," if c.begins else "before it is loaded"
    tension = f"{when} its screws pull with {_load(c.tightened_N)} in total" if c.tightened_N \
        else ""
    return "; ".join(filter(None, (_friction(c), _unloaded(c), tension)))


def _unloaded(c: ConstructResult) -> str:
    """On which pieces no load acts, where that leaves open what friction does for them."""
    if c.limits_without_friction or c.without_friction_N is not None:
        return ""
    pieces = dict.fromkeys(name for load in c.loads for name in load.fragments)
    free = [f"'{name}'" for name in pieces
            if not any(any(load.fragments[name].applied_N) for load in c.loads)]
    return f"no load acts on {listed(free)}" if free else ""


def _friction(c: ConstructResult) -> str:
    """From which load on the table rests on friction, or does not know whether it does."""
    low, limit = friction_needed(c)
    known = friction_not_known(c) if low is None else None
    if known is not None and _says(c, floor(known) + 1, HOLDS):
        return "what it carries with friction lost is " + (
            f"known only up to {carried(known)} N" if known >= 1.0 else NOT_KNOWN)
    # The first whole load, of 1 N at least, of which the table could say so.
    if low is None or not _says(c, max(ceil(low) if limit else floor(low) + 1, 1), ONLY_FRICTION):
        return ""
    if limit:
        return f"with friction lost it is {OVER}{limit} " + (
            f"from {reached(low)} N" if low > 0.0 else "at any load")
    return f"above {carried(low)} N it depends on friction" if low >= 1.0 else \
        "it carries nothing without friction"


def _says(c: ConstructResult, load: float, said: str) -> bool:
    """Whether the table has a verdict on a load [N], as far as loads are searched."""
    return load <= c.search_limit_N and judged(c, load).verdict == said


def _crosses(c: ConstructResult, every: tuple[ConstructResult, ...]) -> str:
    """The crossing with the construct of the highest rank whose curve crosses this one's."""
    for other in best_first(every):
        if other.name == c.name or not ranked(c) or not ranked(other):
            continue
        found = crossing(c, other)
        if found is None:
            continue
        return _crossing_words(c, other.marked_name, found)
    return ""


def _crossing_words(c: ConstructResult, other: str, found: Crossing) -> str:
    if len(found.places) > 2:
        return _crossings_words(c, other, found)
    load, first = _load(found.load_N), _load(found.tied_from_N)
    below, above = ("less", "more") if found.stiffer == c.name else ("more", "less")
    said = f"up to about {first} it moves {below} than '{other}', above that "
    said += above if first == load else \
        f"the two are tied, and above about {load} it moves {above}"
    return said + ("" if found.until_N is None else
                   f", and above about {_load(found.until_N)} {below} again")


def _crossings_words(c: ConstructResult, other: str, found: Crossing) -> str:
    """Three crossings and more: what holds below the first of them and above the last."""
    turns = len(found.places) % 2 == 1
    below, above = ("less", "more") if found.stiffer == c.name else ("more", "less")
    return (f"its curve crosses that of '{other}' {len(found.places)} times, first at about "
            f"{_load(found.tied_from_N)} and last at about {_load(found.places[-1][1])}: it has "
            f"moved {below} below the first and {f'{above} ' if turns else ''}above the last")
