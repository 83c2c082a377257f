"""The comparison as a table on the terminal: best first, with columns that say how to trust it."""

from __future__ import annotations

from textwrap import wrap

from buttress import LABEL
from buttress.comparison.twins import WORDS
from buttress.report import bearing
from buttress.report.twins import pair_lines
from buttress.results.bearing import weight_bearing
from buttress.results.comparison import Comparison
from buttress.results.order import ORDER, best_first, rank_words
from buttress.results.records import (
    HELD_BY_NOTHING,
    NOT_KNOWN,
    ConstructResult,
    FragmentResult,
    LoadResult,
    largest,
    not_tightened,
    shown_status,
)
from buttress.study.activities import newtons

MARK = "(!) breaks a rule of the trade: see its warnings"


HEADER = ("construct", "load N", "status", "subsidence\nmean mm", "net of\nintact mm",
          "step-off\nmm", "gap\nmm", "tilt\ndeg", "plate/screw\n% of yield",
          "capacity N\nlow - high", "ends at\nN", "residual")


def cells(comparison: Comparison) -> list[tuple[str, ...]]:
    """Rows of the table as text, one a construct and load."""
    out: list[tuple[str, ...]] = []
    for construct in best_first(comparison.constructs):
        for i, load in enumerate(construct.loads):
            worst = _worst(load)
            out.append((
                construct.name if i == 0 else "", newtons(load.total_load_N),
                shown_status(construct, load),
                number(worst.subsidence_mean_mm, 3) if worst else "-",
                number(worst.subsidence_net_mm, 3) if worst else "-",
                number(largest(e.step_off_mm for e in load.edges.values()), 3),
                number(largest(e.gap_mm for e in load.edges.values()), 3),
                number(worst.tilt_deg, 2) if worst else "-",
                percent(largest(m.yield_ratio for m in load.members.values())),
                capacity_text(construct) if i == 0 else "", ends_text(construct) if i == 0 else "",
                "-" if load.residual is None else f"{load.residual:.0e}"))
    return out


def _worst(load: LoadResult) -> FragmentResult | None:
    """The fragment that sinks most, None where none has a joint surface or is held."""
    found = [(f.subsidence_mean_mm, k) for k, f in load.fragments.items()
             if f.subsidence_mean_mm is not None]
    return load.fragments[max(found)[1]] if found else None


def number(value: float | None, digits: int) -> str:
    """Rounded text, "-" for a number that does not exist; no minus before a zero."""
    return "-" if value is None else f"{round(value, digits) + 0.0:.{digits}f}"


def percent(value: float | None) -> str:
    return "-" if value is None else f"{100 * value:.0f}"


def capacity_text(construct: ConstructResult) -> str:
    """The bracket in newtons, or the words for a capacity that the model does not limit."""
    low, high = construct.capacity_N
    if high is None:
        return construct.capacity_status if low is None else f"{low:.0f} - not limited"
    return f"{low or 0.0:.0f} - {high:.0f}"


def ends_text(construct: ConstructResult) -> str:
    """Where equilibrium ends [N], as in a cell: ``5964``, ``> 10000``, ``not known (≥ 950)``."""
    ends = construct.equilibrium_ends_N
    if construct.ends_status == NOT_KNOWN:
        return f"{NOT_KNOWN} (≥ {construct.known_to_N or 0.0:.0f})"
    return f"> {construct.search_limit_N:.0f}" if ends is None else f"{ends:.0f}"


def ends_words(construct: ConstructResult) -> str:
    """Where equilibrium ends, in a clause."""
    if construct.ends_status == NOT_KNOWN:
        return (f"equilibrium is known up to {construct.known_to_N or 0.0:.0f} N, "
                "where it ends is not known")
    return f"equilibrium ends at {ends_text(construct)} N"


def lines(comparison: Comparison) -> list[str]:
    """The table as text of at most 100 columns: a heading a construct, below it a line a load."""
    rows = cells(comparison)
    head = [h.split("\n") for h in HEADER[1:9]] + [["residual"]]
    picked = [(*row[1:9], row[11]) for row in rows]
    width = [max(len(x) for x in (*h, *(r[i] for r in picked))) for i, h in enumerate(head)]

    def line(values: list[str] | tuple[str, ...]) -> str:
        return "  ".join(v.ljust(w) if i == 1 else v.rjust(w)
                         for i, (v, w) in enumerate(zip(values, width, strict=True))).rstrip()

    out = [comparison.study.title or comparison.study.name, ""]
    named = [c for c in comparison.study.load.cases if c.name]
    out += [f"{newtons(c.total_N):>6} N: {c.name}" for c in named] + [""] * bool(named)
    out += [line([h[k] if k < len(h) else "" for h in head]) for k in (0, 1)]
    for row, values in zip(rows, picked, strict=True):
        if row[0]:
            unit = " N" if row[9][-1:].isdigit() else ""
            construct = comparison[row[0]]
            out.append(f"\n{construct.marked_name}: capacity {row[9]}{unit}, "
                       f"{ends_words(construct)}")
            first = not_tightened(construct) or f"first limit: {construct.first_limit}"
            for words in (rank_words(construct, comparison.constructs), first,
                          *construct.remarks):
                out += wrap(words, 100, initial_indent="  ", subsequent_indent="    ")
        out.append(line(values))
    marks = ["", MARK] if any(c.breaks_rule for c in comparison.constructs) else []
    return [*out, *marks, ""]


def print_table(comparison: Comparison) -> None:
    """The table on standard output, with the frame of reference and the label."""
    print("\n".join(lines(comparison)))
    table = weight_bearing(comparison)
    if table is not None:
        print("\n".join([*bearing.lines(table), ""]))
    print("\n".join(wrap(ORDER, 92, break_on_hyphens=False)))
    print("Movements in the frame of the shaft, distal and opening positive, zero after the\n"
          "last tightening; the worst fragment. Capacity: limit analysis without - with\n"
          "friction, screws as tight as they were set; ends at: largest load that stepwise\n"
          "loading still holds (above the capacity where the load stretches screws further);\n"
          "not known, where answers do not converge. Only with friction: held above the lower\n"
          "bound of the capacity.\n"
          "Over 100 % of yield an outer fibre has yielded (its elastic stress is shown).")
    if beside := pair_lines(tuple(best_first(comparison.constructs))):
        print("\n" + "\n".join(beside))
        print("\n".join(wrap(WORDS, 92)))
    for construct in comparison.constructs:
        if why := not_tightened(construct):
            print("\n".join(wrap(f"'{construct.name}' {why}.", 92)))
        elif construct.capacity_N[1] == 0.0:
            print(f"'{construct.name}' is {HELD_BY_NOTHING}: capacity 0 N.")
    print(LABEL)
