"""How the end of a cyclic load is told."""

from __future__ import annotations

import pytest

from buttress.results.stages import CycleStage


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
