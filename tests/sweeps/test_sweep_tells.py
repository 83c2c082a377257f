"""What a sweep says of cases that cannot be built, of broken rules and of screws that strip."""

from __future__ import annotations

import os
import signal
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from command import inside
from small_study import small_study
from sweep_tables import rows_of, started, wait_for_cases

from buttress.comparison.compare import compare
from buttress.fe.errors import InputError
from buttress.rules.check import check
from buttress.sweeps import checking
from buttress.sweeps.checking import unbuildable
from buttress.sweeps.design import make_design
from buttress.sweeps.estimate import estimate
from buttress.sweeps.evaluate import Options
from buttress.sweeps.status import sweep_status
from buttress.sweeps.store import reading
from buttress.sweeps.sweep import make_plan, sweep
from buttress.sweeps.vary import varied

SLOPE = "fracture.shear plane.slope_deg"
FRICTION = "fracture.shear plane.friction"
LENGTH = "construct.lag screws.screw.lower lag.length_mm"
PULL = "construct.lag screws.screw.*.tension_N"


def told(path: Path, columns: str) -> list[tuple]:
    with reading(path) as db:
        return db.execute(f"SELECT {columns} FROM everything ORDER BY case_id, construct").fetchall()


def test_a_dry_run_names_what_the_run_refuses(tmp_path: Path) -> None:
    vary = [f"{SLOPE}=0,30,70"]  # the fragment's point comes to lie in the shaft
    cost = estimate(small_study(), vary)
    assert (cost.cases, cost.refused) == (1, 2)
    assert "case 1: the fragment's point lies in the shaft" in cost.reason
    assert any(cost.reason in line for line in cost.sentences())
    done = sweep(small_study(), vary, out=tmp_path / "s.sqlite", workers=0)
    assert (done.cases, done.done, done.refused, done.left) == (3, 1, 2, 0)
    (reason,) = done.reasons
    assert reason.replace(" and 1 more", "") == cost.reason
    again = sweep(small_study(), vary, out=tmp_path / "s.sqlite", workers=0)
    assert (again.done, again.refused, again.reasons) == (0, 2, done.reasons)


def test_a_construct_that_cannot_be_built_leaves_the_others() -> None:
    vary = ["construct.lag screws.screw.lower lag.height_mm=-19,-130"]  # below the clamp
    cost = estimate(small_study(), vary)
    assert (cost.cases, cost.refused, cost.incomplete) == (2, 0, 1)
    assert "construct.lag screws" in cost.reason
    assert "case 2" in cost.reason


def test_geometry_is_looked_at_once_and_not_without_end(monkeypatch: pytest.MonkeyPatch) -> None:
    looked = []
    bone, construct = checking.check_bone, checking.check_construct
    monkeypatch.setattr(checking, "check_bone", lambda *a: looked.append("bone") or bone(*a))
    monkeypatch.setattr(checking, "check_construct",
                        lambda *a: looked.append("construct") or construct(*a))
    plan = make_plan(small_study(), make_design(
        small_study(), [f"{SLOPE}=30,32,34", f"{FRICTION}=0.3:0.5:5"]), Options())
    assert not unbuildable(plan.cases).unchecked
    assert Counter(looked) == {"bone": 3, "construct": 6}
    monkeypatch.setattr(checking, "MOST_CHECKED", 2)
    assert unbuildable(plan.cases).unchecked == 5


def test_broken_rules_are_those_of_check(tmp_path: Path) -> None:
    study, lengths = small_study("lag screws", "antiglide"), (62, 40)
    path = tmp_path / "s.sqlite"
    done = sweep(study, [f"{LENGTH}=62,40", f"{FRICTION}=0.3,0.4"], out=path, workers=0)
    for length in lengths:
        expected = {c.name: "; ".join(
            f"{f.part}: {f.rule}" for f in check(varied(study, {LENGTH: length}).study)
            if f.level == "broken" and f.construct == c.name) or None for c in study.constructs}
        rows = [r[1:] for r in told(path, f'"{LENGTH}", construct, rules_broken, '
                                          "rules_broken_count") if r[0] == length]
        assert len(rows) == 4
        for name, broken, count in rows:
            assert broken == expected[name]
            assert count == (broken.count(";") + 1 if broken else 0)
    assert expected["lag screws"] == "lower lag: lag thread beyond"
    assert done.broken == 2


def test_a_screw_that_strips_is_told_from_a_load_too_high(tmp_path: Path) -> None:
    study = varied(small_study("nothing", "lag screws"), {"section.bone": "soft"}).study
    path = tmp_path / "s.sqlite"
    sweep(study, [f"{PULL}=150,900"], out=path, workers=0)
    found = {(pull, name): (status, tightened) for pull, name, status, tightened in told(
        path, f'"{PULL}", construct, status, tightening')}
    assert found[150, "lag screws"][1] == "held"
    status, tightened = found[900, "lag screws"]
    assert status == "no equilibrium"
    assert tightened.startswith("strips: ")
    screw = tightened.removeprefix("strips: ")
    assert screw == "upper lag"
    broken = {pull: text for pull, text in told(path, f'"{PULL}", rules_broken') if text}
    assert f"{screw}: lag tension" in broken[900]
    assert 150 not in broken
    assert found[900, "nothing"] == ("no equilibrium", None)


def test_a_store_s_state_takes_nothing_to_solve(tmp_path: Path) -> None:
    done = inside("sweep", "a.toml", "--status", str(tmp_path / "s.sqlite"), "--vary", "a=1",
                  "--out", "b")
    assert done.returncode == 2
    assert "takes no STUDY, --vary, --out; key: --status" in done.stderr
    for words in (("--seed", "0"), ("--workers", "0")):    # a zero was taken for nothing given
        done = inside("sweep", "--status", str(tmp_path / "s.sqlite"), *words)
        assert done.returncode == 2
        assert f"takes no {words[0]}; key: --status" in done.stderr


@pytest.mark.parametrize(("vary", "words"), [
    ((f"{FRICTION}=0.2,0.3", "fracture.*.friction=0.5,0.6"),
     (FRICTION, "fracture.*.friction", "two keys set fracture.shear plane.friction")),
    (("load.total_N=300,400", "load.total_N.1=500,600"), ("two keys set load.total_N.1",)),
    ((f"{SLOPE}=30,40", "fracture.shear plane.turn_deg=-2,2"), ("two keys set",)),
])
def test_two_keys_of_one_place_are_refused(vary: tuple[str, ...], words: tuple[str, ...]) -> None:
    with pytest.raises(InputError) as caught:
        make_design(small_study(), vary)
    assert all(w in str(caught.value) for w in words)


def test_keys_of_different_places_are_not_refused() -> None:
    design = make_design(small_study("lag screws"), [
        "construct.lag screws.screw.upper lag.length_mm=68,70", f"{LENGTH}=60,62",
        f"{SLOPE}=30,31", "fracture.shear plane.points_mm.1.1=-3,-4"])
    assert len(design.rows) == 16


def test_a_span_without_steps_says_what_is_missing() -> None:
    with pytest.raises(InputError, match="a:b:n, with the number of values n"):
        make_design(small_study(), [f"{FRICTION}=0.3:0.6"])
    assert make_design(small_study(), [f"{FRICTION}=0.3:0.6"], samples=4, seed=1).method == "lhs"


def test_a_name_alone_is_told_its_whole_key() -> None:
    with pytest.raises(InputError, match=r'did you mean "construct.lag screws.screw.lower lag.pres'):
        make_design(small_study(), ["lower lag.present=true,false"])


def test_sobol_samples_grow(tmp_path: Path) -> None:
    study = small_study()
    few, more = (make_design(study, [f"{FRICTION}=0.3:0.6"], method="sobol", samples=n, seed=1)
                 for n in (4, 8))
    assert more.rows[:4] == few.rows


@pytest.mark.skipif(os.name == "nt", reason="this system has no SIGTERM to hear")
def test_sigterm_stops_as_the_first_ctrl_c_does(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    process = started(path, 1, "nothing", f"{FRICTION}=0.3:0.5:60", "section.modulus_scale=0.8,1")
    wait_for_cases(path, 1, process)
    process.send_signal(signal.SIGTERM)
    out, err = process.communicate(timeout=120)
    assert (process.returncode, out.strip()) == (0, "interrupted")
    assert "the same command resumes from here" in err
    assert "a worker died" not in err
    assert 1 <= sweep_status(path).done < 120
    assert not rows_of(path, "failures")


@pytest.mark.parametrize("workers", [-1, 1000, True, 1.5])
def test_what_is_no_number_of_workers_is_refused(tmp_path: Path, workers: Any) -> None:
    """With -1 a sweep solved nothing and said that it had been interrupted."""
    store = tmp_path / "s.sqlite"
    study = small_study("nothing")
    for run in (lambda: sweep(study, ["load.medial_share=0.6:0.7:2"], out=store, workers=workers),
                lambda: compare(study, workers=workers)):
        with pytest.raises(InputError, match="not a number of workers") as refused:
            run()
        assert (refused.value.key, refused.value.value) == ("workers", str(workers))
        assert refused.value.expected == "0 to 256, or None for one per core"
    assert not store.exists()
