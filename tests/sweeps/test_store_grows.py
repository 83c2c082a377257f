"""A store takes another design that has all that was solved, and refuses one that would lose some."""

from __future__ import annotations

from pathlib import Path

import pytest
from outcomes import outcome
from small_study import small_study
from sweep_tables import assert_same

from buttress.fe.errors import InputError
from buttress.sweeps.design import Design
from buttress.sweeps.layout import LAYOUT
from buttress.sweeps.store import Store, read_meta, reading
from buttress.sweeps.sweep import sweep

KEY = "fracture.shear plane.friction"


def opened(path: Path, *values: float, bad: tuple[float, ...] = ()) -> Store:
    """A store of cases that differ in one value, by which they are known."""
    design = Design((KEY,), (",".join(map(str, values)),), "grid", None, None,
                    tuple((v,) for v in values))
    return Store(path, {"layout": LAYOUT, "study": {}, "design": design.described()}, design,
                 ["" if v in bad else f"h{v}" for v in values])


def solved(path: Path) -> dict[float, float]:
    """What stands for each value that has been solved."""
    with reading(path) as db:
        return dict(db.execute(f'SELECT "{KEY}", subsidence_mean_mm FROM everything '
                               "WHERE construct = 'construct 0'"))


def test_cases_keep_their_rows_under_new_numbers(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    with opened(path, 0.2, 0.3, 0.4) as store:
        store.write(outcome(1))
        store.write(outcome(3))
    before = solved(path)
    with opened(path, 0.1, 0.4, 0.5, 0.2, 0.3) as store:
        assert store.done() == {2, 4}
        store.write(outcome(1))
    after = solved(path)
    assert {v: after[v] for v in before} == before
    assert set(after) == {0.1, 0.2, 0.4}
    with reading(path) as db:
        meta = read_meta(db)
        assert db.execute("SELECT count(*) FROM fragments WHERE case_id = 4").fetchone() == (2,)
    assert meta["design"]["vary"] == {KEY: "0.1,0.4,0.5,0.2,0.3"}
    assert [d["vary"] for d in meta["earlier designs"]] == [{KEY: "0.2,0.3,0.4"}]


def test_a_design_that_leaves_out_what_was_solved_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    with opened(path, 0.2, 0.3) as store:
        store.write(outcome(2))
    before = path.read_bytes()
    with pytest.raises(InputError, match="another design") as caught:
        opened(path, 0.2, 0.4)
    assert "0.2,0.3" in str(caught.value)
    assert "1 solved case" in str(caught.value)
    assert path.read_bytes() == before
    with opened(path, 0.3, 0.4) as store:   # what was not solved may go
        assert store.done() == {1}


def test_what_is_not_valid_and_what_is_there_twice(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    with opened(path, 0.2, 0.2, -1.0, bad=(-1.0,)) as store:
        for number in (1, 2, 3):
            store.write(outcome(number))
    with opened(path, 0.3, -1.0, 0.2, bad=(-1.0,)) as store:
        assert store.done() == {3}   # a case that is not valid has no hash to be known by


def test_a_longer_sweep_solves_what_is_new(tmp_path: Path) -> None:
    study = small_study("lag screws")
    more = [f"{KEY}=0.3:0.5:5"]
    sweep(study, more, out=tmp_path / "one.sqlite", workers=0)
    sweep(study, [f"{KEY}=0.3:0.5:3"], out=tmp_path / "grown.sqlite", workers=0)
    grown = sweep(study, more, out=tmp_path / "grown.sqlite", workers=0)
    assert (grown.skipped, grown.done) == (3, 2)
    assert_same(tmp_path / "grown.sqlite", tmp_path / "one.sqlite")
