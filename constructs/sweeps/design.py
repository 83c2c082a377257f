"""The design of a sweep: the values of each case, fixed before the first is solved."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from buttress.fe.errors import InputError
from buttress.study.coupled import is_coupled
from buttress.study.paths import there
from buttress.study.study import Study
from buttress.sweeps.ranges import Coupled, Range, Span, Value, parse_range
from buttress.sweeps.vary import addresses, no_overlap, varied

METHODS = ("grid", "lhs", "sobol")
MOST_CASES = 1_000_000


@dataclass(frozen=True)
class Design:
    """Values ``rows[i][j]`` of key j in case i, and how they were generated.

    ``ranges`` are the texts of the keys' ranges; ``samples`` and ``seed`` are None in a grid.
    ``follows``: expressions of the coupled keys, by key, those of the study's file too.
    """

    keys: tuple[str, ...]
    ranges: tuple[str, ...]
    method: str
    samples: int | None
    seed: int | None
    rows: tuple[tuple[Value | None, ...], ...]
    follows: Mapping[str, str] = field(default_factory=dict)

    def cases(self) -> Iterator[dict[str, Value | None]]:
        """Values by key, case by case."""
        for row in self.rows:
            yield dict(zip(self.keys, row, strict=True))

    def described(self) -> dict[str, Any]:
        """The parameters of this design, for the store."""
        return {"vary": dict(zip(self.keys, self.ranges, strict=True)), "method": self.method,
                "samples": self.samples, "seed": self.seed} | (
                    {"follows": dict(self.follows)} if self.follows else {})

    def settled(self, study: Study, built: Mapping[int, Mapping[str, Any]]) -> Design:
        """With numbers for the expressions of coupled keys: those of each case.

        ``built``: the studies of the cases, as nested dicts, by number from 1; a case without one
        has no numbers.
        """
        places = {key: addresses(study, key) for key in self.keys}
        mine = {key: text for key, text in zip(self.keys, self.ranges, strict=True)
                if is_coupled(text)}
        set_ = {address for found in places.values() for address in found}
        filed = {".".join(a): text for a, text in study.coupled.items() if a not in set_}
        if not mine:
            return replace(self, follows=filed)
        rows = list(self.rows)
        for i, row in enumerate(rows):
            data = built.get(i + 1, {})
            rows[i] = tuple(
                next((x for a in places[key] if (x := there(data, a)) is not None), None)
                if key in mine else value for key, value in zip(self.keys, row, strict=True))
        return replace(self, rows=tuple(rows), follows=mine | filed)


def make_design(study: Study, vary: Sequence[str], *, method: str = "", samples: int | None = None,
                seed: int | None = None) -> Design:
    """The design of ``KEY=RANGE`` texts.

    Without a method, the design is a grid if every range has steps, else a Latin hypercube. Raises
    InputError for an unknown key, for a range of which an end is not valid by itself, and for
    sampling without a number of samples or a seed.
    """
    ranges = parse_vary(study, vary)
    stepless = [k for k, r in ranges.items() if r.steps() is None]
    short = next((k for k in stepless if isinstance(ranges[k], Span)), None)
    if short and samples is None and method in ("", "grid"):
        raise InputError("a:b:n, with the number of values n", file="--vary", key=short,
                         value=ranges[short].text,
                         expected=f"such as {ranges[short].text}:4, or --samples N to sample it")
    if not method:
        method = "lhs" if stepless or samples is not None else "grid"
    if method not in METHODS:
        raise InputError("unknown design", key="--design", value=method,
                         expected=", ".join(METHODS))
    check_ends(study, ranges)
    if method == "grid":
        if stepless:
            raise InputError("a range without steps in a grid", file="--vary", key=stepless[0],
                             value=ranges[stepless[0]].text,
                             expected="a:b:n or a list, or --design lhs or sobol")
        if samples is not None:
            raise InputError("a grid takes no number of samples", key="--samples",
                             value=str(samples), expected="--design lhs or sobol, or no --samples")
        if seed is not None:
            raise InputError("a grid draws no random numbers", key="--seed", value=str(seed),
                             expected="--design lhs or sobol, or no --seed")
        rows = _grid(ranges)
    else:
        rows = _sampled(ranges, method, samples, seed)
    return Design(
        keys=tuple(ranges), ranges=tuple(r.text for r in ranges.values()), method=method,
        samples=samples, seed=seed, rows=rows)


def parse_vary(study: Study, vary: Sequence[str]) -> dict[str, Range]:
    """Ranges by key. Raises InputError for an unknown key or range, a key given twice
    or two keys that set the same place.
    """
    try:
        return _parsed(study, vary)
    except InputError as error:
        raise error if error.key.startswith("--") else error.at(file="--vary") from None


def _parsed(study: Study, vary: Sequence[str]) -> dict[str, Range]:
    if not vary:
        raise InputError("nothing to vary", key="--vary",
                         expected='KEY=RANGE, for example "section.modulus_scale=0.5:2:4"')
    ranges: dict[str, Range] = {}
    for text in vary:
        key, equals, rest = text.partition("=")
        key = key.strip()
        if not equals or not key:
            raise InputError("not KEY=RANGE", key="--vary", value=text,
                             expected='for example "section.modulus_scale=0.5:2:4"')
        addresses(study, key)
        if key in ranges:
            raise InputError("a key is given twice", key=key, expected="one range per key")
        ranges[key] = parse_range(rest, key)
    no_overlap(study, tuple(ranges))
    return ranges


def check_ends(study: Study, ranges: Mapping[str, Range]) -> None:
    """Raise InputError for a range of which an end is not valid by itself.

    A coupled key is checked with the first end of every other range.
    """
    free = {key: r.ends() for key, r in ranges.items() if not isinstance(r, Coupled)}
    for key, ends in free.items():
        for value in ends:
            _check_alone(study, key, value, ranges[key].text)
    if len(free) < len(ranges):
        try:
            varied(study, {key: ends[0] for key, ends in free.items()}
                   | {key: r.text for key, r in ranges.items() if key not in free})
        except InputError as error:
            raise error.at(file="--vary") from None


def _check_alone(study: Study, key: str, value: Value, text: str) -> None:
    try:
        varied(study, {key: value})
    except InputError as error:
        at = f"{error.key}: " if error.key and error.key != key else ""
        raise InputError(f"a range with invalid values: {at}{error.message}", file="--vary",
                         key=key,
                         value=f"{text} (at {_written(value)})",
                         expected=error.expected) from None


def _written(value: Value) -> str:
    """A value as it is written in a range."""
    return str(value).lower() if isinstance(value, bool) else str(value)


def _grid(ranges: dict[str, Range]) -> tuple[tuple[Value, ...], ...]:
    steps = [r.steps() or [] for r in ranges.values()]
    count = math.prod(len(s) for s in steps)
    if count > MOST_CASES:
        raise InputError(f"a grid of {count} cases", key="--vary",
                         expected=f"at most {MOST_CASES}; or --design sobol --samples N")
    return tuple(itertools.product(*steps))


def _sampled(ranges: dict[str, Range], method: str, samples: int | None, seed: int | None
             ) -> tuple[tuple[Value, ...], ...]:
    if samples is None or not 1 <= samples <= MOST_CASES:
        raise InputError("the number of samples is missing or out of range", key="--samples",
                         value="" if samples is None else str(samples),
                         expected=f"a whole number from 1 to {MOST_CASES}")
    if seed is None:
        raise InputError("sampling without a seed is not reproducible", key="--seed",
                         expected="a whole number, for example --seed 1")
    u = unit_samples(len(ranges), method, samples, seed)
    columns = [r.at(u[:, j]) for j, r in enumerate(ranges.values())]
    return tuple(zip(*columns, strict=True))


def unit_samples(dimensions: int, method: str, samples: int, seed: int) -> np.ndarray:
    """Points ``(samples, dimensions)`` in the unit cube. Raises InputError.

    ``lhs``: Latin hypercube; ``sobol``: scrambled Sobol sequence, of a power of two points.
    """
    from scipy.stats import qmc

    if method == "lhs":
        return qmc.LatinHypercube(dimensions, rng=seed).random(samples)
    power = samples.bit_length() - 1
    if samples != 2**power:
        raise InputError("a Sobol sequence is balanced only for a power of two", key="--samples",
                         value=str(samples), expected=f"{2**power} or {2**(power + 1)}")
    return qmc.Sobol(dimensions, rng=seed).random_base2(power)
