"""How long a sweep will take: from what is measured of each construct, corrected by first cases."""

from __future__ import annotations

import itertools

import pytest
from small_study import small_study

from buttress.sweeps import estimate as estimates
from buttress.sweeps import sweep as module
from buttress.sweeps.estimate import estimate
from buttress.sweeps.evaluate import Outcome, Task
from buttress.sweeps.sweep import _Progress

LENGTH = "construct.lag screws.screw.upper lag.length_mm"


class Timed:
    """An evaluator whose bone takes 3 s, and whose constructs take these, the first time."""

    frame, answer = {"lag screws": 2.0, "antiglide": 20.0}, {"lag screws": 0.5, "antiglide": 5.0}

    def __init__(self, options: object) -> None:
        self.known = False

    def evaluate(self, task: Task) -> Outcome:
        out = Outcome(task.number, task.hash)
        for c in task.data["construct"]:
            name = c["name"]
            out.parts[name] = self.answer[name] + (0.0 if self.known else self.frame[name])
        out.seconds = sum(out.parts.values()) + (0.0 if self.known else 3.0)
        self.known = True
        return out


@pytest.mark.parametrize(("vary", "seconds"), [
    # The other construct is the same in each case, and solved once.
    (f"{LENGTH}=60:69:10", 3.0 + 10 * 2.5 + 25.0),
    ("load.total_N=500:1400:10", 3.0 + 2.0 + 20.0 + 10 * 5.5),
    ("section.modulus_scale=0.8:1:10", 10 * (3.0 + 2.5 + 25.0))])
def test_an_estimate_counts_what_each_construct_costs(
        vary: str, seconds: float, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(estimates, "Evaluator", Timed)
    study = small_study("lag screws", "antiglide")
    assert estimate(study, [vary], workers=1).seconds == pytest.approx(seconds)
    assert estimate(study, [vary], workers=2).seconds == pytest.approx(seconds / 2)


@pytest.mark.parametrize(("said", "corrected"), [(24.0, True), (300.0, True), (80.0, False)])
def test_the_first_cases_correct_an_estimate_aloud_once(
        said: float, corrected: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    clock = itertools.count(0.0, 2.0)  # a case in two seconds
    monkeypatch.setattr(module, "perf_counter", lambda: next(clock))
    told: list[str] = []
    progress = _Progress(40, told.append, said)
    for _ in range(40):
        progress.step()
    assert [t for t in told if "in all" in t] == [
        f"about 80 s in all, judging by the first 5 cases ({module.duration(said)} was the first estimate)"
    ] * corrected
