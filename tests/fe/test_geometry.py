"""Planning: clipping, joining, and refusals that name the part."""

import re

import numpy as np
import pytest
from section_figures import SIZE, rectangle, tibia
from shapely.geometry import LineString, Polygon

from buttress.fe.errors import InputError
from buttress.fe.mesh.figure import plan

HALF = {"cut": [(0.0, 15.0), (20.0, 15.0)]}


def planned(cuts=HALF, voids=None, regions=None, size=1.0, figure=None):
    outline, labels = figure or rectangle()
    return plan(outline, labels, cuts, voids, regions, size=size)


def square(x, y, side=4.0):
    return np.array([[x, y], [x + side, y], [x + side, y + side], [x, y + side]])


def has(outline, place):
    return bool((outline == np.asarray(place)).all(axis=1).any())


def test_a_cut_shares_its_ends_with_the_outline_and_keeps_the_labels():
    found = planned()
    assert found.labels == ("base", "right", "right", "top", "left", "left")
    assert all(has(found.outline, end) for end in found.cuts["cut"])
    assert Polygon(found.outline).area == pytest.approx(600.0, rel=1e-14)


def test_a_clockwise_outline_is_turned_with_its_labels():
    outline, labels = rectangle()
    turned = plan(outline[::-1], (labels[2], labels[1], labels[0], labels[3]), {}, size=1.0)
    forward = plan(outline, labels, {}, size=1.0)
    edge_of = [{(tuple(a), tuple(b)): name for a, b, name in zip(
        p.outline.tolist(), np.roll(p.outline, -1, axis=0).tolist(), p.labels, strict=True)}
        for p in (turned, forward)]
    assert edge_of[0] == edge_of[1]


def test_a_repeated_last_point_is_dropped():
    outline, labels = rectangle()
    assert len(plan(np.vstack([outline, outline[:1]]), labels, {}, size=1.0).outline) == 4


def test_straight_vertices_go_and_the_shape_stays_within_a_hundredth():
    outline, labels = tibia(1.0)
    found = plan(outline, labels, {}, size=SIZE)
    assert len(found.outline) < len(outline)
    assert Polygon(outline).exterior.hausdorff_distance(Polygon(found.outline).exterior) < 0.02
    assert set(found.labels) == set(labels)
    for name in set(labels):
        before, after = (sum(
            float(np.linalg.norm(b - a))
            for a, b, label in zip(xy, np.roll(xy, -1, axis=0), of, strict=True) if label == name)
            for xy, of in ((outline, labels), (found.outline, found.labels)))
        assert after == pytest.approx(before, rel=1e-4)


@pytest.mark.parametrize("end", [20.0, 35.0, 20.0 + 1e-9, 20.0 - 1e-9, 19.95])
def test_ends_are_clipped_or_put_on_the_outline(end):
    cut = planned({"cut": [(-5.0, 15.0), (end, 15.0)]}).cuts["cut"]
    assert cut == pytest.approx(np.array([[0.0, 15.0], [20.0, 15.0]]), abs=1e-12)


@pytest.mark.parametrize("offset", [*np.logspace(-13, 0, 14), 0.05, 0.0999, 0.1001])
def test_a_cut_near_an_outline_vertex_meets_it_or_stays_clear(offset):
    outline = np.array([[0.0, 0.0], [20.0, 0.0], [21.0, 15.0], [20.0, 30.0], [0.0, 30.0]])
    figure = outline, ("base", "right", "right", "top", "left")
    found = planned({"cut": [(0.0, 15.0), (25.0, 15.0 + offset)]}, figure=figure)
    distance = np.linalg.norm(found.outline - [21.0, 15.0], axis=1)
    assert distance.min() == 0.0  # the outline keeps its vertex
    near = np.sort(distance)[1]
    end = found.cuts["cut"][-1]
    assert near >= 0.08
    assert (np.array_equal(end, [21.0, 15.0])) == (offset * 21.0 / 25.0 < 0.1)
    assert Polygon(found.outline).exterior.distance(LineString(found.cuts["cut"])) == 0.0


@pytest.mark.parametrize("gap", [-0.09, -1e-9, 0.0, 1e-12, 0.05, 0.09])
def test_a_cut_may_end_on_another(gap):
    found = planned({**HALF, "second": [(10.0, 30.0), (10.0, 15.0 + gap)]})
    meet = found.cuts["second"][-1]
    assert meet == pytest.approx(np.array([10.0, 15.0]), abs=1e-9)
    assert has(found.cuts["cut"], meet)
    assert found.cuts["cut"][:, 1] == pytest.approx(15.0, abs=1e-12)


def test_the_order_of_cuts_does_not_decide_whether_they_join():
    found = planned({"second": [(10.0, 30.0), (10.0, 15.05)], **HALF})
    assert has(found.cuts["cut"], found.cuts["second"][-1])


def test_cuts_may_cross():
    found = planned({**HALF, "second": [(10.0, 30.0), (10.0, 0.0)]})
    assert has(found.cuts["cut"], [10.0, 15.0])
    assert has(found.cuts["second"], [10.0, 15.0])
    assert len(found.edges()[1]) == 8 + 4


def test_three_cuts_through_one_place_meet_in_one_point():
    found = planned({**HALF, "second": [(10.0, 30.0), (10.0, 0.0)],
                     "third": [(0.0, 5.0), (20.0, 25.0 + 0.1)]})
    common = [{tuple(p) for p in cut.tolist()} for cut in found.cuts.values()]
    assert len(set.intersection(*common)) == 1


def test_a_cut_is_interrupted_by_a_void_and_may_end_on_one():
    void = {"void": square(8.0, 13.0)}
    through = planned(voids=void)
    assert {e.kind for e in through.edges()[1]} == {"outline", "void", "cut"}
    length = sum(np.linalg.norm(p[e.end] - p[e.start]) for p in [through.edges()[0]]
                 for e in through.edges()[1] if e.kind == "cut")
    assert length == pytest.approx(20.0 - 4.0)
    ends = planned({"one": [(0.0, 15.0), (8.0, 15.0)], "two": [(12.0, 14.0), (20.0, 14.0)]},
                   void)
    assert has(ends.voids["void"], [8.0, 15.0])
    assert has(ends.voids["void"], [12.0, 14.0])


def test_a_void_beyond_the_outline_is_clipped_to_it():
    found = planned({}, {"notch": square(18.0, 10.0)})
    assert Polygon(found.voids["notch"]).area == pytest.approx(8.0)
    points, edges = found.edges()
    right = [e for e in edges if e.name == "right"]
    assert sum(np.linalg.norm(points[e.end] - points[e.start]) for e in right) == pytest.approx(26)


def test_the_arc_length_of_an_edge_is_that_of_its_line():
    points, edges = planned({**HALF, "second": [(10.0, 30.0), (10.0, 15.0)]}).edges()
    arcs = {e.arc: points[e.start].tolist() for e in edges if e.name == "cut"}
    assert arcs == {0.0: [0.0, 15.0], 10.0: [10.0, 15.0]}


REFUSED = {
    "stops short": ({"cut": [(0, 15), (19.2, 15)]}, {}, {}, "fracture.cut",
                    "does not divide the section"),
    "overshoots a cut": ({**HALF, "b": [(10, 30), (10, 12)]}, {}, {}, "fracture.b",
                         "does not divide the section"),
    "outside": ({"cut": [(30, 0), (40, 30)]}, {}, {}, "fracture.cut", "lies outside"),
    "self-crossing": ({"cut": [(0, 5), (15, 5), (15, 10), (10, 10), (10, 0)]}, {}, {},
                      "fracture.cut", "or is closed"),
    "closed": ({"cut": [(5, 5), (10, 5), (10, 10), (5, 5)]}, {}, {}, "fracture.cut", "two lines that meet"),
    "one point": ({"cut": [(5, 5)]}, {}, {}, "fracture.cut", "too few"),
    "the same point twice": ({"cut": [(5, 5), (5, 5)]}, {}, {}, "fracture.cut", "too few"),
    "not finite": ({"cut": [(0, 5), (np.nan, 5)]}, {}, {}, "fracture.cut", "finite"),
    "three columns": ({"cut": [(0, 5, 0), (20, 5, 0)]}, {}, {}, "fracture.cut", "shape"),
    "text": ({"cut": [("a", "b"), ("c", "d")]}, {}, {}, "fracture.cut", "cannot be read"),
    "returns": ({"cut": [(0, 5), (25, 5), (25, 10), (0, 10)]}, {}, {}, "fracture.cut",
                "re-enters it"),
    "nearly touching": ({**HALF, "b": [(0, 15.4), (20, 15.4)]}, {}, {}, "fracture.b",
                        "almost touches fracture.cut"),
    "near the outline": ({"cut": [(0, 5), (19.7, 15), (0, 25)]}, {}, {}, "fracture.cut",
                         "almost touches outline"),
    "sharp corner": ({"cut": [(20, 4), (0, 7)], "b": [(20, 6.2), (0, 6.9)]}, {}, {},
                     "fracture.b", "corner of 6.2 degrees with fracture.cut"),
    "sharp with the outline": ({"cut": [(20, 5), (18, 20), (0, 20)]}, {}, {}, "fracture.cut",
                               "corner of 7.6 degrees with outline"),
    "sliver": ({"cut": [(0.0, 29.8), (0.3, 30)]}, {}, {}, "fracture.cut", "sliver"),
    "slit into a void": ({"cut": [(0, 15), (8, 15)]}, {"v": square(8, 13)}, {}, "fracture.cut",
                         "does not divide"),
    "within a void": ({"cut": [(9, 15), (11, 15)]}, {"v": square(8, 13)}, {}, "fracture.cut",
                      "does not divide"),
    "along the outline": ({"cut": [(0, 5), (0, 15)]}, {}, {}, "fracture.cut", "does not divide"),
    "voids overlap": ({}, {"v": square(8, 13), "w": square(10, 14)}, {}, "void.w",
                      "overlaps void.v"),
    "voids nearly touch": ({}, {"v": square(8, 13), "w": square(12.3, 13)}, {}, "void.w",
                           "almost touches void.v"),
    "regions overlap": ({}, {}, {"v": square(8, 13), "w": square(10, 14)}, "region.w",
                        "overlaps region.v"),
    "void outside": ({}, {"v": square(30, 30)}, {}, "void.v", "outside"),
    "void in two pieces": ({}, {"v": [(-5, 5), (5, 5), (-2, 8), (5, 10), (-5, 10)]}, {}, "void.v",
                           "several pieces"),
    "void crosses itself": ({}, {"v": [(5, 5), (9, 9), (9, 5), (5, 9)]}, {}, "void.v", "itself"),
    "void of two points": ({}, {"v": [(5, 5), (9, 9)]}, {}, "void.v", "too few"),
    "void too small": ({}, {"v": square(8, 13, 0.05)}, {}, "void.v", "outside|smaller"),
    "region a sliver": ({}, {}, {"g": [(5, 5), (15, 5), (15, 5.4), (5, 5.4)]}, "region.g",
                        "sliver"),
    "name twice": ({"top": [(0, 15), (20, 15)]}, {}, {}, "fracture.top", "already"),
    "name of a void": ({"v": [(0, 5), (20, 5)]}, {"v": square(8, 13)}, {}, "void.v", "already"),
}


@pytest.mark.parametrize("case", REFUSED)
def test_what_cannot_be_meshed_is_refused_by_name(case):
    cuts, voids, regions, key, message = REFUSED[case]
    with pytest.raises(InputError, match=message) as caught:
        planned(cuts, voids, regions)
    assert caught.value.key == key


@pytest.mark.parametrize(("end", "place"), [
    ((10.0, 15.4), (10.0, 15.0)),      # stops short of a cut by less than half an element
    ((10.0, 14.6), (10.0, 15.0)),      # goes too far by as little
    ((9.5, 14.6), None)])              # aslant: cut off where it crosses
def test_an_end_that_misses_a_line_by_less_than_half_an_element_is_put_on_it(end, place):
    found = planned({**HALF, "b": [(10, 30), end]}, {}, {})
    line = found.cuts["b"]
    x, y = line[np.argmin(line[:, 1])]
    assert y == pytest.approx(15.0, abs=1e-9)
    if place is None:      # on its own line from (10, 30)
        assert x == pytest.approx(10.0 - 0.5 * 15.0 / 15.4, abs=1e-9)
    else:
        assert (x, y) == pytest.approx(place, abs=1e-9)
    short = planned({"cut": [(0, 15), (19.55, 15)]}, {}, {})
    assert np.ptp(short.cuts["cut"][:, 0]) == pytest.approx(20.0, abs=1e-9)


def test_a_refused_corner_with_the_outline_names_an_end_that_is_accepted():
    line = [(18.0, 30.0), (20.0, 12.0)]
    with pytest.raises(InputError, match="corner of") as caught:
        planned({"cut": line}, {}, {})
    told = re.search(r"from \(([-\d.]+), ([-\d.]+)\) to \(([-\d.]+), ([-\d.]+)\)",
                     caught.value.expected)
    assert told is not None
    turn, out = np.array([float(x) for x in told.groups()]).reshape(2, 2)
    assert len(planned({"cut": [line[0], turn, out]}, {}, {}).cuts["cut"]) == 3


def test_a_line_outside_says_where_the_bone_is():
    with pytest.raises(InputError, match="lies outside") as caught:
        planned({"cut": [(30, 0), (40, 30)]}, {}, {})
    assert "x from 0.0 to 20.0, y from 0.0 to 30.0" in caught.value.expected


@pytest.mark.parametrize(("outline", "labels", "message"), [
    ([(0, 0), (10, 10), (10, 0), (0, 10)], "abcd", "itself"),
    ([(0, 0), (10, 0), (10, 10)], "ab", "one label per edge"),
    ([(0, 0), (10, 0)], "ab", "too few"),
    ([(0, 0), (10, 0), (0, 0)], "ab", "too few"),
    ([(0, 0), (10, 0), (20, 0)], "abc", "itself|no area"),
    ([(0, 0), (10, 0), (np.inf, 10)], "abc", "finite"),
    ([(0, 0), (10, 0), (10, 1), (0, 0.5)], "abcd", None),
])
def test_a_wrong_outline_is_refused(outline, labels, message):
    if message is None:
        assert len(plan(outline, labels, {}, size=1.0).outline) == 4
        return
    with pytest.raises(InputError, match=message) as caught:
        plan(outline, labels, {}, size=1.0)
    assert caught.value.key == "outline"


@pytest.mark.parametrize("size", [0.0, -1.0, np.nan])
def test_a_wrong_size_is_refused(size):
    with pytest.raises(InputError, match="element size"):
        planned(size=size)


@pytest.mark.parametrize("angle", [7.0, 8.5, 10.0, 16.0, 25.0])
def test_corners_are_refused_under_eight_degrees(angle):
    cut = {"cut": [(20.0, 5.0), (20.0 - 18.0 * np.tan(np.radians(angle)), 23.0), (0.0, 23.0)]}
    if angle > 8.0:
        assert "cut" in planned(cut).cuts
    else:
        with pytest.raises(InputError, match=r"7\.0 degrees"):
            planned(cut)


def test_a_sharp_corner_of_a_void_is_no_corner_of_the_bone():
    spike = [(4.0, 15.0), (16.0, 14.2), (16.0, 15.8)]
    assert "void" in planned({}, {"void": spike}).voids
    with pytest.raises(InputError, match=r"corner of 7\.6 degrees with region\.graft"):
        planned({}, {}, {"graft": spike})
