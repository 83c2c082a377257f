"""Results as HTML for a notebook: escaped names, rounded numbers; the records keep every digit."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from markupsafe import Markup

from buttress import LABEL
from buttress.display import shows
from buttress.improving.records import SEARCH, Improved
from buttress.ranking.certainty import Share
from buttress.ranking.records import RankResult
from buttress.report import tables as parts
from buttress.report.markup import Table, render
from buttress.report.stages import shown_stages
from buttress.report.terminal import PEAK, SINCE, VERDICTS, cautions
from buttress.results.comparison import Comparison
from buttress.results.judged import HOW_TO_READ
from buttress.results.order import answer, best_first
from buttress.results.records import ConstructResult, FragmentResult, LoadResult
from buttress.results.stages import StagedResult, StagedStudy
from buttress.study.activities import newtons
from buttress.sweeps.explore import Live
from buttress.sweeps.sweep import SweepSummary
from buttress.words import BREAKS_RULE, span

FRAME = ("Movements are relative to the shaft, positive distally and where a gap opens, and count "
         f"{SINCE}. Capacity: limit analysis, without – with friction. A dash is a "
         f"number that does not exist. {PEAK} {HOW_TO_READ} {VERDICTS}")


def page(heading: str = "", said: str = "", *, main: Markup | None = None,
         facts: dict[str, Any] | None = None, forces: dict[str, Any] | None = None,
         tables: Iterable[Table | None] = (), stages: dict[str, Any] | None = None,
         sentence: str = "", small: str = "") -> str:
    """What there is of a record, one under the other, with the label below."""
    return str(render("notebook.html.j2", {
        "heading": heading, "said": said, "main": main or "", "facts": facts, "forces": forces,
        "tables": [t for t in tables if t is not None and t.rows], "stages": stages,
        "sentence": sentence, "small": small, "label": LABEL}))


@shows(Comparison)
def comparison_html(comparison: Comparison) -> str:
    """The table of a comparison, best first, with its trust columns."""
    study = comparison.study
    order = best_first(comparison.constructs)
    return page(study.title or study.name, f". {answer(order).words}",
                main=parts.main_table(order), small=FRAME,
                sentence=" ".join(cautions(comparison)))


@shows(ConstructResult)
def construct_html(construct: ConstructResult) -> str:
    """One construct: its rows of the table, its limits and its warnings."""
    return page(main=parts.main_table([construct]), small=FRAME,
                facts=parts.facts(construct, (construct,)))


@shows(LoadResult)
def load_html(load: LoadResult) -> str:
    """One answer: movements of each fragment, the metal, and how to trust it."""
    number = parts.number
    rows = [(name, number(f.subsidence_mean_mm, 3), number(f.subsidence_max_mm, 3),
             number(f.subsidence_net_mm, 3), number(f.tilt_deg, 2))
            for name, f in load.fragments.items()]
    lips = [(name, number(e.step_off_mm, 3), number(e.gap_mm, 3))
            for name, e in load.edges.items()]
    trust = ("" if load.residual is None or load.complementarity is None else
             f"{load.method}: residual {load.residual:.0e}, complementarity "
             f"{load.complementarity:.0e}")
    return page(
        f"{load.load_words}: {load.status}.",
        f" “{load.escapes}” moves freely." if load.escapes else "",
        tables=(Table(("fragment", "subsidence, mean [mm]", "largest [mm]", "net of intact [mm]",
                       "tilt [deg]"), rows),
                Table(("edge at the joint", "step-off [mm]", "gap [mm]"), lips),
                parts.metal(load)), small=trust)


@shows(FragmentResult)
def fragment_html(fragment: FragmentResult) -> str:
    """Who carries a fragment: every force on it and their sum."""
    return page(forces=parts.forces(fragment))


@shows(RankResult)
def rank_html(result: RankResult) -> str:
    """The ranking, best first, each share with its interval, and the sentence to quote."""
    from buttress.report.rank import best_words, rank_text

    head = ("construct", "best [%]", "held [%]", "meets all limits [%]",
            *(f"{name} [%]" for name in result.limits), "no equilibrium", "no answer", "refused",
            "mean rank")
    rows = [(result.named(s.construct), _share(s.best), _share(s.holds),
             _share(s.keeps_all),
             *(_share(kept) for kept in s.keeps.values()), str(s.no_equilibrium),
             str(s.unanswered), str(s.refused), rank_text(s.mean_rank))
            for s in result.standings]
    return page(
        f"{len(result.samples.shares)} paired samples at {newtons(result.outcomes.load_N)} N; "
        f"limits: {result.limit_words}; shares with 95 % intervals; "
        f"{best_words(result)}", tables=[Table(head, rows)], sentence=result.sentence,
        small=f"{BREAKS_RULE} (buttress check)." if result.breaking else "")


@shows(SweepSummary)
def sweep_html(summary: SweepSummary) -> str:
    """What a sweep has done, and where its store lies."""
    rows = [("cases", str(summary.cases)), ("solved now", str(summary.done)),
            ("there already", str(summary.skipped)), ("left", str(summary.left)),
            *((f"without an answer: {what}", str(n)) for what, n in summary.failures.items()),
            ("factorisations done", str(summary.factorisations)),
            ("factorisations avoided", str(summary.avoided)), ("store", str(summary.path))]
    return page(tables=[Table(("sweep", ""), rows)])


@shows(Improved)
def improved_html(found: Improved) -> str:
    """A search for a better placement: what was found, and the free keys."""
    return page(f"{found.study}: {found.construct}", SEARCH, tables=[
        Table(("free key", "bounds", "start", "largest found"), found.rows())],
        sentence="; ".join(found.sentences()))


def _share(found: Share) -> str:
    return f"{100 * found.share:.0f} ({span(100 * found.low, 100 * found.high)})"


@shows(Live)
def live_html(live: Live) -> str:
    """A live answer: that of its load."""
    return load_html(live.result)


@shows(StagedResult)
def staged_html(result: StagedResult) -> str:
    """The stages of one construct."""
    return page(stages=shown_stages((result,)))


@shows(StagedStudy)
def staged_study_html(study: StagedStudy) -> str:
    """The stages of all constructs of a study that have some."""
    return page(stages=shown_stages(study.constructs))
