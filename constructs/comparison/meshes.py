"""The same constructs on finer meshes and in shorter steps: an interval for each figure.

On two meshes the interval is their spread. On three it follows from the observed order, where there
is one (`fe.richardson`). Where what has slipped, opened, crushed or yielded by a load differs
between the meshes, figures follow no power of the element size, and the spread stands too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from buttress.fe.errors import InputError
from buttress.fe.richardson import Estimate, extrapolate, spread
from buttress.files import settled
from buttress.results.bar import NOT_ON_ALL, Bar
from buttress.results.figures import Level
from buttress.results.judged import with_verdicts
from buttress.results.order import AT_LEAST, reserve
from buttress.results.quantities import in_row
from buttress.results.quantity import Quantity
from buttress.results.records import ENDED, FOUND, ConstructResult
from buttress.results.rows import csv_columns
from buttress.study.study import Study

SHARES = {2: (0.5,), 3: (0.5**0.5, 0.5)}
"""Sizes of the further meshes as a share of the study's, by the number of meshes. The ratio of
neighbours is over the 1.3 that Celik et al. 2008 ask for (memory)."""
STATUS = ("slip", "opening", "crushing", "anchorage", "hinge")
"""Events after which another part of the construct carries: see `PathEvent`."""
JUST_BEFORE = 1.0 - 1e-6
"""An event at a figure's own load (the peak, a first yield) is that figure, and no cause of it."""
Place = tuple[str, float | None, str]


def finer(study: Study, meshes: int | None) -> tuple[Study, ...]:
    """The study on the finer meshes that a number of meshes asks for; none for None.

    Raises InputError for another number, and where the finest mesh is finer than a study's may be.
    """
    if meshes is None:
        return ()
    if meshes not in SHARES:
        raise InputError("error bars need two or three meshes", key="--error-bars",
                         value=str(meshes), expected="2, or 3 for an observed order")
    out, given = [], study.mesh
    for share in SHARES[meshes]:
        try:
            mesh = type(given).model_validate({"size_mm": share * given.size_mm,
                                               "coarse_mm": share * given.coarse_mm})
        except ValueError:
            raise InputError(
                "the mesh is too fine to be refined for error bars", key="mesh.size_mm",
                value=f"{given.size_mm:g}", expected=f"at least {0.2 / share:.2g} mm, or no "
                                                     "--error-bars") from None
        grown = 1.0 + share * (study.press.step_growth - 1.0)
        out.append(study.model_copy(update={"mesh": mesh, "press": study.press.model_copy(
            update={"step_growth": grown})}))
    return tuple(out)


def with_bars(own: Sequence[ConstructResult], more: Sequence[Sequence[ConstructResult]],
              sizes: Sequence[float]) -> list[ConstructResult]:
    """The constructs with their error bars; ``more``: the same ones on each finer mesh.

    ``sizes``: element size [mm] that stands for each mesh, the study's first.
    """
    out = []
    for i, c in enumerate(own):
        each = (c, *(some[i] for some in more))
        found = [_figures(x) for x in each]
        barred = replace(c, bars=tuple(
            _bar(q, place, each, [figures.get(place, (q, None))[1] for figures in found],
                 sizes)
            for place, (q, value) in found[0].items()
            if any(figures.get(place, (q, None))[1] is not None for figures in found)))
        # Loads beyond the search are judged by what was searched for them.
        within = all(load <= c.search_limit_N for load in c.loads_N)
        out.append(with_verdicts(barred) if within else barred)
    return out


def _figures(c: ConstructResult) -> dict[Place, tuple[Quantity, float | None]]:
    """Every figure of comparison.csv that has a better and a worse, by column, load, fragment."""
    out: dict[Place, tuple[Quantity, float | None]] = {}
    for column, q, of in csv_columns():
        if q.kind is not float or q.worse is None or q.style == "power":
            continue
        if q.of is not None:
            out[column, None, ""] = q, settled(q.of(c, (c,)))
            continue
        for load in c.loads:
            for fragment in (load.fragments if q.level in (Level.FRAGMENT, Level.PIECE)
                             else ("",)):
                out[column, load.total_load_N, fragment] = q, settled(in_row(
                    q, load, fragment, of))
    return out


def _bar(q: Quantity, place: Place, each: Sequence[ConstructResult],
         values: Sequence[float | None], sizes: Sequence[float]) -> Bar:
    column, load, fragment = place
    known = [v for v in values if v is not None]
    about = (column, q.unit, load, fragment, tuple(values))
    if len(known) < len(values):
        return Bar(*about, NOT_ON_ALL, None, None, why=f"it exists on {len(known)} of "
                                                       f"{len(values)} meshes")
    found = _estimate(q, load, each, known, sizes)
    high: float | None = found.high
    why = found.why
    if any(_from_below(q, c) for c in each):
        high, why = None, "on a mesh it is known from below only"
    return Bar(*about, found.basis, found.low, high, found.order, found.limit, found.gci, why)


def _estimate(q: Quantity, load: float | None, each: Sequence[ConstructResult],
              values: Sequence[float], sizes: Sequence[float]) -> Estimate:
    """From the values on all meshes, unless these are of different things."""
    found = extrapolate(values, sizes)
    if not found.why and found.order is None:
        return found    # equal on all meshes
    if q.key == "reserve_N" and len({reserve(c).kind for c in each}) > 1:
        return spread(values, "it is the peak on one mesh, and below it on another")
    if q.key.startswith("capacity"):
        changed = len({frozenset((g.kind, g.source) for g in c.lets_go) for c in each}) > 1
    else:
        at = [load if load is not None else v if q.unit == "N" else c.stiffness_at_N
              for c, v in zip(each, values, strict=True)]
        changed = len({status(c, x) for c, x in zip(each, at, strict=True)}) > 1
    return spread(values, "contact status differs between the meshes") if changed else found


def status(c: ConstructResult, load: float | None) -> frozenset[tuple[str, str]]:
    """What has slipped, opened, crushed or yielded on the path below a load [N], and where."""
    if c.path is None or load is None:
        return frozenset()
    return frozenset((e.kind, e.where.part) for e in (*c.path.already, *c.path.events)
                     if e.kind in STATUS and e.load_N < JUST_BEFORE * load)


def _from_below(q: Quantity, c: ConstructResult) -> bool:
    """Whether a figure of a mesh is a lower bound."""
    if q.key == "reserve_N":
        return reserve(c).kind == AT_LEAST
    return q.key in ("peak_N", "known_to_N") and c.peak_status not in (FOUND, ENDED)
