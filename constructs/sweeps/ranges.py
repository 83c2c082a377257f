"""Ranges of varied keys: ``a:b:n``, a list, a distribution with its parameters, an expression.

Distributions are written as ``normal(0.5, 0.1)``; ``normal`` and ``lognormal`` take two optional
numbers at which they are truncated. ``lognormal(median, s)``: s is the standard deviation of
the natural logarithm.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.errors import InputError
from buttress.study.checked import closest, did_you_mean
from buttress.study.coupled import is_coupled

Value = float | int | str | bool
MOST_STEPS = 100_000
FORMS = {
    "normal": "normal(mean, standard deviation[, low, high])",
    "lognormal": "lognormal(median, standard deviation of the logarithm[, low, high])",
    "uniform": "uniform(low, high)",
    "triangular": "triangular(low, most likely, high)",
    "choice": "choice(a, b, ...)",
}
EXPECTED = ("a:b:n, a list such as 0.3,0.5 or [soft, dense], an expression of keys in braces such "
            "as {fracture.NAME.apex.y} + 13, or " + ", ".join(FORMS))


class Range(Protocol):
    """Values of one key."""

    @property
    def text(self) -> str:
        """The range as given."""

    def steps(self) -> list[Value] | None:
        """The values of a grid, None where the range has no steps."""

    def at(self, share: FloatArray) -> list[Value]:
        """Values at cumulative probabilities ``(n,)``, each between 0 and 1."""

    def ends(self) -> list[Value]:
        """Values that must each be valid."""


@dataclass(frozen=True)
class Listed:
    """Some values, all equally likely."""

    text: str
    values: tuple[Value, ...]

    def steps(self) -> list[Value] | None:
        return list(self.values)

    def at(self, share: FloatArray) -> list[Value]:
        number = np.minimum((np.asarray(share) * len(self.values)).astype(int),
                            len(self.values) - 1)
        return [self.values[i] for i in number]

    def ends(self) -> list[Value]:
        return list(self.values)


@dataclass(frozen=True)
class Span:
    """From ``low`` to ``high``: ``count`` equal steps in a grid, uniform when sampled."""

    text: str
    low: float
    high: float
    count: int | None

    def steps(self) -> list[Value] | None:
        if self.count is None:
            return None
        # Rounded so that 0.2:0.6:5 gives 0.3 and not 0.30000000000000004.
        return [float(f"{x:.12g}") for x in np.linspace(self.low, self.high, self.count)]

    def at(self, share: FloatArray) -> list[Value]:
        return (self.low + (self.high - self.low) * np.asarray(share)).tolist()

    def ends(self) -> list[Value]:
        return [self.low, self.high]


@dataclass(frozen=True)
class Coupled:
    """An expression of other keys, evaluated in each case: see `buttress.study.coupled`."""

    text: str

    def steps(self) -> list[Value] | None:
        return [self.text]

    def at(self, share: FloatArray) -> list[Value]:
        return [self.text] * len(share)

    def ends(self) -> list[Value]:
        return [self.text]


@dataclass(frozen=True)
class Distribution:
    """A named distribution; ``numbers`` as in `FORMS`."""

    text: str
    name: str
    numbers: tuple[float, ...]

    def steps(self) -> list[Value] | None:
        return None

    def at(self, share: FloatArray) -> list[Value]:
        law = self._law()
        u = np.asarray(share, dtype=float)
        if self.name in ("normal", "lognormal") and len(self.numbers) == 4:
            low, high = law.cdf(self.numbers[2:])
            u = low + (high - low) * u
        # A probability of exactly 0 or 1 has no finite value in an unbounded distribution.
        return np.asarray(law.ppf(np.clip(u, 1e-12, 1 - 1e-12)), dtype=float).tolist()

    def ends(self) -> list[Value]:
        """The bounds, or the 1 % and 99 % points of a distribution without bounds."""
        if self.name in ("normal", "lognormal") and len(self.numbers) == 2:
            return self.at(np.array([0.01, 0.99]))
        return [self.numbers[-1] if self.name != "uniform" else self.numbers[1],
                self.numbers[2] if self.name in ("normal", "lognormal") else self.numbers[0]]

    def _law(self) -> Any:
        from scipy import stats

        a, b = self.numbers[:2]
        if self.name == "normal":
            return stats.norm(a, b)
        if self.name == "lognormal":
            return stats.lognorm(b, scale=a)
        if self.name == "uniform":
            return stats.uniform(a, b - a)
        c = self.numbers[2]
        return stats.triang((b - a) / (c - a), loc=a, scale=c - a)


def parse_range(text: str, key: str = "") -> Range:
    """A range from its text; ``key`` is what messages name. Raises InputError."""
    given = text.strip()
    if not given:
        raise InputError("an empty range", key=key, expected=EXPECTED)
    if is_coupled(given):
        return Coupled(given)
    called = re.fullmatch(r"([A-Za-z_]+)\s*\((.*)\)", given, flags=re.DOTALL)
    if called:
        return _distribution(given, called[1], called[2], key)
    if ":" in given:
        return _span(given, key)
    # As in a study file, or in a shorter form.
    inside = given[1:-1] if given[0] == "[" and given[-1] == "]" else given
    return Listed(given, _values(inside, given, key))


def _values(text: str, given: str, key: str) -> tuple[Value, ...]:
    parts = [p.strip() for p in text.split(",")]
    if any(not p for p in parts):
        raise InputError("an empty value in a list", key=key, value=given, expected=EXPECTED)
    values = tuple(_value(p, given, key) for p in parts)
    if len(set(map(repr, values))) < len(values):
        raise InputError("a repeated value", key=key, value=given,
                         expected="values that differ")
    return values


def _value(text: str, given: str, key: str) -> Value:
    if text.lower() in ("true", "false"):
        return text.lower() == "true"
    try:
        number = float(text)
    except ValueError:
        return text.strip("\"'")
    if not math.isfinite(number):
        raise InputError("not a finite number", key=key, value=given,
                         expected="finite numbers")
    return int(text) if re.fullmatch(r"[+-]?\d+", text) else number


def _numbers(parts: list[str], given: str, key: str, expected: str) -> list[float]:
    try:
        numbers = [float(p) for p in parts]
    except ValueError:
        numbers = [math.nan]
    if not all(math.isfinite(x) for x in numbers):
        raise InputError("not a range of numbers", key=key, value=given, expected=expected)
    return numbers


def _span(given: str, key: str) -> Span:
    expected = "from:to:steps, as in 0.2:0.6:5"
    parts = given.split(":")
    if len(parts) not in (2, 3):
        raise InputError("not a range", key=key, value=given, expected=expected)
    numbers = _numbers(parts, given, key, expected)
    low, high = numbers[:2]
    count = None
    if len(parts) == 3:
        if not (numbers[2].is_integer() and 2 <= numbers[2] <= MOST_STEPS):
            raise InputError("the number of values is out of range", key=key, value=given,
                             expected=f"a whole number of values from 2 to {MOST_STEPS}")
        count = int(numbers[2])
    if not low < high:
        raise InputError("a range that does not increase", key=key, value=given, expected=expected)
    return Span(given, low, high, count)


def _distribution(given: str, name: str, inside: str, key: str) -> Range:
    if name not in FORMS:
        raise InputError("unknown distribution" + did_you_mean(closest(name, FORMS)), key=key,
                         value=given, expected=", ".join(FORMS.values()))
    if name == "choice":
        return Chosen(given, _values(inside, given, key))
    numbers = _numbers(inside.split(","), given, key, FORMS[name])
    counts = {"uniform": (2,), "triangular": (3,)}.get(name, (2, 4))
    fits = len(numbers) in counts
    if fits and name in ("uniform", "triangular"):
        fits = numbers[0] < numbers[-1] and numbers == sorted(numbers)
    elif fits:
        fits = numbers[1] > 0 and (len(numbers) == 2 or numbers[2] < numbers[3])
        fits = fits and (name == "normal" or (numbers[0] > 0 and min(numbers) >= 0))
    law = Distribution(given, name, tuple(numbers))
    if fits and len(numbers) == 4:
        within = np.diff(law._law().cdf(numbers[2:]))[0]
        fits = bool(within > 1e-6)  # else almost none of it lies between its bounds
    if not fits:
        raise InputError("parameters that do not define a distribution", key=key, value=given,
                         expected=FORMS[name])
    return law


@dataclass(frozen=True)
class Chosen(Listed):
    """A list that is sampled from, not stepped through."""

    def steps(self) -> list[Value] | None:
        """None: it is no grid."""
        return None
