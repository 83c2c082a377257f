"""Contact pressure, crushing, condyles, bone by piece, carriers: sums that statics fixes."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from depressed_study import GRAFT, MESH, depressed
from under_loads import under_loads

from buttress.bone.bone import build_bone
from buttress.bone.fills import fill_material
from buttress.comparison.compare import compare
from buttress.fe.solve.recover import displacements
from buttress.model.install import build_model
from buttress.results.contact_figures import contact_result, graft_results
from buttress.results.contacts import ContactLine, contact_lines, percentile
from buttress.results.records import LoadResult
from buttress.study.read import Study, example, only, study_from
from buttress.study.tables import number
from buttress.sweeps.vary import varied


def plated() -> Study:
    """A medial shear fragment under a plate with two screws below the apex."""
    return study_from({
        "name": "plated", "mesh": MESH, "load": {"total_N": [700.0]},
        "press": {"large_movements": "off"},    # pressures act along normals as built
        "section": {"outline": "simple"},
        "fracture": [{"name": "plane", "points_mm": [[-3, 0], [-24, -57.7]]}],
        "fragment": [{"name": "medial", "inside_mm": [-25, -10]}],
        "construct": [{"name": "c", "plate": [
            {"name": "plate", "section": "3.5 straight", "side": "medial", "top_mm": -20,
             "length_mm": 82}], "screw": [
            {"name": f"s{h}", "form": "HA 3.5", "plate": "plate", "hole": h,
             "length_mm": "bicortical"} for h in (5, 6)]}]})


def solved(study: Study) -> LoadResult:
    return under_loads(study, limits=False, pictures=False).constructs[0].loads[-1]


@pytest.fixture(scope="module")
def crushed() -> LoadResult:
    """Graft that is too weak for its load and does not harden."""
    found = solved(depressed(GRAFT | {"strength_MPa": 0.25}, (1600.0,),
                             hardening={"bone_share": 0.0}))
    assert found.status == "held"
    return found


@pytest.fixture(scope="module")
def under_plate() -> LoadResult:
    found = solved(plated())
    assert found.status == "held"
    return found


def test_a_level_fracture_carries_the_whole_load() -> None:
    # Statics: across a horizontal cut the normal forces sum to the load, the shear to nothing.
    load = solved(study_from({
        "name": "level", "mesh": MESH, "load": {"total_N": [900.0], "medial_share": 0.5},
        "section": {"outline": "simple"},
        "fracture": [{"name": "cut", "points_mm": [[-60, -70], [60, -70]]}],
        "fragment": [{"name": "top", "inside_mm": [0, -20]}], "construct": [{"name": "c"}]}))
    cut = load.contacts["cut"]
    assert cut.force_N == pytest.approx(900.0, rel=1e-9)
    assert cut.profile is not None
    p = np.array(cut.profile.pressure_MPa)
    assert np.array(cut.profile.position_mm) == pytest.approx(
        60.0 + np.array(cut.profile.x_mm), abs=1e-4)
    assert cut.length_mm == pytest.approx(np.ptp(cut.profile.x_mm), rel=1e-5)
    assert cut.pressure_max_MPa == pytest.approx(p.max(), rel=1e-5)
    assert 0.0 < cut.pressure_mean_MPa < cut.pressure_p95_MPa <= cut.pressure_max_MPa
    # The same load on both condyles, a symmetric bone: the pressure is symmetric too.
    order = np.argsort(cut.profile.x_mm)
    assert p[order] == pytest.approx(p[order][::-1], rel=0.08)
    # Statics again, from the profile alone: pressure times depth, integrated along the line by the
    # shape functions of its edges (ends 1/6, middle 4/6), is the load.
    at = np.array(cut.profile.position_mm)
    line = np.argsort(at)
    long = np.diff(at[line])[::2] + np.diff(at[line])[1::2]
    share = np.zeros(len(at))
    for place, part in ((slice(0, -1, 2), 1 / 6), (slice(1, None, 2), 4 / 6),
                        (slice(2, None, 2), 1 / 6)):
        share[line[place]] += part * long
    assert float(p * np.array(cut.profile.depth_mm) @ share) == pytest.approx(900.0, rel=1e-4)
    assert cut.pressure_mean_MPa == pytest.approx(float(p @ share / share.sum()), rel=1e-4)


def line_force(line: ContactLine) -> np.ndarray:
    """Force on the second bodies of a line."""
    tangent = np.column_stack([-line.normals[:, 1], line.normals[:, 0]])
    return line.force @ line.normals + line.rub @ tangent


@pytest.mark.parametrize(("make", "piece"), [(plated, "medial"),
                                             (lambda: depressed(GRAFT), "piece")])
def test_pressures_sum_to_the_force_of_each_source(make: Any, piece: str) -> None:
    study = make()
    model = build_model(build_bone(study), study.constructs[0])
    total = study.load.total_N[-1]
    answer = model.answer(total)
    load = solved(study)
    lines = contact_lines(model, answer)
    assert {x.name for x in lines} == set(load.contacts)
    for line in lines:
        mine = [k for k, pair in enumerate(line.pairs) if piece in pair]
        if not mine:
            continue
        at = np.isin(line.pair, mine)
        cut = replace(line, **{k: getattr(line, k)[at] for k in (
            "places", "normals", "position", "length", "depth", "pair", "force", "rub",
            "opening", "crushed", "at_strength")})
        sign = 1.0 if line.pairs[mine[0]][1] == piece else -1.0
        given = load.fragments[piece].forces_N
        assert given is not None
        assert sign * line_force(cut) == pytest.approx(given[line.name], abs=1e-6)
        # From the record alone: pressure, length and depth give the normal force back.
        result = contact_result(line)
        assert result.force_N == pytest.approx(
            float(line.pressure @ (line.length * line.depth)), rel=1e-12)


def test_a_plate_presses_only_where_it_touches(under_plate: LoadResult) -> None:
    plate = under_plate.contacts["plate"]
    assert plate.kind == "plate"
    assert 0.02 < plate.contact_share < 0.9
    assert plate.length_mm == pytest.approx(82.0, abs=4.0)
    assert set(plate.profile.between) == {"medial | plate", "shaft | plate"}
    assert set(plate.profile.depth_mm) <= {10.0, 11.0}     # its width
    opened = np.array(plate.profile.opening_mm)
    pressed = np.array(plate.profile.pressure_MPa)
    assert (opened[pressed > 0] == 0).all()
    assert pressed.min() == 0.0
    touching = np.array(plate.profile.position_mm)[pressed > 0]
    assert 0.0 <= touching.min() <= touching.max() <= 82.0


def test_what_has_slid_beyond_a_face_has_no_opening() -> None:
    """The lip of a fragment that is held by screws "opened" by 10 mm, which stands for nothing."""
    study = example("posterior-shear")
    coarse = varied(study, {"mesh.size_mm": 4.0, "mesh.coarse_mm": 8.0,
                            "section.condyle": "lateral", "section.slope_deg": 6.0,
                            "fracture.shear plane.points_mm": [[2, 5], [12, -48]],
                            "fragment.posterior fragment.inside_mm": [15, -12],
                            "load.total_N": 1200.0})
    load = solved(only(coarse, "front lag screws"))
    profile = np.array(load.contacts["shear plane"].profile.opening_mm)
    assert np.isnan(profile).any()
    assert np.nanmax(profile) < 1.0
    assert load.fractures["shear plane"].opening_max_mm == pytest.approx(np.nanmax(profile), rel=1e-5)
    # Nor is it an event that the face opens: no place that still has another across carries less.
    [c] = compare(only(coarse, "front lag screws"), pictures=False).constructs
    assert not [e for e in c.path.events if (e.kind, e.where.part) == ("opening", "shear plane")]


def test_crushed_graft_carries_its_strength_and_no_more(crushed: LoadResult) -> None:
    graft, faces = crushed.grafts["graft"], crushed.contacts["graft"]
    assert faces.pressure_max_MPa == pytest.approx(0.25, rel=1e-6)
    assert 0.0 < graft.at_strength <= 1.0
    assert 0.0 < graft.crushed_mean_mm < graft.crushed_max_mm < 2.0
    assert graft.crushed_max_at_mm is not None
    p = np.array(faces.profile.pressure_MPa)
    assert (p <= 0.25 * (1 + 1e-5)).all()
    # In equilibrium: bone and screws push on the graft, nothing else does.
    assert np.sum(list(graft.forces_N.values()), axis=0) == pytest.approx([0, 0], abs=1e-6)
    assert graft.forces_N["piece"][1] == pytest.approx(
        -crushed.fragments["piece"].forces_N["graft"][1], abs=1e-6)
    assert 0.0 < graft.compression_mean < graft.compression_p95


def test_graft_that_hardens_carries_more_by_its_slope() -> None:
    # Pressure = strength + share × modulus over the layer's depth × what is crushed.
    study = depressed(GRAFT | {"strength_MPa": 0.25}, (1600.0,), hardening={"bone_share": 0.02})
    load = solved(study)
    material = fill_material(study.constructs[0].fills[0])
    layer = number("materials", "crushed bone", "face_layer")
    crushed_most = load.grafts["graft"].crushed_max_mm
    assert load.contacts["graft"].pressure_max_MPa == pytest.approx(
        0.25 + 0.02 * float(material.modulus.max()) / layer * crushed_most, rel=1e-6)


def test_firm_graft_is_not_crushed_and_weak_graft_is_crushed_more() -> None:
    study = depressed(GRAFT | {"strength_MPa": 200.0}, (1600.0,))
    firm = solved(study).grafts["graft"]
    assert (firm.crushed_mean_mm, firm.crushed_max_mm, firm.crushed_max_at_mm,
            firm.at_strength) == (0.0, 0.0, None, 0.0)


def test_graft_strain_is_that_of_its_displacements() -> None:
    # Squeezed evenly by hand: 1 % along y everywhere.
    study = depressed(GRAFT)
    model = build_model(build_bone(study), study.constructs[0])
    answer = model.answer(800.0)
    fields = displacements(model.problem, answer)
    number = next(i for i, s in enumerate(model.solids) if s.kind == "graft")
    body = model.solids[number].body
    made = np.zeros(body.n_dof)
    made[1::2] = -0.01 * body.points[:, 1]
    fields[number] = made
    found = graft_results(model, answer, contact_lines(model, answer), fields)["graft"]
    assert found.compression_mean == pytest.approx(0.01, rel=1e-9)
    assert found.compression_p95 == pytest.approx(0.01, rel=1e-9)


def test_condyles_share_load_and_widening(under_plate: LoadResult) -> None:
    both = under_plate.condyles
    assert list(both) == ["medial", "lateral"]
    assert both["medial"].load_N + both["lateral"].load_N == pytest.approx(700.0)
    assert both["medial"].widening_mm + both["lateral"].widening_mm == pytest.approx(
        under_plate.widening_mm, abs=1e-12)
    for c in both.values():
        assert c.subsidence_mean_mm < c.subsidence_max_mm
    # The fragment is a part of the medial condyle, and the part that sinks.
    piece = under_plate.fragments["medial"]
    assert both["medial"].subsidence_max_mm == pytest.approx(piece.subsidence_max_mm)


def test_an_intact_bone_is_net_of_nothing() -> None:
    # Friction that no load overcomes and no gap: like the intact bone, to the mesh.
    study = study_from({
        "name": "whole", "mesh": MESH, "load": {"total_N": [500.0]},
        "section": {"outline": "simple"},
        "fracture": [{"name": "cut", "points_mm": [[-60, -70], [60, -70]], "friction": 1.5}],
        "construct": [{"name": "c"}]})
    condyles = solved(study).condyles
    assert condyles.keys() == {"medial", "lateral"}
    for c in condyles.values():
        assert c.subsidence_net_mm == pytest.approx(0.0, abs=1e-3 * c.load_N / 100.0)


def test_bone_is_split_by_piece(crushed: LoadResult) -> None:
    pieces = crushed.bone
    assert set(pieces) == {"piece", "shaft"}
    volume = sum(b.volume_mm3 for b in pieces.values())
    over = sum(b.volume_mm3 * b.over_yield for b in pieces.values()) / volume
    assert over == pytest.approx(crushed.bone_over_yield, rel=1e-9, abs=1e-15)
    low, high = sorted(b.strain_ratio_p95 for b in pieces.values())
    assert low <= crushed.strain_ratio_p95 <= high


def test_carriers_of_a_fragment_carry_all_of_its_load(crushed: LoadResult,
                                                      under_plate: LoadResult) -> None:
    for load in (crushed, under_plate):
        assert load.fragments
        for fragment in load.fragments.values():
            assert sum(fragment.carried_by.values()) == pytest.approx(1.0, abs=1e-9)
            assert set(fragment.carried_by) == set(fragment.forces_N)


def test_without_equilibrium_names_stand_without_numbers() -> None:
    study = plated()
    study = study.model_copy(update={"constructs": (
        study.constructs[0].model_copy(update={"screws": ()}),)})
    load = solved(study)
    assert load.status == "no equilibrium"
    assert set(load.contacts) == {"plane", "plate"}
    assert load.contacts["plane"].pressure_max_MPa is None
    assert load.contacts["plane"].profile is None
    assert load.condyles["medial"].subsidence_mean_mm is None
    assert load.condyles["medial"].load_N > 0
    assert load.bone["shaft"].over_yield is None
    assert load.fragments["medial"].carried_by is None


def test_percentile_by_weight() -> None:
    values, weights = np.array([3.0, 1.0, 2.0]), np.array([1.0, 8.0, 1.0])
    assert percentile(values, weights, 0.5) == 1.0
    assert percentile(values, weights, 0.85) == 2.0
    assert percentile(values, weights, 0.95) == 3.0
