"""From the validator's list of errors to one message that a user can act on."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from pydantic import BaseModel, ValidationError

from buttress.fe.errors import InputError
from buttress.study.allowed import WHOLE, allowed, meanings
from buttress.study.checked import Checked, closest, did_you_mean
from buttress.study.lines import line_of
from buttress.study.paths import Address, models

DIGITS = 15  # whole numbers with more are shown by their number of digits
UNITS = ("mm", "N", "MPa", "deg", "kg")
SHOWN = 5  # errors reported one by one; the rest are counted


def complaint(error: ValidationError, data: dict[str, Any], model: type[BaseModel], file: str,
              text: str = "", origins: Mapping[Address, Address] | None = None,
             passed: Callable[[Any], bool] = lambda value: False) -> InputError:
    """One InputError for a failed validation of `data` by `model`; `text` is where it was read.

    ``origins``: where what a construct took over was written, see `reuse.spelled_out`. A single
    error fills key, value and expected; several become one line each of the message. ``passed``:
    whether a value is not to be told of.
    """
    entries = to_tell(error, passed)
    # Unknown keys first: a misspelt key is also missing under its right name.
    entries.sort(key=lambda e: e["type"] != "extra_forbidden")
    rows: dict[str, InputError] = {}
    meant: set[str] = set()
    for entry in entries:
        row, suggestion = _one(entry, data, model)
        if suggestion:
            meant.add(suggestion)
        if row.key in rows and entry["type"] == "literal_error":
            # A value of several types fails once for each of them: one line covers all.
            first = rows[row.key]
            hint = row.message.removeprefix("unknown choice")
            rows[row.key] = InputError(first.message + hint, key=row.key, value=first.value,
                                       expected=f"{first.expected}, or {row.expected}")
        elif not (entry["type"] == "missing" and row.key in meant):
            rows.setdefault(row.key, row)
    # A mistake that several constructs take over is told once.
    told = {(row.message, written(row.key, origins or {})): row for row in reversed(rows.values())}
    found = [as_written(row, origins or {}, text) for row in reversed(told.values())]
    if len(found) == 1:
        return found[0].at(file=file)
    lines = [f"{len(found)} mistakes", *(f"  {row}" for row in found[:SHOWN])]
    if len(found) > SHOWN:
        lines.append(f"  and {len(found) - SHOWN} more")
    return InputError("\n".join(lines), file=file)


def to_tell(error: ValidationError, passed: Callable[[Any], bool]) -> list[Any]:
    """The errors of a failed validation that a person is told of; ``passed``: see `complaint`."""
    return [e for e in error.errors(include_url=False) if not _echo(e) and not passed(e["input"])
            and not (e["type"] == "literal_error" and _huge(e["input"]))]


def written(key: str, origins: Mapping[Address, Address]) -> str:
    """The dotted key under which a person wrote what stands at a dotted key."""
    parts = tuple(key.split("."))
    for n in range(len(parts), 0, -1):
        if parts[:n] in origins:
            return ".".join((*origins[parts[:n]], *parts[n:]))
    return key


def as_written(error: InputError, origins: Mapping[Address, Address], text: str) -> InputError:
    """An error with the key that a person wrote, the construct that took it over, and the line."""
    key = written(error.key, origins)
    message = error.message
    if key != error.key:
        message += f", in the construct {show(error.key.split('.')[1])}"
    return InputError(message, file=error.file, key=key, value=error.value, expected=error.expected,
                      line=error.line or line_of(key, text))


def _echo(entry: Any) -> bool:
    """Whether an error only says that a list lost entries which have errors of their own."""
    context = entry.get("ctx", {})
    return entry["type"] == "too_short" and len(entry["input"]) >= context["min_length"]


def _one(entry: Any, data: dict[str, Any], model: type[BaseModel]) -> tuple[InputError, str]:
    """One error of the validator as an InputError without the file, and the key it suggests."""
    loc = _inside(entry["loc"], data, entry["type"])
    kind, context, given = entry["type"], entry.get("ctx", {}), entry["input"]
    key = _dotted(loc, data)
    if _huge(given):
        return InputError("a number with too many digits", key=key, value=show(given),
                          expected="a number of a few digits"), ""
    if kind == "refused":
        key = ".".join(p for p in (key, context["key"]) if p)
        if context["key"]:
            given = context.get("value")
        elif "value" in context:
            given = context["value"]
        return InputError(context["text"], key=key, expected=context["expected"],
                          value="" if given is None else show(given)), ""
    if kind == "extra_forbidden":
        owner = _model_at(loc[:-1], model)
        known = _keys(owner)
        near = _meant(owner).get(str(loc[-1])) or closest(str(loc[-1]), known)
        meant = ".".join(p for p in (_dotted(loc[:-1], data), near) if p) if near else ""
        return InputError("unknown key" + did_you_mean(near), key=key, value=show(given),
                          expected="one of " + ", ".join(known)), meant
    if kind == "missing":
        if isinstance(entry["loc"][-1], int):
            return InputError("too few numbers", key=_dotted(loc[:-1], data),
                              value=show(given), expected="[x, y]"), ""
        return InputError("missing key", key=key, expected=_wanted(str(loc[-1])) or _told(
            _model_at(loc[:-1], model), loc)), ""
    message, expected = _plain(kind, context, given, str(loc[-1]) if loc else "")
    return InputError(message, key=key, value=show(given), expected=expected), ""


def _plain(kind: str, context: dict[str, Any], given: Any, key: str) -> tuple[str, str]:
    """Message and expectation for the validator's own kinds of error."""
    if kind == "literal_error":
        choices = re.findall(r"'([^']*)'", context["expected"])
        near = closest(given, choices) if isinstance(given, str) else ""
        return "unknown choice" + did_you_mean(near), context["expected"].replace("'", '"')
    if kind == "too_short":
        if key == "points_mm" and context["min_length"] > 2:
            return "too few entries", "at least three corners, [[x, y], [x, y], [x, y]]"
        return "too few entries", _wanted(key) or f"at least {context['min_length']}"
    if kind == "too_long":
        return "too many entries", f"at most {context['max_length']}"
    if kind == "finite_number":
        return "not a finite number", "a finite number"
    wanted = {
        "float_type": "a number (no quotes)", "int_type": "a whole number (no quotes)",
        "string_type": "text in quotes", "bool_type": "true or false (no quotes)",
        "tuple_type": "a list in [ ]", "model_type": "a table of keys",
    }.get(kind, "")
    if kind == "tuple_type" and isinstance(given, int | float | str):
        wanted += f", such as [{show(given)}]"
    if kind == "tuple_type" and isinstance(given, dict):
        wanted = f"a heading in double brackets, such as [[{key}]], for each"
    if kind == "model_type" and isinstance(given, list | tuple):
        wanted = f"one table, under a heading in single brackets such as [{key}]"
    return "wrong type", wanted


# What a missing key should hold, by the end of its name; the others are told by their model.
_WANTED = (
    ("inside_mm", "a point inside the fragment, [x, y]"),
    ("points_mm", "at least two points, [[x, y], [x, y]]"),
    ("origin_mm", "the lower left corner of the map, [x, y]"),
    ("file", "the name of a file in the study's folder"),
    ("total_N", "at least one load in N"), ("name", "a name"),
    ("construct", "at least one [[construct]] with a name"),
    ("void", "the name of a [[void]]"),
    ("share", "a fraction of the height, from 0 to 1"),
    ("side", '"medial" or "lateral", in a sagittal section "anterior" or "posterior"'),
)


def _wanted(key: str) -> str:
    """What a missing key should hold; empty when its model tells it better."""
    return next((text for ending, text in _WANTED if key.endswith(ending)), "")


def _told(owner: type[BaseModel] | None, loc: tuple[int | str, ...]) -> str:
    """Allowed values and meaning of a missing key, as in the list of keys; empty when unknown."""
    key = str(loc[-1])
    for name, field in owner.model_fields.items() if owner is not None else ():
        if key == (field.alias or name):
            table = ".".join(str(part) for part in loc[:-1] if isinstance(part, str)) or WHOLE
            meaning = meanings().get(table, {}).get(key, "")
            words = allowed(field.annotation, field.metadata)
            unit = key.rpartition("_")[2]
            if words == "number" and unit in UNITS:
                words = f"a number in {unit}"
            return words + (f" ({meaning})" if meaning else "")
    return ""


def _keys(owner: type[BaseModel] | None) -> list[str]:
    """The keys of a model as they are written in a file."""
    if owner is None:
        return []
    before = owner.BEFORE if issubclass(owner, Checked) else ()
    return [*(f.alias or n for n, f in owner.model_fields.items()), *before]


def _meant(owner: type[BaseModel] | None) -> Mapping[str, str]:
    """Words that people write for keys of a model."""
    return owner.MEANT if owner is not None and issubclass(owner, Checked) else {}


def _inside(loc: tuple[int | str, ...], data: Any, kind: str) -> tuple[int | str, ...]:
    """The part of a location that exists in the data.

    The validator adds the names of the types that it tried for a value of several types.
    """
    kept: list[int | str] = []
    here = data
    for i, part in enumerate(loc):
        try:
            here = here[part]
        except (KeyError, IndexError, TypeError):
            if kind != "missing" or i < len(loc) - 1:
                continue
        kept.append(part)
    return tuple(kept)


def _dotted(loc: tuple[int | str, ...], data: Any) -> str:
    """A dotted path: list entries by their `name`, else by their number from 1."""
    parts: list[str] = []
    here = data
    for part in loc:
        try:
            here = here[part]
        except (KeyError, IndexError, TypeError):
            here = None
        if isinstance(part, int):
            name = here.get("name") if isinstance(here, dict) else None
            parts.append(name if isinstance(name, str) and 0 < len(name) <= 60
                         and name.isprintable() else str(part + 1))
        else:
            parts.append(part if part.isprintable() and len(part) <= 60 else show(part))
    return ".".join(parts)


def _model_at(loc: tuple[int | str, ...], model: type[BaseModel]) -> type[BaseModel] | None:
    """The model that a location lies in, found through the annotations of its fields."""
    here: type[BaseModel] | None = model
    for part in loc:
        if isinstance(part, int) or here is None:
            continue
        field = next((f for n, f in here.model_fields.items() if part == (f.alias or n)), None)
        here = next(models(field.annotation), None) if field else None
    return here


def _huge(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and abs(value) >= 10**DIGITS


def show(value: Any) -> str:
    """A value as a user wrote it, short and printable."""
    if isinstance(value, bool):
        text = str(value).lower()
    elif _huge(value):
        text = f"{str(value)[:6]}... ({len(str(abs(value)))} digits)"
    elif isinstance(value, str):
        text = f'"{value}"'
    elif isinstance(value, list | tuple):
        text = "[" + ", ".join(show(v) for v in value) + "]"
    elif isinstance(value, dict):
        text = "{" + ", ".join(f"{k} = {show(v)}" for k, v in value.items()) + "}"
    else:
        text = str(value)
    text = "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)
    return text if len(text) <= 80 else text[:77] + "..."
