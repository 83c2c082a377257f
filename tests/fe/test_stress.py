import numpy as np
import pytest

from buttress.fe.bodies.assembly import quadrature_points, sheet, stiffness
from buttress.fe.bodies.element import NODES
from buttress.fe.bodies.stress import (
    principal,
    strain,
    strain_at,
    stress,
    to_nodes,
    von_mises,
    weights,
)
from buttress.fe.verification.meshes import quarter_ring, rectangle, scattered

STRAIGHT = scattered(rectangle(6, 4, 30.0, 20.0), 1.0)
CURVED = quarter_ring(12, 4, 10.0, 20.0)


@pytest.mark.parametrize("rule", [3, 6, 7])
def test_strain_of_a_quadratic_displacement(rule):
    x, y = STRAIGHT.points.T
    u = np.stack([x**2 + 2 * x * y, y**2 - 3 * x], axis=1).ravel()
    x, y = np.moveaxis(quadrature_points(STRAIGHT, rule), -1, 0)
    exact = np.stack([2 * x + 2 * y, 2 * y, 2 * x - 3], axis=-1)
    assert strain(STRAIGHT, u, rule) == pytest.approx(exact)
    at = STRAIGHT.points[STRAIGHT.triangles]
    assert strain_at(STRAIGHT, u, NODES)[..., 1] == pytest.approx(2 * at[..., 1])


@pytest.mark.parametrize("mesh", [STRAIGHT, CURVED], ids=["straight", "curved"])
def test_strain_energy_is_that_of_the_stiffness(mesh):
    u = np.random.default_rng(0).normal(size=2 * len(mesh.points))
    sheets = sheet(1000 + quadrature_points(mesh)[..., 0], 0.3)
    e = strain(mesh, u)
    energy = np.sum(weights(mesh) * np.sum(e * stress(e, sheets), axis=-1))
    assert energy == pytest.approx(u @ (stiffness(mesh, sheets) @ u), rel=1e-12)


def test_weights_sum_to_the_area():
    assert weights(STRAIGHT).sum() == pytest.approx(600.0)
    assert weights(CURVED).sum() == pytest.approx(75 * np.pi, rel=1e-5)
    assert weights(CURVED, 3).shape == (len(CURVED.triangles), 3)


def test_uniaxial_stress():
    exx = 1e-3
    found = stress(np.array([exx, -0.3 * exx, 0.0]), sheet(200e3, 0.3))
    assert found == pytest.approx([200.0, 0.0, 0.0])


def test_principal_strains_do_not_turn_with_the_axes():
    # e1 3, e2 -1 turned by 25 degrees; the shear is the engineering one.
    angle = np.radians(25)
    c, s = np.cos(angle), np.sin(angle)
    turned = np.array([3 * c * c - s * s, 3 * s * s - c * c, 2 * (3 + 1) * s * c])
    assert principal(turned) == pytest.approx([3, -1])
    assert principal(np.zeros((4, 5, 3))).shape == (4, 5, 2)


def test_von_mises():
    cases = np.array([[100.0, 0, 0], [0, 0, 100.0], [100, 100, 0], [100, -100, 0]])
    assert von_mises(cases) == pytest.approx([100, 100 * np.sqrt(3), 100, 100 * np.sqrt(3)])


@pytest.mark.parametrize("rule", [3, 6, 7])
def test_nodal_values_of_a_linear_field(rule):
    x, y = np.moveaxis(quadrature_points(STRAIGHT, rule), -1, 0)
    values = np.stack([1 + 2 * x - y, 0 * x + 4], axis=-1)
    x, y = STRAIGHT.points.T
    found = to_nodes(STRAIGHT, values, rule)
    assert found == pytest.approx(np.stack([1 + 2 * x - y, 0 * x + 4], axis=-1))
    assert to_nodes(STRAIGHT, values[..., 0], rule).shape == (len(x),)


def test_nodal_average_is_weighted_by_area():
    # A big triangle (area 3) says 1, a small one (area 1) says 5; they share the middle side.
    points = np.array([[0, 0], [2, 0], [0, 3], [1, 0], [1, 1.5], [0, 1.5],
                       [0, 0], [0, 0], [0, 0]], dtype=float)
    points[6] = [2.0, 1.0]
    points[7], points[8] = (points[1] + points[6]) / 2, (points[6] + points[2]) / 2

    class Pair:
        pass

    pair = Pair()
    pair.points = points
    pair.triangles = np.array([[0, 1, 2, 3, 4, 5], [1, 6, 2, 7, 8, 4]])
    area = weights(pair).sum(axis=1)
    assert area == pytest.approx([3.0, 1.0])
    values = np.broadcast_to(np.array([[1.0], [5.0]]), (2, 6))
    found = to_nodes(pair, values)
    assert found[[1, 2, 4]] == pytest.approx([2.0, 2.0, 2.0])
    assert found[[0, 6]] == pytest.approx([1.0, 5.0])
