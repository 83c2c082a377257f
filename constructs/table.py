"""The comparison as a table on the terminal: best first, with the columns that say how to trust it."""

from __future__ import annotations

from constructs import LABEL
from constructs.output import largest
from constructs.results import Comparison, ConstructResult, LoadResult


def best_first(constructs: tuple[ConstructResult, ...]) -> list[ConstructResult]:
    """Constructs by how many loads they hold, then by subsidence and step-off at the last one."""
    def key(c: ConstructResult) -> tuple:
        held = [r for r in c.loads if r.status == "held"]
        sunk = worst_subsidence(held[-1]) if held else None
        return (-len(held), sunk if sunk is not None else float("inf"), c.name)

    return sorted(constructs, key=key)


def worst_subsidence(load: LoadResult) -> float | None:
    """Mean subsidence of the fragment that sinks most [mm]."""
    return largest(f.subsidence_mean_mm for f in load.fragments.values())


HEADER = ("construct", "load N", "status", "subsidence\nmean mm", "net of\nintact mm",
          "step-off\nmm", "gap\nmm", "tilt\ndeg", "plate/screw\n% of yield", "capacity N\nlow - high",
          "ends at\nN", "residual")


def cells(comparison: Comparison) -> list[tuple[str, ...]]:
    """Rows of the table as text, one a construct and load."""
    out = []
    for construct in best_first(comparison.constructs):
        for i, load in enumerate(construct.loads):
            worst = _worst(load)
            out.append((
                construct.name if i == 0 else "", f"{load.total_load_N:g}", load.status,
                number(worst.subsidence_mean_mm, 3) if worst else "-",
                number(worst.subsidence_net_mm, 3) if worst else "-",
                number(largest(e.step_off_mm for e in load.edges.values()), 3),
                number(largest(e.gap_mm for e in load.edges.values()), 3),
                number(worst.tilt_deg, 2) if worst else "-",
                percent(largest(m.yield_ratio for m in load.members.values())),
                capacity_text(construct) if i == 0 else "", ends_text(construct) if i == 0 else "",
                "-" if load.residual is None else f"{load.residual:.0e}"))
    return out


def _worst(load: LoadResult):
    found = [f for f in load.fragments.values() if f.subsidence_mean_mm is not None]
    return max(found, key=lambda f: f.subsidence_mean_mm) if found else None


def number(value: float | None, digits: int) -> str:
    return "-" if value is None else f"{value:.{digits}f}"


def percent(value: float | None) -> str:
    return "-" if value is None else f"{100 * value:.0f}"


def capacity_text(construct: ConstructResult) -> str:
    """The bracket in newtons, or the words for a capacity that the model does not limit."""
    low, high = construct.capacity_N
    if high is None:
        return construct.capacity_status if low is None else f"{low:.0f} - not limited"
    return f"{low or 0.0:.0f} - {high:.0f}"


def ends_text(construct: ConstructResult) -> str:
    ends = construct.equilibrium_ends_N
    return f"> {construct.search_limit_N:.0f}" if ends is None else f"{ends:.0f}"


def print_table(comparison: Comparison) -> None:
    """The table on standard output, with the frame of reference and the label."""
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    console = Console(highlight=False, soft_wrap=False)
    width = max(console.width, 110)
    console = Console(highlight=False, width=width)
    table = Table(title=escape(comparison.study.title or comparison.study.name),
                  title_justify="left", show_lines=False, pad_edge=False)
    for i, name in enumerate(HEADER):
        table.add_column(name, justify="left" if i in (0, 2) else "right",
                         no_wrap=i not in (0, 2), overflow="fold")
    previous = ""
    for row in cells(comparison):
        if row[0] and previous:
            table.add_section()
        previous = row[0] or previous
        table.add_row(*(escape(c) for c in row))
    console.print(table)
    console.print("Movements in the frame of the shaft, distal and opening positive, zero after "
                  "the last tightening; the worst fragment. Capacity: limit analysis without and "
                  "with friction; ends at: largest load that stepwise loading still holds.")
    for construct in comparison.constructs:
        if construct.capacity_N[1] == 0.0:
            console.print(f"'{escape(construct.name)}' is held by nothing: capacity 0 N.")
    console.print(LABEL)
