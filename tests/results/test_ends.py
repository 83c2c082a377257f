"""Where a path ends: what its two statuses say is one statement."""

from __future__ import annotations

from functools import cache

import pytest

from buttress.comparison.compare import compare
from buttress.fe.solve.path import BEYOND
from buttress.model.install import build_model
from buttress.model.model import Bones
from buttress.report.terminal import ends_words
from buttress.results.comparison import Comparison
from buttress.results.judged import LETS_GO, judged
from buttress.results.records import ENDED, FOUND
from buttress.study.read import Study, example, study_from
from buttress.sweeps.vary import plain

NAMES = ("nothing", "thin plate", "buttress")


@cache
def study() -> Study:
    data = plain(example("posterior-shear")) | {"mesh": {"size_mm": 4.0, "coarse_mm": 8.0},
                                                "press": {"large_movements": "off"}}
    data["construct"] = [c for c in data["construct"] if c["name"] in NAMES]
    return study_from(data)


@cache
def compared() -> Comparison:
    return compare(study(), pictures=False)


@pytest.mark.parametrize("name", NAMES)
def test_both_statuses_of_the_peak_are_one(name: str) -> None:
    found = compared()[name]
    assert found.peak_status == found.ends_status
    if found.equilibrium_ends_N is not None:
        assert found.equilibrium_ends_N == found.peak_N == found.known_to_N


def test_a_load_that_rises_to_where_movements_are_large_has_no_peak() -> None:
    """The buttress plate takes ever more as the fragment slides on along it, up to movements for
    which the model does not hold: the path ends there, and no peak is claimed."""
    construct = next(c for c in study().constructs if c.name == "buttress")
    path = build_model(Bones(study()).of(construct), construct).pressing.whole
    assert path.stopped == BEYOND
    loads = [p.load_N for p in path.points]
    assert loads[-1] == max(loads) > 1.001 * loads[-2]
    found = compared()["buttress"]
    assert (found.ends_status, found.peak_status) == (ENDED, ENDED)
    assert found.equilibrium_ends_N == pytest.approx(loads[-1], rel=1e-6)
    assert found.energy_to_peak_Nmm is None
    words = f"no peak: the path ends at {loads[-1]:.0f} N, beyond which parts move farther than this model follows"
    assert ends_words(found) == words
    assert "peak" not in found.first_limit
    assert judged(found, 1.01 * loads[-1]).verdict == LETS_GO


def test_what_carries_nothing_ends_at_no_load() -> None:
    found = compared()["nothing"]
    assert (found.ends_status, found.equilibrium_ends_N) == (FOUND, 0.0)
