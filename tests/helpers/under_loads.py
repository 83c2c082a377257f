"""A comparison of what the loads of a study do, for tests of that alone."""

from __future__ import annotations

from contextlib import ExitStack
from typing import Any
from unittest.mock import patch

from buttress.comparison import solving
from buttress.comparison.compare import compare
from buttress.model.model import Model
from buttress.results.comparison import Comparison
from buttress.results.path import Derived, Reserve
from buttress.results.records import BEYOND, LimitResult
from buttress.study.study import Study


def under_loads(study: Study, limits: bool = True, **options: Any) -> Comparison:
    """`compare` without what is read off the path (reserve, events, other answers) and without
    what is carried with friction lost, which take two thirds of its time; without ``limits`` the
    path is pressed no farther than to the loads, and no limit is known.

    Answers, capacity, stages and pictures are those of `compare` to the last bit.
    """
    left_out = {"derive": _nothing, "friction_lost": lambda model, found: (None, None, {})}
    if not limits:
        left_out |= {"Search": _Unsearched, "find_limits": lambda *asked: _Unlimited()}
    with ExitStack() as stack:
        for name, other in left_out.items():
            stack.enter_context(patch.object(solving, name, other))
        return compare(study, **options)


class _Unsearched:
    """A search that has not begun."""

    def __init__(self, model: Model) -> None:
        self.model, self.ends, self.ends_status, self.known_to, self.points = model, None, BEYOND, 0.0, ()


class _Unlimited(dict[str, LimitResult]):
    """No limits, of which the one that is asked for was not reached."""

    def __missing__(self, name: str) -> LimitResult:
        return LimitResult(None, None, name, None, "", "not asked for")


def _nothing(search: Any, reader: Any, metal: Any, movement_mm: float, **asked: Any) -> Derived:
    return Derived(peak_status=search.ends_status, reserve=Reserve(None, movement_mm, None, None))
