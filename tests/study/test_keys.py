"""The list of keys says what the models check, and leaves none out."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from command import inside

from buttress import LABEL
from buttress.bone.section import Section
from buttress.fe.errors import InputError
from buttress.implants.placement import plate_line, screw_axis
from buttress.report import catalogue as columns
from buttress.study.keys import FURTHER, NEEDED, lines, markdown, meanings, tables
from buttress.study.read import example, example_names
from buttress.sweeps.vary import SCALES, TURNS, plain, varied

ROOT = Path(__file__).parents[2]
LISTED = {(t.heading.strip("[]").replace("the file itself", ""), k.name): k
          for t in tables() for k in t.keys}


def used(data: Any, path: str = "") -> set[tuple[str, str]]:
    """Tables and keys of nested dicts and lists of dicts."""
    found = set()
    for key, value in data.items():
        below = f"{path}.{key}".strip(".")
        entries = value if isinstance(value, list) else [value]
        if not entries:
            continue
        if all(isinstance(e, dict) for e in entries):
            for entry in entries:
                found |= used(entry, below)
        else:
            found.add((path, key))
    return found


@pytest.mark.parametrize("name", example_names())
def test_every_key_of_the_shipped_studies_is_listed(name: str) -> None:
    assert used(plain(example(name))) <= set(LISTED)


@pytest.mark.parametrize(("table", "key", "value", "says"), [
    ("section", "width_mm", 200.0, "40 to 120 mm"),
    ("construct.screw", "angle_deg", 80.0, "-75 to 75 deg"),
    ("construct.screw", "count", 40, "whole number, 1 to 12"),
    ("section", "bone", "hard", '"dense" | "soft" | "foam"'),
    ("construct.screw", "form", "HA 9", '"HA 2.7" | "HA 3.5" | "HA 4.0" | "HA 4.5" | "HA 5.0" | "HB 4.0" | "HB 6.5"'),
])
def test_what_it_says_is_what_is_refused(table: str, key: str, value: object, says: str) -> None:
    assert LISTED[table, key].allowed == says
    from buttress.study.read import study_from

    data = plain(example("medial-shear"))
    place = data
    for part in table.split("."):
        place = place[part][1] if part == "construct" else place[part][0] if isinstance(
            place[part], list) else place[part]
    place[key] = value
    with pytest.raises(InputError):
        study_from(data)


def test_what_is_needed_and_what_holds_by_default() -> None:
    assert LISTED["", "name"].default == NEEDED
    assert LISTED["section", "width_mm"].default == "76"
    assert LISTED["construct.screw", "locked"].default == "false"
    assert LISTED["construct.screw", "use"].default == '"positional"'


def test_what_may_be_varied_beside_them_is_told() -> None:
    for name in (*(f"scale.{s}" for s in SCALES), *TURNS, "present"):
        assert name in FURTHER


def test_it_is_on_the_terminal_and_in_the_gallery(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "100")
    shown = inside("examples", "--keys")
    assert shown.returncode == 0
    assert shown.stdout.splitlines() == [*lines()[:-1], "", *columns.lines(), LABEL]
    assert lines()[-1] == LABEL
    found = json.loads(inside("examples", "--keys", "--json").stdout)
    assert len(found["tables"]) == len(tables())
    assert [c["name"] for c in found["columns"]] == [c.name for c in columns.listed()]
    page = (ROOT / "results" / "gallery" / "keys.md").read_text(encoding="utf-8")
    assert page == f"{markdown()}\n{columns.markdown()}"


def test_every_key_says_what_it_means_and_no_meaning_is_left_over() -> None:
    listed = {(t.heading.strip("[]"), k.name): k for t in tables() for k in t.keys}
    told = {(table, key) for table, keys in meanings().items() if table != "sketch"
            for key in keys}
    assert told == set(listed)
    assert {f"{table}.{key}" for table, key in listed} >= set(meanings()["sketch"])
    assert all(k.meaning for k in listed.values())


def test_a_key_that_may_be_negative_says_which_sign_is_which() -> None:
    seen = set()
    for table in tables():
        for key in table.keys:
            if re.match(r"(list of: )?\[?-\d", key.allowed):
                seen.add(key.name)
                words = ("positive", "negative", "either sign", "inside", "corners", "block")
                assert any(w in key.meaning for w in words), (table.heading, key.name)
            if key.name.endswith("_deg"):
                assert "+" in key.sketch, (table.heading, key.name)
    assert {"mismatch_mm", "angle_deg", "points_mm", "inside_mm"} <= seen


@pytest.mark.parametrize("side", ["medial", "lateral"])
def test_the_signs_are_those_of_the_model(side: str) -> None:
    study = example("medial-shear")
    section = Section(study.section)
    screw = study.constructs[1].screws[0].model_copy(
        update={"side": side, "angle_deg": 20.0, "height_mm": -40.0})
    assert screw_axis(section, screw, ()).direction[1] > 0    # the tip rises
    plate = study.constructs[2].plates[0].model_copy(update={"mismatch_mm": 1.0})
    gap = plate_line(section, plate).gap
    assert gap[len(gap) // 2] > gap[0] == gap[-1] == 0    # the middle stands off
    sagittal = varied(example("posterior-shear"), {"section.shaft_offset_mm": 8.0}).study
    walls = Section(sagittal.section).shape.walls()
    line = Section(sagittal.section).shape.joint_line()
    assert walls[0][-1, 0] + walls[1][-1, 0] == pytest.approx(-16.0)    # anterior
    assert sagittal.section.slope > 0
    assert line[-1, 1] < line[0, 1]    # falls posteriorly
    assert varied(study, {"load.shift_mm": 5.0}).study.load.shifted_share < study.load.shifted_share


def test_the_list_fits_a_narrow_terminal() -> None:
    assert max(len(x) for x in lines(72)[:-1] if " = " not in x and not x.startswith(" " * 12)
               ) <= 72
