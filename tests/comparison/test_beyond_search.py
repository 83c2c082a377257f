"""Loads of a study beyond the limit of the search: judged, and no reason for other derived loads."""

from __future__ import annotations

from dataclasses import replace

from small_study import small_study

from buttress.comparison.compare import compare
from buttress.model.pressing import SEARCH_LIMIT_N
from buttress.results.beyond import OVER
from buttress.results.judged import HOLDS, ONLY_FRICTION
from buttress.results.records import BEYOND, ConstructResult
from buttress.study.read import study_from
from buttress.sweeps.vary import plain

STRONG, FAR = "antiglide + lag screws", 1.4 * SEARCH_LIMIT_N


def solved(step_off_mm: float, *loads: float) -> ConstructResult:
    data = plain(small_study(STRONG, loads=loads))
    data["section"]["modulus_scale"] = 5.0
    data["limits"]["step_off_mm"] = step_off_mm
    return compare(study_from(data), pictures=False)[STRONG]


def test_a_limit_that_is_reached_beyond_the_search_is_told_of_a_load_there() -> None:
    """It read "within all limits" with a step-off over the limit beside it."""
    found = solved(20.0, 1000.0, FAR)
    assert (found.ends_status, found.loads[1].status) == (BEYOND, "held")
    steps = [max(e.step_off_mm for e in load.edges.values()) for load in found.loads]
    again = solved(0.98 * steps[1], 1000.0, FAR)
    assert again.limits["step-off"].load_N is None
    assert again.loads[0].verdict in (HOLDS, ONLY_FRICTION)
    assert again.loads[1].verdict == f"{OVER}step-off"
    load = float(again.loads[1].verdict_words.split(" from ")[1].split(" N")[0])
    assert SEARCH_LIMIT_N < load <= FAR


def test_what_is_read_off_the_path_does_not_rest_on_a_load_beyond_the_search() -> None:
    """A path that ended between the two read "not reached up to" its end of limits that it passed."""
    near, far = solved(0.4, 1000.0), solved(0.4, 1000.0, 2.0 * SEARCH_LIMIT_N)
    assert replace(far, loads=far.loads[:1], status=near.status) == near
