"""The short comparison that other tests take finds what the whole one finds."""

from __future__ import annotations

from dataclasses import replace

import pytest
from small_study import small_study
from under_loads import under_loads

from buttress.comparison.compare import compare
from buttress.results.records import ConstructResult, LoadResult

STUDY = small_study("nothing", "lag screws", loads=(400.0, 900.0))


def answers(construct: ConstructResult) -> list[LoadResult]:
    """Without the verdicts, which rest on limits and on friction too."""
    return [replace(x, verdict="", verdict_words="") for x in construct.loads]


@pytest.mark.parametrize("limits", [True, False])
def test_answers_are_those_of_the_whole_comparison(limits: bool) -> None:
    whole, short = compare(STUDY), under_loads(STUDY, limits=limits)
    for a, b in zip(whole.constructs, short.constructs, strict=True):
        assert answers(a) == answers(b)
        assert (a.status, a.capacity_N, a.capacity_status) == (b.status, b.capacity_N, b.capacity_status)
        assert [p.load_N for p in a.pictures] == [p.load_N for p in b.pictures]
        for p, q in zip(a.pictures, b.pictures, strict=True):
            for x, y in zip(p.bodies, q.bodies, strict=True):
                assert (x.displacement == y.displacement).all()
        if limits:
            assert (a.limits, a.equilibrium_ends_N) == (b.limits, b.equilibrium_ends_N)
    assert whole.constructs[1].path is not None
    assert short.constructs[1].path is None
