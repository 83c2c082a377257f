"""Results in a notebook: escaped, rounded, labelled, and found by name."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Any

import pytest
from html_page import NASTY, Page
from made_up import comparison, construct, load_result, usual, with_title
from small_study import small_study

from buttress import LABEL
from buttress.fe.errors import InputError
from buttress.ranking.certainty import Share
from buttress.ranking.records import RankResult
from buttress.report.notebook import rank_html, sweep_html
from buttress.study.read import example
from buttress.study.study import Study
from buttress.sweeps.sweep import SweepSummary
from buttress.words import BREAKS_RULE


def shown(result: object) -> Page:
    return Page(result._repr_html_())  # type: ignore[attr-defined]


def test_every_kind_of_result_has_its_table_and_the_label() -> None:
    made = usual()
    for result, words in ((made, "Medial shear fracture"), (made["raft"], "not limited"),
                          (made["lag screws"].load(1500), "1500 N: held"),
                          (made["lag screws"].load(1500).fragments["medial"], "shear plane"),
                          (made["nothing"].load(500), "“medial” moves freely")):
        page = shown(result)
        assert words in page.text
        assert LABEL in page.text
        assert "None" not in page.text


def test_numbers_are_rounded_in_the_table_and_whole_in_the_record() -> None:
    load = load_result(500.0)
    assert load.fragments["medial"].subsidence_mean_mm == 0.06 * (500.0 / 1500.0)
    assert " 0.020 " in shown(load).text


def test_names_are_text() -> None:
    made = with_title(comparison((construct(NASTY, note=NASTY, warnings=(NASTY,)),)), NASTY)
    for result in (made, made.constructs[0]):
        page = shown(result)
        assert not {"script", "img"} & set(page.tags)
        assert not [k for k, _ in page.attributes if k.startswith("on")]
        assert "<script>alert('x')</script>" in page.text


def test_what_is_not_there_is_named_with_the_nearest() -> None:
    with pytest.raises(InputError, match="lag screws"):
        usual()["lag screw"]
    with pytest.raises(InputError, match="500 N, 1000 N, 1500 N"):
        usual()["raft"].load(700)


def test_a_sweep_says_what_it_did_and_where_it_lies() -> None:
    made = SweepSummary(Path("a<b>.sqlite"), 10, 2, 7, 1, {"refused": 3}, 4, 16, 5, 9, 1.0, True)
    page = shown(made)
    assert "solved now 7" in page.text
    assert "without an answer: refused 3" in page.text
    assert "a<b>.sqlite" in page.text
    assert "b" not in page.tags
    assert page.text == Page(sweep_html(made)).text


def test_a_ranking_gives_shares_with_intervals_and_the_sentence() -> None:
    page = Page(rank_html(ranked("<i>x</i>", example("medial-shear"))))
    assert "<i>x</i> 50 (25–75) 100 (60–100) 0 (0–40) 50 (20–80) 1 0 0 1.2" in page.text
    assert "a < b" in page.text
    assert BREAKS_RULE not in page.text


def test_a_ranking_marks_a_construct_that_breaks_a_rule_of_the_trade() -> None:
    study = small_study("antiglide", loads=(300.0,))
    [plated] = study.constructs
    study = study.model_copy(update={"constructs": (plated.model_copy(
        update={"screws": plated.screws[:1]}),)})     # none keeps the plate from turning
    page = Page(rank_html(ranked("antiglide", study)))
    assert "antiglide (!) 50 (25–75)" in page.text
    assert BREAKS_RULE in page.text


def ranked(construct: str, study: Study) -> Any:
    from types import SimpleNamespace as Made

    standing = Made(construct=construct, best=Share(0.5, 0.25, 0.75, 8), mean_rank=1.25,
                    holds=Share(1.0, 0.6, 1.0, 8), keeps_all=Share(0.0, 0.0, 0.4, 8),
                    keeps={"step-off": Share(0.5, 0.2, 0.8, 8)},
                    no_equilibrium=1, unanswered=0, refused=0)
    made = Made(study=study, samples=Made(shares=[0] * 8), limits={"step-off": 2.0},
                outcomes=Made(load_N=1500.0, by="subsidence"), limit_words="step-off 2 mm",
                standings=(standing,), sentence="a < b")
    made.breaking = RankResult.breaking.func(made)  # type: ignore[attr-defined]
    made.named = partial(RankResult.named, made)
    return made
