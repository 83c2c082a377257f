"""Which body moves freely without equilibrium: one rule for table, stages, sweep and picture.

It is the body of which some point moves farthest [mm] in the motion that nothing resists; pieces
of bone come before metal and fill that they take along; a screw is named where it moves alone.
"""

from __future__ import annotations

import numpy as np

from buttress.fe.solve.answer import Answer
from buttress.fe.solve.recover import escape_motion
from buttress.model.model import Model

AT_ALL = 1e-6
"""A piece of bone counts as moving where it moves by more than this share of the largest motion."""


def escaping(model: Model, answer: Answer) -> str | None:
    """Name of the body that moves freely; None where no failure mechanism is known.

    ``model`` may hold more bodies than are placed, as that of stages does.
    """
    if answer.escape is None:
        return None
    moved = [float(np.hypot(*u.reshape(len(body.points), -1)[:, :2].T).max())
             for body, u in zip(model.problem.bodies, escape_motion(model.problem, answer.escape),
                                strict=True)]
    if not moved or max(moved) == 0.0:
        return None
    bone = {id(model.bone.bodies[i]) for i in model.bone.fragments}
    pieces = [i for i, body in enumerate(model.problem.bodies)
              if id(body) in bone and moved[i] > AT_ALL * max(moved)]
    body = model.problem.bodies[max(pieces or range(len(moved)), key=lambda i: moved[i])]
    names = {id(s.body): s.name for s in model.solids}
    names |= {id(p.member): p.name for p in model.hardware.parts}
    return names[id(body)]
