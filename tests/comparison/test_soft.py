"""Weight-bearing judged in soft bone too."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from pathlib import Path

import made_up
import numpy as np
import pytest
from figure_texts import clashes, shown_texts
from map_files import GRID, cells, npy, write
from small_study import small_study

from buttress.bone.section import Section
from buttress.comparison.compare import compare
from buttress.comparison.soft import ALREADY, FOAM, softened
from buttress.draw import bearing as figure_bearing
from buttress.ranking.inputs import shipped
from buttress.report import bearing as terminal
from buttress.results.bearing import Bearing, rows, weight_bearing
from buttress.results.beyond import friction_needed
from buttress.results.comparison import Comparison
from buttress.results.judged import HOLDS, LETS_GO, ONLY_FRICTION, UNKNOWN, Cell
from buttress.results.records import CANNOT_TIGHTEN, NOT_KNOWN, NOT_TIGHTENED
from buttress.results.soft import Bears, SoftBone
from buttress.study.bone import MeshInput, SectionInput
from buttress.study.read import example, load_study
from buttress.study.study import Study
from buttress.study.tables import number
from buttress.sweeps.vary import varied

MAP = f'map = {{ file = "m.npy", kind = "modulus", {GRID} }}'
NAMES = ("nothing", "lag screws", "antiglide")
WEAK = {"construct.lag screws.screw.*.tension_N": 100.0}
"""So little tension that the screws hold in soft bone."""


def study(bone: str) -> Study:
    given = small_study(*NAMES, loads=(400.0,), body_mass_kg=75.0)
    return varied(given, {"section.bone": bone, **WEAK}).study


@cache
def compared(bone: str) -> Comparison:
    return compare(study(bone), pictures=False)


def table(made: Comparison) -> Bearing:
    found = weight_bearing(made)
    assert found is not None
    return found


def test_a_cell_says_what_a_comparison_of_soft_bone_says() -> None:
    dense, soft = table(compared("dense")), table(compared("soft"))
    assert "preset \"soft\"" in dense.judged
    for row, other in zip(dense.rows, soft.rows, strict=True):
        for name in NAMES:
            found, wanted = row.cells[name].soft, other.cells[name]
            assert found is not None
            assert found.verdict == wanted.verdict
            assert found.load_N == (None if wanted.load_N is None
                                    else pytest.approx(wanted.load_N, rel=1e-9))
    assert any(c.differs for row in dense.rows for c in row.cells.values())


def test_soft_bone_carries_less() -> None:
    made = compared("dense")
    assert made.soft is not None
    for name in NAMES[1:]:
        own, soft = made[name], made.soft.constructs[name]
        assert 0.0 < soft.known_to_N < own.known_to_N   # type: ignore[operator]
        lost = [friction_needed(x)[0] for x in (soft, own)]
        assert 0.0 <= lost[0] < lost[1]   # type: ignore[operator]
    assert made.soft.constructs["nothing"].equilibrium_ends_N == 0.0


def test_nothing_is_solved_where_the_bone_is_soft_already_or_no_table_is_made() -> None:
    made = compared("soft")
    assert made.soft == SoftBone(ALREADY)
    assert ALREADY in table(made).judged
    assert all(c.soft is None for row in table(made).rows for c in row.cells.values())
    bare = study("dense")
    bare = bare.model_copy(update={
        "load": bare.load.model_copy(update={"body_mass_kg": None}),
        "constructs": bare.constructs[:1]})
    assert compare(bare, pictures=False).soft is None


@pytest.mark.parametrize(("given", "bone", "scale"), [
    ({}, "soft", 1.0), ({"modulus_scale": 2.0}, "soft", 1.0), ({"modulus_scale": 0.3}, "soft", 1.0),
    ({"bone": "soft", "modulus_scale": 1.5}, "soft", 1.0)])
def test_soft_bone_is_the_preset(given: dict, bone: str, scale: float) -> None:
    section, words = softened(SectionInput.model_validate(given))
    assert section is not None
    assert (section.bone, section.modulus_scale) == (bone, scale)
    assert "400 MPa at the joint to 100 MPa" in words


def test_a_map_keeps_its_pattern_in_soft_bone(tmp_path: Path) -> None:
    x, y = cells()
    modulus = 300.0 + 4.0 * np.abs(x) - y
    given = load_study(write(tmp_path, MAP, m_npy=npy(modulus)))
    section, words = softened(given.section)
    assert section is not None
    share = number("materials", "soft", "map_share")
    places = np.array([[-20.0, -10.0], [0.0, -30.0], [15.0, -20.0]])
    own, soft = Section(given.section), Section(section)
    assert soft.core_at(places) == pytest.approx(share * own.core_at(places), rel=1e-12)
    assert (soft.crushing(places) < own.crushing(places)).all()
    assert f"{share:g} times the modulus of the map" in words


@pytest.mark.parametrize(("given", "words"), [
    ({"bone": "soft"}, ALREADY), ({"bone": "soft", "modulus_scale": 0.8}, ALREADY),
    ({"bone": "dense", "modulus_scale": 0.25}, ALREADY), ({"bone": "foam"}, FOAM)])
def test_what_is_no_harder_than_soft_bone_is_not_softened(given: dict, words: str) -> None:
    assert softened(SectionInput.model_validate(given)) == (None, words)


def test_a_map_is_softened_by_the_lower_end_of_what_the_ranking_varies() -> None:
    share = number("materials", "soft", "map_share")
    law = next(e.law for e in shipped() if e.key == "section.modulus_scale")
    assert min(float(x) for x in law.ends()) == share


def bears(**given: object) -> Bears:
    usual = {"status": "held", "equilibrium_ends_N": 1500.0, "ends_status": "found",
             "known_to_N": 1500.0, "without_friction_N": 600.0, "limits": {}}
    return Bears(**usual | given)  # type: ignore[arg-type]


def softer(**soft: Bears) -> Comparison:
    made = made_up.usual()
    load = made.study.load.model_copy(update={"body_mass_kg": 75.0})
    return replace(made, study=made.study.model_copy(update={"load": load}),
                   soft=SoftBone("In soft bone: as stated.", soft))


def test_words_of_a_cell_name_soft_bone_only_where_it_differs() -> None:
    same, other = Cell(HOLDS, None, soft=Cell(HOLDS, None)), Cell(
        HOLDS, None, soft=Cell(LETS_GO, 950.0))
    assert same.words == HOLDS
    assert other.words == "within all limits; in soft bone: fails above 950 N"
    later = Cell(LETS_GO, 2000.0, soft=Cell(LETS_GO, 950.0))
    assert later.words == "fails above 2000 N"


def test_soft_bone_is_judged_by_the_same_rules_and_told_everywhere() -> None:
    made = softer(**{"lag screws": bears(), "nothing": bears(equilibrium_ends_N=0.0),
                     "raft": bears(status=NOT_TIGHTENED)})
    found = table(made)
    soft = {row.name: row.cells["lag screws"].soft for row in found.rows}
    assert soft["20 kg on the ground"] == Cell(HOLDS, None)
    assert soft["30 kg on the ground"] == Cell(ONLY_FRICTION, None, friction_N=600.0)
    assert soft["walking"] == Cell(LETS_GO, 1500.0)
    assert {row.cells["raft"].soft for row in found.rows} == {Cell(CANNOT_TIGHTEN, None)}
    lost = table(softer(**{"lag screws": bears(
        equilibrium_ends_N=None, ends_status=NOT_KNOWN, known_to_N=500.0)}))
    assert {row.name: row.cells["lag screws"].soft for row in lost.rows}["walking"] == Cell(
        UNKNOWN, None, "above 500 N")
    listed = [r for r in rows(found) if r["activity"] == "walking"]
    assert [(r["verdict"], r["verdict_soft_bone"], r["limit_load_soft_bone_N"])
            for r in listed if r["construct"] == "lag screws"] == [(ONLY_FRICTION, LETS_GO, 1500.0)]
    lines = terminal.lines(found)
    assert max(map(len, lines)) <= 100
    assert "In soft bone: as stated." in " ".join(lines)
    picture = figure_bearing.weight_bearing(found).get_figure(root=True)
    assert clashes(picture) == []
    shown = " ".join(" ".join(t.get_text().split()) for t, _ in shown_texts(picture))
    assert "only with friction above 1281 N (else fails) in soft bone: fails above 1500 N" in shown
    assert "In soft bone: as stated." in shown


def test_a_verdict_in_soft_bone_tells_what_has_happened_below_the_load() -> None:
    found = {"first_yield_N": 900.0, "first_crushing_N": 400.0}
    made = table(softer(**{"lag screws": bears(**found, first_crushing_of="graft", equilibrium_ends_N=9000.0,
                                               ends_status="found", known_to_N=9000.0)}))
    cell = next(row.cells["lag screws"] for row in made.rows if row.name == "walking")
    assert cell.soft == Cell(ONLY_FRICTION, None, friction_N=600.0, events=(
        ("graft is crushed locally", 400.0, ""), ("metal yields", 900.0, "")))
    other = replace(cell, verdict=HOLDS, friction_N=None)
    assert other.soft_words == ("in soft bone: only with friction above 600 N (else fails); graft "
                                "is crushed locally from 400 N; metal yields from 900 N")
    listed = next(r for r in rows(made) if (r["activity"], r["construct"]) == (
        "walking", "lag screws"))
    assert listed["events_soft_bone"] == ("graft is crushed locally from 400 N; metal yields from "
                                          "900 N")
    small = next(r for r in rows(made) if r["construct"] == "lag screws")
    assert small["events_soft_bone"] is None


def test_soft_events_are_those_of_the_study_in_that_bone() -> None:
    name = "two lag screws"
    shipped = example("lateral-split")
    study = shipped.model_copy(update={"mesh": MeshInput(size_mm=4, coarse_mm=8), "constructs": tuple(
        c for c in shipped.constructs if c.name == name)})
    soft_already = compare(study, pictures=False)
    dense = compare(study.model_copy(update={"section": study.section.model_copy(
        update={"bone": "dense"})}), pictures=False)
    assert dense.soft is not None
    for key in ("first_yield_N", "first_crushing_N", "first_thread_N"):
        own, judged = getattr(soft_already[name], key), getattr(dense.soft.constructs[name], key)
        most = max(r.force_N[1] for r in table(dense).rows)
        assert judged == (own if own is None or own <= most else None)
