"""A body that has turned far answers as one that is built so: its tables, by building it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from buttress.fe.arrays import FloatArray
from buttress.fe.bodies.body import Body, Column
from buttress.fe.bodies.member import BeamSection, Member
from buttress.fe.links.condense import Condensed, Measure, condense
from buttress.fe.links.link import End, Hinge, Link, LinkList
from buttress.fe.moved.place import Mover
from buttress.fe.moved.shape import Config
from buttress.fe.moved.spots import Layout
from buttress.fe.solve.recover import displacements
from buttress.fe.solve.solver import Solver
from buttress.fe.verification.meshes import rectangle
from buttress.fe.verification.parts import ACROSS, ALONG, GROUND, line, piece, turned
from buttress.fe.verification.problem import node_at

ANGLE = 0.7   # rad
ASLANT = np.array([0.6, 0.8])


def plain(angle: float) -> FloatArray:
    """What turns vectors by an angle (2, 2)."""
    return np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])


def along(direction: FloatArray) -> tuple[float, float]:
    return float(direction[0]), float(direction[1])


def block(angle: float) -> Condensed:
    """A soft block about the origin, built turned by an angle, held, pushed and measured at nodes
    along directions fixed in space. Loads act about its centre: they keep their line."""
    grid = rectangle(3, 2, 30.0, 16.0, left=-15.0, bottom=-8.0)
    body, middles = piece(turned(grid, angle), 500.0, 0.3), []
    for x, y in ((15.0, 8.0), (15.0, -8.0), (5.0, 8.0)):
        middles.append([node_at(grid, s * x, s * y) for s in (-1.0, 1.0)])
    links = LinkList()
    for node, d in ((0, ALONG), (0, ACROSS), (9, ASLANT), (20, ACROSS), (33, ALONG)):
        links.add(Link("spring", "spring", End(body, body.node(node)(d)), GROUND, compliance=1e-3,
                       direction=along(d)))
    loads = [[(body, body.node(i)(-ACROSS)) for i in middles[0]],
             [(body, body.node(i)(d)) for k, d in ((1, ASLANT), (2, ALONG)) for i in middles[k]]]
    return condense([body], links, loads, measures(body, [
        [body.node(7)(ALONG)], [body.node(14)(ACROSS), body.node(25)(ASLANT)]]))


def bar(angle: float) -> Condensed:
    """A bar with a hinge, built turned by an angle, held along fixed directions with arms of its
    own and against turning, and pushed and measured at its nodes."""
    points = line(60.0, 10.0, start=-30.0) @ plain(angle).T
    body = Member("bar", points, [BeamSection(1e4, 5e4, 2e3)] * 6)
    links = LinkList([], [Hinge("bar", body, 3, 10.0, slope=500.0)])
    for node, d, arm in ((0, ALONG, (0.0, 3.0)), (0, ACROSS, (0.0, 0.0)), (4, ASLANT, (2.0, -3.0)),
                         (6, ACROSS, (0.0, 0.0))):
        reach = plain(angle) @ arm
        place = points[node] + reach
        links.add(Link("spring", "spring", End(body, body.translation(node, d, reach)), GROUND,
                       compliance=1e-3, direction=along(d), place=along(place)))
    links.add(Link("moment", "spring", End(body, body.rotation(2)), GROUND))
    loads = [[(body, body.translation(1, -ACROSS))], [(body, body.translation(5, ASLANT)),
                                                      (body, body.rotation(6))]]
    return condense([body], links, loads, measures(body, [
        [body.translation(2, ALONG)], [body.translation(4, ACROSS), body.rotation(1)]]))


def measures(body: Body, groups: list[list[Column]]) -> list[Measure]:
    return [Measure(str(i), tuple((body, c) for c in columns)) for i, columns in enumerate(groups)]


@pytest.mark.parametrize("load", [(10.0, 0.0), (-4.0, 12.0)])
@pytest.mark.parametrize("build", [block, bar])
def test_what_has_turned_answers_as_what_is_built_so(build: Callable[[float], Condensed],
                                                     load: tuple[float, float]) -> None:
    layout = Layout(build(0.0))
    mover, start = Mover(layout, ()), Config.start(layout)
    body = layout.problem.bodies[0]
    shapes = {i: replace(shape, points=body.points @ plain(ANGLE).T,
                         angle=np.full(len(body.points), ANGLE))
              for i, shape in start.shapes.items()}
    config = replace(start, angle=np.array([0.0 if shapes else ANGLE]), shapes=shapes)
    found, built = mover.problem(config, mover.meeting(config)), build(ANGLE)
    # The springs are hung in once the body has turned.
    found = replace(found, gap=built.gap)
    answers = [Solver(p).answer(np.array(load)) for p in (found, built)]
    assert all(a.held for a in answers)
    assert answers[0].force == pytest.approx(answers[1].force, rel=1e-6, abs=1e-6)
    read, wanted = (np.array(list(p.measures(a.load, a.force, a.rigid, a.kink).values()))
                    for p, a in zip((found, built), answers, strict=True))
    # What the turning itself has moved.
    way = body.points @ plain(ANGLE).T - body.points
    moved = np.column_stack([way, np.full(len(way), ANGLE)] if shapes else [way]).ravel()
    wanted += [sum(c.values @ moved[c.dofs] for _, c in parts)
               for parts in layout.problem.measure_parts]
    assert read == pytest.approx(wanted, rel=1e-6, abs=1e-9)
    [shown] = displacements(layout.problem, replace(answers[0], moved=found))
    assert shown == pytest.approx(displacements(built, answers[1])[0] + moved, rel=1e-6, abs=1e-9)
    assert np.abs(answers[0].force).max() > 1.0
    if shapes:
        assert answers[0].kink == pytest.approx(answers[1].kink, rel=1e-6)
        assert abs(answers[0].kink[0]) > 1e-3
