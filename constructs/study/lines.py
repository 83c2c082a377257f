"""On which line of a study file each key stands, for messages: the TOML reader does not tell."""

from __future__ import annotations

import re
import tomllib
from collections import Counter
from typing import Any

_HEADING = re.compile(r"\s*(\[\[?)\s*([\w\s.\"'-]+?)\s*\]\]?\s*(#.*)?")
_KEY = re.compile(r"\s*([\w-]+)\s*=")


def key_lines(text: str) -> dict[str, int]:
    """Line of each heading and of each key with a value, by its dotted path.

    Entries of a list are called by their `name`, else by their number from 1, as messages call
    them. What a text writes in another way (inline tables, dotted keys) is left out.
    """
    found: dict[tuple[str | int, ...], int] = {}
    counts: Counter[tuple[str | int, ...]] = Counter()
    here: tuple[str | int, ...] = ()
    names: dict[tuple[str | int, ...], str] = {}
    waiting = ""    # lines of a value that goes on
    for number, line in enumerate(text.splitlines(), 1):
        if waiting or (key := _KEY.match(line)):
            if not waiting:
                assert key is not None
                path = (*here, key[1])
                found.setdefault(path, number)
            waiting += line + "\n"
            value = _value(waiting)
            if value is not None:
                # A name that a message cannot show stands for no entry in it.
                if path[-1] == "name" and isinstance(value, str) and _shown(value):
                    names[here] = value
                waiting = ""
        elif head := _HEADING.fullmatch(line):
            here = ()
            parts = [p.strip().strip("\"'") for p in head[2].split(".")]
            for depth, part in enumerate(parts, 1):
                here = (*here, part)
                if depth == len(parts) and head[1] == "[[":
                    counts[here] += 1
                if counts[here]:
                    here = (*here, counts[here])
            found.setdefault(here, number)
    return {".".join(_called(path[:i + 1], names) for i in range(len(path))): number
            for path, number in found.items() if path}


def _called(path: tuple[str | int, ...], names: dict[tuple[str | int, ...], str]) -> str:
    return names.get(path, str(path[-1])) if isinstance(path[-1], int) else str(path[-1])


def _shown(name: str) -> bool:
    return 0 < len(name) <= 60 and name.isprintable()


def _value(line: str) -> Any:
    """The value of `key = value`, None where it goes on in the next line."""
    try:
        [value] = tomllib.loads(line).values()
    except (tomllib.TOMLDecodeError, ValueError):
        return None
    return value


def line_of(key: str, text: str) -> int | None:
    """The line of a dotted key, of the first entry of a list, or of the nearest table that holds
    the key; None where unknown."""
    if not key:
        return None
    lines = key_lines(text)
    if key not in lines:
        lines[key] = next((n for k, n in lines.items() if k.startswith(f"{key}.")), 0)
    while key and not lines.get(key):
        key = key.rpartition(".")[0]
    return lines.get(key)
