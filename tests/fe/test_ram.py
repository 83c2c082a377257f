"""A load pattern pressed by displacement: the ram's row, its work, and what stands against it."""

from functools import cache

import numpy as np
import pytest

from buttress.fe.links.condense import Measure, condense
from buttress.fe.links.link import End, LinkList
from buttress.fe.solve.answer import Memory
from buttress.fe.solve.ram import Ram, with_ram
from buttress.fe.verification import hinge
from buttress.fe.verification.meshes import rectangle
from buttress.fe.verification.parts import ACROSS, ALONG, GROUND, matched, piece, spring, touch
from buttress.fe.verification.problem import node_at, unknowns


@cache
def block(friction=0.3):
    """A block on a base and two springs; load cases press it left and right of its middle."""
    low, high = rectangle(4, 2, 20.0, 10.0, bottom=-10.0), rectangle(4, 2, 20.0, 10.0)
    base = piece(low, 1000.0, 0.3, 10.0, unknowns(low.edges["bottom"]), name="base")
    top = piece(high, 500.0, 0.3, 10.0, name="block")
    links = LinkList()
    touch(links, base, top, matched(low, "top", high, "bottom"), ACROSS, friction=friction)
    for x in (0.0, 20.0):
        spring(links, End(top, top.node(node_at(high, x, 5.0))(ALONG)), GROUND, 1e3)
    down = np.array([0.1, -1.0])
    loads = [[(top, top.node(node_at(high, x, 10.0))(down))] for x in (5.0, 15.0)]
    return condense([base, top], links, loads,
                    [Measure(str(i), tuple(case)) for i, case in enumerate(loads)])


@pytest.mark.parametrize("share", [0.0, 0.3, 0.5, 1.0])
def test_the_position_of_the_ram_is_conjugate_to_its_load(share):
    p, pattern = block(), np.array([share, 1 - share])
    ram = Ram.of(p, pattern, base=np.array([40.0, 10.0]))
    rest = ram.rest(Memory.none(p))
    found = ram.step(Memory.none(p), place=rest.place + 0.05, near=[rest])
    assert found.held
    assert found.answer.load == pytest.approx([40.0, 10.0] + found.load * pattern)
    a = found.answer
    read = np.array(list(p.measures(a.load, a.force, a.rigid, a.kink).values()))
    assert pattern @ read == pytest.approx(rest.place + 0.05, rel=1e-12)
    assert found.place == pytest.approx(rest.place + 0.05, rel=1e-12)


def test_force_and_displacement_lead_to_the_same_state():
    ram = Ram.of(block(), np.array([0.5, 0.5]))
    none = Memory.none(ram.plain)
    by_place = ram.step(none, place=0.04)
    by_force = ram.step(none, load=by_place.load)
    assert by_place.load > 1.0
    assert by_force.place == pytest.approx(0.04, rel=1e-10)
    assert by_force.answer.force == pytest.approx(by_place.answer.force, abs=1e-9 * by_place.load)


def test_the_row_of_the_ram_is_that_of_the_load():
    p = block()
    q = with_ram(p, np.array([1.0, 0.0]))
    assert q.flexibility == pytest.approx(q.flexibility.T, abs=0.0)
    assert q.flexibility[-1, :-1] == pytest.approx(-p.load_deformation[:, 0])
    assert q.flexibility[-1, -1] == pytest.approx(p.load_flexibility[0, 0])
    assert p.load_flexibility == pytest.approx(p.load_flexibility.T)
    assert p.load_flexibility[0, 0] > 0.0


def test_the_load_of_a_member_bends_its_hinges():
    p = hinge.bar(built_in=False).problem
    assert with_ram(p, np.ones(1)).kinks[-1] == pytest.approx(-p.load_kinks[:, 0])
    assert np.abs(p.load_kinks).max() > 0.0


def test_the_ram_does_not_pull():
    # A bar that its supports hold both ways would resist being pulled.
    ram = Ram.of(hinge.bar(built_in=True).problem, np.ones(1))
    none = Memory.none(ram.plain)
    rest = ram.rest(none)
    away = ram.step(none, place=rest.place - 0.1, near=[rest], hammer=True)
    assert away.held
    assert away.load == 0.0


@pytest.mark.parametrize("pattern", [[0.0, 0.0], [np.nan, 1.0]])
def test_a_ram_that_presses_on_nothing_is_refused(pattern):
    with pytest.raises(ValueError, match="nothing to press on"):
        Ram.of(block(), np.array(pattern))


def test_another_friction_shares_the_inverse():
    ram = Ram.of(block(), np.array([0.5, 0.5]))
    slick = ram.with_law(ram.plain.with_law(friction=0.1 * ram.plain.friction))
    assert slick.solver.inverse is ram.solver.inverse
    none = Memory.none(ram.plain)
    again = Ram.of(slick.plain, np.array([0.5, 0.5])).step(none, place=0.04)
    assert slick.step(none, place=0.04).load == pytest.approx(again.load, rel=1e-12)
    assert again.load < ram.step(none, place=0.04).load
