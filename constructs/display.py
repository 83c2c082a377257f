"""How records show themselves in a notebook: whatever can write them as HTML registers here."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

T = TypeVar("T")
_WRITERS: dict[type, Callable[[Any], str]] = {}


def shows(kind: type[T]) -> Callable[[Callable[[T], str]], Callable[[T], str]]:
    """Decorator: the function writes records of this kind as HTML."""
    def register(writer: Callable[[T], str]) -> Callable[[T], str]:
        _WRITERS[kind] = writer
        return writer

    return register


class Displayed:
    """A record that a notebook shows as HTML once a writer is registered, else as its repr."""

    def _repr_html_(self) -> str | None:
        writer = _WRITERS.get(type(self))
        return None if writer is None else writer(self)
