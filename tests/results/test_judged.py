"""Verdicts on the loads of a study: by the loads at which limits are reached, in all tables."""

from __future__ import annotations

from dataclasses import replace

import made_up
import pytest
from small_study import small_study
from under_loads import under_loads

from buttress.comparison.compare import compare
from buttress.fe.status import Status
from buttress.report.folder import rows
from buttress.report.tables import main_table
from buttress.report.terminal import ends_text, lines
from buttress.results.bearing import weight_bearing
from buttress.results.beyond import OVER
from buttress.results.judged import (
    HOLDS,
    LETS_GO,
    ONLY_FRICTION,
    UNKNOWN,
    judged,
    with_verdicts,
)
from buttress.results.limits import yield_words
from buttress.results.order import reserve_words
from buttress.results.records import LimitResult
from buttress.study.read import study_from
from buttress.sweeps.vary import plain


@pytest.mark.parametrize("ends", [49.6, 50.0, 50.4, 49.998])
def test_no_rounded_load_says_of_a_whole_load_what_is_not_so(ends: float) -> None:
    """What is carried up to 49.6 N read "fails above 50 N", as if 50 N were carried."""
    bare = replace(made_up.construct("c", ends=ends), limits={}, without_friction_N=None)
    loads = range(40, 60)
    told = int(judged(bare, 60.0).own_words.removeprefix("fails above ").removesuffix(" N"))
    assert [load > told for load in loads] == [load > ends + 0.005 for load in loads]
    assert ends_text(bare) == f"{told}"
    assert reserve_words(bare).startswith(f"the load peaks at about {told} N")
    over = replace(made_up.construct("c"), limits={
        "step-off": LimitResult(ends, None, "step_off_mm", 2.0, "mm")})
    said = judged(over, 60.0).own_words
    from_on = int(said.removeprefix("over a limit: step-off from ").removesuffix(" N"))
    assert [load >= from_on for load in loads] == [load >= ends - 0.005 for load in loads]
    lost = replace(bare, equilibrium_ends_N=900.0, without_friction_N=ends)
    assert judged(lost, 60.0).own_words == f"only with friction above {told} N (else fails)"


def test_what_is_held_beyond_a_limit_says_which_in_every_table() -> None:
    """The solver's "held" is true on both sides of the limit; the sentence is not."""
    data = plain(small_study("antiglide", loads=(500.0,)))
    data["limits"]["step_off_mm"] = 0.2
    found = under_loads(study_from(data), pictures=False)["antiglide"]
    limit, ends = found.limits["step-off"].load_N, found.equilibrium_ends_N
    assert limit < 0.9 * ends
    data["load"]["total_N"] = [0.95 * limit, 1.05 * limit, 1.1 * ends]
    made = compare(study_from(data))
    below, above, beyond = made["antiglide"].loads
    assert below.edges["shear plane"].step_off_mm < 0.2 < above.edges["shear plane"].step_off_mm
    assert (below.status, above.status, beyond.status) == (
        Status.HELD, Status.HELD, Status.NO_EQUILIBRIUM)
    assert below.verdict in (HOLDS, ONLY_FRICTION)
    assert (above.verdict, beyond.verdict) == (f"{OVER}step-off", LETS_GO)
    for load in made["antiglide"].loads:
        assert load.verdict == judged(made["antiglide"], load.total_load_N).verdict
        assert made["antiglide"].picture(load.total_load_N).verdict == load.verdict
        assert load.verdict in " ".join(lines(made, 200))
        assert load.verdict in main_table(made.constructs)
    assert [r["verdict"] for r in rows(made)] == [r.verdict for r in made["antiglide"].loads]


def test_a_verdict_does_not_rest_on_whether_a_body_mass_is_given() -> None:
    """It adds the weight-bearing table, and is no input of the mechanics."""
    loads = (500.0, 1500.0, 3000.0)
    light = compare(small_study("antiglide + screw", loads=loads), pictures=False)
    heavy = compare(small_study("antiglide + screw", loads=loads, body_mass_kg=75.0),
                    pictures=False)
    for a, b in zip(light.constructs, heavy.constructs, strict=True):
        assert a.without_friction_N == b.without_friction_N
        assert [r.verdict for r in a.loads] == [r.verdict for r in b.loads]


def test_an_answer_that_was_not_found_is_no_verdict_but_a_limit_below_it_stays_reached() -> None:
    found = under_loads(small_study("antiglide", loads=(500.0,)), pictures=False)["antiglide"]
    limits = {**found.limits, "step-off": replace(found.limits["step-off"], load_N=400.0)}
    lost = replace(found, loads=(replace(found.loads[0], status=Status.UNCONVERGED),))
    assert with_verdicts(lost).loads[0].verdict == UNKNOWN
    assert with_verdicts(replace(lost, limits=limits)).loads[0].verdict == f"{OVER}step-off"


def test_what_has_happened_by_a_load_is_told_where_the_rest_is_not_known() -> None:
    """The first yield was left out where its load was not found, and where no verdict is."""
    made = replace(made_up.not_known("c", 900.0), first_yield_N=600.0, first_yield_at_most=True)
    assert judged(made, 700.0).words.endswith("; metal yields from 600 N or less")
    assert judged(made, 1000.0).words == "not known (above 900 N); metal yields from 600 N or less"
    assert yield_words(made).startswith("metal first yields at about 600 N or less")


def test_what_reduction_leaves_may_be_over_a_limit_at_any_load() -> None:
    """A step of 5 mm beside a limit of 2 mm read "within all limits" in every table."""
    data = plain(small_study("antiglide", loads=(300.0,)))
    data["load"]["body_mass_kg"] = 75.0
    data["fragment"][0]["step_mm"] = -2.0
    loads = []
    for limit, said in ((2.01, "within all limits"),
                        (2.0, "over a limit: step-off (left by reduction)")):
        data["limits"]["step_off_mm"] = limit
        made = under_loads(study_from(data))
        found = made["antiglide"]
        bearing = weight_bearing(made)
        assert bearing is not None
        assert rows(made)[0]["verdict"] == found.pictures[0].verdict == said
        cells = [row.cells["antiglide"] for row in bearing.rows if row.force_N[1] < 700.0]
        assert cells
        assert {c.verdict for c in cells} == {said}
        assert all(c.soft is not None and c.soft.verdict == said for c in cells)
        loads.append({name: r.load_N for name, r in found.limits.items() if name != "step-off"})
    assert loads[0] == loads[1]    # of limits that count movement under load
    assert found.loads[0].verdict_words.startswith(f"{said} at any load")
    assert found.status == "held"
