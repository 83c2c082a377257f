"""Keys of a study that were given another name: the old one is read for a version, with a note."""

from __future__ import annotations

import sys
from functools import cache
from typing import Any

from buttress.fe.errors import InputError

RENAMED: dict[str, str] = {}
"""Old key with its headings (``section.width``) to its new name in the same table."""


def renewed(data: dict[str, Any], file: str = "") -> dict[str, Any]:
    """A study in nested dicts and lists with new names for old ones; the given one stays as it is.

    Says of every old name once, on standard error, what to write instead. Raises InputError where
    a table has a key under both names.
    """
    return _table(data, "", file) if RENAMED else data


def _table(table: dict[str, Any], heading: str, file: str) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for name, value in table.items():
        key = f"{heading}{name}"
        new = RENAMED.get(key, name)
        if new != name:
            if new in table:
                raise InputError(f"the same key twice: {name} is the old name of {new}", file=file,
                                 key=key, expected=f"only {heading}{new}")
            _note(file, key, f"{heading}{new}")
        out[new] = _inner(value, f"{heading}{new}.", file)
    return out


def _inner(value: Any, heading: str, file: str) -> Any:
    if isinstance(value, dict):
        return _table(value, heading, file)
    if isinstance(value, list | tuple):
        return [_inner(v, heading, file) for v in value]
    return value


@cache
def _note(file: str, old: str, new: str) -> None:
    print(f"{file or 'study'}: {old} is now called {new}; the old name will not be read by the "
          "next version", file=sys.stderr)
