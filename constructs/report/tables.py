"""Tables of the report page as plain data: numbers in words, rows, what is said of a construct."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from markupsafe import Markup

from buttress.draw.charts import bracket_words
from buttress.fe.status import Status
from buttress.report.error_bars import below, interval_of
from buttress.report.markup import Cell, Shown, Table, render
from buttress.report.terminal import beside, ends_text, ends_words, no_peak
from buttress.results.bearing import MOST_COLUMNS, Bearing
from buttress.results.beyond import OR_LESS
from buttress.results.judged import HOLDS, ONLY_FRICTION, UNKNOWN
from buttress.results.judged import Cell as Judged
from buttress.results.limits import kept_words, limit_words, yield_words
from buttress.results.order import ENDS, basis_words, ranks, reserve
from buttress.results.quantities import headed, in_row, worst_fragment
from buttress.results.quantity import EQUILIBRIUM, Quantity
from buttress.results.records import (
    ENDED,
    NOT_LOADED,
    ConstructResult,
    FragmentResult,
    LoadResult,
    largest,
    not_loaded,
)
from buttress.results.search import not_found
from buttress.results.verdict import KEPT, verdict
from buttress.results.work import work_words
from buttress.study.activities import carried, newtons, reached
from buttress.words import BREAKS_RULE, fixed


def number(value: float | None, digits: int) -> str | None:
    """A number with fixed decimals; None where it does not exist."""
    return None if value is None else fixed(value, digits)


def tiny(value: float | None) -> str | None:
    """An error measure in powers of ten."""
    return None if value is None else f"{value:.0e}"


def share(value: float | None, digits: int = 0) -> str | None:
    """A fraction as per cent."""
    return None if value is None else f"{100.0 * value:.{digits}f} %"


TRUST = ("algebra\nerror", "bone\nover yield", "warn-\nings")


def head(movement_mm: float) -> tuple[str, ...]:
    """Heads of the main table, for the movement by which constructs are ordered."""
    return ("construct", "load\n[N]", "verdict", *(_head(q) for q in headed()), "capacity\n[N]",
            "peak\n[N]", "rank",
            f"joint moved\n{movement_mm:g}\N{NO-BREAK SPACE}mm at\n[N]",
            *(_head(q) for q in headed(constructs=True)))


def _head(q: Quantity) -> str:
    unit = "" if q.shown_unit in ("", "%") else f"\n[{q.shown_unit}]"
    return q.header.replace("|", "\n") + unit


def shown(q: Quantity, value: object) -> Shown:
    """A quantity as a cell shows it; a dash where it does not exist."""
    said = q.text(value)
    return None if said is None else said + (" %" if q.style == "percent" else "")


def main_table(constructs: Sequence[ConstructResult]) -> Markup:
    """The comparison, one row per construct and load, with the columns that say how to trust it."""
    groups, places = [], ranks(tuple(constructs))
    for c in constructs:
        rows = []
        for load in c.loads:
            worst = worst_fragment(load)
            rows.append({"cells": (
                Cell(newtons(load.total_load_N), load.load_name), _verdict(load),
                *(_over(shown(q, in_row(q, load, worst)),
                        below(c, q, load.total_load_N, worst)) for q in headed())),
                "trust": (tiny(largest(errors(load))), share(load.bone_over_yield, 2))})
        groups.append({
            "name": c.marked_name, "remarks": c.remarks, "rows": rows, "warnings": len(c.warnings),
            "cells": (bracket_words(c).removesuffix(" N"),
                      _over(ends_text(c), "\n".join(filter(None, [
                          no_peak(c), interval_of(c, "peak_N")]))), places.get(c.name),
                      _moved(c), *(shown(q, q.of(c, tuple(constructs)))
                                   for q in headed(constructs=True) if q.of))})
    return render("main_table.html.j2", {
        "head": head(constructs[0].reserve.movement_mm), "trust": TRUST, "groups": groups,
        "mark": BREAKS_RULE if any(c.breaks_rule for c in constructs) else ""})


def errors(load: LoadResult) -> tuple[float | None, float | None, float | None]:
    """Residual, complementarity error and the largest balance error of a fragment."""
    return (load.residual, load.complementarity,
            largest(f.balance_error for f in load.fragments.values()))


def trust_table(constructs: Sequence[ConstructResult]) -> Table:
    """How each answer was found, its three errors one by one and its steps."""
    rows = [(c.name, load.load_words, *(tiny(e) for e in errors(load)), load.method,
             str(load.steps)) for c in constructs for load in c.loads]
    return Table(("construct", "load", "residual", "complementarity", "balance error",
                  "method", "steps"), rows, (0, 5), "small")


def _moved(construct: ConstructResult) -> Cell:
    """The load by which a construct is ordered; the words where the joint does not move so far."""
    found = reserve(construct)
    said = []
    if found.kind == ENDS:
        said = ["end of the path" if construct.peak_status == ENDED else
                "peak" if found.load_N > 0.0 else "no load is carried"]
    said += filter(None, [interval_of(construct, "reserve_N")])
    return Cell(str(found.text), "\n".join(said))


def _over(value: Shown, interval: str) -> Shown:
    """A value with the interval of its error bar below it, where it has one."""
    return Cell(value, interval) if interval and (value is None or isinstance(value, str)) \
        else value


def _verdict(load: LoadResult) -> Cell:
    kinds = {HOLDS: "good", ONLY_FRICTION: "open", UNKNOWN: "open"}
    return Cell(load.verdict, beside(load).replace("; ", "\n"), kinds.get(load.verdict, "bad"))


def forces(fragment: FragmentResult, toward: str = "lateral") -> dict[str, Any]:
    """Who carries a fragment: every force on it, with the sum that closes."""
    if fragment.forces_N is None or fragment.moments_Nmm is None:
        return {"table": None, "load": [number(x, 0) for x in fragment.applied_N]}
    rows = [("load", fragment.applied_N, fragment.applied_moment_Nmm)]
    rows += [(name, fragment.forces_N[name], fragment.moments_Nmm[name])
             for name in sorted(fragment.forces_N, key=lambda n: -_size(fragment.forces_N[n]))]  # type: ignore[index]
    total = (sum(r[1][0] for r in rows), sum(r[1][1] for r in rows))
    body: list[Sequence[Shown]] = [
        (name, number(f[0], 1), number(f[1], 1), number(_size(f), 1), number(moment / 1000.0, 2))
        for name, f, moment in rows]
    body.append((Cell("sum", bold=True), number(total[0], 1), number(total[1], 1),
                 number(_size(total), 1), number(sum(r[2] for r in rows) / 1000.0, 2)))
    return {"table": Table(("force from", f"{toward} x [N]", "up y [N]", "size [N]",
                            "moment about its centroid [N m]"), body),
            "balance_error": tiny(fragment.balance_error)}


def _size(force: tuple[float, float]) -> float:
    return float((force[0] ** 2 + force[1] ** 2) ** 0.5)


def metal(load: LoadResult) -> Table | None:
    """Stress of plates, screws and wires under a load that is held; None where there is none."""
    if not load.members or load.status != Status.HELD:
        return None
    return Table(("plate, screw or wire", "stress [MPa]", "of yield", "largest axial force [N]",
                  "hinges that rotate"),
                 [(name, number(m.von_mises_MPa, 0), share(m.yield_ratio),
                   number(m.axial_N, 0), None if m.hinges is None else str(m.hinges))
                  for name, m in load.members.items()])


def lets_go(c: ConstructResult) -> Table | None:
    """The failure mechanism: what is at its bound at the upper bound of the capacity."""
    if not c.lets_go:
        return None
    return Table(
        ("link", "part", "places", "mean x [mm]", "mean y [mm]"),
        [(g.kind, g.source, str(g.count), number(g.place_mm[0], 0),
          number(g.place_mm[1], 0)) for g in c.lets_go], (0, 1))


def limits_table(c: ConstructResult) -> Table | None:
    """At which load each limit is reached first, and where; in words why one is not."""
    return Table(("limit", "reached at [N]", "where"), [
        (Cell(limit_words(name, r), bold=name == c.lowest_limit),
         None if r.load_N is None else (carried if name == EQUILIBRIUM else reached)(r.load_N),
         NOT_LOADED[c.status] if not_loaded(c) else kept_words(name, r) if not_found(r) else
         r.where.words if r.where else r.missing) for name, r in c.limits.items()] + (
        [(Cell("metal first yields (no limit of this study)"), reached(c.first_yield_N or 0.0)
          + OR_LESS * c.first_yield_at_most, c.first_yield_at.words if c.first_yield_at else "")]
         if yield_words(c) else []),
        (0, 2), "small") if c.limits else None


def bearing_tables(bearing: Bearing) -> tuple[Table, Table]:
    """The weight-bearing table, activities down and constructs across, or turned where
    constructs are many; and the source of each joint force."""
    forces_ = [f"{row.name}\n{row.force_words} N" for row in bearing.rows]
    names = [bearing.named(c) for c in bearing.constructs]
    cells_ = [[_judged(row.cells[c]) for row in bearing.rows] for c in bearing.constructs]
    if len(names) > MOST_COLUMNS:
        head, side = ["construct", *forces_], names
    else:
        head, side = ["activity", *names], forces_
        cells_ = [list(column) for column in zip(*cells_, strict=True)]
    body: list[list[Shown]] = [[name, *line] for name, line in zip(side, cells_, strict=True)]
    sources = [(row.name, row.force_words, f"{row.source}: {row.status}") for row in bearing.rows]
    return Table(head, body, range(len(head)), "bearing"), Table(
        ("activity", "joint force [N]", "source and status"), sources, (0, 2), "small")


def _judged(cell: Judged) -> Cell:
    """A cell of the weight-bearing table: the verdict, and below it events and soft bone."""
    return Cell(cell.own_words, "\n".join(filter(None, (cell.event_words, cell.soft_words))))


def facts(c: ConstructResult, every: tuple[ConstructResult, ...], fades: bool = False
          ) -> dict[str, Any]:
    """What is said of a construct over all loads: capacity, limits, warnings. ``fades``: whether a
    stage lets the tension of its screws fade."""
    kept = c.tightened_N > 0.0 and not fades and not not_loaded(c)
    return {"kept": KEPT.format("Its screws") if kept else "",
            "verdict": verdict(c, every), "work": "" if c.work is None else work_words(c.work),
            "capacity": bracket_words(c), "ends": ends_words(c),
            "step_off": "" if c.step_off_limit_N is None else
            f"; the step-off limit is reached at {reached(c.step_off_limit_N)} N",
            "reserve": basis_words(c), "first_limit": c.first_limit,
            "not_loaded": not_loaded(c), "limits": limits_table(c), "warnings": c.warnings}
