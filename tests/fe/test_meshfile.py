"""Mesh files: what is written comes back, and junk is refused with the file's name."""

import meshio
import numpy as np
import pytest
from section_figures import rectangle

from buttress.fe.errors import InputError
from buttress.fe.mesh.bodies import mesh_bodies
from buttress.fe.mesh.figure import plan
from buttress.fe.mesh.files import read, write
from buttress.fe.mesh.t6 import border

SQUARE = np.array([[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [1.0, 1.0, 0.0], [0.0, 1.0, 0.0]])


@pytest.fixture(scope="module")
def bodies():
    planar = plan(*rectangle(), {"cut": [(0.0, 10.0), (20.0, 12.0)]}, size=4.0)
    return mesh_bodies(planar, 4.0)[0]


def save(path, points, *cells):
    meshio.Mesh(points, list(cells)).write(str(path))
    return path


@pytest.mark.parametrize("ending", ["vtu", "vtk", "inp"])
def test_a_mesh_comes_back_as_it_was_written(tmp_path, bodies, ending):
    path = tmp_path / f"first.{ending}"
    write(path, bodies[0])
    found = read(path)
    assert found.name == "first"
    assert found.points == pytest.approx(bodies[0].points, rel=1e-15)
    assert np.array_equal(found.triangles, bodies[0].triangles)
    assert len(found.edges["boundary"]) == sum(len(e) for e in bodies[0].edges.values())


def test_data_of_several_bodies_are_written_in_their_order(tmp_path, bodies):
    path = tmp_path / "all.vtu"
    n = sum(len(m.points) for m in bodies)
    m = sum(len(m.triangles) for m in bodies)
    move = np.arange(2.0 * n).reshape(n, 2)
    write(path, bodies, {"displacement": move, "held": np.arange(n) % 2 == 0},
          {"stress": np.arange(float(m))})
    found = meshio.read(path)
    assert found.points[:, :2] == pytest.approx(np.vstack([b.points for b in bodies]))
    assert (found.points[:, 2] == 0.0).all()
    assert np.array_equal(found.point_data["displacement"], np.column_stack([move, np.zeros(n)]))
    assert found.point_data["held"].sum() == (n + 1) // 2
    assert np.array_equal(found.cell_data["stress"][0], np.arange(m))
    assert np.bincount(found.cell_data["body"][0]).tolist() == [len(b.triangles) for b in bodies]
    assert [b.type for b in found.cells] == ["triangle6"]
    second = found.points[found.cells[0].data[found.cell_data["body"][0] == 1], :2]
    assert np.array_equal(second, bodies[1].points[bodies[1].triangles])


def test_straight_clockwise_triangles_and_loose_points_are_put_right(tmp_path):
    points = np.vstack([SQUARE, [[9.0, 9.0, 0.0]]])
    path = save(tmp_path / "t3.vtu", points, ("triangle", np.array([[0, 1, 2], [0, 3, 2]])),
                ("line", np.array([[0, 1]])))
    found = read(path, "plate")
    assert found.name == "plate"
    assert found.area == pytest.approx(1.0)
    assert len(found.points) == 4 + 5
    assert len(found.edges["boundary"]) == 4
    ends = found.points[found.edges["boundary"]]
    assert ends[:, 1] == pytest.approx(0.5 * (ends[:, 0] + ends[:, 2]))
    # The body lies on the left: the polygon of the edges is counter-clockwise.
    (x0, y0), (x1, y1) = ends[:, 0].T, ends[:, 2].T
    assert 0.5 * (x0 * y1 - x1 * y0).sum() == pytest.approx(1.0)


def test_clockwise_quadratic_triangles_keep_their_mid_sides(tmp_path, bodies):
    mesh = bodies[0]
    turned = mesh.triangles[:, [0, 2, 1, 5, 4, 3]]
    flat = np.column_stack([mesh.points, np.zeros(len(mesh.points))])
    found = read(save(tmp_path / "turned.vtu", flat, ("triangle6", turned)))
    assert np.array_equal(found.triangles, mesh.triangles)
    assert len(border(found.triangles)) == len(found.edges["boundary"])


def test_a_plane_mesh_without_z_is_read(tmp_path):
    path = save(tmp_path / "plane.su2", SQUARE[:, :2], ("triangle", np.array([[0, 1, 2]])))
    assert meshio.read(path).points.shape[1] == 2
    assert read(path).area == pytest.approx(0.5)


def test_a_gmsh_file_is_read(tmp_path):
    path = tmp_path / "plate.msh"
    document = meshio.Mesh(SQUARE, [("triangle", np.array([[0, 1, 2], [0, 2, 3]]))])
    document.write(str(path), file_format="gmsh")
    assert read(path).area == pytest.approx(1.0)


def junk(tmp_path):
    tilted = SQUARE.copy()
    tilted[1, 2] = 1.0
    broken = SQUARE.copy()
    broken[0, 0] = np.nan
    one = np.array([[0, 1, 2]])
    (tmp_path / "text.vtu").write_text("not a mesh")
    (tmp_path / "empty.vtu").write_text("")
    (tmp_path / "unknown.mesh_of_mine").write_text("1 2 3")
    (tmp_path / "broken.msh").write_bytes(b"$MeshFormat\n4.1 0 8\n$EndMeshFormat\n$Nodes\nx")
    save(tmp_path / "tilted.vtu", tilted, ("triangle", one))
    save(tmp_path / "nan.vtu", broken, ("triangle", one))
    save(tmp_path / "flat.vtu", SQUARE[[0, 1, 1, 0]], ("triangle", one))
    save(tmp_path / "quads.vtu", SQUARE, ("quad", np.array([[0, 1, 2, 3]])))
    save(tmp_path / "range.vtu", SQUARE, ("triangle", np.array([[0, 1, 9]])))
    save(tmp_path / "mixed.vtu", np.vstack([SQUARE, SQUARE + 5.0]), ("triangle", one),
         ("triangle6", np.array([[0, 1, 2, 3, 4, 5]])))


@pytest.mark.parametrize(("name", "message"), [
    ("absent.vtu", "no such file"), ("text.vtu", "cannot be read"),
    ("empty.vtu", "cannot be read"), ("unknown.mesh_of_mine", "cannot be read"),
    ("broken.msh", "cannot be read"), ("tilted.vtu", "not flat"), ("nan.vtu", "finite"),
    ("flat.vtu", "clockwise or flat"), ("quads.vtu", "no triangles"), ("range.vtu", "lacks"),
    ("mixed.vtu", "mixed"), ("", "no such file"),
])
def test_junk_is_refused_with_the_name_of_the_file(tmp_path, capsys, name, message):
    junk(tmp_path)
    with pytest.raises(InputError, match=message) as caught:
        read(tmp_path / name)
    assert caught.value.file == str(tmp_path / name)
    assert capsys.readouterr() == ("", "")


@pytest.mark.parametrize("data", [np.zeros(3), np.zeros((0, 2)), 1.0, "text", [["a"]]])
def test_data_that_do_not_fit_are_refused(tmp_path, bodies, data):
    with pytest.raises(InputError, match="point data load does not match"):
        write(tmp_path / "a.vtu", bodies[0], {"load": data})
    with pytest.raises(InputError, match="cell data load does not match"):
        write(tmp_path / "a.vtu", bodies[0], {}, {"load": data})
    assert not (tmp_path / "a.vtu").exists()


def test_a_file_that_cannot_be_written_is_refused(tmp_path, bodies):
    with pytest.raises(InputError, match="cannot be written"):
        write(tmp_path / "a.unknown", bodies[0])
    with pytest.raises(InputError, match="cannot be written"):
        write(tmp_path / "absent" / "a.vtu", bodies[0])
    with pytest.raises(InputError, match="no mesh"):
        write(tmp_path / "a.vtu", [])
