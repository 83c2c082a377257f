"""Wedge of three blocks on a table: limit forces of statics, 1e-6, and the verdict beside them."""

import numpy as np
import pytest

from buttress.fe.verification import wedge

ANGLES = tuple(wedge.NAMED.values())


@pytest.mark.parametrize("case", wedge.CASES, ids=lambda case: case.name)
def test_agrees_with_its_reference(case):
    value = case.compute()
    assert case.passes(value), f"{value:.10g} {case.unit}, reference {case.reference:.10g}"


def test_closed_form_by_hand_for_even_faces():
    # One block: N (sin a + mu cos a) = P/2 on the wedge, N (cos a - mu sin a) = H + mu (W + P/2).
    a, mu = np.radians(25.0), 0.3
    p = wedge.drive_limit((25.0, 25.0))
    normal = p / 2 / (np.sin(a) + mu * np.cos(a))
    assert normal * (np.cos(a) - mu * np.sin(a)) == pytest.approx(
        wedge.HELD + mu * (wedge.WEIGHT + p / 2), rel=1e-12)
    assert p == pytest.approx(1155.148334, rel=1e-9)
    # Squeezed: N (sin a - mu cos a) = P/2, N (cos a + mu sin a) = H - mu (W + P/2).
    h = wedge.squeeze_limit((25.0, 25.0))
    normal = wedge.DRIVEN / 2 / (np.sin(a) - mu * np.cos(a))
    assert normal * (np.cos(a) + mu * np.sin(a)) == pytest.approx(
        h - mu * (wedge.WEIGHT + wedge.DRIVEN / 2), rel=1e-12)


@pytest.mark.parametrize("drive", [True, False])
@pytest.mark.parametrize("angles", ANGLES)
def test_stepwise_loading_ends_at_the_limit(angles, drive):
    closed = wedge.drive_limit(angles) if drive else wedge.squeeze_limit(angles)
    assert wedge.by_solver(angles, drive) == pytest.approx(closed, rel=1e-6)


@pytest.mark.parametrize("angles", ANGLES)
def test_friction_is_mobilised_just_below_the_limit(angles):
    b = wedge.built(angles)
    share = 1.0 - wedge.JUST
    load = np.array([share * wedge.drive_limit(angles), 0.0])
    answer = b.solver.answer(load, prescribed=b.constant(drive=True))
    push = {"normal": 0.0, "tangent": 0.0}
    for force, link in zip(answer.force, b.solver.problem.links.links, strict=True):
        # The side that gives first: its faces with the wedge lean, those with the table do not.
        if link.source == "face" and link.place[1] == 0.0 and abs(link.direction[0]) in (0.0, 1.0):
            continue
        if link.source == "face" and link.place[0] > 0.0:
            push["tangent" if link.friction else "normal"] += abs(force)
    assert push["tangent"] == pytest.approx(wedge.FRICTION * push["normal"], rel=1e-3)


def test_what_starts_at_the_limit_is_the_wedge_going_down_and_a_block_going_out():
    b = wedge.built(wedge.SKEW)
    load = np.array([(1.0 + wedge.JUST) * wedge.drive_limit(wedge.SKEW), 0.0])
    answer = b.solver.answer(load, prescribed=b.constant(drive=True))
    assert answer.status == "no equilibrium"
    motion = answer.escape.rigid.reshape(-1, 3)  # wedge, left and right block; the tables are held
    assert motion[0, 1] < 0.0
    assert max(-motion[1, 0], motion[2, 0]) > 0.1 * abs(motion[0, 1])


def test_the_bracket_without_and_with_friction_holds_the_limit():
    for angles in ANGLES:
        low = wedge.without_friction(angles)
        assert low < wedge.by_solver(angles, True) <= wedge.by_program(angles, True) * (1 + 1e-6)
