"""What a ranking solves: what it asks and no more, and nothing twice."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from small_study import small_study
from under_loads import under_loads

from buttress.fe.errors import InputError
from buttress.ranking.outcomes import MERITS, RESERVE, SUBSIDENCE
from buttress.ranking.rank import estimate_rank, rank
from buttress.results.derive import derive_only
from buttress.results.reader import Reader
from buttress.results.search import Search
from buttress.sweeps import workshop
from buttress.sweeps.evaluate import Evaluator, Options, Outcome, Task
from buttress.sweeps.keys import planned
from buttress.sweeps.layout import path_columns
from buttress.sweeps.sweep import sweep_frame
from buttress.sweeps.vary import Case, varied

NAMES = ("lag screws", "antiglide", "nothing")
SEVERAL = {"samples": 4, "seed": 1, "with_indices": False, "workers": 0}


def rows(options: Options, movement_mm: float, load: float) -> list[dict[str, Any]]:
    study = varied(small_study(*NAMES, loads=(load,)), {"limits.movement_mm": movement_mm}).study
    plan = planned(1, Case(study, {}), options.described())
    return Evaluator(options).evaluate(Task(1, plan.hash, plan.data, plan.scales)).capacities


@pytest.mark.parametrize(("movement_mm", "load"), [(0.2, 300.0), (2.0, 1500.0)])
def test_what_is_asked_alone_is_what_is_read_with_all_else(movement_mm: float, load: float) -> None:
    """To the last bit, whether it is reached far above the load, below it or never."""
    whole = rows(Options(path=True), movement_mm, load)
    assert {row["construct"] for row in whole} == set(NAMES)
    for merit in MERITS.values():
        if not merit.needs:
            continue
        alone = rows(Options(path=True, only=merit.needs), movement_mm, load)
        for row, other in zip(alone, whole, strict=True):
            assert merit.column in row
            assert row == {k: v for k, v in other.items() if k in row}
        left_out = {c for q in path_columns() if q.key not in merit.needs for c in q.columns(q.store)}
        assert not left_out & set(alone[0])
    assert {row["reserve_is"] for row in whole} == {"joint moved", "peak"}


def test_a_path_is_pressed_no_farther_than_to_the_reserve() -> None:
    study = small_study("antiglide", loads=(300.0,))
    shop = workshop.Workshop()
    _, model, _ = shop.model(Case(study, {}), study.constructs[0])
    reader = Reader.of(model.bone, shop.intact(study))
    model.answer(300.0)
    found = derive_only(model, reader, 0.1, MERITS[RESERVE].needs, 300.0)
    pressed = model.pressing.up_to(300.0).points
    whole = Search(model).points
    assert found.reserve.load_N is not None
    assert pressed == whole[:len(pressed)]
    assert max(p.load_N for p in pressed[:-2]) < found.reserve.load_N < whole[-1].load_N
    assert len(pressed) < len(whole)


def test_no_sample_is_solved_twice_and_none_that_is_stored(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each has a bone of its own here: with the sample that tells the time, as many are made."""
    study, made, built = small_study(*NAMES[:2]), Counter(), []
    build, evaluate = workshop.build_bone, Evaluator.evaluate
    monkeypatch.setattr(workshop, "build_bone", lambda *args: built.append(args) or build(*args))
    monkeypatch.setattr(Evaluator, "evaluate",
                        lambda self, task: made.update([task.hash]) or evaluate(self, task))
    told: list[str] = []
    asked = SEVERAL | {"out": tmp_path / "r.sqlite", "by": SUBSIDENCE}
    first = rank(study, say=told.append, **asked)
    assert set(made.values()) == {1}
    assert first.summary.done == 4
    assert len(made) == len(built) == 5     # and the study as it is written
    assert told[0].startswith("solving the first of 4 cases")
    same = under_loads(study, limits=False, pictures=False)
    assert first.own.subsidence_mm[0] == pytest.approx(
        [c.load(700).fragments["medial"].subsidence_mean_mm for c in same.constructs], rel=1e-9)
    told.clear()
    again = rank(study, say=told.append, **asked)
    assert len(built) == made.total() == 5
    assert told == ["4 of 4 cases already done"]
    assert again.sentence == first.sentence
    assert first.sentence.startswith("At 700 N")
    with pytest.raises(InputError, match="with other options"):
        rank(study, **(asked | {"by": RESERVE}))    # for which the paths are too short
    # Whoever solved it, and in which order: the figures are the same.
    other = rank(study, **(asked | {"out": tmp_path / "w.sqlite", "workers": 1}))
    ours, theirs = (sweep_frame(x.summary.path) for x in (first, other))
    assert ours["subsidence_mean_mm"].to_numpy() == pytest.approx(
        theirs["subsidence_mean_mm"].to_numpy(), rel=1e-9)
    # The store beside is left of an earlier ranking, and is refused before anything is solved.
    first.summary.path.unlink()
    before = made.total()
    with pytest.raises(InputError, match=r"r-as-written\.sqlite.*with other options"):
        rank(study, **(asked | {"by": RESERVE}))
    assert made.total() == before


def test_what_is_left_after_the_first_samples_is_what_is_compared_with_progress() -> None:
    study = small_study(*NAMES[:2])
    cost, _ = estimate_rank(study, by=SUBSIDENCE, **SEVERAL)
    assert cost.cases == 4
    solved = [Outcome(1, "", seconds=cost.seconds / 4)]
    assert cost.after(solved) == pytest.approx(0.75 * cost.seconds)
    assert cost.after(solved * 9) == 0.0
    # Three cases on two workers take as long as two on one; five on two as long as three.
    for cases, rounds in ((4, 2), (6, 3)):
        many = replace(cost, cases=cases, seconds=10.0 * cases / 2, workers=2)
        assert many.after([Outcome(1, "", seconds=10.0)]) == pytest.approx(10.0 * rounds)
