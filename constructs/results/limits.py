"""At which load each limit of a study is reached, and where.

A gauge is a figure of an answer over its limit, so that 1 is the limit. Gauges are taken to rise
with the load; `search.Search` finds the first place on the path where one reaches 1. Bone over
yield is found through the percentile of strain that stands for the share of volume: the share
itself is zero for long and then steep, the percentile grows almost evenly.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.assembly import quadrature_points
from buttress.fe.solve.answer import Answer
from buttress.fe.solve.recover import strained
from buttress.model.model import Model
from buttress.results.beyond import METAL, OR_LESS
from buttress.results.figures import Figures, at
from buttress.results.quantities import LIMITS, MOVEMENT, limited, quantity
from buttress.results.quantity import EQUILIBRIUM, Limit, Quantity
from buttress.results.reader import Reader, bone_strain
from buttress.results.records import (
    BEYOND,
    ENDED,
    NOT_KNOWN,
    ConstructResult,
    LetsGo,
    LimitResult,
    Where,
)
from buttress.results.search import NOT_FOUND, Gauge, Reading, Search, not_found
from buttress.results.stress import middle
from buttress.study.activities import about, carried, newtons, reached
from buttress.study.loads import LimitsInput

TIGHTENING, STAGES = "tightening", "its stages"
"""What may reach a limit before a construct is pressed, in words."""
NAMES = {"step_off_mm": "step-off", "gap_mm": "gap", "subsidence_net_mm": "subsidence"}
"""What moves, by the quantities of `MOVEMENT`."""


def limits_of(limits: LimitsInput) -> tuple[Limit, ...]:
    """The limits that a study sets, by its own key or by default."""
    return tuple(x for x in LIMITS if getattr(limits, x.key) is not None)


def gauges(reader: Reader, model: Model, limits: LimitsInput) -> tuple[Gauge, ...]:
    """The gauges of a construct in the order of their report: the worst of a quantity, each."""
    out = []
    for x in limits_of(limits):
        limit, costly = float(getattr(limits, x.key)), x.quantity == "bone_over_yield"
        read: Callable[[Answer], Reading | None] = partial(largest, reader, model, (limited(x),))
        if costly:
            read, limit = partial(strained_bone, reader, model, share=limit), 1.0
        out.append(Gauge(x.name, x.key, limit, x.gauge_unit, read, costly))
    return tuple(out)


def gauge_of(reader: Reader, model: Model, quantities: Sequence[Quantity], limit: float) -> Gauge:
    """The gauge of the worst of some quantities; its place names which of them it is."""
    return Gauge(quantities[0].words, "", limit, quantities[0].unit,
                 partial(largest, reader, model, quantities, named=True))


def yield_words(c: ConstructResult) -> str:
    """The first yield of metal as an event, where it is no limit of the study; else empty."""
    limit = c.limits.get(METAL)
    if (limit is not None and limit.limit in (None, 1.0)) or c.first_yield_N is None:
        return ""
    by_tightening = c.first_yield_N == 0.0
    when = "by tightening alone" if by_tightening else (
        f"at about {reached(c.first_yield_N)} N{OR_LESS * c.first_yield_at_most}")
    free = "; the study sets no limit on it" if limit is None else ""
    where = f" ({c.first_yield_at.words})" if c.first_yield_at is not None else ""
    return f"metal first yields {when}{where}{free}"


def first_yield(reader: Reader, model: Model, pulls: Sequence[FloatArray] | None = None) -> Gauge:
    """The gauge of the stress of metal over its yield, whatever limit a study sets.

    ``pulls``: for each member the matrix ``(n_dof, n)`` from link forces to those on its nodes,
    where it is known.
    """
    return Gauge(METAL, "", 1.0, "stress / yield stress", partial(
        largest, reader, model, tuple(limited(x) for x in LIMITS if x.quantity == "yield_ratio"),
        pulls=pulls))


def moved_joint(reader: Reader, model: Model, far: float) -> Gauge:
    """The gauge by which constructs are ordered: the joint has moved as far as ``far`` [mm]."""
    rows = tuple(replace(quantity(level, key), at=None) for level, key in MOVEMENT)
    return replace(gauge_of(reader, model, rows, far), name="movement", key="movement_mm")


def largest(reader: Reader, model: Model, rows: Sequence[Quantity], answer: Answer,
            named: bool = False, pulls: Sequence[FloatArray] | None = None) -> Reading | None:
    """Largest value of some quantities at any place, and where; None where there is none.

    ``named``: the place is that of a quantity, as in "gap of shear plane". ``pulls``: see
    `first_yield`.
    """
    figures, found = Figures(reader, model, answer, pulled=None if pulls is None else (
        lambda: [matrix @ answer.force for matrix in pulls])), []
    for q in rows:
        for place in figures.places(q.level):
            value = q.value(figures, place)
            if value is not None:
                found.append((value, q, place))
    if not found:
        return None
    value, q, place = max(found, key=lambda x: x[0])
    if named:
        return Reading(value, Where(f"{NAMES.get(q.key, q.words)} of {place}", None))
    return Reading(value, Where(place, None) if q.at is None else q.at(figures, place))


def strained_bone(reader: Reader, model: Model, answer: Answer, share: float) -> Reading:
    """Strain over yield strain that a share of the bone's volume exceeds; where such bone lies.

    Over 1 just where more than that share of the volume is over yield. The place is the point of
    that bone next to its centre, in the piece that has most of it.
    """
    ratios = bone_strain(reader, strained(model.problem, answer))[0]
    volumes = [t.volume for t in reader.tissues]
    value = np.concatenate([r.ravel() for r in ratios])
    weight = np.concatenate([v.ravel() for v in volumes])
    order = np.argsort(value)
    rising = np.cumsum(weight[order]) / weight.sum()
    last = order[min(int(np.searchsorted(rising, 1.0 - share)), value.size - 1)]
    top = float(value[last])
    most = max(range(len(ratios)), key=lambda i: float(volumes[i][ratios[i] >= top].sum()))
    place = middle(quadrature_points(reader.bone.bodies[most].mesh),
                   (volumes[most] * (ratios[most] >= top)).sum(axis=-1))
    return Reading(top, at(reader.bone.solids[most].name, place))


def find_limits(search: Search, found: Sequence[Gauge], letting_go: tuple[LetsGo, ...],
                escapes: str | None) -> dict[str, LimitResult]:
    """The load at which each limit is reached, with its place, or the words why there is none."""
    out = {gauge.name: find_limit(search, gauge) for gauge in found}
    out[EQUILIBRIUM] = _capacity(search, letting_go, escapes)
    return out


def find_limit(search: Search, gauge: Gauge) -> LimitResult:
    """The load at which one limit is reached, or the words why there is none."""
    reached, about = search.reach(gauge), (gauge.key, gauge.limit, gauge.unit)
    if not isinstance(reached, str):
        return LimitResult(reached.carried_N, reached.reading.where, *about)
    found = LimitResult(None, None, *about, reached)
    if not_found(found):
        kept, over = search.between(gauge)
        return replace(found, kept_to_N=kept, over_from_N=over)
    return found


def _capacity(search: Search, letting_go: tuple[LetsGo, ...], escapes: str | None) -> LimitResult:
    """The peak of the path; the place is what is at its bound in limit analysis (in the one
    without friction where friction alone would hold any load)."""
    about = ("", None, "N")
    if search.ends_status == BEYOND:
        return LimitResult(None, None, *about, f"no peak up to {newtons(search.most)} N")
    if search.ends_status == NOT_KNOWN:
        return LimitResult(None, None, *about, f"{NOT_FOUND}: answers did not converge",
                           search.known_to)
    if search.ends_status == ENDED:
        return LimitResult(search.ends, Where(ENDED, None), *about)
    if search.known_to > 0.0 and letting_go:
        first = letting_go[0]
        return LimitResult(search.ends, Where(f"{first.kind} of {first.source}", first.place_mm),
                           *about)
    return LimitResult(search.ends, Where(escapes, None) if escapes else None, *about)


def kept_words(name: str, limit: LimitResult) -> str:
    """What is known of a limit whose load was not found."""
    kept = f"{carried(limit.kept_to_N or 0.0)} N"
    if name == EQUILIBRIUM:
        return f"peak not known above {kept}, where answers did not converge"
    over = "" if limit.over_from_N is None else \
        f" and no longer from {reached(limit.over_from_N)} N on"
    return f"the load at the limit of {name} was not found; the limit is met up to {kept}{over}"


def lowest(limits: dict[str, LimitResult]) -> str | None:
    """Name of the limit that is reached at the lowest load, or is known to be over from there on;
    None where none is reached."""
    found = [(load, name) for name, r in limits.items() if (load := _by(r)) is not None]
    return min(found, key=lambda x: x[0])[1] if found else None


def _by(limit: LimitResult) -> float | None:
    """By which load [N] a limit is reached."""
    return limit.over_from_N if limit.load_N is None else limit.load_N


def first_words(limits: dict[str, LimitResult], search_limit: float, without_load: str,
                alone: str = TIGHTENING) -> str:
    """Which limit is reached first as the load rises, in words.

    ``without_load``: why a construct carries no load at all; ``alone``: what had come before it
    was loaded.
    """
    name = lowest(limits)
    least = search_limit if name is None else _by(limits[name]) or 0.0
    lost = "".join(f"; {kept_words(n, r)}" for n, r in limits.items()
                   if n != name and not_found(r) and (r.kept_to_N or 0.0) < least)
    if name is None:
        return ("none found" if lost else f"none below {newtons(search_limit)} N") + lost
    limit = limits[name]
    if limit.load_N is None:
        return (f"{limit_words(name, limit)} between {carried(limit.kept_to_N or 0.0)} N and "
                f"{reached(least)} N, where answers did not converge{lost}")
    where = (f" ({limit.where.words})" if limit.where else "") + lost
    if name == EQUILIBRIUM and limit.load_N == 0.0:
        return f"no equilibrium: {without_load}{where}"
    if limit.load_N == 0.0:
        return f"{limit_words(name, limit)} by {alone} alone{where}"
    load = (carried if name == EQUILIBRIUM else reached)(limit.load_N or 0.0)
    return f"{limit_words(name, limit)} at {about(limit.load_N or 0.0, load)}{where}"


def limit_words(name: str, limit: LimitResult) -> str:
    """What happens at a limit: ``step-off reaches 2 mm``."""
    if name == EQUILIBRIUM:
        return "end of the path" if limit.where == Where(ENDED, None) else "peak"
    if name == "bone over yield":
        return "share of bone over yield exceeds its limit"
    if name == METAL:
        return "metal reaches yield" if limit.limit == 1.0 else (
            f"metal reaches {100 * (limit.limit or 0.0):g} % of yield")
    return f"{name} reaches {limit.limit:g} {limit.unit}"
