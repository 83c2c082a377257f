"""What a check was once silent on: each finding, and the construct beside it without one."""

from __future__ import annotations

from typing import Any

import pytest
from small_study import small_study
from test_rules import LAG, PLATE, rules, shaft, study

from buttress.comparison.solving import mesh_facts
from buttress.fe.errors import InputError
from buttress.implants.placement import screw_axis
from buttress.model.install import build_model
from buttress.model.model import Bones
from buttress.rules.check import check
from buttress.rules.screw import place, thread_hold
from buttress.rules.study import MANY
from buttress.study.read import example, study_from
from buttress.sweeps.vary import plain
from buttress.words import listed

TUBE = PLATE | {"section": "one-third tubular"}
THIRD = {"name": "second", "points_mm": [[-6, 0], [-24.5, -57]]}


def staged(force: float | None) -> dict[str, Any]:
    tighten = {"do": "tighten", "what": ["lag"]} | ({} if force is None else {"force_N": force})
    return {"construct": [{"name": "c", "screw": [LAG], "stage": [
        {"do": "place", "what": ["lag"]}, tighten, {"do": "load", "total_N": 500}]}]}


@pytest.mark.parametrize(("force", "level"), [(6000, "broken"), (1400, "warning"), (350, ""),
                                              (None, "")])
def test_a_stage_that_pulls_a_screw_out(force: float | None, level: str) -> None:
    found = rules(**staged(force)).get("lag tension")
    assert (found.level if found else "") == level
    said = "" if found is None else found.message
    assert (f"tightened to {force} N; its thread pulls out at about" in said) is bool(level)


def test_a_thread_that_does_not_pass_through_the_plate() -> None:
    thick = shaft(3, form="HB 6.5", length_mm=40, thread_mm=32)
    found = rules([thick, shaft(4)], [TUBE])["thread through the hole"]
    assert found.level == "broken"
    assert "a 6.5 mm thread" in found.message
    assert "thread through the hole" not in rules([thick, shaft(4)], [PLATE | {
        "section": "T buttress"}])
    assert "thread through the hole" not in rules([shaft(3), shaft(4)], [TUBE])


@pytest.mark.parametrize(("plate", "locks"), [("one-third tubular", False), ("3.5 straight", True),
                                              ("T buttress", False), ("L buttress", True)])
def test_a_head_locks_only_in_a_locking_hole(plate: str, locks: bool) -> None:
    screws = [shaft(2, locked=True), shaft(3, locked=True)]
    assert ("locking hole" in rules(screws, [PLATE | {"section": plate}])) is not locks
    assert "locking hole" not in rules([shaft(2), shaft(3)], [PLATE | {"section": plate}])


def test_a_positional_screw_that_is_tightened() -> None:
    held = LAG | {"use": "positional"}
    assert rules([held])["positional screw tightened"].level == "warning"
    for quiet in (LAG, {k: v for k, v in held.items() if k != "tension_N"}):
        assert "positional screw tightened" not in rules([quiet])


def test_a_grade_of_foam_belongs_to_foam() -> None:
    for bone in ("dense", "soft"):
        with pytest.raises(InputError, match="foam_grade; value: 20; expected: bone = \"foam\""):
            study(section={"bone": bone, "foam_grade": 20})
    assert study(section={"bone": "foam", "foam_grade": 20}).section.foam_grade == 20


def test_a_sliver_that_no_fragment_names() -> None:
    plane = plain(small_study())["fracture"][0]
    two = study(fracture=[plane, THIRD])
    found = {f.rule: f for f in check(two)}["piece without a name"]
    assert (found.construct, found.part, found.level) == ("", "piece 1", "warning")
    assert "a sliver of" in found.message
    wide = study(fracture=[plane, THIRD | {"points_mm": [[-20, 0], [-32, -40]]}])
    assert {f.rule: f for f in check(wide)}["piece without a name"].level == "note"
    assert check(study()) == []


def test_a_mesh_that_takes_minutes() -> None:
    def told(size: float) -> list[str]:
        return [f.message for f in check(study(mesh={"size_mm": size})) if f.rule == "fine mesh"]

    assert told(1.5) == told(0.75) == []
    assert "about 76,892 elements" in told(0.2)[0]


@pytest.mark.parametrize("size", [1.0, 0.7])
def test_the_number_of_elements_is_known_before(size: float) -> None:
    from buttress.bone.section import Section
    from buttress.rules.bone import check_bone
    from buttress.rules.study import elements

    data = plain(small_study("nothing"))
    data["mesh"] = {"size_mm": size}
    made = study_from(data)
    truth = sum(m["elements"] for m in mesh_facts(Bones(made).base).values())
    # Counted short: the mesh grows more slowly from a line than the estimate's strips.
    assert 0.7 < elements(made, check_bone(made, Section(made.section))) / truth < 0.85
    assert truth < MANY


def test_a_hole_as_wide_as_the_thread_holds_nothing() -> None:
    wide = LAG | {"pilot_mm": 6.5}
    for screw, held in ((LAG, True), (wide, False), (LAG | {"pilot_mm": 6.0}, True)):
        made = study([screw], mesh={"size_mm": 4})
        bones = Bones(made)
        pin = made.constructs[0].screws[0]
        placed = place(made, pin, screw_axis(bones.base.section, pin, ()))
        assert (thread_hold(bones.base.section, placed) > 0.0) is held
        links = build_model(bones.base, made.constructs[0]).problem.links.links
        assert any(x.kind == "thread" for x in links) is held
    found = rules([wide])
    assert found["pilot drill"].level == found["thread holds"].level == "broken"


def test_several_names_are_a_list_of_words() -> None:
    """A thread through three fractures read "both sides of "a" and "b" and "c""."""
    assert [listed(x) for x in (["a"], ["a", "b"], ["a", "b", "c"])] == [
        "a", "a and b", "a, b and c"]
    raft = [f.message for f in check(example("lateral-depression")) if f.part == "raft"]
    assert 'thread engages both sides of "outer edge" and "inner edge"' in raft


ANGLED = {"fracture": [{"name": "angled", "points_mm": [[-4, 5], [-4, -14], [-50, -14]]}],
          "fragment": [{"name": "piece", "inside_mm": [-24, -8]}]}


@pytest.mark.parametrize(("height", "along"), [(-14, True), (-13, True), (-14.1, True), (-15, True),
                                               (-11, False), (-17, False)])
def test_a_screw_in_the_fracture_itself(height: float, along: bool) -> None:
    """It was said to engage both sides of the fracture along which it runs."""
    screw = {"name": "s", "form": "HA 3.5", "side": "medial", "height_mm": height, "length_mm": 60}
    found = rules([screw], **ANGLED)
    assert ("along a fracture" in found) is along
    if along:
        assert found["along a fracture"].level == "warning"
        assert found["along a fracture"].message.startswith('the screw runs along "angled" over 3')
        assert "thread on both sides" not in found


@pytest.mark.parametrize(("angle", "height", "along"), [(40, -40, False), (25, -28, False),
                                                        (8, -18, True)])
def test_a_screw_that_crosses_a_fracture_aslant_does_not_run_along_it(
        angle: float, height: float, along: bool) -> None:
    """The axis of a 6.5 mm thread lies within half of it for 10 mm, at 40 degrees to the face."""
    level = {"fracture": [{"name": "level", "points_mm": [[-45, -14], [45, -14]]}],
             "fragment": [{"name": "head", "inside_mm": [0, -8]}]}
    screw = LAG | {"height_mm": height, "angle_deg": angle, "length_mm": 55}
    found = rules([screw], **level)
    assert "lag screw crosses" not in found
    assert ("along a fracture" in found) is along
