"""Two orders of the same steps compared: what each leaves, what is told of both."""

from __future__ import annotations

import itertools
import json
from html import unescape

import pytest
from staged_study import (
    BUILT,
    FIRST,
    staged_data,
)
from under_loads import under_loads

from buttress.report import terminal as table
from buttress.report.folder import document
from buttress.report.notebook import comparison_html
from buttress.report.stages import as_csv, lines, orders
from buttress.report.tables import main_table
from buttress.study.read import study_from
from buttress.words import fixed


@pytest.fixture(scope="module")
def both():
    """The two orders of the shipped study on a coarse mesh, compared."""
    data = staged_data()
    second = study_from(staged_data()).constructs[0]
    plate_first = [*BUILT[2:], BUILT[0], BUILT[1], *second.model_dump(
        mode="json", exclude_none=True, by_alias=True)["stage"][6:]]
    data["construct"].append(data["construct"][0] | {"name": "plate first", "stage": plate_first})
    data["construct"][0]["stage"][1]["force_N"] = 400.0
    data["construct"][0]["stage"][3].pop("steps")
    return under_loads(study_from(data))


def test_an_under_contoured_plate_pushes_a_loose_fragment_up_and_a_held_one_not(both) -> None:
    lag_first, plate_first = both.stages
    pulled = next(s for s in plate_first.stages if s.words == "tighten shaft 1 to 500 N")
    assert pulled.fragments["medial"].subsidence_mean_mm < -0.3
    assert pulled.edges["shear plane"].step_off_mm > 0.3
    pulled = next(s for s in lag_first.stages if s.words == "tighten shaft 1 to 500 N")
    assert abs(pulled.fragments["medial"].subsidence_mean_mm) < 0.03
    # What was pushed up stays up: the lag screw squeezes it on where it lies.
    ends = [c.stages[-1].fragments["medial"].subsidence_mean_mm for c in both.stages]
    assert ends[1] < ends[0] - 0.3


def test_a_second_screw_takes_force_from_the_first_and_tightening_again_restores_it(both) -> None:
    force = {s.words: s.screws[FIRST].force_N for s in both.stages[0].stages[3:7]}
    first, *_, again = both.stages[0].stages[3:7]
    after = both.stages[0].stages[5]
    assert first.screws[FIRST].force_N == pytest.approx(500.0, rel=1e-9)
    # The plate turns about an edge of the first head, which therefore loses little.
    assert after.screws[FIRST].force_N < 490.0, force
    assert after.screws[FIRST].kept == pytest.approx(after.screws[FIRST].force_N / 500.0)
    assert again.screws[FIRST].force_N == pytest.approx(500.0, rel=1e-9)


def test_every_stage_balances_and_says_how_it_was_solved(both) -> None:
    assert len(both.stages) == 2
    for s in itertools.chain(*(c.stages for c in both.stages)):
        assert s.held
        assert s.residual < 1e-9
        assert s.complementarity < 1e-8
        change = s.do in ("tighten", "load", "unload", "cycle")
        assert (s.method != "unchanged") is change, s.do
    # Relative to what acts: nothing does until the first part is tightened.
    for c in both.stages:
        errors = [s.fragments["medial"].balance_error for s in c.stages]
        first = next(i for i, s in enumerate(c.stages) if s.do == "tighten")
        assert errors[:first] == [None] * first
        assert max(errors[first:]) < 1e-9
        assert len(errors[first:]) >= 7


def test_a_stage_that_loads_is_pressed_as_any_other_load_is(both) -> None:
    """The loads of a comparison of what the building stages leave are those of a stage."""
    study = both.study.model_copy(update={"constructs": tuple(
        c.model_copy(update={"stages": tuple(s for s in c.stages if not s.loads)})
        for c in both.study.constructs)})
    for construct, c in zip(under_loads(study, limits=False, pictures=False), both.stages, strict=True):
        loaded = next(s for s in c.stages if s.do == "load")
        assert loaded.yield_ratios == pytest.approx(
            {n: m.yield_ratio for n, m in construct.load(1000.0).members.items()}, rel=1e-7)
        assert loaded.fragments["medial"].change_mm == pytest.approx(
            construct.load(1000.0).fragments["medial"].subsidence_mean_mm, rel=1e-7)


def test_a_fragment_left_off_its_place_is_warned_of(both) -> None:
    lag_first, plate_first = both.constructs
    assert not [w for w in lag_first.warnings if "too high" in w]
    [said] = [w for w in plate_first.warnings if "too high" in w]
    assert "'medial' lies 0." in said
    # It stands beside the name, too: figures under load do not show it.
    assert lag_first.remarks == (lag_first.begins,)
    begins, short = plate_first.remarks
    assert begins == plate_first.begins
    assert f"stages: {short}; " in said
    assert short in " ".join(" ".join(table.lines(both)).split())
    assert short in unescape(main_table(both.constructs))


def test_the_two_orders_are_found_and_told_apart(both) -> None:
    assert both.stages[0].same_steps_as == ("plate first",)
    [said] = orders(both.stages)
    assert "same steps in another order" in said
    assert said.startswith(f"'{both.stages[0].name}' and '{both.stages[1].name}' take")
    ends = [c.stages[-1] for c in both.stages]
    force = [s.screws[FIRST].force_N for s in ends]
    # In the order in which the two are named.
    assert f"'shaft 1' carries {force[0]:.0f} and {force[1]:.0f} N" in said
    sunk = [s.fragments["medial"].subsidence_mean_mm for s in ends]
    assert f"'medial' lies at {fixed(sunk[0], 3)} and {fixed(sunk[1], 3)} mm" in said


def test_cycles_settle_and_the_settled_subsidence_is_told(both) -> None:
    for c in both.stages:
        cycle = c.stages[-1].cycle
        assert cycle.verdict == "settled"
        assert cycle.count < cycle.limit
        assert cycle.change_mm[-1] <= cycle.settle_mm
        assert (cycle.subsidence_loaded_mm["medial"] > cycle.subsidence_unloaded_mm["medial"])
        assert cycle.subsidence_unloaded_mm["medial"] == pytest.approx(
            c.stages[-1].fragments["medial"].subsidence_mean_mm, abs=1e-12)
        assert f"after {cycle.count} cycles" in cycle.words


def test_files_and_the_terminal_hold_every_stage(both) -> None:
    text = json.dumps(document(both)["stages"], allow_nan=False)
    assert [len(c["stages"]) for c in json.loads(text)] == [10, 10]
    rows = as_csv(both.stages).splitlines()
    assert len(rows) == 1 + 20
    assert "screw lag force_N" in rows[0]
    shown = lines(both.stages)
    assert all(len(line) <= 100 for line in shown)
    assert sum("tighten" in line for line in shown) >= 7
    assert "Educational" in comparison_html(both)    # its module registers what writes the stages
    html = both.stages[0]._repr_html_()
    assert "Educational" in html
    assert html.count("<tr>") >= 10
