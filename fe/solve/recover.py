"""From an answer back to the bodies: nodal forces, displacements, forces by source."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.body import Body, Column
from buttress.fe.bodies.member import Member
from buttress.fe.links.condense import Condensed, kink_motions
from buttress.fe.solve.answer import Answer
from buttress.fe.solve.capacity import Escape


def nodal_forces(problem: Condensed, load: FloatArray, force: FloatArray) -> list[FloatArray]:
    """All forces on each body's dofs ``(n_dof,)``: loads and links, N (N mm on rotations)."""
    number = {id(b): i for i, b in enumerate(problem.bodies)}
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
    """Displacements ``(n_dof,)`` of each body, mm (rad for rotations): one solve per body."""
    forces = nodal_forces(problem, answer.load, answer.force)
    out = []
    for i, (body, f) in enumerate(zip(problem.bodies, forces, strict=True)):
        u = body.solve(f) + body.rigid @ answer.rigid[problem.rigid_body == i]
        out.append(u + _turned(problem, body, answer.kink))
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


def pushes(problem: Condensed, answer: Answer, body: Body, about: FloatArray
           ) -> tuple[FloatArray, dict[str, FloatArray]]:
    """Applied load and the forces of every source on a body, each ``(3,)``: Fx, Fy, moment."""
    applied = np.zeros(3)
    for factor, case in zip(answer.load, problem.loads, strict=True):
        for loaded, column in case:
            if loaded is body:
                applied += factor * resultant(body, column, about)
    sources: dict[str, FloatArray] = {}
    for value, link in zip(answer.force, problem.links.links, strict=True):
        for sign, end in ((-1.0, link.a), (1.0, link.b)):
            if end.body is body and end.column is not None:
                total = sources.setdefault(link.source, np.zeros(3))
                total += sign * value * resultant(body, end.column, about)
    return applied, sources
