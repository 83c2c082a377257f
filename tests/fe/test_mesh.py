"""Bodies and interfaces of figures: areas, names, matched points, weights, finding places."""

import collections
import itertools

import numpy as np
import pytest
from mesh_angles import to_spare
from section_figures import SIZE, graded, half_width, random_fracture, rectangle, tibia
from shapely.geometry import LineString, Point, Polygon
from shapely.ops import unary_union

from buttress.fe.errors import InputError
from buttress.fe.mesh.bodies import mesh_bodies
from buttress.fe.mesh.figure import plan
from buttress.fe.mesh.t6 import Mesh, border, corner_areas, with_midsides
from buttress.fe.mesh.triangulate import angles


def check(planar, meshes, interfaces):
    """What must hold for every figure."""
    material = Polygon(planar.outline).difference(
        unary_union([Polygon(v) for v in planar.voids.values()]))
    material = material.union(unary_union([Polygon(r) for r in planar.regions.values()]))
    assert sum(m.area for m in meshes) == pytest.approx(material.area, rel=1e-9)
    for mesh in meshes:
        assert corner_areas(mesh.points, mesh.triangles).min() > 0.0
        assert np.array_equal(np.unique(mesh.triangles), np.arange(len(mesh.points)))
        assert to_spare(mesh) >= -1e-6
        rim = {tuple(row) for row in border(mesh.triangles).tolist()}
        named = [tuple(row) for rows in mesh.edges.values() for row in rows.tolist()]
        assert len(named) == len(set(named))
        assert set(named) == rim  # every border edge has one name and the body on its left
        corner = mesh.points[mesh.triangles[:, :3]]
        middle = 0.5 * (corner + np.roll(corner, -1, axis=1))
        assert np.abs(mesh.points[mesh.triangles[:, 3:]] - middle).max() < 1e-12
    faces = collections.defaultdict(float)
    for face in interfaces:
        a, b = meshes[face.body_a], meshes[face.body_b]
        assert face.body_a < face.body_b
        assert np.array_equal(a.points[face.nodes_a], b.points[face.nodes_b])
        assert len(set(face.nodes_a.tolist())) == len(face.nodes_a)
        assert (np.diff(face.position) > 0.0).all()
        assert np.linalg.norm(face.normal, axis=1) == pytest.approx(1.0)
        ends = a.points[face.edges_a[:, 2]] - a.points[face.edges_a[:, 0]]
        length = np.linalg.norm(ends, axis=1).sum()
        assert face.weight.sum() == pytest.approx(length, rel=1e-12)
        assert face.length == face.weight.sum()
        assert np.array_equal(a.points[face.edges_a], b.points[face.edges_b][:, ::-1])
        assert set(face.edges_a.ravel().tolist()) == set(face.nodes_a.tolist())
        assert set(face.edges_b.ravel().tolist()) == set(face.nodes_b.tolist())
        # At a mid-side the normal is that of its edge, from a to b.
        outward = np.column_stack([ends[:, 1], -ends[:, 0]])
        row_of = {node: j for j, node in enumerate(face.nodes_a.tolist())}
        at_middle = face.normal[[row_of[node] for node in face.edges_a[:, 1].tolist()]]
        assert at_middle == pytest.approx(
            outward / np.linalg.norm(outward, axis=1)[:, None], abs=1e-12)
        middle = a.points[face.edges_a[:, 1]]
        step = 1e-4 * outward
        assert (b.locate(middle + step)[0] >= 0).all()
        assert (a.locate(middle - step)[0] >= 0).all()
        faces[face.name] += length
    points, edges = planar.edges()
    for name in planar.cuts:
        own = [e for e in edges if e.kind == "cut" and e.name == name]
        drawn = sum(np.linalg.norm(points[e.end] - points[e.start]) for e in own)
        assert faces[name] == pytest.approx(drawn, rel=1e-12)
    # Each point of a cut is matched on both its sides.
    for k, mesh in enumerate(meshes):
        for name in planar.cuts:
            mine = set(mesh.edges.get(name, np.zeros((0, 3), int)).ravel().tolist())
            matched = set()
            for f in interfaces:
                if f.name == name and k in (f.body_a, f.body_b):
                    matched |= set((f.nodes_a if f.body_a == k else f.nodes_b).tolist())
            assert mine == matched


def meshed(cuts=None, voids=None, regions=None, size=2.0, bodies=None, figure=None):
    outline, labels = figure or rectangle()
    planar = plan(outline, labels, cuts or {}, voids, regions, size=size)
    meshes, interfaces = mesh_bodies(planar, size, bodies)
    check(planar, meshes, interfaces)
    return meshes, interfaces


def square(x, y, side=6.0):
    return np.array([[x, y], [x + side, y], [x + side, y + side], [x, y + side]])


HALF = {"cut": [(0.0, 10.0), (20.0, 10.0)]}


def test_an_uncut_figure_is_one_body():
    meshes, interfaces = meshed()
    assert [m.name for m in meshes] == ["body 1"]
    assert interfaces == []
    assert set(meshes[0].edges) == {"base", "right", "top", "left"}
    assert meshes[0].n_dof == 2 * len(meshes[0].points)
    assert meshes[0].size == pytest.approx(2.0, rel=0.05)


def test_named_edges_run_round_the_body_with_it_on_the_left():
    mesh = meshed()[0][0]
    ends = mesh.points[mesh.edges["base"]]
    assert (ends[:, 2, 0] > ends[:, 0, 0]).all()
    assert np.array_equal(ends[1:, 0], ends[:-1, 2])
    assert (mesh.points[mesh.edges["top"]][:, 2, 0] < mesh.points[mesh.edges["top"]][:, 0, 0]).all()


def test_a_cut_parts_the_figure_into_two_bodies_by_falling_area():
    meshes, (face,) = meshed(HALF)
    assert [m.area for m in meshes] == pytest.approx([400.0, 200.0])
    assert (face.body_a, face.body_b, face.name) == (0, 1, "cut")
    assert face.normal == pytest.approx(np.tile([0.0, -1.0], (len(face.normal), 1)))
    assert face.position[[0, -1]] == pytest.approx([0.0, 20.0])
    assert meshes[0].points[face.nodes_a, 0] == pytest.approx(face.position)


def test_weights_are_the_integrals_of_the_shape_functions():
    """Exact for a quadratic along the line: Simpson's rule on each edge."""
    meshes, (face,) = meshed(HALF)
    x = meshes[0].points[face.nodes_a, 0]
    assert face.weight @ x**2 == pytest.approx(20.0**3 / 3.0, rel=1e-12)
    one = face.edges_a[0]
    length = np.linalg.norm(np.diff(meshes[0].points[one[[0, 2]]], axis=0))
    middle = face.nodes_a.tolist().index(one[1])
    assert face.weight[middle] == pytest.approx(length * 4.0 / 6.0)


def test_the_normal_at_a_bend_is_the_length_weighted_mean():
    meshes, (face,) = meshed({"cut": [(0.0, 10.0), (10.0, 10.0), (20.0, 20.0)]})
    bend = int(np.abs(meshes[0].points[face.nodes_a] - [10.0, 10.0]).sum(axis=1).argmin())
    left, right = (np.linalg.norm(np.diff(meshes[0].points[row[[0, 2]]], axis=0))
                   for row in face.edges_a if face.nodes_a[bend] in row)
    short = {round(abs(face.normal[j, 0]), 9) for j in range(len(face.normal)) if j != bend}
    assert short == {0.0, round(np.sqrt(0.5), 9)}
    s = np.sqrt(0.5)
    sums = [left * np.array([0, -1.0]) + right * np.array([s, -s]),
            right * np.array([0, -1.0]) + left * np.array([s, -s])]
    sums = [v / np.linalg.norm(v) for v in sums]
    sign = 1.0 if meshes[0].area == max(m.area for m in meshes) else -1.0
    found = sign * face.normal[bend]
    assert min(np.abs(np.abs(found) - np.abs(v)).max() for v in sums) < 1e-9


def test_a_t_junction_gives_one_face_for_each_pair_of_bodies():
    meshes, faces = meshed({**HALF, "upright": [(8.0, 30.0), (8.0, 10.0)]})
    assert [m.area for m in meshes] == pytest.approx([240.0, 200.0, 160.0])
    assert [(f.name, f.body_a, f.body_b) for f in faces] == [
        ("cut", 0, 1), ("cut", 1, 2), ("upright", 0, 2)]
    assert [f.length for f in faces] == pytest.approx([12.0, 8.0, 20.0])
    assert faces[0].position[[0, -1]] == pytest.approx([8.0, 20.0])
    for mesh in meshes:  # the junction is one point of each
        assert (np.linalg.norm(mesh.points - [8.0, 10.0], axis=1) < 1e-12).sum() == 1


def test_crossing_cuts_give_four_bodies_and_four_faces():
    meshes, faces = meshed({**HALF, "upright": [(8.0, 30.0), (8.0, 0.0)]})
    assert len(meshes) == 4
    assert len(faces) == 4
    for mesh in meshes:
        assert (np.linalg.norm(mesh.points - [8.0, 10.0], axis=1) < 1e-12).sum() == 1


def test_a_void_on_a_cut_interrupts_the_face_but_not_its_arc_length():
    meshes, (face,) = meshed(HALF, {"void": square(7.0, 7.0)})
    assert len(meshes) == 2
    assert face.length == pytest.approx(14.0)
    assert meshes[0].points[face.nodes_a, 0] == pytest.approx(face.position)
    assert "void" in meshes[0].edges
    assert "void" in meshes[1].edges


def test_a_void_inside_leaves_one_body_with_a_hole():
    (mesh,), faces = meshed({}, {"void": square(7.0, 7.0)})
    assert faces == []
    assert mesh.area == pytest.approx(600.0 - 36.0)
    assert mesh.locate([[10.0, 10.0]])[0].tolist() == [-1]


def test_a_notch_opens_the_outline():
    (mesh,), _ = meshed({}, {"notch": square(16.0, 12.0)})
    assert mesh.area == pytest.approx(600.0 - 24.0)
    assert mesh.points[mesh.edges["notch"], 0].min() == 16.0


def test_a_region_is_a_body_of_its_own_name_with_a_closed_face():
    meshes, (face,) = meshed({}, {}, {"graft": square(7.0, 7.0)})
    assert [m.name for m in meshes] == ["body 1", "graft"]
    assert meshes[1].area == pytest.approx(36.0)
    assert (face.name, face.length) == ("graft", pytest.approx(24.0))
    assert np.array_equal(meshes[0].points[face.nodes_a], meshes[1].points[face.nodes_b])


def test_a_region_interrupts_cuts_and_partly_fills_a_void():
    void, graft = square(6.0, 7.0, 8.0), square(6.0, 7.0, 4.0)
    meshes, faces = meshed(HALF, {"void": void}, {"graft": graft})
    assert [m.name for m in meshes] == ["body 1", "body 2", "graft"]
    assert meshes[2].area == pytest.approx(16.0)
    assert meshes[0].area + meshes[1].area == pytest.approx(600.0 - 64.0)
    assert {(f.name, f.body_a, f.body_b) for f in faces} == {
        ("cut", 0, 1), ("graft", 0, 2), ("graft", 1, 2)}
    free = meshes[2].points[meshes[2].edges["graft"][:, 1]]
    assert (free == [8.0, 11.0]).all(axis=1).sum() <= 1


def test_a_region_that_fills_a_void_is_a_graft_in_contact_all_round():
    meshes, (face,) = meshed({}, {"void": square(7.0, 7.0)}, {"graft": square(7.0, 7.0)})
    assert [m.name for m in meshes] == ["body 1", "graft"]
    assert face.length == pytest.approx(24.0)
    assert sum(m.area for m in meshes) == pytest.approx(600.0)


def test_bodies_are_named_by_a_place_inside_and_come_first():
    meshes, _ = meshed({**HALF, "upright": [(8.0, 30.0), (8.0, 10.0)]}, {},
                       {"graft": square(11.0, 18.0)},
                       bodies={"foot": (10.0, 5.0), "corner": (3.0, 20.0)})
    assert [m.name for m in meshes] == ["foot", "corner", "body 1", "graft"]
    assert [m.area for m in meshes] == pytest.approx([200.0, 160.0, 240.0 - 36.0, 36.0])


def test_names_follow_their_places_in_any_order():
    places = {"graft bed": (14.0, 12.0), "foot": (10.0, 5.0), "corner": (3.0, 20.0)}
    cuts = {**HALF, "upright": [(8.0, 30.0), (8.0, 10.0)]}
    for names in map(list, itertools.permutations(places)):
        meshes, _ = meshed(cuts, bodies={name: places[name] for name in names})
        assert [m.name for m in meshes] == names
        for mesh in meshes:
            assert mesh.locate([places[mesh.name]])[0][0] >= 0


@pytest.mark.parametrize(("bodies", "message", "key"), [
    ({"a": (10.0, 5.0), "b": (11.0, 6.0)}, "body already named a", "bodies.b"),
    ({"a": (50.0, 5.0)}, "no body", "bodies.a"),
    ({"a": (np.nan, 5.0)}, "no body", "bodies.a"),
])
def test_wrong_places_of_names_are_refused(bodies, message, key):
    with pytest.raises(InputError, match=message) as caught:
        meshed(HALF, bodies=bodies)
    assert caught.value.key == key


def test_a_typical_medial_shear_fracture():
    outline, labels = tibia()
    planar = plan(outline, labels, {"shear plane": [(-5.0, 0.0), (-24.0, -52.0)]}, size=SIZE)
    meshes, faces = mesh_bodies(planar, graded, {"fragment": (-30.0, -5.0), "shaft": (5.0, -80.0)})
    check(planar, meshes, faces)
    assert [m.name for m in meshes] == ["fragment", "shaft"]
    assert set(meshes[0].edges) == {"joint", "medial", "shear plane"}
    assert meshes[0].points[faces[0].nodes_a[0]] == pytest.approx([-5.0, 0.0], abs=1e-12)
    assert min(m.quality for m in meshes) > 20.0


def test_same_input_same_bodies():
    outline, labels = tibia()
    runs = [mesh_bodies(plan(outline, labels, *random_fracture(4), size=SIZE), graded)
            for _ in range(2)]
    for one, two in zip(runs[0][0], runs[1][0], strict=True):
        assert np.array_equal(one.points, two.points)
        assert np.array_equal(one.triangles, two.triangles)
        assert one.edges.keys() == two.edges.keys()


def draw(seed, spacing):
    """A random fracture that `plan` accepts, or the reason why it does not."""
    outline, labels = tibia(spacing)
    try:
        return plan(outline, labels, *random_fracture(seed), size=SIZE)
    except InputError as error:
        return error


LEGITIMATE = ("forms a corner of", "leaves the section and re-enters", "almost touches",
              "outside the section", "crosses or touches itself", "lies outside", "sliver",
              "does not divide the section: all of it", "returns to itself",
              "does not divide the section", "several pieces")


def gate(seeds, spacings=(2.5,)):
    worst, refused = [], 0
    for seed in seeds:
        planar = draw(seed, spacings[seed % len(spacings)])
        if isinstance(planar, InputError):
            assert any(reason in planar.message for reason in LEGITIMATE), (seed, str(planar))
            assert planar.key, seed
            refused += 1
            continue
        meshes, interfaces = mesh_bodies(planar, graded)
        check(planar, meshes, interfaces)
        worst.append(min(to_spare(m) for m in meshes))
    return np.array(worst), refused


def test_random_fractures_mesh_well():
    worst, _ = gate(range(60), (2.5,))
    assert len(worst) >= 35
    assert worst.min() >= -1e-6


@pytest.mark.deep
def test_a_thousand_random_fractures_mesh_without_a_failure():
    worst, refused = gate(range(1750), (1.0, 2.5, 4.0))
    print(f"{len(worst)} meshed, {refused} refused, worst {np.sort(worst)[:5]}, "
          f"median {np.median(worst):.1f} degrees")
    assert len(worst) >= 1000
    assert worst.min() >= -1e-6


@pytest.mark.parametrize("offset", np.logspace(-14, 0.2, 24))
@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_a_cut_past_a_vertex_of_the_outline_leaves_no_sliver(offset, side):
    outline, labels = tibia()
    vertex = np.array([-half_width(-35.0), -35.0])
    assert (np.abs(outline - vertex).sum(axis=1) < 1e-9).any()
    aim = vertex + side * offset * np.array([0.3, 0.95])
    beyond = aim + 0.2 * (aim - [5.0, 0.0])
    planar = plan(outline, labels, {"cut": [(5.0, 0.0), beyond]}, size=SIZE)
    meshes, interfaces = mesh_bodies(planar, graded)
    check(planar, meshes, interfaces)
    assert min(m.quality for m in meshes) >= 19.0


def test_locating_finds_the_triangle_and_its_coordinates():
    mesh = meshed()[0][0]
    rng = np.random.default_rng(1)
    which = rng.integers(0, len(mesh.triangles), 500)
    local = rng.dirichlet([1.0, 1.0, 1.0], 500)
    places = np.einsum("pc,pcx->px", local, mesh.points[mesh.triangles[which, :3]])
    element, rs = mesh.locate(places)
    assert np.array_equal(element, which)
    assert rs == pytest.approx(local[:, 1:], abs=1e-9)


def test_locating_on_points_and_sides_and_outside():
    mesh = meshed()[0][0]
    element, rs = mesh.locate(mesh.points)
    assert (element >= 0).all()
    corner = mesh.points[mesh.triangles[element, :3]]
    back = corner[:, 0] + np.einsum("pij,pj->pi", np.stack(
        [corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]], axis=2), rs)
    assert back == pytest.approx(mesh.points, abs=1e-10)
    outside = [[-1e-6, 5.0], [20.0 + 1e-6, 5.0], [1e9, 0.0], [np.nan, 1.0], [np.inf, 1.0]]
    element, rs = mesh.locate(outside)
    assert element.tolist() == [-1] * 5
    assert np.isnan(rs).all()
    assert mesh.locate([[-1e-12, 5.0]])[0][0] >= 0
    assert mesh.locate(np.zeros((0, 2)))[0].shape == (0,)


def test_locating_agrees_with_the_polygon_in_a_graded_mesh_with_a_narrow_void():
    outline, labels = tibia()
    planar = plan(outline, labels, {"cut": [(5.0, 0.0), (-30.0, -40.0)]},
                  {"void": square(5.0, -30.0, 3.0)}, size=SIZE)
    meshes, _ = mesh_bodies(planar, graded)
    rng = np.random.default_rng(2)
    places = rng.uniform([-40.0, -121.0], [40.0, 1.0], (3000, 2))
    found = [m.locate(places)[0] >= 0 for m in meshes]
    assert not (found[0] & found[1]).any()
    material = Polygon(planar.outline).difference(Polygon(planar.voids["void"]))
    inside = np.array([material.contains(Point(p)) for p in places])
    assert np.array_equal(found[0] | found[1], inside)


def test_a_mesh_with_a_loose_point_or_a_clockwise_triangle_is_refused():
    points, triangles = with_midsides(np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]]),
                                      np.array([[0, 1, 2]]))
    assert Mesh("good", points, triangles, {}).area == 0.5
    with pytest.raises(InputError, match="loose"):
        Mesh("loose", np.vstack([points, [[5.0, 5.0]]]), triangles, {})
    with pytest.raises(InputError, match="clockwise"):
        Mesh("turned", points, triangles[:, [0, 2, 1, 5, 4, 3]], {})


def test_quality_is_the_smallest_angle():
    mesh = meshed()[0][0]
    assert mesh.quality == angles(mesh.points, mesh.triangles).min()
    assert 15.0 < mesh.quality < 60.0


def test_the_cut_is_followed_exactly():
    line = [(0.0, 10.0), (7.0, 13.0), (20.0, 9.0)]
    meshes, (face,) = meshed({"cut": line})
    away = [LineString(line).distance(Point(p)) for p in meshes[0].points[face.nodes_a]]
    assert max(away) < 1e-12
