"""What a key may hold, in words, and what it means: for the list of keys and for messages."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from buttress.study.checked import OneOf, Within

WHOLE = "the file itself"


@cache
def meanings() -> dict[str, dict[str, str]]:
    """What keys mean, by table and key, and sketches by the dotted key: `data/keys.toml`."""
    text = files("buttress").joinpath("data", "keys.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def allowed(annotation: Any, metadata: Any = ()) -> str:
    """The allowed values of a key, in words."""
    for mark in metadata:
        if isinstance(mark, Within):
            unit = "" if mark.unit == "-" else f" {mark.unit}"
            whole = "whole number, " if annotation is int else ""
            return f"{whole}{mark.low:g} to {mark.high:g}{unit}"
        if isinstance(mark, OneOf):
            return " | ".join(f'"{n}"' for n in mark.names())
    parts = [a for a in get_args(annotation) if a is not NoneType]
    origin = get_origin(annotation)
    if origin is Annotated:
        return allowed(parts[0], parts[1:])
    if origin is Literal:
        return " | ".join(f'"{p}"' if isinstance(p, str) else f"{p}" for p in parts)
    if origin in (Union, UnionType):
        return ", or ".join(dict.fromkeys(allowed(p) for p in parts))
    if origin is tuple:
        if parts[-1] is Ellipsis:
            return f"list of: {allowed(parts[0])}"
        return "[" + ", ".join(allowed(p) for p in parts) + "]"
    return {bool: "true | false", int: "whole number", float: "number",
            str: "text"}.get(annotation, "a value")
