"""The state of a path at a load where holding the force finds none: sought by the ram's position.
Closed form: a spring that hardens, load = strength + slope x way given at the strength."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from buttress.fe.solve.path import Path
from buttress.fe.solve.ram import Ram
from buttress.fe.solve.reached import CLOSE, state_at
from buttress.fe.verification.hardening import RISE, STIFFNESS, STRENGTH, crushed


def coarse() -> Path:
    """The path of a crushed buttress with its first and its last points alone."""
    path = crushed()
    first, last = path.points[0], path.points[-1]
    ends = [first, replace(last, began=first.memory)]
    assert ends[1].load_N > STRENGTH + 100.0
    return replace(path, points=ends)


@pytest.mark.parametrize("load", [1.0, 400.0, 0.999 * STRENGTH, STRENGTH + 1.0, STRENGTH + 90.0])
def test_the_search_by_position_ends_at_the_load(monkeypatch: pytest.MonkeyPatch,
                                                 load: float) -> None:
    path, step, tried = coarse(), Ram.step, []

    def by_position(self: Ram, *given: Any, load: float | None = None, **more: Any) -> Any:
        if load is not None:
            return None
        tried.append(more["place"])
        return step(self, *given, **more)

    monkeypatch.setattr(Ram, "step", by_position)
    found = state_at(path, load)
    assert found is not None
    assert found.load_N == pytest.approx(load, abs=1.01 * CLOSE * path.points[-1].load_N)
    crushed_mm = max(load - STRENGTH, 0.0) / RISE
    assert found.ram_mm == pytest.approx(load / STIFFNESS + crushed_mm, rel=1e-6)
    assert found.state.answer.slack[-1] == pytest.approx(crushed_mm, rel=1e-5, abs=1e-9)
    assert (np.array(tried) > path.points[0].state.place).all()
    assert (np.array(tried) < path.points[1].state.place).all()
