"""Coupled keys in a sweep: evaluated in every case, after the varied keys are set."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from matplotlib.text import Text
from small_study import small_study

from buttress.bone.section import Section
from buttress.draw.sweep import over_key
from buttress.fe.errors import InputError
from buttress.rules.plate import apexes
from buttress.study.read import example
from buttress.sweeps.design import make_design
from buttress.sweeps.evaluate import Evaluator, Options, Task
from buttress.sweeps.explore import Explorer
from buttress.sweeps.keys import planned
from buttress.sweeps.store import read_meta, reading
from buttress.sweeps.sweep import export_csv, sweep
from buttress.sweeps.vary import Varier, varied

SLOPE = "fracture.shear plane.slope_deg"
TOP = "construct.antiglide.plate.antiglide plate.top_mm"
ABOVE = "{fracture.shear plane.apex.y} + 23.5"
STUDY = small_study("antiglide")


def top(study) -> float:
    return study.constructs[0].plates[0].top_mm


def apex(study) -> float:
    [(_, _, y)] = apexes(study, Section(study.section), "medial")
    return y


def test_a_plate_follows_the_apex_of_a_turned_fracture() -> None:
    tops = []
    for slope in (15.0, 20.0, 30.0):
        study = varied(STUDY, {TOP: ABOVE, SLOPE: slope}).study
        assert top(study) == pytest.approx(apex(study) + 23.5, abs=1e-9)
        tops.append(top(study))
    assert tops == sorted(tops)
    assert tops[-1] - tops[0] > 10.0


def test_a_coupled_key_of_the_file_is_evaluated_for_every_case() -> None:
    coupled = varied(STUDY, {TOP: ABOVE}).study
    study = varied(coupled, {SLOPE: 30.0}).study
    assert top(study) == pytest.approx(apex(study) + 23.5, abs=1e-9) != top(coupled)
    # A number in its place ends that; a part that is taken out takes it along.
    assert top(varied(coupled, {SLOPE: 30.0, TOP: -25.0}).study) == -25.0
    assert not varied(coupled, {TOP.removesuffix("top_mm") + "present": False}).study.coupled


@settings(max_examples=6, deadline=None)
@given(slope=st.integers(16, 30), friction=st.sampled_from([0.3, 0.5]),
       above=st.integers(18, 27))
def test_a_case_is_the_study_with_the_number_put_in_by_hand(slope: int, friction: float,
                                                            above: int) -> None:
    """The same figures, to the last digit, and the same hash."""
    values = {SLOPE: float(slope), "fracture.shear plane.friction": friction}
    turned = varied(STUDY, values).study
    by_hand = Varier(STUDY).case(values | {TOP: apex(turned) + above})
    coupled = Varier(STUDY).case(values | {TOP: f"{{fracture.shear plane.apex.y}} + {above}"})
    rows = []
    for case in (coupled, by_hand):
        plan = planned(1, case, {})
        done = Evaluator(Options()).evaluate(Task(1, plan.hash, plan.data, plan.scales))
        assert not done.failures
        rows.append((plan.hash, done.results, done.capacities, done.fragments, done.edges))
    assert rows[0] == rows[1]


def test_the_store_names_the_expression_and_holds_what_separate_studies_give(tmp_path: Path
                                                                            ) -> None:
    done = sweep(STUDY, [f"{SLOPE}=18,26", f"{TOP}={ABOVE}"], out=tmp_path / "s.sqlite", workers=0)
    assert (done.cases, done.done, done.failed) == (2, 2, False)
    frame = done.to_frame()
    tops = [apex(varied(STUDY, {SLOPE: slope}).study) + 23.5 for slope in frame[SLOPE]]
    assert frame[TOP].dtype.kind == "f"
    assert list(frame[TOP]) == pytest.approx(tops, abs=1e-9)      # millimetres, case by case
    assert frame.attrs["coupled"] == {TOP: ABOVE}
    with reading(tmp_path / "s.sqlite") as db:
        assert read_meta(db)["design"]["vary"][TOP] == ABOVE
        [[statement]] = db.execute("SELECT sql FROM sqlite_master WHERE name = 'design'")
    assert f"-- mm; follows: {ABOVE}" in statement
    target, _ = export_csv(tmp_path / "s.sqlite")
    assert list(pd.read_csv(target)[TOP]) == pytest.approx(tops, abs=1e-9)
    explorer = Explorer(STUDY)
    for slope, sunk in zip(frame[SLOPE], frame["subsidence_mean_mm"], strict=True):
        place = apex(varied(STUDY, {SLOPE: slope}).study) + 23.5
        alone = explorer.answer("antiglide", 700.0, {SLOPE: slope, TOP: place}).result
        assert alone.fragments["medial"].subsidence_mean_mm == pytest.approx(sunk, rel=1e-6)
    stays = sweep(STUDY, [f"{SLOPE}=18,26"], out=tmp_path / "t.sqlite", workers=0).to_frame()
    assert (stays["subsidence_mean_mm"] - frame["subsidence_mean_mm"]).abs().max() > 1e-3


def test_a_figure_says_what_moves_along_and_names_its_axis_with_a_unit(tmp_path: Path) -> None:
    said = "moves along: antiglide, antiglide plate: y of its proximal end"
    given = sweep(STUDY, [f"{SLOPE}=18,26", f"{TOP}={ABOVE}"], out=tmp_path / "s.sqlite", workers=0)
    filed = varied(STUDY, {TOP: ABOVE}).study
    of_file = sweep(filed, [f"{SLOPE}=18,26"], out=tmp_path / "t.sqlite", workers=0)
    for done in (given, of_file):
        ax = over_key(done.to_frame(), SLOPE)
        told = " ".join(" ".join(t.get_text().split()) for t in ax.figure.findobj(Text))
        assert said in told
        assert ABOVE in told
        assert "also varied" not in told
        assert " ".join(ax.get_xlabel().split()) == "shear plane: angle to the long axis [deg]"
        assert len(ax.get_lines()[0].get_xdata()) == 2
        assert ax.get_lines()[0].get_linestyle() == "-"
    # Friction does not move the plate.
    rubs = sweep(filed, ["fracture.shear plane.friction=0.3,0.5"], out=tmp_path / "u.sqlite",
                 workers=0)
    ax = over_key(rubs.to_frame(), "fracture.shear plane.friction")
    assert "moves along" not in " ".join(t.get_text() for t in ax.figure.findobj(Text))
    assert " ".join(ax.get_xlabel().split()) == \
        "shear plane: coefficient of friction between its faces [-]"


def test_lines_are_settled_before_they_are_turned() -> None:
    """A coupled width moves the surface first; a line coupled to a line cannot be turned."""
    study = varied(example("medial-shear"), {
        "section.shaft_width_mm": "{section.width_mm} * 0.4"}).study
    assert study.section.shaft_width_mm == pytest.approx(0.4 * study.section.width_mm)
    wide = varied(study, {"section.width_mm": 80.0, SLOPE: 12.0}).study
    assert wide.section.shaft_width_mm == pytest.approx(32.0)
    assert wide.fractures == varied(example("medial-shear"), {
        "section.width_mm": 80.0, "section.shaft_width_mm": 32.0, SLOPE: 12.0}).study.fractures
    lower = "fracture.shear plane.points_mm.2.1"
    bent = varied(study, {lower: "{fracture.shear plane.points_mm.1.1} - 21"}).study
    with pytest.raises(InputError, match="turned while a line is coupled"):
        varied(bent, {SLOPE: 12.0})


@pytest.mark.parametrize(("vary", "told"), [
    ([f"{TOP}={{{TOP}}} + 1"], "refers to itself"),
    ([f"{TOP}={{fracture.plane.apex.y}}"], "refers to nothing"),
    ([f"{TOP}=1/{{load.shift_mm}}"], "divides by zero"),
    ([f"{TOP}=1/({{load.shift_mm}} - 2)", "load.shift_mm=2,3"], "divides by zero"),
    ([f"{TOP}={ABOVE}:3"], "not an expression"),
    ([f"{TOP}={ABOVE} * 1e308 * 1e308"], "without a finite value"),
    ([f"{SLOPE}={{load.direction_deg}} + 20"], "degrees"),
    (["scale.bearing_stiffness={load.direction_deg} + 1"], "a factor"),
    ([f"{TOP}={ABOVE}", f"{TOP}=-25"], "given twice")])
def test_wrong_expressions_are_refused_before_anything_is_solved(vary: list[str], told: str
                                                                ) -> None:
    with pytest.raises(InputError) as caught:
        make_design(STUDY, vary)
    assert told in str(caught.value)


def test_a_case_without_a_value_is_refused_alone(tmp_path: Path) -> None:
    vary = ["load.shift_mm=1,2", f"{TOP}=-25 + 0/({{load.shift_mm}} - 2)"]
    done = sweep(STUDY, vary, out=tmp_path / "s.sqlite", workers=0)
    assert (done.done, done.refused) == (1, 1)
    assert "divides by zero" in done.reasons[0]
