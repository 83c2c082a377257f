"""The mark of a construct that breaks a rule of the trade, in the later tables and in files."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from made_up import comparison, construct
from under_loads import under_loads

from buttress.comparison.twins import pairs
from buttress.report import alternatives, error_bars
from buttress.report.diff import diff, lines
from buttress.report.folder import write_results
from buttress.results.alternatives import fails, verdicts
from buttress.results.bar import Bar
from buttress.results.comparison import Meshes
from buttress.results.records import (
    BEYOND,
    ENDED,
    FOUND,
    NOT_KNOWN,
    NOT_TIGHTENED,
    ConstructResult,
    not_loaded,
)
from buttress.results.rows import rows
from buttress.results.spread import Alternative, ModelSpread
from buttress.rules.screw import PULLS_OUT
from buttress.study.bone import MeshInput
from buttress.study.read import study_from


def against(name: str) -> ConstructResult:
    return replace(construct(name), breaks_rule=True, rule_findings=("lag: crosses no fracture",))


def test_tables_of_error_bars_twins_and_alternatives_carry_the_mark() -> None:
    bar = Bar("reserve_N", "N", None, "", (3000.0, 3100.0), "spread of the meshes", 2900.0, 3200.0)
    bad, good = replace(against("bad"), bars=(bar,)), replace(construct("good"), bars=(bar,))
    meshes = Meshes(((2.0, 4.0), (1.0, 2.0)), (100, 400), (2.0, 1.0))
    named = [row[0] for row in error_bars.table((bad, good), meshes).rows]
    assert set(named) == {"bad (!)", "good"}
    twin = replace(construct("bad, bonded"), twin_of="bad")
    assert {p.construct for p in pairs((bad, twin))} == {"bad (!)"}
    made = comparison((bad, good))
    found = verdicts(made.own, made.study.load, made.own)
    assert any("'bad (!)'" in words for words in found.values())
    assert not any("'bad'" in words for words in found.values())
    tried = Alternative("other", "group", "words", "source", "practice", {},
                        {n: replace(c, breaks_rule=False) for n, c in made.own.items()})
    spread = replace(made, alternatives=ModelSpread((tried,), {}))
    said = alternatives.lines(spread)
    assert any("'bad (!)'" in line for line in said)
    assert "No alternative changes a verdict." in said      # the mark is no verdict
    assert said[-1].startswith("(!) breaks a rule")


def test_a_column_and_a_difference_of_results_tell_the_rules_that_are_broken(
        tmp_path: Path) -> None:
    made = comparison((against("bad"), construct("good")))
    assert {(r["construct"], r["rule_findings"]) for r in rows(made)} == {
        ("bad", "lag: crosses no fracture"), ("good", None)}
    other = comparison((construct("bad"), construct("good")))
    for folder, each in (("a", made), ("b", other)):
        (tmp_path / folder).mkdir()
        write_results(each, tmp_path / folder, "")
    found = diff(tmp_path / "a", tmp_path / "b")
    said = lines(found)
    assert any(line.startswith("bad (!): ") for line in said)
    assert any(line.startswith("good: ") for line in said)
    assert "(!) breaks a rule of the trade in a or b" in said
    assert found.document()["breaks_rule"] == {"a": ["bad"], "b": []}


def test_findings_of_a_solved_study_are_those_of_check() -> None:
    study = study_from({
        "name": "x", "section": {"outline": "simple"},
        "fracture": [{"name": "plane", "points_mm": [[-3, 0], [-24, -57.7]]}],
        "fragment": [{"name": "medial", "inside_mm": [-25, -12]}], "load": {"total_N": [300]},
        "construct": [{"name": "far", "screw": [
            {"name": "lag", "form": "HB 6.5", "side": "medial", "height_mm": -80, "use": "lag",
             "length_mm": "bicortical", "thread_mm": 16, "tension_N": 100}]}, {"name": "none"}],
    }).model_copy(update={"mesh": MeshInput(size_mm=5, coarse_mm=9)})
    far, none = under_loads(study, limits=False, pictures=False).constructs
    assert far.rule_findings == ("lag: this lag screw crosses no fracture",)
    assert far.breaks_rule
    assert (none.rule_findings, none.breaks_rule) == ((), False)


def test_the_force_at_which_a_screw_strips_is_no_change_of_what_fails_first() -> None:
    """An alternative is solved without the warnings of the study: the same part lets go."""
    c = construct("bad")
    loads = tuple(replace(x, status="no equilibrium", escapes="front") for x in c.loads)
    own = replace(c, status=NOT_TIGHTENED, loads=loads, warnings=(
        f"front: tightened to 200 N; {PULLS_OUT} 93 N",))
    assert "93 N" in not_loaded(own)
    assert fails(own) == fails(replace(own, warnings=())) == "cannot be tightened: 'front' lets go"


def test_constructs_that_an_alternative_refuses_for_one_reason_are_told_in_one_line() -> None:
    tried = Alternative("wide", "group", "words", "source", "practice", {}, {},
                        {"a": "no room", "b": "no room", "c": "too long"})
    assert alternatives.left_out_lines(ModelSpread((tried,))) == [
        "wide: 'a', 'b' cannot be built: no room", "wide: 'c' cannot be built: too long"]


def test_an_error_bar_is_called_a_peak_only_where_there_is_one() -> None:
    bar = Bar("peak_N", "N", None, "", (3000.0, 3100.0), "spread of the meshes", 2900.0, 3200.0)
    for status, words in ((FOUND, "peak load"), (ENDED, "load at which the path ends"),
                          (BEYOND, "largest load pressed"),
                          (NOT_KNOWN, "load known to be carried")):
        c = replace(construct("a"), bars=(bar,), peak_status=status)
        assert f"error bars: {words} " in error_bars.words(c)
        assert error_bars.table((c,), Meshes(((2.0, 4.0),), (100,), (2.0,))).rows[0][1] == words
