"""Data tables: every number of `constructs/data` with its unit, its source and its status."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from buttress.fe.errors import InputError

TABLES = ("materials", "screws", "wires", "plates", "grafts", "anatomy", "loads")
STATUSES = ("seen", "memory", "derived", "practice")


@dataclass(frozen=True)
class Quantity:
    """One number of a table.

    `status`: seen = read in the source, memory = recalled, derived = arithmetic from other
    values, practice = common practice or a choice of this tool, no source.
    """

    value: float
    unit: str
    source: str
    status: str


@cache
def _table(table: str) -> dict[str, dict[str, str | dict[str, str | float]]]:
    """The parsed file of a table, read once."""
    if table not in TABLES:
        raise InputError("no such data table", value=table, expected=", ".join(TABLES))
    text = files("buttress").joinpath("data", f"{table}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def rows(table: str, kind: str | None = None) -> tuple[str, ...]:
    """Names of the rows of a table, in the order of the file, of one kind if it is given."""
    return tuple(n for n, row in _table(table).items() if kind is None or row["kind"] == kind)


def _row(table: str, row: str) -> dict[str, str | dict[str, str | float]]:
    found = _table(table).get(row)
    if found is None:
        raise InputError(f"no such row in the table {table}", value=row,
                         expected=", ".join(_table(table)))
    return found


def kind(table: str, row: str) -> str:
    """The kind of a row, such as `cortical` for a screw or `arc` for a plate section."""
    return str(_row(table, row)["kind"])


def fields(table: str, row: str) -> tuple[str, ...]:
    """Names of the numbers of a row."""
    return tuple(f for f, entry in _row(table, row).items() if isinstance(entry, dict))


@cache
def table_value(table: str, row: str, field: str) -> Quantity:
    """A number of the data tables, with its unit, source and status.

    ``table``, ``row``, ``field``: as in ``table_value("anatomy", "section", "width")``. Raises
    InputError, with the names that there are, where there is no such table, row or field.
    """
    entry = _row(table, row).get(field)
    if not isinstance(entry, dict):
        raise InputError(f"no such number in row {row} of the table {table}", value=field,
                         expected=", ".join(fields(table, row)))
    return Quantity(float(entry["value"]), str(entry["unit"]), str(entry["source"]),
                    str(entry["status"]))


def number(table: str, row: str, field: str) -> float:
    """The value alone, in the unit of the table."""
    return table_value(table, row, field).value
