"""The list of assumptions of a report holds every row of the tables that its study reads."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from made_up import usual
from small_study import small_study

from buttress.comparison.compare import compare
from buttress.report.assumptions import LIMITS, MODEL, assumptions, stated
from buttress.report.page import _asked, _limits
from buttress.results.bearing import weight_bearing
from buttress.study import tables
from buttress.study.read import example, study_from
from buttress.sweeps.vary import plain, varied


def depressed(*constructs: str) -> dict[str, Any]:
    """The shipped depression on a coarse mesh, with graft and wires."""
    data = plain(example("lateral-depression"))
    data["mesh"] = {"size_mm": 4.0, "coarse_mm": 8.0}
    data["construct"] = [c for c in data["construct"] if c["name"] in constructs]
    data["load"] |= {"total_N": [300.0]}
    data["press"]["large_movements"] = "off"
    return data


def bare() -> dict[str, Any]:
    """A study that leaves all that it can to the tables."""
    plate = {"name": "plate", "section": "3.5 straight", "side": "medial", "top_mm": -25,
             "length_mm": 70}
    screws = [{"name": f"hole {n}", "form": "HA 3.5", "plate": "plate", "hole": n,
               "length_mm": "bicortical"} for n in (3, 4)]
    return {"name": "x", "mesh": {"size_mm": 4.0},
            "section": {"outline": "simple"},
            "fracture": [{"name": "plane", "points_mm": [[-3, 0], [-24, -57.7]]}],
            "fragment": [{"name": "medial", "inside_mm": [-25, -12]}],
            "construct": [{"name": "c", "screw": screws, "plate": [plate]}]}


@pytest.mark.parametrize("made", [
    bare, lambda: plain(small_study("lag screws", body_mass_kg=75.0)),
    lambda: depressed("raft + structural block", "raft + wires + impacted graft")],
    ids=["defaults", "body mass", "graft and wires"])
def test_every_row_that_was_read_is_listed(made, monkeypatch: pytest.MonkeyPatch) -> None:
    data = made()
    read: set[tuple[str, str]] = set()
    given = tables.table_value

    def noted(table: str, row: str, field: str) -> tables.Quantity:
        # Every size of wire is read to see whether a study's is one of them.
        if tables.kind(table, row) != "wire":
            read.add((table, row))
        return given(table, row, field)

    monkeypatch.setattr(tables, "table_value", noted)
    study = study_from(data)
    weight_bearing(compare(study, pictures=False))
    monkeypatch.undo()
    listed = {a.what.split(": ")[0] for a in assumptions(study)}
    assert len(read) > 8
    assert {row for _, row in read} - listed == set()


def test_what_the_model_is_follows_the_study() -> None:
    usual = example("medial-shear")
    other = varied(usual, {"section.plane_state": "plane strain",
                           "section.side_plates": False}).study
    assert stated(LIMITS, usual) == list(LIMITS)
    assert stated(MODEL, usual) == list(MODEL)
    assert "plane strain with a depth" in stated(LIMITS, other)[0]
    assert "rim" in stated(MODEL, other)[0]


def test_what_a_study_rules_out_is_not_said_of_it() -> None:
    """Where movements are large the page does not say that forces act where they did before."""
    data = plain(example("medial-shear"))
    small = " ".join(stated(LIMITS, study_from(data | {"press": {"large_movements": "off"}})))
    moved = " ".join(stated(LIMITS, study_from(data)))
    assert "Small displacements" in small
    assert "Large movements in part" not in small
    assert "Small displacements" not in moved
    assert "Large movements in part" in moved
    assert "perfectly plastic" not in small     # metal hardens unless a study says otherwise
    how = {m: " ".join(stated(MODEL, study_from(data | {"press": {"large_movements": m}})))
           for m in ("auto", "on", "off")}
    assert ["Once a piece or implant has moved" in how[m] for m in how] == [True, False, False]
    assert ["From the first step on all pieces" in how[m] for m in how] == [False, True, False]
    assert ["Forces act where they do before any load" in how[m] for m in how] == [
        False, False, True]


def test_a_sagittal_section_is_not_said_to_lack_the_pieces_that_it_shows() -> None:
    """The report of a posterior fragment read "no anterior or posterior pieces"."""
    told = {name: " ".join(stated(LIMITS, example(name))) for name in (
        "medial-shear", "posterior-shear")}
    assert "no anterior or posterior pieces" in told["medial-shear"]
    assert "anterior or posterior" not in told["posterior-shear"]
    assert "no medial or lateral pieces" in told["posterior-shear"]


def test_a_report_lists_the_limits_that_its_section_has_and_the_side_of_a_shift() -> None:
    assert "widening" in _limits(example("medial-shear"))
    assert "widening" not in _limits(example("posterior-shear"))
    made = usual()
    for shift, words in ((-3.0, "resultant moved 3 mm to medial"),
                         (2.5, "resultant moved 2.5 mm to lateral")):
        load = made.study.load.model_copy(update={"shift_mm": shift})
        asked = _asked(replace(made, study=made.study.model_copy(update={"load": load})))
        assert words in asked["loads"]
