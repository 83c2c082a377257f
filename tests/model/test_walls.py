"""A block that does not fill its void slides no farther than to the wall."""

from __future__ import annotations

import pytest
from depressed_study import depressed

import buttress.model.model
from buttress.fe.solve.path import Point
from buttress.implants.kinds import Hold
from buttress.model.install import build_model
from buttress.model.model import Bones, Model
from buttress.study.read import Study

INNER, OUTER = (12.0, -9.5), (28.0, -7.5)
"""Lower ends of the fractures: the underside of the fragment rises outwards by 2 mm in 16."""
LEFT, RIGHT, FLOOR = 16.5, 23.5, -20.0
"""Sides of the block, and the bottom of the void, from x 15 to 25."""


def under(x: float) -> float:
    """Height of the fragment's underside [mm]."""
    return INNER[1] + (OUTER[1] - INNER[1]) * (x - INNER[0]) / (OUTER[0] - INNER[0])


def study(large: str) -> Study:
    block = {"name": "block", "void": "hole", "material": "structural block", "friction": 0.0,
             "points_mm": [[LEFT, under(LEFT)], [LEFT, FLOOR], [RIGHT, FLOOR],
                           [RIGHT, under(RIGHT)]]}
    return depressed(
        block, press={"large_movements": large}, construct=[{"name": "block", "fill": [block]}],
        fracture=[{"name": "inner", "points_mm": [[12, 0], INNER], "friction": 0},
                  {"name": "outer", "points_mm": [[28, 0], OUTER], "friction": 0}],
        void=[{"name": "hole", "points_mm": [INNER, [15, FLOOR], [25, FLOOR], OUTER]}])


def model_of(large: str) -> Model:
    given = study(large)
    return build_model(Bones(given).of(given.constructs[0]), given.constructs[0])


def under_load(model: Model) -> Point:
    """The first point of the path that carries 1 kN."""
    path = model.pressing.whole
    number = path.first_above(1000.0)
    assert number is not None
    return path.points[number]


def outwards(model: Model, point: Point) -> float:
    """How far the block has moved outwards at a point [mm]."""
    number = next(i for i, b in enumerate(model.problem.bodies) if b.name == "block")
    if point.moved is None:
        return float(point.answer.rigid[model.problem.rigid_body == number][0])
    return float((point.moved.config.centre[number] - model.problem.bodies[number].centre)[0])


@pytest.mark.parametrize("large", ["off", "auto"])
def test_a_block_that_slides_is_caught_by_the_wall(large: str, monkeypatch: pytest.MonkeyPatch
                                                   ) -> None:
    """It stands without friction under an inclined face, which pushes it outwards."""
    model = model_of(large)
    walls = [i for i, link in enumerate(model.problem.links.links) if link.kind == Hold.WALL]
    # From near the ends of its sides straight to the walls, which are straight lines.
    wanted = []
    for x, (foot, top) in ((LEFT, (15.0, INNER)), (RIGHT, (25.0, OUTER))):
        for share in (0.1, 0.9):
            y = under(x) + share * (FLOOR - under(x))
            wall = top[0] + (foot - top[0]) * (y - top[1]) / (FLOOR - top[1])
            wanted.append(abs(x - wall))
    gaps = [float(model.problem.gap[i]) for i in walls]
    assert sorted(gaps) == pytest.approx(sorted(wanted), abs=0.05)
    point = under_load(model)
    assert 0.9 * min(wanted) < outwards(model, point) < min(wanted) + 0.5
    assert point.answer.force[walls].max() > 10.0
    monkeypatch.setattr(buttress.model.model, "wall_links", lambda *given: None)
    assert model_of(large).pressing.whole.peak_N < 0.5 * model.pressing.whole.peak_N


def test_graft_that_is_reached_after_a_gap_hardens_as_graft_that_touches() -> None:
    """Both carry more as they are crushed; what stood 1.5 mm lower had a peak, and failed above it."""
    rises = []
    for top in (-9.0, -10.5):
        share = (top + 9.0) / -11.0
        block = {"name": "graft", "void": "hole", "material": "impacted graft",
                 "points_mm": [[12 + 3 * share, top], [15, -20], [25, -20], [28 - 3 * share, top]]}
        given = depressed(block, press={"large_movements": "off"},
                          construct=[{"name": "c", "fill": [block]}])
        model = build_model(Bones(given).of(given.constructs[0]), given.constructs[0])
        before, last = (model.pressing.whole.points[i] for i in (-3, -1))
        assert before.load_N > 3000.0
        rises.append((last.load_N - before.load_N) / (last.ram_mm - before.ram_mm))
    assert rises[0] > 500.0
    assert rises[1] > 0.5 * rises[0]
