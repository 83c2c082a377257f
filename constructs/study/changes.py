"""What differs between two nested values, such as two studies: keys with both values."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

MOST_LETTERS = 60


def changes(old: Any, new: Any, path: str = "") -> Iterator[tuple[str, Any, Any]]:
    """Dotted keys at which two nested values differ, each with both values; None: not there.

    Entries of a list are told apart by their names, if all have one, so that one entry more leaves
    the others comparable; another order of theirs is a difference of its own.
    """
    if isinstance(old, dict) and isinstance(new, dict):
        for key in dict.fromkeys([*old, *new]):
            yield from changes(old.get(key), new.get(key), f"{path}.{key}" if path else str(key))
        return
    if isinstance(old, list) and isinstance(new, list):
        one, other = _by_name(old), _by_name(new)
        if one is not None and other is not None:
            both = [[n for n in x if n in y] for x, y in ((one, other), (other, one))]
            if both[0] != both[1]:
                yield f"{path} (order)", both[0], both[1]
            yield from changes(one, other, path)
            return
        if len(old) == len(new):
            for i, (a, b) in enumerate(zip(old, new, strict=True), 1):
                yield from changes(a, b, f"{path}.{i}")
            return
    if old != new:
        yield path, old, new


def _by_name(entries: list[Any]) -> dict[str, Any] | None:
    if not all(isinstance(e, dict) and isinstance(e.get("name"), str) for e in entries):
        return None
    found = {e["name"]: e for e in entries}
    return found if len(found) == len(entries) else None


def shown(value: Any) -> str:
    """A value in a line of text; a long one is cut short, a number to ten digits."""
    if isinstance(value, float):
        value = float(f"{value:.10g}")
    text = "nothing" if value is None else json.dumps(value, ensure_ascii=False)
    return text if len(text) <= MOST_LETTERS else text[:MOST_LETTERS - 3] + "..."
