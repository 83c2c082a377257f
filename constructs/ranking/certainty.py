"""Statistics of paired samples: shares, differences and sensitivities, each with its interval."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from buttress.fe.arrays import BoolArray, FloatArray, IntArray

LEVEL = 0.95
WIDEST, LARGEST = 1.0, 1.2
"""A total index with a wider interval, or a larger value (above 1), is inconclusive."""
NARROW = 0.5
"""The driver of a quantity is named only where its interval is no wider."""
SHUFFLES = 2000
SAME = "the same in all samples"
FEW = "known in too few samples to determine what drives it"
RARE = "different in too few samples to determine what drives it"
AT_MOST, LEAST, UNKNOWN = "at most", "at least", "not known"
BOUND = {(False, False): "", (True, False): AT_MOST, (False, True): LEAST, (True, True): UNKNOWN}
"""What a number is, by whether it may be less and whether it may be more."""
OPEN = 1e12
"""A size that no difference has, in place of one without a bound."""
RESAMPLES = 1000
FEWEST_ROWS = 4
"""Number of base samples with an answer below which no indices are computed."""
FEWEST = 8
"""Number of samples in which an event must occur before its indices are computed."""


@dataclass(frozen=True)
class Share:
    """A share of samples with its interval."""

    share: float
    low: float
    high: float
    samples: int


@dataclass(frozen=True)
class Difference:
    """A paired difference: mean and median with their intervals, and how it is distributed.

    ``quantiles`` at 5, 25, 50, 75 and 95 %; None where fewer than two pairs exist. ``middle``: the
    interval of the median, None where there are fewer than six pairs. ``mean_is``, ``median_is``,
    ``middle_is``: "at most", "at least" or "not known" where samples known only as bounds leave
    that number open, else empty; such a mean has no interval.
    """

    pairs: int
    mean: float | None
    low: float | None
    high: float | None
    deviation: float | None
    quantiles: tuple[float, ...] | None
    middle: tuple[float, float] | None = None
    mean_is: str = ""
    median_is: str = ""
    middle_is: tuple[str, str] = ("", "")

    @property
    def median(self) -> float | None:
        """The median, None where fewer than two pairs exist."""
        return None if self.quantiles is None else self.quantiles[2]


@dataclass(frozen=True)
class Indices:
    """First-order and total Sobol index of each input with intervals; ``(d, 3)``: value, low, high.

    None, with the reason in ``note``, where the quantity is the same in all or almost all paired
    samples, so that there is no variance to explain, or known in too few.
    """

    inputs: tuple[str, ...]
    first: FloatArray | None
    total: FloatArray | None
    samples: int
    left_out: int
    note: str = ""

    @property
    def settled(self) -> bool:
        """Whether the samples are sufficient to identify the driver."""
        total = self.total
        return total is not None and bool((total[:, 2] - total[:, 1]).max() <= WIDEST
                                          and total[:, 0].max() <= LARGEST)

    @property
    def driver(self) -> int | None:
        """Number of the most influential input; None where the intervals are inconclusive."""
        if self.total is None or not self.settled:
            return None
        order = np.argsort(-self.total[:, 0], kind="stable")
        _, low, high = self.total[order[0]]
        others = self.total[order[1:], 2]
        told = high - low <= NARROW and low > max([0.0, *others])
        return int(order[0]) if told else None


def share(hits: FloatArray | BoolArray) -> Share:
    """Share of true (or of weights between 0 and 1) among samples ``(n,)``; NaN is left out.

    Interval after Wilson (J Am Stat Assoc 1927;22:209-212; memory): valid for few samples and near
    0 and 1. For stratified samples (Latin hypercube, Sobol) it is wider than necessary.
    """
    from scipy.stats import norm

    hits = hits[~np.isnan(hits)]
    n = len(hits)
    if n == 0:
        return Share(float("nan"), 0.0, 1.0, 0)
    z = float(norm.ppf(0.5 + LEVEL / 2))
    p = float(np.mean(hits))
    middle = (p + z**2 / (2 * n)) / (1 + z**2 / n)
    reach = z / (1 + z**2 / n) * float(np.sqrt(p * (1 - p) / n + z**2 / (4 * n**2)))
    return Share(p, max(0.0, middle - reach), min(1.0, middle + reach), n)


def paired_difference(a: FloatArray, b: FloatArray, most: float = np.inf) -> Difference:
    """Difference a - b of paired samples ``(n,)``; pairs with a NaN are left out.

    Numbers from ``most`` on are lower bounds, so that a difference to one is a bound; pairs of two
    of them are left out.

    The interval is Student's for the mean of the differences: pairing removes common variation. A
    single sample close to failure may dominate that mean and widen its interval across zero, so the
    median is reported next to it, with an interval between two of the sorted differences by the
    binomial distribution: conservative for any distribution (Conover, Practical nonparametric
    statistics; memory).
    """
    from scipy.stats import binom, t

    a, b = np.asarray(a, dtype=float), np.asarray(b, dtype=float)
    there = np.isfinite(a - b) & ((a < most) | (b < most))
    a, b = a[there], b[there]
    d = a - b
    low, high = np.where(b >= most, -OPEN, d), np.where(a >= most, OPEN, d)

    def known(number: Callable[[FloatArray], float]) -> str:
        """What a number of the differences is, by whether it moves where bounds do."""
        return BOUND[number(low) != number(d), number(high) != number(d)]

    if d.size < 2:
        return Difference(
            pairs=d.size, mean=None, low=None, high=None, deviation=None, quantiles=None)
    mean, deviation = float(d.mean()), float(d.std(ddof=1))
    reach = float(t.ppf(0.5 + LEVEL / 2, d.size - 1)) * deviation / float(np.sqrt(d.size))
    spots = tuple(float(q) for q in np.quantile(d, [0.05, 0.25, 0.5, 0.75, 0.95]))
    edge = int(binom.ppf((1.0 - LEVEL) / 2, d.size, 0.5))
    ends: tuple[Callable[[FloatArray], float], ...] = (
        lambda x: float(np.sort(x)[edge - 1]), lambda x: float(np.sort(x)[-edge]))
    mean_is = known(np.mean)
    return Difference(
        pairs=d.size, mean=mean, low=None if mean_is else mean - reach,
        high=None if mean_is else mean + reach, deviation=None if mean_is else deviation,
        quantiles=spots, middle=(ends[0](d), ends[1](d)) if edge else None, mean_is=mean_is,
        median_is=known(np.median),
        middle_is=(known(ends[0]), known(ends[1])) if edge else ("", ""))


def by_parts(u: FloatArray, values: FloatArray, parts: int) -> FloatArray:
    """Means of ``values (n, ...)`` in equal parts of the samples, by increasing ``u (n,)``."""
    return _part_means(values[np.argsort(u, kind="stable")], parts)


def changes_clearly(u: FloatArray, values: FloatArray, parts: int, seed: int) -> list[int]:
    """Columns of ``u (n, d)`` over which ``values (n, c)`` change by more than chance, most first.

    The spread of the means of the parts (the largest over all c) is compared with that of randomly
    permuted samples: a permutation test at 5 %, with Bonferroni correction for the d columns; one
    set of permutations serves all columns.
    """
    rng = np.random.default_rng(seed)

    def apart(order: IntArray) -> float:
        means = _part_means(values[order], parts)
        # A column without a mean in every part has no defined spread.
        return float(np.nan_to_num(np.ptp(means, axis=0)).max())

    chance = np.array([apart(rng.permutation(len(values))) for _ in range(SHUFFLES)])
    found = [apart(np.argsort(column, kind="stable")) for column in u.T]
    sure = [i for i, x in enumerate(found)
            if (1 + (chance >= x - 1e-12).sum()) / (1 + SHUFFLES) <= (1.0 - LEVEL) / len(found)]
    return sorted(sure, key=lambda i: -found[i])


def _part_means(values: FloatArray, parts: int) -> FloatArray:
    """Means of the available values, NaN where there are none, without a warning."""
    split = np.array_split(values, parts)
    there = np.array([np.isfinite(part).sum(axis=0) for part in split], dtype=float)
    return np.array([np.nansum(part, axis=0) for part in split]) / np.where(there, there, np.nan)


def saltelli(f_a: FloatArray, f_b: FloatArray, f_ab: FloatArray) -> tuple[FloatArray, FloatArray]:
    """First-order and total indices ``(d,)`` from outputs ``(n,)``, ``(n,)`` and ``(d, n)``.

    Saltelli et al., Comput Phys Commun 2010;181:259-270, table 2 (b) and (f) (memory), the outputs
    centred first. The same estimator as `scipy.stats.sobol_indices`, for any number of samples.
    """
    middle = np.mean([f_a, f_b])
    a, b, ab = f_a - middle, f_b - middle, f_ab - middle
    variance = np.var([a, b])
    first = np.mean(b * (ab - a), axis=-1) / variance
    total = 0.5 * np.mean((a - ab) ** 2, axis=-1) / variance
    return first, total


def indices(inputs: Sequence[str], f_a: FloatArray, f_b: FloatArray, f_ab: FloatArray, seed: int
            ) -> Indices:
    """Sobol indices with bootstrap intervals; samples ``j`` with a NaN in any output are left out.

    Values by `scipy.stats.sobol_indices` where all samples are there. Percentile bootstrap over
    the samples, seeded.
    """
    there = np.isfinite(f_a) & np.isfinite(f_b) & np.isfinite(f_ab).all(axis=0)
    n, left_out = int(there.sum()), int((~there).sum())
    a, b, ab = f_a[there], f_b[there], f_ab[:, there]
    largest = max(float(np.abs(x).max(initial=0.0)) for x in (a, b, ab))
    # The variance comes from the two independent sets alone.
    if n < FEWEST_ROWS:
        return Indices(
            inputs=tuple(inputs), first=None, total=None, samples=n, left_out=left_out, note=FEW)
    if float(np.ptp([a, b])) <= 1e-12 * largest:
        return Indices(
            inputs=tuple(inputs), first=None, total=None, samples=n, left_out=left_out, note=SAME)
    kinds, counts = np.unique([a, b], return_counts=True)
    if kinds.size == 2 and counts.min() < FEWEST:
        # A bootstrap cannot quantify the uncertainty of a handful of events.
        return Indices(
            inputs=tuple(inputs), first=None, total=None, samples=n, left_out=left_out, note=RARE)
    first, total = saltelli(a, b, ab)
    if not left_out and n & (n - 1) == 0:
        from scipy.stats import sobol_indices

        middle = np.mean([a, b])
        found = sobol_indices(n=n, func={"f_A": (a - middle)[None], "f_B": (b - middle)[None],
                                         "f_AB": (ab - middle)[:, None]})
        first, total = found.first_order.ravel(), found.total_order.ravel()
    rng = np.random.default_rng(seed)
    drawn = []
    for _ in range(RESAMPLES):
        pick = rng.integers(0, n, n)
        if np.ptp([a[pick], b[pick]]) > 1e-12 * largest:
            drawn.append(saltelli(a[pick], b[pick], ab[:, pick]))
    edge = (1.0 - LEVEL) / 2
    out = []
    for value, spread in zip((first, total), np.array(drawn).transpose(1, 0, 2), strict=True):
        low, high = np.quantile(spread, [edge, 1.0 - edge], axis=0)
        out.append(np.stack([value, low, high], axis=1))
    return Indices(inputs=tuple(inputs), first=out[0], total=out[1], samples=n, left_out=left_out)
