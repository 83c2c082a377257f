"""A ranking on the terminal and as a folder: table, JSON and figures."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from buttress import LABEL
from buttress.model.pressing import SEARCH_LIMIT_N
from buttress.ranking.certainty import FEW, LARGEST, SAME, WIDEST, Difference, Indices, Share
from buttress.ranking.coupling import coupled_lines
from buttress.ranking.inputs import input_lines, one_sided
from buttress.ranking.outcomes import SUBSIDENCE
from buttress.ranking.records import PARTS, RankResult, quarters
from buttress.ranking.words import bounded
from buttress.report.columns import columns, prose
from buttress.results.order import TIE
from buttress.study.activities import newtons
from buttress.words import BREAKS_RULE, counted, listed, span

WIDE = 0.5
"""An interval of an index wider than this says little."""
VAGUE = "intervals as wide as these, or an index above 1, ask for more samples"


def table_lines(result: RankResult) -> list[str]:
    """The ranking as lines of text, best first, each figure with its interval."""
    count = len(result.samples.shares)
    out = [*prose(f"{count} paired samples (seed {result.samples.design.seed}) at "
                  f"{newtons(result.outcomes.load_N)} N; shares of samples with 95 % intervals"),
           *prose(best_words(result)), ""]
    against, named = result.breaking, result.named
    rows = [(named(s.construct), _share(s.best), _share(s.holds),
             _share(s.keeps_all),
              str(s.no_equilibrium), str(s.unanswered), str(s.refused), rank_text(s.mean_rank))
             for s in result.standings]
    out += [*columns(("construct", "best\n%", "held\n%", "meets all limits\n%",
                      "no equilibrium\nsamples", "no answer\nsamples", "refused\nsamples",
                      "mean rank\n1 is best"), rows), *([f"{BREAKS_RULE} (buttress check)"]
                                                        if against else []), *_nobody(result)]
    if result.outcomes.by != SUBSIDENCE:
        out += _chosen(result)
    out += ["", *prose(f"mean subsidence minus that of '{named(result.reference)}' [mm], where "
                       "both are held, with 95 % intervals:"),
            *columns(("", "median", "mean", "both held"),
                     [("  " + named(a.construct), *_difference(a.subsidence_mm),
                       f"{a.both_held} of {count}") for a in result.against])]
    out += ["", *prose(f"meets each limit ({result.limit_words}), % of samples:"),
            *columns(("", *result.limits),
                     [("  " + named(s.construct), *(_share(kept) for kept in s.keeps.values()))
                      for s in result.standings])]
    telling = result.telling
    for name in telling[:1]:
        unit = next(e.unit for e in result.samples.inputs if e.name == name)
        out += ["", *prose(f"mean rank over the range of {name}" + (f" [{unit}]" if unit else "")
                           + f", {counted(count // PARTS, 'sample')} per quarter:"),
                *columns(("", *quarters(result, name)),
                         [("  " + named(s.construct), *map(rank_text, s.over_range[name]))
                          for s in result.standings])]
    if not telling:
        out += ["", *prose("no input changes the ranks clearly: over none of the ranges do they "
                           "change by more than chance")]
    if aside := one_sided(result.study, result.samples.inputs):
        why = ("which can be why constructs are ordered otherwise as the study is written (see "
               "below)" if result.turned else "so that figures may differ from those of the study "
               "as it is written (“buttress compare”)" + (
                   "; no two constructs are ordered there the other way round than in most samples"
                   if result.own is not None and result.own.known.all() else ""))
        out += ["", *prose(f"{listed(aside)}: nearly all samples lie to one side of the study's "
                           f"own value, {why}")]
    if result.driven:
        out += _drivers(result)
    if result.binning:
        b = result.binning
        out += ["", *prose(
            f"bins, measured in {b.rows} samples solved both ways: subsidence changes by "
            f"{_number(b.subsidence_median_mm)} mm (median), {_number(b.subsidence_largest_mm)} mm "
            f"(largest); capacity by {_percent(b.capacity_median_share)} (median), "
            f"{_percent(b.capacity_largest_share)} (largest) of the larger of the two "
            f"(capacity and load); another construct is best in {b.other_best}")]
    if over := result.over_capacity:
        out += ["", *prose(
            "held above the limit load, for which limit analysis lets nothing harden and leaves "
            "tightened screws at their force, while crushed bone and bent metal carry more and the "
            "load stretches screws further: "
            + ", ".join(f"'{named(name)}' in {counted(n, 'sample')}" for name, n in over.items()))]
    out += ["", "inputs:", *(part for line in (
        *input_lines(result.samples.inputs), *coupled_lines(result.samples.coupled))
        for part in prose(f"  {line}"))]
    done = result.summary
    return [*out, "", *prose(result.sentence),
            f"{counted(done.factorisations, 'factorisation')} done, {done.avoided} avoided", LABEL]


def best_words(result: RankResult) -> str:
    """What makes a construct the best."""
    if result.outcomes.by == SUBSIDENCE:
        return "best: meets all limits and subsides least; mean rank: what fails by its capacity"
    return (f"best: the largest {result.by_words}, shared among those within "
            f"{100 * TIE:g} % of it")


def _chosen(result: RankResult) -> list[str]:
    """Differences of the quantity by which constructs are ranked."""
    merit, named = result.outcomes.merit, result.named
    capped = result.capped_words(*result.outcomes.constructs)
    count = len(result.samples.shares)
    rows = [("  " + named(a.construct), *_difference(a.difference, merit.unit), _share(a.ahead),
             _share(a.behind), ", ".join([
                 *(["a tie"] if a.told_apart is False else []),
                 *([f"{a.undecided} of {count} not known"] if a.undecided else [])]))
            for a in result.against]
    return ["", *prose(f"{result.by_words} minus that of '{named(result.reference)}' "
                       f"[{merit.unit}], with 95 % intervals; ahead and behind by more than "
                       f"{100 * TIE:g} %:"),
            *columns(("", "median", "mean", "ahead", "behind", ""), rows),
            *(prose(f"  {capped}") if capped else [])]


def rank_text(rank: float) -> str:
    """A mean rank; "-" where no sample has an answer."""
    return "-" if np.isnan(rank) else f"{rank:.1f}"


def _nobody(result: RankResult) -> list[str]:
    """In how many samples no construct is best, or it is not known which."""
    samples = counted(len(result.samples.shares), "sample")
    out = prose(
        f"which is best is not known in {result.best_not_known} of {samples}, in which one of two "
        f"or more within {100 * TIE:g} % of each other is only known as at least "
        f"{SEARCH_LIMIT_N:.0f} N") if result.best_not_known else []
    if not result.none_keeps:
        return out
    line = (f"no construct meets all limits in {result.none_keeps} of {samples}, so none is best "
            "there")
    return out + prose(line + (f"; in {result.none_held} none is held" if result.none_held else ""))


def _drivers(result: RankResult) -> list[str]:
    """What drives the capacity, and whether limits are met, where that differs at all."""
    paired = result.outcomes.rows(result.samples.paired).capacity_N
    out = ["", *prose("what drives the capacity, the limit load with friction (total Sobol index, "
                      f"95 % interval, from {result.samples.n} base samples):")]
    shown, said = [], {}
    for x in result.driven:
        ends = paired[:, result.outcomes.constructs.index(x.construct)]
        always = f": {np.nanmax(ends):.0f} N" if x.capacity.note == SAME else ""
        if always and np.nanmax(ends) >= SEARCH_LIMIT_N:
            always += ", the largest load pressed"
        said[result.named(x.construct)] = _indices(x.capacity) + always
        shown.append(x.capacity)
    if len(set(said.values())) == 1:
        said = {"every construct": next(iter(said.values()))}
    out += [x for name, words in said.items() for x in prose(f"  {name}: {words}")]
    kept = [(result.named(x.construct), x.keeps_all) for x in result.driven
            if x.keeps_all is not None and x.keeps_all.note not in (SAME, FEW)]
    if kept:
        out += ["", *prose("what drives whether it is held and meets all limits "
                           f"(from {result.samples.n} base samples):")]
        out += [x for name, found in kept for x in prose(f"  {name}: {_indices(found)}")]
        shown += [found for _, found in kept]
    if any(_vague(found) for found in shown):
        out += prose(f"  {VAGUE}")
    if left := max(found.left_out for found in shown):
        out += prose(f"  {left} rows without an answer are left out of the indices")
    return out


def _vague(found: Indices) -> bool:
    """Whether intervals are so wide, or an index so far above 1, that it says little."""
    total = found.total
    return total is not None and found.settled and bool((total[:, 2] - total[:, 1]).max() > WIDE
                                      or total[:, 0].max() > 1.1)


def write_folder(result: RankResult, svg: bool = False) -> Path:
    """`rank.json` and the figures in a folder next to the store; written anew each time.

    Figures of an earlier ranking (with another reference) that this one does not have go; there is
    no figure of differences where no two constructs are held together. ``svg``: figures also as
    SVG.
    """
    from buttress.draw import sweep as f
    from buttress.draw.primitives import save
    from buttress.files import slug, written_whole
    from buttress.sweeps.rows import sweep_frame

    path = result.summary.path
    folder = path.with_name(path.stem + "-rank")
    text = json.dumps(result.document(), indent=1, allow_nan=False, ensure_ascii=False)
    taken: set[str] = set()
    table = sweep_frame(path)
    # The rows for the indices repeat most inputs, so they are no samples of the capacity.
    paired = table[table["case_id"] <= len(result.samples.shares)]
    axes = {"envelope": f.envelope(paired)}
    if any(a.difference.quantiles for a in result.against):
        axes["paired difference"] = f.paired(result)
    for name in result.telling[:2]:
        axes[f"rank over {name}"] = f.over_range(result, name)
    for x in result.driven:
        if x.capacity.total is not None:
            axes[f"indices {x.construct}"] = f.sensitivities(result, x.construct)
        if x.ahead is not None and x.ahead.total is not None:
            axes[f"indices of the order {x.construct}"] = f.sensitivities(
                result, x.construct, "ahead")
        if x.keeps_all is not None and x.keeps_all.total is not None:
            axes[f"indices of the limits {x.construct}"] = f.sensitivities(
                result, x.construct, "keeps_all")
    drawn: set[str] = set()
    with written_whole(folder) as draft:
        (draft / "rank.json").write_text(text + "\n", encoding="utf-8")
        for name, ax in axes.items():
            figure = ax.get_figure(root=True)
            assert figure is not None
            drawn |= {path.name for path in save(figure, draft, slug(name, taken), svg)}
    for path in folder.iterdir():
        if path.suffix in (".png", ".svg") and path.name not in drawn \
                and path.name.startswith(("indices-", "rank-over-", "paired-difference")):
            path.unlink(missing_ok=True)
    return folder


def _share(found: Share) -> str:
    if not found.samples:
        return "-"
    return f"{100 * found.share:.0f} ({span(100 * found.low, 100 * found.high)})"


def _difference(found: Difference, unit: str = "mm") -> tuple[str, str]:
    """Median and mean of a difference in a unit, each with its interval."""
    if found.mean is None or found.median is None:
        return "-", "-"
    def to(ends: tuple[float | None, ...] | None, how: tuple[str, str] = ("", "")) -> str:
        return " to ".join(bounded(x, h, unit) for x, h in zip(ends or (), how, strict=False)
                           if x is not None) or "no interval"

    return (f"{bounded(found.median, found.median_is, unit)} ({to(found.middle, found.middle_is)})",
            f"{bounded(found.mean, found.mean_is, unit)} ({to((found.low, found.high))})")


def _indices(found: Indices) -> str:
    total = found.total
    if total is None:
        return found.note
    if not found.settled:
        return ("so few samples do not settle what drives it (an index with an interval wider than "
                f"{WIDEST:g}, or over {LARGEST:g})")
    order = np.argsort(-total[:, 0], kind="stable")[:3]
    return "; ".join(f"{found.inputs[i]} {total[i, 0]:.2f} ({span(total[i, 1], total[i, 2], 2)})"
                     for i in order)


def _number(value: float | None) -> str:
    return "-" if value is None else f"{value:.2g}"


def _percent(value: float | None) -> str:
    return "-" if value is None else f"{100 * value:.1f} %"
