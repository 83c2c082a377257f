"""A sagittal slice: closed forms of half an ellipse, its load and sides, and its mirror image."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from under_loads import under_loads

from buttress.bone.bone import build_bone
from buttress.bone.patches import patches
from buttress.bone.section import Section
from buttress.fe.errors import InputError
from buttress.implants.placement import plate_line, screw_axis
from buttress.ranking.inputs import inputs_of
from buttress.report.folder import document
from buttress.results.reader import Reader
from buttress.rules.check import check
from buttress.rules.plate import apexes
from buttress.study.read import example, study_from
from buttress.study.study import Plate, Screw, SectionInput, Study
from buttress.sweeps.vary import plain

SHAFT = -95.0
SCREW = {"name": "s", "form": "HA 3.5", "side": "posterior", "height_mm": -12,
         "length_mm": "bicortical"}


def slice_(**changes: object) -> Section:
    return Section(SectionInput.model_validate({"plane": "sagittal", "outline": "simple", **changes}))


def study(constructs: tuple[str, ...] = ("buttress",), **section: Any) -> Study:
    data = plain(example("posterior-shear"))
    data["mesh"] = {"size_mm": 3.0, "coarse_mm": 7.0}
    data["load"]["total_N"] = [800.0]
    # The simple outline has a mirror image and a straight joint line.
    data["section"] |= {"outline": "simple"} | section
    data["construct"] = [c for c in data["construct"] if c["name"] in constructs]
    return study_from(data)


def across(bone: Section, level: float, n: int = 20000) -> tuple[np.ndarray, float]:
    """Midpoints (n, 2) over a cut parallel to the joint line, and their spacing in x."""
    a, middle = float(bone.half_width(level)), float(bone.centre(level))
    x = middle - a + (np.arange(n) + 0.5) * 2 * a / n
    return np.column_stack([x, level + bone.joint(x)]), 2 * a / n


@pytest.mark.parametrize("level", [-6.0, -30.0, SHAFT])
@pytest.mark.parametrize("deep", [None, 25.0])
def test_area_and_stiffness_are_those_of_half_an_ellipse_with_one_wall(level: float,
                                                                      deep: float | None) -> None:
    bone = slice_(**{} if deep is None else {"slice_mm": deep})
    xy, dx = across(bone, level)
    a, b, c = (float(f(level)) for f in (bone.half_width, bone.half_depth, bone.cortex))
    core = bone.core_thickness(xy)
    assert core.sum() * dx == pytest.approx(math.pi / 2 * (a - c) * (b - c), rel=1e-4)
    arm = xy[:, 0] - float(bone.centre(level))
    assert (core * arm**2).sum() * dx == pytest.approx(math.pi / 8 * (a - c) ** 3 * (b - c),
                                                       rel=1e-4)
    # The floor at the very edge adds a little, as in the whole bone.
    assert 1.0 <= bone.chord(xy).sum() * dx / (math.pi / 2 * a * b) < (1.005 if deep is None
                                                                       else 1.02)
    assert float(bone.chord(xy).max()) == pytest.approx(b, rel=1e-6)


def test_the_slice_of_a_whole_bone_is_half_of_it() -> None:
    # Turned by a quarter, the coronal section of a round bone is twice its sagittal slice.
    size = {"width_mm": 60, "depth_mm": 60, "slope_deg": 0, "shaft_offset_mm": 0}
    half = slice_(**size)
    whole = Section(SectionInput(width_mm=60, depth_mm=60, outline="simple"))
    xy = np.array([[3.0, -0.7], [-20.0, -10.0], [8.0, -50.0], [13.99, SHAFT]])
    np.testing.assert_allclose(2 * half.sheets(xy), whole.sheets(xy), rtol=1e-12)


def test_sheets_are_core_and_one_wall() -> None:
    bone = slice_()
    x = float(bone.centre(SHAFT))
    got = bone.sheets(np.array([[x, SHAFT]]))[0]
    # 14 mm of shaft, of which 5 mm are cortex; nu 0.3 in both.
    e = 400.0 * 9.0 + 17000.0 * 5.0
    np.testing.assert_allclose(got, [e / 0.91, 0.3 * e / 0.91, e / 2.6], rtol=1e-12)


def test_the_joint_falls_to_the_back_and_the_shaft_stands_in_front() -> None:
    bone = slice_()
    fall = math.tan(math.radians(6.0))
    assert bone.joint(10.0) == pytest.approx(-10 * fall)
    points, labels = bone.outline()
    joint = [i for i, label in enumerate(labels) if label == "joint"]
    ends = np.array([[points[i], points[(i + 1) % len(points)]] for i in joint]).reshape(-1, 2)
    np.testing.assert_allclose(ends[:, 1], -ends[:, 0] * fall, atol=1e-12)
    shaft = bone.surface("anterior")[-1, 0] + bone.surface("posterior")[-1, 0]
    assert shaft / 2 == pytest.approx(-0.3 * 48)     # one fifth of 48 mm behind the front edge
    assert {points[i][1] for i, label in enumerate(labels) if label == "base"} == {-120.0}
    assert slice_(condyle="lateral").given.slope == 5
    below = np.array([[15.0, -15 * fall - 1.0], [-15.0, 15 * fall - 1.0]])
    np.testing.assert_allclose(bone.below(below), 1.0)
    np.testing.assert_allclose(bone.local_bone(below).modulus, 2300.0)   # subchondral all along


def test_the_wall_is_on_one_side_of_the_slice_only() -> None:
    bone = slice_()
    middle = np.array([float(bone.centre(-30.0)), -30.0 + float(bone.joint(bone.centre(-30.0)))])
    half = float(bone.half_depth(-30.0)) / 2
    assert bone.is_cortex(middle, half - 0.5)           # outwards
    assert not bone.is_cortex(middle, -half + 0.5)      # where it is cut from the other condyle
    assert bone.local_bone(middle, half - 0.5).modulus == 17000


def test_step_off_is_across_the_sloping_joint_line() -> None:
    bone = build_bone(study())
    [edge] = bone.edges
    along, across = 0.3, -0.2                           # of lip b against lip a
    slope = math.radians(6.0)
    move = (along * math.cos(slope) + across * math.sin(slope),
            -along * math.sin(slope) + across * math.cos(slope))
    values = {f"lip {k} {edge.name} {c}": 0.0 for k in "ab" for c in "xy"}
    values |= {f"lip b {edge.name} x": move[0], f"lip b {edge.name} y": move[1]}
    step, gap = Reader(bone, (), {}).step_off(values, edge.name)
    assert step == pytest.approx(0.2)
    assert abs(gap) == pytest.approx(0.3)


def test_side_walls_go_down_for_every_slope() -> None:
    for slope in (-11.0, 11.0):
        for wall in slice_(slope_deg=slope).shape.walls():
            assert np.all(np.diff(wall[:, 1]) < 0)


def test_implants_on_its_sides() -> None:
    bone = slice_()
    axis = screw_axis(bone, Screw.model_validate(SCREW | {"angle_deg": 10}))
    assert axis.direction == pytest.approx([-math.cos(math.radians(10)),
                                            math.sin(math.radians(10))])
    plate = Plate.model_validate({"name": "p", "section": "one-third tubular", "length_mm": 60,
                                  "side": "anterior", "top_mm": -20})
    assert np.all(plate_line(bone, plate).normals[:, 0] < 0)
    [(name, x, y)] = apexes(study(), Section(study().section), "posterior")
    assert (name, round(x), round(y)) == ("shear plane", 8, -45)
    with pytest.raises(InputError, match="above the joint line"):
        screw_axis(bone, Screw.model_validate(SCREW | {"height_mm": -1}))
    with pytest.raises(InputError, match="above the joint line"):
        plate_line(bone, plate.model_copy(update={"side": "posterior", "top_mm": 0.0}))
    with pytest.raises(InputError, match="outside the slice"):
        screw_axis(bone, Screw.model_validate(SCREW | {"position_in_depth_mm": 30}))


def test_its_load_is_the_share_of_its_condyle() -> None:
    here = study(condyle="lateral")
    [patch] = patches(here)
    assert (patch.name, patch.centre, patch.share) == ("lateral", 9, pytest.approx(0.35))
    bone = build_bone(here)
    force = sum((column.values[column.dofs % 2 == 1].sum() for _, column in bone.loads[0]))
    assert float(bone.load_vector(800.0)[0] * force) == pytest.approx(-0.35 * 800)
    with pytest.raises(InputError, match="extends beyond the edge") as caught:
        check(study_from(plain(here) | {"load": {"slice_centre_mm": 14}}))
    assert caught.value.key == "load.slice_centre_mm"


def test_results_of_a_slice_have_no_widening_and_close() -> None:
    comparison = under_loads(study(), limits=False, pictures=False)
    [load] = comparison.constructs[0].loads
    assert load.status == "held"
    assert load.widening_mm is None
    fragment = load.fragments["posterior fragment"]
    assert fragment.balance_error is not None
    assert fragment.balance_error < 1e-9
    # The share of the patch behind the place where the fracture leaves the joint.
    load_of, [(x0, y0), (x1, y1)] = study().load, study().fractures[0].points_mm
    fall = math.tan(math.radians(6.0))      # of the joint line, which the fracture crosses at x
    x = x0 + (x1 - x0) * (y0 + fall * x0) / (y0 - y1 - fall * (x1 - x0))
    half = load_of.patch_width_mm / 2
    behind = (load_of.slice_centre + half - max(x, load_of.slice_centre - half)) / (2 * half)
    assert 0.5 < behind < 1.0
    assert fragment.applied_N[1] == pytest.approx(-0.65 * 800 * behind, rel=1e-3)
    assert load.stiffness_N_per_mm is not None
    given = document(comparison)["study"]
    assert given["section"]["slope_deg"] == 6
    assert given["section"]["slice_mm"] == 38
    assert given["load"]["slice_centre_mm"] == 9


def test_mirror_image() -> None:
    """Front and back exchanged, with the slope and the shaft's offset: the same answer."""
    one = study(("buttress", "front lag screws"))
    data = plain(one)
    data["section"] |= {"slope_deg": -6.0, "shaft_offset_mm": -14.4}
    flip = {"anterior": "posterior", "posterior": "anterior"}
    for row in data["fracture"]:
        row["points_mm"] = [[-x, y] for x, y in row["points_mm"]]
    for row in data["fragment"]:
        row["inside_mm"][0] *= -1
    data["load"]["slice_centre_mm"] *= -1
    for construct in data["construct"]:
        for part in (*construct.get("plate", ()), *construct.get("screw", ())):
            if "side" in part:
                part["side"] = flip[part["side"]]
    for a, b in zip(under_loads(one, limits=False, pictures=False).constructs,
                    under_loads(study_from(data), limits=False, pictures=False).constructs, strict=True):
        x, y = (c.loads[0].fragments["posterior fragment"] for c in (a, b))
        # The meshes are no mirror images of each other: as in the coronal plane, 2 % are left.
        assert y.subsidence_mean_mm == pytest.approx(x.subsidence_mean_mm, rel=0.02)
        assert y.tilt_deg == pytest.approx(-x.tilt_deg, rel=0.05)
        assert b.capacity_N[1] == pytest.approx(a.capacity_N[1], rel=0.02)


@pytest.mark.parametrize(("table", "changes", "key", "told"), [
    ("section", {"plane": "coronal", "condyle": "medial"}, "section.condyle", "sagittal"),
    ("section", {"plane": "axial"}, "section.plane", '"coronal" or "sagittal"'),
    ("section", {"slope_deg": 60}, "section.slope_deg", "-11 to 11"),
    ("section", {"slice_mm": 0.038}, "section.slice_mm", "metres"),
    ("section", {"slice_mm": 60, "width_mm": 50}, "section.slice_mm", "at most width_mm"),
    ("section", {"slice_mm": 12}, "section.shaft_cortex_mm", "fills the whole shaft"),
    ("section", {"condyle": "middle"}, "section.condyle", '"medial" or "lateral"'),
    ("fragment", [{"name": "f", "inside_mm": [14, -12], "depth_mm": 40}], "fragment.f.depth_mm",
     "section.slice_mm = 38"),
    ("construct", [{"name": "c", "screw": [SCREW | {"side": "medial"}]}],
     "construct.c.screw.s.side", '"anterior" or "posterior"'),
])
def test_wrong_input(table: str, changes: Any, key: str, told: str) -> None:
    data = plain(example("posterior-shear"))
    data[table] = data[table] | changes if isinstance(changes, dict) else changes
    with pytest.raises(InputError) as caught:
        study_from(data)
    assert caught.value.key == key
    assert told in str(caught.value)


def test_the_coronal_plane_has_no_anterior_side_and_no_slice() -> None:
    data = plain(example("medial-shear"))
    data["construct"][2]["plate"][0]["side"] = "anterior"
    with pytest.raises(InputError, match=r'coronal section has no anterior side.*"medial" or'):
        study_from(data)
    data = plain(example("medial-shear"))
    data["load"]["slice_centre_mm"] = 5.0
    with pytest.raises(InputError, match="belongs to a sagittal section"):
        study_from(data)


def test_a_ranking_moves_the_patch_of_the_slice_and_no_other() -> None:
    names = {entry.key for entry in inputs_of(example("posterior-shear"))}
    assert "load.slice_centre_mm" in names
    assert "load.medial_centre_mm" not in names
    assert "load.slice_centre_mm" not in {e.key for e in inputs_of(example("medial-shear"))}
