"""Outcomes of the samples of a ranking, and the resulting order of the constructs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from buttress.fe.status import Status
from buttress.model.pressing import SEARCH_LIMIT_N
from buttress.results import quantities
from buttress.results.quantities import limited
from buttress.results.quantity import Limit
from buttress.sweeps.store import reading

FloatArray = np.ndarray
ANSWERS = ("held", "no equilibrium")
LIMITS = {x.name: x for x in quantities.LIMITS}
"""Limits by name: each refers to a quantity of the catalogue, of which the store has columns."""


def _worst_of(limit: Limit) -> str:
    """SQL for what a limit limits: the largest of its columns in the store."""
    columns = list(limited(limit).columns(limited(limit).store))
    if len(columns) == 1:
        return columns[0]
    return f"max({', '.join(f'coalesce({c}, 0)' for c in columns)})"


@dataclass(frozen=True)
class Outcomes:
    """Outcomes of all samples, ``(samples, constructs)``; NaN where a number does not exist.

    ``status``: "held", "no equilibrium", "unconverged" or "none" (refused, or failed).
    ``capacity_N`` is capped at the search limit, also where the model does not limit it.
    ``figures``: the quantity of each of `LIMITS`, at the worst position in the construct.
    """

    constructs: tuple[str, ...]
    load_N: float
    status: np.ndarray
    subsidence_mm: FloatArray
    capacity_N: FloatArray
    figures: dict[str, FloatArray]

    @property
    def held(self) -> np.ndarray:
        return self.status == Status.HELD

    def rows(self, part: slice) -> Outcomes:
        """Some of the samples."""
        return Outcomes(
            constructs=self.constructs, load_N=self.load_N, status=self.status[part],
            subsidence_mm=self.subsidence_mm[part], capacity_N=self.capacity_N[part],
            figures={k: v[part] for k, v in self.figures.items()})

    def keeps(self, name: str, limit: float) -> np.ndarray:
        """Whether a limit is met; not met without equilibrium, met where there is no such figure.
        """
        return self.held & (np.nan_to_num(self.figures[name], nan=0.0) <= limit)

    def keeps_all(self, limits: dict[str, float]) -> np.ndarray:
        """Whether a construct is held and meets every limit."""
        return np.logical_and.reduce([self.held, *(self.keeps(*x) for x in limits.items())])

    def merit(self, limits: dict[str, float]) -> FloatArray:
        """Order of merit, smaller is better: constructs that meet all limits come first.

        The mean subsidence alone may be smaller for a fragment that tilts or shifts sideways.
        """
        return self.score() + np.where(self.held & ~self.keeps_all(limits), 1e3, 0.0)

    def ranks(self, limits: dict[str, float]) -> FloatArray:
        """Ranks from 1 by `merit` in each sample, ``(n, constructs)``; ties share a rank.

        Constructs without an answer have no rank (NaN) and do not affect the ranks of the others.
        """
        merit = np.where(np.isin(self.status, ANSWERS), self.merit(limits), np.nan)
        ranks = 1.0 + (merit[:, :, None] > merit[:, None, :]).sum(axis=2) \
            + 0.5 * ((merit[:, :, None] == merit[:, None, :]).sum(axis=2) - 1)
        return np.where(np.isnan(merit), np.nan, ranks)

    def best(self, limits: dict[str, float]) -> FloatArray:
        """The best construct in each sample, ``(n, constructs)``, of those that meet all limits.

        None where none does: the last construct to fail does not count as the best.
        """
        return best_shares(np.where(self.keeps_all(limits), self.score(), np.inf))

    def less(self, this: int, other: int) -> np.ndarray:
        """Where one construct subsides less than another, or holds where the other does not.

        False where neither holds, even if one has the larger capacity.
        """
        score = self.score()
        either = self.held[:, this] | self.held[:, other]
        return either & (score[:, this] < score[:, other])

    def score(self) -> FloatArray:
        """Order of subsidence, smaller is less: held constructs by subsidence, others by capacity.

        Constructs without equilibrium come after all that are held, failed solutions last.
        """
        sunk = np.where(self.held, np.nan_to_num(self.subsidence_mm, nan=0.0), 0.0)
        loose = 1e6 - np.nan_to_num(self.capacity_N, nan=0.0)
        failed = ~np.isin(self.status, ANSWERS)
        return np.where(self.held, sunk, loose) + np.where(failed, 1e7, 0.0)


def best_shares(score: FloatArray) -> FloatArray:
    """The best construct in each sample, ``(n, constructs)``, shared among ties.

    None where every score is infinite.
    """
    top = (score == score.min(axis=1, keepdims=True)) & np.isfinite(score)
    return top / np.maximum(top.sum(axis=1, keepdims=True), 1)


def read_outcomes(path: Path, constructs: Sequence[str], load: float, samples: int) -> Outcomes:
    """Outcomes of all samples at one load from a store."""
    shape = samples, len(constructs)
    number = {name: j for j, name in enumerate(constructs)}
    status = np.full(shape, "none", dtype=object)
    sunk, held = np.full(shape, np.nan), np.full(shape, np.nan)
    figures = {name: np.full(shape, np.nan) for name in LIMITS}
    columns = ", ".join(map(_worst_of, LIMITS.values()))
    with reading(path) as db:
        for case, name, how, mean, *values in db.execute(
                f"SELECT case_id, construct, status, subsidence_mean_mm, {columns} FROM results "
                "WHERE total_load_N = ?", (load,)):
            at = case - 1, number[name]
            status[at] = how
            sunk[at] = np.nan if mean is None else mean
            for limit, value in zip(LIMITS, values, strict=True):
                figures[limit][at] = np.nan if value is None else value
        for case, name, upper, said in db.execute(
                "SELECT case_id, construct, capacity_upper_N, capacity_status FROM capacities"):
            if said is not None:
                capped = SEARCH_LIMIT_N if upper is None else min(upper, SEARCH_LIMIT_N)
                held[case - 1, number[name]] = capped
    return Outcomes(
        constructs=tuple(constructs), load_N=load, status=status, subsidence_mm=sunk,
        capacity_N=held, figures=figures)
