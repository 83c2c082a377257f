"""The stage `relax`: tension and friction that fade, and what lets go then."""

from __future__ import annotations

import pytest
from staged_study import BUILT, FIRST, LAG, PLATE, load, place, staged, staged_study, tighten

from buttress.comparison.compare import compare
from buttress.comparison.stages import run_stages
from buttress.fe.errors import InputError
from buttress.report.stages import lines, stage_table
from buttress.rules.check import check
from buttress.study.read import study_from
from buttress.study.tables import number

LOADED = [place(LAG), tighten(LAG, 400.0), load(600.0)]


def relax(*what: str, **keys: object) -> dict[str, object]:
    return {"do": "relax", **({"what": list(what)} if what else {}), **keys}


def test_a_head_loses_the_share_that_the_stage_says_of_what_it_has() -> None:
    found = staged(*BUILT, load(500.0), relax(LAG, FIRST, lost_share=0.25), relax(LAG, lost_share=0.5))
    before, once, twice = found.stages[-3:]
    assert found.status == "held"
    for name in (LAG, FIRST):
        assert once.screws[name].force_N == pytest.approx(0.75 * before.screws[name].force_N, rel=1e-9)
    assert twice.screws[LAG].force_N == pytest.approx(0.5 * once.screws[LAG].force_N, rel=1e-9)
    assert once.screws[LAG].kept == pytest.approx(once.screws[LAG].force_N / 400.0, rel=1e-12)
    assert once.total_load_N == 500.0
    assert once.fragments["medial"].balance_error < 1e-9


def test_a_share_that_is_not_given_is_the_listed_one() -> None:
    found = staged(place(LAG), tighten(LAG, 400.0), relax(LAG))
    kept = 1.0 - number("materials", "fading", "lost_tension")
    assert found.stages[-1].screws[LAG].force_N == pytest.approx(400.0 * kept, rel=1e-9)


def test_the_less_tension_is_left_the_further_a_loaded_fragment_sinks() -> None:
    shares = (0.0, 0.2, 0.5)
    sunk = [staged(*LOADED, relax(LAG, lost_share=share)).stages[-1].fragments["medial"].change_mm
            for share in shares]
    assert sunk[0] == pytest.approx(0.0, abs=1e-9)
    assert sunk[1] > 1e-3
    assert sunk[2] > 2.0 * sunk[1]


def test_friction_that_fades_is_the_friction_of_a_study_with_less_of_it() -> None:
    """Before any load nothing rubs, so that the factor may come before or with the study."""
    faded = staged(relax(friction_factor=0.6), place(LAG), tighten(LAG, 400.0), load(600.0))
    data = staged_study(*LOADED).model_dump(mode="json", exclude_none=True, by_alias=True)
    data["fracture"][0]["friction"] *= 0.6
    [given] = run_stages(study_from(data), pictures=False)
    ends = [c.stages[-1].fragments["medial"] for c in (faded, given)]
    assert ends[0].subsidence_mean_mm == pytest.approx(ends[1].subsidence_mean_mm, rel=1e-9)
    usual = staged(*LOADED).stages[-1].fragments["medial"]
    assert ends[0].change_mm > 1.05 * usual.change_mm


def test_friction_that_wears_in_cycles_lets_the_fragment_sink_further() -> None:
    """Worn before the first load or by cycles under it: below its strength it ends no lower."""
    cycles = {"do": "cycle", "total_N": 600.0, "times": 40}
    built = [place(LAG), tighten(LAG, 400.0)]
    fresh, worn = (staged(*built, cycles | more).stages[-1]
                   for more in ({}, {"friction_factor": 0.6, "wear_cycles": 10}))
    assert worn.words == "cycle 0 to 600 N, friction wearing to × 0.6 over 10 cycles"
    assert fresh.cycle.verdict == worn.cycle.verdict == "settled"
    assert worn.cycle.count > 10 >= fresh.cycle.count
    sunk = [s.cycle.subsidence_loaded_mm["medial"] for s in (fresh, worn)]
    assert sunk[1] > 1.05 * sunk[0]


def test_the_comparison_presses_what_has_faded_before_it_is_loaded() -> None:
    fresh, old = (compare(staged_study(place(LAG), tighten(LAG, 400.0), *more), pictures=False)
                  for more in ([], [relax(LAG, lost_share=0.5, friction_factor=0.6)]))
    assert old.constructs[0].reserve.load_N < 0.8 * fresh.constructs[0].reserve.load_N


def test_the_words_of_a_stage() -> None:
    said = [s.words for s in staged(
        place(LAG), tighten(LAG, 400.0), relax(LAG, lost_share=0.2, hours=6),
        relax(friction_factor=0.8)).stages]
    assert said[2:] == ["hour 6: lag loses 20 %", "relax: friction × 0.8"]


@pytest.mark.parametrize(("stage", "key", "words"), [
    (relax(), "stage.1.what", "nothing relaxes"),
    (relax(lost_share=0.2), "stage.1.what", "nothing relaxes"),
    (relax(PLATE), "stage.1.what", "only a screw can be relaxed"),
    (relax(LAG, lost_share=1.5), "stage.1.lost_share", "0 to 1"),
    (relax(LAG, total_N=5.0), "stage.1.total_N", "no such key"),
    ({"do": "lock", "what": [FIRST], "lost_share": 0.1}, "stage.1.lost_share", "no such key"),
])
def test_a_stage_that_relaxes_nothing_is_refused(stage: dict, key: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        staged_study(stage, whole=True)
    assert key in caught.value.key
    assert words in str(caught.value)


def test_what_fades_beyond_the_listed_range_is_told() -> None:
    def found(*stages: dict) -> list[str]:
        return [f.part for f in check(staged_study(*BUILT, *stages))
                if f.rule == "fades beyond its range"]

    half = relax(LAG, lost_share=0.3, friction_factor=0.6)
    assert found(half) == []
    assert found(half, half) == []       # 51 % of the tension, 0.36 of the friction
    assert found(relax(LAG, lost_share=0.6)) == [LAG]
    assert found(relax(LAG, lost_share=0.5), tighten(LAG, 300.0), relax(LAG, lost_share=0.5)) == []
    assert found(relax(friction_factor=0.5), relax(friction_factor=0.6)) == ["fractures"]


def test_a_stage_that_tightens_to_less_than_a_screw_carries_says_that_it_loosens_it() -> None:
    """A screw that the load had stretched to more than its tension was let go without a word."""
    made = staged(place(LAG), tighten(LAG, 100.0), load(500.0), tighten(LAG, 100.0),
                  tighten(LAG, 300.0))
    carried = made.stages[2].screws[LAG].force_N
    assert carried > 101.0
    said = f"this loosens it from {carried:.0f} to 100 N"
    assert [s.loosens for s in made.stages] == ["", "", "", said, ""]
    assert f"   stage 4: {said}" in lines([made])
    table = stage_table(made)
    assert [row[1].below for row in table.rows] == ["", "", "", said, ""]
