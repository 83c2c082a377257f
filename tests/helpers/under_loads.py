"""A comparison of what the loads of a study do, for tests of that alone."""

from __future__ import annotations

from typing import Any
from unittest.mock import patch

from buttress.comparison import solving
from buttress.comparison.compare import compare
from buttress.model.model import Model
from buttress.results.comparison import Comparison
from buttress.results.path import Derived, Reserve
from buttress.results.reader import Reader
from buttress.results.search import Gauge, Search
from buttress.study.study import Study


def under_loads(study: Study, **options: Any) -> Comparison:
    """`compare` without what is read off the path (reserve, events, other answers) and without
    what is carried with friction lost, which take two thirds of its time.

    Answers, limits, capacity, stages and pictures are those of `compare` to the last bit.
    """
    with patch.object(solving, "derive", _nothing), patch.object(solving, "friction_lost", _unknown):
        return compare(study, **options)


def _nothing(search: Search, reader: Reader, metal: Gauge, movement_mm: float, **asked: Any) -> Derived:
    return Derived(peak_status=search.ends_status, reserve=Reserve(None, movement_mm, None, None))


def _unknown(model: Model) -> float | None:
    return None
