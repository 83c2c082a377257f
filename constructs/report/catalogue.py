"""The list of output columns: of comparison.csv, a sweep's store and points.csv."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from buttress.files import plain
from buttress.results import quantities
from buttress.results.order import places
from buttress.results.probe import MEANINGS
from buttress.results.quantity import Quantity
from buttress.results.records import ConstructResult
from buttress.results.rows import csv_columns
from buttress.sweeps.layout import stored

CSV, STORE, POINTS = "comparison.csv", "store of a sweep", "points.csv"
ABOUT = ("Columns of the results. Every key ends in its unit; an empty field is a number that does "
         "not exist. Of several places (fractures, members, contacts) a column has the worst. The "
         "last column of every table, `label`, says what it is not for.")


@dataclass(frozen=True)
class Column:
    """One output column: where it is found, its unit and what it means."""

    name: str
    found_in: str
    unit: str
    definition: str
    word: str


def construct_document(c: ConstructResult, every: tuple[ConstructResult, ...]) -> dict[str, Any]:
    """A construct for JSON: its record, first and last rank, quantities without a field."""
    found: dict[str, Any] = plain(c) | {"rank": plain(places(every).get(c.name))}
    return found | {k: plain(v) for k, v in quantities.construct_values(c, every).items()}


def listed() -> list[Column]:
    """Every output column, those of comparison.csv first."""
    def column(name: str, where: str, q: Quantity, of: str) -> Column:
        return Column(name, where, q.unit, q.said(q.definition, of), q.glossary)

    out = [column(name, CSV, q, of) for name, q, of in csv_columns()]
    out += [column(name, STORE, q, of) for q in stored()
            for name, of in q.columns(q.store).items()]
    return out + [Column(name, POINTS, unit, words, "")
                  for name, (unit, words) in MEANINGS.items()]


def lines() -> list[str]:
    """The list for the terminal."""
    out = []
    for where in (CSV, STORE, POINTS):
        out += [f"columns of {where}"]
        out += [f"    {c.name}{f' [{c.unit}]' if c.unit not in ('', '-') else ''}: {c.definition}"
                for c in listed() if c.found_in == where]
        out.append("")
    return [*out, ABOUT]


def markdown() -> str:
    """The list as a section of a page."""
    out = ["# Columns of the results", "", ABOUT, ""]
    for where in (CSV, STORE, POINTS):
        out += [f"## {where}", "", "| column | unit | definition | word |",
                "| --- | --- | --- | --- |"]
        out += [f"| `{c.name}` | {c.unit or '-'} | {c.definition} | {c.word or '-'} |"
                for c in listed() if c.found_in == where]
        out.append("")
    return "\n".join(out)


def as_dicts() -> list[dict[str, str]]:
    """The list for JSON."""
    return [asdict(c) for c in listed()]
