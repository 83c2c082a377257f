"""Equilibrium of every body in every held answer of every shipped study, from the links' own ends.

Forces and moments of loads and links on each fragment, graft, plate and screw; each link's two
ends against each other (a link pushes its bodies along one line and turns neither by itself); and
the reactions that the clamp must give, from the stiffness times the displacements of the shaft,
against the load. All over the total load, moments over the load times the section's width. Studies
are answered in small movements here, where links act at the places of the mesh; moved geometry has
cases of its own.
"""

from __future__ import annotations

from functools import cache, partial

import numpy as np

from buttress.fe.solve.answer import Answer
from buttress.fe.solve.recover import displacements, pushes, resultant
from buttress.fe.verification import Case, register
from buttress.model.install import build_model
from buttress.model.model import Bones, Model
from buttress.study.loads import PressInput
from buttress.study.read import example_names
from buttress.verification.studies import coarse

STUDIES = example_names()
KINDS = ("bodies", "links", "clamp")
ORIGIN = np.zeros(2)


def left_on_bodies(model: Model, answer: Answer) -> np.ndarray:
    """Largest force and moment left on a body that is not held, N and N mm."""
    worst = np.zeros(2)
    for body in model.problem.bodies:
        if body.rigid.shape[1] == 3:
            applied, sources = pushes(model.problem, answer, body, body.centre)
            worst = np.maximum(worst, _size(applied + sum(sources.values(), np.zeros(3))))
    return worst


def left_on_links(model: Model, answer: Answer) -> np.ndarray:
    """Largest force and moment that a link's two ends leave together, N and N mm."""
    worst = np.zeros(2)
    for force, link in zip(answer.force, model.problem.links.links, strict=True):
        total = np.zeros(3)
        for sign, end in ((-1.0, link.a), (1.0, link.b)):
            if end.body is not None and end.column is not None:
                total += sign * force * resultant(end.body, end.column, ORIGIN)
        worst = np.maximum(worst, _size(total))
    return worst


def left_at_clamp(model: Model, answer: Answer) -> np.ndarray:
    """What the clamp's reactions and the load leave together, N and N mm."""
    shaft = model.bone.bodies[model.bone.shaft]
    u = displacements(model.problem, answer)[model.number(shaft)]
    held = np.zeros(shaft.n_dof)
    held[shaft.fixed] = (shaft.stiffness @ u)[shaft.fixed]
    x, y = shaft.points.T
    total = np.array([held[0::2].sum(), held[1::2].sum(),
                      (x * held[1::2] - y * held[0::2]).sum()])
    for factor, case in zip(answer.load, model.problem.loads, strict=True):
        for body, column in case:
            total += factor * resultant(body, column, ORIGIN)
    return _size(total)


def _size(total: np.ndarray) -> np.ndarray:
    return np.array([np.abs(total[:2]).max(), abs(total[2])])


@cache
def errors(name: str) -> tuple[dict[str, float], int]:
    """Worst error of each kind over all held answers of a study, and how many these are."""
    study = coarse(name).model_copy(update={"press": PressInput(large_movements="off")})
    bones, worst, held = Bones(study), dict.fromkeys(KINDS, 0.0), 0
    for construct in study.constructs:
        model = build_model(bones.of(construct), construct)
        for total in study.load.total_N:
            answer = model.answer(total)
            if not answer.held:
                continue
            held += 1
            scale = np.array([total, total * study.section.width_mm])
            for kind, left in zip(KINDS, (left_on_bodies, left_on_links, left_at_clamp),
                                  strict=True):
                worst[kind] = max(worst[kind], float((left(model, answer) / scale).max()))
    return worst, held


def error(name: str) -> float:
    """Worst error of any kind in a study, over the load (moments: load times width)."""
    return max(errors(name)[0].values())


CASES = register(*(
    Case(f"equilibrium, {name}", "Newton's laws: forces and moments close", "derived",
         "worst error on every body, of every link's two ends, at the clamp; over the load", "-",
         0.0, 1e-9, partial(error, name), basis="self-consistency")
    for name in STUDIES))
