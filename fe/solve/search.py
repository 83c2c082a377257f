"""The search for a state of all links that is consistent with its own solution.

The forces and slacks of each trial state determine the next one, until it no longer changes. Where
trial states repeat in a cycle, or leave a body unsupported, the search continues with one link at a
time, starting with the one whose force is furthest from its bounds.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.solve.answer import Answer
from buttress.fe.solve.guess import Guess
from buttress.fe.solve.step import Step
from buttress.fe.solve.system import Singular

FEW = 3
"""Number of changes of state below which a trial state is refined and checked as the answer."""
NEARLY = 1e-5
"""Distance of the trial forces from their bounds, relative to the load, below which to refine."""
MOST_GUESSES = 50
FEWEST_GUESSES = 20
DEARLY = 25_000
"""Trial states times links that one search may cost, within the two numbers above."""


def most_guesses(links: int) -> int:
    """Number of trial states that one search may take."""
    return min(MOST_GUESSES, max(FEWEST_GUESSES, DEARLY // max(links, 1)))


def search(step: Step, state: IntArray, turning: IntArray | None = None, firm: float = 1.0,
           most: int | None = None) -> Answer | None:
    """Follow the states from a start ``(n,)`` of links and ``(h,)`` of hinges.

    ``firm`` weighs forces against slack when the next state is determined.
    None where no accepted answer is reached, within ``most`` trial
    states if given.
    """
    seen: set[bytes] = set()
    careful = False
    others: Iterator[IntArray] = iter(())
    if turning is None:
        turning = np.zeros(step.p.kinks.shape[1], dtype=np.int8)
    most = most or most_guesses(state.size)
    for count in range(1, most + 1):
        step.guesses += 1
        try:
            guess = Guess(step, state, turning)
        except Singular:
            careful, other = True, next(others, None)
            if other is None:
                return None
            state = other
            continue
        value, _, new, new_turning = step.project(guess.force, guess.slack, guess.kink, firm)
        changed = np.flatnonzero(new != state)
        changes = changed.size + np.count_nonzero(new_turning != turning)
        close = np.abs(value - guess.force).max(initial=0.0) < NEARLY * step.reference
        if changes <= FEW or close or _key(new, new_turning) in seen:
            # Near convergence, or where rounding may cause a cycle.
            guess.refine()
            value, _, new, new_turning = step.project(guess.force, guess.slack, guess.kink, firm)
            changed = np.flatnonzero(new != state)
            same = not changed.size and np.array_equal(new_turning, turning)
            if same or step.acceptable(guess.force, guess.rigid, guess.kink):
                found = step.accept(guess.force, guess.rigid, guess.kink, guess.rcond, count)
                if found is not None or same:
                    return found
        order = np.argsort(-np.abs(value - guess.force)[changed], kind="stable")
        worst = changed[order]
        others = one_by_one(state, new, worst)
        careful = careful or _key(new, new_turning) in seen
        if careful:
            fresh = (other for other in others if _key(other, new_turning) not in seen)
            other = next(fresh, None)
            if other is None:
                return None
            new = other
        seen.add(_key(new, new_turning))
        state, turning = new, new_turning
    return None


def follow(step: Step, force: FloatArray, slack: FloatArray, kink: FloatArray,
           firm: float = 1.0) -> Answer | None:
    """Search from the states that given forces ``(n,)``, slacks and kinks imply."""
    if step.solver.inverse is None:
        return None
    state, turning = step.project(force, slack, kink, firm)[2:]
    return search(step, state, turning, firm)


def one_by_one(state: IntArray, new: IntArray, links: IntArray) -> Iterator[IntArray]:
    """States that each change one link; the old state where no link changes."""
    for chosen in [links[k:k + 1] for k in range(links.size)] or [links]:
        yield with_changes(state, new, chosen)


def with_changes(state: IntArray, new: IntArray, links: IntArray) -> IntArray:
    """The state with the changes of only some links applied."""
    mixed = state.copy()
    mixed[links] = new[links]
    return mixed


def _key(state: IntArray, turning: IntArray) -> bytes:
    return state.tobytes() + turning.tobytes()
