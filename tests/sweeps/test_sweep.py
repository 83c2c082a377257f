"""Sweeps: the same store whoever solves it and in any order, its plan, name, status and table."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from pathlib import Path

import pytest
from small_study import small_study
from sweep_tables import assert_same, rows_of

from buttress.fe.errors import InputError
from buttress.sweeps.design import make_design
from buttress.sweeps.estimate import estimate
from buttress.sweeps.evaluate import Options
from buttress.sweeps.keys import groups
from buttress.sweeps.status import sweep_status
from buttress.sweeps.sweep import (
    _Progress,
    export_csv,
    make_plan,
    store_path,
    sweep,
)

FRICTION = "fracture.shear plane.friction"
VARY = [f"{FRICTION}=0.3,0.45", "section.modulus_scale=0.8,1"]


def test_the_plan_groups_cases_by_their_bone() -> None:
    study = small_study("lag screws")
    plan = make_plan(study, make_design(study, VARY), Options())
    assert plan.shared.bones == 2
    assert plan.shared.frames == 2
    assert [len(g) for g in groups(plan.cases)] == [2, 2]
    assert len(set(plan.hashes)) == 4


@pytest.fixture(scope="module")
def reference(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sweep of `VARY`, solved in this process."""
    path = tmp_path_factory.mktemp("reference") / "s.sqlite"
    done = sweep(small_study(), VARY, out=path, workers=0)
    assert (done.cases, done.done, done.left, done.failures) == (4, 4, 0, {})
    assert (done.factorisations, done.avoided) == (4, 4)
    return path


@pytest.mark.parametrize("count", [1, 2])
def test_any_number_of_workers_gives_the_same(tmp_path: Path, reference: Path, count: int) -> None:
    told: list[str] = []
    sweep(small_study(), VARY, out=tmp_path / "s.sqlite", workers=count, say=told.append)
    assert_same(tmp_path / "s.sqlite", reference)
    assert any("4 of 4 cases" in t and "per second" in t for t in told)


def test_any_order_gives_the_same(tmp_path: Path, reference: Path) -> None:
    backwards = [f"{FRICTION}=0.45,0.3", "section.modulus_scale=1,0.8"]
    sweep(small_study(), backwards, out=tmp_path / "s.sqlite", workers=0)
    for table in ("results", "capacities"):
        one = [r[1:] for r in rows_of(reference, table)]
        other = [r[1:] for r in rows_of(tmp_path / "s.sqlite", table)]
        # Case numbers differ, so rows are matched by their figures.
        for a, b in zip(sorted(one, key=rounded), sorted(other, key=rounded), strict=True):
            for x, y in zip(a, b, strict=True):
                assert x == y or x == pytest.approx(y, rel=1e-10, abs=1e-13)


def rounded(row: tuple) -> str:
    return repr([f"{x:.6g}" if isinstance(x, float) else x for x in row])


def test_the_estimate_counts_what_is_shared() -> None:
    cost = estimate(small_study(), VARY, workers=2)
    assert (cost.cases, cost.constructs, cost.meshes, cost.hardware) == (4, 8, 2, 4)
    assert (cost.factorisations, cost.avoided, cost.workers) == (4, 4, 2)
    assert cost.seconds > 0
    assert any("4 cases" in s for s in cost.sentences())


def test_lines_of_progress_get_rarer(monkeypatch: pytest.MonkeyPatch) -> None:
    clock = itertools.count(0.0, 1.0)  # a case a second
    monkeypatch.setattr("buttress.sweeps.sweep.perf_counter", lambda: next(clock))
    told: list[str] = []
    progress = _Progress(3600, told.append)
    for _ in range(3600):
        progress.step()
    assert 100 < len(told) < 200
    assert told[-1].startswith("3600 of 3600 cases")


def test_the_time_left_does_not_count_what_came_before_the_first_case(
        monkeypatch: pytest.MonkeyPatch) -> None:
    clock = iter([0.0, 100.0, 101.0, 102.0, 103.0])  # the mesh, then a case a second
    monkeypatch.setattr("buttress.sweeps.sweep.perf_counter", lambda: next(clock))
    monkeypatch.setattr("buttress.sweeps.sweep.EVERY", 0.0)
    told: list[str] = []
    progress = _Progress(4, told.append)
    for _ in range(4):
        progress.step()
    assert told[0] == "1 of 4 cases"
    assert told[1] == "2 of 4 cases, 1 per second, 2 s left"


def test_the_default_store_is_found_again_by_the_same_command() -> None:
    study = small_study()
    one = store_path(study, make_design(study, VARY), Options(), None)
    assert one == store_path(study, make_design(study, VARY), Options(), None)
    assert one.parts[0] == "results"
    assert one.name.startswith("medial-shear-sweep-")
    assert one != store_path(study, make_design(study, VARY), Options(path=True), None)
    assert one != store_path(study, make_design(study, VARY[:1]), Options(), None)
    assert store_path(study, make_design(study, VARY), Options(), Path("x")) == Path(
        "x/sweep.sqlite")


def test_status_and_csv(reference: Path, tmp_path: Path) -> None:
    state = sweep_status(reference)
    assert (state.cases, state.done, state.results) == (4, 4, 8)
    assert state.statuses == {"held": 4, "no equilibrium": 4}
    target, rows = export_csv(reference, tmp_path / "t.csv")
    assert rows == 8
    assert math.isclose(sum("held" in line for line in target.read_text().splitlines()), 4)


@pytest.mark.parametrize("call", [
    lambda path: sweep(small_study(), [f"{FRICTION}=0.3,0.4"], out=path, workers=0),
    lambda path: sweep(small_study("nothing"), VARY, out=path, workers=0),
    lambda path: sweep(small_study(), VARY, out=path, workers=0, options=Options(path=True)),
])
def test_a_store_of_another_sweep_is_refused(reference: Path, call: Callable[[Path], object]
                                             ) -> None:
    with pytest.raises(InputError, match="stored -> now"):
        call(reference)
