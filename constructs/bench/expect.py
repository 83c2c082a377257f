"""The table of expectations and the rules by which a number agrees or disagrees with it.

A verdict depends only on the written claim and the numbers.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Literal

Verdict = Literal["agrees", "disagrees", "not comparable"]
LEAST_DIFFERENCE = 1.05
"""Of two figures closer than this factor, neither counts as the larger."""
NO_DIFFERENCE = 1.25
"""Figures within this factor of each other count as not different."""
ORDER = 10.0**0.5
"""Same order of magnitude: within this factor, up or down."""
RULES = ("band", "order", "more", "less", "grows", "no difference", "none")


@dataclass(frozen=True)
class Reading:
    """A figure of one construct: a number, or the reason why there is none.

    ``beyond``: "unbounded" where the construct fails and the figure has no bound (subsidence),
    "nil" where it fails and the figure is zero (stiffness), "over" where the search ended at
    ``value`` without an event (a load that is at least this).
    """

    value: float | None
    beyond: Literal["", "unbounded", "nil", "over"] = ""
    words: str = ""

    def bounds(self) -> tuple[float, float] | None:
        """Smallest and largest possible value of the figure; None where nothing is known."""
        if self.beyond == "unbounded":
            return float("inf"), float("inf")
        if self.beyond == "nil":
            return 0.0, 0.0
        if self.value is None:
            return None
        return self.value, float("inf") if self.beyond == "over" else self.value


@dataclass(frozen=True)
class Claim:
    """One statement of a bench test that can agree or disagree."""

    name: str
    figure: str
    rule: str
    unit: str
    quantity: str
    of: str
    load_N: tuple[float, ...]
    against: tuple[str, ...] = ()
    bench: float | None = None
    factor: float | None = None
    caution: str = ""
    not_comparable: str = ""

    @property
    def constructs(self) -> tuple[str, ...]:
        """Constructs whose figures are read: `of`, then `against`."""
        return (self.of, *self.against) if self.of else ()


@dataclass(frozen=True)
class BenchTest:
    """One published test, with the study that imitates it."""

    name: str
    source: str
    doi: str
    status: str
    test: str
    bone: str
    study: str
    fragment: str
    speaks_to: tuple[str, ...]
    assumptions: tuple[str, ...]
    claims: tuple[Claim, ...]


@cache
def expectations() -> tuple[BenchTest, ...]:
    """The table, in its order. Raises ValueError for an incomplete row."""
    text = files("buttress.bench").joinpath("expectations.toml").read_text(encoding="utf-8")
    return tuple(_test(row) for row in tomllib.loads(text)["comparison"])


def _test(row: dict[str, Any]) -> BenchTest:
    claims = tuple(_claim(c) for c in row.pop("claim"))
    row |= {key: tuple(row[key]) for key in ("assumptions", "speaks_to")}
    return BenchTest(**row, claims=claims)


def _claim(row: dict[str, Any]) -> Claim:
    given: dict[str, Any] = {k: tuple(v) if isinstance(v, list) else v for k, v in row.items()}
    claim = Claim(**given)
    needs = {"band": claim.bench is not None and claim.factor is not None,
             "order": claim.bench is not None, "more": bool(claim.against),
             "less": bool(claim.against), "no difference": bool(claim.against),
             "grows": len(claim.load_N) == 2, "none": bool(claim.not_comparable)}
    if not needs.get(claim.rule, False):
        raise ValueError(f"expectation '{claim.name}': rule '{claim.rule}' is incomplete")
    return claim


def verdict(claim: Claim, readings: tuple[Reading, ...]) -> tuple[Verdict, str]:
    """Verdict and its arithmetic in words.

    ``readings``: one per construct of the claim, for "grows" one per load.
    """
    if claim.not_comparable:
        return "not comparable", claim.not_comparable
    known = [r.bounds() for r in readings]
    if any(b is None for b in known):
        missing = next(r for r, b in zip(readings, known, strict=True) if b is None)
        return "not comparable", missing.words or "a figure does not exist"
    pairs = [b for b in known if b is not None]
    if claim.rule in ("band", "order"):
        return _within(claim, pairs[0])
    if claim.rule == "grows":
        return _grows(claim, pairs)
    if claim.rule == "no difference":
        return _alike(pairs)
    sign = claim.rule == "more"
    high, low = (pairs[:1], pairs[1:]) if sign else (pairs[1:], pairs[:1])
    return _beyond(high, low)


def _within(claim: Claim, pair: tuple[float, float]) -> tuple[Verdict, str]:
    factor = ORDER if claim.rule == "order" else claim.factor
    if factor is None or claim.bench is None:
        raise ValueError(f"expectation '{claim.name}' has no band")
    if pair[1] == float("inf"):
        return ("disagrees", "fails where the test held") if pair[0] == float("inf") else (
            "not comparable", "beyond the search limit")
    ratio = pair[0] / claim.bench
    words = f"{ratio:.2f} times the bench figure; band 1/{factor:.3g} to {factor:.3g}"
    return ("agrees" if 1.0 / factor <= ratio <= factor else "disagrees"), words


def _grows(claim: Claim, pairs: list[tuple[float, float]]) -> tuple[Verdict, str]:
    loads = claim.load_N[1] / claim.load_N[0]
    if pairs[0][0] in (0.0, float("inf")):
        return "not comparable", "no figure for comparison at the lower load"
    ratio = pairs[1][0] / pairs[0][0]
    words = f"{ratio:.2f} times as much under {loads:.3g} times the load"
    return ("agrees" if ratio >= LEAST_DIFFERENCE * loads else "disagrees"), words


def _alike(pairs: list[tuple[float, float]]) -> tuple[Verdict, str]:
    low, high = min(p[0] for p in pairs), max(p[1] for p in pairs)
    if low <= 0.0:
        return ("not comparable", "all figures are zero") if high == 0.0 else (
            "disagrees", "one is zero, another is not")
    if min(p[1] for p in pairs) == float("inf"):
        return "not comparable", "none of the figures has a bound"
    if any(p[0] != p[1] for p in pairs):
        # Some are beyond the search limit: different only if that is far enough from the others.
        high = max(p[0] for p in pairs)
        words = f"at least a factor of {high / low:.2f} apart"
        return ("disagrees" if high > NO_DIFFERENCE * low else "not comparable"), words
    words = (f"a factor of {high / low:.2f} apart; no difference up to {NO_DIFFERENCE:g}"
             if high < float("inf") else "one fails, another does not")
    return ("agrees" if high <= NO_DIFFERENCE * low else "disagrees"), words


def _beyond(high: list[tuple[float, float]], low: list[tuple[float, float]]
            ) -> tuple[Verdict, str]:
    """Whether every figure of `high` is beyond every one of `low`, knowing only bounds."""
    a, b = min(p[0] for p in high), max(p[1] for p in low)
    if a == float("inf") and b == float("inf"):
        return "not comparable", "neither figure has a bound"
    most, least = min(p[1] for p in high), max(p[0] for p in low)
    if least == a == 0.0:
        return "not comparable", "both figures are zero"
    words = ("no bound against a bounded figure" if float("inf") in (a, least) else
             "the other is zero" if least == 0.0 else
             f"{a / least:.2f} times the other; at least {LEAST_DIFFERENCE:g} needed")
    if a >= LEAST_DIFFERENCE * b:
        return "agrees", words
    if most < LEAST_DIFFERENCE * least:
        return "disagrees", words
    return "not comparable", "beyond the search limit: the difference is not known"
