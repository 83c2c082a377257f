"""Stages of a construct: what tightening, locking, taking out, loads and cycles do; where they stop."""

from __future__ import annotations

import json
from typing import Any

import matplotlib.pyplot as plt
import numpy as np
import pytest
from matplotlib.text import Text
from staged_study import (
    BUILT,
    FIRST,
    LAG,
    PLATE,
    SECOND,
    UNLOAD,
    load,
    place,
    staged,
    staged_data,
    staged_study,
    tighten,
)
from under_loads import under_loads

from buttress.comparison.compare import compare
from buttress.comparison.stages import run_stages
from buttress.draw.charts import bracket_words, capacity
from buttress.draw.curves import curves
from buttress.report.notebook import construct_html
from buttress.report.stages import lines
from buttress.report.terminal import print_table
from buttress.results.records import NOT_TIGHTENED
from buttress.study.read import study_from


def test_placing_tightening_all_and_loading_is_what_happens_without_stages() -> None:
    screws = {LAG: {"tension_N": 400.0}, FIRST: {"tension_N": 300.0}, SECOND: {"tension_N": 300.0}}
    tight: dict[str, Any] = {"do": "tighten", "what": [LAG, FIRST, SECOND]}
    data = staged_data(tight, screws=screws, whole=True)
    bare = {k: v for k, v in data["construct"][0].items() if k != "stage"}
    # In steps, as the path of a comparison: slip under the edges of heads remembers its way.
    loaded = bare | {"name": "loaded", "stage": [tight, load(1000.0) | {"steps": 20}]}
    data["construct"] += [bare | {"name": "bare"}, loaded]
    found = under_loads(study_from(data), limits=False, pictures=False)
    assert [c.name for c in found.stages] == [found.constructs[0].name, "loaded"]
    with_, without = (c.load(1000.0) for c in found.constructs[:2])
    for key in ("subsidence_mean_mm", "subsidence_max_mm", "tilt_deg", "applied_N"):
        assert getattr(with_.fragments["medial"], key) == pytest.approx(
            getattr(without.fragments["medial"], key), rel=1e-9)
    assert found.constructs[0].capacity_N == pytest.approx(found.constructs[1].capacity_N)
    assert found.stages[1].stages[1].fragments["medial"].change_mm == pytest.approx(
        without.fragments["medial"].subsidence_mean_mm, rel=2e-5)


def test_slip_of_a_stage_is_that_from_its_beginning_to_its_end_in_however_many_steps() -> None:
    """It was that of the largest step: a quarter in four steps."""
    slips = [staged(tighten(FIRST, 200.0), load(800.0) | {"steps": count}, whole=True
                    ).stages[-1].slip_mm for count in (1, 4)]
    assert slips[0] is not None
    assert slips[0] > 1e-3
    assert slips[1] == pytest.approx(slips[0], rel=0.1)


def test_a_stripping_screw_stops_there_and_later_stages_are_not_run() -> None:
    found = staged(place(LAG), tighten(LAG, 80.0), place(PLATE, FIRST), tighten(FIRST, 6000.0),
                   place(SECOND), load(500.0), pictures=True, bone="soft")
    assert found.status == "no equilibrium at stage 4 (tighten shaft 1 to 6000 N)"
    assert [s.status for s in found.stages] == ["held"] * 3 + ["no equilibrium", "not run",
                                                              "not run"]
    failed = found.stages[3]
    assert failed.escapes == FIRST
    assert failed.residual is None
    assert failed.fragments == {}
    assert found.pictures[4] is None
    assert "not run" in "\n".join(lines([found]))
    json.dumps(document_of(found), allow_nan=False)


def test_a_row_is_tightened_to_the_force_of_each_of_its_screws() -> None:
    """With the screws' own tension it read "to 300 N", with a force of the stage "to 200 N"."""
    found = staged({"do": "tighten", "what": [LAG]}, tighten(LAG, 200.0),
                   screws={LAG: {"count": 2, "tension_N": 150}}, whole=True)
    assert [s.words for s in found.stages] == ["tighten lag to 150 N each",
                                               "tighten lag to 200 N each"]
    assert [s.screws[LAG].force_N for s in found.stages] == pytest.approx([300.0, 400.0])


def document_of(found):
    from buttress.files import plain

    return plain(found)


def test_a_failed_installation_is_the_constructs_status(capsys: pytest.CaptureFixture) -> None:
    study = staged_study(place(PLATE, FIRST), tighten(FIRST, 6000.0), bone="soft")
    found = compare(study, pictures=False)
    [one] = found.constructs
    assert one.status == NOT_TIGHTENED
    print_table(found)
    said = " ".join(capsys.readouterr().out.split())
    assert f"'{one.marked_name}' cannot be tightened: {FIRST}: tightened to 6000 N" in said
    assert "unsupported" not in said
    page = construct_html(one)
    assert "cannot be tightened" in page
    assert "unsupported" not in page
    assert one.capacity_N[1] == 0.0
    assert bracket_words(one) == "0 N: cannot be tightened"
    assert one.first_limit == f"no equilibrium: cannot be tightened ({FIRST})"
    assert {r.missing for r in one.limits.values() if r.load_N is None} == {"cannot be tightened"}
    figures = [capacity(found), curves(found, "medial")]
    for ax in figures:
        ax.figure.draw_without_rendering()
        shown = " ".join(t.get_text() for t in ax.figure.findobj(Text)).replace("\n", " ")
        assert "cannot be tightened" in shown
        assert "unsupported" not in shown
        assert "no equilibrium" not in shown
        plt.close(ax.figure)


def test_a_load_that_is_too_much_stops_too_and_names_the_fragment() -> None:
    found = staged(place(LAG), tighten(LAG, 400.0), load(20000.0), UNLOAD)
    assert found.status.startswith("no equilibrium at stage 3")
    assert found.stages[3].status == "not run"


def test_a_cycle_ends_at_its_limit_and_says_so() -> None:
    cycle = {"do": "cycle", "total_N": 1500.0, "times": 3, "settle_mm": 1e-6}
    found = staged(*BUILT, cycle).stages[-1].cycle
    assert found.count == 3
    assert found.verdict == "not settled"
    assert "at its limit of 3 cycles" in found.words


def test_a_cycle_that_shifts_its_load_is_not_the_one_that_does_not() -> None:
    still = {"do": "cycle", "total_N": 1000.0, "low_N": 200.0, "medial_share": 0.65}
    moving = still | {"low_medial_share": 0.2}
    ends = [staged(*BUILT, c).stages[-1] for c in (still, moving)]
    shift = [abs(s.fragments["medial"].applied_N[1]) for s in ends]
    assert shift == pytest.approx([130.0, 40.0], rel=1e-6)


def test_a_head_is_locked_without_a_jerk_and_then_carries_moment() -> None:
    screws = {FIRST: {"locked": True}, SECOND: {"locked": True}}
    locked = {"do": "lock", "what": [FIRST, SECOND]}
    found = staged(*BUILT, locked, load(1500.0), screws=screws)
    loose = staged(*BUILT, load(1500.0), screws={})
    assert found.stages[-2].method == "unchanged"
    assert found.stages[-2].screws == found.stages[-3].screws
    assert found.status == loose.status == "held"
    # Locked heads cannot turn or slide in the plate: the construct is stiffer.
    assert (found.stages[-1].fragments["medial"].change_mm
            < loose.stages[-1].fragments["medial"].change_mm - 1e-6)


def test_what_is_taken_out_lets_go() -> None:
    out = {"do": "release", "what": [LAG]}
    found = staged(*BUILT, out)
    last = found.stages[-1]
    assert LAG not in last.screws
    assert LAG not in last.fragments["medial"].forces_N
    assert LAG in found.stages[-2].fragments["medial"].forces_N
    back = staged(*BUILT, out, place(LAG), tighten(LAG, 400.0))
    assert back.stages[-2].method == "unchanged"
    assert back.stages[-2].screws[LAG].force_N == pytest.approx(0.0, abs=1e-6)
    assert back.stages[-1].screws[LAG].force_N == pytest.approx(400.0, rel=1e-9)


def test_a_part_joins_a_loaded_bone_without_force() -> None:
    found = staged(place(LAG), tighten(LAG, 400.0), load(800.0), place(PLATE, FIRST, SECOND), UNLOAD)
    placed, unloaded = found.stages[3:]
    assert placed.method == "unchanged"
    assert placed.screws[FIRST].force_N == pytest.approx(0.0, abs=1e-6)
    assert unloaded.held


def test_steps_of_a_load_end_at_the_same_load() -> None:
    once, often = (staged(*BUILT, load(1000.0) | {"steps": n}).stages[-1] for n in (1, 4))
    assert often.total_load_N == once.total_load_N
    assert often.fragments["medial"].applied_N == pytest.approx(once.fragments["medial"].applied_N)
    assert often.fragments["medial"].subsidence_mean_mm == pytest.approx(
        once.fragments["medial"].subsidence_mean_mm, abs=5e-3)


def test_stages_factorise_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    from buttress.comparison.stages import staged_result
    from buttress.fe.bodies import body
    from buttress.model.install import build_model
    from buttress.model.model import Bones, intact_measures
    from buttress.results.reader import Reader, intact_subsidence

    study = staged_study()
    bones = Bones(study)
    reader = Reader.of(bones.base, intact_subsidence(bones.base, intact_measures(bones.base)))
    model = build_model(bones.of(study.constructs[0]), study.constructs[0])
    assert model.whole is not None
    before = [b.responses_known for b in bones.base.bodies]

    def forbidden(*_: object, **__: object) -> None:
        raise AssertionError("a factorisation")

    monkeypatch.setattr(body.spla, "splu", forbidden)
    assert staged_result(reader, model.whole, pictures=False).status == "held"
    assert [b.responses_known for b in bones.base.bodies] == before


@pytest.mark.parametrize("order", [(LAG, FIRST, SECOND), (SECOND, LAG, FIRST),
                                   (FIRST, SECOND, LAG, FIRST, SECOND)])
def test_any_order_of_tightening_gives_the_last_one_its_force(order: tuple[str, ...]) -> None:
    found = staged(place(LAG, PLATE, FIRST, SECOND), *(tighten(n, 350.0) for n in order))
    assert found.status == "held"
    for name, s in zip(order, found.stages[1:], strict=True):
        assert s.screws[name].force_N == pytest.approx(350.0, rel=1e-9)
        assert s.fragments["medial"].balance_error < 1e-9
        assert all(x.force_N > -1e-9 for x in s.screws.values())


def test_pictures_count_from_the_start_and_leave_out_what_is_not_placed() -> None:
    from buttress.draw.stages import screw_forces, stage_pictures

    found = staged(*BUILT, load(800.0), pictures=True)
    assert [len(p.members) for p in found.pictures] == [1, 1, 3, 3, 4, 4, 4]
    assert not any(np.any(b.displacement) for b in found.pictures[0].bodies)
    figure, axes = plt.subplots(1, 2, figsize=(13.3, 7.5))
    try:
        assert stage_pictures(found, ax=axes[0]) is axes[0]
        assert screw_forces(found, ax=axes[1]) is axes[1]
        assert [line.get_label() for line in axes[1].lines] == [LAG, FIRST, SECOND]
        assert list(axes[1].lines[1].get_ydata()) == [
            s.screws[FIRST].force_N for s in found.stages if FIRST in s.screws]
        assert len(axes[0].child_axes) == len(found.stages)
    finally:
        plt.close(figure)


@pytest.mark.parametrize("values", [{}, {"fracture.shear plane.friction": 0.3},
                                    {"construct.lag screw first.stage.4.force_N": 300.0},
                                    {"construct.lag screw first.screw.lag.tension_N": 250.0},
                                    {"construct.lag screw first.screw.shaft 2.present": False},
                                    {"load.medial_share": 0.5}])
def test_a_sweep_loads_what_the_stages_have_built(values: dict, evaluator) -> None:
    """Every case of a shared evaluator equals a comparison of its own study."""
    from buttress.sweeps.evaluate import Task
    from buttress.sweeps.keys import planned
    from buttress.sweeps.vary import Varier

    case = Varier(staged_study()).case(values)
    plan = planned(1, case, {})
    found = evaluator.evaluate(Task(1, plan.hash, plan.data, plan.scales))
    assert not found.failures
    direct = under_loads(case.study, limits=False, pictures=False).constructs[0]
    for row, load_ in zip(found.results, direct.loads, strict=True):
        fragment = load_.fragments["medial"]
        assert row["subsidence_mean_mm"] == pytest.approx(fragment.subsidence_mean_mm, rel=1e-9)
        ratios = [m.yield_ratio for m in load_.members.values() if m.kind == "screw"]
        assert row["screw_yield_ratio"] == pytest.approx(max(ratios), rel=1e-8)
        assert row["stations_at_capacity"] == load_.stations_at_capacity
    assert found.capacities[0]["capacity_upper_N"] == pytest.approx(direct.capacity_N[1], rel=1e-6)


@pytest.fixture(scope="module")
def evaluator():
    from buttress.sweeps.evaluate import Evaluator, Options

    return Evaluator(Options())


def test_pictures_survive_many_stages_hostile_names_and_a_failure() -> None:
    from buttress.draw.stages import screw_forces, stage_pictures

    data = staged_data(*[place(LAG), tighten(LAG, 100.0), tighten(LAG, 120.0)] + [
        tighten(LAG, 100.0 + k) for k in range(20)] + [load(20000.0), UNLOAD])
    data["construct"][0]["name"] = "$x^2$ <b> " + "long name" * 4
    [found] = run_stages(study_from(data))
    assert found.stages[-1].status == "not run"
    for draw in (stage_pictures, screw_forces):
        figure = draw(found).get_figure(root=True)
        figure.draw_without_rendering()
        assert any(r"\$x^2\$" in t.get_text() for ax in figure.axes for t in (ax.title, ax._left_title))
        plt.close(figure)
    assert "<b>" not in found._repr_html_().replace("<b>Stage", "")


def test_a_loose_fragment_stays_where_it_was_pushed_and_its_drag_is_told() -> None:
    """What holds it is listed; how far it is pushed depends on the way, and settles with steps."""
    from buttress.implants.drag import DRAG

    ends = []
    for n in (1, 8, 16):
        found = staged(place(PLATE, FIRST), tighten(FIRST, 500.0) | {"steps": n}, place(SECOND),
                       tighten(SECOND, 100.0), place(LAG), tighten(LAG, 400.0))
        pushed, kept, held = (found.stages[i].fragments["medial"] for i in (1, 2, -1))
        ends.append(pushed.subsidence_mean_mm)
        assert pushed.subsidence_mean_mm < -0.3
        assert kept.subsidence_mean_mm == pytest.approx(pushed.subsidence_mean_mm, abs=1e-9)
        assert all(abs(f) <= 0.5 + 1e-9 for f in pushed.forces_N[DRAG])
        assert pushed.balance_error < 1e-9
        assert DRAG not in held.forces_N     # the lag screw holds it now
    # The plate pushes farthest before it is drawn in, and leaves the fragment where it was then.
    assert ends[1] < ends[0] - 0.3
    assert ends[2] == pytest.approx(ends[1], abs=0.1)
