"""A path that is gone on with has the points of one that was pressed at once."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np

from buttress.fe.solve.path import LOAD_LIMIT, Path, Point, press


class Stiff:
    """Steps of 1000 N/mm; none is found beyond 0.45 mm up to 0.61 mm."""

    longest = 0.25

    def due(self, last: Point) -> bool:
        return True

    def step(self, last: Point, place: float, zero: float, size: float, halved: int,
             hammer: bool) -> Point | None:
        return None if 0.45 < place <= 0.61 else point(place)


def point(place: float) -> Point:
    state: Any = SimpleNamespace(answer=SimpleNamespace(force=np.ones(1)))
    memory: Any = None
    return Point(place, 1000.0 * place, state, memory)


def pressed(most: float, onto: Path | None = None) -> Path:
    ram: Any = SimpleNamespace(tally=SimpleNamespace(pivots=0))
    memory: Any = None
    return press(ram, memory, (0.2, 0.6, 1.0), most_load=most, after=(point(0.0), 0.0), onto=onto,
                 geometry=Stiff())


def test_a_displacement_that_was_tried_in_vain_is_not_tried_again() -> None:
    """The load is met at 0.4 mm, on the way to 0.6 mm, of which the rest is not found."""
    at_once, begun = pressed(np.inf), pressed(300.0)
    assert begun.stopped == LOAD_LIMIT
    assert begun.gaps
    assert begun.peak_status == "beyond the search"     # the gap lies beyond what is asked for
    after = pressed(np.inf, begun)
    assert [p.ram_mm for p in after.points] == [p.ram_mm for p in at_once.points]
    assert after.gaps == at_once.gaps
    assert after.points[-1].ram_mm == 1.0
