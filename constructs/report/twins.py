"""Constructs next to their bonded twins on the terminal."""

from __future__ import annotations

from buttress.comparison.twins import pairs
from buttress.report.columns import Row, columns
from buttress.results.records import ConstructResult

HEAD = ("load N", "subsidence\nmm", "bonded\nmm", "step-off\nmm", "bonded\nmm",
        "stiffness\nN/mm", "bonded\nN/mm")


def pair_lines(constructs: tuple[ConstructResult, ...]) -> list[str]:
    """Constructs next to their twins for the terminal, at most 100 columns."""
    found = pairs(constructs)
    if not found:
        return []
    rows: list[Row] = []
    last = ""
    for p in found:
        if p.construct != last:
            rows.append(f"\n{p.construct}")
            last = p.construct
        rows.append([f"{p.load.total_load_N:g}", *_shown(p.subsidence_mm, 3),
                     *_shown(p.step_off_mm, 3), *_shown(p.stiffness_N_per_mm, 0)])
    return ["Next to their bonded twins (the worst fragment)", "", *columns(HEAD, rows, ">"), ""]


def _shown(values: tuple[float | None, float | None], digits: int) -> list[str]:
    return ["-" if v is None else f"{round(v, digits) + 0.0:.{digits}f}" for v in values]
