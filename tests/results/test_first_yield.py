"""The first yield of metal: an event on the path, and a limit only where a study says so."""

from __future__ import annotations

from small_study import small_study

from buttress.comparison.compare import compare
from buttress.report.folder import rows
from buttress.report.terminal import lines
from buttress.results.judged import HOLDS, ONLY_FRICTION, judged
from buttress.results.limits import yield_words
from buttress.study.read import study_from
from buttress.sweeps.vary import plain


def test_the_first_yield_is_an_event_unless_the_study_makes_it_a_limit() -> None:
    """The load is the same; without the key no verdict rests on it, and it is still told."""
    data = plain(small_study("antiglide", loads=(500.0, 900.0)))
    free = compare(study_from(data), pictures=False)
    data["limits"]["metal_yield_ratio"] = 1.0
    limited = compare(study_from(data), pictures=False)["antiglide"]
    event = free["antiglide"]
    assert set(limited.limits) - set(event.limits) == {"metal over yield"}
    assert event.first_yield_N == limited.limits["metal over yield"].load_N
    assert event.first_yield_at == limited.limits["metal over yield"].where
    told = f"metal first yields at about {event.first_yield_N:.0f} N ({event.first_yield_at.words})"
    assert yield_words(event) == f"{told}; the study sets no limit on it"
    assert yield_words(limited) == ""
    assert yield_words(event) in " ".join(lines(free, 200))
    data["limits"]["metal_yield_ratio"] = 0.2
    early = compare(study_from(data), pictures=False)["antiglide"]
    assert early.loads[0].members["antiglide plate"].yield_ratio < 1.0
    assert early.loads[0].verdict == "over a limit: metal over 20 % of yield"
    above = event.first_yield_N + 1.0
    assert judged(limited, above).verdict.startswith("over a limit")
    assert judged(event, above).verdict in (HOLDS, ONLY_FRICTION)
    row = next(r for r in rows(free) if r["construct"] == "antiglide")
    assert row["metal_limit_N"] is None
    assert row["first_yield_N"] == event.first_yield_N


def test_a_plate_that_is_drawn_in_by_untightened_screws_may_yield_before_any_load() -> None:
    """It read "within all limits" beside 300 % of yield, and no yield was told."""
    data = plain(small_study("antiglide", loads=(300.0,)))
    for construct in data["construct"]:
        for plate in construct["plate"]:
            plate["mismatch_mm"] = -2.0
    found = compare(study_from(data), pictures=False)["antiglide"]
    assert max(m.yield_ratio for m in found.loads[0].members.values()) > 1.0
    assert found.first_yield_N == 0.0
    assert "metal yields at any load" in found.loads[0].verdict_words
