"""How long a sweep will take: from what is measured of each construct, corrected by first cases."""

from __future__ import annotations

import itertools
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest
from small_study import small_study

from buttress.sweeps import sweep as module
from buttress.sweeps.design import make_design
from buttress.sweeps.evaluate import Options, Outcome, Task
from buttress.sweeps.progress import Progress
from buttress.sweeps.sweep import estimate, estimated, make_plan, run_plan
from buttress.words import duration

LENGTH = "construct.lag screws.screw.upper lag.length_mm"


class Timed:
    """An evaluator whose bone takes 3 s, and whose constructs take these."""

    frame, answer = {"lag screws": 2.0, "antiglide": 20.0}, {"lag screws": 0.5, "antiglide": 5.0}

    def __init__(self, options: object) -> None:
        pass

    def evaluate(self, task: Task) -> Outcome:
        out = Outcome(task.number, task.hash)
        for c in task.data["construct"]:
            name = c["name"]
            out.built[name] = self.frame[name]
            out.parts[name] = self.answer[name] + self.frame[name]
        out.seconds = sum(out.parts.values()) + 3.0
        return out


@pytest.mark.parametrize(("vary", "seconds"), [
    # The other construct is the same in each case, and solved once.
    (f"{LENGTH}=60:69:10", 3.0 + 10 * 2.5 + 25.0),
    ("load.total_N=500:1400:10", 3.0 + 2.0 + 20.0 + 10 * 5.5),
    ("section.modulus_scale=0.8:1:10", 10 * (3.0 + 2.5 + 25.0))])
def test_an_estimate_counts_what_each_construct_costs(
        vary: str, seconds: float, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "Evaluator", Timed)
    study = small_study("lag screws", "antiglide")
    assert estimate(study, [vary], workers=1).seconds == pytest.approx(seconds)
    assert estimate(study, [vary], workers=2).seconds == pytest.approx(seconds / 2)


@pytest.mark.parametrize(("said", "corrected"), [(24.0, True), (300.0, True), (80.0, False)])
def test_the_first_cases_correct_an_estimate_aloud_once(
        said: float, corrected: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    clock = itertools.count(0.0, 2.0)  # a case in two seconds
    monkeypatch.setattr("buttress.sweeps.progress.perf_counter", lambda: next(clock))
    told: list[str] = []
    progress = Progress(40, told.append, said)
    for _ in range(40):
        progress.step()
    assert [t for t in told if "in all" in t] == [
        f"about 80 s in all, judging by the first 5 cases ({duration(said)} was the first estimate)"
    ] * corrected


def test_what_was_solved_for_the_estimate_is_not_solved_again_and_gives_the_same(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    study = small_study("lag screws", "antiglide")
    design = make_design(study, ["fracture.shear plane.friction=0.2:0.6:3"])
    plan = make_plan(study, design, Options())
    cost, tried = estimated(plan, 0)
    assert tried.outcome is not None
    assert cost.seconds > 0.0
    solved: list[int] = []

    def counted(task: Task) -> Outcome:
        solved.append(task.number)
        return tried.evaluate(task)

    found = run_plan(plan, tmp_path / "a.sqlite", workers=0, said=cost.seconds,
                     tried=replace(tried, evaluate=counted))
    assert sorted([*solved, tried.outcome.number]) == [1, 2, 3]
    assert (found.done, found.left, found.skipped) == (3, 0, 0)
    anew = run_plan(plan, tmp_path / "b.sqlite", workers=0)
    pd.testing.assert_frame_equal(found.to_frame(), anew.to_frame())
