"""What slack of a link is measured by must not be rounding."""

from __future__ import annotations

import numpy as np
import pytest

from buttress.fe.links.condense import condense
from buttress.fe.links.link import Kind
from buttress.fe.moved.shape import Config, bend
from buttress.fe.moved.walk import Moving
from buttress.fe.solve.ram import Ram
from buttress.fe.solve.solver import Solver
from buttress.fe.verification import moved


@pytest.mark.parametrize("down", [0.05, 0.3, 0.7, 1.3])
def test_pins_at_pinned_nodes_do_not_set_the_scale_of_the_others(down: float) -> None:
    """Most links of the string join nodes that are pinned as it is: their flexibility is rounding,
    anything from 0 to 1e-14 mm/N, of those between 5e-3."""
    built = moved.string()
    ram = Ram.of(condense(built.bodies, built.links, [[built.load]]), np.ones(1))
    mover = Moving(ram, (Kind.CONTACT,), 0.0).mover
    config = Config.start(mover.layout)
    shapes = {}
    for i, shape in config.shapes.items():
        move = np.zeros(shape.points.size * 3 // 2)
        move[4] = -down
        shapes[i] = bend(built.bodies[i], np.zeros(0, dtype=int), shape, move, shape.forces,
                         shape.kinks)
    placed = Config(config.centre, config.angle, shapes, config.pushed, config.patches)
    scale = Solver(mover.problem(placed, mover.meeting(placed))).scale
    assert scale.min() >= 1e-9 * scale.max()
