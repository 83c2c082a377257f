"""Data tables: every number of `constructs/data` with its unit, its source and its status."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from buttress.fe.errors import InputError

TABLES = ("materials", "screws", "wires", "plates", "grafts", "anatomy", "loads")
GIVEN = "given"
"""Status of the rows that a study gives itself."""
Row = dict[str, str | dict[str, str | float]]


@dataclass(frozen=True)
class Quantity:
    """One number of a table.

    `status`: seen = read in the source, memory = recalled, derived = arithmetic from other
    values, practice = common practice or a choice of this tool, no source, given = by the study.
    """

    value: float
    unit: str
    source: str
    status: str


class OwnName(str):
    """The name of a row that a study gives itself; it carries the row.

    Wherever the name of a row is expected, the row is found through it, so that the rows of one
    study are unknown to another. Two of them are equal where the rows are, too.
    """

    row: Row

    def __new__(cls, name: str, row: Row) -> OwnName:
        made = super().__new__(cls, name)
        made.row = row
        return made

    def __getnewargs__(self) -> tuple[str, Row]:  # type: ignore[override]
        return str(self), self.row

    def __eq__(self, other: object) -> bool:
        return isinstance(other, OwnName) and str(self) == str(other) and self.row == other.row

    def __ne__(self, other: object) -> bool:
        return not self == other

    def __hash__(self) -> int:
        return hash((str(self), repr(self.row)))

    def __str__(self) -> str:
        return str.__str__(self)


@cache
def _table(table: str) -> dict[str, Row]:
    """The parsed file of a table, read once."""
    if table not in TABLES:
        raise InputError("no such data table", value=table, expected=", ".join(TABLES))
    text = files("buttress").joinpath("data", f"{table}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def rows(table: str, kind: str | None = None) -> tuple[str, ...]:
    """Names of the rows of a table, in the order of the file, of one kind if it is given."""
    return tuple(n for n, row in _table(table).items() if kind is None or row["kind"] == kind)


def _row(table: str, row: str) -> Row:
    if isinstance(row, OwnName):
        return row.row
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
