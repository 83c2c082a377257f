"""Results as HTML for a notebook: escaped names, rounded numbers; the records keep every digit."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from buttress import LABEL
from buttress.display import shows
from buttress.ranking.certainty import Share
from buttress.ranking.records import RankResult
from buttress.report import tables as parts
from buttress.report.stages import stages_html
from buttress.results.comparison import Comparison
from buttress.results.order import best_first
from buttress.results.records import ConstructResult, FragmentResult, LoadResult
from buttress.results.stages import StagedResult, StagedStudy
from buttress.sweeps.explore import Live
from buttress.sweeps.sweep import SweepSummary

FRAME = ("<p><small>Movements in the frame of the shaft, distal and opening positive, zero after "
         "the last tightening. Capacity: without – with friction, tightened screws at the force "
         "to which they were set; equilibrium may end later. A dash is a number that does not "
         "exist.</small></p>")


def page(*pieces: str) -> str:
    """Pieces of HTML with the label below them."""
    return "".join(pieces) + f"<p><small>{parts.text(LABEL)}</small></p>"


@shows(Comparison)
def comparison_html(comparison: Comparison) -> str:
    """The table of a comparison, best first, with its trust columns."""
    study = comparison.study
    return page(f"<p><b>{parts.text(study.title or study.name)}</b></p>",
                parts.main_table(best_first(comparison.constructs)), FRAME)


@shows(ConstructResult)
def construct_html(construct: ConstructResult) -> str:
    """One construct: its rows of the table, its limits and its warnings."""
    return page(parts.main_table([construct]), parts.facts(construct), FRAME)


@shows(LoadResult)
def load_html(load: LoadResult) -> str:
    """One answer: movements of each fragment, the metal, and how to trust it."""
    number, text = parts.number, parts.text
    rows = [(text(name), number(f.subsidence_mean_mm, 3), number(f.subsidence_max_mm, 3),
             number(f.subsidence_net_mm, 3), number(f.tilt_deg, 2))
            for name, f in load.fragments.items()]
    lips = [(text(name), number(e.step_off_mm, 3), number(e.gap_mm, 3))
            for name, e in load.edges.items()]
    said = f" “{text(load.escapes)}” escapes." if load.escapes else ""
    trust = ("" if load.residual is None or load.complementarity is None else
             f"<p><small>{text(load.method)}: residual {load.residual:.0e}, complementarity "
             f"{load.complementarity:.0e}</small></p>")
    return page(
        f"<p><b>{text(load.load_words)}: {text(load.status)}.</b>{said}</p>",
        parts.table(("fragment", "subsidence, mean [mm]", "largest [mm]", "net of intact [mm]",
                     "tilt [deg]"), rows) if rows else "",
        parts.table(("edge at the joint", "step-off [mm]", "gap [mm]"), lips) if lips else "",
        parts.metal(load) if load.status == "held" else "", trust)


@shows(FragmentResult)
def fragment_html(fragment: FragmentResult) -> str:
    """Who carries a fragment: every force on it and their sum."""
    return page(parts.forces(fragment))


@shows(RankResult)
def rank_html(result: RankResult) -> str:
    """The ranking, best first, each share with its interval, and the sentence to quote."""
    from buttress.report.rank import rank_text

    head = ("construct", "best [%]", "holds [%]", "keeps all limits [%]",
            *(f"{name} [%]" for name in result.limits), "no equilibrium", "no answer", "mean rank")
    rows = [(parts.text(s.construct), _share(s.best), _share(s.holds), _share(s.keeps_all),
             *(_share(kept) for kept in s.keeps.values()), str(s.no_equilibrium),
             str(s.unanswered), rank_text(s.mean_rank))
            for s in result.standings]
    return page(
        f"<p><b>{len(result.samples.shares)} paired samples at {result.outcomes.load_N:g} N; "
        f"limits: {parts.text(result.limit_words)}; shares with 95 % "
        "intervals; best: keeps all limits and sinks least</b></p>",
        parts.table(head, rows), f"<p>{parts.text(result.sentence)}</p>")


@shows(SweepSummary)
def sweep_html(summary: SweepSummary) -> str:
    """What a sweep has done, and where its store lies."""
    rows: list[Sequence[str]] = [
        ("cases", str(summary.cases)), ("solved now", str(summary.done)),
        ("there already", str(summary.skipped)), ("left", str(summary.left))]
    rows += _failures(summary.failures)
    rows += [("factorisations done", str(summary.factorisations)),
             ("factorisations avoided", str(summary.avoided)),
             ("store", parts.text(summary.path))]
    return page(parts.table(("sweep", ""), rows))


def _failures(failures: dict[str, int]) -> Iterable[Sequence[str]]:
    return [(f"without an answer: {parts.text(what)}", str(n)) for what, n in failures.items()]


def _share(found: Share) -> str:
    return f"{100 * found.share:.0f} ({100 * found.low:.0f}–{100 * found.high:.0f})"


@shows(Live)
def live_html(live: Live) -> str:
    """A live answer: that of its load."""
    return load_html(live.result)


@shows(StagedResult)
def staged_html(result: StagedResult) -> str:
    """The stages of one construct."""
    return page(stages_html((result,)))


@shows(StagedStudy)
def staged_study_html(study: StagedStudy) -> str:
    """The stages of all constructs of a study that have some."""
    return page(stages_html(study.constructs))
