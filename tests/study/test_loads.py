"""Loads from body mass, activity and mass on the ground; shift and direction of the resultant."""

from __future__ import annotations

from dataclasses import asdict, replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_up import construct, load_result
from scipy.constants import g as scipy_gravity
from simple_shear import simple_text
from small_study import small_study

from buttress.bone.bone import build_bone
from buttress.fe.errors import InputError
from buttress.fe.solve.recover import resultant
from buttress.model.resolve import resolved
from buttress.report.assumptions import assumptions
from buttress.study.activities import (
    activities,
    activity_case,
    ground_cases,
    knee_ratio,
    newtons,
    weight,
)
from buttress.study.loads import LoadInput
from buttress.study.read import example_text, parse_study, study_from
from buttress.sweeps.evaluate import Evaluator, Options, Task
from buttress.sweeps.keys import case_hash, load_key, planned
from buttress.sweeps.vary import varied

MASS = "body_mass_kg = 75       # invented; for the weight-bearing table only\n"
TEXT = simple_text().replace(MASS, "")
LOADS = "total_N = [500, 1000, 1500]\nmedial_share = 0.65"


def with_load(text: str):
    assert LOADS in TEXT
    return parse_study(TEXT.replace(LOADS, text), "s.toml")


def test_gravity_is_the_standard_one() -> None:
    """CGPM 1901, as in CODATA (scipy.constants)."""
    assert weight(1.0) == scipy_gravity


# Kutzner et al. 2010: peak force over body weight.
@pytest.mark.parametrize(("activity", "share"), [
    ("stairs down", 3.46), ("stairs up", 3.16), ("walking", 2.61), ("one-leg stance", 2.59),
    ("two-leg stance", 1.07)])
def test_force_is_mass_times_gravity_times_ratio(activity: str, share: float) -> None:
    load = with_load(f'body_mass_kg = 75\nactivity = ["{activity}"]').load
    assert load.total_N == pytest.approx((75 * 9.80665 * share,), rel=1e-12)
    assert load.words(load.total_N[0]).endswith(f"({activity})")
    assert load.cases[0].status == "derived"
    assert "Kutzner" in load.cases[0].source


@given(st.floats(30, 80), st.sampled_from(["walking", "stairs up", "two-leg stance"]))
def test_twice_the_body_mass_is_twice_the_force(mass: float, activity: str) -> None:
    once, twice = (activity_case(activity, m).total_N for m in (mass, 2 * mass))
    assert twice == pytest.approx(2 * once, rel=1e-12)


def test_ground_force_becomes_a_range_at_the_knee() -> None:
    """The table of reference values: 315-420 N by two-leg stance, 380-510 N by one-leg stance."""
    assert knee_ratio("two-leg stance") == pytest.approx(1.07 / 0.5)
    assert knee_ratio("one-leg stance") == pytest.approx(2.59 / 1.0)
    low, high = ([x.total_N for x in pair] for pair in zip(ground_cases(15), ground_cases(20),
                                                           strict=True))
    assert low == pytest.approx([315, 420], abs=5)
    assert high == pytest.approx([380, 510], abs=5)
    load = with_load("ground_kg = [15, 20]").load
    assert load.total_N == pytest.approx(sorted([*low, *high]))
    assert load.name(load.total_N[1]) == "15 kg on ground, one-leg"


def test_one_load_of_two_names_is_solved_once() -> None:
    """Half the body weight on the ground as in two-leg stance is two-leg stance."""
    load = with_load('body_mass_kg = 75\nactivity = ["two-leg stance"]\nground_kg = [37.5]').load
    assert len(load.total_N) == 2
    assert load.cases[0].name == "37.5 kg on ground, two-leg / two-leg stance"


def test_resolved_shows_newtons_with_source_and_status_and_reads_back() -> None:
    study = with_load('body_mass_kg = 82.5\nactivity = ["walking"]\nground_kg = [15]')
    data = resolved(study)
    assert [c["name"] for c in data["load"]["case"]][-1] == "walking"
    assert data["load"]["case"] == [asdict(c) for c in study.load.cases]
    again = study_from(data)
    assert again.load.cases == study.load.cases
    assert resolved(again) == data
    assert any(a.what == "gravity: standard" for a in assumptions(study))


@pytest.mark.parametrize(("text", "key", "told"), [
    ("body_mass_kg = 165\nactivity = ['walking']", "load.body_mass_kg", "pounds, 75 kg"),
    ("body_mass_kg = 735\nactivity = ['walking']", "load.body_mass_kg", "newtons, 75 kg"),
    ("body_mass_kg = 75000\nactivity = ['walking']", "load.body_mass_kg", "grams, 75 kg"),
    ("body_mass_kg = -75\nactivity = ['walking']", "load.body_mass_kg", "sign"),
    ("body_mass_kg = 75", "load.body_mass_kg", 'activity = ["walking"]'),
    ("activity = ['walking']", "load.activity", "body_mass_kg = 75"),
    ("body_mass_kg = 75\nactivity = ['wlking']", "load.activity.1", 'did you mean "walking"'),
    ("body_mass_kg = 75\nactivity = 'walking'", "load.activity", "a list"),
    ("body_mass_kg = 75\nactivity = ['walking', 'walking']", "load.activity", "each activity once"),
    ("body_mass_kg = 75\nactivity = []", "load.activity", "at least 1"),
    ("ground_kg = [147]", "load.ground_kg.1", "newtons, 15 kg"),
    ("body_mass_kg = 75\nground_kg = [90]", "load.ground_kg", "body_mass_kg = 75"),
    ("ground_kg = [20, 15]", "load.ground_kg", "increasing"),
    ("total_N = [500]\nground_kg = [15]", "load.total_N", "given twice"),
    ("total_N = [500]\nbody_mass_kg = 75\nactivity = ['walking']", "load.total_N", "given twice"),
    ("total_N = [500]\n[[load.case]]\nname = 'a'\ntotal_N = 400", "load.case", "not both"),
    ("shift_mm = 40", "load.shift_mm", "-15.4 to 28.6 mm"),
    ("shift_mm = -0.5\nmedial_share = 1.0", "load.shift_mm", "0 to 44 mm"),
    ("[[load.case]]\nname = 'a'\ntotal_N = 400\n[[load.case]]\nname = 'A'\ntotal_N = 500",
     "load.case", "two loads have the same name"),
    ("[[load.case]]\nname = ''\ntotal_N = 400", "load.case.1.name", "1 to 120"),
])
def test_loads_that_are_wrong(text: str, key: str, told: str) -> None:
    with pytest.raises(InputError) as caught:
        with_load(text)
    assert caught.value.key == key
    assert told in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_sweep_of_the_body_mass_shares_the_bone_and_a_load_replaces_activities() -> None:
    study = with_load('body_mass_kg = 75\nactivity = ["walking"]')
    heavy = varied(study, {"load.body_mass_kg": 90.0})
    assert heavy.study.load.total_N[0] == pytest.approx(1.2 * study.load.total_N[0])
    assert load_key(heavy.study) == load_key(study)
    assert load_key(varied(study, {"load.shift_mm": 4.4}).study) == load_key(study)
    options = Options().described()
    first, second = (planned(i, varied(study, {"load.body_mass_kg": m}), options)
                     for i, m in enumerate((70.0, 80.0)))
    assert (first.law, first.bones, first.frames) == (second.law, second.bones, second.frames)
    assert first.hash != second.hash
    assert case_hash(heavy, options) != first.hash
    assert varied(study, {"load.total_N": 400.0}).study.load.total_N == (400.0,)
    assert varied(study, {"load.shift_mm": 4.4}).study.load.shifted_share == pytest.approx(0.55)


def test_a_shift_after_another_is_what_it_is_anew() -> None:
    """Bones, intact answers and limit loads that cases share do not carry over a shift."""
    study, evaluator = small_study("lag screws"), Evaluator(Options())

    def solved(by: Evaluator, shift: float):
        plan = planned(1, varied(study, {"load.shift_mm": shift}), {})
        return by.evaluate(Task(1, plan.hash, plan.data, plan.scales))

    solved(evaluator, 0.0)
    again, anew = solved(evaluator, -6.0), solved(Evaluator(Options()), -6.0)
    assert again.counts["factorisations"] == 0
    for name in ("subsidence_mean_mm", "subsidence_net_mm"):
        assert again.results[0][name] == pytest.approx(anew.results[0][name], rel=1e-10)
    assert again.capacities[0]["capacity_upper_N"] == pytest.approx(
        anew.capacities[0]["capacity_upper_N"], rel=1e-8)


@pytest.mark.parametrize(("direction", "shift"), [(0.0, 0.0), (12.0, 0.0), (0.0, 6.0), (-9.0, -7.5)])
def test_resultant_has_the_stated_size_direction_and_place(direction: float, shift: float) -> None:
    """Force and moment about the origin of F at (s x_m + (1 - s) x_l + e, 0), turned by a."""
    bone = build_bone(small_study("nothing", direction_deg=direction, shift_mm=shift))
    got = np.zeros(3)
    for factor, case in zip(bone.load_vector(1000.0), bone.loads, strict=True):
        for body, column in case:
            got += factor * resultant(body, column, np.zeros(2))
    x = 0.65 * -22 + 0.35 * 22 + shift
    angle = np.radians(direction)
    fx, fy = 1000.0 * np.sin(angle), -1000.0 * np.cos(angle)
    assert got == pytest.approx([fx, fy, x * fy], rel=1e-9, abs=1e-6)


@given(st.floats(0.3, 0.7), st.floats(-12, 12))
def test_shift_moves_the_resultant_by_itself(share: float, shift: float) -> None:
    load = LoadInput(medial_share=share, shift_mm=shift)
    s = load.shifted_share
    before, after = (k * load.medial_centre_mm + (1 - k) * load.lateral_centre_mm
                     for k in (share, s))
    assert after - before == pytest.approx(shift, abs=1e-9)


def test_every_activity_of_the_table_is_offered() -> None:
    assert set(activities()) == {"stairs down", "stairs up", "walking", "one-leg stance",
                                 "two-leg stance"}
    assert [newtons(x) for x in (500.0, 0.5, 1919.65, 1e4)] == ["500", "0.5", "1920", "10000"]


def test_the_load_block_of_the_readme_is_a_study() -> None:
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    block = readme.split("<!-- loads and limits -->\n```toml\n")[1].split("```")[0]
    start, end = TEXT.index("[load]"), TEXT.index("[limits]")
    rest = TEXT[end:].split("\n\n", 1)[1]
    load = parse_study(TEXT[:start] + block + "\n" + rest, "s.toml").load
    assert len(load.cases) == 7
    assert load.shifted_share == pytest.approx(0.65 + 4 / 44)


def test_answers_are_found_by_number_and_by_name() -> None:
    one = load_result(1500.0)
    made = replace(construct("c"), loads=(load_result(500.0), replace(one, load_name="walking")))
    assert made.load(500.0).total_load_N == 500.0
    assert made.load("walking").load_words == "1500 N (walking)"
    for asked in ("", "running", 700.0):
        with pytest.raises(InputError, match="walking"):
            made.load(asked)


@pytest.mark.parametrize("key", ["subsidence_mm", "sinking_mm"])
def test_a_limit_of_what_sinks_is_that_of_depression(key: str) -> None:
    text = example_text("medial-shear").replace("[limits]", f"[limits]\n{key} = 2")
    with pytest.raises(InputError, match='did you mean "depression_mm"'):
        parse_study(text)
