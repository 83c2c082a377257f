"""Links as they are made: faces with their areas, what is refused, and what hardening has no bound
for. Strength times area is the force at which a face yields (statics of a rigid block)."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from eigenvalue import smallest_eigenvalue

from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.continuum import Continuum
from buttress.fe.links.condense import Condensed, condense
from buttress.fe.links.faces import interface_links
from buttress.fe.links.link import NO_PARTNER, Kind, Link, LinkList
from buttress.fe.mesh.bodies import Interface
from buttress.fe.solve.capacity import capacity
from buttress.fe.verification.hinge import PLASTIC, bar
from buttress.fe.verification.meshes import rectangle
from buttress.fe.verification.parts import ACROSS, ALONG, GROUND, RIGID, matched, piece
from buttress.fe.verification.problem import node_at, unknowns

WIDE, DEEP = 12.0, 5.0   # mm
STRENGTH, BOND = 4.0, 1.5   # MPa


def faced(**law: Any) -> tuple[LinkList, list[int], Interface, FloatArray, list[Continuum]]:
    """A block on a held base, linked along the 12 mm of its foot at x from 3 to 15 mm."""
    low, high = (rectangle(4, 2, WIDE, 6.0, left=3.0, bottom=b) for b in (-6.0, 0.0))
    base = piece(low, RIGID, 0.3, DEEP, unknowns(low.edges["bottom"]), name="base")
    block = piece(high, RIGID, 0.3, DEEP, name="block")
    nodes = matched(low, "top", high, "bottom")
    x = low.points[nodes[0]][:, 0]
    k = len(x)
    # Simpson's shares of each edge's length, by hand: ends 1/6, middles 4/6, corners 2/6.
    share = np.where(np.isclose((x - 3.0) % 3.0, 1.5), 4.0, 2.0)
    share[np.isclose(x, 3.0) | np.isclose(x, 15.0)] = 1.0
    area = share / 6.0 * 3.0 * DEEP
    face = Interface(name="foot", body_a=0, body_b=1, nodes_a=nodes[0], nodes_b=nodes[1],
                     normal=np.tile(ACROSS, (k, 1)), weight=area / DEEP, position=x,
                     edges_a=low.edges["top"], edges_b=high.edges["bottom"])
    links = LinkList()
    numbers = interface_links(links, face, (base, block), source="foot", area=area, **law)
    return links, numbers, face, area, [base, block]


def held_by(links: LinkList, bodies: list[Continuum], push: FloatArray) -> float:
    """Largest force [N] on the middle of the foot that limit analysis carries."""
    block = bodies[1]
    load = [[(block, block.node(node_at(block.mesh, 9.0, 0.0))(push))]]
    factor = capacity(condense(bodies, links, load), np.ones(1)).factor
    return np.inf if factor is None else factor


def test_a_face_in_contact_has_its_areas_places_and_directions() -> None:
    links, numbers, face, area, (base, _) = faced(friction=0.4, strength=STRENGTH, slope=30.0,
                                                  compliance=1e-4)
    assert area.sum() == pytest.approx(WIDE * DEEP)
    assert len(links.links) == 2 * len(numbers) == 2 * len(area)
    for i, number in enumerate(numbers):
        press, rub = links.links[number], links.links[number + 1]
        assert (press.kind, rub.kind) == (Kind.CONTACT, Kind.CONTACT_FRICTION)
        assert press.place == rub.place == tuple(base.mesh.points[face.nodes_a[i]].tolist())
        assert press.direction == (0.0, 1.0)
        assert rub.direction == (-1.0, 0.0)
        assert (press.lower, press.upper) == (0.0, pytest.approx(STRENGTH * area[i]))
        assert press.slope == pytest.approx(30.0 * area[i])
        assert press.weight == rub.weight == pytest.approx(area[i])
        assert press.compliance == rub.compliance == 1e-4
        assert (rub.friction, rub.partner, rub.lower, rub.upper) == (0.4, number, 0.0, 0.0)
        assert press.partner == NO_PARTNER


def test_a_face_in_contact_carries_its_strength_times_its_area_and_no_pull() -> None:
    links, _, _, _, bodies = faced(friction=0.4, strength=STRENGTH)
    assert held_by(links, bodies, -ACROSS) == pytest.approx(STRENGTH * WIDE * DEEP, rel=1e-6)
    assert held_by(links, bodies, ACROSS) == pytest.approx(0.0, abs=1e-6)


def test_a_bond_holds_both_ways_up_to_its_own_strength_and_is_pressed_up_to_that_of_bone() -> None:
    links, numbers, _, area, bodies = faced(strength=STRENGTH, bond=BOND)
    whole = WIDE * DEEP
    assert held_by(links, bodies, -ACROSS) == pytest.approx(STRENGTH * whole, rel=1e-6)
    for push in (ACROSS, ALONG, -ALONG):
        assert held_by(links, bodies, push) == pytest.approx(BOND * whole, rel=1e-6)
    assert [links.links[i].kind for i in numbers] == [Kind.BOND] * len(area)
    shear = [x for x in links.links if x.kind == Kind.BOND_SHEAR]
    assert [x.upper for x in shear] == pytest.approx(BOND * area)
    assert [x.lower for x in shear] == pytest.approx(-BOND * area)


def link(**law: Any) -> Link:
    return Link("spring", "s", GROUND, GROUND, **law)


@pytest.mark.parametrize(("law", "message"), [
    ({"lower": 2.0, "upper": 1.0}, "lower bound 2.0 above upper 1.0"),
    ({"compliance": -1e-9}, "negative compliance"),
    ({"slope": -1.0}, "must not be negative"),
    ({"slope": 1.0, "friction": 0.3, "partner": 0}, "zero with friction"),
    ({"friction": 0.3}, "needs a partner that was added before"),
    ({"friction": 0.3, "partner": 2}, "needs a partner that was added before"),
    ({"friction": 0.3, "partner": 1}, "hardens one way only")])
def test_a_law_that_cannot_be_is_refused_and_not_added(law: dict[str, Any], message: str) -> None:
    links = LinkList()
    assert links.add(link(lower=0.0, slope=5.0)) == 0
    assert links.add(link(lower=-0.5, upper=0.5, slope=5.0)) == 1
    with pytest.raises(ValueError, match=message):
        links.add(link(**law))
    assert len(links.links) == 2
    assert links.add(link(friction=0.3, partner=0)) == 2


def test_a_smooth_contact_has_no_link_along_its_face() -> None:
    links, numbers, _, area, _ = faced(friction=0.0)
    assert numbers == list(range(len(area)))
    assert [x.kind for x in links.links] == [Kind.CONTACT] * len(area)


def test_what_hardens_has_no_bound_in_limit_analysis_and_an_opening_stays() -> None:
    hinged = bar(built_in=True)
    p = hinged.problem
    n = p.n
    assert n == 4
    law = p.with_law(
        lower=np.array([-3.0, 0.0, -3.0, -3.0]), upper=np.array([3.0, 3.0, 3.0, 3.0]),
        slope=np.array([10.0, 10.0, 0.0, 0.0]),
        kink_slope=np.where(np.arange(len(p.kink_limit)) == 2, 7.0, 0.0))
    firm = law.firm()
    assert firm.lower.tolist() == [-np.inf, 0.0, -3.0, -3.0]
    assert firm.upper.tolist() == [np.inf, np.inf, 3.0, 3.0]
    assert np.isinf(firm.kink_limit).tolist() == [i == 2 for i in range(len(p.kink_limit))]
    assert firm.kink_limit[0] == p.kink_limit[0] == pytest.approx(
        PLASTIC / p.bodies[0].length)


@pytest.mark.parametrize(("flexibility", "rigid", "wanted"), [
    (np.diag([2.0, 8.0]), np.zeros((2, 0)), 0.25),
    (np.diag([-1.0, 4.0]), np.zeros((2, 0)), -0.25),      # as of clockwise triangles
    (np.array([[2.0, 1.0], [1.0, 4.0]]), np.ones((2, 1)), 1.0),   # one state of self-stress
    (np.eye(2), np.eye(2), 0.0)])
def test_the_smallest_eigenvalue_is_that_of_states_of_self_stress(
        flexibility: FloatArray, rigid: FloatArray, wanted: float) -> None:
    """By hand: of F on forces in equilibrium, over its largest."""
    p: Condensed = bar(built_in=False).problem
    assert smallest_eigenvalue(replace(p, flexibility=flexibility, rigid=rigid)) == pytest.approx(
        wanted, abs=1e-12)
