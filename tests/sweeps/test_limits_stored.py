"""A store may hold every limit and the cells of the weight-bearing table, and many studies."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from command import inside
from small_study import small_study
from sweep_tables import rows_of

from buttress.comparison.compare import compare
from buttress.fe.errors import InputError
from buttress.results.bearing import weight_bearing
from buttress.sweeps.batch import batch
from buttress.sweeps.evaluate import Evaluator, Options, Task
from buttress.sweeps.keys import planned
from buttress.sweeps.rows import sweep_frame
from buttress.sweeps.vary import Varier


def near(value: float | None) -> object:
    return value if value is None else pytest.approx(value, rel=1e-9)


def test_limits_and_cells_are_those_of_compare() -> None:
    study = small_study("lag screws", "antiglide", body_mass_kg=75.0)
    study = study.model_copy(update={"limits": study.limits.model_copy(
        update={"depression_mm": 0.1})})    # reached under loads of the table, in either bone
    whole = compare(study, pictures=False)
    plan = planned(1, Varier(study).case({}), {})
    found = Evaluator(Options(limits=True)).evaluate(Task(1, plan.hash, plan.data, plan.scales))
    assert found.failures == []
    differs = 0
    for c in whole:
        own = {r["limit_name"]: r for r in found.limits if r["construct"] == c.name}
        assert own.keys() >= c.limits.keys()
        for name, limit in c.limits.items():
            assert own[name]["load_N"] == near(limit.load_N), name
            if name != "equilibrium":   # whose place limit analysis gives
                assert own[name]["part"] == (limit.where.part if limit.where else None)
        for kind, loads in c.load_at_N.items():
            for mm, load in loads.items():
                stored = own[f"{kind.replace('_', '-')} of {mm} mm"]["load_N"]
                assert stored == near(load)
        table = weight_bearing(whole)
        assert table is not None
        cells = {r["activity"]: r for r in found.bearing if r["construct"] == c.name}
        assert list(cells) == [row.name for row in table.rows]
        for row in table.rows:
            assert cells[row.name]["verdict"] == row.cells[c.name].verdict
            assert cells[row.name]["limit_load_N"] == near(row.cells[c.name].load_N)
            soft = row.cells[c.name].soft
            assert soft is not None
            assert cells[row.name]["verdict_soft_bone"] == soft.verdict
            assert cells[row.name]["limit_load_soft_bone_N"] == near(soft.load_N)
            differs += soft.load_N != row.cells[c.name].load_N
    assert differs    # else the test cannot tell one bone from the other


def test_bone_that_is_soft_already_has_no_further_cells() -> None:
    study = small_study("lag screws", body_mass_kg=75.0)
    soft = study.model_copy(update={"section": study.section.model_copy(update={"bone": "soft"})})
    plan = planned(1, Varier(soft).case({}), {})
    found = Evaluator(Options(limits=True)).evaluate(Task(1, plan.hash, plan.data, plan.scales))
    assert found.failures == []
    assert found.bearing
    assert not any("verdict_soft_bone" in row for row in found.bearing)


def named(name: str, **load: float):
    return small_study("nothing", **load).model_copy(update={"name": name})


def test_many_studies_in_one_store_that_grows(tmp_path: Path) -> None:
    one, two, three = named("one"), named("two", medial_share=0.7), named("three")
    path = tmp_path / "b.sqlite"
    done = batch([one, two], out=path, workers=0)
    assert (done.cases, done.done, done.failed) == (2, 2, False)
    again = batch([one, two], out=path, workers=0)
    assert (again.done, again.skipped) == (0, 2)
    # A third, of which "one" is a copy but for its name.
    more = batch([three, one, two], out=path, workers=0)
    assert (more.cases, more.skipped) == (3, 2)
    frame = sweep_frame(path)
    assert list(frame["study"]) == ["three", "one", "two"]
    assert set(frame["construct"]) == {"nothing"}
    assert len(rows_of(path, "timings")) == 3
    with pytest.raises(InputError, match="two studies of one name"):
        batch([one, one], out=path, workers=0)
    with pytest.raises(InputError, match="leaves out"):
        batch([one], out=path, workers=0)


def test_a_batch_from_the_command_line_refuses_before_it_solves(tmp_path: Path) -> None:
    store = tmp_path / "b.sqlite"
    done = inside("batch", "medial-shear", "medial-sheer", "--store", str(store))
    assert (done.returncode, done.stdout) == (2, "")
    assert "medial-shear" in done.stderr
    assert not store.exists()
    status = json.loads(inside("diff", "medial-shear", "medial-shear", "--json").stdout)
    assert status["results_compared"] is False
