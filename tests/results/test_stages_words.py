"""How the end of a cyclic load is told."""

from __future__ import annotations

import pytest

from buttress.report.stages import orders
from buttress.results.path import Where
from buttress.results.stages import CycleStage, FragmentStage, StagedResult, StageResult, words
from buttress.study.stages import Stage


@pytest.mark.parametrize(("slip", "told", "not_told"), [
    (0.0, "settles after 2 cycles and is elastic from then on (shakedown)", "to and fro"),
    (0.00371, "settles after 2 cycles and slips to and fro by 0.004 mm in each, without growing",
     "shakedown")])
def test_only_what_is_elastic_in_the_end_is_called_shakedown(slip: float, told: str,
                                                             not_told: str) -> None:
    end = CycleStage("settled", 2, 20, 1e-4, (1e-5,), None, slip, {"a": 0.021}, {"a": 0.005})
    assert told in end.words
    assert not_told not in end.words
    assert "a then lies at 0.021 mm loaded, 0.005 mm unloaded" in end.words


def test_the_force_of_a_row_is_that_of_each_of_its_screws() -> None:
    """With a force of the stage it read "to 150 N", with the screws' own tension "to 300 N"."""
    for stage, own in ((Stage(do="tighten", what=("a",), force_N=150.0), None),
                       (Stage(do="tighten", what=("a",)), 150.0)):
        assert words(stage, own, rows=True) == "tighten a to 150 N each"
        assert words(stage, own) == "tighten a to 150 N"


def test_a_fragment_that_was_pushed_up_has_the_minus_of_all_numbers() -> None:
    end = CycleStage("settled", 2, 20, 1e-4, (1e-5,), None, 0.0, {"a": -0.021}, {"a": -0.00003})
    assert "a then lies at −0.021 mm loaded, 0.000 mm unloaded" in end.words


def test_orders_and_places_have_the_minus_of_all_numbers() -> None:
    assert Where("plate", (-31.2, -0.3)).words == "plate at (−31, 0) mm"
    one, other = (StagedResult(n, "", "held", (StageResult(
        1, "load", (), "load", "held", "", None, None, 100.0, None,
        {"wedge": FragmentStage(sunk, sunk, None, None, (0.0, 0.0), {}, None)}),), (m,))
        for n, m, sunk in (("a", "b", -0.02), ("b", "a", -0.0001)))
    (said,) = orders((one, other))
    assert said.endswith("at the end 'wedge' lies at −0.020 and 0.000 mm.")
