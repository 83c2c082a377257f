"""Alternatives of the model: the studies they make, and which verdicts change."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from functools import cache
from pathlib import Path

import made_up
import pytest
from depressed_study import GRAFT, depressed
from figure_texts import clashes, shown_texts
from matplotlib.markers import MarkerStyle
from small_study import small_study
from staged_study import place, staged_data, tighten

from buttress import LABEL
from buttress.comparison.compare import compare
from buttress.draw.tornado import MESHES, rows, tornado
from buttress.fe.errors import InputError
from buttress.fe.richardson import SPREAD
from buttress.files import as_csv
from buttress.ranking import alternatives as module
from buttress.ranking.alternatives import ABSENT, NO_PRESET, SAME, STAGED, STUCK, changed, shipped
from buttress.ranking.inputs import shipped as uncertain
from buttress.report import alternatives as report
from buttress.report.assumptions import STATUS_WORDS
from buttress.report.folder import document
from buttress.report.page import write_report
from buttress.report.trust import how_far
from buttress.results.alternatives import (
    BEARING,
    FAILURE,
    ORDER,
    changes,
    fails,
    kept_words,
    left_open,
    surviving,
    verdicts,
)
from buttress.results.bar import Bar
from buttress.results.comparison import Comparison
from buttress.results.order import reserve
from buttress.results.path import PathEvent, PathResult, Reserve, Where
from buttress.results.records import ConstructResult, LimitResult
from buttress.results.spread import Alternative, ModelSpread
from buttress.study.read import example, study_from
from buttress.study.study import Study
from buttress.study.tables import GIVEN, number
from buttress.sweeps.vary import Varier, varied

SOLVED = ("bearing half as stiff", "friction lost", "plane strain")


def case_of(study: Study, name: str):
    return changed(study, Varier(study), shipped()[name])


@cache
def made() -> Comparison:
    """A comparison with three of the alternatives, solved."""
    own = compare(small_study("lag screws", loads=(700.0,), body_mass_kg=75.0), pictures=False)
    only = {name: shipped()[name] for name in SOLVED}
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "shipped", lambda: only)
        return module.with_alternatives(own)


def test_every_alternative_makes_a_case_of_some_shipped_study() -> None:
    assert len(shipped()) > 10
    for name, row in shipped().items():
        assert row["status"] in STATUS_WORDS.keys() - {GIVEN}
        assert {"group", "words", "source"} <= row.keys()
        found = [case_of(example(study), name) for study in (
            "medial-shear", "posterior-shear", "lateral-depression")]
        soft = case_of(varied(small_study("nothing"), {"section.bone": "soft"}).study, name)
        hard = case_of(varied(small_study("nothing"), {"hardening.bone_share": 0.05}).study, name)
        moves = case_of(varied(small_study("nothing"), {"press.large_movements": "on"}).study, name)
        assert not all(isinstance(x, str) for x in (*found, soft, hard, moves)), (name, found)


def test_the_ends_of_ranges_are_those_of_the_tables() -> None:
    laws = {e.key: sorted(float(x) for x in e.law.ends()) for e in uncertain()}
    low, high = laws["load.patch_width_mm"]
    assert shipped()["narrow patch"]["set"]["load.patch_width_mm"] == low
    assert shipped()["wide patch"]["set"]["load.patch_width_mm"] == high
    assert sorted(shipped()[n]["add"]["load.medial_centre_mm"] for n in (
        "medial patch inward", "medial patch outward")) == laws["load.medial_centre_mm"]
    assert sorted(shipped()[n]["add"]["load.slice_centre_mm"] for n in (
        "patch anterior", "patch posterior")) == laws["load.slice_centre_mm"]
    for name, key in (("fracture gap", "fracture.*.gap_mm"),
                      ("debris in the fracture", "fracture.*.layer_mm")):
        assert shipped()[name]["set"][key] == laws[key][1]
    ends = [shipped()[n]["set"]["hardening.bone_share"] for n in ("little hardening",
                                                                  "much hardening")]
    assert ends[0] < number("materials", "crushed bone", "slope_share") < ends[1]


def test_what_is_like_the_study_or_not_in_it_is_left_out() -> None:
    study = small_study("nothing")
    assert case_of(study, "dense bone") == SAME
    assert case_of(study, "patch anterior") == ABSENT
    assert case_of(study, "plate stands off") == ABSENT    # no plate
    assert case_of(study, "bond breaks") == ABSENT         # no cement
    for name in ("bearing half as stiff", "bearing twice as stiff", "threads strip"):
        assert case_of(study, name) == ABSENT              # no screw
        assert case_of(small_study("lag screws"), name) != ABSENT

    foam = varied(study, {"section.bone": "foam"}).study
    assert case_of(foam, "soft bone") == NO_PRESET
    flat = varied(study, {"hardening.bone_share": 0.0, "hardening.metal_share": 0.0}).study
    assert case_of(flat, "no hardening") == SAME
    hard = varied(study, {"hardening.bone_share": 0.05}).study
    assert not isinstance(case_of(hard, "no hardening"), str)


def test_a_bond_breaks_only_where_a_filling_is_bonded() -> None:
    cement = GRAFT | {"material": "calcium phosphate cement"}
    for fill, bonded in ((GRAFT, False), (cement, True), (cement | {"bonded": False}, False),
                         (GRAFT | {"bonded": True, "bond_MPa": 0.5}, True)):
        assert (case_of(depressed(fill), "bond breaks") != ABSENT) == bonded


def test_an_addition_is_to_the_study_s_own_value() -> None:
    study = varied(small_study("nothing"), {"load.medial_centre_mm": -20.0}).study
    values, case = case_of(study, "medial patch outward")
    assert values == {"load.medial_centre_mm": -22.0}
    assert case.study.load.medial_centre_mm == -22.0


def test_what_cannot_be_built_is_said() -> None:
    study = varied(small_study("nothing"), {"load.medial_centre_mm": -28.0,
                                            "load.patch_width_mm": 18.0}).study
    found = case_of(study, "medial patch outward")
    assert not isinstance(found, str)    # a study may say so; the bone refuses it
    done, refused = module._solved(module.Workshop(), found[1])
    assert done == {}
    assert "contact patch" in refused["nothing"]


@pytest.mark.parametrize(("name", "key", "value"), [
    ("plane strain", "section.plane_state", "plane strain"),
    ("friction lost", "scale.friction_under_load", 0.0)])
def test_an_alternative_is_the_changed_study_solved_the_same_way(name: str, key: str,
                                                                 value: object) -> None:
    assert made().alternatives is not None
    found = next(x for x in made().alternatives.tried if x.name == name)
    assert found.values == {key: value}
    got = found.constructs["lag screws"]
    if key.startswith("section"):
        alone = compare(varied(made().study, {key: value}).study, pictures=False)["lag screws"]
        assert reserve(got).load_N == pytest.approx(reserve(alone).load_N, rel=1e-9)
        assert got.peak_N == pytest.approx(alone.peak_N, rel=1e-9)
        assert got.limits.keys() == alone.limits.keys()
    else:
        # Friction lost after tightening: what the comparison itself says is carried then.
        own = made()["lag screws"]
        assert own.without_friction_N is None       # a limit is reached before
        lost = {k: r.load_N for k, r in own.limits_without_friction.items()}
        assert lost["step-off"] is not None
        for name, load in lost.items():
            there = got.limits[name].load_N
            if load is None:    # it is not asked for beyond the first limit
                assert there is None or there > lost["step-off"], name
            else:
                assert load == pytest.approx(there, rel=1e-3), name
        assert reserve(got).load_N < reserve(own).load_N
        assert got.path is not None
        assert not any(e.kind == "anchorage" and e.where.part == "shear plane" for e in got.path.events)


def test_half_of_the_bearing_is_as_in_a_sweep() -> None:
    assert made().alternatives is not None
    own = made()["lag screws"]
    got = next(x for x in made().alternatives.tried if x.name == "bearing half as stiff")
    assert got.constructs["lag screws"].stiffness_N_per_mm < own.stiffness_N_per_mm


def moved(c: ConstructResult, name: str, load: float, part: str, limit: float) -> ConstructResult:
    event = PathEvent("hinge", 0.5 * load, 0.1, Where(part, None))
    path = PathResult("complete", "", None, 0.0, (), (event,))
    first = {"step-off": LimitResult(limit, None, "step_off_mm", 2.0, "mm")}
    return replace(c, name=name, reserve=Reserve(load, 0.5, "gap", "f"), peak_N=9000.0,
                   peak_status="found", path=path, limits=first, equilibrium_ends_N=9000.0,
                   known_to_N=9000.0, ends_status="found", without_friction_N=None)


def spread() -> Comparison:
    """A before b in the study; with "one" they change places and a fails elsewhere, with "two" the
    step-off limit falls below all activities and b cannot be built."""
    base = made_up.usual()
    study = base.study.model_copy(update={"load": base.study.load.model_copy(
        update={"body_mass_kg": 75.0})})
    c = base["lag screws"]
    a, b = moved(c, "a", 2000.0, "plate", 8000.0), moved(c, "b", 1000.0, "plate", 8000.0)
    one = {"a": moved(c, "a", 900.0, "screw", 8000.0), "b": moved(c, "b", 1000.0, "plate", 8000.0)}
    two = {"a": moved(c, "a", 2050.0, "plate", 1.0)}
    about = ("why", "practice", {"section.bone": "soft"})
    return replace(base, study=study, constructs=(a, b), alternatives=ModelSpread((
        Alternative("one", "g", "first change", *about, one),
        Alternative("two", "h", "second change", *about, two, {"b": "no room"})),
        {"three": "the study is like that"}))


def test_which_verdicts_change_in_words() -> None:
    found = changes(spread())
    lines = [(c.alternative, c.about, c.words) for c in found]
    assert ("one", ORDER, "'b' comes before 'a' ('a' 900 N, 'b' 1000 N); in the study 'a' comes "
                          "before 'b'") in lines
    assert [(c.alternative, c.construct) for c in found if c.about == FAILURE] == [("one", "a")]
    (line,) = [c.words.split("in the study") for c in found if c.about == FAILURE]
    assert ("screw" in line[0], "plate" in line[1]) == (True, True)
    bearing = [c for c in found if c.about == BEARING]
    assert {(c.alternative, c.construct) for c in bearing} == {("two", "a")}
    assert all("over a limit: step-off; in the study within all limits" in c.words for c in bearing)
    assert len(bearing) == 1    # one line for all activities


def test_parts_that_fail_at_nearly_the_same_load_are_a_tie() -> None:
    made = spread()
    one = made.alternatives.tried[0]
    hinge = PathEvent("hinge", 1.0, 0.2, Where("plate", None))
    for share, count in ((1.02, 0), (1.2, 1)):
        a = one.constructs["a"]
        late = replace(hinge, load_N=share * a.path.events[0].load_N)
        a = replace(a, path=replace(a.path, events=(*a.path.events, late)))
        other = replace(made, alternatives=ModelSpread((
            replace(one, constructs={**one.constructs, "a": a}),)))
        assert sum(c.about == FAILURE for c in changes(other)) == count
        assert len(surviving(other)[FAILURE][0]) == 2 - count


def test_what_survives_all_of_them() -> None:
    made = spread()
    kept = surviving(made)
    assert kept[ORDER] == ([], 1)
    assert len(kept[FAILURE][0]) == 1
    assert kept[FAILURE][0][0].startswith("'b': first")
    own = verdicts(made.own, made.study.load, made.own)
    rows_ = sum(k[0] == BEARING for k in own)
    assert kept[BEARING][1] == rows_
    assert len(kept[BEARING][0]) == rows_ // 2    # those of b
    assert surviving(replace(made, alternatives=None)) == {}


def unknown(c: ConstructResult, load: float) -> ConstructResult:
    """The construct, known to carry a load and not known above it."""
    return replace(c, reserve=Reserve(None, 0.5, None, None, load), peak_N=load,
                   peak_status="not known", path=replace(c.path, events=()))


def test_what_is_not_known_is_no_tie_and_no_verdict() -> None:
    made = spread()
    a, b = made.constructs
    lost = replace(made.alternatives.tried[0], constructs={
        "a": unknown(a, 900.0), "b": unknown(b, 1000.0)})
    other = replace(made, alternatives=ModelSpread((lost,)))
    assert (left_open(made), left_open(other)[ORDER]) == ({}, 1)
    (order,) = [c.words for c in changes(other) if c.about == ORDER]
    assert order == ("not known which of 'a' and 'b' comes first ('a' ≥ 900 N, 'b' ≥ 1000 N); in "
                     "the study 'a' comes before 'b'")
    assert [c.words.split(";")[0] for c in changes(other) if c.about == FAILURE] == [
        "'a': not known what fails first", "'b': not known what fails first"]
    assert fails(unknown(a, 0.0)) == "not known what fails first"    # not "it carries no load"
    # Of the study itself: nothing that an alternative could keep.
    own = replace(made, constructs=(unknown(a, 900.0), unknown(b, 1000.0)))
    assert {ORDER, FAILURE}.isdisjoint(surviving(own))


def test_a_part_that_tightening_has_brought_to_its_strength_is_said_to_give_more() -> None:
    a = spread()["a"]
    bends = PathEvent("hinge", 500.0, 0.1, Where("upper lag", None))
    path = replace(a.path, events=(bends,))
    assert fails(replace(a, path=path)) == "first to fail: 'upper lag' forms a plastic hinge"
    assert fails(replace(a, path=replace(path, already=(replace(bends, load_N=0.0),)))) == (
        "'upper lag' forms a further plastic hinge than by tightening alone")
    part = replace(path, events=(PathEvent("anchorage", 500.0, 0.1, Where("upper lag", None)),))
    assert fails(replace(a, path=part)) == "nothing gives way"


def test_the_same_words_at_every_load_are_told_once() -> None:
    made = spread()
    told = kept_words(made)
    assert told[BEARING] == [
        "'b' at every load of the weight-bearing table: within all limits"]
    (line,) = [x for x in report.kept_lines(made) if x.startswith(BEARING)]
    assert line.endswith(": 8 of 16: " + told[BEARING][0])
    (bearing,) = [c.words for c in changes(made) if c.about == BEARING]
    assert bearing.startswith("'a' at every load of the weight-bearing table: over a limit")
    assert kept_words(replace(made, alternatives=None)) == {}


def test_terminal_page_and_files(tmp_path: Path) -> None:
    made = spread()
    said = "\n".join(report.lines(made))
    for words in ("one: first change", "two: 'b' cannot be built: no room",
                  "three: left out, the study is like that", "one, order: 'b' comes before 'a'",
                  "order, the same with every alternative: 0 of 1"):
        assert words in said
    assert "order 0 of 1" in how_far(made)["model spread"]
    assert "900 to 2050 N ('a')" in how_far(made)["model spread"]
    table = list(csv.DictReader(io.StringIO(as_csv(report.rows(made), report.COLUMNS))))
    assert [(r["construct"], r["alternative"]) for r in table] == [
        ("a", report.OWN), ("a", "one"), ("a", "two"), ("b", report.OWN), ("b", "one")]
    assert {r["label"] for r in table} == {LABEL}
    assert float(table[1]["reserve_change_share"]) == pytest.approx(900 / 2000 - 1)
    data = json.loads(json.dumps(document(made), allow_nan=False))["alternatives"]
    assert data["tried"][0]["constructs"]["a"]["load_N"] == 900.0
    assert len(data["changes"]) == len(changes(made))
    write_report(made, tmp_path / "r.html", {})
    page = (tmp_path / "r.html").read_text(encoding="utf-8")
    assert "With other choices of the model" in page
    assert "second change" in page
    assert "--alternatives" in page


def test_what_cannot_be_built_is_not_counted_among_what_changes_nothing() -> None:
    made = spread()
    none = replace(made.alternatives.tried[1], constructs={}, refused={"a": "no", "b": "no"})
    said = report.summary(replace(made, alternatives=replace(
        made.alternatives, tried=(*made.alternatives.tried, none))))
    assert said.startswith(
        "verdicts that none of 2 alternatives changes (1 more cannot be built): order 0 of 1")
    assert report.summary(made).startswith("verdicts that none of 2 alternatives changes: order")


def test_the_arrow_of_what_is_not_known_covers_no_name() -> None:
    """At "≥ 0 N" it lay on the name of the alternative, and the bar said that nothing is carried."""
    made = spread()
    assert made.alternatives is not None
    first, *others = made.alternatives.tried
    lost = replace(first.constructs["a"], peak_N=0.0, peak_status="not known", path=None,
                   reserve=Reserve(None, 0.5, None, None))
    ax = tornado(replace(made, alternatives=replace(made.alternatives, tried=(
        replace(first, constructs={**first.constructs, "a": lost}), *others))), "a")
    assert "≥ 0 N" in [t.get_text() for t in ax.texts]
    names = [box for text, box in shown_texts(ax.get_figure(root=True))
             if text.get_text() in ("one", "two")]
    arrow = next(line for line in ax.lines if line.get_marker() not in ("None", None, "|"))
    style = MarkerStyle(arrow.get_marker())
    drawn = style.get_path().transformed(style.get_transform()).get_extents()
    at = ax.transData.transform((float(arrow.get_xdata()[0]), 0.0))[0]
    assert at + drawn.x0 * arrow.get_markersize() > max(box.x1 for box in names)
    assert next(p for p in ax.patches if p.get_gid() == "one").get_facecolor()[3] == 0.0


def test_the_tornado_shows_each_alternative_from_the_study_s_load() -> None:
    made = spread()
    bar = Bar("reserve_N", "N", None, "", (2000.0, 1950.0), SPREAD, 1950.0, 2000.0)
    made = replace(made, constructs=(replace(made["a"], bars=(bar,)), made["b"]))
    ax = tornado(made, "a")
    bars = {p.get_gid(): (p.get_x(), p.get_width()) for p in ax.patches if p.get_gid()}
    assert bars == {"one": (2000.0, -1100.0), "two": (2000.0, 50.0), MESHES: (1950.0, 50.0)}
    assert [x.name for x in rows(made, "a")] == ["one", "two"]    # the widest on top
    said = [t.get_text() for t in ax.texts]
    assert "900 N" in said
    assert "1950 to 2000 N" in said
    assert clashes(ax.figure) == []
    assert "cannot be built" in [t.get_text() for t in tornado(made, "b").texts]
    with pytest.raises(InputError, match="construct with alternatives"):
        tornado(made_up.usual(), "lag screws")


def test_tension_is_lost_only_where_no_stage_tightens(monkeypatch: pytest.MonkeyPatch) -> None:
    """Stages tighten to a force of their own: "no screw is tightened" was said of screws that were,
    and their load did not change."""
    data = staged_data(place("lag"), tighten("lag", 300.0))
    data["construct"].append({k: v for k, v in data["construct"][0].items() if k != "stage"}
                             | {"name": "at once"})
    study = study_from(data)
    values, case = case_of(study, "tension lost")
    assert set(values) == {"construct.at once.screw.*.tension_N"}
    assert [c.screws[0].tension_N for c in case.study.constructs] == [400.0, 0.0]
    monkeypatch.setattr(module, "shipped", lambda: {"tension lost": shipped()["tension lost"]})
    own = replace(made_up.usual(), study=study, constructs=tuple(
        made_up.construct(c.name) for c in study.constructs))
    spread = module.with_alternatives(own).alternatives
    (tried,) = spread.tried
    assert set(tried.constructs) == {"at once"}
    assert report.left_out_lines(spread) == [
        "tension lost: 'lag screw first' left out, stages say how the screws are tightened"]
    data["construct"] = data["construct"][:1]
    assert case_of(study_from(data), "tension lost") == STAGED


def test_what_has_stages_is_not_stuck_fast_and_that_is_said_in_words() -> None:
    """A message with keys and values of the study file stood there, and one staged construct left
    the alternative out for all."""
    data = staged_data(place("lag"), tighten("lag", 300.0))
    data["construct"].append({k: v for k, v in data["construct"][0].items() if k != "stage"}
                             | {"name": "at once"})
    values, _ = case_of(study_from(data), "stuck fast")
    assert set(values) == {"construct.at once.model"}
    data["construct"] = data["construct"][:1]
    assert case_of(study_from(data), "stuck fast") == STUCK
    assert ";" not in STUCK
