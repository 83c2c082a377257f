"""Reading a path: stiffness, loads at stated movements, first yield and crushing, peak, reserve."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from typing import Any

import numpy as np

from buttress.bone.patches import shown_share
from buttress.fe.solve.events import EVERY, Event, events_of, standing
from buttress.fe.solve.path import PLATEAU
from buttress.fe.solve.reached import probe
from buttress.implants.kinds import Hold
from buttress.model.model import Model
from buttress.model.pressing import SEARCH_LIMIT_N
from buttress.results.crushed import at_pins, medium, medium_at
from buttress.results.figures import Figures, Level
from buttress.results.limits import gauge_of, moved_joint
from buttress.results.path import (
    LEVEL_MM,
    NOTICED_MM,
    Derived,
    PathEvent,
    PathPoint,
    PathResult,
    Reserve,
    Where,
)
from buttress.results.quantities import quantity
from buttress.results.reader import Reader
from buttress.results.records import BEYOND, FOUND
from buttress.results.search import LEAST_N, NOT_FOUND, Gauge, Reached, Search
from buttress.results.threads import whole_thread
from buttress.results.work import work_to
from buttress.study.tables import number

MOVED_MM = (0.5, 2.0, 5.0)
"""Movements at which loads are reported; bench tests call 2 mm or 5 mm failure."""
PROBES = (1 / 3, 2 / 3, 1.0)
"""Shares of the points up to the peak at which other answers are looked for."""
RUNG = 1.1
"""Where only the reserve is asked, a path is pressed by this factor of load farther at a time."""
PEAK, RESERVE, STIFFNESS = ("peak_N", "peak_status"), ("reserve_N", "reserve_is"), (
    "stiffness_N_per_mm",)
"""Quantities of the path that can be asked alone, by key."""


def derive(search: Search, reader: Reader, metal: Gauge, movement_mm: float, whole: bool = True,
           moved: tuple[float, ...] = (), others: bool = True) -> Derived:
    """All that is read off the path of a search; ``metal`` is the gauge of stress over yield.

    ``movement_mm``: of the joint, by which constructs are ordered (not taken from the model's bone,
    which a sweep shares among studies that differ in it).
    Without ``whole`` only the loads that a sweep stores: no points, no other events than crushing,
    no other answers, of the movements only the one that bench tests call failure, or ``moved``,
    with which the joint's own movement up to failure belongs.
    ``others``: look for other answers from other starts, which costs as much as the path.
    """
    if not search.points:
        return Derived(peak_status=search.ends_status,
                       reserve=Reserve(None, movement_mm, None, None))
    model, path = search.model, search.path
    events, already = _events(search, EVERY if whole else ("crushing",))
    crushing, crushed = _crushing(search, events, already)
    ends = search.peak
    failure = number("anatomy", "limits", "failure")
    loads = np.array([p.load_N for p in path.points])
    places = np.array([p.ram_mm for p in path.points])
    stiffness, at = _stiffness(search)
    energy = float(np.trapezoid(loads[:ends + 1], places[:ends + 1]))

    def load_at(level: Level, key: str) -> dict[str, float | None]:
        out: dict[str, float | None] = {}
        for limit in MOVED_MM if whole else moved or (failure,):
            reached = search.reach(gauge_of(reader, model, (quantity(level, key),), limit),
                                   past_peak=True)
            out[f"{limit:g}"] = None if isinstance(reached, str) else reached.load_N
        return out

    yielding, at_most = search.reach_by(metal)
    thread = search.reach(whole_thread(model)) if whole else ""
    return Derived(
        path=_result(search, reader, events, already, thread, others) if whole else None,
        peak_N=search.known_to, peak_status=search.ends_status,
        stiffness_N_per_mm=stiffness, stiffness_at_N=at,
        energy_to_peak_Nmm=energy if search.ends_status == FOUND else None,
        load_at_N={"subsidence": load_at(Level.FRAGMENT, "subsidence_mean_mm"),
                   "step_off": load_at(Level.EDGE, "step_off_mm")},
        first_yield_N=None if isinstance(yielding, str) else yielding.carried_N,
        first_yield_at=None if isinstance(yielding, str) else yielding.reading.where,
        first_yield_at_most=at_most,
        first_crushing_N=crushing, first_crushing_of=crushed,
        first_thread_N=None if isinstance(thread, str) else thread.carried_N,
        reserve=_reserve(search, moved_joint(reader, model, movement_mm)),
        reserve_to_failure=_reserve(search, moved_joint(reader, model, failure))
        if whole or moved else None,
        work=work_to(search, reader, failure) if whole else None)


def derive_only(model: Model, reader: Reader, movement_mm: float, asked: Collection[str],
                pressed_N: float) -> Derived:
    """Some of `PEAK`, `RESERVE` and `STIFFNESS`, read as `derive` reads them along a path that is
    pressed no farther than they need; what is not asked stays empty.

    ``pressed_N``: load up to which the path has been pressed in any case.
    """
    reserve = Reserve(None, movement_mm, None, None)
    if any(key in asked for key in PEAK):
        search = Search(model)
    else:
        search = Search(model, max(pressed_N, number("anatomy", "limits", "stiffness_load"))
                        if STIFFNESS[0] in asked else pressed_N)
    if any(key in asked for key in RESERVE):
        search, reserve = _to_reserve(search, moved_joint(reader, model, movement_mm))
    stiffness, at = _stiffness(search)
    return Derived(peak_N=search.known_to if search.points else None,
                   peak_status=search.ends_status, stiffness_N_per_mm=stiffness, stiffness_at_N=at,
                   reserve=reserve)


def _to_reserve(search: Search, gauge: Gauge) -> tuple[Search, Reserve]:
    """The reserve by a gauge of movement, and the search along the path up to there or, where it
    is never reached, along all of the path."""
    found = _reserve(search, gauge)
    while (found.load_N is None and found.kept_to_N is None and search.ends_status == BEYOND
           and search.most < SEARCH_LIMIT_N):
        farther = RUNG * max(search.most, search.points[-1].load_N)
        search = Search(search.model, min(farther, SEARCH_LIMIT_N))
        found = _reserve(search, gauge)
    return search, found


def _stiffness(search: Search) -> tuple[float | None, float | None]:
    """The secant of the force on what the section shows over how far its joint is pressed, and the
    joint force at which it is taken.

    The ram is conjugate to the whole joint force: of a slice, which takes a share of it, the joint
    moves farther.
    """
    at = number("anatomy", "limits", "stiffness_load")
    if not search.points or search.known_to < at:
        return None, None
    first = next(i for i, p in enumerate(search.points) if p.load_N >= at)
    around = search.points[first - 1:first + 1]
    pressed = float(np.interp(at, [p.load_N for p in around], [p.ram_mm for p in around]))
    share = shown_share(search.model.bone.study)
    stiffness = share**2 * at / pressed if pressed > 0.0 else None
    return stiffness, None if stiffness is None else at


def first_events(search: Search, metal: Gauge) -> dict[str, Any]:
    """Loads [N] from which on metal yields, something is crushed (and what) and a screw's thread
    gives way, up to the largest load: what first happens past a peak happens at no load that is
    still to be reached."""
    if not search.points:
        return {}
    crushing, crushed = _crushing(search, *_events(search, ("crushing",)))
    yielding, at_most = search.reach_by(metal)
    thread = search.reach(whole_thread(search.model))
    return {"first_yield_N": None if isinstance(yielding, str) else yielding.carried_N,
            "first_yield_at_most": at_most,
            "first_crushing_N": crushing, "first_crushing_of": crushed,
            "first_thread_N": None if isinstance(thread, str) else thread.carried_N}


def _crushing(search: Search, events: tuple[PathEvent, ...], already: tuple[PathEvent, ...]
              ) -> tuple[float | None, str]:
    """The load [N] at which something is first crushed, 0 where tightening has done so, and
    what."""
    top = search.points[search.peak].ram_mm
    first = next((e for e in (*already, *events) if e.kind == "crushing" and e.ram_mm <= top), None)
    return (None, "") if first is None else (first.load_N, first.what)


def _result(search: Search, reader: Reader, events: tuple[PathEvent, ...],
            already: tuple[PathEvent, ...], thread: Reached | str, others: bool) -> PathResult:
    """The path with its points, and whether other starts find other answers."""
    path, spread = search.path, 0.0
    if not isinstance(thread, str):
        given = PathEvent("thread", thread.load_N, thread.ram_mm, thread.reading.where)
        if given.ram_mm > 0.0:
            events = tuple(sorted((*events, given), key=lambda e: e.ram_mm))
        else:
            already = (*already, given)
    unique = True if others else None
    for share in PROBES if others else ():
        tried = round(share * search.peak)
        if tried >= 1 and search.known_to > 0.0:
            found, apart = probe(path, tried)
            unique, spread = bool(unique) and found == "unique", max(spread, apart)
    points = tuple(_point(reader, search.model, search, i) for i in range(len(path.points)))
    events = tuple(sorted((*events, *plateau(points)), key=lambda e: e.ram_mm))
    return PathResult(
        status=path.status, stopped=path.stopped, unique=unique, spread=spread, points=points,
        events=events, gaps_mm=tuple(g.ram_mm for g in path.gaps), already=already,
        moves_from_mm=path.moves_from)


def plateau(points: Sequence[PathPoint]) -> Iterator[PathEvent]:
    """The first stretch of a path over which the ram goes on without more load, which then rises:
    one without an end is the peak."""
    for i, first in enumerate(points):
        rest, level = points[i + 1:], (1.0 + PLATEAU) * max(first.load_N, LEAST_N)
        end = next((k for k, p in enumerate(rest) if p.load_N > level), 0)
        last = rest[end - 1] if end else first
        if last.ram_mm - first.ram_mm > LEVEL_MM:
            sunk = {name: now - was for name, now in last.subsidence_mm.items()
                    if now is not None and (was := first.subsidence_mm[name]) is not None}
            down, most = max(((mm, name) for name, mm in sunk.items() if mm > 0.0),
                             default=(last.ram_mm - first.ram_mm, ""))
            yield PathEvent("plateau", first.load_N, first.ram_mm, Where(most, None),
                            f"{down:.1f} mm")
            return


def _reserve(search: Search, gauge: Gauge) -> Reserve:
    reached, limit = search.reach(gauge), gauge.limit
    if isinstance(reached, str):
        lost = reached.startswith(NOT_FOUND)
        return Reserve(None, limit, None, None, *(search.between(gauge) if lost else ()))
    part = reached.reading.where.part
    which, _, where = part.partition(" of ")
    return Reserve(reached.carried_N, limit, which, where)


def _point(reader: Reader, model: Model, search: Search, number: int) -> PathPoint:
    point = search.points[number]
    answer = model.pressing.since_tightened(point)
    f = Figures(reader, model, answer, point.load_N)
    moved = moved_joint(reader, model, 1.0).read(answer)    # its reading, whatever the limit

    def read(level: Level, key: str) -> dict[str, float | None]:
        q = quantity(level, key)
        return {place: q.value(f, place) for place in f.places(level)}

    return PathPoint(point.ram_mm, point.load_N, "held",
                     read(Level.FRAGMENT, "subsidence_mean_mm"), read(Level.EDGE, "step_off_mm"),
                     read(Level.EDGE, "gap_mm"), None if moved is None else moved.value)


def _events(search: Search, kinds: tuple[str, ...]
            ) -> tuple[tuple[PathEvent, ...], tuple[PathEvent, ...]]:
    """What loading leads to first, and what tightening alone had led to.

    Of a screw the first of thread and bearing counts as its yield; where its bearing is first to be
    crushed is looked for besides.
    """
    model = search.model
    found = [_told(model, e) for e in events_of(search.path, kinds, NOTICED_MM)]
    pins = search.reach(at_pins(model))
    if not isinstance(pins, str) and pins.ram_mm > 0.0:
        where = pins.reading.where
        found.append(PathEvent("crushing", pins.load_N, pins.ram_mm, where,
                               medium_at(model, where)))
    first: dict[tuple[str, str], PathEvent] = {}
    for e in sorted(found, key=lambda e: e.ram_mm):
        first.setdefault((e.kind, e.where.part), e)
    return tuple(first.values()), tuple(_told(model, e) for e in standing(search.path))


def _told(model: Model, e: Event) -> PathEvent:
    """An event in results; what a screw presses on across its axis is crushed."""
    link = model.problem.links.links[e.link] if e.link >= 0 else None
    kind = e.kind
    if link is not None and kind == "yield":     # of metal it would be the first yield
        kind = "crushing" if link.kind == Hold.BEARING else "anchorage"
    what = medium(model, link) if link is not None and kind == "crushing" else ""
    return PathEvent(kind, e.load_N, e.ram_mm, _where(e.source, e.place), what)


def _where(source: str, place: tuple[float, float]) -> Where:
    x, y = place
    return Where(source, None if np.isnan(x) or np.isnan(y) else (float(x), float(y)))
