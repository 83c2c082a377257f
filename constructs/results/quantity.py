"""What a row of the catalogue says of a quantity: names, unit, meaning, where it appears."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Literal

from buttress.results.figures import Figures, Level
from buttress.results.records import ConstructResult, Where
from buttress.words import fixed

CONDYLES = ("medial", "lateral")
CONTACTS = ("fracture", "plate", "graft")
MEMBERS = ("plate", "screw")
"""Kinds of members in the store of a sweep; a wire counts as a screw."""
SPREAD = {Level.CONDYLE: CONDYLES, Level.CONTACT: CONTACTS, Level.PART: MEMBERS}
"""What takes the place of ``{}`` in a column's name, by level."""
COLLECTIONS = {"fragment": "fragments", "edge": "edges", "fracture": "fractures",
               "part": "members", "contact": "contacts", "graft": "grafts",
               "condyle": "condyles", "piece": "bone"}
"""Fields of `LoadResult` that hold one record per place, by level of the catalogue."""
EQUILIBRIUM = "equilibrium"
"""Name of the limit at which the load peaks."""


def value_of(record: Any, key: str) -> Any:
    """A quantity of a record by its key; None where there is no such record or number."""
    if record is None:
        return None
    return getattr(record, key) if hasattr(record, key) else record.more.get(key)


@dataclass(frozen=True, kw_only=True)
class Quantity:
    """One row of the catalogue.

    ``key``: name in records and JSON, with its unit. ``definition``: one plain sentence.
    ``read``: the function that computes it from an answer at a place; ``of``: from the result of
    a construct (of a ``path``: from its `Derived` alone) and from those of all. ``worse``: which
    direction is worse, "size" where both are. ``always``: known without equilibrium, too.
    ``strain``: needs fields of strain, which a sweep computes only where asked; ``path``: is read
    off the path, which a sweep presses to its end only where asked. ``at``: where a place has its
    largest value.

    Where it appears: ``header`` (tables of the terminal and the page; "|" parts lines), ``csv``
    (column of comparison.csv; "=" is the key), ``store`` (column of a sweep's store), ``json``.
    ``axis``: words on an axis of the worst value, where they differ from ``words``.
    """

    key: str
    words: str
    unit: str
    definition: str
    level: Level
    read: Callable[[Figures, str], Any] | None = None
    of: Callable[[Any, tuple[ConstructResult, ...]], Any] | None = None
    at: Callable[[Figures, str], Where] | None = None
    worse: Literal["more", "less", "size"] | None = None
    digits: int = 3
    style: Literal["fixed", "percent", "power"] = "fixed"
    kind: type = float
    always: bool = False
    strain: bool = False
    path: bool = False
    header: str = ""
    axis: str = ""
    csv: str = ""
    store: str = ""
    json: bool = True
    glossary: str = ""
    source: str = ""
    status: str = ""

    def value(self, figures: Figures, place: str = "") -> Any:
        """Its value at a place of an answer; None where it does not exist."""
        if self.read is None or not (figures.held or self.always):
            return None
        return self.read(figures, place)

    def worst(self, values: Iterable[Any]) -> Any:
        """The worst of the values that exist, None where none does."""
        found = [v for v in values if v is not None]
        if not found:
            return None
        if self.worse == "less":
            return min(found)
        return max(found, key=abs if self.worse == "size" else None)

    def columns(self, name: str) -> dict[str, str]:
        """Columns of a table, and what each is of: ``{"plate_yield_ratio": "plate", ...}``."""
        pattern = self.key if name == "=" else name
        if "{}" in pattern:
            return {pattern.format(x): x for x in SPREAD[self.level]}
        return {pattern: ""} if pattern else {}

    def said(self, text: str, of: str = "") -> str:
        """Words with what a column is of, as in "largest {} stress"."""
        return text.replace("{}", of or {Level.PART: "member"}.get(self.level, self.level.value))

    def comment(self, of: str = "") -> str:
        """Unit and definition, as in a comment of the store."""
        unit = {"deg": "degrees", "-": ""}.get(self.unit, self.unit)
        words = self.said(self.definition, {"screw": "screw or wire"}.get(of, of))
        return f"{unit}, {words}" if unit else words

    def label(self, of: str = "") -> str:
        """The words of an axis, with the unit."""
        return self.said(self.axis or self.words, of) + (f" [{self.unit}]" if self.unit else "")

    @property
    def shown_unit(self) -> str:
        """The unit of its values as `text` shows them."""
        return "%" if self.style == "percent" else "" if self.unit == "-" else self.unit

    def text(self, value: Any) -> str | None:
        """A value as tables show it, without its unit; None where it does not exist."""
        if value is None or isinstance(value, str):
            return value
        if self.style == "power":
            return f"{value:.0e}"
        shown = round(value * (100.0 if self.style == "percent" else 1.0), self.digits)
        return fixed(shown, self.digits)


@dataclass(frozen=True)
class Limit:
    """A limit of the study: its key in ``[limits]`` and the quantity that it refers to.

    ``gauge_unit``: unit of the gauge; ``unit``: of the limit as a ranking says it;
    ``column``: the load at which it is reached, in comparison.csv.
    """

    name: str
    key: str
    quantity: str
    gauge_unit: str
    unit: str
    column: str
