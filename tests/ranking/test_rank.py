"""Rankings: who is best, how sure that is, what drives it, and what is counted."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from perfect import perfect
from small_study import small_study

from buttress.draw.sweep import over_range
from buttress.fe.errors import ButtressError, InputError
from buttress.ranking import inputs as uncertain
from buttress.ranking.inputs import inputs_of, shipped
from buttress.ranking.outcomes import best_shares
from buttress.ranking.rank import Outcomes, rank, ranked
from buttress.ranking.records import RankResult
from buttress.ranking.samples import Samples, make_samples
from buttress.report.rank import table_lines, write_folder
from buttress.sweeps.estimate import Estimate
from buttress.sweeps.sweep import SweepSummary

SUMMARY = SweepSummary(Path("s.sqlite"), 0, 0, 0, 0, {}, 0, 0, 0, 0, 0.0, False)
COST = Estimate(0, 0, 0, 0, 0, 0, 0, 0.0, 1)
STUDY = small_study("lag screws", "antiglide")
TWO = ("friction of the fracture", "cancellous strength")


@pytest.fixture
def two_inputs(monkeypatch: pytest.MonkeyPatch) -> None:
    """Only two inputs are uncertain: none of them geometric."""
    few = tuple(e for e in shipped() if e.name in TWO)
    monkeypatch.setattr(uncertain, "shipped", lambda: few)


# -- the statistics ---------------------------------------------------------------------------

def synthetic(drawn: Samples, sunk: np.ndarray, status: np.ndarray | None = None,
              held: np.ndarray | None = None, names: tuple[str, ...] = ("A", "B")) -> Outcomes:
    status = np.full(sunk.shape, "held", dtype=object) if status is None else status
    capacity = np.full(sunk.shape, 3000.0) if held is None else held
    return Outcomes(names, 1000.0, status, np.where(status == "held", sunk, np.nan),
                    capacity, {"step-off": np.where(status == "held", sunk, np.nan)})


def friction_of(drawn: Samples) -> np.ndarray:
    """Friction in every row."""
    return np.array(drawn.design.rows)[:, drawn.design.keys.index("fracture.*.friction")]


@pytest.mark.usefixtures("two_inputs")
def test_a_linear_case_with_a_known_paired_difference() -> None:
    drawn = make_samples(inputs_of(STUDY), 256, 3)
    friction = friction_of(drawn)
    # A sinks 2 - friction, B 1.7 - 0.2 friction: A - B = 0.3 - 0.8 friction, zero at 0.375.
    found = ranked(STUDY, drawn, synthetic(drawn, np.stack([2 - friction, 1.7 - 0.2 * friction], 1)),
                   "B", SUMMARY, COST)
    (against,) = found.against
    mean = (0.2 + 0.5 + 0.6) / 3  # of triangular(0.2, 0.5, 0.6)
    below = (0.375 - 0.2) ** 2 / (0.4 * 0.3)
    assert against.subsidence_mm.low < 0.3 - 0.8 * mean < against.subsidence_mm.high
    assert against.subsidence_mm.mean == pytest.approx(0.3 - 0.8 * mean, abs=2e-3)
    assert against.ahead.share == pytest.approx(1 - below, abs=0.01)
    assert against.behind.share == pytest.approx(below, abs=0.01)
    assert [s.construct for s in found.standings] == ["A", "B"]
    assert found.standings[0].best.share == pytest.approx(1 - below, abs=0.01)
    assert found.standings[0].best.low < 1 - below < found.standings[0].best.high
    # Friction decides alone, and the mean rank falls along its range.
    (driven,) = [d for d in found.driven if d.construct == "A"]
    decides = driven.ahead.inputs.index("friction of the fracture")
    assert driven.ahead.total[decides, 0] == pytest.approx(1.0, abs=0.05)
    assert driven.ahead.total[1 - decides, 0] == pytest.approx(0.0, abs=0.05)
    over = found.standings[0].over_range
    assert over["friction of the fracture"][0] == 2.0
    assert over["friction of the fracture"][-1] == 1.0
    assert driven.capacity.total is None
    assert found.telling == ["friction of the fracture"]  # strength changes nothing
    lines = {x.get_label(): x for x in over_range(found, found.telling[0]).get_lines()}
    assert list(lines["A"].get_ydata()) == list(over["friction of the fracture"])
    with pytest.raises(InputError, match="no such input"):
        over_range(found, "friction")
    text = "\n".join(table_lines(found))
    assert "mean rank over the range of friction of the fracture" in text
    # A sinks less than 2 mm always, B does not: 2 - friction against the limit of 2 mm.
    assert all(s.keeps["step-off"].share == 1.0 for s in found.standings)
    assert "subsides less than 'A'" in found.sentence
    assert "friction of the fracture decides the rest" in found.sentence
    # A - B has its median where friction has: at 0.2 + (0.5 * 0.4 * 0.3)^0.5.
    median = 0.3 - 0.8 * (0.2 + 0.06**0.5)
    assert against.subsidence_mm.median == pytest.approx(median, abs=2e-3)
    low, high = against.subsidence_mm.middle
    mid, least, most = (f"{x:+.2g}".replace("-", "−") for x in (median, low, high))
    assert (f"the mean subsidence of 'A' minus that of 'B' is {mid} mm in the median (95 % "
            f"interval {least} to {most} mm)") in found.sentence
    assert f"{mid} ({least} to {most})" in text     # the table, with the same sign
    assert found.over_capacity == {}


@pytest.mark.usefixtures("two_inputs")
def test_samples_without_equilibrium_or_answer_are_counted_and_not_dropped() -> None:
    drawn = make_samples(inputs_of(STUDY), 32, 3)
    rows = len(drawn.design.rows)
    sunk = np.tile([0.1, 0.2], (rows, 1))
    status = np.full((rows, 2), "held", dtype=object)
    status[0:8, 0] = "no equilibrium"      # of the 32 paired samples
    status[8:10, 1] = "no equilibrium"
    status[10:14, :] = "no equilibrium"
    status[14, 0], status[15, 1] = "unconverged", "none"
    capacity = np.where(status == "no equilibrium", 500.0, 3000.0).astype(float)
    capacity[10:14, 1] = 600.0
    found = ranked(STUDY, drawn, synthetic(drawn, sunk, status, capacity), "A", SUMMARY, COST)
    a, b = found.standings
    assert (a.construct, a.no_equilibrium, a.unanswered) == ("A", 12, 1)
    assert (b.construct, b.no_equilibrium, b.unanswered) == ("B", 6, 1)
    (against,) = found.against
    # Rows 14 and 15 have no answer of one of them, which is not the same as letting go.
    assert (against.both_held, against.only_this, against.only_reference, against.neither,
            against.unanswered) == (16, 8, 2, 4, 2)
    assert against.subsidence_mm.pairs == 16
    assert against.subsidence_mm.mean == pytest.approx(0.1)
    # B is ahead where A lets go; where both let go neither is, though B carries more, nor where one
    # of them has no answer.
    assert against.ahead.share == pytest.approx(8 / 32)
    assert against.behind.share == pytest.approx((16 + 2) / 32)
    assert a.holds.share == pytest.approx(19 / 32)
    # What has no answer is not ranked last: alone in row 15 A is first, in row 14 it has no rank.
    # A is first in 16 rows held by both, in 2 where B lets go and in row 15; second in 8 and in 4.
    ranks = found.outcomes.rows(drawn.paired).ranks(found.limits)
    assert np.isnan(ranks[14, 0])
    assert ranks[14, 1] == ranks[15, 0] == 1.0
    assert a.mean_rank == pytest.approx((19 * 1 + 12 * 2) / 31)
    assert a.keeps["step-off"].share == pytest.approx(19 / 32)
    driven = {d.construct: d for d in found.driven}
    assert driven["A"].keeps["step-off"].left_out == 1
    assert driven["B"].ahead.left_out == 2
    assert driven["A"].capacity.left_out == 0
    assert "'B' fails (no equilibrium) in 6 samples; 'A' fails (no equilibrium) in 12 samples, both of them in 4;" in found.sentence
    assert (found.none_held, found.none_keeps) == (4, 4)
    assert a.best.share + b.best.share == pytest.approx(28 / 32)
    assert "no construct meets all limits in 4 of 32 samples" in found.sentence


@pytest.mark.usefixtures("two_inputs")
def test_the_sentence_is_about_the_first_two_of_the_ranking() -> None:
    drawn = make_samples(inputs_of(STUDY), 32, 3)
    rows = len(drawn.design.rows)
    # A and B are best as often as each other, but A is never third.
    sunk = np.tile([0.3, 0.2, 0.25], (rows, 1))
    sunk[16:, :2] = [0.1, 0.2]
    # C sinks least of all in most samples, but breaks a limit there.
    sunk[8:, 2] = 0.05
    capacity = np.full((rows, 3), 3000.0)
    capacity[:5, 0] = 800.0  # below the load of 1000 N at which it is held
    made = synthetic(drawn, sunk, held=capacity, names=("B", "A", "C"))
    made.figures["step-off"][8:, 2] = 9.0
    found = ranked(STUDY, drawn, made, "", SUMMARY, COST)
    assert [s.construct for s in found.standings] == ["A", "B", "C"]
    assert found.reference == "A"
    assert "'A' subsides less than 'B' in 50 % of 32 samples" in found.sentence
    assert found.over_capacity == {"B": 5}
    assert "'B' in 5 samples" in "\n".join(table_lines(found))


@pytest.mark.usefixtures("two_inputs")
def test_each_limit_has_its_own_share_and_indices(monkeypatch: pytest.MonkeyPatch) -> None:
    drawn = make_samples(inputs_of(STUDY), 1024, 3)
    friction = friction_of(drawn)
    made = synthetic(drawn, np.tile([0.1, 0.2], (len(friction), 1)))
    # A yields below a friction of 0.4, B never; B has a depression, over its limit above 0.55.
    metal = np.stack([np.where(friction < 0.4, 1.5, 0.5), np.full(len(friction), 0.9)], axis=1)
    sunk = np.stack([np.full(len(friction), np.nan), np.where(friction > 0.55, 9.0, 1.0)], axis=1)
    made.figures.update({"metal over yield": metal, "depression": sunk,
                         "widening": np.full(metal.shape, np.nan)})
    limited = STUDY.model_copy(update={"limits": STUDY.limits.model_copy(
        update={"metal_yield_ratio": 1.0})})
    found = ranked(limited, drawn, made, "B", SUMMARY, COST)
    assert set(found.limits) == {"step-off", "depression", "metal over yield"}  # no width to see
    a, b = sorted(found.standings, key=lambda s: s.construct)
    low, high = 0.2**2 / (0.4 * 0.3), 0.05**2 / (0.4 * 0.1)  # tails of the triangle
    assert a.keeps["metal over yield"].share == pytest.approx(1 - low, abs=0.01)
    assert a.keeps["depression"].share == b.keeps["metal over yield"].share == 1.0
    assert b.keeps["depression"].share == pytest.approx(1 - high, abs=0.01)
    assert a.keeps_all == a.keeps["metal over yield"]
    assert b.keeps_all == b.keeps["depression"]
    driven = next(d for d in found.driven if d.construct == "A").keeps["metal over yield"]
    decides = driven.inputs.index("friction of the fracture")
    assert driven.total[decides, 0] == pytest.approx(1.0, abs=0.1)
    assert driven.total[1 - decides, 0] == 0.0
    monkeypatch.setenv("COLUMNS", "120")
    text = "\n".join(table_lines(found))
    # Each column says what it counts: shares in %, or samples.
    head = next(i for i, line in enumerate(text.splitlines()) if line.startswith("construct"))
    assert text.splitlines()[head + 1].split() == ["%"] * 3 + ["samples"] * 3 + ["1", "is", "best"]
    assert found.against[0].told_apart is True
    assert found.document()["ties"] == []
    # Capacity is 3000 N in every sample: what is kept is what there is to explain.
    assert "every construct: the same in all samples: 3000 N" in text
    both = next(d for d in found.driven if d.construct == "A").keeps_all
    np.testing.assert_array_equal(both.total, driven.total)  # of the only limit that A breaks
    assert "whether it is held and meets all limits (from 512 base samples):" in text
    assert f"A: friction of the fracture {both.total[decides, 0]:.2f}" in text
    broken = round(len(drawn.shares) * (1 - a.keeps_all.share))
    assert f"'A' holds but exceeds a limit in {broken} samples" in found.sentence


@pytest.mark.usefixtures("two_inputs")
@pytest.mark.parametrize(("held", "sunk", "best", "first", "said"), [
    ("both", (0.1, 0.2), (1.0, 0.0), (1.0, 0.0), "At 1000 N 'A' subsides less than 'B' in 100 %"),
    ("A", (0.1, 0.2), (1.0, 0.0), (1.0, 0.0), "At 1000 N 'A' holds where 'B' does not in 100 %"),
    ("both", (2.1, 3.2), (0.0, 0.0), (1.0, 0.0),
     "no construct meets all limits in any of the 16 samples"),
    ("none", (0.1, 0.2), (0.0, 0.0), (0.0, 0.0),
     "At 1000 N none of the constructs is held in any of the 16 samples."),
])
def test_words_and_numbers_agree_whatever_holds(
        held: str, sunk: tuple[float, float], best: tuple[float, float],
        first: tuple[float, float], said: str, tmp_path: Path) -> None:
    drawn = make_samples(inputs_of(STUDY), 16, 3)
    rows = len(drawn.design.rows)
    status = np.full((rows, 2), "no equilibrium", dtype=object)
    status[:, [i for i, name in enumerate("AB") if held in (name, "both")]] = "held"
    capacity = np.tile([900.0, 800.0], (rows, 1))  # A carries more in every sample
    found = ranked(STUDY, drawn, synthetic(drawn, np.tile(sunk, (rows, 1)), status, capacity), "",
                   SUMMARY, COST)
    assert [s.construct for s in found.standings] == ["A", "B"]
    assert found.reference == "A"
    assert tuple(s.best.share for s in found.standings) == best
    assert [s.mean_rank for s in found.standings] == [1.0, 2.0]
    (against,) = found.against
    assert (against.behind.share, against.ahead.share) == first
    assert against.neither == (16 if held == "none" else 0)
    # Nothing to explain: of the reference itself there is no such index, of the other no variance.
    assert [d.ahead is None for d in found.driven] == [True, False]
    assert found.driven[1].ahead.total is None
    assert said in found.sentence
    text = "\n".join(table_lines(found))
    assert ("subsides less than" in text) == (held == "both")
    assert ("no construct meets all limits in 16 of 16 samples, so none is best there" in text) == \
        (best == (0.0, 0.0))
    assert found.none_held == (16 if held == "none" else 0)
    assert "no input changes the ranks clearly" in text


def test_nobody_is_best_where_no_limit_is_kept() -> None:
    status = np.array([["held", "held"], ["held", "no equilibrium"], ["none", "unconverged"]],
                      dtype=object)
    found = Outcomes(("a", "b"), 1000.0, status, np.array([[1.0, 2.0], [3.0, np.nan], [np.nan] * 2]),
                     np.full((3, 2), 900.0), {"step-off": np.array([[9.0, 1.0], [9.0, 0.0], [0.0] * 2])})
    assert found.best({"step-off": 2.0}).tolist() == [[0.0, 1.0], [0.0, 0.0], [0.0, 0.0]]
    assert found.ahead(0, 1).tolist() == [True, True, False]
    assert found.ahead(1, 0).tolist() == [False, False, False]


@pytest.mark.usefixtures("two_inputs")
def test_an_input_is_told_where_it_changes_the_ranks_by_more_than_chance() -> None:
    strength = "cancellous strength"
    drawn = make_samples(inputs_of(STUDY), 64, 3, indices=False)
    number = [e.name for e in drawn.inputs].index(strength)
    share = drawn.shares[:, number]
    sunk = np.stack([np.where(share < 0.5, 0.3, 0.1), np.full(64, 0.2)], axis=1)
    assert ranked(STUDY, drawn, synthetic(drawn, sunk), "", SUMMARY, COST).telling == [strength]
    # One sample that is other than all the rest shows nothing about its inputs.
    sunk = np.tile([0.1, 0.2], (64, 1))
    sunk[np.argmin(share)] = [0.3, 0.2]
    found = ranked(STUDY, drawn, synthetic(drawn, sunk), "", SUMMARY, COST)
    assert found.telling == []
    assert "no input changes the ranks clearly" in "\n".join(table_lines(found))


def test_equals_share_first_place() -> None:
    score = np.array([[1.0, 1.0, 2.0], [3.0, 1.0, 2.0]])
    assert best_shares(score).tolist() == [[0.5, 0.5, 0.0], [0.0, 1.0, 0.0]]


def test_the_best_keeps_the_limits_before_it_sinks_least() -> None:
    # A fragment that tilts may sink less in the mean; no other construct is worse for that.
    found = Outcomes(tuple("abc"), 1000.0, np.array([["held", "held", "no equilibrium"]], dtype=object),
                     np.array([[-0.1, 0.2, np.nan]]), np.array([[2000.0, 2000.0, 900.0]]),
                     {"step-off": np.array([[3.0, 0.1, np.nan]])})
    assert np.argsort(found.score()[0]).tolist() == [0, 1, 2]
    assert np.argsort(found.limited({"step-off": 2.0})[0]).tolist() == [1, 0, 2]
    assert np.argsort(found.limited({"step-off": 4.0})[0]).tolist() == [0, 1, 2]


def test_what_holds_is_before_what_lets_go_and_that_before_what_failed() -> None:
    status = np.array([["held", "no equilibrium", "no equilibrium", "unconverged"]], dtype=object)
    capacity = np.array([[600.0, 900.0, 0.0, 5000.0]])
    found = Outcomes(tuple("abcd"), 1000.0, status, np.array([[3.0] + [np.nan] * 3]),
                     capacity, {})
    assert np.argsort(found.score()[0]).tolist() == [0, 1, 2, 3]


# -- all of it --------------------------------------------------------------------------------

@pytest.mark.usefixtures("two_inputs")
def test_a_ranking_from_the_study_to_its_folder(tmp_path: Path) -> None:
    told: list[str] = []
    asked = {"samples": 8, "seed": 2, "out": tmp_path / "r.sqlite", "load": 600.0, "workers": 0}
    found = rank(STUDY, say=told.append, **asked)
    assert "16 cases" in told[0]  # 4 rows of A, of B, and of A with each of two inputs from B
    assert found.summary.done == 16
    assert found.summary.factorisations == 2
    assert found.outcomes.status.shape == (16, 2)
    assert set(found.outcomes.status.ravel()) == {"held"}
    assert {s.construct for s in found.standings} == {"lag screws", "antiglide"}
    assert found.sentence.startswith("'lag screws' has a larger reserve at 0.5 mm than 'antiglide'")
    again = rank(STUDY, **asked)
    assert again.summary.done == 0
    assert again.sentence == found.sentence
    lines = table_lines(again)
    assert any("meets all limits" in line for line in lines)
    folder = tmp_path / "r-rank"
    folder.mkdir()
    listed = " ".join(" ".join(lines).split())
    _, _, of = listed.partition("cancellous strength (scale.cancellous_strength)")
    assert "lognormal(1, 0.25, 0.5, 2) [-]; practice: " in of[:120]
    for name in ("indices-of-another-reference.png", "rank-over-x.svg", "mine.png"):
        (folder / name).touch()
    assert write_folder(again) == folder
    assert [p.name for p in folder.iterdir() if not p.stat().st_size] == ["mine.png"]
    document = json.loads((folder / "rank.json").read_text())
    assert document["sentence"] == found.sentence
    assert {i["name"] for i in document["inputs"]} == set(TWO)
    assert {p.suffix for p in folder.iterdir()} == {".json", ".png"}


@pytest.mark.usefixtures("two_inputs")
def test_where_everything_lets_go_there_is_no_figure_of_differences(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    found = rank(perfect(STUDY), samples=4, seed=2, out=tmp_path / "r.sqlite", load=6000.0, workers=0,
                 with_indices=False, by="subsidence")
    assert not found.outcomes.held.any()
    assert found.sentence == "At 6000 N none of the constructs is held in any of the 4 samples."
    folder = tmp_path / "r-rank"
    folder.mkdir()
    (folder / "paired-difference.png").touch()
    assert write_folder(found) == folder
    assert {p.name for p in folder.iterdir()} == {"rank.json", "envelope.png"}
    document = json.loads((folder / "rank.json").read_text())
    assert (document["none_held"], document["none_keeps_all"]) == (4, 4)
    assert {a["behind"]["share"] for a in document["against"]} == {0.0}
    monkeypatch.setattr(RankResult, "telling", property(lambda self: [TWO[0]]))
    assert "1 sample per quarter:" in "\n".join(table_lines(found))


@pytest.mark.usefixtures("two_inputs")
def test_what_bins_change_of_next_to_no_capacity_is_told_as_a_share_of_the_load() -> None:
    drawn = make_samples(inputs_of(STUDY), 16, 3, indices=False, bins=2)
    rows = len(drawn.design.rows)
    capacity = np.full((rows, 2), 2000.0)
    capacity[0] = 500.0  # with bins
    capacity[drawn.exact.start] = 0.0
    found = ranked(STUDY, drawn, synthetic(drawn, np.tile([0.1, 0.2], (rows, 1)), held=capacity), "",
                   SUMMARY, COST)
    assert found.binning.capacity_largest_share == 0.5  # of 1000 N


def test_the_same_construct_twice_is_never_apart(tmp_path: Path) -> None:
    data = small_study("lag screws")
    twin = data.constructs[0].model_copy(update={"name": "twin"})
    study = data.model_copy(update={"constructs": (*data.constructs, twin)})
    found = rank(study, samples=4, seed=1, out=tmp_path / "r.sqlite", workers=0, bins=2,
                     with_indices=False)
    (against,) = found.against
    assert against.subsidence_mm.mean == 0.0
    assert against.ahead.share == against.behind.share == 0.0
    assert [s.best.share for s in found.standings] == [0.5, 0.5]
    # Bins of geometry change the figures a little; rows solved both ways say how much.
    assert found.binning is not None
    assert found.binning.rows == 2
    assert 0.0 < found.binning.subsidence_largest_mm < 0.2
    assert found.binning.other_best == 0
    assert "bins, measured in 2 samples" in "\n".join(table_lines(found))


@pytest.mark.usefixtures("two_inputs")
def test_bins_that_change_nothing_measure_no_error(tmp_path: Path) -> None:
    found = rank(STUDY, samples=4, seed=1, out=tmp_path / "r.sqlite", workers=0, bins=2,
                     with_indices=False, load=400.0)
    assert found.binning.subsidence_largest_mm == 0.0
    assert found.binning.capacity_largest_share == 0.0


@pytest.mark.usefixtures("two_inputs")
def test_a_ranking_that_is_stopped_is_none_and_says_how_to_go_on(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("buttress.sweeps.sweep.here", lambda *args: iter(()))  # stopped at once
    with pytest.raises(ButtressError, match=r"no ranking yet: 6 of 8 cases are left.*resumes"):
        rank(STUDY, samples=4, seed=2, out=tmp_path / "r.sqlite", workers=0)


def test_a_ranking_wants_two_constructs_and_a_known_reference() -> None:
    with pytest.raises(InputError, match="two constructs"):
        rank(small_study("nothing"), samples=8, seed=1)
    with pytest.raises(InputError, match="did you mean \"antiglide\""):
        rank(STUDY, samples=8, seed=1, reference="antiglid")
