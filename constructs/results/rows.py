"""The rows of a comparison: one per construct, load and fragment, columns from the catalogue."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from buttress.files import plain, settled
from buttress.results import quantities
from buttress.results.quantities import in_row
from buttress.results.quantity import Quantity
from buttress.results.records import ConstructResult, LoadResult


def csv_columns() -> list[tuple[str, Quantity, str]]:
    """Columns of comparison.csv with their quantities, and what each is of (a side, a kind)."""
    return [(name, q, of) for q in quantities.CATALOGUE for name, of in q.columns(q.csv).items()]


def columns() -> tuple[str, ...]:
    """Names of the columns of comparison.csv, in order."""
    return tuple(name for name, _, _ in csv_columns())


def rows(constructs: Iterable[ConstructResult]) -> list[dict[str, Any]]:
    """One row per construct, load and fragment; None where a number does not exist."""
    wanted, given = csv_columns(), tuple(constructs)
    out = []
    for c in given:
        own = {name: q.of(c, given) for name, q, _ in wanted if q.of is not None}
        out += [{name: _shown(q, own[name] if name in own else _value(q, load, fragment, of))
                 for name, q, of in wanted}
                for load in c.loads for fragment in load.fragments or ("",)]
    return out


def _value(q: Quantity, load: LoadResult, fragment: str, of: str) -> Any:
    return fragment if q.key == "fragment" else in_row(q, load, fragment, of)


def _shown(q: Quantity, value: Any) -> Any:
    """A value for a file; the size of an error is that of rounding, and stays."""
    return plain(value) if q.style == "power" else settled(plain(value))
