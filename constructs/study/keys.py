"""Every key that a study file may have, taken from the models that check it."""

from __future__ import annotations

import inspect
from collections.abc import Iterator
from dataclasses import dataclass
from textwrap import indent, wrap
from types import NoneType, UnionType
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic.fields import FieldInfo

from buttress import LABEL
from buttress.study.allowed import WHOLE, allowed, meanings
from buttress.study.checked import Checked
from buttress.study.study import Study

NEEDED, NONE = "needed", "-"
FURTHER = """Varied in a sweep by its dotted path: `section.bone`, `fracture.NAME.friction`,
`construct.NAME.screw.NAME.angle_deg`; `*` stands for every name of a list. In addition to the keys
of the file there are `ANY ENTRY.present` (true or false: whether a named entry is included;
removing a plate removes its screws), `fracture.NAME.slope_deg` (angle of the fracture's chord to
the long axis, so that 0 is parallel to it; the line is turned about its end at the joint),
`fracture.NAME.turn_deg` (change of that angle), `scale.cancellous_strength`,
`scale.bearing_stiffness` and `scale.friction_under_load` (factors on the strength of bone other
than cortex under screws, threads and fracture faces, on the stiffness of the springs between screws
and bone, and on the friction of all contacts once the screws are tightened).

Coupled keys: where a number is expected, in the file as text in quotes and in a sweep, there may be
an expression of other keys: `top_mm = "{fracture.NAME.apex.y} + 13"`, with names in braces,
numbers, `+ - * /` and parentheses. A name is the dotted path of a key with a number, or
`fracture.NAME.` with one of `apex.x`, `apex.y` (the lowest point at which the fracture leaves the
bone on one of its sides), `upper.x`, `upper.y`, `lower.x`, `lower.y` (the ends of its line, as
drawn) and `slope_deg`; points are in mm, x and y of the section (y is 0 at the joint line and
negative below it). A sweep evaluates coupled keys, its own and those of the file, in every case
after all varied keys are set."""


@dataclass(frozen=True)
class Key:
    """One key: its allowed values, its default, what it means, and a sketch of a sign or angle."""

    name: str
    allowed: str
    default: str
    meaning: str
    sketch: str


@dataclass(frozen=True)
class Table:
    """One table of the file: its heading, description and keys."""

    heading: str
    about: str
    keys: tuple[Key, ...]


def tables() -> list[Table]:
    """All tables of a study file, in the order of the models."""
    return list(_tables(Study, "", ""))


def _tables(model: type[Checked], heading: str, path: str) -> Iterator[Table]:
    keys, below = [], []
    for name, field in model.model_fields.items():
        key = field.alias or name
        inner, many = _model(field.annotation)
        if inner is None:
            keys.append(Key(key, allowed(field.annotation, field.metadata), _default(field),
                            meanings().get(path or WHOLE, {}).get(key, ""),
                            meanings()["sketch"].get(f"{path}.{key}", "").strip("\n")))
            continue
        here = f"{path}.{key}" if path else key
        below.append((inner, f"[[{here}]]" if many else f"[{here}]", here))
    keys += [Key(key, words, NONE, meanings().get(path or WHOLE, {}).get(key, ""), "")
             for key, words in model.BEFORE.items()]
    about = " ".join((inspect.getdoc(model) or "").replace("``", "`").split())
    about = about.removeprefix(f"`{heading}`: ")
    about = about[:1].upper() + about[1:]
    yield Table(heading or WHOLE, about, tuple(keys))
    for inner, title, here in below:
        yield from _tables(inner, title, here)


def _model(annotation: Any) -> tuple[type[Checked] | None, bool]:
    """The model of a key's value, and whether the value is a list of them."""
    if inspect.isclass(annotation) and issubclass(annotation, Checked):
        return annotation, False
    parts = [a for a in get_args(annotation) if a not in (NoneType, Ellipsis)]
    if get_origin(annotation) is tuple and len(parts) == 1:
        return _model(parts[0])[0], True
    if get_origin(annotation) in (Union, UnionType, Annotated):
        found = [m for m in map(_model, parts) if m[0] is not None]
        return found[0] if found else (None, False)
    return None, False


def _default(field: FieldInfo) -> str:
    if field.is_required():
        return NEEDED
    value = field.get_default(call_default_factory=True)
    if value is None or value == "" or value == ():
        return NONE
    if isinstance(value, bool):
        return str(value).lower()
    return f"{value:g}" if isinstance(value, int | float) else f'"{value}"'


def lines(width: int = 100) -> list[str]:
    """For the terminal."""
    out = []
    for table in tables():
        out.append(table.heading)
        for k in table.keys:
            out.append(f"    {k.name} = {k.allowed}"
                       + (f"  ({NEEDED})" if k.default == NEEDED else
                          f"  (default {k.default})" if k.default != NONE else ""))
            out += wrap(k.meaning, width, initial_indent=" " * 8, subsequent_indent=" " * 8)
            out += indent(k.sketch, " " * 12).splitlines()
        out.append("")
    return [*out, *wrap(" ".join(FURTHER.split()), width, break_on_hyphens=False), LABEL]


def markdown() -> str:
    """As a gallery page."""
    out = ["# Keys of a study file", "", LABEL, "", "One TOML file per study; `buttress examples "
           "NAME` copies one to start from, `buttress check FILE` reports its errors.", "",
           FURTHER, ""]
    for table in tables():
        title = table.heading if table.heading[0] != "[" else f"`{table.heading}`"
        out += [f"## {title}", "", table.about, "",
                "| key | meaning | allowed values | default |", "| --- | --- | --- | --- |"]
        out += [f"| `{k.name}` | {k.meaning} | {k.allowed.replace('|', chr(92) + '|')} | "
                f"{k.default} |" for k in table.keys]
        for k in table.keys:
            if k.sketch:
                out += ["", f"`{k.name}`:", "", "```", k.sketch, "```"]
        out.append("")
    return "\n".join(out)
