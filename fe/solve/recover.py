"""From an answer back to the bodies: nodal forces, displacements, forces by source."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.body import Body, Column
from buttress.fe.bodies.member import Member, kinked
from buttress.fe.links.condense import Condensed, kink_motions
from buttress.fe.links.link import End, Link
from buttress.fe.links.placed import Placed
from buttress.fe.solve.answer import Answer
from buttress.fe.solve.capacity import Escape


def nodal_forces(problem: Condensed, load: FloatArray, force: FloatArray) -> list[FloatArray]:
    """All forces on each body's dofs ``(n_dof,)``: loads and links, N (N mm on rotations).

    Where the problem's geometry has moved they are in the frame of the (turned) body.
    """
    number = {id(b): i for i, b in enumerate(problem.bodies)}
    if problem.placed is not None:
        return _moved_forces(problem, problem.placed, load, force)
    out = [np.zeros(b.n_dof) for b in problem.bodies]
    for factor, case in zip(load, problem.loads, strict=True):
        for body, column in case:
            out[number[id(body)]][column.dofs] += factor * column.values
    for value, link in zip(force, problem.links.links, strict=True):
        for sign, end in ((-1.0, link.a), (1.0, link.b)):
            if end.body is not None and end.column is not None:
                out[number[id(end.body)]][end.column.dofs] += sign * value * end.column.values
    return out


def displacements(problem: Condensed, answer: Answer) -> list[FloatArray]:
    """Displacements ``(n_dof,)`` of each body, mm (rad for rotations): one solve per body.

    In space, finite rotations and all, where the answer was found in moved geometry.
    """
    if answer.moved is not None and answer.moved.placed is not None:
        return _moved_displacements(answer.moved, answer.moved.placed, answer)
    forces = nodal_forces(problem, answer.load, answer.force)
    out = []
    for i, (body, f) in enumerate(zip(problem.bodies, forces, strict=True)):
        u = body.solve(f) + body.rigid @ answer.rigid[problem.rigid_body == i]
        out.append(u + _turned(problem, body, answer.kink))
    return out


def strained(problem: Condensed, answer: Answer) -> list[FloatArray]:
    """Displacements ``(n_dof,)`` of each body to take strains from: in its own (turned) frame."""
    if answer.moved is None:
        return displacements(problem, answer)
    forces = nodal_forces(answer.moved, answer.load, answer.force)
    return [body.solve(f) for body, f in zip(problem.bodies, forces, strict=True)]


def _moved_forces(problem: Condensed, placed: Placed, load: FloatArray, force: FloatArray
                  ) -> list[FloatArray]:
    number = {id(b): i for i, b in enumerate(problem.bodies)}
    out = [np.zeros(b.n_dof) for b in problem.bodies]
    for factor, case in zip(load, problem.loads, strict=True):
        for body, column in case:
            i = number[id(body)]
            given = np.zeros(body.n_dof)
            given[column.dofs] = factor * column.values
            out[i] += given if body.rotation_dof else placed.turned(
                i, given.reshape(-1, 2), back=True).ravel()
    return [f - part.nodes(force) for f, part in zip(out, placed.pushing, strict=True)]


def _moved_displacements(problem: Condensed, placed: Placed, answer: Answer) -> list[FloatArray]:
    """Pose or shape, what is elastic, and the small motions of the answer from there."""
    forces, out = nodal_forces(problem, answer.load, answer.force), []
    for i, (body, f) in enumerate(zip(problem.bodies, forces, strict=True)):
        rigid = answer.rigid[problem.rigid_body == i]
        chain, bent, held = placed.members[i], placed.bent[i], placed.forces[i]
        if chain is not None and bent is not None and held is not None:
            small = bent.reshape(-1, 3).copy() + (chain.flexibility @ (f - held)).reshape(-1, 3)
            own = [j for j, x in enumerate(problem.links.hinges) if x.member is body]
            turn = (answer.kink - placed.kinks)[own] / placed.length[i]
            if own:
                nodes = [problem.links.hinges[j].node for j in own]
                small += (kinked(chain.points, nodes) @ turn).reshape(-1, 3)
            points, centre = chain.points, chain.points.mean(axis=0)
        else:
            carried = placed.carried(i, body.points)
            points, centre = body.points + carried, placed.centre[i]
            small = carried + placed.turned(i, body.solve(f).reshape(-1, 2))
        if rigid.size:
            arm, turn = points - centre, rigid[2] / placed.length[i]
            small[:, 0] += rigid[0] - turn * arm[:, 1]
            small[:, 1] += rigid[1] + turn * arm[:, 0]
            small[:, 2:] += turn
        out.append(small.ravel())
    return out


def escape_motion(problem: Condensed, escape: Escape | None) -> list[FloatArray]:
    """Displacements ``(n_dof,)`` of each body as rigid pieces rotating at hinges; 0 for None."""
    if escape is None:
        return [np.zeros(body.n_dof) for body in problem.bodies]
    moved = [body.rigid @ escape.rigid[problem.rigid_body == i]
             for i, body in enumerate(problem.bodies)]
    return [u + _turned(problem, body, escape.kink)
            for u, body in zip(moved, problem.bodies, strict=True)]


def _turned(problem: Condensed, body: Body, kink: FloatArray) -> FloatArray | float:
    """Displacements ``(n_dof,)`` of a body due to the kinks of its hinges; 0 where it has none."""
    own = [j for j, x in enumerate(problem.links.hinges) if x.member is body and kink[j]]
    if not own or not isinstance(body, Member):
        return 0.0
    return kink_motions(body, [problem.links.hinges[j].node for j in own]) @ kink[own]


@dataclass(frozen=True)
class Push:
    """Force [N] and moment [N mm] about a given point."""

    force: tuple[float, float]
    moment: float


def resultant(body: Body, column: Column, about: FloatArray) -> FloatArray:
    """Resultant (Fx, Fy, M about a point) of a unit force at a column of a continuum, ``(3,)``."""
    step = 3 if body.rotation_dof else 2
    node, axis = column.dofs // step, column.dofs % step
    arm = body.points[node] - about
    fx = np.where(axis == 0, column.values, 0.0)
    fy = np.where(axis == 1, column.values, 0.0)
    turn = np.where(axis == 2, column.values, 0.0)
    return np.array([fx.sum(), fy.sum(), (arm[:, 0] * fy - arm[:, 1] * fx + turn).sum()])


def pushes(problem: Condensed, answer: Answer, body: Body, about: FloatArray,
           who: Callable[[Link, End], str] = lambda link, other: link.source
           ) -> tuple[FloatArray, dict[str, FloatArray]]:
    """Applied load and the forces of every source on a body, each ``(3,)``:
    Fx and Fy [N], moment [N mm].

    ``who``: the source of a link, from its other end. In moved geometry forces are those in space,
    about the point of the body that was at ``about``.
    """
    placed = None if answer.moved is None else answer.moved.placed
    if placed is not None:
        number = next(i for i, b in enumerate(problem.bodies) if b is body)
        about = about + placed.carried(number, about[None])[0]
    applied = np.zeros(3)
    for factor, case in zip(answer.load, problem.loads, strict=True):
        for loaded, column in case:
            if loaded is body:
                applied += factor * resultant(body, column, about)
    sources: dict[str, FloatArray] = {}
    for i, link in enumerate(problem.links.links):
        for side, (sign, end, other) in enumerate(((-1.0, link.a, link.b), (1.0, link.b, link.a))):
            if end.body is not body or end.column is None:
                continue
            if placed is None:
                push = resultant(body, end.column, about)
            else:
                (x, y), arm = placed.direction[i], placed.at[side, i] - about
                push = np.array([x, y, arm[0] * y - arm[1] * x])
            total = sources.setdefault(who(link, other), np.zeros(3))
            total += sign * answer.force[i] * push
    return applied, sources
