"""Events of a path: what tightening alone has led to, and movements that snap."""

from functools import cache

import numpy as np
import pytest

from buttress.fe.bodies.member import BeamSection, Member
from buttress.fe.links.condense import condense
from buttress.fe.links.link import End, Hinge, Link, LinkList
from buttress.fe.solve.answer import Memory
from buttress.fe.solve.events import SNAP_HALVINGS, events_of, standing
from buttress.fe.solve.path import press, steps
from buttress.fe.solve.ram import Ram
from buttress.fe.solve.reached import probe
from buttress.fe.solve.solver import Solver
from buttress.fe.verification.meshes import rectangle
from buttress.fe.verification.parts import ACROSS, ALONG, GROUND, RIGID, line, piece, touch
from buttress.fe.verification.problem import node_at, unknowns

BLOCK = rectangle(2, 2, 20.0, 10.0, left=-10.0)
TIE, OTHER = 1e3, 4e3                # N/mm
STRENGTH, STRONGER = 100.0, 300.0    # N


def held(links, body, x, y, direction, stiffness, name, **law):
    """A link of one block to the ground; its number."""
    return links.add(Link(name, name, End(body, body.node(node_at(BLOCK, x, y))(direction)), GROUND,
                          compliance=1.0 / stiffness, **law))


def guided(links, body):
    """Springs against turning and moving along x, which nothing in the problem stretches."""
    held(links, body, -10.0, 0.0, ALONG, 1e4, "guide")
    held(links, body, -10.0, 10.0, ALONG, 1e4, "guide")


@cache
def tightened(way):
    """A block that can only rise, on a tie of some strength, tightened to it, and on another spring
    without tension; pressed up (``way`` 1) or down."""
    block, links = piece(BLOCK, RIGID, 0.3, name="block"), LinkList()
    tie = held(links, block, 0.0, 0.0, ACROSS, TIE, "tie", lower=-STRENGTH, upper=STRENGTH)
    held(links, block, 0.0, 10.0, ACROSS, OTHER, "other", lower=-np.inf,
         upper=STRONGER if way > 0 else np.inf)
    guided(links, block)
    up = block.node(node_at(BLOCK, 0.0, 10.0))(way * ACROSS)
    solver = Solver(condense([block], links, [[(block, up)]]))
    answer = solver.answer(np.zeros(1), Memory.none(solver.problem), {tie: STRENGTH})
    assert answer.held
    ram = Ram.of(solver.problem, np.ones(1))
    return press(ram, solver.advance(answer, Memory.none(solver.problem)), steps(0.6, first=0.01),
                 near=answer)


def test_a_bound_that_tightening_has_reached_is_no_event_of_loading():
    """The tie stands at 100 N and stretches on at that force; the other spring, which tightening has
    pressed to -100 N, takes all of the load and reaches its 300 N under 400 N."""
    path = tightened(1)
    assert [(e.kind, e.source, e.load_N, e.ram_mm) for e in standing(path)] == [
        ("yield", "tie", 0.0, 0.0)]
    found = [e for e in events_of(path) if e.kind != "peak"]
    assert [(e.kind, e.source) for e in found] == [("yield", "other")]
    assert found[0].load_N == pytest.approx(STRENGTH + STRONGER, rel=5e-3)
    stretched = path.points[-1].memory.offset - path.points[0].memory.offset
    assert stretched[0] > 0.1


def test_the_other_bound_of_what_tightening_has_stretched_is_an_event():
    """Pressed down by 200 N / 1000 N/mm the tie has gone from 100 to -100 N, and the other spring
    has taken 4000 N/mm times that: 200 + 800 N in all."""
    path = tightened(-1)
    assert [(e.kind, e.source) for e in standing(path)] == [("yield", "tie")]
    found = next(e for e in events_of(path) if e.source == "tie")
    assert found.kind == "yield"
    assert found.ram_mm == pytest.approx(2 * STRENGTH / TIE, rel=5e-3)
    assert found.load_N == pytest.approx(2 * STRENGTH * (1 + OTHER / TIE), rel=5e-3)


PRESS, FRICTION, LEAN, SOFT = 1000.0, 0.8, np.radians(70.0), 400.0   # N, -, rad, N/mm
STRUT, WAY = 5000.0, 0.1                                             # N/mm, mm


@cache
def leaning(soft):
    """A block pressed on a base and pushed along it by a ram that also presses a soft block.

    A strut of stiffness k leans on the block at an angle a to the way of the push: sliding by u
    takes k cos(a)^2 u of force, and takes k cos(a) sin(a) u off the contact's force.
    """
    low = rectangle(2, 2, 20.0, 10.0, left=-10.0, bottom=-10.0)
    base = piece(low, RIGID, 0.3, fixed=unknowns(low.edges["bottom"]), name="base")
    block = piece(BLOCK, RIGID, 0.3, name="block")
    other = piece(BLOCK, RIGID, 0.3, name="soft block")
    links = LinkList()
    nodes = [np.array([i]) for i in (node_at(low, 0.0, 0.0), node_at(BLOCK, 0.0, 0.0))]
    touch(links, base, block, (nodes[0], nodes[1]), ACROSS, friction=FRICTION)
    held(links, block, 0.0, 0.0, np.array([np.cos(LEAN), -np.sin(LEAN)]), STRUT, "strut")
    for x in (-10.0, 10.0):
        held(links, block, x, 0.0, ACROSS, 1.0, "against turning")
    held(links, block, 0.0, 0.0, ALONG, 1e7, "stop", lower=0.0, gap=WAY)
    held(links, other, 0.0, 0.0, ALONG, soft, "soft spring")
    for x in (-10.0, 10.0):
        held(links, other, x, 0.0, ACROSS, 1e4, "guide")
    middle = node_at(BLOCK, 0.0, 0.0)
    problem = condense([base, block, other], links, [
        [(block, block.node(middle)(ALONG))], [(other, other.node(middle)(ALONG))],
        [(block, block.node(middle)(-ACROSS))]])
    ram = Ram.of(problem, np.array([1.0, 1.0, 0.0]), base=np.array([0.0, 0.0, PRESS]))
    return press(ram, Memory.none(problem), steps(4.0, first=0.05))


def test_a_block_whose_own_sliding_lifts_it_snaps_to_its_stop():
    """Until friction is overcome at mu N only the soft spring c gives, so that this is at
    s = mu N / c. Sliding then needs k (mu sin a cos a - cos a^2) N less for each mm; that is more
    than the soft spring takes up, so the block slides all the way to its stop at once, and the load
    falls by c times that way."""
    path = leaning(SOFT)
    assert STRUT * np.cos(LEAN) * (FRICTION * np.sin(LEAN) - np.cos(LEAN)) > SOFT
    snap = next(e for e in events_of(path) if e.kind == "snap")
    assert (snap.source, snap.place) == ("face", (0.0, 0.0))
    number = next(i for i, p in enumerate(path.points) if p.ram_mm > snap.ram_mm)
    step = path.points[number].ram_mm - path.points[number - 1].ram_mm
    error = step / 2**SNAP_HALVINGS
    assert snap.ram_mm == pytest.approx(FRICTION * PRESS / SOFT, abs=error)
    assert snap.load_N == pytest.approx(FRICTION * PRESS, abs=SOFT * error)
    for point in path.points[number:]:
        assert point.load_N == pytest.approx(SOFT * (point.ram_mm - WAY), rel=1e-3)
    slip = next(e for e in events_of(path) if e.kind == "slip")
    assert slip.load_N == pytest.approx(FRICTION * PRESS, rel=5e-3)


def test_what_slides_without_a_jump_does_not_snap():
    """A soft spring of 2000 N/mm holds the ram's force back less than sliding does: the load falls
    as the block slides, but the ram leads it all the way."""
    path = leaning(2000.0)
    found = events_of(path)
    assert "snap" not in {e.kind for e in found}
    slip = next(e for e in found if e.kind == "slip")
    assert slip.load_N == pytest.approx(FRICTION * PRESS, rel=5e-3)


def test_another_answer_at_the_same_place_is_found_where_there_is_one():
    """Just before the block snaps it could also lie at its stop: the stop's force, by hand c (s - u)
    - mu N + k (mu sin a cos a - cos a^2) u, is positive there. The load is then less by c times
    the way u."""
    way = leaning(SOFT)
    falls = STRUT * np.cos(LEAN) * (FRICTION * np.sin(LEAN) - np.cos(LEAN))
    snaps = FRICTION * PRESS / SOFT
    first = snaps - WAY * (falls / SOFT - 1.0)
    path = press(way.ram, Memory.none(way.ram.plain),
                 [0.5 * snaps, first - 0.02, first + 0.02, snaps - 0.02])
    found = [probe(path, path.first_above(SOFT * s - 1e-3))
             for s in (0.5 * snaps, first - 0.02, first + 0.02, snaps - 0.02)]
    assert [x[0] for x in found] == ["unique", "unique", "branch found", "branch found"]
    for _, spread in found[2:]:
        assert spread == pytest.approx(SOFT * WAY, rel=1e-3)


def test_each_part_gives_way_once_where_the_first_of_its_links_comes_to_its_strength():
    """Links side by side stretch by the same: the soft one of the row is at its 100 N after 0.1 mm,
    the stiff one at its 1100 N after 0.11 mm in the same step, another part after 0.2 mm."""
    block, links = piece(BLOCK, RIGID, 0.3, name="block"), LinkList()
    first, stiff = (1.0, 0.0), (2.0, 0.0)
    held(links, block, 0.0, 0.0, ACROSS, 1e3, "row", lower=-np.inf, upper=100.0, place=first)
    held(links, block, 0.0, 10.0, ACROSS, 1e4, "row", lower=-np.inf, upper=1100.0, place=stiff)
    held(links, block, 0.0, 0.0, ACROSS, 1e3, "later", lower=-np.inf, upper=200.0)
    held(links, block, 0.0, 10.0, ACROSS, 5e3, "spring")
    guided(links, block)
    up = block.node(node_at(BLOCK, 0.0, 10.0))(ACROSS)
    ram = Ram.of(condense([block], links, [[(block, up)]]), np.ones(1))
    path = press(ram, Memory.none(ram.plain), [0.06, 0.14, 0.25, 0.4])
    row, later = (e for e in events_of(path) if e.kind == "yield")
    assert (row.source, row.place) == ("row", first)
    assert row.ram_mm == pytest.approx(0.1, rel=5e-3)
    assert row.load_N == pytest.approx(1.7e4 * 0.1, rel=5e-3)
    assert later.source == "later"
    assert later.ram_mm == pytest.approx(0.2, rel=5e-3)
    assert later.load_N == pytest.approx(1200.0 + 6e3 * 0.2, rel=5e-3)


def test_a_hinge_that_tightening_has_turned_is_no_event_of_loading():
    """A tie in the middle of a bar on two supports bends it by T L / 4, a fifth over the moment at
    which its hinge begins to turn."""
    long, yields = 80.0, 5000.0   # mm, N mm
    bar = Member("bar", line(long, long / 4), [BeamSection(4e6, 3e6, 1.2e6)] * 4)
    links = LinkList()
    links.add(Link("pin", "pin", End(bar, bar.translation(0, ALONG)), GROUND))
    for node in (0, 4):
        links.add(Link("pin", "pin", End(bar, bar.translation(node, ACROSS)), GROUND))
    tie = links.add(Link("tie", "tie", End(bar, bar.translation(2, ACROSS)), GROUND,
                         compliance=1e-3))
    links.hinges.append(Hinge("bar", bar, 2, yields, slope=1e5))
    solver = Solver(condense([bar], links, [[(bar, bar.translation(1, -ACROSS))]]))
    answer = solver.answer(np.zeros(1), Memory.none(solver.problem),
                           {tie: 1.2 * 4.0 * yields / long})
    assert abs(answer.kink[0]) / bar.length == pytest.approx(0.2 * yields / 1e5, rel=1e-6)
    ram = Ram.of(solver.problem, np.ones(1))
    path = press(ram, solver.advance(answer, Memory.none(solver.problem)), [0.01, 0.02],
                 near=answer)
    assert [(e.kind, e.source, e.hinge, e.load_N) for e in standing(path)] == [
        ("hinge", "bar", 0, 0.0)]
    assert "hinge" not in {e.kind for e in events_of(path)}


def test_what_carries_no_force_has_no_strength_that_it_reaches():
    """A head on a plate without friction: its link along the plate has no width, and slides."""
    block, links = piece(BLOCK, RIGID, 0.3, name="block"), LinkList()
    held(links, block, 0.0, 0.0, ACROSS, TIE, "spring")
    held(links, block, 0.0, 10.0, ACROSS, TIE, "smooth", lower=0.0, upper=0.0)
    guided(links, block)
    up = block.node(node_at(BLOCK, 0.0, 10.0))(ACROSS)
    problem = condense([block], links, [[(block, up)]])
    path = press(Ram.of(problem, np.ones(1)), Memory.none(problem), steps(0.6, first=0.01))
    assert path.points[-1].answer.slack[1] != 0.0
    assert not events_of(path, ("crushing", "yield"))
