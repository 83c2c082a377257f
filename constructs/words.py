"""Counts and numbers in words."""

from __future__ import annotations

from collections.abc import Sequence

MARKED = "(!) breaks a rule of the trade"
"""What the mark behind the name of a construct means."""
BREAKS_RULE = f"{MARKED}: its warnings say which"
"""The same where warnings are shown or listed."""
IN_SOME = f"{MARKED} in some or all cases"
"""The same of the cases of a sweep."""


def marked(name: str, breaks_rule: bool) -> str:
    """The name of a construct, marked where it breaks a rule of the trade."""
    return f"{name} (!)" if breaks_rule else name


def listed(names: Sequence[str]) -> str:
    """Names in a sentence: ``a``, ``a and b``, ``a, b and c``."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def counted(number: int, what: str) -> str:
    """A number with its noun in the singular or plural: ``1 case``, ``2 cases``."""
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def fixed(value: float, digits: int) -> str:
    """A number with fixed decimals in a sentence: its minus is no hyphen, and no zero has one."""
    return minus(f"{round(value, digits) + 0.0:.{digits}f}")


def span(low: float, high: float, digits: int = 0) -> str:
    """A range of two numbers as text: ``420–508``; of two that read alike, the one."""
    ends = f"{low:.{digits}f}", f"{high:.{digits}f}"
    return ends[0] if ends[0] == ends[1] else "\N{EN DASH}".join(ends)


def minus(number: str) -> str:
    """A number as text with the sign for minus instead of a hyphen."""
    return number.replace("-", "\N{MINUS SIGN}")


def piece_or_row(what: str, count: int) -> str:
    """What a screw or wire is called, of which there may be several side by side: ``screw``,
    ``row of 4 screws``."""
    return what if count == 1 else f"row of {counted(count, what)}"


def duration(seconds: float) -> str:
    """A duration in seconds, minutes or hours, in words."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    if seconds < 5400:
        return f"{seconds / 60:.0f} min"
    return f"{seconds / 3600:.1f} h"
