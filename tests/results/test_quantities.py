"""The catalogue of quantities: a row is found in every output, and there is one reader."""

from __future__ import annotations

import csv
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from command import inside
from small_study import small_study
from under_loads import under_loads

from buttress.bone.bone import build_bone
from buttress.draw import sweep as sweep_figures
from buttress.fe.errors import InputError
from buttress.fe.solve.capacity import Escape
from buttress.files import as_csv
from buttress.model.install import build_model
from buttress.model.model import Model
from buttress.report.catalogue import listed, markdown
from buttress.report.folder import document
from buttress.report.glossary import glossary
from buttress.report.tables import main_table
from buttress.report.terminal import lines
from buttress.results import figures, quantities
from buttress.results.escape import escaping
from buttress.results.figures import Figures, Level
from buttress.results.quantities import CATALOGUE, LIMITS, by_column, limited, quantity
from buttress.results.quantity import Quantity
from buttress.results.reader import Reader
from buttress.results.rows import columns, csv_columns, rows
from buttress.study.loads import LimitsInput
from buttress.study.read import example, study_from
from buttress.sweeps.evaluate import Evaluator, Options, Task
from buttress.sweeps.explore import Explorer
from buttress.sweeps.keys import planned
from buttress.sweeps.layout import stored
from buttress.sweeps.rows import sweep_frame
from buttress.sweeps.sweep import sweep
from buttress.sweeps.vary import Varier, plain

FRICTION = "fracture.shear plane.friction"
UNITS = {"mm": "mm", "mm3": "mm3", "N": "N", "MPa": "MPa", "deg": "deg", "N/mm": "N_per_mm"}
WOBBLE = Quantity(
    key="wobble_mm", words="wobble", unit="mm", definition="how far a made-up fragment wobbles",
    level=Level.FRAGMENT, worse="more", header="wobble", csv="=", store="=", digits=3,
    read=lambda f, name: 0.375 if name == "medial" else None, axis="wobble of the worst fragment")
WORTH = Quantity(
    key="worth_N", words="worth", unit="N", definition="what a made-up construct is worth",
    level=Level.CONSTRUCT, worse="less", header="worth", csv="=", digits=0,
    of=lambda c, every: 4321.0)


@pytest.fixture
def made_up(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two quantities more, each added in one place."""
    monkeypatch.setattr(quantities, "CATALOGUE", (*CATALOGUE, WOBBLE, WORTH))


@pytest.mark.usefixtures("made_up")
def test_a_quantity_that_is_added_in_one_place_is_in_every_output_of_a_comparison() -> None:
    found = under_loads(small_study("nothing", "antiglide"), pictures=False)
    made = json.loads(json.dumps(document(found)))["constructs"]
    assert [c["worth_N"] for c in made] == [4321.0, 4321.0]
    by_name = {c["name"]: c["loads"][0]["fragments"]["medial"] for c in made}
    assert by_name["antiglide"]["wobble_mm"] == 0.375
    assert by_name["nothing"]["wobble_mm"] is None    # not held
    assert "more" not in by_name["antiglide"]
    head, *table = as_csv(rows(found), columns()).splitlines()
    assert head.split(",")[-3:] == ["wobble_mm", "worth_N", "label"]
    assert {row["wobble_mm"] for row in csv.DictReader([head, *table])} == {"0.375", ""}
    said = "\n".join(lines(found))
    assert "wobble\n" not in said.splitlines()[0]
    assert any("wobble" in line for line in said.splitlines())
    assert "0.375" in said
    assert "worth: 4321 N" in said
    page = main_table(found.constructs)
    assert "<th>wobble<br>[mm]</th>" in page
    assert "<td>0.375</td>" in page
    assert "<th>worth<br>[N]</th>" in page
    assert ">4321</td>" in page


@pytest.mark.usefixtures("made_up")
def test_it_is_in_a_sweep_its_store_its_axes_and_the_list_of_columns(tmp_path: Path) -> None:
    path = tmp_path / "s.sqlite"
    sweep(small_study("antiglide"), [f"{FRICTION}=0.2,0.3"], out=path, workers=0)
    frame = sweep_frame(path)
    assert list(frame["wobble_mm"]) == [0.375, 0.375]
    ax = sweep_figures.over_key(frame, FRICTION, "wobble_mm")
    assert ax.get_ylabel() == "wobble of the worst fragment [mm]"
    assert ax.get_ylim()[0] == 0.0
    assert "| `wobble_mm` | mm | how far a made-up fragment wobbles |" in markdown()
    shown = inside("examples", "--keys").stdout
    assert "wobble_mm [mm]: how far a made-up fragment wobbles" in shown
    assert "worth_N [N]: what a made-up construct is worth" in shown


def test_a_store_without_its_column_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch
                                               ) -> None:
    path = tmp_path / "s.sqlite"
    sweep(small_study("antiglide"), [f"{FRICTION}=0.2"], out=path, workers=0)
    monkeypatch.setattr(quantities, "CATALOGUE", (*CATALOGUE, WOBBLE))
    with pytest.raises(InputError, match="wobble_mm"):
        sweep(small_study("antiglide"), [f"{FRICTION}=0.2"], out=path, workers=0)


def test_rows_are_whole() -> None:
    for q in CATALOGUE:
        assert q.words, q.key
        assert q.definition, q.key
        assert not q.definition.endswith("."), q.key
        if q.unit not in ("", "-"):
            assert q.key.endswith(UNITS[q.unit]), q.key
        if q.glossary:
            assert glossary()[q.glossary]
        if q.level not in (Level.CONSTRUCT, Level.LOAD, Level.FRAGMENT) and (q.csv or q.store):
            assert q.worse, f"{q.key}: which of several places is worst is not said"
    for names in (columns(), [n for q in stored() for n in q.columns(q.store)]):
        assert len(set(names)) == len(names)
    keys = [(q.level, q.key) for q in CATALOGUE]
    assert len(set(keys)) == len(keys)
    assert {c.name for c in listed()} >= set(columns())


def test_limits_refer_to_quantities_and_to_keys_of_a_study() -> None:
    for x in LIMITS:
        assert x.key in LimitsInput.model_fields
        assert limited(x).worse == "more"
        assert x.column in columns()
    assert {x.key for x in LIMITS} == set(LimitsInput.model_fields) - {"movement_mm"}


@pytest.mark.parametrize(("column", "label"), [
    ("subsidence_mean_mm", "mean subsidence of the worst fragment [mm]"),
    ("plate_yield_ratio", "largest plate stress / yield [-]"), ("tilt_deg", "tilt [deg]"),
    ("capacity_upper_N", "capacity, upper bound [N]"), ("gap_mm", "gap [mm]"),
    ("stations_at_capacity", "screw stations at capacity [-]")])
def test_words_of_an_axis(column: str, label: str) -> None:
    found = by_column(column)
    assert found is not None
    assert found[0].label(found[1]) == label


def test_the_worst_is_the_largest_the_least_or_the_one_of_largest_size() -> None:
    values = [0.1, None, -0.3]
    assert [replace(WOBBLE, worse=w).worst(values) for w in ("more", "less", "size")] == [
        0.1, -0.3, -0.3]
    assert WOBBLE.worst([None]) is None


# What had drifted between five readers.

def solved(name: str, construct: str, load: float = 700.0) -> Figures:
    data = plain(example(name))
    data["mesh"] = {"size_mm": 4.0, "coarse_mm": 8.0}
    data["construct"] = [c for c in data["construct"] if c["name"] == construct]
    study = study_from(data)
    bone = build_bone(study)
    model = build_model(bone, study.constructs[0])
    return Figures(Reader.of(bone, {}), model, model.answer(load), load)


@pytest.mark.parametrize(("name", "construct", "wide"), [
    ("medial-shear", "lag screws", "width_mm"), ("posterior-shear", "nothing", "depth_mm")])
def test_a_moment_out_of_balance_counts_over_the_width_that_is_drawn(
        name: str, construct: str, wide: str) -> None:
    f = solved(name, construct)
    piece, = f.number
    assert f.bone.study.section.width_mm != f.bone.study.section.depth_mm
    f._pushes[piece] = np.array([0.0, 0.0, 30.0]), {"plate": np.array([0.0, 0.1, 0.0])}
    assert f.unbalanced(piece) == pytest.approx(
        30.0 / getattr(f.bone.study.section, wide), rel=1e-12)


def moving(model: Model, **amplitudes: tuple[float, float, float]) -> str | None:
    """What escapes in a made-up motion: amplitudes of x, y and turn [mm] by name."""
    rigid = np.zeros(len(model.problem.rigid_body))
    bodies = {s.name: s.body for s in model.solids}
    bodies |= {p.name: p.member for p in model.hardware.parts}
    for name, motion in amplitudes.items():
        rigid[model.problem.rigid_body == model.number(bodies[name.replace("_", " ")])] = motion
    answer = replace(model.answer(700.0), status="no equilibrium",
                     escape=Escape(rigid, np.zeros(len(model.problem.links.hinges))))
    return escaping(model, answer)


def test_one_rule_says_what_escapes() -> None:
    model = solved("medial-shear", "lag screws").model
    one, two = (p.name.replace(" ", "_") for p in model.hardware.parts[:2])
    # A piece of bone before the screws that it takes along, however far they go.
    assert moving(model, medial=(0.0, -0.4, 0.0), **{one: (0.0, 1.0, 0.0)}) == "medial"
    # A stripped screw goes alone.
    assert moving(model, **{one: (0.0, 1.0, 0.0)}) == one.replace("_", " ")
    # The farthest point counts, not the largest of x, y and turn.
    assert moving(model, **{one: (0.75, 0.75, 0.0), two: (0.0, 1.0, 0.0)}) == one.replace("_", " ")
    assert moving(model) is None


def test_table_picture_and_sweep_name_the_same_piece() -> None:
    study = small_study("nothing")
    found = under_loads(study).constructs[0]
    plan = planned(1, Varier(study).case({}), {})
    swept = Evaluator(Options()).evaluate(Task(1, plan.hash, plan.data, plan.scales))
    assert found.loads[0].escapes == found.pictures[0].escapes == swept.results[0]["escapes"]
    assert found.loads[0].escapes == "medial"


def test_stations_count_by_the_bounds_that_were_solved_with() -> None:
    study, weak = small_study("antiglide"), {"scale.cancellous_strength": 0.1}
    live = Explorer(study).answer("antiglide", 700.0, weak).result.stations_at_capacity
    plan = planned(1, Varier(study).case(weak), {})
    swept = Evaluator(Options()).evaluate(Task(1, plan.hash, plan.data, plan.scales))
    strong = Explorer(study).answer("antiglide", 700.0).result.stations_at_capacity
    assert live == swept.results[0]["stations_at_capacity"] > strong


def test_a_quantity_costs_nothing_until_it_is_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    def forbidden(*_: object, **__: object) -> None:
        raise AssertionError("a field that no column asks for")

    for name in ("strained", "bone_strain", "contact_lines", "pushes", "graft_results",
                 "nodal_forces"):
        monkeypatch.setattr(figures, name, forbidden)
    study = small_study("antiglide")
    plan = planned(1, Varier(study).case({}), {})
    found = Evaluator(Options()).evaluate(Task(1, plan.hash, plan.data, plan.scales))
    assert not found.failures
    assert found.results[0]["status"] == "held"
    assert found.results[0]["plate_yield_ratio"] > 0.0


def test_columns_of_the_file_are_what_rows_hold() -> None:
    found = under_loads(small_study("antiglide"), pictures=False)
    [row] = rows(found)
    assert tuple(row) == columns() == tuple(name for name, _, _ in csv_columns())
    load = found.constructs[0].loads[0]
    assert row["step_off_max_mm"] == load.edges["shear plane"].step_off_mm
    assert row["worst_member_yield_ratio"] == max(m.yield_ratio for m in load.members.values())
    assert row["plate_pressure_p95_MPa"] == load.contacts["antiglide plate"].pressure_p95_MPa
    assert row["medial_widening_mm"] == load.condyles["medial"].widening_mm
    assert row["fragment_over_yield"] == load.bone["medial"].over_yield
    assert row["carried_most_share"] == max(load.fragments["medial"].carried_by.values())
    assert row["bone_limit_N"] == found.constructs[0].limits["bone over yield"].load_N


def test_a_negative_figure_has_a_minus_and_no_hyphen() -> None:
    """Places had the sign and the figures beside them a hyphen; a rounded zero has none."""
    q = quantity(Level.FRAGMENT, "subsidence_mean_mm")
    assert [q.text(x) for x in (-0.0012, -0.0004, 0.0012)] == ["−0.001", "0.000", "0.001"]
