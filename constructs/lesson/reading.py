"""What the page reads off a solved state, as rows over link forces, rigid motions and kinks.

Movements are of each fragment's best-fitting rigid motion, its joint surface, the lips of the
fractures and the shapes of members, all in the frame of the shaft; forces are those of each source
on each fragment, moments about the origin (the middle of the joint line).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from buttress.bone.measures import band_nodes, frame_columns
from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.body import Body, Column
from buttress.fe.links.condense import Condensed, Measure, condense
from buttress.fe.solve.recover import resultant
from buttress.lesson.states import ORIGIN, Layout, even
from buttress.model.model import Model

Parts = tuple[tuple[Body, Column], ...]


@dataclass(frozen=True)
class Rows:
    """Rows ``(columns of the layout, links + 1 + motions + kinks)``, the ram's force among them.

    ``frame (3, ...)`` are those of the shaft's own movement, of which ``seen (columns, 3)`` is to
    be taken off; ``moves`` says which rows are movements, counted from the tightened state.
    """

    rows: FloatArray
    frame: FloatArray
    seen: FloatArray
    moves: FloatArray


def rows_of(model: Model, layout: Layout, pattern: FloatArray) -> Rows:
    """The rows of a model; ``pattern (p,)`` is the load for 1 N of the ram."""
    p, bone = model.problem, model.bone
    found: dict[int, tuple[Parts, tuple[float, float, float]]] = {}
    cx, cy = bone.frame_centre
    for k, i in enumerate(bone.fragments):
        body, at = bone.bodies[i], layout.rigid(k)
        x, y, turn = frame_columns(body.points, np.arange(len(body.points)))
        mx, my = body.points.mean(axis=0)
        found[at] = ((body, x), (body, _times(turn, my))), (1.0, 0.0, cy)
        found[at + 1] = ((body, y), (body, _times(turn, -mx))), (0.0, 1.0, -cx)
        found[at + 2] = ((body, turn),), (0.0, 0.0, 1.0)
        nodes, share = bone.articular(i)
        if nodes.size:
            middle = float(share @ body.points[nodes, 0])
            found[layout.sunk(k)] = (
                ((body, Column.of(2 * nodes + 1, -share)),), (0.0, -1.0, -(middle - cx)))
    for k, edge in enumerate(bone.edges):
        along = bone.section.joint_direction
        a, b = bone.bodies[edge.body_a], bone.bodies[edge.body_b]
        side = np.sign(b.points[:, 0].mean() - a.points[:, 0].mean())
        for row, way in enumerate((np.array([-along[1], along[0]]), side * along)):
            found[layout.edge(k) + row] = (
                ((a, _node(edge.node_a, -way)), (b, _node(edge.node_b, way))), (0.0, 0.0, 0.0))
    for k, part in enumerate(model.hardware.parts):
        s, places = even(part.member.points, layout.members[k][2])
        for j, place in enumerate(places):
            node = int(np.clip(np.searchsorted(s, place) - 1, 0, len(s) - 2))
            t = float((place - s[node]) / (s[node + 1] - s[node]))
            x, y = (1.0 - t) * part.member.points[node] + t * part.member.points[node + 1]
            for axis, taken in enumerate(((1.0, 0.0, cy - y), (0.0, 1.0, x - cx))):
                column = Column.of([3 * node + axis, 3 * node + 3 + axis], [1.0 - t, t])
                found[layout.member(k) + 2 * j + axis] = ((part.member, column),), taken
    shaft = bone.bodies[bone.shaft]
    frame = [Measure("", ((shaft, c),)) for c in frame_columns(
        shaft.points, band_nodes(shaft, bone.band))]
    order = sorted(found)
    table = _table(p, [*frame, *(Measure("", found[i][0]) for i in order)], pattern)
    rows, seen = np.zeros((layout.columns, table.shape[1])), np.zeros((layout.columns, 3))
    moves = np.zeros(layout.columns)
    rows[order], moves[order] = table[3:], 1.0
    seen[order] = [found[i][1] for i in order]
    _forces(model, layout, pattern, rows)
    return Rows(rows, table[:3], seen, moves)


def _times(column: Column, factor: float) -> Column:
    return Column(column.dofs, factor * column.values)


def _node(node: int, way: FloatArray) -> Column:
    return Column.of([2 * node, 2 * node + 1], way)


def _table(problem: Condensed, measures: list[Measure], pattern: FloatArray) -> FloatArray:
    """Rows of measures over the forces of links and ram, motions and kinks."""
    p = condense(problem.bodies, problem.links, problem.loads, measures)
    return np.hstack([-p.measure_links, (p.measure_loads @ pattern)[:, None], p.measure_rigid,
                      p.measure_kinks])


def _forces(model: Model, layout: Layout, pattern: FloatArray, rows: FloatArray) -> None:
    """Rows of the forces of every source on every fragment."""
    p, bone = model.problem, model.bone
    number = {name: j for j, (name, _) in enumerate(layout.sources)}
    for k, i in enumerate(bone.fragments):
        body = bone.bodies[i]
        for factor, case in zip(pattern, p.loads, strict=True):
            for loaded, column in case:
                if loaded is body:
                    at = layout.force(k, 0)
                    rows[at:at + 3, p.n] += factor * resultant(body, column, ORIGIN)
        for n, link in enumerate(p.links.links):
            at = layout.force(k, number[link.source])
            for sign, end in ((-1.0, link.a), (1.0, link.b)):
                if end.body is body and end.column is not None:
                    rows[at:at + 3, n] += sign * resultant(body, end.column, ORIGIN)
