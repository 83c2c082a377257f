"""Random small problems: a block on a base, springs of all kinds, any direction of the load."""

from dataclasses import dataclass, replace

import numpy as np
from hypothesis import strategies as st

from buttress.fe.links.condense import Measure, condense
from buttress.fe.links.link import End, LinkList
from buttress.fe.solve.solver import Solver
from buttress.fe.verification.meshes import Grid, rectangle
from buttress.fe.verification.parts import ACROSS, GROUND, matched, piece, spring, touch
from buttress.fe.verification.problem import node_at, unknowns

WIDTH, HEIGHT = 20.0, 10.0  # mm
FORCE = 1000.0  # N
INF = float("inf")


@dataclass(frozen=True)
class Spring:
    """A spring from a place of the block to the ground."""

    x: float
    y: float
    angle: float
    stiffness: float
    kind: str          # "two" ways, "capped", "one" way
    capacity: float
    gap: float

    @property
    def bounds(self) -> tuple[float, float]:
        return {"two": (-INF, INF), "capped": (-self.capacity, self.capacity),
                "one": (0.0, INF)}[self.kind]


@dataclass(frozen=True)
class Case:
    """All that is drawn; angles in rad, from straight down for the load."""

    friction: float
    gap: float
    angle: float
    at: float
    springs: tuple[Spring, ...]
    mirrored: bool = False
    order: tuple[int, ...] = ()     # of the springs
    late: bool = False              # springs before contact, block before base


PLACES = [(x, y) for x in (0.0, 10.0, 20.0) for y in (0.0, 5.0, 10.0)]


def springs(kinds: tuple[str, ...]) -> st.SearchStrategy[Spring]:
    return st.builds(
        lambda place, **rest: Spring(*place, **rest), place=st.sampled_from(PLACES),
        angle=st.floats(-3.0, 3.0), stiffness=st.sampled_from([1e2, 1e3, 1e4]),
        kind=st.sampled_from(kinds), capacity=st.floats(100.0, 2000.0),
        gap=st.sampled_from([0.0, 0.0, 0.1]))


# Two springs that hold the block bilaterally: a solution exists, and for this friction only one.
HOLD = (Spring(0.0, 10.0, 0.3, 1e3, "two", INF, 0.0), Spring(20.0, 10.0, 1.7, 1e3, "two", INF, 0.0),
        Spring(10.0, 0.0, -0.4, 1e3, "two", INF, 0.0))


def cases(*, held: bool, most: int = 3) -> st.SearchStrategy[Case]:
    """Cases; `held` ones have `HOLD` too."""
    kinds = ("two", "capped", "one")
    return st.builds(
        Case, friction=st.sampled_from([0.0, 0.2, 0.4]), gap=st.sampled_from([0.0, 0.02, 0.3]),
        angle=st.floats(-1.2, 1.2), at=st.sampled_from([0.0, 5.0, 10.0, 20.0]),
        springs=st.lists(springs(kinds), max_size=most).map(
            lambda drawn: (HOLD if held else ()) + tuple(drawn)))


def mirror(case: Case) -> Case:
    """The case seen in a mirror."""
    return replace(case, mirrored=not case.mirrored)


def build(case: Case, *, bonded: bool = False) -> Solver:
    """The solver; measures "x" and "y" are the motion of the loaded point."""
    flip = -1.0 if case.mirrored else 1.0

    def across(x: float) -> float:
        return WIDTH - x if case.mirrored else x

    low, high = (mirrored(grid) if case.mirrored else grid for grid in (
        rectangle(4, 2, WIDTH, HEIGHT, bottom=-HEIGHT), rectangle(4, 2, WIDTH, HEIGHT)))
    base = piece(low, 1000.0, 0.3, 10.0, unknowns(low.edges["bottom"]), name="base")
    block = piece(high, 500.0, 0.3, 10.0, name="block")
    links = LinkList()

    def contact() -> None:
        nodes = matched(low, "top", high, "bottom")
        if not bonded:
            touch(links, base, block, nodes, ACROSS, friction=case.friction, gap=case.gap)
            return
        for i, j in zip(*nodes, strict=True):
            for direction in np.eye(2):
                spring(links, End(base, base.node(int(i))(direction)),
                       End(block, block.node(int(j))(direction)), 1e6, kind="bond")

    def tie() -> None:
        for number in case.order or range(len(case.springs)):
            drawn = case.springs[number]
            direction = np.array([flip * np.cos(drawn.angle), np.sin(drawn.angle)])
            column = block.node(node_at(high, across(drawn.x), drawn.y))(direction)
            lower, upper = (-INF, INF) if bonded else drawn.bounds
            spring(links, End(block, column), GROUND, drawn.stiffness, lower=lower, upper=upper,
                   gap=0.0 if bonded else drawn.gap)

    for step in (tie, contact) if case.late else (contact, tie):
        step()
    point = block.node(node_at(high, across(case.at), HEIGHT))
    down = np.array([flip * np.sin(case.angle), -np.cos(case.angle)])
    bodies = [block, base] if case.late else [base, block]
    return Solver(condense(bodies, links, [[(block, point(down))]], [
        Measure("x", ((block, point(np.array([1.0, 0.0]))),)),
        Measure("y", ((block, point(ACROSS)),))]))


def mirrored(grid: Grid) -> Grid:
    """The grid's mirror image, its triangles and edges turned round again."""
    points = grid.points * [-1.0, 1.0] + [WIDTH, 0.0]
    return Grid(points, grid.triangles[:, [0, 2, 1, 5, 4, 3]],
                {name: edge[::-1, ::-1] for name, edge in grid.edges.items()})


def motion(solver: Solver, answer: object) -> np.ndarray:
    """Motion (2,) of the loaded point, mm."""
    read = solver.problem.measures(answer.load, answer.force, answer.rigid, answer.kink)
    return np.array([read["x"], read["y"]])
