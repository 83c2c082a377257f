"""Shared parts of the cases of links and members: pieces, matched faces, rods, rows of springs.

Blocks that a closed form calls rigid are blocks of modulus `RIGID`: their own strain is then below
every tolerance, and they go through the same code as bone does.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial import cKDTree

from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.bodies.assembly import sheet
from buttress.fe.bodies.body import Body, Column
from buttress.fe.bodies.continuum import Continuum
from buttress.fe.bodies.member import BeamSection, Member
from buttress.fe.errors import SolveError
from buttress.fe.links.condense import Measure, condense
from buttress.fe.links.link import End, Kind, Link, LinkList
from buttress.fe.mesh.t6 import Mesh
from buttress.fe.solve.answer import Answer, Memory
from buttress.fe.solve.capacity import capacity
from buttress.fe.solve.solver import Solver
from buttress.fe.verification.meshes import Grid

RIGID = 1e10  # MPa
SLENDER = 1e15  # N, shear stiffness of a member that a closed form takes as Euler-Bernoulli
GROUND = End(None, None)
ALONG, ACROSS = np.array([1.0, 0.0]), np.array([0.0, 1.0])


def piece(grid: Grid, modulus: float, poisson: float, thickness: float = 1.0,
          fixed: Iterable[int] = (), name: str = "block") -> Continuum:
    """A homogeneous piece (plane stress, MPa and mm) on a grid."""
    mesh = Mesh(name, grid.points, grid.triangles, grid.edges)
    return Continuum(mesh, sheet(modulus, poisson, thickness), fixed)


def turned(grid: Grid, angle: float) -> Grid:
    """The grid turned counter-clockwise about the origin by an angle [rad]."""
    cos, sin = np.cos(angle), np.sin(angle)
    return Grid(grid.points @ np.array([[cos, sin], [-sin, cos]]), grid.triangles, grid.edges)


def matched(a: Grid, edge_a: str, b: Grid, edge_b: str) -> tuple[IntArray, IntArray]:
    """Nodes (k,) of two edges that lie at the same places, in the order of the edge of a."""
    first, second = np.unique(a.edges[edge_a]), np.unique(b.edges[edge_b])
    distance, which = cKDTree(b.points[second]).query(a.points[first])
    if len(first) != len(second) or np.max(distance) > 1e-9 * np.ptp(a.points):
        raise SolveError("verification problem: the two edges do not match")
    return first, second[which]


def touch(links: LinkList, a: Continuum, b: Continuum, nodes: tuple[IntArray, IntArray],
          normals: ArrayLike, *, friction: float = 0.0, gap: ArrayLike = 0.0) -> list[int]:
    """Contact node by node, normals (2,) or (k, 2) from a to b; numbers of the normal links."""
    count = len(nodes[0])
    normals = np.broadcast_to(np.asarray(normals, dtype=float), (count, 2))
    gaps = np.broadcast_to(np.asarray(gap, dtype=float), count)
    return [links.contact(Kind.CONTACT, "face", (a, b), (a.node(int(i)), b.node(int(j))),
                          normal=n, friction=friction, gap=float(g),
                          place=tuple(a.points[i].tolist()))[0]
            for i, j, n, g in zip(*nodes, normals, gaps, strict=True)]


def round_rod(name: str, points: FloatArray, diameter: float, modulus: float, *,
              shear: float = SLENDER, fixed: tuple[int, ...] = ()) -> Member:
    """A round rod through points (k, 2)."""
    area, inertia = np.pi * diameter**2 / 4, np.pi * diameter**4 / 64
    section = BeamSection(modulus * area, modulus * inertia, shear)
    return Member(name, points, [section] * (len(points) - 1), fixed)


def line(length: float, step: float, start: float = 0.0) -> FloatArray:
    """Points (k, 2) along x from `start`, `step` apart."""
    x = start + np.linspace(0, length, round(length / step) + 1)
    return np.stack([x, np.zeros_like(x)], axis=1)


def shares(x: FloatArray) -> FloatArray:
    """Tributary length of each of the ordered positions x (k,): half of the adjacent intervals."""
    step = np.diff(x)
    return (np.concatenate([[0.0], step]) + np.concatenate([step, [0.0]])) / 2


def spring(links: LinkList, a: End, b: End, stiffness: float, *, kind: str = "spring",
           lower: float = -np.inf, upper: float = np.inf, gap: float = 0.0,
           slope: float = 0.0) -> int:
    """A spring [N/mm] between two ends; its number."""
    return links.add(Link(kind, kind, a, b, compliance=1.0 / stiffness, lower=lower, upper=upper,
                          gap=gap, slope=slope))


def foundation(links: LinkList, rod: Member, nodes: Iterable[int], lengths: ArrayLike,
               modulus: float, direction: FloatArray, base: Callable[[int], End] | None = None
               ) -> list[int]:
    """Springs of `modulus` [N/mm per mm] times the tributary length of each node."""
    return [spring(links, End(rod, rod.translation(i, direction)), base(i) if base else GROUND,
                   modulus * float(length))
            for i, length in zip(nodes, np.asarray(lengths), strict=True)]


def answered(bodies: Sequence[Body], links: LinkList,
             loads: Sequence[Sequence[tuple[Body, Column]]], load: ArrayLike,
             measures: Sequence[Measure] = ()) -> tuple[Answer, dict[str, float]]:
    """The answer of one step from rest and what it measures; SolveError if it is not held."""
    problem = condense(bodies, links, loads, measures)
    answer = Solver(problem).answer(np.asarray(load, dtype=float))
    if not answer.held:
        raise SolveError(f"verification problem: {answer.status}")
    return answer, problem.measures(answer.load, answer.force, answer.rigid, answer.kink)


def largest_held(solver: Solver, load: FloatArray, high: float, *, memory: Memory | None = None,
                 prescribed: dict[int, float] | None = None, digits: int = 40) -> float:
    """Largest factor of `load` below `high` that the incremental solver holds, by bisection."""
    low = 0.0
    for _ in range(digits):
        middle = (low + high) / 2
        if solver.answer(middle * load, memory, prescribed).held:
            low = middle
        else:
            high = middle
    return low


def limit(solver: Solver, load: FloatArray, prescribed: dict[int, float] | None = None) -> float:
    """Load factor of the linear program; infinity where the model does not limit it."""
    factor = capacity(solver.problem, load, prescribed=prescribed).factor
    return np.inf if factor is None else factor
