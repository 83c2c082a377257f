"""Screw forms, plate sections, metals, bone and fills that a study gives itself."""

from __future__ import annotations

import copy
import json
import pickle
from pathlib import Path
from typing import Any

import pytest
from small_study import small_study
from under_loads import under_loads

from buttress import assumptions, check, compare, sweep, sweep_frame, varied
from buttress.bone.fills import fill_material
from buttress.fe.errors import InputError
from buttress.implants.sections import metal, plate_section, screw_form
from buttress.study import tables
from buttress.study.implants import Fill
from buttress.study.read import example, parse_study, study_from
from buttress.study.tables import OwnName
from buttress.study.write import text_of_study
from buttress.sweeps.vary import plain

SOURCE = "a drawing of the workshop, invented"
OWN: dict[str, Any] = {
    "screw_form": [{"name": "stout", "source": SOURCE, "kind": "cancellous", "thread_mm": 6.5,
                    "core_mm": 3.0, "pitch_mm": 2.75, "head_mm": 8.0, "pilot_mm": 3.2,
                    "shaft_mm": 4.5, "short_thread_mm": 16.0, "long_thread_mm": 32.0,
                    "lag_tension_N": 300.0}],
    "plate_section": [{"name": "slim", "source": SOURCE, "kind": "arc", "width_mm": 9.0,
                       "thickness_mm": 1.0, "arc_deg": 120.0, "hole_mm": 4.5, "thread_mm": 4.0,
                       "pitch_mm": 12.0, "edge_mm": 5.0}],
    "metal": [{"name": "alloy", "source": SOURCE, "modulus_MPa": 193000.0,
               "yield_strength_MPa": 690.0, "ultimate_strength_MPa": 860.0, "elongation": 0.12}],
    "bone": [{"name": "hard", "source": SOURCE, "modulus_joint_MPa": 1200.0,
              "modulus_shaft_MPa": 400.0}],
    "fill": [{"name": "paste", "source": SOURCE, "kind": "cement", "modulus_MPa": 900.0,
              "strength_MPa": 20.0, "friction": 0.4, "bond_strength_MPa": 1.5}]}
SAME = {"HB 6.5": "stout", "one-third tubular": "slim", "steel": "alloy", "dense": "hard"}
"""Shipped rows, and rows of our own with the same numbers."""


def own_study(*constructs: str) -> dict[str, Any]:
    """A small study in which rows of its own replace shipped ones of the same numbers."""
    text = json.dumps(plain(small_study(*constructs)))
    for shipped, own in SAME.items():
        text = text.replace(f'"{shipped}"', f'"{own}"')
    return json.loads(text) | {"own": copy.deepcopy(OWN)}


def test_rows_with_the_numbers_of_shipped_ones_give_the_same_answers() -> None:
    names = ("antiglide + lag screws",)
    own = compare(study_from(own_study(*names)), pictures=False).to_frame()
    shipped = compare(small_study(*names), pictures=False).to_frame()
    assert own.equals(shipped)


def test_each_row_is_read_by_what_uses_it() -> None:
    study = study_from(own_study("antiglide + lag screws"))
    [construct] = study.constructs
    [plate] = construct.plates
    screw = next(s for s in construct.screws if s.form == study_name(study, "screw_form"))
    assert screw_form(screw.form).shaft == 4.5
    assert plate.section == study_name(study, "plate_section")
    assert plate_section(plate.section).width == 9.0
    assert metal(plate.material).yield_strength == 690.0
    fill = Fill.model_validate(
        {"name": "f", "void": "v", "material": "paste"},
        context={"own": study.own.names() if study.own else {}})
    assert fill_material(fill).bond == 1.5
    assert check(study) == check(small_study("antiglide + lag screws"))


def study_name(study: Any, kind: str) -> OwnName:
    return next(iter(study.own.names()[kind].values()))


def test_they_are_listed_with_their_source_and_status() -> None:
    listed = assumptions(study_from(own_study("antiglide + lag screws")))
    given = {a.what.partition(":")[0]: a for a in listed if a.status == "given in the study"}
    assert set(given) == {"stout", "slim", "alloy", "hard"}
    assert {a.source for a in given.values()} == {SOURCE}
    core = next(a for a in listed if a.what == "stout: core")
    assert core.value == "3 mm"


def test_rows_of_one_study_are_unknown_to_another_and_may_differ_in_two() -> None:
    data = own_study("antiglide + lag screws")
    one = study_from(data)
    data["own"]["screw_form"][0]["core_mm"] = 2.5
    other = study_from(data)
    forms = [study_name(s, "screw_form") for s in (one, other)]
    assert [screw_form(f).core for f in forms] == [3.0, 2.5]
    assert forms[0] != forms[1]
    assert one != other
    del data["own"]
    with pytest.raises(InputError, match="unknown"):
        study_from(data)
    with pytest.raises(InputError):
        tables.number("screws", "stout", "core")


def test_a_name_with_its_row_survives_copies_and_other_processes() -> None:
    study = study_from(own_study("antiglide + lag screws"))
    name = study_name(study, "metal")
    for copied in (pickle.loads(pickle.dumps(name)), copy.deepcopy(name)):
        assert copied == name
        assert copied.row == name.row
    assert pickle.loads(pickle.dumps(study)) == study
    assert parse_study(text_of_study(study)) == study
    json.dumps(plain(study))
    assert f"{name}" == "alloy" == str(name)


def test_their_numbers_are_varied_in_a_sweep_with_workers(tmp_path: Path) -> None:
    study = study_from(own_study("lag screws"))
    path = tmp_path / "s.sqlite"
    sweep(study, ["own.screw_form.stout.core_mm=2,3"], out=path, workers=1)
    frame = sweep_frame(path)
    soft, stiff = frame.sort_values("own.screw_form.stout.core_mm")["subsidence_mean_mm"]
    alone = under_loads(study, limits=False, pictures=False).to_frame()["subsidence_mean_mm"].iloc[0]
    assert stiff == pytest.approx(alone, rel=1e-9)
    assert soft != pytest.approx(stiff, rel=1e-6)
    changed = varied(study, {"own.bone.hard.modulus_shaft_MPa": 300.0}).study
    assert tables.number("materials", changed.section.bone, "modulus_shaft") == 300.0


def test_a_coupled_apex_and_a_turned_fracture_do_not_need_the_bone() -> None:
    data = own_study("antiglide")
    data["construct"][0]["plate"][0]["top_mm"] = "{fracture.shear plane.apex.y} + 23"
    study = study_from(data)
    turned = varied(study, {"fracture.shear plane.slope_deg": 30.0}).study
    data = plain(small_study("antiglide"))
    data["construct"][0]["plate"][0]["top_mm"] = "{fracture.shear plane.apex.y} + 23"
    plainly = varied(study_from(data), {"fracture.shear plane.slope_deg": 30.0}).study
    assert turned.fractures == plainly.fractures
    assert turned.constructs[0].plates[0].top_mm == plainly.constructs[0].plates[0].top_mm


@pytest.mark.parametrize(("table", "change", "key", "said"), [
    ("screw_form", {"source": ""}, "source", "without its source"),
    ("screw_form", {"source": None}, "source", "missing key"),
    ("screw_form", {"core_mm": 7.0}, "core_mm", "larger than pilot_mm"),
    ("screw_form", {"thread_mm": 0.0065}, "thread_mm", "looks like metres"),
    ("screw_form", {"shaft_mm": None}, "shaft_mm", "missing key"),
    ("screw_form", {"gliding_mm": 6.5}, "gliding_mm", "no such key"),
    ("screw_form", {"name": "HB 6"}, None, "no screw form of this name is used"),
    ("screw_form", {"name": "a.b"}, "name", '"." or "=" in a name'),
    ("screw_form", {"threads": 3}, "threads", "unknown key"),
    ("plate_section", {"hole_mm": 9.0}, "hole_mm", "as wide as the plate"),
    ("plate_section", {"arc_deg": None}, "arc_deg", "missing key"),
    ("plate_section", {"kind": "flat"}, "arc_deg", "no such key"),
    ("plate_section", {"thickness_mm": 3.3}, "thickness_mm", "too thick"),
    ("plate_section", {"row_mm": 4.0}, "row_mm", "no such key"),
    ("metal", {"modulus_MPa": 193.0}, "modulus_MPa", "implausible"),
    ("metal", {"yield_strength_MPa": 900.0}, "yield_strength_MPa", "larger than ultimate"),
    ("metal", {"elongation": 12.0}, "elongation", "looks like a percentage"),
    ("bone", {"modulus_joint_MPa": "{mesh.size_mm} / 0"}, "modulus_joint_MPa", "divides by zero"),
    ("fill", {"bond_strength_MPa": None}, "bond_strength_MPa", "missing key"),
    ("fill", {"kind": "graft"}, "bond_strength_MPa", "no such key"),
])
def test_a_wrong_row_is_refused_with_its_key(table: str, change: dict[str, Any], key: str | None,
                                             said: str) -> None:
    data = own_study("lag screws")
    row = data["own"][table][0]
    row |= change
    for name in [k for k, v in change.items() if v is None]:
        del row[name]
    if key is None:
        with pytest.raises(InputError) as told:
            study_from(data)
        assert 'expected: one of "HA 2.7"' in str(told.value)
        assert '"HB 6"' in str(told.value)
        return
    with pytest.raises(InputError) as told:
        study_from(data)
    assert said in told.value.message
    assert told.value.key == f"own.{table}.{row.get('name')}.{key}"


@pytest.mark.parametrize(("table", "name"), [
    ("screw_form", "in use"), ("screw_form", "rules"), ("plate_section", "segments"),
    ("metal", "titanium"), ("bone", "foam shell"), ("fill", "structural block")])
def test_a_name_of_the_data_tables_is_refused(table: str, name: str) -> None:
    data = own_study("lag screws")
    data["own"][table][0]["name"] = name
    with pytest.raises(InputError, match="a name of the data tables"):
        study_from(data)


def test_two_rows_of_one_name_are_refused_and_a_misspelt_one_is_answered() -> None:
    data = own_study("lag screws")
    data["own"]["metal"] *= 2
    with pytest.raises(InputError, match="two metals have this name"):
        study_from(data)
    data = own_study("lag screws")
    data["construct"][0]["screw"][0]["form"] = "stuot"
    with pytest.raises(InputError, match='did you mean "stout"'):
        study_from(data)


def test_the_further_forms_and_wires_are_shipped_with_their_status() -> None:
    assert screw_form("HA 2.7").core < screw_form("HA 3.5").core < screw_form("HA 4.0").core
    assert tables.table_value("screws", "HA 5.0", "pilot").status == "practice"
    assert tables.table_value("wires", "3.0", "diameter").status == "memory"
    assert example("medial-shear").own is None
