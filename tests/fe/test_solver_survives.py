"""What the solver must survive: cases in which a prototype failed, hung or answered wrongly."""

from functools import cache

import numpy as np
import pytest

from buttress.fe.bodies.body import Column
from buttress.fe.errors import SolveError
from buttress.fe.links.condense import condense
from buttress.fe.links.link import End, LinkList
from buttress.fe.solve.answer import Memory
from buttress.fe.solve.capacity import capacity
from buttress.fe.solve.complementarity import lemke_answer
from buttress.fe.solve.solver import Solver
from buttress.fe.solve.step import COMPLEMENTARITY, EQUILIBRIUM, Step
from buttress.fe.verification import statics
from buttress.fe.verification.meshes import mapped, rectangle
from buttress.fe.verification.parts import ACROSS, ALONG, GROUND, matched, piece, spring, touch
from buttress.fe.verification.problem import unknowns

LOAD = np.array([1000.0])


def by_lemke(solver, load=LOAD, memory=None, prescribed=None):
    """The answer of the fallback alone."""
    prescribed = prescribed or {}
    step = Step(solver, load, memory or Memory.none(solver.problem), prescribed)
    return lemke_answer(step, capacity(solver.problem, load, prescribed=prescribed))


def seated(friction, *, tilt=0.0, touching=True):
    """An elastic block on an elastic base, held by contact alone; `tilt` [rad] turns the load."""
    low, high = rectangle(6, 2, 30.0, 10.0, bottom=-10.0), rectangle(6, 3, 30.0, 15.0)
    base = piece(low, 1000.0, 0.3, 10.0, unknowns(low.edges["bottom"]), name="base")
    block = piece(high, 1000.0, 0.3, 10.0, name="block")
    links = LinkList()
    nodes = matched(low, "top", high, "bottom")
    touch(links, base, block, nodes, ACROSS, friction=friction, gap=0.0 if touching else 0.5)
    middle = block.node(int(np.argmin(np.hypot(*(high.points - (15.0, 0.0)).T))))
    pull = np.array([np.sin(tilt), -np.cos(tilt)])
    return Solver(condense([base, block], links, [[(block, middle(pull))]]))


@cache
def wedge(half_angle, friction):
    """A wedge that narrows downward between two held blocks, over a void; pushed down by 1 N."""
    tan = np.tan(np.radians(half_angle))

    def half_width(t):
        return 10.0 - 20.0 * (1 - t) * tan

    middle = mapped(4, 6, lambda s, t: ((2 * s - 1) * half_width(t), 20.0 * t))
    left = mapped(4, 6, lambda s, t: (-30.0 + s * (30.0 - half_width(t)), 20.0 * t))
    right = mapped(4, 6, lambda s, t: (half_width(t) + s * (30.0 - half_width(t)), 20.0 * t))
    bodies = [piece(left, 1000.0, 0.3, 10.0, unknowns(left.edges["left"]), name="left"),
              piece(right, 1000.0, 0.3, 10.0, unknowns(right.edges["right"]), name="right"),
              piece(middle, 1000.0, 0.3, 10.0, name="wedge")]
    cos, sin = np.cos(np.radians(half_angle)), np.sin(np.radians(half_angle))
    links = LinkList()
    touch(links, bodies[0], bodies[2], matched(left, "right", middle, "left"), [cos, sin],
          friction=friction)
    touch(links, bodies[1], bodies[2], matched(right, "left", middle, "right"), [-cos, sin],
          friction=friction)
    push = np.zeros(bodies[2].n_dof)
    top = np.unique(middle.edges["top"])
    push[2 * top + 1] = -1 / top.size
    return Solver(condense(bodies, links, [[(bodies[2], Column.dense(push))]]))


def test_a_fragment_held_by_contact_alone():
    answer = seated(0.4, tilt=np.arctan(0.39)).answer(LOAD)
    assert answer.held
    assert answer.residual < EQUILIBRIUM
    assert answer.complementarity < COMPLEMENTARITY
    slides = seated(0.4, tilt=np.arctan(0.41)).answer(LOAD)
    assert slides.status == "no equilibrium"
    assert slides.method == "linear program"
    assert slides.escape.rigid[0] > 0


def test_a_fragment_that_nothing_holds_is_an_answer():
    # Pulled off its seat: a mechanism, on which a Newton method "converges" at 1e12 mm.
    answer = seated(0.4, tilt=np.pi).answer(LOAD)
    assert answer.status == "no equilibrium"
    assert np.isnan(answer.force).all()
    assert answer.escape.rigid[1] > 0.9


def test_a_free_fragment_on_a_distant_stop():
    # Not touching at rest: it falls through the gap of 0.5 mm first and is then held.
    answer = seated(0.4, touching=False).answer(LOAD)
    assert answer.held
    assert answer.rigid[1] == pytest.approx(-0.5, abs=0.1)


@pytest.mark.parametrize("half_angle", [5.0, 15.0, 25.0])
@pytest.mark.parametrize("friction", [0.0, 0.2, 0.4])
def test_the_fallback_agrees_on_a_wedge_over_a_void(half_angle, friction):
    solver = wedge(half_angle, friction)
    answer, fallback = solver.answer(LOAD), by_lemke(solver)
    assert answer.method.startswith("active set")
    assert fallback.method.startswith("Lemke")
    assert fallback.force == pytest.approx(answer.force, abs=1e-7 * LOAD[0])
    assert fallback.rigid == pytest.approx(answer.rigid, abs=1e-9)


def test_parallel_faces_hold_nothing_that_was_not_pressed():
    # Some force system could carry it, so the program says nothing; loading raises none.
    solver = wedge(0.0, 0.4)
    assert capacity(solver.problem, LOAD).factor is None
    answer = solver.answer(LOAD)
    assert answer.status == "no equilibrium"
    assert answer.escape.rigid[1] < -0.9
    assert np.abs(answer.escape.rigid).max() == pytest.approx(1.0)      # scaled to its largest


@pytest.mark.parametrize("stiffness", [1e2, 1e4, 1e6])
@pytest.mark.parametrize("gap", [0.0, 0.01, 0.5])
def test_a_gap_before_a_stop(gap, stiffness):
    solver = statics.fragment(stop=np.inf, gap=gap, stiffness=stiffness)
    for answer in (solver.answer(LOAD), by_lemke(solver)):
        assert answer.held
        assert answer.force[-1] == pytest.approx(statics.buttress_needed(), rel=1e-6)
        assert np.abs(answer.rigid).max() > gap


def test_a_node_whose_tangential_motion_is_fixed():
    # Both faces cannot slide at the fixed nodes: their stick rows are empty.
    low, high = rectangle(2, 2, 4.0, 4.0, bottom=-4.0), rectangle(2, 2, 4.0, 4.0)
    held = unknowns(low.edges["left"], [0])
    base = piece(low, 1000.0, 0.3, 10.0, np.union1d(held, unknowns(low.edges["bottom"])))
    block = piece(high, 1000.0, 0.3, 10.0, unknowns(high.edges["left"], [0]))
    links = LinkList()
    nodes = matched(low, "top", high, "bottom")
    touch(links, base, block, nodes, ACROSS, friction=0.4)
    push = np.zeros(block.n_dof)
    top = np.unique(high.edges["top"])
    push[2 * top + 1] = -1 / top.size
    problem = condense([base, block], links, [[(block, Column.dense(push))]])
    corner = int(np.flatnonzero(low.points[nodes[0], 0] == 0.0)[0])
    assert problem.flexibility[2 * corner + 1, 2 * corner + 1] == 0.0
    answer = Solver(problem).answer(LOAD)
    assert answer.held
    assert answer.force[0::2].sum() == pytest.approx(LOAD[0], rel=1e-9)


def test_tightening_without_equilibrium_ends_the_stages():
    solver = statics.fragment(delta=45.0)
    tightened = solver.answer(np.zeros(1), prescribed={solver.problem.n - 1: 500.0})
    assert (tightened.status, tightened.method) == ("no equilibrium", "linear program")
    with pytest.raises(SolveError, match="without equilibrium"):
        solver.advance(tightened)


def hung(strength):
    """A block that hangs on two elastic screws of a strength, pulled down by 1 N."""
    grid = rectangle(4, 2, 20.0, 10.0)
    block = piece(grid, 1000.0, 0.3, 10.0)
    links = LinkList()
    for node in (0, int(grid.edges["bottom"].max())):
        for direction in (ALONG, ACROSS):
            spring(links, End(block, block.node(node)(direction)), GROUND, 1e3, kind="screw",
                   lower=-strength, upper=strength)
    push = np.zeros(block.n_dof)
    push[1::2] = -1 / len(grid.points)
    return Solver(condense([block], links, [[(block, Column.dense(push))]]))


def test_screws_without_capacity_never_let_go():
    solver = hung(np.inf)
    assert solver.answer(1e3 * LOAD).held
    found = capacity(solver.problem, LOAD)
    assert (found.status, found.factor) == ("not limited by this model", None)


def test_screws_with_a_capacity_do():
    solver = hung(400.0)
    assert capacity(solver.problem, LOAD).factor == pytest.approx(0.8, rel=1e-9)
    assert solver.answer(0.799 * LOAD).held
    assert solver.answer(0.801 * LOAD).status == "no equilibrium"


def test_a_lack_of_fit_without_any_load():
    # The only scale of force is the one that the misfit raises.
    solver = seated(0.4)
    tight = Solver(solver.problem.with_law(gap=np.where(solver.problem.opens, -0.01, 0.0)))
    answer = tight.answer(np.zeros(1))
    assert answer.held
    assert answer.force == pytest.approx(np.zeros(solver.problem.n), abs=1e-6)


def test_the_linear_program_is_not_deceived_by_presolve():
    # Zero forces carry zero load: "infeasible" cannot be true without pre-tension.
    for angle in (5.0, 15.0, 25.0):
        for friction in (0.0, 0.2, 0.4):
            assert capacity(wedge(angle, friction).problem, LOAD).feasible
