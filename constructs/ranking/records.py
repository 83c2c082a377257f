"""The results of a ranking: immutable records, one per construct, pair or input."""

from __future__ import annotations

from dataclasses import asdict, dataclass, field
from functools import cached_property
from itertools import pairwise, permutations
from typing import TYPE_CHECKING, Any

import numpy as np

from buttress import LABEL
from buttress.display import Displayed
from buttress.model.pressing import SEARCH_LIMIT_N
from buttress.model.resolve import resolved
from buttress.ranking.certainty import Difference, Indices, Share, changes_clearly
from buttress.ranking.outcomes import LIMITS, RESERVE, Outcomes
from buttress.ranking.samples import Samples
from buttress.rules.check import check
from buttress.study.study import Study
from buttress.sweeps.estimate import Estimate
from buttress.sweeps.sweep import SweepSummary
from buttress.versions import versions
from buttress.words import counted, marked

if TYPE_CHECKING:
    import pandas as pd

MOVEMENT = "limits.movement_mm"
"""The key of the movement at which a reserve is read."""
PARTS = 4
"""Number of parts into which the range of an input is divided, with equally many samples."""


@dataclass(frozen=True)
class Standing:
    """One construct over all samples: how often it is best, and how often it meets each limit.

    The best construct has most of the quantity by which they are ranked; by subsidence it meets
    all limits and subsides least of those that do, and where none does, none is best. Samples in
    which it was ``refused`` count for none of its shares. ``keeps``: each limit
    of the study by name; without equilibrium none is met. ``mean_rank``: by subsidence also by
    capacity among constructs that fail, over the samples with an answer (NaN without any).
    """

    construct: str
    best: Share
    holds: Share
    keeps: dict[str, Share]
    keeps_all: Share
    no_equilibrium: int
    unanswered: int
    mean_rank: float
    over_range: dict[str, tuple[float, ...]]
    """Mean rank in each quarter of each input's range, from low to high."""
    refused: int = 0


@dataclass(frozen=True)
class Against:
    """One construct compared with the reference, pair by pair.

    ``ahead``, ``behind``: by the quantity of the ranking, of which ``difference`` is taken, and by
    more than the stated indifference; ``told_apart``: whether its median is more than that, None
    where there is none. By subsidence a construct that fails counts as subsiding more than one that
    holds; where neither holds, neither subsides less. Differences are this construct minus the
    reference.
    """

    construct: str
    ahead: Share
    behind: Share
    difference: Difference
    told_apart: bool | None
    subsidence_mm: Difference
    capacity_N: Difference
    both_held: int
    only_this: int
    only_reference: int
    neither: int
    unanswered: int = 0
    refused: int = 0
    undecided: int = 0
    """Samples in which a bound leaves open which of the two is ahead; in no share."""


@dataclass(frozen=True)
class Driven:
    """Sobol indices of a construct's capacity, of meeting each limit, of outranking the reference.

    ``keeps_all``: of being held and meeting all limits.
    """

    construct: str
    capacity: Indices
    keeps: dict[str, Indices]
    ahead: Indices | None
    keeps_all: Indices | None = None


@dataclass(frozen=True)
class Binning:
    """The effect of bins in the rows that were solved with and without them.

    Differences of capacities are relative to the larger of the exact capacity and the load.
    """

    rows: int
    subsidence_median_mm: float | None
    subsidence_largest_mm: float | None
    capacity_median_share: float | None
    capacity_largest_share: float | None
    other_best: int


@dataclass(frozen=True, repr=False)
class RankResult(Displayed):
    """A ranking with its certainty. Rows of constructs are in order, best first."""

    brief = ("sentence",)

    study: Study
    samples: Samples
    outcomes: Outcomes
    reference: str
    limits: dict[str, float]
    standings: tuple[Standing, ...]
    against: tuple[Against, ...]
    driven: tuple[Driven, ...]
    binning: Binning | None
    sentence: str
    summary: SweepSummary
    estimate: Estimate
    versions: dict[str, str] = field(default_factory=versions)
    own: Outcomes | None = None
    """Outcomes of the study as it is written, one row; None where it was not solved."""

    @cached_property
    def breaking(self) -> frozenset[str]:
        """Names of the constructs that break a rule of the trade as the study places them."""
        return frozenset(f.construct for f in check(self.study) if f.level == "broken")

    def named(self, construct: str) -> str:
        """The name of a construct, marked where it breaks a rule of the trade."""
        return marked(construct, construct in self.breaking)

    @property
    def limit_words(self) -> str:
        """The limits with their units: ``step-off 2 mm, depression 3 mm``."""
        return ", ".join(f"{name} {limit:g} {LIMITS[name].unit}"
                         for name, limit in self.limits.items())

    @property
    def by_words(self) -> str:
        """What constructs are ranked by; a reserve with the movement at which it is read."""
        words = self.outcomes.merit.words
        if self.outcomes.by != RESERVE or MOVEMENT in self.samples.design.keys:
            return words
        return f"{words} at {self.study.limits.movement_mm:g} mm"

    @property
    def capped(self) -> dict[str, int]:
        """Paired samples in which a load by which a construct is ranked lies beyond the search, so
        that the largest load pressed is a lower bound of it, where there are any."""
        found = self.outcomes.rows(self.samples.paired)
        over = found.beyond.sum(axis=0)
        return {name: int(n) for name, n in zip(found.constructs, over, strict=True) if n}

    @property
    def best_not_known(self) -> int:
        """Paired samples in which such a bound leaves open which construct is best."""
        best = self.outcomes.rows(self.samples.paired).best(self.limits)
        return int(np.isnan(best).any(axis=1).sum())

    def capped_words(self, *constructs: str) -> str:
        """The same in a clause, of some of the constructs; empty where it is of none."""
        over = {name: n for name, n in self.capped.items() if name in constructs}
        return "" if not over else (
            f"only known as at least {SEARCH_LIMIT_N:.0f} N, where the search ends: "
            + ", ".join(f"'{self.named(name)}' in {counted(n, 'sample')}"
                        for name, n in over.items()))

    @property
    def over_capacity(self) -> dict[str, int]:
        """Paired samples in which a construct is held above its limit load, where there are any.

        Limit analysis keeps tightened screws at their force; a load stretches them further.
        """
        paired = self.outcomes.rows(self.samples.paired)
        over = (paired.held & (paired.capacity_N < paired.load_N)).sum(axis=0)
        return {name: int(n) for name, n in zip(paired.constructs, over, strict=True) if n}

    @property
    def telling(self) -> list[str]:
        """Names of the inputs with a significant effect on the ranks, the strongest first.

        First the drivers of meeting all limits or of the order, where indices are conclusive; then
        inputs over whose range the mean ranks change by more than chance.
        """
        inputs = self.samples.inputs
        shares: dict[str, float] = {}
        for found in (x for d in self.driven for x in (d.keeps_all, d.ahead)):
            if found is not None and found.total is not None and found.driver is not None:
                name, value = found.inputs[found.driver], float(found.total[found.driver, 0])
                shares[name] = max(value, shares.get(name, 0.0))
        ranks = self.outcomes.rows(self.samples.paired).ranks(self.limits)
        clear = changes_clearly(self.samples.shares, ranks, PARTS, self.samples.design.seed or 0)
        return list(dict.fromkeys([*sorted(shares, key=lambda name: -shares[name]),
                                   *(inputs[i].name for i in clear)]))

    @property
    def turned(self) -> list[tuple[str, str, int]]:
        """Pairs of which the first comes before the second as the study is written, while the
        second comes before it in most samples; with the number of these."""
        if self.own is None:
            return []
        paired, names = self.outcomes.rows(self.samples.paired), self.outcomes.constructs
        out = []
        for i, j in permutations(range(len(names)), 2):
            there = self.own.known[0, [i, j]].all() and self.own.ahead(i, j)[0]
            other = int((paired.known[:, [i, j]].all(axis=1) & paired.ahead(j, i)).sum())
            if there and 2 * other > len(self.samples.shares):
                out.append((names[i], names[j], other))
        return out

    @property
    def none_held(self) -> int:
        """Paired samples in which no construct is held, of those that were not refused."""
        paired = self.outcomes.rows(self.samples.paired)
        return int((~paired.held.any(axis=1) & ~paired.refused.all(axis=1)).sum())

    @property
    def none_keeps(self) -> int:
        """Paired samples in which no construct is held and meets all limits, so none is best; of
        those that were not refused."""
        paired = self.outcomes.rows(self.samples.paired)
        none = ~paired.keeps_all(self.limits).any(axis=1)
        return int((none & ~paired.refused.all(axis=1)).sum())

    def to_frame(self) -> pd.DataFrame:
        """A table with one row per construct, best first.

        Shares of the samples with their 95 % intervals (``_low``, ``_high``): in which it is best,
        held, meets each limit and all of them; counts of samples; against the reference, which has
        none of these columns filled, the shares in which it is ahead and behind, and the
        difference of the quantity of the ranking and of the mean subsidence [mm], this construct
        minus the reference (``_median_is``: exact, or "at most", "at least" or "not known" where
        loads beyond the search leave it open; they do so of the order itself in
        ``undecided_count`` samples). A number that does not exist is NaN. The label stands in
        ``attrs["label"]``.
        """
        import pandas as pd

        against = {a.construct: a for a in self.against}
        unit = self.outcomes.merit.unit.replace("/", "_per_")
        rows = []
        for s in self.standings:
            row: dict[str, Any] = {"construct": s.construct}
            shares = {"best": s.best, "held": s.holds, **{
                f"keeps_{name.replace(' ', '_').replace('-', '_')}": x
                for name, x in s.keeps.items()}, "keeps_all": s.keeps_all}
            counts = {"no_equilibrium_count": s.no_equilibrium, "unanswered_count": s.unanswered,
                      "refused_count": s.refused, "mean_rank": s.mean_rank}
            other = against.get(s.construct)
            beside = {"ahead": None, "behind": None} if other is None else {
                "ahead": other.ahead, "behind": other.behind}
            for name, share in (shares | beside).items():
                row |= {f"{name}_share": share.share if share else None,
                        f"{name}_low": share.low if share else None,
                        f"{name}_high": share.high if share else None}
            row |= counts | {"reference": self.reference}
            for name, found in ((f"difference_{unit}", other and other.difference),
                                ("difference_subsidence_mm", other and other.subsidence_mm)):
                row |= {f"{name}_median": found.median if found else None,
                        f"{name}_median_low": found.middle[0] if found and found.middle else None,
                        f"{name}_median_high": found.middle[1] if found and found.middle else None}
                row |= {f"{name}_median_is": (found.median_is or "exact") if found else ""}
            row |= {"undecided_count": other.undecided if other else None}
            rows.append(row)
        frame = pd.DataFrame(rows)
        texts = ("construct", "reference", *(c for c in frame.columns if c.endswith("_is")))
        frame = frame.astype({c: float for c in frame.columns if c not in texts})
        frame.attrs["label"] = LABEL
        return frame

    def document(self) -> dict[str, Any]:
        """As written to JSON: numbers that do not exist are None."""
        return _plain({
            "label": LABEL, "versions": self.versions, "study": resolved(self.study),
            "samples": len(self.samples.shares), "seed": self.samples.design.seed,
            "bins": self.samples.bins, "load_N": self.outcomes.load_N,
            "by": self.outcomes.by, "limits": self.limits,
            "reference": self.reference, "sentence": self.sentence,
            "ordered_otherwise_as_written": None if self.own is None else [
                {"before": a, "behind": b, "other_way_samples": n} for a, b, n in self.turned],
            "none_held": self.none_held, "none_keeps_all": self.none_keeps,
            "inputs": [e.document() for e in self.samples.inputs],
            "coupled": dict(self.samples.coupled),
            "beyond_search": self.capped, "best_not_known": self.best_not_known,
            "ties": [[self.reference, a.construct] for a in self.against
                     if a.told_apart is False],
            "standings": [asdict(s) for s in self.standings],
            "against": [asdict(a) for a in self.against],
            "driven": [asdict(d) for d in self.driven],
            "binning": asdict(self.binning) if self.binning else None,
            "store": str(self.summary.path)})


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _plain(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if isinstance(value, np.ndarray):
        return _plain(value.tolist())
    if isinstance(value, float) and not np.isfinite(value):
        return None
    return value


def quarters(result: RankResult, name: str) -> list[str]:
    """The values of an input at each quartile of its distribution, in words."""
    entry = next(e for e in result.samples.inputs if e.name == name)
    ends = entry.values(np.linspace(0.001, 0.999, PARTS + 1))
    said = [f"{x:.3g}" if isinstance(x, float) else str(x) for x in ends]
    return [a if a == b else f"{a} to {b}" for a, b in pairwise(said)]
