"""What a varied key is called in figures: its owner, what it means and its unit.

The words are those of the list of keys (``data/keys.toml``), the units those of the models.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, get_args

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from buttress.study.allowed import meanings
from buttress.study.checked import Within
from buttress.study.paths import is_list, kinds, models
from buttress.study.study import Study
from buttress.sweeps.vary import SCALES

TURNS = {"slope_deg": "angle to the long axis", "turn_deg": "change of its angle to the long axis"}
UNITS = ("mm", "deg", "N", "MPa", "kg", "g_cm3", "hours")
SHOWN = {"g_cm3": "g/cm3", "hours": "h"}
KINDS = ("sagittal", "cortical", "cancellous", "arc", "head and shaft", "cement")
"""What some meanings begin with: where the key applies, which needs no words where it is varied."""


@dataclass(frozen=True)
class Named:
    """A key in words. ``owner``: names of the parts that have it, empty for a table of the study;
    ``unit``: as on an axis, "-" for a number without one.
    """

    owner: str
    words: str
    unit: str

    @property
    def label(self) -> str:
        """As on an axis: owner, words and unit in brackets."""
        return f"{self.words_of} [{self.unit}]"

    @property
    def words_of(self) -> str:
        """Owner and words."""
        return (f"{self.owner}: " if self.owner else "") + self.words


def axis_label(key: str) -> str:
    """Words and unit of a varied key; the key itself where its values are no numbers."""
    found = in_words(key)
    return key if found is None else found.label


def in_words(key: str) -> Named | None:
    """A varied key in words; None for what is no key of a study or has no numbers."""
    parts = key.split(".")
    if parts[0] == "scale" and parts[-1] in SCALES:
        return Named("", f"factor on the {SCALES[parts[-1]]}", "-")
    if len(parts) == 3 and parts[0] == "fracture" and parts[2] in TURNS:
        return Named(_owner([("fracture", parts[1])]), TURNS[parts[2]], "deg")
    found = _field(Study, parts)
    if found is None:
        return None
    field, tables, names, rest = found
    last = field[0]
    if not kinds(field[1].annotation) & {int, float} or bool in kinds(field[1].annotation):
        return None
    told = meanings().get(".".join(tables), {}).get(last, "").partition(";")[0]
    kind, colon, after = told.partition(": ")
    told = after if colon and kind in KINDS else told
    if last == "points_mm" and len(rest) == 2:
        told = f"{'xy'[rest[1] == '2']} of point {rest[0]} of its line"
    elif rest:
        told = f"{told}, number {' '.join(rest)}"
    return Named(_owner(names), told or last.replace("_", " "), _unit(last, field[1]))


Found = tuple[tuple[str, FieldInfo], list[str], list[tuple[str, str]], list[str]]


def _field(model: type[BaseModel], parts: list[str]) -> Found | None:
    """Key and field at a path, the tables above it, names of their entries, and what follows."""
    tables: list[str] = []
    names: list[tuple[str, str]] = []
    while parts:
        here = next(((f.alias or n, f) for n, f in model.model_fields.items()
                     if (f.alias or n) == parts[0]), None)
        if here is None:
            return None
        inner = next(models(here[1].annotation), None)
        if inner is None:
            return here, tables, names, parts[1:]
        tables.append(parts[0])
        parts = parts[1:]
        if is_list(here[1].annotation) and parts:
            names.append((tables[-1], parts[0]))
            parts = parts[1:]
        model = inner
    return None


def _owner(names: list[tuple[str, str]]) -> str:
    """The parts that have a key; ``*`` stands for all, which need no name above others."""
    inner = [(table, name) for i, (table, name) in enumerate(names)
             if name != "*" or i == len(names) - 1]
    return ", ".join(f"all {table}s" if name == "*" else name for table, name in inner)


def _unit(key: str, field: FieldInfo) -> str:
    for mark in _marks(field):
        if mark.unit != "-":
            return mark.unit
    ending = re.search(rf"(?:^|_)({'|'.join(UNITS)})$", key)
    return SHOWN.get(ending[1], ending[1]) if ending else "-"


def _marks(field: FieldInfo) -> Iterator[Within]:
    yield from (m for m in field.metadata if isinstance(m, Within))
    yield from _below(field.annotation)


def _below(annotation: Any) -> Iterator[Within]:
    for part in get_args(annotation):
        if isinstance(part, Within):
            yield part
        else:
            yield from _below(part)
