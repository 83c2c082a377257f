"""A case of a sweep: the figures of `compare`, whatever earlier cases have left to share."""

from __future__ import annotations

import gc
import weakref

import numpy as np
import pytest
from small_study import small_study
from staged_study import SHORT, staged_study
from under_loads import under_loads

from buttress.bone.section import trabecular_strength
from buttress.comparison.compare import compare
from buttress.study.read import example, study_from
from buttress.study.study import Study
from buttress.sweeps.evaluate import Evaluator, Options, Outcome, Task
from buttress.sweeps.keys import bone_key, hardware_key, load_key, planned
from buttress.sweeps.layout import path_columns
from buttress.sweeps.vary import Varier, plain, varied
from buttress.sweeps.workshop import Workshop

FRICTION = "fracture.shear plane.friction"
PLATED = "construct.antiglide.plate.antiglide plate"


def evaluated(evaluator: Evaluator, study: Study, values: dict[str, object]) -> Outcome:
    plan = planned(1, Varier(study).case(values), {})
    return evaluator.evaluate(Task(1, plan.hash, plan.data, plan.scales))


def coarse(name: str) -> Study:
    """Two constructs of a shipped study on a coarse mesh."""
    data = plain(example(name))
    data["mesh"] = {"size_mm": 4.0, "coarse_mm": 8.0}
    data["construct"] = data["construct"][:2]
    return study_from(data)


@pytest.mark.parametrize("study", [
    small_study("nothing", "lag screws", "antiglide", loads=(400.0, 900.0)),
    coarse("staged-tightening"), coarse("posterior-shear")], ids=lambda s: s.name)
def test_figures_are_those_of_compare(study: Study) -> None:
    found = evaluated(Evaluator(Options(strain=True)), study, {})
    assert not found.failures
    results = {(r["construct"], r["total_load_N"]): r for r in found.results}
    capacities = {c["construct"]: c for c in found.capacities}
    for construct in under_loads(study, limits=False, pictures=False).constructs:
        row = capacities[construct.name]
        assert (row["capacity_lower_N"], row["capacity_upper_N"]) == construct.capacity_N
        for load in construct.loads:
            row = results[construct.name, load.total_load_N]
            assert row["status"] == load.status
            if load.status != "held":
                assert row["escapes"] == load.escapes
                assert load.escapes is not None
                continue
            (fragment,), (edge,) = load.fragments.values(), load.edges.values()
            for column, value in (
                    ("subsidence_mean_mm", fragment.subsidence_mean_mm),
                    ("subsidence_max_mm", fragment.subsidence_max_mm),
                    ("subsidence_net_mm", fragment.subsidence_net_mm),
                    ("tilt_deg", fragment.tilt_deg), ("gap_mm", edge.gap_mm),
                    ("step_off_mm", edge.step_off_mm), ("widening_mm", load.widening_mm),
                    ("bone_over_yield", load.bone_over_yield)):
                if value is None:  # a slice does not show the width
                    assert row[column] is None
                    continue
                assert row[column] == pytest.approx(value, rel=1e-10, abs=1e-12), column
            assert row["stations_at_capacity"] == load.stations_at_capacity
            for kind in ("plate", "screw"):
                stress = [m.von_mises_MPa for m in load.members.values() if m.kind == kind]
                assert row.get(f"{kind}_stress_MPa") == (
                    pytest.approx(max(stress), rel=1e-9) if stress else None)


@pytest.mark.parametrize("values", [
    {"load.total_N": 500.0}, {"load.medial_share": 0.8}, {FRICTION: 0.25}, {FRICTION: 0.0},
    {"scale.cancellous_strength": 0.5}, {"scale.bearing_stiffness": 0.5},
    {f"{PLATED}.friction": 0.1}, {f"{PLATED}.friction": 0.0}, {f"{PLATED}.section": "3.5 straight"},
    {"construct.lag screws.screw.upper lag.tension_N": 200.0},
    {"construct.lag screws.screw.upper lag.tension_N": 0.0},
    {"construct.*.screw.*.material": "titanium"}, {"load.patch_width_mm": 15.0},
    {"load.direction_deg": 5.0}, {"construct.lag screws.screw.upper lag.height_mm": -12.0},
    {"construct.antiglide.screw.shaft 3.present": False}, {"section.modulus_scale": 0.7},
], ids=str)
def test_what_is_shared_changes_no_figure(values: dict[str, object], shared: Evaluator) -> None:
    study = small_study("lag screws", "antiglide")
    again = evaluated(shared, study, values)
    assert_alike(evaluated(Evaluator(Options()), study, values), again)
    assert again.counts.get("factorisations", 0) == (2 if "section.modulus_scale" in values else 0)


def test_what_is_shared_changes_no_figure_of_a_fragment_left_loose() -> None:
    study, evaluator = staged_study(*SHORT), Evaluator(Options())
    evaluated(evaluator, study, {})
    values = {"construct.lag screw first.screw.lag.present": False}
    again = evaluated(evaluator, study, values)
    # A fragment that no lag screw holds slides by 1.2 mm. Measured on Python 3.11: its figures
    # differ by 1e-9, its tilt by 2e-7; on 3.13 by less than 1e-10. What amplifies the rounding is
    # not known.
    assert_alike(evaluated(Evaluator(Options()), study, values), again, within=1e-6)


def assert_alike(anew: Outcome, again: Outcome, within: float = 1e-10) -> None:
    """The same figures in two outcomes, as a relative difference ``within``."""
    assert [f["status"] for f in anew.failures] == [f["status"] for f in again.failures]
    for one, other in ((anew.results, again.results), (anew.capacities, again.capacities)):
        assert len(one) == len(other) > 0
        for a, b in zip(one, other, strict=True):
            assert a.keys() == b.keys()
            for column, value in a.items():
                if isinstance(value, float) and column not in ("residual", "complementarity"):
                    assert b[column] == pytest.approx(value, rel=within, abs=1e-13), column


def test_what_is_shared_changes_no_figure_after_stages() -> None:
    study, evaluator = staged_study(*SHORT), Evaluator(Options())
    first = evaluated(evaluator, study, {})
    assert not first.failures
    sunk = first.results[0]["subsidence_mean_mm"]
    for values in ({FRICTION: 0.35}, {"construct.*.screw.lag.tension_N": 250.0},
                   {"construct.lag screw first.stage.4.force_N": 300.0},
                   {"load.patch_width_mm": 15.0}, {"scale.cancellous_strength": 0.6}):
        again = evaluated(evaluator, study, values)
        assert_alike(evaluated(Evaluator(Options()), study, values), again)
        assert again.counts["factorisations"] == 0
        # Strength acts only where something reaches it.
        changed = abs(again.results[0]["subsidence_mean_mm"] - sunk) > 1e-6
        assert changed or "scale.cancellous_strength" in values, values


@pytest.fixture(scope="module")
def shared() -> Evaluator:
    """An evaluator that has solved another case of the same study."""
    evaluator = Evaluator(Options())
    evaluated(evaluator, small_study("lag screws", "antiglide"), {FRICTION: 0.35})
    return evaluator


@pytest.mark.parametrize("key", [FRICTION, f"{PLATED}.friction"])
def test_friction_after_none_is_what_it_is_anew(key: str) -> None:
    # Without friction there are no links along the faces, so such a frame must not be shared.
    study, evaluator = small_study("antiglide"), Evaluator(Options())
    evaluated(evaluator, study, {key: 0.0})
    again = evaluated(evaluator, study, {key: 0.4}).results[0]
    anew = evaluated(Evaluator(Options()), study, {key: 0.4}).results[0]
    assert again["subsidence_mean_mm"] == pytest.approx(anew["subsidence_mean_mm"], rel=1e-10)


def test_strength_and_bearing_stiffness_act_on_what_they_say() -> None:
    study, evaluator = small_study("lag screws", loads=(300.0,)), Evaluator(Options())
    base = evaluated(evaluator, study, {})
    weak = evaluated(evaluator, study, {"scale.cancellous_strength": 0.2})
    soft = evaluated(evaluator, study, {"scale.bearing_stiffness": 0.2})
    for lower in ("capacity_lower_N", "capacity_upper_N"):
        assert weak.capacities[0][lower] < base.capacities[0][lower]
        # Stiffness is no part of limit analysis.
        assert soft.capacities[0][lower] == pytest.approx(base.capacities[0][lower], rel=1e-9)
    assert soft.results[0]["subsidence_mean_mm"] > base.results[0]["subsidence_mean_mm"]


@pytest.mark.parametrize("scale", [0.3, 1.5])
def test_a_scale_of_cancellous_strength_acts_on_faces_but_not_on_cortex_and_graft(scale: float
                                                                                 ) -> None:
    """Faces of bone carry the mean of core and cortex through the depth, by their shares of it."""
    study = study_from(plain(example("lateral-depression")) | {
        "mesh": {"size_mm": 4.0, "coarse_mm": 8.0}})
    study = study.model_copy(update={"constructs": tuple(
        c for c in study.constructs if c.name == "raft + impacted graft")})
    workshop, frames = Workshop(), []
    for values in ({}, {"scale.cancellous_strength": scale}):
        frames.append(workshop.model(Varier(study).case(values), study.constructs[0])[1])
    bone, graft = frames[0].bone, frames[0].hardware.fills[0]
    bodies, faces = {id(b) for b in bone.bodies}, []
    for i, link in enumerate(frames[0].problem.links.links):
        if link.kind not in ("contact", "rest"):
            continue
        own, scaled = (float(m.problem.upper[i]) for m in frames)
        if id(graft.body) in (id(link.a.body), id(link.b.body)):
            assert scaled <= own * (1 + 1e-12)
            if scale > 1.0:
                assert scaled == pytest.approx(own, rel=1e-12)
        elif link.kind == "contact" and {id(link.a.body), id(link.b.body)} <= bodies:
            section, place = bone.section, np.array(link.place)
            core = float(section.core_thickness(place) / section.chord(place))
            soft = float(trabecular_strength(section.core_at(place)))
            lost = core * soft * (1.0 - scale) * link.weight
            assert own - scaled == pytest.approx(lost, rel=1e-9, abs=1e-9 * own)
            faces.append(core)
    assert len(faces) > 5
    assert max(faces) > 0.5


def test_a_sweep_over_load_scales_where_everything_is_linear() -> None:
    # A flat fracture that sticks, and metal bonded into the bone: no bound is ever reached.
    study = small_study("nothing", "lag screws", medial_share=0.5)
    values = {"fracture.shear plane.points_mm": [[-60.0, -40.0], [60.0, -44.0]], FRICTION: 1.5,
              "fragment.medial.inside_mm": [0.0, -10.0], "load.medial_centre_mm": -14.0,
              "load.lateral_centre_mm": 14.0, "construct.lag screws.model": "bonded inclusions"}
    evaluator = Evaluator(Options())
    found = {load: evaluated(evaluator, study, values | {"load.total_N": load})
             for load in (200.0, 700.0, 1400.0)}
    assert not found[700.0].failures
    for load, outcome in found.items():
        for row, base in zip(outcome.results, found[200.0].results, strict=True):
            assert row["status"] == "held"
            for column in ("subsidence_mean_mm", "subsidence_max_mm", "tilt_deg",
                           "subsidence_net_mm"):
                assert row[column] == pytest.approx(base[column] * load / 200.0, rel=1e-9), column
    assert found[700.0].results[0]["subsidence_mean_mm"] > 1e-4


def test_the_saving_is_what_solving_every_case_by_itself_would_take() -> None:
    # One void that is empty, filled by a material, by a block of its own mesh; one is bonded.
    data = plain(coarse("lateral-depression"))
    names = ("raft", "raft + impacted graft", "raft + structural block")
    shipped = plain(example("lateral-depression"))["construct"]
    data["construct"] = [c for c in shipped if c["name"] in names]
    data["construct"].append({**data["construct"][0], "name": "stuck",
                              "model": "bonded inclusions"})
    study, evaluator = study_from(data), Evaluator(Options())
    first = evaluated(evaluator, study, {})
    assert not first.failures
    assert first.counts["factorisations"] == first.counts["alone"] > 8
    again = evaluated(evaluator, study, {"load.total_N": 500.0})
    assert again.counts["alone"] == first.counts["alone"]
    assert again.counts["factorisations"] == 0
    fresh = evaluated(Evaluator(Options()), study, {"load.total_N": 500.0})
    assert fresh.counts["factorisations"] == again.counts["alone"]


def test_a_bone_that_is_given_up_leaves_the_memory_at_once() -> None:
    # Without waiting for the collector of cycles, which counts objects and not their size.
    evaluator, bodies = Evaluator(Options(strain=True)), []
    gc.disable()
    try:
        for i in range(4):
            outcome = evaluated(evaluator, small_study("antiglide"),
                                {"section.modulus_scale": 1.0 + 0.1 * i})
            assert not outcome.failures
            (ground, *_) = reversed(evaluator.workshop.grounds.values())
            bodies += [weakref.ref(b) for b in ground.bone.bodies]
        assert sum(b() is not None for b in bodies) == 4  # of two bones with two bodies
    finally:
        gc.enable()


def test_cases_share_what_they_can() -> None:
    study = small_study("lag screws", "antiglide")
    construct = study.constructs[1]
    same_bone = [{FRICTION: 0.3}, {"load.total_N": 100.0}, {"load.patch_width_mm": 15.0},
                 {f"{PLATED}.top_mm": -30.0}, {"limits.step_off_mm": 1.0}]
    other_bone = [{"section.bone": "soft"}, {"fracture.shear plane.slope_deg": 21.0},
                  {"mesh.size_mm": 3.9}, {"fragment.medial.depth_mm": 20.0}]
    key = bone_key(study, construct)
    assert all(bone_key(varied(study, v).study, construct) == key for v in same_bone)
    assert all(bone_key(varied(study, v).study, construct) != key for v in other_bone)
    assert load_key(varied(study, {"load.medial_share": 0.8}).study) == load_key(study)
    assert load_key(varied(study, {"load.patch_width_mm": 15.0}).study) != load_key(study)
    for values, same in (({FRICTION: 0.3}, True), ({FRICTION: 0.0}, False),
                         ({f"{PLATED}.friction": 0.2}, True), ({f"{PLATED}.top_mm": -26.0}, False)):
        other = varied(study, values).study
        assert (hardware_key(other, other.constructs[1]) == hardware_key(study, construct)) == same


def test_loads_of_the_path_are_those_of_a_comparison() -> None:
    """Whatever loads the case lists; a case without them has none of the columns."""
    study = small_study("lag screws", "antiglide", "nothing", loads=(300.0,))
    found = {r["construct"]: r for r in evaluated(Evaluator(Options(path=True)), study,
                                                  {}).capacities}
    for c in compare(small_study("lag screws", "antiglide", "nothing", loads=(500.0, 900.0)),
                     pictures=False).constructs:
        row = found[c.name]
        for q in path_columns():
            (column,) = q.columns(q.store)
            wanted = q.of(c, ())
            assert row[column] == (wanted if isinstance(wanted, str | None) else
                                   pytest.approx(wanted, rel=1e-3)), column
    assert found["nothing"]["reserve_N"] == found["nothing"]["peak_N"] == 0.0
    assert found["lag screws"]["reserve_is"] == "joint moved"
    plain = evaluated(Evaluator(Options()), study, {}).capacities[0]
    assert not {q.key for q in path_columns()} & set(plain)


def test_another_movement_is_another_reserve_of_the_same_construct() -> None:
    """Cases that differ in nothing else share the bone and the construct, but not the reserve."""
    study, evaluator = small_study("antiglide", loads=(300.0,)), Evaluator(Options(path=True))
    for far in (0.5, 0.1, 0.25):
        values = {"limits.movement_mm": far}
        (row,) = evaluated(evaluator, study, values).capacities
        wanted = compare(varied(study, values), pictures=False).constructs[0].reserve
        assert wanted.movement_mm == far
        assert row["reserve_N"] == pytest.approx(wanted.load_N, rel=1e-3)
