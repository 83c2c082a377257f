"""A comparison presses a construct after all of its stages, and counts from before they load it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from staged_study import LAG, UNLOAD, load, place, staged, staged_study, tighten

from buttress import compare
from buttress.fe.threads import one_thread
from buttress.model.install import build_model
from buttress.model.model import Bones
from buttress.results.bearing import weight_bearing
from buttress.results.judged import judged
from buttress.results.order import rank_words, reserve
from buttress.results.records import GAVE_WAY, GIVES_WAY, ConstructResult
from buttress.results.verdict import verdict
from buttress.sweeps.vary import Varier
from buttress.sweeps.workshop import Workshop

TIGHT = [place(LAG), tighten(LAG, 400.0)]
FADES: dict[str, Any] = {"do": "relax", "what": [LAG], "lost_share": 0.5, "friction_factor": 0.6}


def pressed(*stages: dict[str, Any]) -> ConstructResult:
    return compare(staged_study(*stages), pictures=False).constructs[0]


def sunk(found: ConstructResult, load_N: float) -> float:
    value = found.load(load_N).fragments["medial"].subsidence_mean_mm
    assert value is not None
    return value


@pytest.fixture(scope="module")
def fresh() -> ConstructResult:
    return pressed(*TIGHT)


def test_unloading_and_loading_again_changes_nothing_further_on(fresh: ConstructResult) -> None:
    """Friction and crushing remember the largest load: beyond it the path is the first one, but for
    the little that slips back in between."""
    again = pressed(*TIGHT, load(600.0), UNLOAD)
    assert again.begins.startswith("pressed after all of its stages, without load")
    assert again.reserve.load_N == pytest.approx(fresh.reserve.load_N, rel=0.01)
    assert again.peak_N == pytest.approx(fresh.peak_N, rel=0.01)
    assert sunk(again, 1000.0) == pytest.approx(sunk(fresh, 1000.0), rel=5e-3)
    assert fresh.begins == ""


def test_what_is_left_loaded_is_unloaded_and_comes_back_to_that_state() -> None:
    """The state of the last stage is that in which the path carries its load once more."""
    stages = [*TIGHT, load(1000.0), FADES]
    found = staged(*stages)
    tight, last = (found.stages[i].fragments["medial"].subsidence_mean_mm for i in (1, -1))
    assert last is not None
    assert tight is not None
    assert sunk(pressed(*stages), 1000.0) == pytest.approx(last - tight, rel=0.05)


def test_fading_under_load_is_worse_than_fading_before_it(fresh: ConstructResult) -> None:
    """What slips while the tension goes counts; the order used to leave it out."""
    before, under = pressed(*TIGHT, FADES), pressed(*TIGHT, load(1000.0), FADES)
    loads = [c.reserve.load_N for c in (fresh, before, under)]
    assert None not in loads
    assert loads[0] > 1.02 * loads[1] > 1.02 * loads[2]
    assert "after its stages" in verdict(under, (under,))
    assert under.remarks[0] == under.begins


def test_a_load_that_is_not_held_leaves_the_state_before_it(fresh: ConstructResult) -> None:
    found = pressed(*TIGHT, load(19000.0))
    assert "pressed as it is before its stage 3, the first that loads it, since its stage 3" \
        in found.begins
    assert found.reserve.load_N == pytest.approx(fresh.reserve.load_N, rel=1e-9)


def test_a_later_load_that_is_not_held_leaves_the_state_before_it() -> None:
    """It was pressed from before the first stage that loads it, as if nothing had faded."""
    faded = pressed(*TIGHT, load(600.0), FADES)
    found = pressed(*TIGHT, load(600.0), FADES, load(19000.0))
    assert found.begins.startswith(
        "pressed after its stage 4, without load, since its stage 5 is not held (no equilibrium); ")
    assert found.reserve.load_N == pytest.approx(faded.reserve.load_N, rel=1e-9)


def test_what_a_stage_lets_go_under_load_is_not_loaded_and_comes_last(fresh: ConstructResult
                                                                      ) -> None:
    """All tension and friction go under 1000 N, which nothing else holds. It was pressed as if they
    had not gone, tied with the best, and was "within all limits"."""
    gone = {"do": "relax", "what": [LAG], "lost_share": 1.0, "friction_factor": 0.0}
    study = staged_study(*TIGHT, load(1000.0), gone)
    [found] = compare(study, pictures=False).constructs
    assert found.status == GAVE_WAY
    assert verdict(found, (found,)) == f"{GIVES_WAY.capitalize()}: 'medial' moves freely."
    assert {load.verdict for load in found.loads} == {GIVES_WAY}
    assert judged(found, 100.0).own_words == GIVES_WAY
    assert reserve(found).load_N == 0.0
    assert rank_words(found, (replace(found, name="gone"), fresh)).endswith(f"it {GIVES_WAY}")
    # What screws without tension and a face without friction hold is less than lay on it.
    most = found.capacity_N[1]
    assert most is not None
    assert most < 1000.0


def test_movements_count_from_the_end_where_parts_are_taken_out() -> None:
    out = pressed(*TIGHT, load(600.0), UNLOAD, {"do": "release", "what": [LAG]})
    assert "movements count from there, since its stages take parts out" in out.begins
    assert any("not in place" in w and LAG in w for w in out.warnings)
    assert out.path is None or out.path.points[0].moved_mm == pytest.approx(0.0, abs=2e-3)


def test_a_stage_that_loads_is_pressed_in_the_steps_of_the_study() -> None:
    """In a comparison, and in a sweep that keeps what stages have left."""
    study = staged_study(*TIGHT, load(2000.0), FADES, whole=True)
    case = Varier(study).case({"press.step_growth": 1.07})
    workshop = Workshop()
    found = [workshop.model(x, x.study.constructs[0])[1] for x in (Varier(study).case({}), case)]
    bones = Bones(case.study)
    with one_thread():
        own = build_model(bones.of(case.study.constructs[0]), case.study.constructs[0])
    usual, short = (abs(x.memory.offset - own.memory.offset).max() for x in found)
    # Friction has two states at one of these points, and rounding says which is met first.
    assert short < 0.2 * usual
    assert usual > 1e-3


def test_what_stages_have_moved_beyond_a_limit_stands_beside_the_verdicts() -> None:
    """Unloaded, the piece goes back, and what loads it afterwards may be within all limits."""
    study = staged_study(*TIGHT, load(1000.0), UNLOAD)
    most, number = max((e.step_off_mm or 0.0, s.number) for s in staged(
        *TIGHT, load(1000.0), UNLOAD).stages for e in s.edges.values())
    limit = 0.5 * most
    study = study.model_copy(update={
        "limits": study.limits.model_copy(update={"step_off_mm": limit}),
        "load": study.load.model_copy(update={"body_mass_kg": 75.0})})
    made = compare(study, pictures=False)
    [said] = [x for x in made.constructs[0].remarks if "in its stages" in x]
    assert said == (f"in its stages the step-off came to {most:.2f} mm (stage {number}), over the "
                    f"limit of {limit:g} mm")
    table = weight_bearing(made)
    assert table is not None
    assert f"{said}; verdicts are those of loading it again after them." in table.judged
