"""Keys that a search may change, with their bounds."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.errors import InputError
from buttress.model.resolve import resolved
from buttress.study.complaint import show
from buttress.study.paths import there
from buttress.study.study import Study
from buttress.sweeps.design import parse_vary
from buttress.sweeps.ranges import Coupled, Span
from buttress.sweeps.vary import addresses

EXPECTED = ('KEY=low:high, as in "construct.NAME.plate.NAME.top_mm=-30:-20"; a coupled key as '
            "KEY={expression}")
DIGITS = 3
"""Decimal places of a range's own power of ten to which values are rounded."""


@dataclass(frozen=True)
class Free:
    """A key with the bounds of a search; ``start``: the study's own value; ``whole``: it is a
    whole number, as that of a hole."""

    key: str
    low: float
    high: float
    start: float
    whole: bool

    def value(self, share: float) -> float | int:
        """The value at a share of the range, rounded to what is worth telling apart."""
        value = self.low + (self.high - self.low) * min(1.0, max(0.0, share))
        if self.whole:
            return round(value)
        places = DIGITS - 1 - math.floor(math.log10(self.high - self.low))
        return float(round(value, places)) + 0.0

    def share(self, value: float) -> float:
        """Where a value lies between the bounds, from 0 to 1."""
        return (value - self.low) / (self.high - self.low)

    def at_bound(self, value: float) -> bool:
        """Whether a value is one of the bounds, within a hundredth of the range."""
        return not 0.01 < self.share(value) < 0.99


def own_key(key: str, construct: str) -> bool:
    """Whether a key is one of a construct, not of bone, fracture or load."""
    return key.startswith((f"construct.{construct}.", "construct.*."))


def free_keys(study: Study, free: Sequence[str]) -> tuple[tuple[Free, ...], dict[str, str]]:
    """The free keys of a study, and expressions of coupled ones, from texts KEY=low:high.

    Raises InputError for an unknown key, one of another construct, one without a
    number in the study, bounds that its own value is not within, and no free key at all.
    """
    if not free:
        raise InputError("nothing is free", key="--free", expected=EXPECTED)
    [name] = [c.name for c in study.constructs]
    for key in (text.split("=")[0].strip() for text in free):
        if key.startswith("construct.") and not own_key(key, name):
            raise InputError("not a key of the construct that is improved", file="--free", key=key,
                             expected=f'"construct.{name}.…": other constructs are not asked')
    try:
        ranges = parse_vary(study, free)
    except InputError as error:    # in the words of a sweep
        own = error.key == "--vary"
        raise InputError(error.message, file="" if own else "--free",
                         key="--free" if own else error.key, value=error.value,
                         expected=EXPECTED if error.value else error.expected) from None
    data, found, coupled = resolved(study), [], {}
    for key, given in ranges.items():
        if isinstance(given, Coupled):
            coupled[key] = given.text
            continue
        if not isinstance(given, Span) or given.count is not None:
            raise InputError("not the bounds of a free key", file="--free", key=key,
                             value=given.text, expected=EXPECTED)
        found.append(_free(study, data, key, given))
    if not found:
        raise InputError("nothing is free", key="--free", expected=EXPECTED)
    return tuple(found), coupled


def _free(study: Study, data: dict[str, Any], key: str, given: Span) -> Free:
    own = {repr(v): v for a in addresses(study, key) if (v := there(data, a)) is not None}
    values = list(own.values())
    if len(values) != 1 or isinstance(values[0], bool) or not isinstance(values[0], int | float):
        raise InputError("a free key without one number in the study, from which to start",
                         file="--free", key=key, value=", ".join(map(show, values)) or "nothing",
                         expected="a key whose value is one number; write it into the study")
    start = values[0]
    if not given.low <= start <= given.high:
        raise InputError("the study's own value lies outside the bounds", file="--free", key=key,
                         value=f"{start:g}, and {given.text}",
                         expected="bounds that hold the start")
    whole = isinstance(start, int)
    if whole and not (given.low.is_integer() and given.high.is_integer()):
        raise InputError("bounds of a whole number", file="--free", key=key, value=given.text,
                         expected="whole numbers, as in 1:5")
    return Free(key, given.low, given.high, float(start), whole)


def shares_of(free: Sequence[Free], values: Sequence[Sequence[float]]) -> FloatArray:
    """Places of values ``(n, d)`` between the bounds."""
    return np.array([[f.share(float(v)) for f, v in zip(free, row, strict=True)]
                     for row in values], dtype=float).reshape(-1, len(free))
