"""Dotted paths through a study: through tables by key, through lists by the entries' names.

``section.bone``, ``fracture.shear plane.friction``, ``construct.lag.screw.upper lag.angle_deg``.
Entries without a name, and the numbers of a plain list, go by their number from 1:
``fracture.shear plane.points_mm.2.1``.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from typing import Any, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

Address = tuple[str, ...]
TEXTS = ("name", "title", "question", "scenario", "note", "source")


def walk(model: type[BaseModel], data: Any, path: Address = ()
         ) -> Iterator[tuple[Address, FieldInfo]]:
    """Addresses below a table, each with its field: keys that the table has or may have, and
    numbers of lists."""
    for key, info, inner, many in _fields(model):
        here = data.get(key) if isinstance(data, dict) else None
        at = (*path, key)
        if inner is None:
            if key not in TEXTS:
                yield at, info
                yield from ((a, info) for a in _numbered(here, at))
        elif isinstance(here, list):
            for i, row in enumerate(here):
                if isinstance(row, dict):
                    yield from walk(inner, row, (*at, str(row.get("name", i + 1))))
        elif not many and here is not None:
            yield from walk(inner, here, at)


def entries(model: type[BaseModel], data: Any, path: Address = ()) -> Iterator[Address]:
    """Addresses of the named entries of all lists below a table."""
    for key, _, inner, _ in _fields(model):
        here = data.get(key) if isinstance(data, dict) else None
        if inner is None or not isinstance(here, list):
            continue
        for row in here:
            if "name" in row:
                at = (*path, key, str(row["name"]))
                yield at
                yield from entries(inner, row, at)


@cache
def _fields(model: type[BaseModel]
            ) -> tuple[tuple[str, FieldInfo, type[BaseModel] | None, bool], ...]:
    """Key of each field of a table, the field, the table below it, and whether it holds a list."""
    return tuple((info.alias or name, info, next(models(info.annotation), None),
                  is_list(info.annotation)) for name, info in model.model_fields.items())


def _numbered(value: Any, path: Address) -> Iterator[Address]:
    """Addresses of the numbers in a plain list, counted from 1."""
    if isinstance(value, list):
        for i, item in enumerate(value):
            at = (*path, str(i + 1))
            if isinstance(item, list):
                yield from _numbered(item, at)
            else:
                yield at


def models(annotation: Any) -> Iterator[type[BaseModel]]:
    """The models in the annotation of a field."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for part in get_args(annotation):
        yield from models(part)


def is_list(annotation: Any) -> bool:
    """Whether a field holds a list."""
    return get_origin(annotation) is tuple or any(is_list(a) for a in get_args(annotation))


def kinds(annotation: Any) -> set[type]:
    """The types of the values of a field: ``{float}``, ``{int, float}``."""
    found = {annotation} if isinstance(annotation, type) else set()
    return found.union(*(kinds(a) for a in get_args(annotation)))


def entry(here: Any, part: str) -> Any:
    """The table or value below `here` at one part of a path; names before numbers."""
    if isinstance(here, list):
        named = [e for e in here if isinstance(e, dict) and e.get("name") == part]
        return named[0] if named else here[int(part) - 1]
    return here[part]


def below(data: dict[str, Any], address: Address) -> Any:
    """What stands at an address; tables that are not there are made."""
    here: Any = data
    for part in address:
        if isinstance(here, dict) and part not in here:
            here[part] = {}
        here = entry(here, part)
    return here


def there(data: Any, address: Address) -> Any:
    """What stands at an address, None where nothing does; nothing is made."""
    here = data
    for part in address:
        try:
            here = entry(here, part)
        except (KeyError, IndexError, TypeError, ValueError):
            return None
    return here
