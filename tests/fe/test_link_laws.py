"""The law of links in closed form, one link at a time, and what is remembered of it."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from buttress.fe.bodies.body import Column
from buttress.fe.bodies.member import BeamSection, Member
from buttress.fe.links.condense import Measure, condense
from buttress.fe.links.link import End, Hinge, Kind, Link, LinkList
from buttress.fe.links.placed import OPEN_MM
from buttress.fe.solve.answer import Memory
from buttress.fe.solve.cycles import cycle
from buttress.fe.solve.events import _happened
from buttress.fe.solve.recover import displacements, pushes, resultant
from buttress.fe.solve.solver import Solver
from buttress.fe.solve.stages import Staging
from buttress.fe.solve.step import LOCKED, Step
from buttress.fe.verification.parts import ACROSS, ALONG, GROUND, spring

STIFF = BeamSection(1e9, 1e9, 1e9)
SPRING, GAP = 1000.0, 0.3


def bar(name: str, x: float, fixed: tuple[int, ...] = ()) -> Member:
    """A stiff bar of 10 mm from x on."""
    return Member(name, np.array([[x, 0.0], [x + 10.0, 0.0]]), [STIFF], fixed)


def pushed(gap: float, strength: float = np.inf) -> tuple[Solver, int]:
    """A bar between a spring and a wall that it reaches after a gap; 1 N pushes it to the wall."""
    block, wall, links = bar("block", 0.0), bar("wall", 10.0 + gap, (0, 1, 2)), LinkList()
    spring(links, End(block, block.translation(0, ALONG)), GROUND, SPRING)
    for node in (0, 1):
        spring(links, End(block, block.translation(node, ACROSS)), GROUND, 1e6)
    number, none = links.contact(
        Kind.CONTACT, "face", (block, wall), (lambda d: block.translation(1, d),
                                              lambda d: wall.translation(0, d)),
        normal=ALONG, friction=0.0, gap=gap, strength=strength)
    assert none is None
    load = [(block, block.translation(0, ALONG))]
    return Solver(condense([block, wall], links, [load], [Measure("x", tuple(load))])), number


@pytest.mark.parametrize("force", [-200.0, 200.0, 299.0, 301.0, 500.0])
def test_a_contact_carries_what_comes_after_its_gap_has_closed(force: float) -> None:
    solver, contact = pushed(GAP)
    answer = solver.answer(np.array([force]))
    assert answer.force[contact] == pytest.approx(max(0.0, force - SPRING * GAP), abs=1e-2)
    assert answer.force[0] == pytest.approx(min(force, SPRING * GAP), abs=1e-2)


def test_a_contact_bears_its_strength_and_a_spring_the_rest() -> None:
    solver, contact = pushed(0.0, 100.0)
    answer = solver.answer(np.array([500.0]))
    assert answer.force[contact] == pytest.approx(100.0, abs=1e-9)
    assert answer.force[0] == pytest.approx(400.0, abs=1e-2)


@pytest.mark.parametrize("times", [0.1, 10.0])
def test_how_steeply_a_link_hardens_does_not_say_on_which_side_it_gives_way(times: float) -> None:
    """A face that is pressed in is not open, and a hinge that has turned one way is not at its
    bound of the other, however much stiffer than the bodies is what hardens (`links.link`)."""
    solver, contact = pushed(0.0)
    p, own = solver.problem, 1.0 / float(solver.scale[contact])
    face = np.arange(p.n) == contact
    crushed = solver.variant(p.with_law(upper=np.where(face, 100.0, p.upper),
                                        slope=np.where(face, times * own, 0.0)))
    step = Step(crushed, np.array([50.0]), Memory.none(p), {})
    pressed = np.where(face, 10.0 / own, 0.0)
    value, _, state, _ = step.project(np.zeros(p.n), pressed, np.zeros(0))
    assert (state[contact], value[contact]) == (0, pytest.approx(10.0))

    bent = propped()
    own = 1.0 / float(bent.kink_scale[0])
    stiff = bent.variant(bent.problem.with_law(kink_slope=np.array([times * own])))
    zero = np.zeros(stiff.problem.n)
    other = Step(stiff, np.array([0.0]), Memory.none(stiff.problem), {})
    for share in (0.15, -0.15):
        moment = share * float(stiff.problem.kink_limit[0])
        kink = np.array([moment / own])
        _, found, _, turning = other.project(zero, zero, kink)
        assert (turning[0], found[0]) == (0, pytest.approx(moment))


def test_a_contact_that_has_opened_closes_where_it_was() -> None:
    solver, contact = pushed(0.0)
    first = solver.answer(np.array([500.0]))
    opened = solver.answer(np.array([-400.0]))
    assert opened.slack[contact] == pytest.approx(-0.4, rel=1e-4)
    memory = solver.advance(opened)
    assert memory.offset[contact] == 0.0
    assert solver.answer(np.array([500.0]), memory).force == pytest.approx(first.force, abs=1e-6)


def test_a_contact_that_is_fastened_pulls() -> None:
    solver, contact = pushed(0.0)
    staging = Staging(solver)
    state = staging.start(np.ones(2, dtype=bool))
    _, state = staging.step(state, np.array([100.0]))
    loose, _ = staging.step(state, np.array([-400.0]))
    assert loose.force[contact] == 0.0
    fast = staging.fasten(state, np.array([contact]))
    held, _ = staging.step(fast, np.array([-400.0]))
    assert held.force[contact] == pytest.approx(-400.0, rel=1e-4)


def test_a_friction_link_that_is_fastened_no_longer_slides() -> None:
    """Pressed by 100 N, pushed along by 300 N at a friction of 0.5: a spring takes the rest."""
    block, wall, links = bar("block", 0.0), bar("wall", 0.0, (0, 1, 2)), LinkList()
    spring(links, End(block, block.translation(0, ALONG)), GROUND, SPRING)
    spring(links, End(block, block.translation(1, ACROSS)), GROUND, 1e6)
    normal, rub = links.contact(
        Kind.CONTACT, "face", (block, wall), (lambda d: block.translation(0, d),
                                              lambda d: wall.translation(0, d)),
        normal=-ACROSS, friction=0.5)
    assert rub is not None
    # Turned from the normal counter-clockwise.
    assert links.links[rub].direction == pytest.approx((1.0, 0.0))
    assert links.arrays()["opens"].tolist() == [False, False, True, False]
    solver = Solver(condense([block, wall], links, [[(block, block.translation(0, -ACROSS))],
                                                    [(block, block.translation(0, ALONG))]]))
    staging, load = Staging(solver), np.array([100.0, 300.0])
    _, state = staging.step(staging.start(np.ones(2, dtype=bool)), np.array([100.0, 0.0]))
    slid, after = staging.step(state, load)
    assert slid.force[normal] == pytest.approx(100.0, rel=1e-6)
    assert abs(slid.force[rub]) == pytest.approx(50.0, rel=1e-6)
    assert slid.force[0] == pytest.approx(250.0, rel=1e-6)
    # What has slid stays where it is: half of the friction comes back before it turns round.
    back, _ = staging.step(after, np.array([100.0, 250.0]))
    assert back.force[0] == pytest.approx(250.0, rel=1e-4)
    held, _ = staging.step(staging.fasten(state, np.array([normal, rub])), load)
    assert abs(held.force[rub]) == pytest.approx(300.0, rel=1e-4)


def propped() -> Solver:
    """A cantilever of 30 mm with a hinge of 2 N m at 10 mm, propped by a spring at its tip."""
    beam = Member("beam", np.array([[0.0, 0.0], [10.0, 0.0], [30.0, 0.0]]),
                  [BeamSection(1e6, 4e6, 1e6)] * 2)
    links = LinkList()
    for column in (beam.translation(0, ALONG), beam.translation(0, ACROSS)):
        spring(links, End(beam, column), GROUND, 1e7)
    turn = beam.rotation(0)
    spring(links, End(beam, Column.of(turn.dofs, 10.0 * turn.values)), GROUND, 1e7)
    spring(links, End(beam, beam.translation(2, ACROSS)), GROUND, 50.0)
    links.hinges.append(Hinge("beam", beam, 1, 2000.0))
    tip = [(beam, beam.translation(2, -ACROSS))]
    return Solver(condense([beam], links, [tip], [
        Measure("tip", tuple(tip)), Measure("root", ((beam, beam.rotation(1)),)), Measure(
            "clamp", ((beam, beam.rotation(0)),))]))


def test_a_hinge_lets_the_prop_carry_the_rest_and_all_movements_agree() -> None:
    """Moment at the hinge: 20 mm times load less prop is 2000 N mm, so the prop carries 200 of
    300 N and the tip sinks by 200 N / 50 N/mm, which is told by the measure and by the fields."""
    solver = propped()
    problem = solver.problem
    answer = solver.answer(np.array([300.0]))
    assert answer.held
    assert abs(answer.kink[0]) > 1e-3
    assert abs(answer.force[3]) == pytest.approx(200.0, rel=1e-6)
    read = problem.measures(answer.load, answer.force, answer.rigid, answer.kink)
    [field] = displacements(problem, answer)
    assert read["tip"] == pytest.approx(4.0, rel=1e-6)
    assert -field[3 * 2 + 1] == pytest.approx(4.0, rel=1e-6)
    assert read["root"] == pytest.approx(float(field[3 * 1 + 2]), rel=1e-9)
    # What is before the hinge stays in its clamp, a stiff spring.
    assert read["clamp"] == pytest.approx(0.0, abs=1e-5)
    assert field[:3] == pytest.approx(0.0, abs=1e-4)
    assert abs(read["root"]) > 1e-2
    # Unloaded by half it goes back as an elastic beam does, and stays bent.
    firm = solver.variant(problem.with_law(kink_limit=np.full(1, np.inf)))
    back = solver.answer(np.array([150.0]), solver.advance(answer))
    elastic = firm.answer(np.array([150.0]))
    read = {name: problem.measures(a.load, a.force, a.rigid, a.kink)["tip"]
            for name, a in (("back", back), ("elastic", elastic))}
    assert 0.1 < read["elastic"] < 0.4
    assert read["back"] == pytest.approx(4.0 - read["elastic"], rel=1e-6)
    # In a further step the hinge goes on from where it is.
    more = solver.answer(np.array([350.0]), solver.advance(answer))
    assert abs(more.force[3]) == pytest.approx(250.0, rel=1e-6)
    assert problem.measures(more.load, more.force, more.rigid, more.kink)["tip"] == pytest.approx(
        5.0, rel=1e-6)


def test_forces_that_balance_but_break_the_law_are_not_accepted() -> None:
    """Two equal springs side by side take half of the load each; any other share closes too."""
    block, links = bar("block", 0.0), LinkList()
    for node in (0, 1):
        spring(links, End(block, block.translation(node, ALONG)), GROUND, SPRING)
        spring(links, End(block, block.translation(node, ACROSS)), GROUND, 1e6)
    solver = Solver(condense([block], links, [[(block, block.translation(0, ALONG))]]))
    load = np.array([200.0])
    answer = solver.answer(load)
    assert answer.force[[0, 2]] == pytest.approx([100.0, 100.0], rel=1e-4)
    step = Step(solver, load, Memory.none(solver.problem), {})
    assert step.accept(answer.force, answer.rigid, answer.kink, 1.0, 1) is not None
    for off in (1e-3, 1e-1, 5.0):
        wrong = answer.force + off * np.array([1.0, 0.0, -1.0, 0.0])
        assert step.accept(wrong, answer.rigid, answer.kink, 1.0, 1) is None, off


def test_errors_are_told_against_the_load_or_a_share_of_the_forces_that_are_there() -> None:
    solver = pushed(GAP)[0]
    none = Memory.none(solver.problem)
    loaded, at_rest = (Step(solver, np.array([f]), none, {}) for f in (10.0, 0.0))
    for force, against in (([5.0, -4.0], 10.0), ([2e5, 3.0], 2e5 * LOCKED), ([-2e5, 3.0], 2e5 * LOCKED)):
        assert loaded.against(np.array(force)) == pytest.approx(against)
    misfit = at_rest.reference      # the force that closing the gap would take
    for force in (0.5 * LOCKED * misfit, 2.0 * misfit):
        assert at_rest.against(np.array([-3.0, force])) == max(force, LOCKED * misfit)


def test_pushes_in_moved_geometry_have_their_moments_about_the_moved_point() -> None:
    """10 N along y, 3 mm ahead of the point, which has moved by (1, 2); and the same from behind."""
    block, other, links = bar("block", 0.0), bar("other", 20.0), LinkList()
    hold, rest = (End(b, b.translation(0, ACROSS)) for b in (block, other))
    for end in ((rest, hold), (hold, rest)):
        links.add(Link("spring", "source", *end))
    placed = SimpleNamespace(carried=lambda number, xy: np.array([[1.0, 2.0]]),
                             direction=np.array([[0.0, 1.0], [0.0, 1.0]]),
                             at=np.array([[[0.0, 0.0], [8.0, 9.0]], [[8.0, 9.0], [0.0, 0.0]]]))
    problem = SimpleNamespace(bodies=[block, other], loads=[], links=links)
    answer = SimpleNamespace(moved=SimpleNamespace(placed=placed), load=[], force=np.array([10.0, 4.0]))
    applied, sources = pushes(problem, answer, block, np.array([4.0, 7.0]))  # type: ignore[arg-type]
    assert not applied.any()
    assert sources["source"] == pytest.approx([0.0, 6.0, 18.0])


def test_the_resultant_of_a_force_has_its_moment_about_a_point() -> None:
    beam = Member("beam", np.array([[3.0, 1.0], [9.0, 5.0]]), [STIFF])
    about = np.array([1.0, 2.0])
    assert resultant(beam, beam.translation(0, ACROSS), about) == pytest.approx([0, 1, 2])
    assert resultant(beam, beam.translation(0, ALONG), about) == pytest.approx([1, 0, 1])
    assert resultant(beam, beam.rotation(1), about) == pytest.approx([0, 0, 1])


@pytest.mark.parametrize(("values", "verdict"), [
    ([1.0, 2.0, 3.0, 4.0, 5.0], "ratchets"), ([1.0, -1.0, 1.0, -1.0, 1.0], "not settled"),
    ([1.0, 1.5, 1.75, 1.875, 1.9375], "not settled"), ([1.0, 2.0, 2.0, 2.0, 2.0], "settled")])
def test_only_what_goes_on_one_way_ratchets(values: list[float], verdict: str) -> None:
    """Scripted answers: the monitored value after each cycle."""
    left = iter(values)

    def step(state: object, load: object, near: object = None) -> tuple[object, object]:
        answer = SimpleNamespace(held=True, force=np.ones(1), slack=np.zeros(1), value=next(left))
        return answer, SimpleNamespace(answer=answer)

    found = cycle(SimpleNamespace(step=step), None, [np.ones(1)],   # type: ignore[arg-type]
                  lambda a: np.array([a.value]), len(values), 1e-6)
    assert found.verdict == verdict


def test_what_slides_without_being_pressed_has_not_slipped() -> None:
    """Two pairs of contact and friction: one pressed by 100 N and sliding, one apart and sliding."""
    plain = SimpleNamespace(friction=np.array([0.0, 0.5, 0.0, 0.5]), partner=np.array([-1, 0, -1, 2]),
                            opens=np.array([True, False, True, False]), gap=np.zeros(4),
                            upper=np.array([np.inf, 0.0, np.inf, 0.0]), lower=np.zeros(4))
    state = SimpleNamespace(load=100.0, answer=SimpleNamespace(
        force=np.array([100.0, 50.0, 0.0, 0.0]), slack=np.array([0.0, 1e-3, -0.1, 1e-3]),
        kink_step=np.zeros(0)))
    after = SimpleNamespace(load_N=100.0, answer=state.answer, state=state)
    stood = SimpleNamespace(links=np.zeros(4, dtype=np.int8), hinges=np.zeros(0, dtype=np.int8))
    piece = SimpleNamespace(slid=np.zeros(4), ram=SimpleNamespace(
        plain=plain, solver=SimpleNamespace(scale=np.full(5, 1e-5))))
    carried = np.array([True, True, True, False])

    def happened(kind: str, least: float = 1e-4) -> list[bool]:
        found = _happened(piece, stood, kind, least, carried, after,      # type: ignore[arg-type]
                          np.zeros(4))
        return found.tolist()

    assert happened("slip") == [False, True, False, False]
    assert happened("slip", 1.1e-3) == [False] * 4
    piece.slid[1] = 2e-4                                # what it has slipped before counts as well
    assert happened("slip", 1.1e-3) == [False, True, False, False]
    assert happened("opening") == [False, False, True, False]
    assert happened("opening", 0.2) == [False] * 4
    plain.gap = np.array([0.0, 0.0, OPEN_MM, 0.0])      # it has slid beyond the end of the other face
    assert happened("opening") == [False] * 4
