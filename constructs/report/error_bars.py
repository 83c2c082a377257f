"""Error bars of discretisation: rows of a file, a table of the page, and words for the terminal."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from typing import Any

from buttress.report.markup import Table
from buttress.results.bar import NOT_ON_ALL, Bar
from buttress.results.comparison import Comparison, Meshes
from buttress.results.figures import Level
from buttress.results.quantities import by_column, quantity
from buttress.results.quantity import Quantity
from buttress.results.records import BEYOND, ENDED, NOT_KNOWN, ConstructResult
from buttress.study.activities import carried, newtons, reached

TOLD = ("subsidence_mean_mm", "step_off_max_mm")
"""Figures of a load that the terminal has the intervals of."""
TWICE = ("equilibrium_ends_N", "known_to_N")
"""Columns that say of the peak what `peak_N` says."""
NO_PEAK = {ENDED: "load at which the path ends", BEYOND: "largest load pressed",
           NOT_KNOWN: "load known to be carried"}
"""What the column of the peak holds where the path has none, by its status."""
MEANING = (
    "An error bar is the interval in which a figure lies as the mesh is refined and the steps of "
    "the ram are shortened with it, and no more than that: it says nothing of the model. It holds "
    "this mesh's value. On two meshes, or where "
    "values on three do not follow a power of the element size with an order from 0.5 to 4, or "
    "where what has slipped, opened, crushed or yielded differs between the meshes, it is the "
    "spread of the meshes, which may be smaller than the error. With an observed order it follows "
    "from Richardson extrapolation and the grid convergence index with the factor 1.25 (Celik et "
    "al., J Fluids Eng 2008;130:078001, after Roache 1994; from memory).")


def quantity_of(bar: Bar) -> tuple[Quantity, str]:
    """The row of the catalogue that an error bar is of, and what its column is of."""
    found = by_column(bar.key)
    assert found is not None
    return found


def named(bar: Bar, c: ConstructResult) -> str:
    """What an error bar of a construct is of, in words; a load is a peak where the path has one."""
    q, of = quantity_of(bar)
    if q.key == "peak_N" and c.peak_status in NO_PEAK:
        return NO_PEAK[c.peak_status]
    words = "load by which it is ordered" if q.key == "reserve_N" else q.said(q.words, of)
    return f"{words} of {bar.fragment}" if bar.fragment else words


def interval(bar: Bar) -> str:
    """The interval without its unit: ``842 to 846``, ``842 to 846 (order 1.9)``, ``≥ 4000``.

    Ends of a force are rounded outwards: a load is told as the next newton from which on it is
    reached, and is to lie in its interval."""
    q, _ = quantity_of(bar)
    if bar.low is None:
        return NOT_ON_ALL
    low, high = q.text(bar.low), q.text(bar.high)
    if q.unit == "N" and bar.high is not None and low != high:
        low, high = carried(bar.low), reached(bar.high)
    if high is None:
        return f"≥ {low}"
    words = f"{low}" if low == high else f"{low} to {high}"
    return words if bar.order is None else f"{words} (order {bar.order:.1f})"


def below(c: ConstructResult, q: Quantity, load: float | None = None, fragment: str | None = None
          ) -> str:
    """The interval as small text under a value of a table; empty without one."""
    if not c.bars or not q.csv:
        return ""
    column = next(iter(q.columns(q.csv)))
    bar = c.bar(column, load, fragment or "" if q.level is Level.FRAGMENT else "")
    return "" if bar is None or bar.low is None else f"{interval(bar)}{_percent(q)}"


def _percent(q: Quantity) -> str:
    return " %" if q.style == "percent" else ""


def words(c: ConstructResult) -> str:
    """The intervals of a construct in a sentence: its own figures, and two of each load."""
    if not c.bars:
        return ""
    said = [f"{named(b, c)} {_with_unit(b)}" for b in c.bars
            if b.load_N is None and b.key not in TWICE]
    for load in c.loads_N:
        said += [", ".join(f"{named(b, c)} {_with_unit(b)}" for b in c.bars
                           if b.load_N == load and b.key in TOLD)]
        said[-1] = f"at {newtons(load)} N {said[-1]}" if said[-1] else ""
    return "error bars: " + "; ".join(filter(None, said))


def _with_unit(bar: Bar) -> str:
    q, _ = quantity_of(bar)
    said = interval(bar)
    return said if bar.low is None else f"{said} {q.shown_unit}".rstrip()


def summary(comparison: Comparison) -> str:
    """How far the mesh matters, in a sentence: for the list of kinds of error."""
    meshes = comparison.meshes
    assert meshes is not None
    bars = [b for c in comparison.constructs for b in c.bars]
    count = Counter(b.basis for b in bars)
    found = [(b.share, c.marked_name) for c in comparison.constructs
             if (b := c.bar("reserve_N")) is not None and b.share is not None]
    wide, name = max(found, default=(None, ""))
    first = "" if wide is None else (
        f"the load by which constructs are ordered has an error bar of at most "
        f"{100 * wide:.2g} % of it ('{name}'); ")
    loads = [(b.share, named(b, c), c.marked_name) for c in comparison.constructs for b in c.bars
             if b.unit == "N" and b.load_N is None and b.key not in TWICE and b.share is not None]
    if loads:
        most, what, whose = max(loads)
        first += f"the widest bar of a load is {100 * most:.2g} % ({what} of '{whose}'); "
    return (f"{first}of {len(bars)} figures on {sizes(meshes)}, "
            + ", ".join(f"{n} {basis}" for basis, n in sorted(count.items())))


def sizes(meshes: Meshes) -> str:
    """The meshes in words: ``2 meshes (1.5 and 0.75 mm at faces; 4000 and 16000 elements)``."""
    at = " and ".join(f"{fine:.3g}" for fine, _ in meshes.asked_mm)
    many = " and ".join(map(str, meshes.elements))
    return f"{len(meshes.elements)} meshes ({at} mm at faces; {many} elements)"


def table(constructs: Iterable[ConstructResult], meshes: Meshes) -> Table:
    """Every construct's own figures, and those of a load that the main table shows."""
    return Table(
        ("construct", "figure", "load [N]", "unit",
         *(f"{fine:.3g} mm" for fine, _ in meshes.asked_mm), "interval", "basis"),
        [(c.marked_name, named(b, c), "" if b.load_N is None else newtons(b.load_N), q.shown_unit,
          *(q.text(v) for v in b.values), interval(b),
          f"{b.basis}: {b.why}" if b.why else b.basis)
         for c, b, q in _shown(constructs)], (0, 1, 3), "small")


def _shown(constructs: Iterable[ConstructResult]
           ) -> Iterator[tuple[ConstructResult, Bar, Quantity]]:
    for c in constructs:
        for b in c.bars:
            q, _ = quantity_of(b)
            if b.key not in TWICE and (b.load_N is None or q.header):
                yield c, b, q


COLUMNS = ("construct", "quantity", "unit", "total_load_N", "fragment", "value", "low", "high",
           "basis", "why", "observed_order", "limit", "grid_convergence_index", "values",
           "element_sizes_mm")


def rows(comparison: Comparison) -> list[dict[str, Any]]:
    """One row per construct and figure for error-bars.csv; ``values`` mesh by mesh as a list,
    ``[-0.12, -0.13]``, which no program takes for a formula."""
    assert comparison.meshes is not None
    steps = f"[{', '.join(f'{x:.6g}' for x in comparison.meshes.size_mm)}]"
    return [{"construct": c.name, "quantity": b.key, "unit": b.unit, "total_load_N": b.load_N,
             "fragment": b.fragment or None, "value": b.values[0], "low": b.low, "high": b.high,
             "basis": b.basis, "why": b.why or None, "observed_order": b.order, "limit": b.limit,
             "grid_convergence_index": b.gci, "element_sizes_mm": steps,
             "values": f"[{', '.join('null' if v is None else f'{v:.9g}' for v in b.values)}]"}
            for c in comparison.constructs for b in c.bars]


def interval_of(c: ConstructResult, key: str, load: float | None = None) -> str:
    """The interval of a figure of the catalogue's construct or load level, for a cell."""
    level = Level.CONSTRUCT if load is None else Level.LOAD
    return below(c, quantity(level, key), load)
