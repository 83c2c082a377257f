"""Members by closed forms: bars, cantilevers, section forces by statics, kinks, spread forces."""

from __future__ import annotations

import numpy as np
import pytest

from buttress.fe.bodies.body import Column
from buttress.fe.bodies.embed import keep_pairs, spread_points
from buttress.fe.bodies.member import BeamSection, Member

EA, EI, SHEAR, LENGTH = 2e5, 3e5, 4e3, 30.0
SECTION = BeamSection(EA, EI, SHEAR)
SKEW = np.array([0.6, 0.8])


def built_in(elements: int) -> Member:
    """A skew cantilever, held at its first node."""
    s = np.linspace(0.0, LENGTH, elements + 1)
    return Member("beam", s[:, None] * SKEW, [SECTION] * elements, fixed=(0, 1, 2))


def moved(beam: Member, push: Column, read: Column) -> float:
    ids = beam.register([push, read])
    return float(beam.flexibility(ids[1:], ids[:1])[0, 0])


@pytest.mark.parametrize("elements", [1, 3])
def test_a_cantilever_bends_shears_and_stretches(elements: int) -> None:
    beam, across = built_in(elements), np.array([-SKEW[1], SKEW[0]])
    pull, push = (beam.translation(elements, d) for d in (SKEW, across))
    turn = beam.rotation(elements)
    assert moved(beam, pull, pull) == pytest.approx(LENGTH / EA)
    assert moved(beam, push, push) == pytest.approx(LENGTH**3 / (3 * EI) + LENGTH / SHEAR)
    assert moved(beam, push, turn) == pytest.approx(LENGTH**2 / (2 * EI))
    assert moved(beam, turn, turn) == pytest.approx(LENGTH / EI)
    assert moved(beam, pull, push) == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("arm", [(0.0, 0.0), (2.0, 0.0), (0.0, -3.0), (1.5, 2.5)])
def test_a_point_off_the_axis_turns_with_its_node(arm: tuple[float, float]) -> None:
    beam = Member("beam", np.array([[1.0, 2.0], [9.0, 5.0]]), [SECTION])
    x, y = beam.points.T
    turned = np.stack([-y, x, np.ones(2)], axis=1).ravel()      # about the origin, by 1 rad
    for direction in (np.array([1.0, 0.0]), np.array([0.0, 1.0]), SKEW):
        column = beam.translation(1, direction, arm)
        place = beam.points[1] + arm
        assert column.values @ turned[column.dofs] == pytest.approx(
            float(direction @ [-place[1], place[0]]))


def test_section_forces_are_those_of_statics() -> None:
    """On two supports, 10 N at 4 of 10 mm, and pulled by 7 N: tension positive, the shear and the
    moment of the part behind the cut on the part before it."""
    beam = Member("beam", np.array([[0.0, 0.0], [4.0, 0.0], [10.0, 0.0]]), [SECTION] * 2)
    forces = np.array([-7.0, 6.0, 0.0, 0.0, -10.0, 0.0, 7.0, 4.0, 0.0])
    assert beam.internal_forces(forces) == pytest.approx(
        np.array([[7.0, -6.0, 0.0, 24.0], [7.0, 4.0, 24.0, 0.0]]))


def test_section_forces_turn_with_the_member() -> None:
    """The same member and forces, turned by 37 degrees: the same section forces."""
    turn = np.array([[0.8, -0.6], [0.6, 0.8]])
    flat = np.array([[0.0, 0.0], [4.0, 0.0], [10.0, 0.0]])
    forces = np.array([[-7.0, 6.0, 0.0], [0.0, -10.0, 5.0], [7.0, 3.5, 0.0]])
    turned = forces.copy()
    turned[:, :2] = forces[:, :2] @ turn.T
    found = [Member("b", p, [SECTION] * 2).internal_forces(f.ravel())
             for p, f in ((flat, forces), (flat @ turn.T, turned))]
    assert found[1] == pytest.approx(found[0])


def test_a_kink_turns_what_is_before_its_node_and_nothing_else() -> None:
    beam = Member("beam", np.array([[0.0, 0.0], [4.0, 1.0], [10.0, 1.0], [12.0, 3.0]]),
                  [SECTION] * 3)
    kink = beam.kinks([2]).reshape(-1, 3)
    # About (10, 1) by 1 rad.
    assert kink == pytest.approx(np.array([[1.0, -10.0, 1.0], [0.0, -6.0, 1.0], [0.0, 0.0, 0.0],
                                           [0.0, 0.0, 0.0]]))


@pytest.mark.parametrize("low", [-9.0, 0.3, 1.2])
def test_a_force_spread_over_part_of_a_station_adds_no_moment(low: float) -> None:
    """Points that lie outside the body (above a height) are left out with their mirror images."""
    centre = np.array([3.0, 2.0])
    points, weights = spread_points(centre, SKEW, 3.0, 4.0)
    assert weights @ (points - centre) == pytest.approx([0.0, 0.0], abs=1e-12)
    kept, weights = keep_pairs(points, weights, points[:, 1] >= low)
    assert 0 < len(kept) <= len(points)
    assert (len(kept) < len(points)) is (low > 0.0)
    assert weights @ (kept - centre) == pytest.approx([0.0, 0.0], abs=1e-12)
