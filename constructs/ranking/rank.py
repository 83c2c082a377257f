"""Certainty of a ranking: constructs on the same uncertain samples, and what drives it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.errors import ButtressError, InputError
from buttress.fe.status import Status
from buttress.model.pressing import SEARCH_LIMIT_N
from buttress.ranking.certainty import (
    AT_MOST,
    UNKNOWN,
    Difference,
    Indices,
    by_parts,
    indices,
    paired_difference,
    share,
)
from buttress.ranking.coupling import coupled_of
from buttress.ranking.inputs import inputs_of
from buttress.ranking.outcomes import ANSWERS, MERITS, Outcomes, read_outcomes
from buttress.ranking.records import PARTS, Against, Binning, Driven, RankResult, Standing
from buttress.ranking.samples import Samples, make_samples
from buttress.ranking.words import sentence
from buttress.results.limits import limits_of
from buttress.results.order import TIE
from buttress.study.read import AnyStudy, as_study
from buttress.study.study import Study
from buttress.sweeps.design import Design
from buttress.sweeps.estimate import Estimate, probe
from buttress.sweeps.evaluate import Evaluator, Options, Outcome
from buttress.sweeps.store import Store
from buttress.sweeps.sweep import Plan, SweepSummary, make_plan, run_plan, store_path
from buttress.sweeps.vary import varied
from buttress.words import counted

Say = Callable[[str], None]
AS_WRITTEN = Design(keys=(), ranges=(), method="as written", samples=None, seed=None, rows=((),))
"""The study's own case: no sample need have its values."""


def rank(study: AnyStudy, *, samples: int, seed: int | None, vary: Sequence[str] = (),
             reference: str = "", load: float | None = None, bins: int | None = None,
             with_indices: bool = True, out: Path | None = None, workers: int | None = None,
             cluster: str = "", by: str = "reserve", say: Say = lambda text: None) -> RankResult:
    """Solve paired samples of a study and report how sure the ranking is.

    ``study``: see `compare`; it needs two constructs. ``samples``: paired draws of all uncertain
    inputs, from ``seed`` (None: another one each time). ``vary``: texts KEY=DISTRIBUTION in place
    of shipped distributions or in addition to them, or KEY=EXPRESSION of a key that follows them.
    ``reference``: the construct of the paired differences, by default the first of the ranking.
    ``load``: one total joint force [N], by default the largest of the study. ``bins``: parts of
    each input's range for the indices of influence, left out without ``with_indices``. ``by``: what
    constructs are ranked by, "reserve" (the load up to which the joint has moved less than the
    ``movement_mm`` of the study's limits), "peak", "stiffness" or "subsidence" (at ``load``).
    ``out``, ``workers``, ``cluster``, ``say``: as in `sweep`; each ``by`` needs a store of its own,
    since paths are pressed no farther than it needs.

    The study as it is written is solved once more, into a store beside, to tell where its order is
    another one than that of most samples.

    Returns a `RankResult`, constructs best first, shares from 0 to 1 with 95 % intervals. Raises
    InputError before anything is solved where the input is wrong, ButtressError where the run was
    stopped.
    """
    study = as_study(study)
    _require_merit(by)
    one, drawn, plan = _prepared(study, samples, seed, vary, reference, load, bins, with_indices,
                                 by)
    costs: list[Estimate] = []
    evaluator = Evaluator(plan.options)
    store, written = store_path(one, drawn.design, plan.options, out), make_plan(
        one, AS_WRITTEN, plan.options)

    def first(left: Plan) -> tuple[Sequence[Outcome], float]:
        # A store that is of another study is refused before the samples are solved.
        with Store(beside(store), written.about(), AS_WRITTEN, list(written.hashes)):
            pass
        if left.cases:
            say(f"solving the first of {counted(len(left.cases), 'case')} to tell how long the "
                "others take")
        cost, solved = probe(left, workers, evaluator)
        costs.append(cost)
        seconds = cost.after(solved)
        for line in replace(cost, seconds=seconds).sentences() if left.cases else ():
            say(line)
        return solved, seconds

    summary = run_plan(plan, store, workers=workers, cluster=cluster, say=say, first=first,
                       evaluate=evaluator.evaluate)
    if summary.interrupted:
        raise ButtressError(f"no ranking yet: {summary.left} of {summary.cases} cases are left; "
                            "the same command resumes with them")
    names = tuple(c.name for c in study.constructs)
    load_N = one.load.total_N[0]
    found = read_outcomes(summary.path, names, load_N, len(drawn.design.rows), by)
    alone = run_plan(written, beside(store), workers=0, brief=True, say=say,
                     evaluate=evaluator.evaluate)
    own = None if alone.interrupted else read_outcomes(alone.path, names, load_N, 1, by)
    return ranked(one, drawn, found, reference, summary, costs[0], own)


def beside(store: Path) -> Path:
    """The store of the study as it is written, next to that of its samples."""
    return store.with_name(f"{store.stem}-as-written{store.suffix}")


def estimate_rank(study: Study, *, samples: int, seed: int | None, vary: Sequence[str] = (),
                  reference: str = "", load: float | None = None, bins: int | None = None,
                  with_indices: bool = True, by: str = "reserve", workers: int | None = None
                  ) -> tuple[Estimate, Samples]:
    """What `rank` would cost, from solving one or two of its samples, and its samples.

    Raises InputError for whatever `rank` does.
    """
    _require_merit(by)
    _, drawn, plan = _prepared(study, samples, seed, vary, reference, load, bins, with_indices, by)
    return probe(plan, workers)[0], drawn


def _require_merit(by: str) -> None:
    if by not in MERITS:
        raise InputError("constructs cannot be ranked by this", key="--by", value=by,
                         expected=", ".join(MERITS))


def _prepared(study: Study, samples: int, seed: int | None, vary: Sequence[str], reference: str,
              load: float | None, bins: int | None, with_indices: bool, by: str
              ) -> tuple[Study, Samples, Plan]:
    names = tuple(c.name for c in study.constructs)
    if len(names) < 2:
        raise InputError("a ranking needs two constructs", key="construct",
                         value=", ".join(names), expected="two or more")
    if reference and reference not in names:
        from buttress.study.checked import closest, did_you_mean, quoted

        raise InputError("no such construct" + did_you_mean(closest(reference, names)),
                         key="--reference", value=reference, expected=quoted(names))
    load = max(study.load.total_N) if load is None else float(load)
    one = _at_load(study, load)
    inputs = inputs_of(one, vary)
    drawn = make_samples(inputs, samples, seed, indices=with_indices, bins=bins,
                         coupled=coupled_of(one, vary, inputs))
    needs = MERITS[by].needs
    options = Options(strain=True, path=bool(needs), only=needs)
    return one, drawn, make_plan(one, drawn.design, options)


def _at_load(study: Study, load: float) -> Study:
    try:
        return varied(study, {"load.total_N": load}).study
    except InputError as error:
        raise InputError(error.message, key="--load", value=f"{load:g}",
                         expected=error.expected) from None


def ranked(study: Study, drawn: Samples, found: Outcomes, reference: str, summary: SweepSummary,
           cost: Estimate, own: Outcomes | None = None) -> RankResult:
    """The statistics of existing outcomes; ``own``: those of the study as it is written."""
    names = found.constructs
    limits = {x.name: float(getattr(study.limits, x.key)) for x in limits_of(study.limits)
              if x.name in found.figures and np.isfinite(found.figures[x.name]).any()}
    paired = found.rows(drawn.paired)
    kept = {name: paired.keeps(name, limit) for name, limit in limits.items()}
    all_kept, best, ranks = paired.keeps_all(limits), paired.best(limits), paired.ranks(limits)
    mean_ranks = by_parts(np.arange(float(len(ranks))), ranks, 1)[0]
    standings = []
    for j, name in enumerate(names):
        there = ~paired.refused[:, j]
        over = {e.name: tuple(by_parts(drawn.shares[:, i], ranks[:, j], PARTS).tolist())
                for i, e in enumerate(drawn.inputs)}
        standings.append(Standing(
            construct=name, best=share(best[there, j]), holds=share(paired.held[there, j]),
            keeps={limit: share(k[there, j]) for limit, k in kept.items()},
            keeps_all=share(all_kept[there, j]),
            no_equilibrium=int((paired.status[:, j] == Status.NO_EQUILIBRIUM).sum()),
            unanswered=int((there & ~paired.known[:, j]).sum()), refused=int((~there).sum()),
            mean_rank=float(mean_ranks[j]), over_range=over))
    standings.sort(key=lambda s: (-np.nan_to_num(s.best.share),
                                  np.nan_to_num(s.mean_rank, nan=np.inf)))
    chosen = names.index(reference or standings[0].construct)
    against = [_against(paired, j, chosen) for j in range(len(names)) if j != chosen]
    driven = [_driven(drawn, found, limits, j, chosen) for j in range(len(names))] \
        if drawn.indices else []
    order = [s.construct for s in standings]
    against.sort(key=lambda a: order.index(a.construct))
    driven.sort(key=lambda d: order.index(d.construct))
    result = RankResult(
        study=study, samples=drawn, outcomes=found, reference=names[chosen], limits=limits,
        standings=tuple(standings), against=tuple(against), driven=tuple(driven),
        binning=_binning(drawn, found, limits) if drawn.bins else None, sentence="",
        summary=summary, estimate=cost, own=own)
    return replace(result, sentence=sentence(result))


def _against(found: Outcomes, this: int, reference: int) -> Against:
    there = ~found.refused[:, [this, reference]].any(axis=1)
    held, other = found.held[:, this], found.held[:, reference]
    both = held & other
    sunk = np.where(both[:, None], found.subsidence_mm, np.nan)
    # Without an answer the subsidence might be smaller or larger, so it counts as neither.
    known = there & found.known[:, [this, reference]].all(axis=1)
    answered = there & np.isin(found.status[:, [this, reference]], ANSWERS).all(axis=1)
    ahead, behind = known & found.ahead(this, reference), known & found.ahead(reference, this)
    sinks = paired_difference(sunk[:, this], sunk[:, reference])
    chosen = found.chosen if found.values is not None else sunk
    difference = paired_difference(
        chosen[:, this], chosen[:, reference],
        SEARCH_LIMIT_N if found.merit.unit == "N" else np.inf)
    least = np.nanmedian(np.abs(chosen[known, reference])) if difference.pairs else np.nan
    clear = there & ~found.undecided(this, reference)
    return Against(
        construct=found.constructs[this], ahead=share(ahead[clear]), behind=share(behind[clear]),
        difference=difference, told_apart=_told_apart(difference, TIE * least), subsidence_mm=sinks,
        capacity_N=paired_difference(found.capacity_N[:, this], found.capacity_N[:, reference]),
        both_held=int(both.sum()), only_this=int((answered & held & ~other).sum()),
        only_reference=int((answered & other & ~held).sum()),
        neither=int((answered & ~held & ~other).sum()), refused=int((~there).sum()),
        unanswered=int((there & ~(known & answered)).sum()),
        undecided=int((there & ~clear).sum()))


def _told_apart(found: Difference, least: float) -> bool | None:
    """Whether a median is more than a tie's width, None where that is not known."""
    if found.median is None or found.median_is == UNKNOWN:
        return None
    if not found.median_is:
        return bool(abs(found.median) > least)
    return True if (found.median < -least if found.median_is == AT_MOST else found.median > least) \
        else None


def _driven(drawn: Samples, found: Outcomes, limits: dict[str, float], this: int, reference: int
            ) -> Driven:
    names = [e.name for e in drawn.inputs]
    failed = ~np.isin(found.status, ANSWERS)
    keeps = {name: np.where(failed, np.nan, kept) for name, kept in
             [*((n, found.keeps(n, limit)) for n, limit in limits.items()),
              ("", found.keeps_all(limits))]}
    all_kept = keeps.pop("")
    ahead = found.ahead(this, reference).astype(float)
    ahead[~found.known[:, this] | ~found.known[:, reference]
          | found.undecided(this, reference)] = np.nan
    seed = drawn.design.seed or 0

    def of(values: FloatArray) -> Indices:
        n = drawn.n
        mixed = np.array([values[drawn.mixed(i)] for i in range(len(names))])
        return indices(names, values[:n], values[n:2 * n], mixed, seed)

    return Driven(
        construct=found.constructs[this], capacity=of(found.capacity_N[:, this]),
        keeps={name: of(values[:, this]) for name, values in keeps.items()},
        ahead=of(ahead) if this != reference else None, keeps_all=of(all_kept[:, this]))


def _binning(drawn: Samples, found: Outcomes, limits: dict[str, float]) -> Binning:
    exact = found.rows(drawn.exact)
    count = len(exact.status)
    binned = found.rows(slice(0, count))
    sunk = np.abs(binned.subsidence_mm - exact.subsidence_mm)
    # Relative to the load where the capacity is smaller: a share of almost nothing has no meaning.
    held = np.abs(binned.capacity_N - exact.capacity_N) / np.maximum(exact.capacity_N, found.load_N)
    sunk, held = sunk[np.isfinite(sunk)], held[np.isfinite(held)]
    best = [np.nan_to_num(x.best(limits), nan=-1.0) for x in (binned, exact)]
    other = (best[0] != best[1]).any(axis=1)
    figures = [float(f(x)) if x.size else None for x in (sunk, held) for f in (np.median, np.max)]
    return Binning(
        rows=count, subsidence_median_mm=figures[0], subsidence_largest_mm=figures[1],
        capacity_median_share=figures[2], capacity_largest_share=figures[3],
        other_best=int(other.sum()))
