"""A step in which links lose strength: repeated with what they have left at its end.

What a link has given way by sets its strength (`Condensed.kept`), and its strength what it gives
way by. From the strength before the step on, each repetition lowers it by what the one before has
led to; strength that is lost does not come back, so that this ends. The result does not depend on
the length of the step, unless the rest springs back faster than it can be pressed (a snap).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TypeVar

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.links.condense import Condensed
from buttress.fe.solve.answer import Memory

T = TypeVar("T")
MOST, SAME = 60, 1e-7
"""Repetitions of a step, and share of a strength below which nothing more is lost."""


def weakened(problem: Condensed, memory: Memory, step: Callable[[Memory, T | None], T],
             slack: Callable[[T], FloatArray | None]) -> T:
    """The result of ``step(memory, near)`` with the strength that is left at its end.

    ``slack`` gives what links have given way by in a result ``(n,)`` [mm], None if it is not held.
    """
    found, lost = step(memory, None), memory.given
    for _ in range(MOST if problem.soften.any() else 0):
        gave = slack(found)
        if gave is None:
            break
        now = np.where(problem.soften > 0,
                       np.maximum(lost, problem.after(gave, memory.given)), lost)
        if np.abs(problem.kept(now)[0] - problem.kept(lost)[0]).max() <= SAME:
            break
        lost = now
        found = step(replace(memory, given=lost), found)
    return found
