"""Axes of screws and lines of plates: points worked out by hand from the outline."""

from __future__ import annotations

import math

import numpy as np
import pytest

from buttress.bone.section import Section
from buttress.fe.errors import InputError
from buttress.implants.placement import (
    Axis,
    crossings,
    engaged_thread,
    fracture_crossings,
    plate_line,
    screw_axis,
    thread_span,
    void_stretches,
)
from buttress.study.read import parse_study
from buttress.study.study import Fracture, Plate, Screw, SectionInput, Void, Wire

BONE = Section(SectionInput(outline="simple"))


def screw(**changes: object) -> Screw:
    given = {"name": "s", "form": "HB 6.5", "side": "medial", "height_mm": -14, "length_mm": 70}
    return Screw.model_validate({k: v for k, v in (given | changes).items() if v is not None})


def plate(**changes: object) -> Plate:
    given = {"name": "p", "section": "3.5 straight", "side": "medial", "top_mm": -70,
             "length_mm": 46}
    return Plate.model_validate(given | changes)


def on_plate(hole: int = 1, **changes: object) -> Screw:
    given = {"form": "HA 3.5", "plate": "p", "hole": hole, "side": None, "height_mm": None}
    return screw(**(given | changes))


@pytest.mark.parametrize(("side", "x"), [("medial", -1.0), ("lateral", 1.0)])
def test_screw_on_bone(side: str, x: float) -> None:
    axis = screw_axis(BONE, screw(side=side), [])
    assert axis.head == pytest.approx([38 * x, -14])
    assert axis.direction == pytest.approx([-x, 0])
    assert axis.tip == pytest.approx([-32 * x, -14])
    assert (axis.entry, axis.exit) == pytest.approx((0, 76), abs=1e-5)
    assert axis.in_bone == pytest.approx((0, 70), abs=1e-5)


@pytest.mark.parametrize("side", ["medial", "lateral"])
def test_a_positive_angle_takes_the_tip_proximal(side: str) -> None:
    axis = screw_axis(BONE, screw(side=side, height_mm=-80, angle_deg=30, length_mm=20), [])
    assert axis.tip[1] == pytest.approx(-70)
    on = screw_axis(BONE, on_plate(angle_deg=30, length_mm=20), [plate(side=side)])
    assert on.tip[1] == pytest.approx(on.head[1] + 10)


def test_bicortical_ends_one_millimetre_beyond_the_far_cortex() -> None:
    axis = screw_axis(BONE, screw(height_mm=-80, length_mm="bicortical"), [])
    assert axis.length == pytest.approx(29)
    slanted = screw_axis(BONE, screw(height_mm=-100, angle_deg=20, length_mm="bicortical"), [])
    assert slanted.length == pytest.approx(28 / math.cos(math.radians(20)) + 1)


def test_plate_on_the_straight_shaft() -> None:
    line = plate_line(BONE, plate())
    assert line.holes == (5, 17, 29, 41)
    np.testing.assert_allclose(line.points[:, 0], -14)
    np.testing.assert_allclose(line.points[[0, -1], 1], [-70, -116])
    np.testing.assert_allclose(line.normals, np.broadcast_to([-1.0, 0.0], line.normals.shape))
    np.testing.assert_allclose(line.centre[:, 0], -15.65)
    assert np.diff(line.s).max() <= 0.5
    assert {*line.holes} <= {*np.round(line.s, 9)}


def test_plate_on_the_flare_follows_it() -> None:
    given = plate(top_mm=-25, length_mm=70, side="lateral")
    line = plate_line(BONE, given)
    steps = np.hypot(*np.diff(line.points, axis=0).T)
    np.testing.assert_allclose(steps, np.diff(line.s), rtol=1e-6)
    np.testing.assert_allclose(np.hypot(*line.normals.T), 1.0)
    surface = BONE.half_width(line.points[:, 1])
    np.testing.assert_allclose(line.points[:, 0], surface, atol=0.05)
    tangent = np.gradient(line.points, line.s, axis=0)
    # The normals of the smoothed and of the drawn outline differ by a few degrees at its corners.
    assert np.abs((tangent * line.normals).sum(axis=1)).max() < 0.06
    turns = np.diff(np.unwrap(np.arctan2(line.normals[:, 1], line.normals[:, 0])))
    assert np.abs(turns).max() < np.radians(2.5)
    assert np.all(line.normals[:, 0] > 0)
    np.testing.assert_array_equal(plate_line(BONE, plate(top_mm=-25, length_mm=70)).points,
                                  line.points * [-1, 1])


def test_screw_through_a_plate_starts_on_its_centroid_line() -> None:
    axis = screw_axis(BONE, on_plate(hole=2, length_mm="bicortical"), [plate()])
    assert axis.head == pytest.approx([-15.65, -87])
    assert (axis.entry, axis.exit, axis.length) == pytest.approx((1.65, 29.65, 30.65), abs=1e-5)
    thin = screw_axis(BONE, on_plate(), [plate(section="one-third tubular")])
    assert thin.entry == pytest.approx(1.8003, abs=1e-3)


def test_mismatch_is_a_gap_in_the_middle() -> None:
    gap = plate_line(BONE, plate(mismatch_mm=1.5)).gap
    assert (gap[0], gap.max(), gap[-1]) == pytest.approx((0, 1.5, 0))


def test_segments_change_the_offset() -> None:
    given = Plate.model_validate({
        "name": "p", "side": "medial", "top_mm": -70,
        "segments": [{"length_mm": 20, "width_mm": 16, "thickness_mm": 2},
                     {"length_mm": 20, "width_mm": 10, "thickness_mm": 4}]})
    line = plate_line(BONE, given)
    np.testing.assert_allclose(line.offset[line.s <= 20], 1)
    np.testing.assert_allclose(line.offset[line.s > 20], 2)


@pytest.mark.parametrize(("given", "on", "told"), [
    (screw(height_mm=-130), [], "below the clamp"),
    (screw(height_mm=-2, angle_deg=75), [], "touches no bone"),
    (on_plate(length_mm="bicortical", thread_mm=60), [plate()], "thread is longer"),
    (on_plate(), [plate(length_mm=60)], "below the clamp"),
    (on_plate(), [plate(top_mm=-125)], "the plate begins below the clamp"),
    (screw(position_in_depth_mm=30), [], "in front of or behind"),
    (screw(count=7), [], "in front of or behind"),
])
def test_what_touches_no_bone_is_refused(given: Screw, on: list[Plate], told: str) -> None:
    with pytest.raises(InputError, match=told) as caught:
        screw_axis(BONE, given, on)
    assert caught.value.key
    assert caught.value.expected


@pytest.mark.parametrize(("line", "expected"), [
    ([[2, -1], [2, 1]], [2]), ([[0, 1], [4, -1]], [2]), ([[3, 0.5], [3, 2]], []),
    ([[-2, -1], [-2, 1]], []), ([[1, -1], [2, 0], [3, 1]], [2]), ([[1, 0], [3, 0]], []),
    ([[5, -1], [5, 1], [2, 1], [2, -1]], [2, 5]),
])
def test_crossings(line: list[list[float]], expected: list[float]) -> None:
    found = crossings(np.zeros(2), np.array([1.0, 0.0]), np.array(line, dtype=float))
    assert found == pytest.approx(expected)


def study_with(*fractures: tuple[str, list[list[float]]]) -> object:
    study = parse_study('name = "x"\n[[construct]]\nname = "c"\n')
    rows = tuple(Fracture.model_validate({"name": n, "points_mm": p}) for n, p in fractures)
    return study.model_copy(update={"fractures": rows})


def test_crossed_fractures_in_order_from_the_head() -> None:
    study = study_with(("far", [[10, 0], [10, -60]]), ("near", [[-10, 0], [-10, -60]]),
                       ("above", [[-40, -5], [40, -5]]), ("beyond", [[35, 0], [35, -60]]))
    axis = screw_axis(BONE, screw(), [])
    found = fracture_crossings(study, axis)  # type: ignore[arg-type]
    assert [n for _, n in found] == ["near", "far"]
    assert [s for s, _ in found] == pytest.approx([28, 48])


AXIS = Axis(np.array([-40.0, -20.0]), np.array([1.0, 0.0]), 60.0, 2.0, 76.0)


@pytest.mark.parametrize(("changes", "crossed", "expected"), [
    ({}, [(30.0, "f")], (28, 60)),                                # 32 mm of thread
    ({"thread_mm": 16}, [(30.0, "f")], (44, 60)),
    ({"form": "HA 3.5"}, [(30.0, "f")], (2, 60)),                 # all of it, from the bone on
    ({"form": "HA 3.5", "use": "lag"}, [(30.0, "f")], (30, 60)),  # gliding hole to the fracture
    ({"form": "HA 3.5", "use": "lag"}, [], (2, 60)),              # nothing to drill up to
    ({"form": "HA 3.5", "use": "lag", "gliding_mm": 2.5}, [(30.0, "f")], (2, 60)),
])
def test_engaged_thread(changes: dict[str, object], crossed: list[tuple[float, str]],
                        expected: tuple[float, float]) -> None:
    assert engaged_thread(screw(**changes), AXIS, crossed) == pytest.approx(expected)


def test_thread_span_of_a_short_cancellous_screw() -> None:
    assert thread_span(screw(), 40.0) == (24.0, 40.0)


# --- wires and voids ----------------------------------------------------------------------------

def wire(**changes: object) -> Wire:
    given = {"name": "w", "diameter_mm": 2.0, "side": "medial", "height_mm": -80,
             "length_mm": "bicortical"}
    return Wire.model_validate(given | changes)


def test_a_wire_lies_where_a_screw_of_its_place_would() -> None:
    for changes in ({}, {"angle_deg": 20, "side": "lateral"}, {"length_mm": 20}):
        given = {"height_mm": -80, "length_mm": "bicortical"} | changes
        one, two = screw_axis(BONE, wire(**changes)), screw_axis(BONE, screw(**given), [])
        np.testing.assert_array_equal([*one.head, *one.direction], [*two.head, *two.direction])
        assert (one.length, one.in_bone) == (two.length, two.in_bone)


def test_a_wire_has_no_thread() -> None:
    axis = screw_axis(BONE, wire())
    assert thread_span(wire(), axis.length) == (29, 29)
    start, end = engaged_thread(wire(), axis, [(10.0, "f")])
    assert start >= end


@pytest.mark.parametrize(("changes", "key", "told"), [
    ({"height_mm": -130}, "wire.w.height_mm", "the wire lies below the clamp"),
    ({"height_mm": -2, "angle_deg": 75}, "wire.w.angle_deg", "the wire touches no bone"),
    ({"position_in_depth_mm": 20}, "wire.w.position_in_depth_mm", "the wire passes in front"),
    ({"count": 12}, "wire.w.count", "a row of 12 is wider"),
])
def test_wires_that_touch_no_bone(changes: dict[str, object], key: str, told: str) -> None:
    with pytest.raises(InputError, match=told) as caught:
        screw_axis(BONE, wire(**changes))
    assert caught.value.key == key


def with_voids(*rings: list[list[float]]) -> object:
    study = parse_study('name = "x"\n[[construct]]\nname = "c"\n')
    rows = tuple(Void.model_validate({"name": f"v{i}", "points_mm": ring})
                 for i, ring in enumerate(rings))
    return study.model_copy(update={"voids": rows})


@pytest.mark.parametrize(("rings", "expected"), [
    ([[[-10, -10], [-10, -20], [5, -20], [5, -10]]], [(28, 43, "v0")]),
    # the nearer void first; one beside the axis, one that ends on it
    ([[[10, -10], [10, -20], [15, -14]], [[-20, -12], [-20, -18], [-8, -15]]],
     [(18, 26, "v1"), (48, 53, "v0")]),
    ([[[0, -20], [10, -20], [5, -16]]], []),
    ([[[0, -20], [10, -20], [5, -14]]], []),
    # a void with two legs is met twice
    ([[[-20, -10], [20, -10], [20, -20], [10, -20], [10, -12], [-10, -12], [-10, -20],
       [-20, -20]]], [(18, 28, "v0"), (48, 58, "v0")]),
    # cut off at the tip and at the entry into bone
    ([[[25, -10], [50, -10], [50, -20], [25, -20]]], [(63, 70, "v0")]),
    ([[[-60, -10], [-30, -10], [-30, -20], [-60, -20]]], [(0, 8, "v0")]),
    # two voids side by side stay two
    ([[[-10, -10], [-10, -20], [0, -20], [0, -10]], [[0, -10], [0, -20], [9, -20], [9, -10]]],
     [(28, 38, "v0"), (38, 47, "v1")]),
])
def test_stretches_in_voids(rings: list[list[list[float]]],
                            expected: list[tuple[float, float, str]]) -> None:
    axis = screw_axis(BONE, screw(), [])  # from x = -38, 70 mm, at height -14
    found = void_stretches(with_voids(*rings), axis)  # type: ignore[arg-type]
    assert [n for *_, n in found] == [n for *_, n in expected]
    for (a, b, _), (c, d, _) in zip(found, expected, strict=True):
        assert (a, b) == pytest.approx((c, d), abs=1e-5)
