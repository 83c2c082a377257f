"""The text of a study file, from nested dicts and lists or from a study."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import Any

from buttress.study.paths import below
from buttress.study.study import Study


def text_from(data: Mapping[str, Any]) -> str:
    """Nested dicts and lists, as `study_from` takes them, as a TOML text."""
    return "\n".join(_lines(data, "")).lstrip("\n") + "\n"


def text_of_study(study: Study) -> str:
    """A study as the text of a study file: the keys that were given, coupled keys as expressions.

    Parts that constructs took over from each other are written out in each of them.
    """
    data = study.model_dump(by_alias=True, exclude_unset=True, exclude_none=True, mode="json")
    for address, text in study.coupled.items():
        owner, last = below(data, address[:-1]), address[-1]
        owner[int(last) - 1 if isinstance(owner, list) else last] = text
    return text_from(data)


def _lines(table: Mapping[str, Any], heading: str) -> Iterator[str]:
    """Keys of a table with a value, then the tables in it, each below its heading."""
    inner = {key: value for key, value in table.items() if _is_table(value)}
    for key, value in table.items():
        if key not in inner:
            yield f"{_key(key)} = {_value(value)}"
    for key, value in inner.items():
        here = f"{heading}.{_key(key)}" if heading else _key(key)
        for row in [value] if isinstance(value, dict) else value:
            yield from ("", f"[{here}]" if isinstance(value, dict) else f"[[{here}]]")
            yield from _lines(row, here)


def _is_table(value: Any) -> bool:
    return isinstance(value, dict) or (isinstance(value, list | tuple) and len(value) > 0
                                       and all(isinstance(row, dict) for row in value))


def _key(key: str) -> str:
    plain = key.isascii() and key.replace("_", "").replace("-", "").isalnum()
    return key if plain else _text(key)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_value(v) for v in value) + "]"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return repr(value)


def _text(text: str) -> str:
    # JSON escapes what TOML does, but for the character DEL.
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")
