"""The condensed problem of a construct as the page solves it: numbers of 38 bits, deflated.

Nothing is solved here. The page's script (`page/press.js` and its neighbours) is a port of
`fe/solve`; `tests/browser/test_lesson_solver.py` compares the two.
"""

from __future__ import annotations

import base64
import zlib
from collections.abc import Callable
from typing import Any

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.links.link import Kind
from buttress.fe.solve.answer import Memory
from buttress.fe.solve.ram import with_ram
from buttress.fe.solve.step import Step
from buttress.fe.solve.subset import link_bodies
from buttress.lesson.reading import rows_of
from buttress.lesson.states import Layout
from buttress.model.model import Model

STRENGTHS = (0.3, 1.5)
"""Range of the factor on the strength of bone other than cortex."""
DROPPED_BITS = 26
"""How many of the 64 bits of a number are left out."""
Bounds = Callable[[float], tuple[FloatArray, FloatArray]]
"""Lower and upper bounds ``(n,)`` [N] of the links at a factor on the strength of bone."""


def problem_data(model: Model, layout: Layout, bounds: Bounds) -> dict[str, Any]:
    """A model for the page, with the ram as the last link.

    A construct with stages is embedded as its stages have left it.
    """
    pattern = model.bone.load_vector(1.0)
    p, plain = with_ram(model.problem, pattern), model.problem
    number = {id(b): i for i, b in enumerate(plain.bodies)}
    faces = {f.name for f in model.bone.study.fractures}
    rubs = [float(x.kind == Kind.CONTACT_FRICTION and x.source in faces) for x in plain.links.links]
    ends = link_bodies(plain)
    rows = rows_of(model, layout, pattern)
    part = {"links": p.n, "motions": p.rigid.shape[1], "kinks": p.kinks.shape[1],
            "rows": len(rows.rows), "bodies": len(plain.bodies)}
    ram = [-2.0]    # it presses on what is always there
    arrays = {
        "flexibility": p.flexibility[np.triu_indices(p.n)], "rigid": p.rigid, "kinksOf": p.kinks,
        "kinkLimit": p.kink_limit, "kinkSlope": p.kink_slope, "compliance": p.compliance,
        "gap": p.gap, "friction": p.friction, "slope": p.slope, "partner": p.partner,
        "opens": p.opens, "farthest": p.farthest, "faces": np.append(rubs, 0.0),
        "bounds": np.hstack([_lines(bounds), [[0.0], [0.0], *[[np.inf], [0.0]] * 2]]),
        "bodyA": np.append(ends[:, 0], ram), "bodyB": np.append(ends[:, 1], ram),
        "ofMotion": p.rigid_body, "ofKink": [number[id(x.member)] for x in p.links.hinges],
        "rowsOf": rows.rows, "frame": rows.frame, "seen": rows.seen, "moves": rows.moves,
        "start": _start(model)}
    if model.construct.stages and model.tightened is not None:
        arrays |= {"offset": np.append(model.memory.offset, 0.0), "kept": model.memory.kink,
                   "given": np.append(model.memory.given, 0.0)}
        for name, at in (("from", model.start or model.tightened), ("since", model.tightened)):
            arrays |= {f"{name}Force": np.append(at.force, 0.0), f"{name}Moved": at.rigid,
                       f"{name}Kinked": at.kink}
    flat = {name: np.asarray(a, dtype=float).ravel() for name, a in arrays.items()}
    names = list(dict.fromkeys(x.kind for x in plain.links.links))
    sources = [name for name, _ in layout.sources]
    return part | {
        "kindNames": names, "kinds": [names.index(x.kind) for x in plain.links.links],
        "sourceOf": [sources.index(x.source) for x in plain.links.links],
        "kinkOf": [sources.index(x.source) for x in plain.links.hinges],
        "staged": bool(model.construct.stages), "stands": model.stands,
        "sizes": {name: a.size for name, a in flat.items()},
        "parts": [{"name": x.name, "kind": x.kind, "body": number[id(x.member)]}
                  for x in model.hardware.parts],
        "tighten": [[i, force] for i, force in sorted(model.hardware.tighten.items())],
        "bytes": packed(np.concatenate(list(flat.values())))}


def _start(model: Model) -> FloatArray:
    """States of links, ram and kinks in the tightened state, from which the page may search."""
    p, found = model.problem, model.tightened
    if found is None or not found.held or model.construct.stages:
        return np.zeros(p.n + 1 + p.kinks.shape[1])
    step = Step(model.solver, found.load, Memory.none(p), model.hardware.tighten)
    state, turning = step.project(found.force, found.slack, found.kink_step)[2:]
    return np.concatenate([state, [1], turning])


def _lines(bounds: Bounds) -> FloatArray:
    """Bounds as lines over the factor ``s`` on strength ``(6, n)``.

    The lower is ``l0 + l1 s`` and the upper the smaller of two lines: a face is as strong as the
    weaker of its sides, of which one may be no bone.
    """
    low, high = STRENGTHS
    step = 0.05 * (high - low)

    def line(at: float, which: int) -> tuple[FloatArray, FloatArray]:
        a, b = bounds(at)[which], bounds(at + step)[which]
        with np.errstate(invalid="ignore"):
            slope = np.where(np.isfinite(a), (b - a) / step, 0.0)
        return np.where(np.isfinite(a), a - slope * at, a), slope

    return np.array([*line(low, 0), *line(low, 1), *line(high - step, 1)])


def packed(values: FloatArray) -> str:
    """Numbers of 38 bits with their bytes sorted by rank, deflated, in base64.

    A sign, an exponent of 11 bits and 26 bits of the fraction are what is left of 64 bits.
    """
    bits = np.ascontiguousarray(values, dtype="<f8").view("<u8")
    rounded = (bits + (1 << (DROPPED_BITS - 1))) >> DROPPED_BITS << DROPPED_BITS
    ranked = rounded.view(np.uint8).reshape(-1, 8).T[DROPPED_BITS // 8:]
    squeezed = zlib.compressobj(9, zlib.DEFLATED, -15)
    return base64.b64encode(squeezed.compress(ranked.tobytes()) + squeezed.flush()).decode("ascii")
