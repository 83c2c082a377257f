"""Rules of the trade: each fires on the construct that breaks it, and not on the one beside it."""

from __future__ import annotations

from html import unescape
from typing import Any

import pytest
from rule_findings import found_in
from small_study import small_study
from under_loads import under_loads

from buttress.bone.section import Section
from buttress.fe.errors import InputError
from buttress.implants.placement import screw_axis
from buttress.report.tables import main_table
from buttress.report.terminal import lines
from buttress.rules.check import Finding, check
from buttress.rules.plate import apexes
from buttress.rules.screw import place, thread_hold
from buttress.study.read import Study, example, study_from

LAG = {"name": "lag", "form": "HB 6.5", "side": "medial", "height_mm": -14, "length_mm": 76.5,
       "thread_mm": 32, "use": "lag", "tension_N": 300}
PLATE = {"name": "plate", "section": "3.5 straight", "side": "medial", "top_mm": -25,
         "length_mm": 70}


def shaft(hole: int, **changes: Any) -> dict[str, Any]:
    return {"name": f"shaft {hole}", "form": "HA 3.5", "plate": "plate", "hole": hole,
            "length_mm": "bicortical"} | changes


def study(screws: list[dict[str, Any]] | None = None, plates: list[dict[str, Any]] | None = None,
          **changes: Any) -> Study:
    data = {
        "name": "x",
        "section": {"outline": "simple"},
        "fracture": [{"name": "plane", "points_mm": [[-3, 0], [-24, -57.7]]}],
        "fragment": [{"name": "medial", "inside_mm": [-25, -12]}],
        "construct": [{"name": "c", "screw": screws or [], "plate": plates or []}],
    }
    return study_from(data | changes)


def rules(*args: Any, **changes: Any) -> dict[str, Finding]:
    return found_in(study(*args, **changes))


def test_the_shipped_study_breaks_no_rule() -> None:
    assert [f for f in check(example("medial-shear")) if f.level != "note"] == []


def test_good_constructs_are_left_in_peace() -> None:
    assert rules() == {}
    assert rules([LAG]) == {}
    assert rules([shaft(3), shaft(4)], [PLATE], press={"large_movements": "auto"}) == {}


@pytest.mark.parametrize(("section", "told"), [
    ({"bone": "soft"}, "cancellous bone"), ({"bone": "foam", "foam_grade": 15}, "foam")])
def test_what_holds_a_short_screw_is_named_by_what_the_study_is_made_of(
        section: dict[str, Any], told: str) -> None:
    """A screw in foam was "held by cancellous bone only"."""
    found = rules([LAG | {"length_mm": 60, "tension_N": 50}],
                  section={"outline": "simple"} | section)["tip short of the cortex"]
    assert found.reason == f"a screw that does not reach the far cortex is held by {told} only"


@pytest.mark.parametrize(("changes", "level", "told"), [
    ({"height_mm": -20, "length_mm": 18, "thread_mm": 10}, "warning",
     'the screw lies wholly within "medial" and holds it to nothing'),
    ({"height_mm": -20, "length_mm": 18, "thread_mm": 10, "count": 2}, "warning",
     'the row of 2 screws lies wholly within "medial" and holds it to nothing'),
    ({"height_mm": -66, "length_mm": "bicortical", "thread_mm": 10}, "note",
     "the screw lies wholly within the shaft and holds no piece to it")])
def test_a_screw_that_joins_no_pieces_is_told(changes: dict[str, Any], level: str, told: str
                                              ) -> None:
    """`check` said nothing of it."""
    alone = LAG | {"use": "positional", "tension_N": None} | changes
    found = rules([{k: v for k, v in alone.items() if v is not None}])["joins pieces"]
    assert (found.level, found.message) == (level, told)
    assert "joins pieces" not in rules([LAG])
    assert "joins pieces" not in rules([shaft(3), shaft(4)], [PLATE])


@pytest.mark.parametrize(("changes", "rule", "level", "told"), [
    ({"thread_mm": 60}, "lag thread beyond", "broken", 'head side of "plane"'),
    ({"form": "HA 3.5", "thread_mm": None, "gliding_mm": 3.0}, "lag thread beyond", "broken",
     "head side"),
    ({"form": "HA 3.5", "thread_mm": None, "gliding_mm": 3.0}, "gliding hole", "broken", "3 mm"),
    ({"length_mm": 25, "thread_mm": 16}, "lag screw crosses", "broken", "no fracture"),
    ({"height_mm": -80, "length_mm": "bicortical", "thread_mm": 16}, "lag screw crosses",
     "broken", "no fracture"),
    ({"use": "positional", "thread_mm": 60}, "thread on both sides", "warning", '"plane"'),
    ({"length_mm": 79}, "tip beyond the cortex", "warning", "3.0 mm"),
    ({"length_mm": 70}, "tip short of the cortex", "note", "6.0 mm"),
    ({"pilot_mm": 2.5}, "pilot drill", "broken", "3 mm core"),
    ({"pilot_mm": 6.5}, "pilot drill", "broken", "6.5 mm thread"),
    ({"tension_N": 1500}, "lag tension", "warning", "1500 N"),
    ({"tension_N": 2500}, "lag tension", "broken", "2500 N"),
    ({"angle_deg": 20}, "out of the joint", "broken", "joint surface"),
    ({"height_mm": -3.5, "length_mm": 74}, "out of the joint", "broken", "the joint surface at x = "),
    ({"position_in_depth_mm": 21}, "inside the section", "broken", "+21 mm"),
])
def test_rules_for_one_screw(changes: dict[str, Any], rule: str, level: str, told: str) -> None:
    given = {k: v for k, v in (LAG | changes).items() if v is not None}
    finding = rules([given])[rule]
    assert finding.level == level
    assert finding.part == "lag"
    assert told in finding.message


def test_a_gliding_hole_makes_a_cortical_screw_a_lag_screw() -> None:
    cortical = {k: v for k, v in LAG.items() if k != "thread_mm"} | {"form": "HA 3.5"}
    assert rules([cortical]) == {}
    assert "thread on both sides" in rules([cortical | {"use": "positional"}])


def test_a_lag_thread_that_spans_a_second_fracture_is_told() -> None:
    second = {"fracture": [{"name": "plane", "points_mm": [[-3, 0], [-24, -57.7]]},
                           {"name": "second", "points_mm": [[20, 0], [20, -60]]}]}
    assert '"second"' in rules([LAG], **second)["thread on both sides"].message
    assert rules([LAG | {"thread_mm": 16}], **second) == {}


def test_a_locked_screw_across_a_fracture_is_only_a_note_and_cannot_compress() -> None:
    across = shaft(1, angle_deg=-10, locked=True)
    found = rules([across, shaft(3), shaft(4)], [PLATE])
    assert found["thread on both sides"].level == "note"
    assert "locked head" not in found
    assert rules([across | {"tension_N": 100}], [PLATE])["locked head"].level == "broken"


def test_a_thread_that_holds_in_no_bone() -> None:
    # The axis leaves the bone at once: the thread, at the tip, is outside.
    given = LAG | {"height_mm": -60, "angle_deg": 0, "length_mm": 60, "thread_mm": 16}
    assert rules([given])["thread holds"].level == "broken"


def test_tension_is_compared_with_what_the_thread_holds() -> None:
    bone = study([LAG])
    section = Section(bone.section)
    screw = bone.constructs[0].screws[0]
    held = thread_hold(section, place(bone, screw, screw_axis(section, screw, [])))
    # 30 mm in cancellous bone of 1028 MPa (shear strength 1.680 MPa), 1.5 mm in the cortex.
    by_hand = 3.14159 * 6.5 * 0.86740 * (30.0 * 1.680 + 1.5 * 51.6)
    assert held == pytest.approx(by_hand, rel=0.005)
    assert "lag tension" not in rules([LAG | {"tension_N": 0.59 * held}])
    for share, level in ((0.61, "warning"), (0.99, "warning"), (1.01, "broken")):
        assert rules([LAG | {"tension_N": share * held}])["lag tension"].level == level


# --- plates -------------------------------------------------------------------------------------

def test_a_tip_in_the_far_cortex_is_held_by_what_it_enters() -> None:
    """The exit is 76 mm from the head; 1.5 mm of cortex in the plane."""
    short = {x: check(study([LAG | {"length_mm": x}])) for x in (70, 75.7)}
    deep, within = (next(f for f in found if f.rule == "tip short of the cortex")
                    for found in short.values())
    assert "within it" in within.message
    assert "cancellous" not in within.reason
    assert "within it" not in deep.message
    assert deep.reason.endswith("is held by cancellous bone only")    # its thread lies far away


def test_a_tip_in_the_near_cortex_is_not_said_to_lie_in_the_far_one() -> None:
    """A screw of 6 mm in the shaft ended "23.8 mm short of the far cortex, within it"."""
    found = rules([shaft(4) | {"length_mm": 6}], [PLATE])["tip short of the cortex"]
    assert "within it" not in found.message
    assert found.reason.endswith("is held by the near one and cancellous bone only")


def test_an_empty_hole_next_below_the_apex_is_noted() -> None:
    """The apex lies between holes 2 and 3 of a plate from -25 mm."""
    rule = "screw next to the apex"
    near = rules([shaft(3), shaft(4), shaft(6)], [PLATE])
    far = rules([shaft(5), shaft(6)], [PLATE])
    assert rule not in near
    assert far[rule].level == "note"
    assert far[rule].message.startswith("holes 3 and 4 are empty")


def test_a_screw_just_below_the_apex_calls_for_large_movements() -> None:
    """With an arm of 1.4 mm a plate carried twice as much once its fragment's slip shortened it."""
    rule, screws = "arm that shortens", [shaft(3), shaft(4), shaft(6)]
    small = {"press": {"large_movements": "off"}}
    told = rules(screws, [PLATE], **small)[rule]
    assert told.level == "note"
    arm = float(told.message.split(" lies ")[1].split(" mm")[0])
    assert 0.0 < arm < 5.0
    # As the plate is moved down, so is its screw; beyond 5 mm nothing is said.
    lower = [rule in rules(screws, [PLATE | {"top_mm": -25.0 - x}], **small)
             for x in (0.8 * (5.0 - arm), 1.2 * (5.0 - arm))]
    assert lower == [True, False]
    assert rule not in rules(screws, [PLATE], press={"large_movements": "auto"})


def test_the_apex_is_where_the_fracture_leaves_the_cortex() -> None:
    bone = study()
    [(name, x, y)] = apexes(bone, Section(bone.section), "medial")
    assert name == "plane"
    assert -50 < y < -47
    assert x == pytest.approx(-float(Section(bone.section).half_width(y)), abs=0.05)
    assert apexes(bone, Section(bone.section), "lateral") == []


def test_a_level_fracture_has_no_apex() -> None:
    """What lies on it rests there: a plate beside it was said to break a rule."""
    level = study(fracture=[{"name": "level", "points_mm": [[-40, -30], [40, -30]]}],
                  fragment=[{"name": "head", "inside_mm": [0, -10]}])
    for side in ("medial", "lateral"):
        assert apexes(level, Section(level.section), side) == []
        found = rules([shaft(3), shaft(4)], [PLATE | {"side": side}], fracture=[{
            "name": "level", "points_mm": [[-40, -30], [40, -30]]}], fragment=[{
                "name": "head", "inside_mm": [0, -10]}])["plate over the apex"]
        assert found.level == "note"
        assert found.message == (f'what exits on the {side} side ("level") is nearly level: a level '
                                 "fracture has no apex to buttress")


@pytest.mark.parametrize(("screws", "plate", "rule", "level", "told"), [
    ([], {}, "plate without screws", "broken", "no screw"),
    ([3, 4], {"top_mm": -52, "length_mm": 60}, "plate over the apex", "broken", "apex"),
    ([1, 2], {"length_mm": 22}, "plate over the apex", "broken", "apex"),
    ([2, 5], {}, "two screws below the apex", "broken", "only one screw of this plate"),
    ([1, 2], {}, "two screws below the apex", "broken", "no screw of this plate lies"),
    ([3, 4], {"side": "lateral"}, "plate over the apex", "note", "lateral"),
    ([3, 4], {"mismatch_mm": 1}, "plate off the bone", "note", "is 1.0 mm off the bone at its middle"),
    ([3, 4], {"mismatch_mm": -1.5}, "plate off the bone", "note", "the ends of the plate are 1.5 mm"),
])
def test_rules_for_plates(screws: list[int], plate: dict[str, Any], rule: str, level: str,
                          told: str) -> None:
    finding = rules([shaft(n) for n in screws], [PLATE | plate])[rule]
    assert finding.level == level
    assert finding.part == "plate"
    assert told in finding.message


def test_two_plates_in_one_place() -> None:
    other = PLATE | {"name": "other", "top_mm": -60, "length_mm": 30}
    screws = [shaft(3, length_mm=20), shaft(4, length_mm=20)]
    assert "overlaps" in rules(screws, [PLATE, other])["implants meet"].message
    assert "implants meet" not in rules(screws, [PLATE, other | {"side": "lateral"}])
    above = PLATE | {"name": "above", "top_mm": -6, "length_mm": 15}
    assert "implants meet" not in rules(screws, [PLATE, above])


def test_screws_side_by_side_in_one_row_of_holes_count_each() -> None:
    pair = shaft(3, count=2)
    row = rules([pair], [PLATE])["head beside the plate"]
    assert row.level == "broken"
    assert "a longer row fits only a wider head of a plate" in row.reason
    one = rules([shaft(3, position_in_depth_mm=8), shaft(4)], [PLATE])["head beside the plate"]
    assert 'the head of "shaft 3" extends' in one.message
    assert "position_in_depth_mm" in one.reason
    assert "row" not in one.reason
    wide = {k: v for k, v in PLATE.items() if k != "section"} | {"holes_mm": [5, 17, 35], "segments": [
        {"length_mm": 70, "width_mm": 16, "thickness_mm": 3}]}
    del wide["length_mm"]
    assert rules([pair], [wide]) == {}
    assert "two screws below the apex" in rules([shaft(3)], [PLATE])


# --- screws that meet ---------------------------------------------------------------------------

@pytest.mark.parametrize(("height", "depth", "meet"), [
    (-19, 0, True), (-21, 0, False), (-14, 6, True), (-14, 7, False), (-18.5, -4.5, True),
    (-18.5, -5, False)])
def test_screws_meet_in_section_and_depth(height: float, depth: float, meet: bool) -> None:
    other = LAG | {"name": "other", "height_mm": height, "position_in_depth_mm": depth,
                   "length_mm": 70}
    assert ("implants meet" in rules([LAG, other])) is meet


def test_crossing_screws_meet_unless_apart_in_depth() -> None:
    down = LAG | {"name": "down", "height_mm": -8, "angle_deg": -15, "length_mm": 70}
    up = LAG | {"name": "up", "height_mm": -24, "angle_deg": 5, "length_mm": 65}
    assert "implants meet" in rules([down, up])
    assert "implants meet" not in rules([down, up | {"position_in_depth_mm": 8}])


def test_a_row_of_screws_meets_by_its_nearest_pair() -> None:
    row = LAG | {"count": 3}  # at -10, 0, +10 in depth
    other = LAG | {"name": "other", "height_mm": -17}
    assert "implants meet" in rules([row, other | {"position_in_depth_mm": 10}])
    assert "implants meet" not in rules([LAG, other | {"position_in_depth_mm": 10}])


@pytest.mark.parametrize(("height", "depth", "meet"), [(-26, 0, True), (-19, 0, False),
                                                       (-26, 10, False)])
def test_a_head_under_a_plate(height: float, depth: float, meet: bool) -> None:
    lag = LAG | {"height_mm": height, "position_in_depth_mm": depth, "length_mm": 60}
    found = rules([lag, shaft(3), shaft(4)], [PLATE])
    assert ("implants meet" in found) is meet


# --- what cannot be solved ----------------------------------------------------------------------

@pytest.mark.parametrize(("changes", "key", "value", "told"), [
    ({"fragment": [{"name": "f", "inside_mm": [-45, -12]}]}, "fragment.f.inside_mm", "[-45, -12]",
     "-38.0"),
    ({"fragment": [{"name": "f", "inside_mm": [0, 5]}]}, "fragment.f.inside_mm", "[0, 5]",
     "-120 and 0"),
    ({"fracture": [{"name": "g", "points_mm": [[80, 0], [90, -9]]}]}, "fracture.g.points_mm",
     "", "across the section"),
    ({"load": {"medial_centre_mm": -30}}, "load.medial_centre_mm", "-30", "between -25 and 25 mm"),
    ({"load": {"medial_centre_mm": -23, "patch_width_mm": 26}}, "load.medial_centre_mm", "-23",
     "between -21 and 21 mm"),
])
def test_bone_that_cannot_be_solved(changes: dict[str, Any], key: str, value: str, told: str
                                    ) -> None:
    with pytest.raises(InputError, match=told) as caught:
        check(study(**changes))
    assert caught.value.key == key
    assert caught.value.value == value


def test_an_implant_that_touches_no_bone_is_named_with_its_construct() -> None:
    with pytest.raises(InputError, match="below the clamp") as caught:
        check(study([shaft(1)], [PLATE | {"top_mm": -90}]))
    assert caught.value.key == "construct.c.plate.plate.length_mm"
    with pytest.raises(InputError) as caught:
        check(study([LAG | {"position_in_depth_mm": -40}]))
    assert caught.value.key == "construct.c.screw.lag.position_in_depth_mm"


def test_a_plate_whose_screws_cross_the_fracture_is_told_once() -> None:
    plate = PLATE | {"top_mm": -8}
    high = rules([shaft(1), shaft(2), shaft(5)], [plate])["plate screws cross"]
    assert (high.level, high.part) == ("note", "plate")
    assert high.message == 'its screws "shaft 1" and "shaft 2" cross "plane"'
    assert "plate screws cross" not in rules([shaft(5)], [plate])


def test_what_a_plate_crosses_stands_beside_its_answer() -> None:
    found = under_loads(small_study("antiglide", "antiglide + screw"), pictures=False)
    assert found["antiglide"].remarks == ()
    [said] = found["antiglide + screw"].remarks
    assert said == 'antiglide plate: its screw "fragment lag" crosses "shear plane"'
    assert said in " ".join(" ".join(lines(found)).split())
    assert said in unescape(main_table(found.constructs))


def test_a_lag_screw_across_a_void_along_which_the_fracture_runs_draws_the_pieces_together() -> None:
    cavity = {"name": "cavity", "points_mm": [[-14, -10], [-3, -10], [-3, -18], [-14, -18]]}
    assert "lag screw crosses" not in rules([LAG], void=[cavity])
    beside = {"name": "beside", "points_mm": [[5, -10], [12, -10], [12, -18], [5, -18]]}
    short = LAG | {"side": "lateral", "length_mm": 32, "thread_mm": 16}
    assert "lag screw crosses" in rules([short], void=[beside])
