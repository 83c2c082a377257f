"""Rankings by what is read off the path: ties, what is not known, what is refused."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from small_study import small_study

from buttress import LABEL
from buttress.draw.sweep import paired
from buttress.ranking.inputs import inputs_of
from buttress.ranking.outcomes import Outcomes, read_outcomes
from buttress.ranking.rank import ranked
from buttress.ranking.records import RankResult
from buttress.ranking.samples import make_samples
from buttress.report.rank import table_lines
from buttress.sweeps.estimate import Estimate
from buttress.sweeps.evaluate import Options
from buttress.sweeps.sweep import SweepSummary, sweep

SUMMARY = SweepSummary(Path("s.sqlite"), 0, 0, 0, 0, {}, 0, 0, 0, 0, 0.0, False)
COST = Estimate(0, 0, 0, 0, 0, 0, 0, 0.0, 1)
STUDY = small_study("lag screws", "antiglide")


def synthetic(sunk: np.ndarray, status: np.ndarray | None = None) -> Outcomes:
    status = np.full(sunk.shape, "held", dtype=object) if status is None else status
    return Outcomes(("A", "B"), 1000.0, status, np.where(status == "held", sunk, np.nan),
                    np.full(sunk.shape, 3000.0), {"step-off": sunk})


def test_a_ranking_by_reserve_shares_what_lies_within_the_indifference() -> None:
    """100 and 96 N are a tie of 5 %, 90 N is not; what is not known has no place."""
    values = np.array([[100.0, 96.0, 90.0], [np.nan, 50.0, 80.0], [0.0, 0.0, 0.0], [np.nan] * 3])
    nan = np.full(values.shape, np.nan)
    found = Outcomes(tuple("abc"), 1000.0, np.full(values.shape, "no equilibrium", dtype=object),
                     nan, nan, {}, "reserve", values)
    assert found.best({}).tolist() == [[0.5, 0.5, 0.0], [0.0, 0.0, 1.0], [0.0] * 3, [0.0] * 3]
    ranks = found.ranks({})
    assert ranks[0].tolist() == [1.5, 1.5, 3.0]
    assert np.isnan(ranks[1, 0])
    assert ranks[1, 1:].tolist() == [2.0, 1.0]
    assert found.ahead(0, 2).tolist() == [True, False, False, False]
    assert not found.ahead(0, 1).any()


@pytest.mark.parametrize(("other", "said"), [
    (970.0, "'A' and 'B' are tied: the reserve at 0.5 mm of 'B' minus that of 'A' is −30 N"),
    (700.0, "'A' has a larger reserve at 0.5 mm than 'B', by more than 5 %, in 100 % of 32 samples")])
def test_the_sentence_by_reserve(monkeypatch: pytest.MonkeyPatch, other: float, said: str
                                 ) -> None:
    monkeypatch.setenv("COLUMNS", "120")
    drawn = make_samples(inputs_of(STUDY), 32, 3, indices=False)
    rows = len(drawn.design.rows)
    made = replace(synthetic(np.tile([0.2, 0.1], (rows, 1))), by="reserve",
                   values=np.tile([1000.0, other], (rows, 1)))
    found = ranked(STUDY, drawn, made, "A", SUMMARY, COST)
    assert found.sentence.startswith(said)
    (against,) = found.against
    assert against.told_apart == (other == 700.0)
    assert against.difference.median == pytest.approx(other - 1000.0)
    text = "\n".join(table_lines(found))
    assert ("a tie" in "\n".join(text.splitlines()[:13])) == (other == 970.0)
    assert found.document()["by"] == "reserve"


def test_a_reserve_beyond_the_search_is_told_where_differences_are_taken_of_it() -> None:
    """The difference to what does not move up to 10000 N is only known to be as large as that."""
    drawn = make_samples(inputs_of(STUDY), 32, 3, indices=False)
    values = np.tile([10000.0, 700.0], (len(drawn.design.rows), 1))
    values[:3, 0] = 9000.0
    made = replace(synthetic(np.tile([0.2, 0.1], (len(values), 1))), by="reserve", values=values)
    found = ranked(STUDY, drawn, made, "A", SUMMARY, COST)
    said = "only known as at least 10000 N, where the search ends: 'A' in 29 samples"
    assert said in found.sentence
    assert " ".join("\n".join(table_lines(found)).split()).count(said) == 2
    assert found.document()["beyond_search"] == {"A": 29}
    assert "more than 10000 N counts as 10000 N" in " ".join(
        t.get_text().replace("\n", " ") for t in paired(found).texts)
    known = replace(made, values=np.minimum(values, 9000.0))
    assert "at least" not in "\n".join(table_lines(ranked(STUDY, drawn, known, "A", SUMMARY, COST)))


def test_a_reserve_beyond_the_search_and_one_near_it_are_not_told_apart() -> None:
    """"At least 10000 N" and 9800 N shared the first place, and none was behind."""
    values = np.tile([9000.0, 8000.0, 100.0], (8, 1))
    values[:2, 0], values[:2, 1] = 10000.0, [9800.0, 9000.0]
    made = Outcomes(tuple("ABC"), 1000.0, np.full(values.shape, "held", dtype=object),
                    np.full(values.shape, 0.1), np.full(values.shape, 3000.0), {}, "reserve", values)
    assert made.best({})[1:].tolist() == [[1.0, 0.0, 0.0]] * 7
    assert np.isnan(made.best({})[0]).tolist() == [True, True, False]
    assert np.isnan(made.ranks({})).sum(axis=0).tolist() == [1, 1, 0]
    assert made.ranks({})[0, 2] == 3.0
    drawn = make_samples(inputs_of(STUDY), 8, 3, indices=False)
    found = ranked(STUDY, drawn, made, "A", SUMMARY, COST)
    b, c = found.against
    assert (b.undecided, b.behind.share, b.behind.samples) == (1, 1.0, 7)
    assert (c.undecided, c.behind.samples) == (0, 8)
    assert found.standings[0].best.samples == 7
    text = " ".join("\n".join(table_lines(found)).split())
    assert "which is best is not known in 1 of 8 samples" in text
    assert "at most −900 (no interval)" in text
    assert "1 of 8 not known" in text
    assert "in 100 % of 7 samples (95 % interval 65 to 100 %), 1 of 8 not known; " in found.sentence
    frame = found.to_frame().set_index("construct")
    assert frame.undecided_count["B"] == 1
    assert frame.difference_N_median_is.tolist() == ["", "exact", "exact"]
    assert found.document()["best_not_known"] == 1


def test_a_median_that_bounds_leave_open_is_no_tie() -> None:
    values = np.tile([10000.0, 9800.0], (8, 1))
    drawn = make_samples(inputs_of(STUDY), 8, 3, indices=False)
    made = replace(synthetic(np.full((8, 2), 0.1)), by="reserve", values=values)
    found = ranked(STUDY, drawn, made, "A", SUMMARY, COST)
    assert found.against[0].told_apart is None
    assert found.sentence.startswith(
        "Whether the reserve at 0.5 mm of 'A' and 'B' differ by more than 5 % is not known, 8 of 8 "
        "not known: the reserve at 0.5 mm of 'B' minus that of 'A' is at most −200 N in the median "
        "(95 % interval at most −200 to at most −200 N)")
    assert "a tie" not in "\n".join(table_lines(found))


@pytest.mark.parametrize("wide", [60, 80, 100])
def test_no_table_is_wider_than_the_terminal(monkeypatch: pytest.MonkeyPatch, wide: int) -> None:
    """Seven columns of numbers with their intervals ran to 112 columns."""
    monkeypatch.setenv("COLUMNS", str(wide))
    drawn = make_samples(inputs_of(STUDY), 32, 3)
    made = replace(synthetic(np.tile([0.2, 0.1], (len(drawn.design.rows), 1))), by="reserve",
                   values=np.tile([1000.0, 700.0], (len(drawn.design.rows), 1)))
    lines = table_lines(ranked(STUDY, drawn, made, "A", SUMMARY, COST))
    assert max(len(line) for line in lines if line != LABEL) <= wide


def test_what_was_refused_is_no_failure() -> None:
    drawn = make_samples(inputs_of(STUDY), 32, 3, indices=False)
    rows = len(drawn.design.rows)
    status = np.full((rows, 2), "held", dtype=object)
    status[:8, 1] = "refused"
    found = ranked(STUDY, drawn, synthetic(np.tile([0.1, 0.2], (rows, 1)), status), "A",
                   SUMMARY, COST)
    b = next(s for s in found.standings if s.construct == "B")
    assert (b.refused, b.unanswered, b.no_equilibrium) == (8, 0, 0)
    assert (b.holds.share, b.holds.samples) == (1.0, 24)
    (against,) = found.against
    assert (against.refused, against.unanswered, against.behind.samples) == (8, 0, 24)
    assert "8 samples of one of them were refused" in found.sentence
    assert "in 100 % of 24 samples" in found.sentence


def test_a_sample_that_was_refused_is_none_in_which_nothing_is_held() -> None:
    """It read "in 3 none is held" where two of the three had been refused."""
    drawn = make_samples(inputs_of(STUDY), 8, 3, indices=False)
    status = np.full((len(drawn.design.rows), 2), "held", dtype=object)
    status[:2], status[2] = "refused", "no equilibrium"
    found = ranked(STUDY, drawn, synthetic(np.full(status.shape, 0.1), status), "A", SUMMARY, COST)
    assert (found.none_held, found.none_keeps) == (1, 1)


def test_refused_cases_of_a_store_are_read_as_refused(tmp_path: Path) -> None:
    """With a slope of 0 degrees the fragment's point lies in the shaft: no case at all."""
    path = tmp_path / "s.sqlite"
    done = sweep(STUDY, ["fracture.shear plane.slope_deg=30,0"], out=path, workers=0,
                 options=Options(path=True))
    found = read_outcomes(path, ("lag screws", "antiglide"), 700.0, 2, "reserve")
    assert done.refused == 1
    assert found.status[1].tolist() == ["refused", "refused"]
    assert np.isfinite(found.values).tolist() == [[True, True], [False, False]]


def test_that_the_study_as_written_is_ordered_otherwise_is_said() -> None:
    """Compare had 'plate' before 'lag', rank had it last in all samples, of which none had the
    study's own gap: neither said a word of the other."""
    drawn = make_samples(inputs_of(STUDY), 8, 3, indices=False)

    def of(own: tuple[float, float] | None, first: float = 800.0) -> RankResult:
        """'A' carries ``first`` in three samples of eight and 800 N in the others, 'B' 600 N."""
        values = np.tile([800.0, 600.0], (8, 1))
        values[:3, 0] = first
        made = [None if x is None else replace(synthetic(np.full((len(x), 2), 0.1)), by="reserve",
                                               values=np.array(x))
                for x in (values, None if own is None else [own])]
        return ranked(STUDY, drawn, made[0], "", SUMMARY, COST, made[1])

    found = of((845.0, 900.0))
    assert found.turned == [("B", "A", 8)]
    said = "As the study is written (“buttress compare”), 'B' comes before 'A', while it is the " \
           "other way round in 8 of 8 samples."
    assert found.sentence.endswith(f". {said}")
    assert of((845.0, 900.0), 500.0).turned == [("B", "A", 5)]
    assert found.document()["ordered_otherwise_as_written"] == [
        {"before": "B", "behind": "A", "other_way_samples": 8}]
    why = "gap of the fracture and layer of debris: nearly all samples lie to one side of the study's"
    text = " ".join(" ".join(table_lines(found)).split())
    assert why in text
    assert "which can be why constructs are ordered otherwise as the study is written" in text
    # As most samples are, a tie, not known, not solved.
    for own in ((900.0, 845.0), (845.0, 850.0), (np.nan, 850.0), None):
        same = of(own)
        assert same.turned == []
        assert "As the study is written" not in same.sentence
        text = " ".join(" ".join(table_lines(same)).split())
        assert why in text
        assert ("no two constructs are ordered there the other way round" in text) == (
            own is not None and np.isfinite(own).all())
        assert (same.document()["ordered_otherwise_as_written"] is None) == (own is None)


@pytest.mark.parametrize(("by", "said"), [
    ("peak", "'B' has a larger peak load than 'A'"),
    ("subsidence", "'B' subsides less than 'A', or holds where the latter does not")])
def test_what_is_ranked_by_another_quantity_is_not_told_as_the_order_of_compare(by: str, said: str
                                                                                ) -> None:
    """Compare orders by the reserve alone."""
    drawn = make_samples(inputs_of(STUDY), 8, 3, indices=False)
    many, own = (replace(synthetic(np.tile([0.1, 0.2][::turn], (rows, 1))), by=by,
                         values=None if by == "subsidence" else np.tile([800.0, 600.0][::turn],
                                                                        (rows, 1)))
                 for rows, turn in ((8, 1), (1, -1)))
    found = ranked(STUDY, drawn, many, "", SUMMARY, COST, own)
    assert found.sentence.endswith(f". As the study is written, {said}, while it is the other way "
                                   "round in 8 of 8 samples.")
    assert "compare" not in found.sentence
