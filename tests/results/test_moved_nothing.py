"""A piece that nothing holds fails in large movements as in small ones."""

from __future__ import annotations

import pytest

from buttress.comparison.compare import compare
from buttress.results.judged import LETS_GO
from buttress.results.records import FOUND
from buttress.study.loads import PressInput
from buttress.study.read import Study, example
from buttress.verification.studies import coarse


def nothing(name: str, large: str) -> Study:
    study = coarse(name, "nothing")
    return study.model_copy(update={
        "press": PressInput.model_validate({"large_movements": large}),
        "section": example(name).section})


@pytest.mark.parametrize("large", ["off", "auto", "on"])
@pytest.mark.parametrize("name", ["medial-shear", "posterior-shear"])
def test_a_piece_that_nothing_holds_fails(name: str, large: str) -> None:
    (found,) = compare(nothing(name, large), pictures=False).constructs
    assert (found.peak_N, found.ends_status) == (0.0, FOUND)
    assert {load.verdict for load in found.loads} == {LETS_GO}
