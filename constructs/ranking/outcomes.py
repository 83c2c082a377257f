"""Outcomes of the samples of a ranking, and the resulting order of the constructs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations
from pathlib import Path

import numpy as np

from buttress.fe.status import Status
from buttress.model.pressing import SEARCH_LIMIT_N
from buttress.results import derive, quantities
from buttress.results.order import AT_LEAST, TIE
from buttress.results.quantities import limited
from buttress.results.quantity import Limit
from buttress.results.records import NOT_KNOWN
from buttress.sweeps.store import reading

FloatArray = np.ndarray
ANSWERS = ("held", "no equilibrium")
REFUSED = "refused"
LIMITS = {x.name: x for x in quantities.LIMITS}
"""Limits by name: each refers to a quantity of the catalogue, of which the store has columns."""


@dataclass(frozen=True)
class Merit:
    """A quantity by which constructs are ranked: its words and unit, and whether more is better.

    ``column``: of the store; ``needs``: keys of what has to be read off the path for it.
    """

    name: str
    column: str
    words: str
    unit: str
    needs: tuple[str, ...] = ()
    more: bool = True


RESERVE = "reserve"
MERITS = {m.name: m for m in (
    Merit(RESERVE, "reserve_N", "reserve", "N", derive.RESERVE),
    Merit("peak", "peak_N", "peak load", "N", derive.PEAK),
    Merit("stiffness", "secant_stiffness_N_per_mm", "stiffness", "N/mm", derive.STIFFNESS),
    Merit("subsidence", "subsidence_mean_mm", "mean subsidence", "mm", more=False))}
"""Quantities by which a ranking can be made; all but subsidence depend on no listed load."""
SUBSIDENCE = "subsidence"


def _worst_of(limit: Limit) -> str:
    """SQL for what a limit limits: the largest of its columns in the store."""
    columns = list(limited(limit).columns(limited(limit).store))
    if len(columns) == 1:
        return columns[0]
    return f"max({', '.join(f'coalesce({c}, 0)' for c in columns)})"


@dataclass(frozen=True)
class Outcomes:
    """Outcomes of all samples, ``(samples, constructs)``; NaN where a number does not exist.

    ``status``: "held", "no equilibrium", "unconverged", "refused" or "none" (failed).
    ``capacity_N`` is capped at the search limit, also where the model does not limit it.
    ``figures``: the quantity of each of `LIMITS`, at the worst position in the construct.
    ``by``: the name of one of `MERITS`, ``values`` what constructs have of it (for subsidence
    ``subsidence_mm`` stands for it, and what is not held is ordered too).
    """

    constructs: tuple[str, ...]
    load_N: float
    status: np.ndarray
    subsidence_mm: FloatArray
    capacity_N: FloatArray
    figures: dict[str, FloatArray]
    by: str = SUBSIDENCE
    values: FloatArray | None = None

    @property
    def merit(self) -> Merit:
        """The quantity by which constructs are ranked."""
        return MERITS[self.by]

    @property
    def chosen(self) -> FloatArray:
        """What constructs have of that quantity, NaN where that is not known."""
        return self.subsidence_mm if self.values is None else self.values

    @property
    def refused(self) -> np.ndarray:
        """Where a construct of a sample was refused as wrong input: no failure, and no answer."""
        return self.status == REFUSED

    @property
    def known(self) -> np.ndarray:
        """Where a construct has a place in the order."""
        return np.isin(self.status, ANSWERS) if self.values is None else np.isfinite(self.values)

    @property
    def beyond(self) -> np.ndarray:
        """Where a load by which constructs are ranked is a lower bound, the end of the search."""
        return np.zeros(self.status.shape, dtype=bool) if self.values is None \
            or self.merit.unit != "N" else self.values >= SEARCH_LIMIT_N

    def undecided(self, this: int, other: int) -> np.ndarray:
        """Where such a bound leaves open which of two constructs is ahead, or whether they tie."""
        pairs = ((this, other), (other, this))
        return self.known[:, [this, other]].all(axis=1) & np.logical_or.reduce([
            self.beyond[:, i] & ~self.ahead(i, j) for i, j in pairs])

    @property
    def held(self) -> np.ndarray:
        """Where a construct of a sample is in equilibrium under the load."""
        return self.status == Status.HELD

    def rows(self, part: slice) -> Outcomes:
        """Some of the samples."""
        return Outcomes(
            constructs=self.constructs, load_N=self.load_N, status=self.status[part],
            subsidence_mm=self.subsidence_mm[part], capacity_N=self.capacity_N[part],
            figures={k: v[part] for k, v in self.figures.items()}, by=self.by,
            values=None if self.values is None else self.values[part])

    def keeps(self, name: str, limit: float) -> np.ndarray:
        """Whether a limit is met; not met without equilibrium, met where there is no such figure.
        """
        return self.held & (np.nan_to_num(self.figures[name], nan=0.0) <= limit)

    def keeps_all(self, limits: dict[str, float]) -> np.ndarray:
        """Whether a construct is held and meets every limit."""
        return np.logical_and.reduce([self.held, *(self.keeps(*x) for x in limits.items())])

    def limited(self, limits: dict[str, float]) -> FloatArray:
        """Order of merit, smaller is better: constructs that meet all limits come first.

        The mean subsidence alone may be smaller for a fragment that tilts or shifts sideways.
        """
        return self.score() + np.where(self.held & ~self.keeps_all(limits), 1e3, 0.0)

    def ranks(self, limits: dict[str, float]) -> FloatArray:
        """Ranks from 1 in each sample, ``(n, constructs)``; ties share a rank.

        By the chosen quantity, subsidence after the limits (`limited`). Constructs without an
        answer have no rank (NaN) and do not affect the ranks of the others; nor have two of which
        it is not known which is ahead (`undecided`).
        """
        if self.values is None:
            merit = np.where(self.known, self.limited(limits), np.nan)
            behind = merit[:, :, None] > merit[:, None, :]
            ties = merit[:, :, None] == merit[:, None, :]
        else:
            behind = _clearly(self.values[:, None, :], self.values[:, :, None])
            there = self.known[:, :, None] & self.known[:, None, :]
            ties = there & ~behind & ~behind.transpose(0, 2, 1)
        ranks = 1.0 + behind.sum(axis=2) + 0.5 * (ties.sum(axis=2) - 1)
        for i, j in permutations(range(len(self.constructs)), 2):
            ranks[self.undecided(i, j), i] = np.nan
        return np.where(self.known, ranks, np.nan)

    def best(self, limits: dict[str, float]) -> FloatArray:
        """The best construct in each sample, ``(n, constructs)``, shared among ties.

        By subsidence of those that meet all limits, by another quantity of those that carry
        anything. None where none does: the last construct to fail does not count as the best.
        NaN for those of which a bound leaves open which is best.
        """
        if self.values is not None:
            top = np.nanmax(np.where(self.known, self.values, 0.0), axis=1, keepdims=True)
            first = self.known & (self.values > 0.0) & ~_clearly(top, self.values)
            count = first.sum(axis=1, keepdims=True)
            open_ = first & (count > 1) & self.beyond.any(axis=1, keepdims=True)
            return np.where(open_, np.nan, first / np.maximum(count, 1))
        return best_shares(np.where(self.keeps_all(limits), self.score(), np.inf))

    def ahead(self, this: int, other: int) -> np.ndarray:
        """Where one construct is ahead of another by more than the stated indifference.

        By subsidence: it subsides less, or holds where the other does not; false where neither
        holds, even if one has the larger capacity.
        """
        if self.values is not None:
            return _clearly(self.values[:, this], self.values[:, other])
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


def _clearly(more: FloatArray, less: FloatArray) -> np.ndarray:
    """Where a value is larger by more than the stated indifference; never where one is NaN."""
    return more > (1.0 + TIE) * less


def best_shares(score: FloatArray) -> FloatArray:
    """The best construct in each sample, ``(n, constructs)``, shared among ties.

    None where every score is infinite.
    """
    top = (score == score.min(axis=1, keepdims=True)) & np.isfinite(score)
    return top / np.maximum(top.sum(axis=1, keepdims=True), 1)


def read_outcomes(path: Path, constructs: Sequence[str], load: float, samples: int,
                  by: str = SUBSIDENCE) -> Outcomes:
    """Outcomes of all samples at one load from a store, to be ranked ``by`` one of `MERITS`."""
    shape = samples, len(constructs)
    number = {name: j for j, name in enumerate(constructs)}
    status = np.full(shape, "none", dtype=object)
    sunk, held = np.full(shape, np.nan), np.full(shape, np.nan)
    figures = {name: np.full(shape, np.nan) for name in LIMITS}
    chosen = None if by == SUBSIDENCE else np.full(shape, np.nan)
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
        for case, name in db.execute("SELECT case_id, construct FROM failures WHERE status = ?",
                                     (REFUSED,)):
            status[case - 1, slice(None) if name is None else number[name]] = REFUSED
        if chosen is not None:
            for case, name, value in db.execute(
                    f"SELECT case_id, construct, {_known(MERITS[by])} FROM capacities"):
                chosen[case - 1, number[name]] = np.nan if value is None else value
    return Outcomes(
        constructs=tuple(constructs), load_N=load, status=status, subsidence_mm=sunk,
        capacity_N=held, figures=figures, by=by, values=chosen)


def _known(merit: Merit) -> str:
    """SQL for a quantity of the path where it is known; a load is capped at the search limit."""
    capped = f"min({merit.column}, {SEARCH_LIMIT_N})" if merit.unit == "N" else merit.column
    lost = {RESERVE: f"reserve_is = '{AT_LEAST}' AND reserve_N < {SEARCH_LIMIT_N}",
            "peak": f"peak_status = '{NOT_KNOWN}'"}.get(merit.name)
    return f"CASE WHEN {lost} THEN NULL ELSE {capped} END" if lost else capped
