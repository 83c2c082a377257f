"""Keys of a study by dotted path, and studies with other values at them."""

from __future__ import annotations

import math

import pytest
from simple_shear import simple_shear

from buttress.bone.bone import build_meshes
from buttress.bone.section import Section
from buttress.fe.errors import InputError
from buttress.model.resolve import resolved
from buttress.study.read import example, example_names, study_from
from buttress.sweeps.vary import SCALES, Case, Varier, addresses, known_keys, plain, varied

STUDY = simple_shear()
PLATE = "construct.antiglide.plate.antiglide plate"


def test_every_known_key_is_found_and_can_be_set_to_what_it_is() -> None:
    varier, data = Varier(STUDY), plain(STUDY)
    assert len(known_keys(STUDY)) > 50
    for key in known_keys(STUDY):
        assert addresses(STUDY, key) == (tuple(key.split(".")),)
        here = data
        for part in key.split("."):
            if isinstance(here, list):
                named = [e for e in here if isinstance(e, dict) and e["name"] == part]
                here = named[0] if named else here[int(part) - 1]
            else:
                here = here.get(part) if isinstance(here, dict) else None
        if here is not None:
            assert varier.case({key: here}).study == STUDY, key


def test_values_are_put_where_the_key_says() -> None:
    case = varied(STUDY, {"section.bone": "soft", "fracture.shear plane.friction": 0.3,
                          f"{PLATE}.top_mm": -30.0, "load.total_N": 750,
                          "construct.antiglide.screw.shaft 2.angle_deg": 5.0,
                          "fracture.shear plane.points_mm.1.1": -4.0})
    study = case.study
    assert study.section.bone == "soft"
    assert study.fractures[0].friction == 0.3
    assert study.fractures[0].points_mm[0] == (-4.0, 0.0)
    assert study.load.total_N == (750.0,)
    antiglide = next(c for c in study.constructs if c.name == "antiglide")
    assert antiglide.plates[0].top_mm == -30.0
    assert [s.angle_deg for s in antiglide.screws] == [-15.0, 5.0, 0.0]
    # Nothing else has changed: neither the other constructs nor the study that was given.
    assert study.constructs[-1] == STUDY.constructs[-1]
    assert STUDY.section.bone == "dense"


def test_a_key_that_is_not_in_the_file_can_be_set() -> None:
    assert STUDY.constructs[1].screws[0].pilot_mm is None
    case = varied(STUDY, {"construct.lag screws.screw.upper lag.pilot_mm": 3.5})
    assert case.study.constructs[1].screws[0].pilot_mm == 3.5


def test_the_thickness_of_a_plate_given_by_its_section_can_be_set() -> None:
    study = varied(STUDY, {f"{PLATE}.thickness_mm": 1.5}).study
    antiglide = next(c for c in study.constructs if c.name == "antiglide")
    assert antiglide.plates[0].section == "one-third tubular"
    assert antiglide.plates[0].thickness_mm == 1.5
    assert resolved(STUDY)["construct"][2]["plate"][0]["thickness_mm"] == 1.0


def test_a_star_stands_for_every_name() -> None:
    case = varied(STUDY, {"construct.*.screw.*.material": "titanium"})
    assert {s.material for c in case.study.constructs for s in c.screws} == {"titanium"}
    assert {p.material for c in case.study.constructs for p in c.plates} == {"steel"}


def test_members_are_there_or_not_and_a_plate_takes_its_screws_along() -> None:
    without = varied(STUDY, {"construct.antiglide + lag screws.screw.upper lag.present": False})
    names = [s.name for s in without.study.constructs[4].screws]
    assert names == ["lower lag", "shaft 1", "shaft 2", "shaft 3"]
    bare = varied(STUDY, {"construct.antiglide + lag screws.plate.antiglide plate.present": False})
    assert not bare.study.constructs[4].plates
    assert [s.name for s in bare.study.constructs[4].screws] == ["upper lag", "lower lag"]
    assert varied(STUDY, {f"{PLATE}.present": True}).study == STUDY


def test_a_construct_and_a_part_of_it_may_both_be_missing() -> None:
    study = varied(STUDY, {"construct.antiglide.present": False,
                           "construct.antiglide.screw.shaft 1.present": False}).study
    assert [c.name for c in study.constructs] == [
        c.name for c in STUDY.constructs if c.name != "antiglide"]


def test_number_of_screws_takes_whole_numbers_only() -> None:
    key = "construct.lag screws.screw.upper lag.count"
    assert varied(STUDY, {key: 2.0}).study.constructs[1].screws[0].count == 2
    with pytest.raises(InputError, match="whole number"):
        varied(STUDY, {key: 2.5})


@pytest.mark.parametrize("slope", [10.0, 20.0, 35.0, 60.0])
def test_slope_turns_a_fracture_about_its_end_at_the_joint(slope: float) -> None:
    before = STUDY.fractures[0].points_mm
    after = varied(STUDY, {"fracture.shear plane.slope_deg": slope}).study.fractures[0].points_mm
    assert after[0] == pytest.approx(before[0])
    dx, dy = after[1][0] - after[0][0], after[0][1] - after[1][1]
    assert math.degrees(math.atan2(-dx, dy)) == pytest.approx(slope)
    # Near the long axis the drawn line would end inside the bone, so it is drawn on.
    longer = math.dist(*after) - math.dist(*before)
    assert longer > 1e-3 if slope == 10.0 else longer == pytest.approx(0.0, abs=1e-4)


def test_turn_is_the_same_as_slope_by_the_difference() -> None:
    (x0, y0), (x1, y1) = STUDY.fractures[0].points_mm
    now = math.degrees(math.atan2(x0 - x1, y0 - y1))
    turned = varied(STUDY, {"fracture.shear plane.turn_deg": 4.0})
    sloped = varied(STUDY, {"fracture.*.slope_deg": now + 4.0})
    for a, b in zip(turned.study.fractures[0].points_mm, sloped.study.fractures[0].points_mm,
                    strict=True):
        assert a == pytest.approx(b)


def test_a_turned_fracture_keeps_its_corner_with_a_void() -> None:
    study = example("lateral-depression")
    turned = varied(study, {"fracture.*.turn_deg": -5.0}).study
    inner, outer = (f.points_mm for f in turned.fractures)
    corners = turned.voids[0].points_mm
    assert corners[0] == inner[1] != study.fractures[0].points_mm[1]
    assert corners[3] == outer[1] != study.fractures[1].points_mm[1]
    assert corners[1:3] == study.voids[0].points_mm[1:3]
    assert [x[1][1] for x in (inner, outer)] == [x.points_mm[1][1] for x in study.fractures]
    now, then = (math.atan2(p[0][0] - p[1][0], p[0][1] - p[1][1])
                 for p in (study.fractures[0].points_mm, inner))
    assert math.degrees(now - then) == pytest.approx(5.0)


def test_a_free_end_is_drawn_on_through_the_surface() -> None:
    data = plain(STUDY)
    data["fracture"][0]["points_mm"][1] = [-19.8, -46.2]  # just outside
    study = study_from(data)
    after = varied(study, {"fracture.shear plane.turn_deg": -6.0}).study.fractures[0].points_mm
    assert math.dist(*after) > math.dist(*study.fractures[0].points_mm) + 1.0
    x, y = after[1]
    assert x < float(Section(study.section).surface("medial")[:, 0].max())
    assert math.degrees(math.atan2(after[0][0] - x, -y)) == pytest.approx(
        math.degrees(math.atan2(16.8, 46.2)) - 6.0)
    build_meshes(varied(study, {"fracture.shear plane.turn_deg": -6.0}).study)


@pytest.mark.parametrize("name", example_names())
@pytest.mark.parametrize("turn", [-4.0, 4.0])
def test_every_shipped_study_can_be_turned_and_meshed(name: str, turn: float) -> None:
    drawn = varied(example(name), {"mesh.size_mm": 5.0}).study
    study = varied(drawn, {"fracture.*.turn_deg": turn}).study
    (before, _), (after, faces) = build_meshes(drawn), build_meshes(study)
    assert [m.name for m in after] == [m.name for m in before]
    assert {f.name for f in faces} >= {f.name for f in study.fractures}
    # Together they are the same bone, divided otherwise.
    assert sum(m.area for m in after) == pytest.approx(sum(m.area for m in before), rel=1e-6)
    assert [m.area for m in after] != pytest.approx([m.area for m in before], rel=1e-3)


def test_coarse_mesh_follows_the_fine_one_unless_it_is_varied_too() -> None:
    assert varied(STUDY, {"mesh.size_mm": 2.5}).study.mesh.coarse_mm == 5.0
    both = varied(STUDY, {"mesh.size_mm": 2.5, "mesh.coarse_mm": 4.0})
    assert both.study.mesh.coarse_mm == 4.0


def test_scales_stand_beside_the_study() -> None:
    case = varied(STUDY, {"scale.cancellous_strength": 0.7})
    assert case.study == STUDY
    assert case.scale("cancellous_strength") == 0.7
    assert case.scale("bearing_stiffness") == 1.0
    assert Case(STUDY).scales == {}
    assert all(f"scale.{name}" in known_keys(STUDY) for name in SCALES)


@pytest.mark.parametrize(("key", "told"), [
    ("section.modulus_scal", "section.modulus_scale"),
    ("fracture.shear plan.friction", "fracture.shear plane.friction"),
    ("construct.antiglide.plate.antiglide plate.topmm", f"{PLATE}.top_mm"),
    ("load.total", "load.total_N"),
    ("scale.strength", "cancellous_strength, bearing_stiffness"),
    ("construct.antiglid.present", "construct.antiglide.present"),
    ("fracture.shear plane.points_mm.3.1", "shear plane"),
    ("title", "text cannot be varied"),
    ("", "one of section"),
    ("construct.lag screws.screw",
     "an incomplete key; key: construct.lag screws.screw; expected: after "
     "'construct.lag screws.screw': one of upper lag, lower lag"),
    ("fracture", "after 'fracture': one of shear plane"),
    ("fracture.shear plane.friction.3", "nothing after 'fracture.shear plane.friction'"),
])
def test_an_unknown_key_is_told_with_the_closest(key: str, told: str) -> None:
    with pytest.raises(InputError) as caught:
        varied(STUDY, {key: 1.0})
    assert told in str(caught.value)


@pytest.mark.parametrize(("values", "told"), [
    ({"section.width_mm": 0.076}, "looks like metres"),
    ({"section.bone": 3.0}, "section.bone"),
    ({f"{PLATE}.present": 1.0}, "true or false"),
    ({"scale.bearing_stiffness": 0.0}, "0.05 to 20"),
    ({"scale.bearing_stiffness": True}, "0.05 to 20"),
    ({"fracture.shear plane.slope_deg": 95.0}, "0 to 90"),
    ({"fracture.shear plane.turn_deg": "steep"}, "degrees"),
    ({"construct.antiglide.screw.shaft 1.hole": 9}, "hole"),
])
def test_what_is_not_valid_is_refused(values: dict[str, object], told: str) -> None:
    with pytest.raises(InputError) as caught:
        varied(STUDY, values)
    assert told in str(caught.value)
