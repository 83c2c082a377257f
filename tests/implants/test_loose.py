"""Pieces that touch nothing, T junctions, crossings and shallow fragments: each has an answer."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from under_loads import under_loads

from buttress.bone.bone import build_bone
from buttress.comparison.compare import compare
from buttress.comparison.stages import run_stages
from buttress.fe.errors import InputError
from buttress.implants.loose import LEFT_OUT
from buttress.model.install import build_model
from buttress.model.model import Bones
from buttress.results.records import ConstructResult
from buttress.rules.check import check
from buttress.study.case import Case
from buttress.study.read import Study, study_from
from buttress.sweeps.evaluate import Evaluator, Options, Task
from buttress.sweeps.keys import planned
from buttress.sweeps.vary import Varier, plain
from buttress.sweeps.workshop import Workshop
from buttress.verification.studies import coarse

LAGS = [{"name": "lag 1", "form": "HB 6.5", "side": "medial", "height_mm": -35, "length_mm": 50,
         "thread_mm": 32},
        {"name": "lag 2", "form": "HB 6.5", "side": "medial", "height_mm": -44, "length_mm": 40,
         "thread_mm": 16}]
LEFT = [[12, -9], [15, -25], [20, -25], [20, -20], [17, -17], [20, -14], [20, -9]]
RIGHT = [[20, -9], [20, -14], [23, -17], [20, -20], [20, -25], [25, -25], [28, -9]]
HALVES = [{"name": "left half", "points_mm": LEFT}, {"name": "right half", "points_mm": RIGHT}]


def trench(x0: float, x1: float) -> dict[str, Any]:
    """A void all round a piece of the joint surface, open at the joint line."""
    return {"name": "trench", "points_mm": [
        [x0, 0], [x0, -12], [x1, -12], [x1, 0], [x1 - 4, 0], [x1 - 4, -7], [x0 + 4, -7],
        [x0 + 4, 0]]}


def study(voids: list[dict[str, Any]], chip: tuple[float, float] | None, lateral: float = 22.0,
          **changes: Any) -> Study:
    """A sheared medial block under two screws, with a chip in or over voids on the lateral side."""
    pieces = [{"name": "medial", "inside_mm": [-26, -12]}]
    if chip is not None:
        pieces.append({"name": "chip", "inside_mm": list(chip)})
    return study_from({
        "name": "chips", "mesh": {"size_mm": 3, "coarse_mm": 6}, "void": voids, "fragment": pieces,
        "section": {"outline": "simple"},
        "fracture": [{"name": "plane", "points_mm": [[-3, 0], [-24, -58]]}],
        "load": {"total_N": [500.0], "patch_width_mm": 10, "medial_centre_mm": -22,
                 "lateral_centre_mm": lateral},
        "construct": [{"name": "c", "screw": LAGS}]} | changes)


def answer(given: Study) -> ConstructResult:
    return under_loads(given, pictures=False).constructs[0]


@pytest.fixture(scope="module")
def island() -> ConstructResult:
    return compare(study(HALVES, (20, -17)), pictures=False).constructs[0]


def test_an_unloaded_chip_in_a_void_does_not_spoil_the_rest(island: ConstructResult) -> None:
    filled = answer(study([{"name": "hole", "points_mm": [
        [12, -9], [15, -25], [25, -25], [28, -9]]}], None))
    [load], [without] = island.loads, filled.loads
    assert load.status == without.status == "held"
    # The chip carries nothing, so nothing else may change but through the mesh.
    assert island.capacity_N == pytest.approx(filled.capacity_N, rel=0.01)
    assert island.equilibrium_ends_N == pytest.approx(filled.equilibrium_ends_N, rel=0.01)
    assert load.fragments["medial"].subsidence_mean_mm == pytest.approx(
        without.fragments["medial"].subsidence_mean_mm, rel=0.02)
    assert any("'chip'" in w and "not part of the solution" in w for w in island.warnings)


def test_no_number_stands_for_a_chip_that_is_left_out(island: ConstructResult) -> None:
    chip = island.loads[0].fragments["chip"]
    assert (chip.subsidence_mean_mm, chip.tilt_deg, chip.forces_N) == (None, None, {})
    assert set(island.curve_subsidence_mm["chip"][1:]) == {None}
    assert LEFT_OUT not in island.loads[0].fragments["medial"].forces_N


def test_nor_does_one_in_a_sweep_or_after_a_stage(island: ConstructResult) -> None:
    given = study(HALVES, (20, -17))
    plan = planned(1, Varier(given).case({}), {})
    swept = Evaluator(Options()).evaluate(Task(1, plan.hash, plan.data, plan.scales))
    rows = {r["fragment"]: r for r in swept.fragments}
    assert rows["chip"]["tilt_deg"] is None
    assert rows["chip"]["subsidence_mean_mm"] is None
    # The worst tilt is that of a piece that is part of the answer.
    assert swept.results[0]["tilt_deg"] == pytest.approx(
        island.loads[0].fragments["medial"].tilt_deg, rel=1e-9)
    stages = [{"do": "place", "what": ["lag 1", "lag 2"]}, {"do": "load", "total_N": 300.0}]
    [staged] = run_stages(study(HALVES, (20, -17), construct=[
        {"name": "c", "screw": LAGS, "stage": stages}]), pictures=False)
    chip = staged.stages[-1].fragments["chip"]
    assert staged.status == "held"
    assert (chip.subsidence_mean_mm, chip.tilt_deg, chip.forces_N) == (None, None, {})


def test_a_loaded_piece_round_which_all_is_empty_has_no_equilibrium_and_is_named() -> None:
    given = study([trench(10, 30)], (20, -3), lateral=20.0)
    found = answer(given)
    [load] = found.loads
    assert load.status == "no equilibrium"
    assert load.escapes == "chip"
    assert found.capacity_N == (0.0, 0.0)
    assert load.fragments["chip"].applied_N[1] < 0
    # The same piece beside the load is left where it is.
    beside = answer(study([trench(2, 18)], (10, -3), lateral=25.0))
    assert beside.loads[0].status == "held"
    assert beside.loads[0].fragments["chip"].subsidence_mean_mm is None
    assert beside.loads[0].condyles["lateral"].subsidence_mean_mm is not None


def test_graft_in_the_void_joins_the_chip_again() -> None:
    given = study(HALVES, (20, -17), construct=[{"name": "c", "screw": LAGS, "fill": [
        {"name": "graft", "void": "left half", "material": "impacted graft"}]}])
    model = build_model(build_bone(given), given.constructs[0])
    assert model.hardware.loose == set()
    assert model.hardware.warnings == []


def test_a_piece_that_voids_alone_part_from_the_bone_needs_no_fracture() -> None:
    raft = {"name": "raft", "form": "HA 3.5", "side": "lateral", "height_mm": -3.5,
            "length_mm": 60, "count": 3}
    given = study([trench(10, 30)], None, lateral=20.0, fracture=[],
                  fragment=[{"name": "chip", "inside_mm": [20, -3]}],
                  construct=[{"name": "c", "screw": [raft]}])
    found = answer(given)
    assert found.loads[0].status == "held"
    carried = found.loads[0].fragments["chip"].carried_by
    assert carried == {"raft": pytest.approx(1.0, abs=1e-9)}
    with pytest.raises(InputError, match="fracture or a void"):
        study([], None, fracture=[], fragment=[{"name": "chip", "inside_mm": [20, -3]}])


@pytest.mark.parametrize(("voids", "chip", "lateral", "level"), [
    (HALVES, (20, -17), 22.0, "warning"), ([trench(10, 30)], (20, -3), 20.0, "broken"),
    ([trench(2, 18)], (10, -3), 25.0, "warning")])
def test_check_names_the_piece(voids: list, chip: tuple, lateral: float, level: str) -> None:
    [found] = [f for f in check(study(voids, chip, lateral)) if f.rule == "piece held by nothing"]
    assert (found.part, found.level) == ("chip", level)


def test_check_is_silent_where_a_screw_or_graft_holds_the_piece() -> None:
    raft = {"name": "raft", "form": "HA 3.5", "side": "lateral", "height_mm": -3.5,
            "length_mm": 60, "count": 3}
    graft = {"name": "graft", "void": "left half", "material": "impacted graft"}
    for given in (study([trench(10, 30)], (20, -3), 20.0, construct=[
            {"name": "c", "screw": [*LAGS, raft]}]),
            study(HALVES, (20, -17), construct=[{"name": "c", "screw": LAGS, "fill": [graft]}])):
        assert not [f for f in check(given) if f.rule == "piece held by nothing"]


def test_a_load_on_a_void_is_refused_by_check_too() -> None:
    given = study([trench(10, 30)], (20, -3), lateral=20.0)
    wide = given.load.model_copy(update={"patch_width_mm": 14.0})
    with pytest.raises(InputError, match="does not lie on the joint surface") as caught:
        check(given.model_copy(update={"load": wide}))
    assert caught.value.key == "load.lateral_centre_mm"


# --- junctions and shallow fragments ------------------------------------------------------------

T = [{"name": "plane", "points_mm": [[-3, 0], [-24, -58]]},
     {"name": "branch", "points_mm": [[-38, -14], [-9.5, -18]]}]
CROSS = [{"name": "plane", "points_mm": [[-8, 0], [-30, -42]]},
         {"name": "second", "points_mm": [[-38, -12], [4, -30], [40, -26]]}]


@pytest.mark.parametrize(("lines", "count"), [(T, 3), (CROSS, 4)])
def test_junctions_close_their_balance(lines: list, count: int) -> None:
    given = study([], None, fracture=lines, fragment=[])
    load = answer(given).loads[0]
    assert len(load.bone) == count
    assert load.status == "held"
    for fragment in load.fragments.values():
        assert fragment.balance_error < 1e-9
    # Pressing forces along the two lines that meet: all that goes down crosses them.
    shaft = sum(np.array(c.force_N) for c in load.contacts.values())
    assert shaft > 0


def test_a_corner_that_voids_and_fractures_share() -> None:
    given = study([{"name": "hole", "points_mm": [[12, -9], [15, -20], [25, -20], [28, -9]]}], None,
                  fracture=[{"name": "inner", "points_mm": [[13, 0], [12, -9]]},
                            {"name": "outer", "points_mm": [[27, 0], [28, -9]]},
                            {"name": "wedge", "points_mm": [[25, -20], [28, -46]]}],
                  fragment=[{"name": "piece", "inside_mm": [20, -4]},
                            {"name": "wing", "inside_mm": [32, -12]}], construct=[
                      {"name": "c", "screw": [
                          {"name": "raft", "form": "HA 3.5", "side": "lateral", "height_mm": -6,
                           "length_mm": 74, "count": 4},
                          {"name": "low", "form": "HB 6.5", "side": "lateral", "height_mm": -27,
                           "length_mm": 50}], "fill": [
                          {"name": "graft", "void": "hole", "material": "impacted graft"}]}])
    load = answer(given).loads[0]
    assert load.status == "held"
    assert set(load.grafts["graft"].forces_N) >= {"piece", "wing", "shaft"}
    assert max(f.balance_error for f in load.fragments.values()) < 1e-9


def test_a_shallow_fragment_has_less_bone_and_sinks_more() -> None:
    def with_depth(depth: float | None) -> Any:
        piece = {"name": "medial", "inside_mm": [-26, -12]}
        if depth is not None:
            piece["depth_mm"] = depth
        return answer(study([], None, fragment=[piece])).loads[0]

    full, shallow = with_depth(None), with_depth(12.0)
    assert shallow.bone["medial"].volume_mm3 < 0.5 * full.bone["medial"].volume_mm3
    assert shallow.bone["shaft"].volume_mm3 == pytest.approx(full.bone["shaft"].volume_mm3)
    # At the apex the bone itself is less deep than that.
    assert max(shallow.contacts["plane"].profile.depth_mm) == pytest.approx(12.0)
    assert max(full.contacts["plane"].profile.depth_mm) > 30.0
    assert (shallow.fragments["medial"].subsidence_mean_mm
            > full.fragments["medial"].subsidence_mean_mm)
    assert shallow.fragments["medial"].balance_error < 1e-9


def test_a_sweep_that_moves_the_load_onto_a_loose_piece_sees_it_fall() -> None:
    case = [Case(study([trench(2, 24)], (13, -3), lateral=x), {}) for x in (29.0, 13.0, 29.0)]
    workshop = Workshop()
    found = []
    for one in case:
        _, model, _ = workshop.model(one, one.study.constructs[0])
        found.append(model.answer(500.0).status)
    assert found == ["held", "no equilibrium", "held"]


@pytest.mark.parametrize("misfit", [0.0, 1.5])
def test_a_plate_without_screws_bears_nothing(misfit: float) -> None:
    """Bone can only push such a plate away: the screws beside it carry what they carry alone."""
    data = plain(coarse("medial-shear", "antiglide + lag screws"))
    [both] = data["construct"]
    both["screw"] = [s for s in both["screw"] if not s.get("plate")]
    both["plate"][0]["mismatch_mm"] = misfit
    data["construct"].append({**both, "name": "alone", "plate": []})
    study = study_from(data)
    bones, peaks, warnings = Bones(study), [], []
    for construct in study.constructs:
        model = build_model(bones.of(construct), construct)
        path = model.pressing.up_to(4000.0)
        peaks.append([p.load_N for p in path.points])
        warnings.append([w for w in model.hardware.warnings if "no screw goes through" in w])
    assert peaks[0] == pytest.approx(peaks[1], rel=1e-6)
    assert max(peaks[1]) > 1000.0
    assert [len(w) for w in warnings] == [1, 0]
