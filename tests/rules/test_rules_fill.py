"""Rules for voids, grafts, rafts, wires and several fractures: each fires where it is broken only."""

from __future__ import annotations

from typing import Any

import pytest
from rule_findings import found_in
from shapely import Polygon

from buttress.bone.layout import ends, layout
from buttress.bone.section import Section
from buttress.implants.placement import screw_axis
from buttress.rules.check import Finding, check
from buttress.rules.screw import held_thread, place, thread_hold
from buttress.study.read import Study, study_from

EDGES = [{"name": "inner", "points_mm": [[13, 0], [12, -9]]},
         {"name": "outer", "points_mm": [[27, 0], [28, -9]]}]
VOID = {"name": "hole", "points_mm": [[12, -9], [15, -20], [25, -20], [28, -9]]}
RAFT = {"name": "raft", "form": "HA 3.5", "side": "lateral", "height_mm": -6, "length_mm": 76.5,
        "count": 4}
WIRE = {"name": "wire", "diameter_mm": 1.6, "side": "lateral", "height_mm": -6, "length_mm": 70}
FULL = {"name": "graft", "void": "hole", "material": "impacted graft"}
BLOCK = {"name": "block", "void": "hole", "material": "structural block",
         "points_mm": [[16, -9], [16, -20], [24, -20], [24, -9]]}


def study(fill: dict[str, Any] | None = FULL, *, screw: Any = (), wire: Any = (),
          plate: Any = (), **changes: Any) -> Study:
    data = {
        "name": "x", "section": {"outline": "simple"},
        "fracture": EDGES, "void": [VOID],
        "fragment": [{"name": "piece", "inside_mm": [20, -4]}],
        "construct": [{"name": "c", "screw": list(screw), "wire": list(wire),
                       "plate": list(plate), "fill": [fill] if fill else []}],
    }
    return study_from(data | changes)


def rules(*args: Any, **changes: Any) -> dict[str, Finding]:
    given = study(*args, **changes)
    assert len({(f.part, f.rule) for f in check(given)}) == len(check(given))
    return found_in(given)


def test_good_constructs_are_left_in_peace() -> None:
    assert rules() == {}
    assert set(rules(screw=[RAFT])) == {"thread on both sides"}
    assert rules(screw=[RAFT])["thread on both sides"].level == "note"
    assert rules(wire=[WIRE]) == {}


# --- voids and fillings -------------------------------------------------------------------------

def test_an_empty_void_is_noted_where_a_fragment_lies_on_it() -> None:
    finding = rules(None)["void under a fragment"]
    assert (finding.level, finding.part) == ("note", "hole")
    assert '"piece"' in finding.message
    deep = {"name": "hole", "points_mm": [[12, -29], [15, -40], [25, -40], [23, -29]]}
    line = [{"name": "inner", "points_mm": [[13, 0], [20, -9], [27, 0]]}]
    assert rules(None, void=[deep], fracture=line) == {}


@pytest.mark.parametrize(("changes", "rule", "level", "told"), [
    ({}, "void partly empty", "note", "38 %"),
    ({"material": "loose chips"}, "void partly empty", "warning", "38 %"),
    ({"points_mm": [[16, -11], [16, -20], [24, -20], [24, -11]]}, "block touches both ends",
     "broken", "2.0 mm short of the fragment above"),
    ({"points_mm": [[16, -9], [16, -18], [24, -18], [24, -9]]}, "block touches both ends",
     "broken", "2.0 mm short of the bone below"),
])
def test_blocks(changes: dict[str, Any], rule: str, level: str, told: str) -> None:
    finding = rules(BLOCK | changes)[rule]
    assert (finding.level, finding.part) == (level, "block")
    assert told in finding.message


@pytest.mark.parametrize(("fill", "piece", "told"), [
    (None, None, None), (60.0, None, None), (20.0, None, "the filling 20 mm"),
    (20.0, 20.0, None), (10.0, 20.0, "50 % of the void"), (None, 20.0, None)])
def test_a_filling_less_deep_than_its_void_leaves_it_partly_empty(
        fill: float | None, piece: float | None, told: str | None) -> None:
    fragment = {"name": "piece", "inside_mm": [20, -4]} | ({"depth_mm": piece} if piece else {})
    found = rules(FULL | ({"depth_mm": fill} if fill else {}), fragment=[fragment])
    assert ("void partly empty" in found) is (told is not None)
    if told is not None:
        assert found["void partly empty"].level == "warning"
        assert told in found["void partly empty"].message


def test_a_block_from_end_to_end_touches_both() -> None:
    assert set(rules(BLOCK)) == {"void partly empty"}
    assert rules({k: v for k, v in BLOCK.items() if k != "points_mm"}) == {}
    assert "block touches both ends" not in rules(BLOCK | {
        "material": "loose chips", "points_mm": [[16, -11], [16, -20], [24, -20], [24, -11]]})


def test_upper_and_lower_borders() -> None:
    upper, lower = ends(Polygon(VOID["points_mm"]))
    assert upper.bounds == (12, -9, 28, -9)
    assert lower.bounds == (15, -20, 25, -20)
    upper, _ = ends(Polygon([(0, 0), (0, -9), (10, -9), (10, 5)]))  # a roof that slopes
    assert upper.bounds == (0, 0, 10, 5)
    # Walls too steep to stand on: only the corner at the bottom is left.
    _, corner = ends(Polygon([(0, 0), (2, -12), (4, 0)]))
    assert corner.bounds == (2, -12, 2, -12)


# --- rafts and wires ----------------------------------------------------------------------------

@pytest.mark.parametrize(("changes", "rule", "level", "told"), [
    ({"height_mm": -12, "length_mm": 70}, "raft below the joint", "warning", "12 mm below"),
    ({"height_mm": -10.3, "length_mm": 70}, "raft below the joint", "warning",
     "10.3 mm below the joint surface, more than 10 mm"),
    ({"height_mm": -4}, "raft below the joint", "note", "4 mm below"),
    ({"length_mm": 22}, "raft under the fragment", "warning", "less than 5 mm"),
    ({"length_mm": 29}, "raft under the fragment", "warning", "less than 5 mm"),
    ({"side": "medial", "length_mm": 40}, "raft under the fragment", "broken",
     'no part of the raft lies under "piece"'),
    ({"height_mm": -13.5, "length_mm": 70}, "raft under the fragment", "warning", "gap of 2.8 mm"),
])
def test_rafts(changes: dict[str, Any], rule: str, level: str, told: str) -> None:
    finding = rules(screw=[RAFT | changes])[rule]
    assert (finding.level, finding.part) == (level, "raft")
    assert told in finding.message


@pytest.mark.parametrize("changes", [
    {"height_mm": -16, "length_mm": 70},                        # too low to be a raft
    {"use": "lag", "count": 2, "length_mm": 30},                # squeezes, carries nothing
    {"side": "medial", "count": 1, "length_mm": 40},            # a single screw elsewhere
])
def test_what_is_no_raft_is_not_judged_as_one(changes: dict[str, Any]) -> None:
    assert not [r for r in rules(screw=[RAFT | changes]) if r.startswith("raft")]


def test_single_screws_under_the_fragment_are_a_raft_too() -> None:
    assert "raft below the joint" in rules(screw=[RAFT | {"height_mm": -12, "count": 1,
                                                          "length_mm": 70}])


@pytest.mark.parametrize(("angle", "warned"), [(0, False), (9, False), (-9, False), (11, True),
                                               (-11, True)])
def test_wires_parallel_to_the_joint(angle: float, warned: bool) -> None:
    wire = WIRE | {"side": "medial", "height_mm": -12, "angle_deg": angle, "length_mm": 30}
    found = rules(wire=[wire])
    assert ("wires parallel to the joint" in found) is warned
    assert "wires parallel to the joint" not in rules(wire=[wire | {"height_mm": -40}])


@pytest.mark.parametrize(("changes", "rule", "told"), [
    ({"length_mm": 79}, "tip beyond the cortex", "3.0 mm"),
    ({"angle_deg": 30}, "out of the joint", "penetrates the joint surface"),
    ({"height_mm": -1.5, "length_mm": 60}, "out of the joint", "between the wire"),
    ({"position_in_depth_mm": 23}, "inside the section", "the wire lies outside"),
])
def test_rules_for_tips_and_places_hold_for_wires(changes: dict[str, Any], rule: str,
                                                  told: str) -> None:
    assert told in rules(wire=[WIRE | changes])[rule].message


def test_a_wire_may_lie_closer_under_the_joint_than_a_screw() -> None:
    assert rules(wire=[WIRE | {"height_mm": -3.5, "length_mm": 60}]) == {}


def test_wires_and_screws_meet() -> None:
    wire = WIRE | {"height_mm": -6}
    assert 'wire "wire"' in rules(screw=[RAFT | {"count": 1}], wire=[wire])["implants meet"].message
    # The raft lies at -12, -4, 4 and 12 mm: the wire fits between two of its screws.
    assert "implants meet" not in rules(screw=[RAFT], wire=[wire])


@pytest.mark.parametrize(("count", "beside"), [(4, False), (5, True)])
def test_a_row_of_screws_needs_a_wide_plate(count: int, beside: bool) -> None:
    plate = {"name": "plate", "section": "L buttress", "side": "lateral", "top_mm": -2.5,
             "length_mm": 80}
    raft = {"name": "raft", "form": "HA 3.5", "plate": "plate", "hole": 1, "length_mm": 70,
            "count": count}
    shafts = [{"name": f"s{h}", "form": "HA 3.5", "plate": "plate", "hole": h,
               "length_mm": "bicortical"} for h in (5, 6)]
    found = rules(screw=[raft, *shafts], plate=[plate])
    assert ("head beside the plate" in found) is beside


# --- what screws end in and pass through --------------------------------------------------------

@pytest.mark.parametrize(("length", "fill", "rule", "level"), [
    (18, FULL, "tip in a void", "warning"), (18, None, "tip in a void", "broken"),
    (9, FULL, "", ""), (36, FULL, "", ""), (21.9, None, "tip in a void", "broken"),
    (24.6, None, "tip in a void", "broken"),  # half a millimetre of bone behind it
])
def test_a_tip_in_a_void(length: float, fill: dict[str, Any] | None, rule: str,
                         level: str) -> None:
    screw = RAFT | {"height_mm": -15.5, "length_mm": length, "count": 1}
    found = {k: f for k, f in rules(fill, screw=[screw]).items() if k.startswith("tip in")}
    assert set(found) == ({rule} if rule else set())
    assert not rule or found[rule].level == level


def test_the_filling_of_another_void_is_no_help() -> None:
    other = {"name": "other", "points_mm": [[-20, -20], [-10, -20], [-15, -28]]}
    screw = RAFT | {"height_mm": -15.5, "length_mm": 18, "count": 1}
    found = rules(FULL | {"void": "other"}, screw=[screw], void=[VOID, other])
    assert found["tip in a void"].level == "broken"
    assert found["void under a fragment"].part == "hole"


def test_a_screw_that_comes_out_beside_an_apex_does_not_end_in_the_fracture() -> None:
    line = [{"name": "plane", "points_mm": [[0, 0], [-25, -55]]}]
    screw = RAFT | {"name": "s", "height_mm": -47.6, "length_mm": "bicortical", "count": 1}
    found = rules(None, screw=[screw], fracture=line, void=[],
                  fragment=[{"name": "m", "inside_mm": [-25, -10]}])
    assert "tip in a fracture" not in found


@pytest.mark.parametrize(("length", "broken"), [(10.2, True), (11.2, True), (12.5, False),
                                                (8.5, False)])
def test_a_tip_in_a_fracture(length: float, broken: bool) -> None:
    # "outer" is met 10.3 mm from the head at this height.
    screw = RAFT | {"length_mm": length, "count": 1}
    assert ("tip in a fracture" in rules(screw=[screw])) is broken


def test_thread_in_a_void_holds_nothing() -> None:
    bone = study(None)
    section = Section(bone.section)
    screw = study(None, screw=[RAFT | {"height_mm": -14.5, "count": 1,
                                       "length_mm": 60}]).constructs[0].screws[0]
    placed = place(bone, screw, screw_axis(section, screw))
    [(start, end, name)] = placed.empty
    assert name == "hole"
    # Half way down the void its walls are at 13.5 and 26.5.
    assert end - start == pytest.approx(13)
    parts = held_thread(placed)
    assert parts == [(pytest.approx(0, abs=1e-5), pytest.approx(start)), (end, 60)]
    whole = place(study(None, void=[], fragment=[], fracture=[]), screw,
                  screw_axis(section, screw))
    # 13 mm less of cancellous bone: E 1021.5 MPa, shear strength 1.673 MPa, TSF 0.754. The step
    # of the rule meets the cortex at other places in pieces than in one: 2 %.
    lost = thread_hold(section, whole) - thread_hold(section, placed)
    assert lost == pytest.approx(3.14159 * 3.5 * 0.754 * 13 * 1.673, rel=0.03)


def test_a_fracture_drawn_on_through_a_void_is_not_crossed_there() -> None:
    # One line through the void instead of one that ends on it.
    line = [*EDGES, {"name": "through", "points_mm": [[20, -12], [16, -60]]}]
    bone = study(None, fracture=line, void=[VOID])
    section = Section(bone.section)
    for height, crossed in ((-16, False), (-26, True)):
        screw = study(None, screw=[RAFT | {"height_mm": height, "count": 1, "length_mm": 50}])
        pin = screw.constructs[0].screws[0]
        names = [n for _, n in place(bone, pin, screw_axis(section, pin)).crossed]
        assert ("through" in names) is crossed


# --- several fractures --------------------------------------------------------------------------

TWO = [{"name": "upper", "points_mm": [[-8, 0], [-32, -30]]},
       {"name": "lower", "points_mm": [[-2, 0], [-20, -62]]}]
TWO_NAMES = [{"name": "a", "inside_mm": [-28, -8]}, {"name": "b", "inside_mm": [-14, -30]}]


def lag(**changes: Any) -> dict[str, Any]:
    return {"name": "lag", "form": "HB 6.5", "side": "medial", "height_mm": -12, "length_mm": 70,
            "thread_mm": 32, "use": "lag", "tension_N": 300} | changes


def plated(holes: list[int], **changes: Any) -> dict[str, Finding]:
    plate = {"name": "plate", "section": "3.5 straight", "side": "medial", "top_mm": -15,
             "length_mm": 82} | changes
    screws = [{"name": f"s{h}", "form": "HA 3.5", "plate": "plate", "hole": h, "length_mm": 12}
              for h in holes]
    return rules(None, screw=screws, plate=[plate], fracture=TWO, fragment=TWO_NAMES, void=[])


def test_a_lag_screw_closes_both_fractures_or_is_warned_of() -> None:
    given = {"fracture": TWO, "fragment": TWO_NAMES, "void": []}
    assert set(rules(None, screw=[lag()], **given)) == {"tip short of the cortex"}
    found = rules(None, screw=[lag(thread_mm=46)], **given)
    assert found["thread on both sides"].message.endswith('"lower"')
    assert "lag thread beyond" not in found
    found = rules(None, screw=[lag(thread_mm=60)], **given)
    assert '"upper"' in found["lag thread beyond"].message


def test_a_plate_must_cover_each_apex_on_its_side() -> None:
    found = check(study(None, fracture=TWO, fragment=TWO_NAMES, void=[], plate=[
        {"name": "plate", "section": "3.5 straight", "side": "medial", "top_mm": -15,
         "length_mm": 30}], screw=[{"name": "s", "form": "HA 3.5", "plate": "plate", "hole": 2,
                                    "length_mm": 12}]))
    told = [f.message for f in found if f.rule in ("plate over the apex",
                                                   "two screws below the apex")]
    assert any("short of the apex" in m and '"lower"' in m for m in told)
    assert not any("short of" in m and '"upper"' in m for m in told)


def test_two_screws_must_lie_below_the_lowest_apex() -> None:
    assert set(plated([6, 7])) == {"tip short of the cortex", "screw next to the apex"}
    assert '"lower"' in plated([4, 5])["two screws below the apex"].message
    assert "below the apex" in plated([4, 5], top_mm=-40, length_mm=60)[
        "plate over the apex"].message


# --- pieces -------------------------------------------------------------------------------------

def test_pieces_without_a_name_are_counted_and_the_shaft_is_told_apart() -> None:
    bone = study(None, fracture=TWO, fragment=TWO_NAMES[:1], void=[])
    found = layout(bone, Section(bone.section))
    assert set(found.pieces) == {"a", "piece 1"}
    assert set(found.articular) == {"a", "piece 1"}
    assert found.shaft.bounds[1] == -120
    total = sum(p.area for p in found.pieces.values()) + found.shaft.area
    assert total == pytest.approx(found.bone.area, rel=1e-9)


def test_what_lies_on_a_void() -> None:
    bone = study()
    found = layout(bone, Section(bone.section))
    assert list(found.above("hole")) == ["piece"]
    assert found.pieces["piece"].area == pytest.approx((14 + 16) / 2 * 9)


def test_a_deep_piece_over_a_void_is_not_under_the_joint() -> None:
    # Parted from the joint by "roof": what it carries is no joint surface.
    lines = [*EDGES, {"name": "roof", "points_mm": [[12.6, -4], [27.4, -4]]}]
    names = [{"name": "top", "inside_mm": [20, -2]}, {"name": "deep", "inside_mm": [20, -7]}]
    bone = study(fracture=lines, fragment=names)
    found = layout(bone, Section(bone.section))
    assert set(found.articular) == {"top"}
    assert found.above("hole") == {}


def test_a_raft_that_does_not_follow_the_joint_is_not_in_two_places() -> None:
    """It read "lies 16 mm below the joint" and "lies 3 mm below the joint" of one screw. Told is where
    it lies under the raised pieces; it was 12 degrees, and too high far beside them only."""
    tilted = study(screw=[RAFT | {"height_mm": -14, "angle_deg": 12, "length_mm": 55}])
    assert [f.message for f in check(tilted) if f.rule == "raft below the joint"] == [
        "the raft lies 12 mm below the joint surface, more than 10 mm"]
    tilted = study(screw=[RAFT | {"height_mm": -16, "angle_deg": 25, "length_mm": 55}])
    told = [f.message for f in check(tilted) if f.rule == "raft below the joint"]
    assert len(told) == 2
    assert "at one end, more than 10 mm" in told[0]
    assert "at the other end, less than 5 mm" in told[1]


def test_a_steep_screw_deep_under_the_fragment_is_no_raft() -> None:
    """It began 12 mm below the rim and passed 25 mm under the piece: five warnings."""
    steep = RAFT | {"height_mm": -12, "angle_deg": -45, "length_mm": 60, "count": 1}
    assert not [r for r in rules(screw=[steep]) if r.startswith("raft")]


def test_without_a_void_a_raft_lies_as_deep_as_under_the_pieces_of_the_joint() -> None:
    """A tilted row crosses a split: its depth at the far rim is not the depth of its support."""
    split = {"void": [], "fragment": [{"name": "rim", "inside_mm": [32, -4]}],
             "fracture": [{"name": "split", "points_mm": [[25, 10], [45, -40]]}]}
    tilted = WIRE | {"height_mm": -6, "angle_deg": -10, "count": 2}
    assert "raft below the joint" not in rules(None, wire=[tilted], **split)
    low = WIRE | {"height_mm": -12.5, "count": 2}
    assert "raft below the joint" in rules(None, wire=[low], **split)
