"""Cyclic loads: repeated until a cycle causes no further change, or up to a limit.

If slip ceases or becomes constant after some cycles, the state has shaken down (elastically if
nothing slips in the last cycle, else with alternating slip of constant amplitude); slip of one sign
that does not decay is ratcheting.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.solve.answer import Answer
from buttress.fe.solve.stages import Staging, State

STEADY = 0.999
"""A change with at least this ratio from one cycle to the next does not decay."""
LOOK_BACK = 5


@dataclass(frozen=True)
class Cycled:
    """How a cyclic load ended.

    ``verdict``: "settled", "ratchets" (the change does not decay), "not settled" (it is still
    decaying at the limit), or the status of the step that was not held. ``change``: largest change
    [mm] of the monitored values, from one cycle to the next, at either load; entry 0 compares the
    second cycle with the first. ``ratio``: see `ratio`. ``slip``: largest movement [mm] of a link
    at its bound within the last cycle. ``peaks``: the held answer at each load of the last complete
    cycle.
    """

    verdict: str
    count: int
    change: tuple[float, ...]
    ratio: float | None
    slip: float | None
    peaks: tuple[Answer, ...]
    answer: Answer
    state: State


def cycle(staging: Staging, state: State, loads: Sequence[FloatArray],
          watch: Callable[[Answer], FloatArray], limit: int, settled: float,
          wear: Callable[[State, int], State] | None = None, least: int = 0) -> Cycled:
    """Repeat ``loads`` (each ``(p,)``) in cycles, at most ``limit`` times.

    Ends once the largest change of ``watch(answer)`` [mm] from one cycle to the next is at most
    ``settled`` [mm], after more than ``least`` cycles. ``wear``: the state as a cycle (from 1)
    begins, with a law that the cycles before have worn.
    """
    changes: list[float] = []
    before = step_before = None
    peaks: tuple[Answer, ...] = ()
    slip: float | None = None
    one_way = False
    for count in range(1, limit + 1):
        answers, moved = [], 0.0
        if wear is not None:
            state = wear(state, count)
        for load, before_it in zip(loads, peaks or [None] * len(loads), strict=True):
            answer, state = staging.step(state, load, near=before_it)
            if not answer.held:
                return Cycled(
                    verdict=answer.status, count=count - 1, change=tuple(changes),
                    ratio=ratio(changes), slip=slip, peaks=peaks, answer=answer, state=state)
            answers.append(answer)
            moved = max(moved, slipped([answer]))
        now = np.concatenate([watch(a) for a in answers])
        peaks, slip = tuple(answers), moved
        if before is not None:
            step = now - before
            changes.append(float(np.abs(step).max(initial=0.0)))
            one_way = step_before is not None and float(step @ step_before) > 0.0
            step_before = step
            if changes[-1] <= settled and count > least:
                return Cycled(
                    verdict="settled", count=count, change=tuple(changes), ratio=ratio(changes),
                    slip=slip, peaks=peaks, answer=answers[-1], state=state)
        before = now
    last = ratio(changes)
    verdict = "ratchets" if one_way and last is not None and last >= STEADY else "not settled"
    return Cycled(
        verdict=verdict, count=limit, change=tuple(changes), ratio=last, slip=slip, peaks=peaks,
        answer=state.answer, state=state)


def ratio(changes: Sequence[float]) -> float | None:
    """Ratio of successive changes: geometric mean over the last `LOOK_BACK` cycles.

    None where there are fewer than two changes.
    """
    back = min(len(changes) - 1, LOOK_BACK)
    if back < 1 or changes[-1 - back] == 0.0:
        return None
    return float((changes[-1] / changes[-1 - back]) ** (1.0 / back))


def slipped(answers: Sequence[Answer], without: Sequence[int] = ()) -> float:
    """Largest slip or crushing [mm] under force over the steps of some answers, one after another.

    Links that open, or slide without normal force, do not count, nor do those ``without``: for a
    link that is being tightened, the slip is the shortening.
    """
    moved = np.zeros(answers[0].force.size)
    for answer in answers:
        size = np.abs(answer.force)
        lasting = size > 1e-9 * size.max(initial=0.0)
        moved[lasting] += answer.slack[lasting]
    moved[list(without)] = 0.0
    return float(np.abs(moved).max(initial=0.0))
