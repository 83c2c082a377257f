"""How records show themselves: in one line, and in a notebook as HTML.

Whatever can write a kind of record as HTML registers here.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, ClassVar, TypeVar

T = TypeVar("T")
_WRITERS: dict[type, Callable[[Any], str]] = {}
MOST = 6
"""Entries of a list that a line names; of a longer one it gives their number."""


def shows(kind: type[T]) -> Callable[[Callable[[T], str]], Callable[[T], str]]:
    """Decorator: the function writes records of this kind as HTML."""
    def register(writer: Callable[[T], str]) -> Callable[[T], str]:
        _WRITERS[kind] = writer
        return writer

    return register


def displayed() -> tuple[type, ...]:
    """The kinds of record for which a writer is registered."""
    return tuple(_WRITERS)


class Brief:
    """A record whose repr is one line: the attributes named in ``brief``, long ones shortened.

    A dataclass of this kind is declared with ``repr=False``.
    """

    brief: ClassVar[tuple[str, ...]] = ()

    def __repr__(self) -> str:
        said = ", ".join(f"{name}={_short(getattr(self, name))}" for name in self.brief)
        return f"{type(self).__name__}({said})"


class Displayed(Brief):
    """A record that a notebook shows as HTML once a writer is registered, else as its repr."""

    def _repr_html_(self) -> str | None:
        writer = _WRITERS.get(type(self))
        return None if writer is None else writer(self)


def _short(value: Any) -> str:
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, dict):
        value = tuple(value)
    if isinstance(value, Sequence) and not isinstance(value, str):
        if len(value) > MOST:
            return f"<{len(value)} entries>"
        return f"({', '.join(_short(v) for v in value)}{',' if len(value) == 1 else ''})"
    return repr(value)
