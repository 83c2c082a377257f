"""A ranking as a table: one row per construct, in its order, with what its records say."""

from __future__ import annotations

import numpy as np
import pytest
from test_rank import COST, STUDY, SUMMARY, friction_of, synthetic, two_inputs  # noqa: F401

from buttress import LABEL
from buttress.ranking.inputs import inputs_of
from buttress.ranking.rank import ranked
from buttress.ranking.samples import make_samples


@pytest.mark.usefixtures("two_inputs")
def test_each_row_says_what_the_records_of_its_construct_say() -> None:
    drawn = make_samples(inputs_of(STUDY), 64, 3)
    friction = friction_of(drawn)
    found = ranked(STUDY, drawn, synthetic(
        drawn, np.stack([2 - friction, 1.7 - 0.2 * friction], 1)), "B", SUMMARY, COST)
    table = found.to_frame()
    assert list(table.construct) == [s.construct for s in found.standings] == ["A", "B"]
    a, b = table.iloc[0], table.iloc[1]
    standing, [against] = found.standings[0], found.against
    assert a.best_share == standing.best.share
    assert (a.best_low, a.best_high) == (standing.best.low, standing.best.high)
    assert a.keeps_step_off_share == standing.keeps["step-off"].share
    assert a.ahead_share == against.ahead.share
    assert a.difference_subsidence_mm_median == against.subsidence_mm.median
    assert a.difference_subsidence_mm_median_low == against.subsidence_mm.middle[0]
    assert set(table.reference) == {"B"}
    assert np.isnan(b.ahead_share)
    assert np.isnan(b.difference_subsidence_mm_median)
    assert table.attrs["label"] == LABEL
    counts = table[["no_equilibrium_count", "unanswered_count", "refused_count"]]
    assert (counts.to_numpy() == 0).all()
