"""An evaluator of made-up cases whose largest reserve is known."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from buttress.results.order import MOVED
from buttress.sweeps.evaluate import Outcome, Task

NAME = "antiglide + screw"
TOP = f"construct.{NAME}.plate.antiglide plate.top_mm"
LENGTH = f"construct.{NAME}.plate.antiglide plate.length_mm"
ANGLE = f"construct.{NAME}.screw.shaft 2.angle_deg"


def use(monkeypatch: pytest.MonkeyPatch, reserve: Callable[[dict[str, Any], dict[str, float]], Any]
        ) -> list[Task]:
    """Solve cases by a function of plate, screw and scales, which returns a load or a row.

    Returns the list of the cases that were solved.
    """
    solved: list[Task] = []

    class Evaluator:
        def __init__(self, options: object) -> None:
            pass

        def evaluate(self, task: Task) -> Outcome:
            solved.append(task)
            out = Outcome(task.number, task.hash)
            (construct,) = task.data["construct"]
            screw = next(s for s in construct["screw"] if s["name"] == "shaft 2")
            where = {**construct["plate"][0], "angle_deg": screw["angle_deg"],
                     "modulus_scale": task.data["section"]["modulus_scale"]}
            found = reserve(where, task.scales)
            row = found if isinstance(found, dict) else {"reserve_N": found, "reserve_is": MOVED}
            out.capacities = [{"construct": NAME, "peak_status": "found", **row}]
            return out

    monkeypatch.setattr("buttress.improving.search.Evaluator", Evaluator)
    return solved
