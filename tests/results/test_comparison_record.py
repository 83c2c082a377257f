"""A comparison as a record: by name, in order, as a frame, in one line, and what is not there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from made_up import comparison, construct, moves, usual
from matplotlib.axes import Axes
from matplotlib.text import Text

from buttress import InputError, compare, example, example_text, figures, only, varied
from buttress.results.comparison import Comparison
from buttress.results.rows import csv_columns
from buttress.study.read import as_study
from buttress.sweeps.explore import Live

COARSE = {"mesh.size_mm": 8.0, "mesh.coarse_mm": 12.0, "load.total_N": 500.0,
          "press.large_movements": "off"}
UNITS = ("_mm", "_N", "_deg", "_MPa", "_N_per_mm")
WITHOUT_UNIT = {"bone_over_yield", "worst_member_yield_ratio", "stations_at_capacity",
                "balance_error", "residual", "complementarity", "fragment_over_yield",
                "fragment_strain_ratio_p95", "carried_most_share", "graft_at_strength"}
"""Shares, ratios and counts."""
TRUST = {"status", "residual", "complementarity", "balance_error", "method"}


@pytest.fixture(scope="module")
def study() -> Any:
    return only(varied("medial-shear", COARSE), "lag screws")


@pytest.fixture(scope="module")
def solved(study: Any) -> Comparison:
    return compare(study)


# -- by name, in order ------------------------------------------------------------------------

def test_it_is_a_collection_of_constructs() -> None:
    made = usual()
    assert [c.name for c in made] == list(made.names) == ["lag screws", "nothing", "raft"]
    assert list(made) == list(made.constructs)
    assert len(made) == 3
    assert made["raft"] is made.constructs[2]
    assert "raft" in made
    assert made.constructs[0] in made
    assert "shelf" not in made
    assert made.fragments == ("medial",)
    assert made["raft"].loads_N == made.loads_N == (500.0, 1000.0, 1500.0)


@pytest.mark.parametrize(("name", "near"), [("lag screw", "lag screws"), (0, ""), (None, "")])
def test_a_construct_that_is_not_there(name: Any, near: str) -> None:
    with pytest.raises(InputError, match='"lag screws", "nothing", "raft"') as caught:
        usual()[name]
    assert caught.value.value == str(name)
    assert (f'did you mean "{near}"' in str(caught.value)) == bool(near)


def test_best_first_goes_by_the_load_at_which_the_joint_has_moved() -> None:
    """By hand: 900 N, 1500 N and 1200 N."""
    made = comparison((moves("a", 900.0), moves("b", 1500.0), moves("c", 1200.0)))
    assert [c.name for c in made.best_first] == ["b", "c", "a"]
    twin = replace(construct("a bonded"), twin_of="a")
    made = replace(made, constructs=(twin, *made.constructs))
    assert [c.name for c in made.best_first] == ["b", "c", "a", "a bonded"]


# -- as a frame -------------------------------------------------------------------------------

def test_the_frame_has_one_row_per_construct_load_and_fragment() -> None:
    made = usual()
    frame = made.to_frame()
    assert list(frame.columns) == [name for name, _, _ in csv_columns()]
    assert not frame.duplicated(["construct", "total_load_N", "fragment"]).any()
    assert list(zip(frame["construct"], frame["total_load_N"], frame["fragment"], strict=True)) == [
        (c.name, r.total_load_N, f) for c in made for r in c.loads for f in r.fragments or ("",)]


def test_numbers_are_numbers_with_their_unit_in_the_name() -> None:
    frame = usual().to_frame()
    numbers = [c for c in frame.columns if c not in {n for n, q, _ in csv_columns() if q.kind is str}]
    assert all(frame[c].dtype == np.float64 for c in numbers)
    assert {c for c in numbers if not c.endswith(UNITS)} == WITHOUT_UNIT
    assert set(frame.columns) >= TRUST


def test_what_does_not_exist_is_nan_and_what_does_is_the_record_s() -> None:
    made = usual()
    frame = made.to_frame().set_index(["construct", "total_load_N"])
    row = frame.loc[("lag screws", 1500.0)]
    record = made["lag screws"].load(1500.0)
    assert row["subsidence_mean_mm"] == record.fragments["medial"].subsidence_mean_mm == 0.06
    assert row["residual"] == record.residual == 2e-16
    assert row["capacity_upper_N"] == 2133.0
    assert np.isnan(frame.loc[("raft", 500.0), "capacity_upper_N"])
    assert np.isnan(frame.loc[("nothing", 500.0), "subsidence_mean_mm"])
    assert frame.loc[("nothing", 500.0), "status"] == "no equilibrium"


# -- in one line ------------------------------------------------------------------------------

def test_every_record_prints_in_one_line(solved: Comparison) -> None:
    made = solved["lag screws"]
    load, picture = made.loads[0], made.picture(500.0)
    records = [solved, made, load, picture, picture.bodies[0], picture.members[0], picture.links,
               load.contacts["shear plane"], solved.study,
               Live("lag screws", load, picture), varied(solved.study, {}), usual()]
    for record in records:
        assert "\n" not in str(record)
        assert f"{type(record).__name__}(" in str(record)
        assert 10 < len(str(record).split("(", 1)[1]) < 500, type(record)
    assert str(solved) == "Comparison(name='medial-shear', names=('lag screws',), loads_N=(500,))"
    many = comparison(tuple(construct(f"construct {i}") for i in range(40)))
    assert len(str(many)) < 200


# -- what stands for a study ------------------------------------------------------------------

def test_a_study_is_meant_by_itself_its_name_a_path_or_a_case(tmp_path: Path) -> None:
    given = example("medial-shear")
    path = tmp_path / "mine.toml"
    path.write_text(example_text("medial-shear"), encoding="utf-8")
    for other in (given, "medial-shear", path, str(path), varied(given, {})):
        assert as_study(other).model_dump() == given.model_dump()


def test_a_path_without_an_ending_is_a_path_where_there_is_a_file(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("mine").write_text(example_text("lateral-split"), encoding="utf-8")
    assert as_study("mine").model_dump() == example("lateral-split").model_dump()


@pytest.mark.parametrize(("given", "said"), [
    ("medial-sheer", 'no such file or shipped study, did you mean "medial-shear"'),
    ("mine.toml", "no such file"), (Path("medial-shear"), "no such file"), (7, "not a study"),
    (None, "not a study")])
def test_what_is_no_study(given: Any, said: str) -> None:
    with pytest.raises(InputError, match=said):
        compare(given)


def test_a_case_is_compared_with_its_values(study: Any, solved: Comparison) -> None:
    found = compare(varied(study, {"load.total_N": 400.0}), pictures=False)
    assert found.loads_N == (400.0,)
    assert found["lag screws"].capacity_N == pytest.approx(solved["lag screws"].capacity_N)


def test_a_factor_that_no_study_holds_is_refused_and_not_left_out(study: Any) -> None:
    with pytest.raises(InputError, match=r"scale.bearing_stiffness; value: 0.5; expected: .*sweep"):
        compare(varied(study, {"scale.bearing_stiffness": 0.5}))


def test_a_name_is_compared(study: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("buttress.study.read.example", {"lateral-split": study}.__getitem__)
    found = compare("lateral-split", pictures=False)
    assert found.study == study
    assert found.names == ("lag screws",)


# -- pictures of what is not there ------------------------------------------------------------

@pytest.mark.parametrize(("draw", "said"), [
    (lambda c: figures.free_body(c["lag screws"].picture(500.0), "lateral"),
     'no such fragment; value: lateral; expected: "medial"'),
    (lambda c: figures.free_body(c["lag screws"].picture(500.0), "shaft"), "no such fragment"),
    (lambda c: figures.curves(c, "lateral"), 'no such fragment; value: lateral; expected: "medial"'),
    (lambda c: figures.curves(c, "medal"), 'did you mean "medial"'),
    (lambda c: figures.overview(c, 1200.0),
     'not asked for, did you mean "500"?; value: 1200 N; expected: 500 N'),
    (lambda c: figures.overview(c, "walking"), "not asked for; value: walking; expected: 500 N"),
    (lambda c: c["lag screws"].picture(600.0), "not asked for")])
def test_a_picture_of_what_is_not_there(draw: Callable[[Comparison], Any], said: str,
                                        solved: Comparison) -> None:
    with pytest.raises(InputError) as caught:
        draw(solved)
    assert said in str(caught.value)


def test_without_a_body_mass_there_is_no_weight_bearing_table(solved: Comparison) -> None:
    assert isinstance(figures.weight_bearing(solved), Axes)
    load = solved.study.load.model_copy(update={"body_mass_kg": None})
    bare = replace(solved, study=solved.study.model_copy(update={"load": load}))
    with pytest.raises(InputError, match=r"without a body mass; key: load.body_mass_kg"):
        figures.weight_bearing(bare)


def test_without_pictures_none_is_drawn_empty(solved: Comparison) -> None:
    bare = replace(solved, constructs=tuple(replace(c, pictures=()) for c in solved))
    with pytest.raises(InputError, match=r"without pictures; .*pictures=True"):
        figures.overview(bare, 500.0)


def test_pictures_of_what_is_there(solved: Comparison) -> None:
    picture = solved["lag screws"].picture(500.0)
    for ax, said in ((figures.free_body(picture, "medial"), "medial"),
                     (figures.curves(solved, "medial"), "subsidence"),
                     (figures.overview(solved, 500.0), "500 N")):
        assert isinstance(ax, Axes)
        assert said in " ".join(t.get_text() for t in ax.figure.findobj(Text))
