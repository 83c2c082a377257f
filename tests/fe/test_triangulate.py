"""Triangulation: quality, fidelity to the segments, grading, holes, refusals."""

import time

import numpy as np
import pytest
from section_figures import rectangle, tibia

from buttress.fe.errors import InputError, SolveError
from buttress.fe.mesh.triangulate import angles, triangulate


def ring(n, start=0):
    return np.column_stack([np.arange(n), np.roll(np.arange(n), -1)]) + start


def areas(mesh):
    a, b, c = (mesh.points[mesh.triangles[:, j]] for j in range(3))
    return 0.5 * ((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])


def polygon_area(xy):
    x, y = xy.T
    return 0.5 * float(x @ np.roll(y, -1) - y @ np.roll(x, -1))


@pytest.mark.parametrize("size", [3.0, 1.5, 0.8])
def test_a_section_is_filled_with_good_triangles_of_the_wanted_size(size):
    outline, _ = tibia()
    mesh = triangulate(outline, ring(len(outline)), size)
    assert areas(mesh).min() > 0.0
    assert areas(mesh).sum() == pytest.approx(polygon_area(outline), rel=1e-12)
    assert angles(mesh.points, mesh.triangles).min() >= 20.0
    assert np.median(areas(mesh)) == pytest.approx(np.sqrt(3.0) / 4.0 * size**2, rel=0.02)
    assert len(np.unique(mesh.triangles)) == len(mesh.points)


def test_angles_of_known_triangles():
    points = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0], [0.5, np.sqrt(0.75)]])
    found = angles(points, np.array([[0, 1, 2], [0, 1, 3]]))
    assert found == pytest.approx(np.array([[90.0, 45.0, 45.0], [60.0, 60.0, 60.0]]))


def test_pieces_follow_their_segment_in_its_direction():
    points = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]])
    segments = np.array([*ring(4), [2, 0]])
    mesh = triangulate(points, segments, 1.0)
    assert np.array_equal(mesh.points[:4], points)
    for k, (a, b) in enumerate(segments):
        pieces = mesh.edges[mesh.segment == k]
        assert pieces[0, 0] == a
        assert pieces[-1, 1] == b
        assert np.array_equal(pieces[1:, 0], pieces[:-1, 1])
        along = (points[b] - points[a]) / np.linalg.norm(points[b] - points[a])
        offset = mesh.points[pieces[:, 1]] - points[a]
        assert np.abs(offset @ [-along[1], along[0]]).max() < 1e-12
        assert (np.diff(offset @ along) > 0.0).all()
    sides = {tuple(sorted(s)) for t in mesh.triangles for s in ((t[0], t[1]), (t[1], t[2]),
                                                                (t[2], t[0]))}
    assert {tuple(sorted(e)) for e in mesh.edges.tolist()} <= sides


def test_the_size_field_is_followed():
    outline, _ = rectangle(60.0, 20.0)
    mesh = triangulate(outline, ring(4), lambda xy: 0.8 + 0.05 * xy[:, 0])
    centre = mesh.points[mesh.triangles].mean(axis=1)
    side = np.sqrt(areas(mesh) * 4.0 / np.sqrt(3.0))
    for low in (0.0, 20.0, 40.0):
        here = (centre[:, 0] > low) & (centre[:, 0] < low + 20.0)
        wanted = 0.8 + 0.05 * centre[here, 0]
        assert np.median(side[here] / wanted) == pytest.approx(1.0, abs=0.12)


def test_a_short_edge_refines_only_its_surroundings():
    outline = np.array([[0.0, 0.0], [30.0, 0.0], [30.0, 10.0], [30.0, 10.2], [30.0, 30.0],
                        [0.0, 30.0]])
    mesh = triangulate(outline, ring(6), 2.0)
    assert angles(mesh.points, mesh.triangles).min() >= 20.0
    coarse = len(triangulate(outline[[0, 1, 4, 5]], ring(4), 2.0).triangles)
    assert len(mesh.triangles) < coarse + 150


@pytest.mark.parametrize("corner", [15.5, 20.0, 30.0, 45.0])
def test_a_sharp_corner_costs_no_more_than_its_own_angle(corner):
    """The corner itself bounds the smallest angle from above, so nothing better is possible."""
    turn = np.radians(corner)
    points = np.array([[0.0, 0.0], [30.0, 0.0], [22.0 * np.cos(turn), 22.0 * np.sin(turn)]])
    worst = angles(*triangulate(points, ring(3), 1.5)[:2]).min()
    assert min(corner, 22.0) - 1e-6 <= worst <= corner + 1e-6


def test_a_thin_wall_gets_elements_of_its_own_thickness():
    outline, _ = rectangle(30.0, 30.0)
    hole = np.array([[1.0, 8.0], [12.0, 8.0], [12.0, 22.0], [1.0, 22.0]])
    mesh = triangulate(np.vstack([outline, hole]), np.vstack([ring(4), ring(4, 4)]), 3.0,
                       holes=[[5.0, 15.0]])
    ends = mesh.points[mesh.edges]
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    wall = (ends[:, :, 0] <= 1.0).all(axis=1) & (np.abs(ends[:, :, 1] - 15.0) <= 7.0).all(axis=1)
    assert length[wall].max() < 1.2
    assert length.max() > 2.5
    assert angles(mesh.points, mesh.triangles).min() >= 30.0


def test_a_sharp_corner_of_the_input_relaxes_the_gate_only_there(monkeypatch):
    """With a gate that nothing can meet, the place named is not the corner, which may be sharp."""
    points = np.array([[0.0, 0.0], [30.0, 0.0], [30.0, 3.0]])
    assert angles(*triangulate(points, ring(3), 1.5)[:2]).min() == pytest.approx(5.71, abs=0.01)
    monkeypatch.setattr("buttress.fe.mesh.triangulate.SMALLEST_ANGLE", 59.9)
    monkeypatch.setattr("buttress.fe.mesh.triangulate.ATTEMPTS", 1)
    with pytest.raises(SolveError, match=r"the mesh has an angle of (?!5\.7)"):
        triangulate(points, ring(3), 1.5)


def test_a_hole_stays_empty_and_a_loose_place_takes_nothing():
    outline, _ = rectangle(20.0, 20.0)
    hole = np.array([[8.0, 8.0], [12.0, 8.0], [12.0, 12.0], [8.0, 12.0]])
    points, segments = np.vstack([outline, hole]), np.vstack([ring(4), ring(4, 4)])
    mesh = triangulate(points, segments, 1.0, holes=[[10.0, 10.0], [50.0, 50.0]])
    assert areas(mesh).sum() == pytest.approx(400.0 - 16.0, rel=1e-12)
    assert len(np.unique(mesh.triangles)) == len(mesh.points)
    full = triangulate(points, segments, 1.0)
    assert areas(full).sum() == pytest.approx(400.0, rel=1e-12)


def test_same_input_same_mesh():
    outline, _ = tibia()
    one, two = (triangulate(outline, ring(len(outline)), 2.0) for _ in range(2))
    assert np.array_equal(one.points, two.points)
    assert np.array_equal(one.triangles, two.triangles)


def test_crossing_segments_are_refused():
    points = np.array([[0.0, 0.0], [10.0, 10.0], [10.0, 0.0], [0.0, 10.0]])
    with pytest.raises(SolveError, match="cannot be triangulated"):
        triangulate(points, ring(4), 1.0)


def test_lines_that_enclose_nothing_are_refused():
    with pytest.raises(SolveError, match="enclose nothing"):
        triangulate([[0.0, 0.0], [10.0, 0.0], [20.0, 5.0]], [[0, 1], [1, 2]], 1.0)


@pytest.mark.parametrize("size", [0.0, -1.0, np.nan, np.inf])
def test_a_wrong_size_is_refused(size):
    outline, _ = rectangle()
    with pytest.raises(InputError, match="element size"):
        triangulate(outline, ring(4), size)
    with pytest.raises(InputError, match="element size"):
        triangulate(outline, ring(4), lambda xy: np.where(xy[:, 0] > 10.0, size, 1.0))


def test_a_mesh_under_the_gate_is_refused_with_its_place(monkeypatch):
    outline, _ = rectangle()
    monkeypatch.setattr("buttress.fe.mesh.triangulate.SMALLEST_ANGLE", 59.9)
    monkeypatch.setattr("buttress.fe.mesh.triangulate.ATTEMPTS", 2)
    with pytest.raises(SolveError, match=r"angle of \d+\.\d degrees near \(-?\d+\.\d+, -?\d+"):
        triangulate(outline, ring(4), 5.0)


@pytest.mark.deep
def test_eight_thousand_triangles_take_less_than_a_second():
    outline, _ = tibia()
    mesh = triangulate(outline, ring(len(outline)), 1.0)
    begin = time.process_time()
    triangulate(outline, ring(len(outline)), 1.0)
    assert len(mesh.triangles) > 8000
    assert time.process_time() - begin < 1.0


@pytest.mark.parametrize(("gate", "passes"), [(20.0, True), (35.0, False)])
def test_the_gate_lies_where_it_is_set(gate, passes, monkeypatch):
    """The figure's smallest angle without a gate is 30 degrees and some tenths."""
    outline, _ = tibia()
    monkeypatch.setattr("buttress.fe.mesh.triangulate.SMALLEST_ANGLE", gate)
    monkeypatch.setattr("buttress.fe.mesh.triangulate.ATTEMPTS", 1)
    if passes:
        mesh = triangulate(outline, ring(len(outline)), 3.0)
        assert 20.0 < angles(mesh.points, mesh.triangles).min() < 35.0
        return
    with pytest.raises(SolveError, match="the mesh has an angle of"):
        triangulate(outline, ring(len(outline)), 3.0)
