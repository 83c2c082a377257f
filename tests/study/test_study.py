"""Reading studies: what is right comes through whole, what is wrong is named."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest
from pydantic import ValidationError
from wrong_input import changed, refused, refused_at

from buttress.fe.errors import InputError
from buttress.model.resolve import resolved
from buttress.study.read import (
    Study,
    example,
    example_names,
    example_text,
    load_study,
    parse_study,
    study_from,
)

TEXT = example_text("medial-shear")
SMALL = 'name = "small"\n[[construct]]\nname = "none"\n'


# --- what is right ------------------------------------------------------------------------------

def test_the_shipped_study() -> None:
    study = example("medial-shear")
    assert example_names() == ("bicondylar", "bicondylar-detached", "fading-tension",
                               "lateral-depression", "lateral-split", "medial-shear",
                               "posterior-shear", "staged-tightening")
    assert [c.name for c in study.constructs] == [
        "nothing", "lag screws", "antiglide", "antiglide + screw", "antiglide + lag screws",
        "straight plate"]
    assert study.load.total_N == (500, 1000, 1500)
    assert "invented" in study.scenario


def test_defaults_fill_a_study_of_one_construct() -> None:
    study = parse_study(SMALL)
    bone = study.section
    assert (bone.width_mm, bone.depth_mm, bone.height_mm) == (76, 48, 120)
    assert (study.mesh.size_mm, study.mesh.coarse_mm) == (1.5, 3.0)
    assert (study.load.medial_centre_mm, study.load.lateral_centre_mm) == (-22, 22)
    assert study.limits.step_off_mm == 2


def test_coarse_size_follows_the_fine_one() -> None:
    assert parse_study(SMALL + "[mesh]\nsize_mm = 1\n").mesh.coarse_mm == 2.0


def test_a_study_cannot_be_changed() -> None:
    study = example("medial-shear")
    with pytest.raises(ValidationError):
        study.name = "other"  # type: ignore[misc]
    with pytest.raises(ValidationError):
        study.constructs[1].screws[0].length_mm = 3  # type: ignore[misc]
    assert isinstance(study.load.total_N, tuple)
    assert isinstance(study.fractures[0].points_mm[0], tuple)
    assert hash(study) == hash(example("medial-shear"))


def test_resolved_is_complete_and_reads_back_as_the_same_study() -> None:
    study = example("medial-shear")
    data = resolved(study)
    assert data["section"]["reference_band_mm"] == [-112, -100]
    plate = data["construct"][2]["plate"][0]
    assert plate["holes_mm"] == [5, 17, 29, 41, 53, 65]
    lag = data["construct"][1]["screw"][0]
    assert (lag["thread_mm"], lag["pilot_mm"], lag["tension_N"]) == (32, 3.2, 400)
    shaft = data["construct"][2]["screw"][0]
    assert 40 < shaft["length_mm"] < 50
    assert shaft["thread_mm"] == shaft["length_mm"]
    again = study_from(data)
    assert isinstance(again, Study)
    assert resolved(again) == data


@pytest.mark.parametrize("points", ["[[-3, 0], [-60, -110]]", "[[-3, 0], [-10, -109]]"])
def test_no_room_for_a_reference_band_is_told(points: str) -> None:
    study = parse_study(changed(TEXT, ("[[2.5, 15], [-24, -57.7]]", points)))
    with pytest.raises(InputError, match="reference band"):
        resolved(study)


def test_a_band_beside_a_fracture_is_refused() -> None:
    study = parse_study(changed(TEXT, ('bone = "dense"', "reference_band_mm = [-60, -50]")))
    with pytest.raises(InputError, match="at the level of a fracture"):
        resolved(study)


def test_holes_by_pitch_are_centred() -> None:
    text = changed(TEXT, ("length_mm = 70          #", "length_mm = 64          #"))
    holes = parse_study(text).constructs[2].plates[0].holes
    assert holes == (8, 20, 32, 44, 56)


# --- the file -----------------------------------------------------------------------------------

@pytest.mark.parametrize(("content", "told"), [
    (b"", "empty"), (b" \n\t\n", "empty"), (b"# only words\n", "has no content"),
    (bytes(range(256)) * 9, "UTF-8"), (b"name = 'a'\0", "null bytes"), (b"\xff\xfen\0a\0", "UTF-8"),
    (b"name: small\n", "not TOML.*line 1"), (b'{"name": 1}', "not TOML"),
    (b"a = " + b"[" * 20000, "too deep"), (b"a = " + b"9" * 5000, "too long"),
    (b"#" * 1_000_001, "too large"), (b"name = 'a'\nname = 'b'\n", "each key once"),
])
def test_files_that_are_no_study(tmp_path: Path, content: bytes, told: str) -> None:
    path = tmp_path / "bad.toml"
    path.write_bytes(content)
    with pytest.raises(InputError, match=told) as caught:
        load_study(path)
    assert caught.value.file == str(path)


def test_directory_missing_file_and_devices(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="directory"):
        load_study(tmp_path)
    with pytest.raises(InputError, match=r"no such file; expected.*medial-shear"):
        load_study(tmp_path / "nothing-like-it.toml")
    for given, told in (("medial-shear", "use --example medial-shear"),
                        ("medial-sheer", 'did you mean "--example medial-shear"'),
                        ("medial-shear.toml", 'did you mean "--example medial-shear"')):
        with pytest.raises(InputError, match=told):
            load_study(tmp_path / given)
    (tmp_path / "shear.toml").write_text(SMALL)
    with pytest.raises(InputError, match=r'did you mean "shear\.toml"'):
        load_study(tmp_path / "sheer.toml")
    with pytest.raises(InputError, match="not a regular file"):
        load_study(os.devnull)
    with pytest.raises(InputError, match="cannot be read"):
        load_study("x" * 5000)
    with pytest.raises(InputError):
        load_study("a\0b")


def test_byte_order_mark_and_windows_lines_are_read(tmp_path: Path) -> None:
    path = tmp_path / "s.toml"
    path.write_bytes(b"\xef\xbb\xbf" + SMALL.replace("\n", "\r\n").encode())
    assert load_study(path).name == "small"


def test_unknown_example_names_the_close_one() -> None:
    with pytest.raises(InputError, match='did you mean "medial-shear"'):
        example("medial-sheer")


# --- keys ---------------------------------------------------------------------------------------

@pytest.mark.parametrize(("old", "new", "key", "meant"), [
    ("title =", "titel =", "titel", "title"),
    ('side = "right"', "width = 70", "section.width", "width_mm"),
    ("friction = 0.5", "frictoin = 0.5", "fracture.shear plane.frictoin", "friction"),
    ("inside_mm", "inside", "fragment.medial.inside", "inside_mm"),
    ("medial_share", "medial_shar", "load.medial_shar", "medial_share"),
    ("step_off_mm", "stepoff_mm", "limits.stepoff_mm", "step_off_mm"),
    ('note = "No', 'notes = "No', "construct.nothing.notes", "note"),
    ("top_mm =", "topmm =", "construct.antiglide.plate.antiglide plate.topmm", "top_mm"),
    ("tension_N = 400", "tension = 400", "construct.lag screws.screw.upper lag.tension",
     "tension_N"),
    ("[[construct.plate]]", "[[construct.plates]]", "construct.antiglide.plates", "plate"),
])
def test_unknown_keys_at_every_level(old: str, new: str, key: str, meant: str) -> None:
    error = refused_at(key, f'did you mean "{meant}"?', changed(TEXT, (old, new)))
    assert f'did you mean "{meant}"?' in error.message
    assert meant in error.expected


@pytest.mark.parametrize(("old", "new", "key", "told"), [
    ("step_off_mm = 2", 'step_off_mm = "2"', "limits.step_off_mm", "no quotes"),
    ("step_off_mm = 2", "step_off_mm = true", "limits.step_off_mm", "a number"),
    ("step_off_mm = 2", "step_off_mm = [2]", "limits.step_off_mm", "a number"),
    ("step_off_mm = 2", "step_off_mm = 2020-01-01", "limits.step_off_mm", "a number"),
    ('bone = "dense"', 'bone = "dens"', "section.bone", 'did you mean "dense"'),
    ('bone = "dense"', "bone = 3", "section.bone", "text in quotes"),
    ('bone = "dense"', "foam_grade = 12", "section.foam_grade", "15"),
    ("washer = true", "washer = 1", "construct.lag screws.screw.upper lag.washer",
     "true or false"),
    ("hole = 3", "hole = 3.0", "construct.antiglide.screw.shaft 1.hole", "whole number"),
    ("friction = 0.5", "friction = nan", "fracture.shear plane.friction", "finite"),
    ("friction = 0.5", "friction = -inf", "fracture.shear plane.friction", "finite"),
    ("friction = 0.5", "friction = -0.5", "fracture.shear plane.friction", "sign"),
    ("friction = 0.5", "friction = " + "9" * 400, "fracture.shear plane.friction", "a number"),
    ('bone = "dense"', "width_mm = 0.076", "section.width_mm", "looks like metres"),
    ('bone = "dense"', "width_mm = 7.6", "section.width_mm", "looks like centimetres"),
    ('bone = "dense"', "width_mm = 76000", "section.width_mm", "looks like micrometres"),
    ("inside_mm = [-25, -12]", "inside_mm = [-250, -12]", "fragment.medial.inside_mm.1",
     "implausible number;"),
    ('bone = "dense"', "width_mm = -76", "section.width_mm", "sign"),
    ('bone = "dense"', "width_mm = 0", "section.width_mm", "40 to 120 mm"),
    ('bone = "dense"', "width_mm = 40\nshaft_width_mm = 50", "section.shaft_width_mm",
     "at most width_mm"),
    ('bone = "dense"', "cortex_scale = 4", "section.shaft_cortex_mm",
     "less than 14 mm / cortex_scale = 4, so 3.5 mm"),
    ('bone = "dense"', "reference_band_mm = [-60, -80]", "section.reference_band_mm",
     "low < high"),
    ("[500, 1000, 1500]", "[]", "load.total_N", "at least one"),
    ("[500, 1000, 1500]", "500", "load.total_N", "a list"),
    ("[500, 1000, 1500]", "[-500]", "load.total_N.1", "sign"),
    ("[500, 1000, 1500]", "[500, 500]", "load.total_N", "increasing"),
    ("[500, 1000, 1500]", "[1000, 500]", "load.total_N", "not in increasing order"),
    ("[500, 1000, 1500]", "[0.5]", "load.total_N.1", "kilonewtons"),
    ("medial_share = 0.65", "medial_share = 65", "load.medial_share", "percentage"),
    ("inside_mm = [-25, -12]", "", "fragment.medial.inside_mm", "[x, y]"),
    ("inside_mm = [-25, -12]", "inside_mm = [-25]", "fragment.medial.inside_mm", "[x, y]"),
    ("inside_mm = [-25, -12]", "inside_mm = [1, 2, 3]", "fragment.medial.inside_mm", "at most 2"),
    ("inside_mm = [-25, -12]", 'inside_mm = "here"', "fragment.medial.inside_mm", "a list"),
    ("inside_mm = [-25, -12]", "inside_mm = [-25, -12]\ndepth_mm = 60",
     "fragment.medial.depth_mm", "48"),
    ("[[2.5, 15], [-24, -57.7]]", "[[-3, 0]]", "fracture.shear plane.points_mm", "two points"),
    ("[[2.5, 15], [-24, -57.7]]", "[[-3, 0], [-3, 0]]", "fracture.shear plane.points_mm", "differ"),
    ('name = "lag screws"', 'name = "NOTHING"', "construct.NOTHING.name", "two constructs"),
    ('name = "lower lag"', 'name = "upper lag"',
     "construct.lag screws.screw.upper lag.name", "two screws"),
    ('name = "shaft 1"', 'name = "antiglide plate"',
     "construct.antiglide.screw.antiglide plate.name", "name of a plate"),
    ('name = "shaft 1"', 'name = "shear plane"',
     "construct.antiglide.screw.shear plane.name", "name of a fracture"),
    ("hole = 3", "hole = 7", "construct.antiglide.screw.shaft 1.hole", "1 to 6"),
    ("hole = 3", "hole = 0", "construct.antiglide.screw.shaft 1.hole", "1 to 100"),
    ("hole = 3\n", "", "construct.antiglide.screw.shaft 1.hole", "from 1"),
    ('plate = "antiglide plate"', 'plate = "antiglid plate"',
     "construct.antiglide.screw.shaft 1.plate", 'did you mean "antiglide plate"'),
    ("hole = 3", "hole = 3\nheight_mm = -50", "construct.antiglide.screw.shaft 1.height_mm",
     "not both"),
    ("height_mm = -10\n", "", "construct.lag screws.screw.upper lag.height_mm", "head on bone"),
    ("height_mm = -10", "height_mm = -10\nlocked = true",
     "construct.lag screws.screw.upper lag.locked", "without a plate"),
    ("thread_mm = 32", "thread_mm = 80", "construct.lag screws.screw.upper lag.thread_mm",
     "length_mm = 70"),
    ('form = "HB 6.5"', 'form = "HB6.5"', "construct.lag screws.screw.upper lag.form",
     'did you mean "HB 6.5"'),
    ('"one-third tubular"', '"one third tubular"',
     "construct.antiglide.plate.antiglide plate.section", 'did you mean "one-third tubular"'),
    ('"one-third tubular"\n', '"one-third tubular"\nsegments = [{length_mm = 20, width_mm = 9, '
     'thickness_mm = 1}]\n', "construct.antiglide.plate.antiglide plate.section", "either"),
    ("length_mm = 70          #", "#",
     "construct.antiglide.plate.antiglide plate.length_mm", "length"),
    ("length_mm = 70          #", "length_mm = 70\nholes_mm = [10, 75]  #",
     "construct.antiglide.plate.antiglide plate.holes_mm", "between 0 and 70"),
    ("length_mm = 70          #", "length_mm = 70\nholes_mm = [20, 10]  #",
     "construct.antiglide.plate.antiglide plate.holes_mm", "increasing"),
    ("length_mm = 70\nthread", 'length_mm = "bicorticl"\nthread',
     "construct.lag screws.screw.upper lag.length_mm", 'did you mean "bicortical"'),
    ('name = "medial-shear"', 'name = "../../up"', "name", "letters, digits"),
    ('name = "lag screws"', f'name = "{"x" * 300}"', "construct.2.name", "300 characters"),
    ('name = "lag screws"', r'name = "a\u0007b"', "construct.2.name", "control characters"),
    ('name = "lag screws"', r'name = "a\nb"', "construct.2.name", "control characters"),
    ('name = "lag screws"', r'name = "a\u202eb"', "construct.2.name", "control characters"),
    ('name = "lag screws"', 'name = "  "', "construct.  .name", "empty name"),
    ('name = "lag screws"', 'name = "3.5 lag"', "construct.3.5 lag.name", "dotted path"),
    ('name = "lag screws"', 'name = "lag "', "construct.lag .name", "spaces"),
])
def test_values_that_are_wrong(old: str, new: str, key: str, told: str) -> None:
    refused_at(key, told, changed(TEXT, (old, new)))


@pytest.mark.parametrize(("text", "key", "told"), [
    ('name = "x"', "construct", "at least one [[construct]]"),
    ('name = "x"\nconstruct = []', "construct", "at least one [[construct]]"),
    ('name = "x"\nconstruct = [1]', "construct.1", "a table of keys"),
    ('name = "x"\n[construct]\nname = "a"', "construct", "[[construct]]"),
    (SMALL + "[[section]]\nwidth_mm = 70", "section", "[section]"),
    (SMALL.replace('name = "none"', 'note = "a"'), "construct.1.name", "a name"),
    (SMALL + '[[fragment]]\nname = "f"\ninside_mm = [0, -5]', "fragment", "a [[fracture]]"),
])
def test_structures_that_are_wrong(text: str, key: str, told: str) -> None:
    refused_at(key, told, text)


def test_several_mistakes_are_told_one_a_line() -> None:
    error = refused(changed(TEXT, ("step_off_mm = 2", 'step_off_mm = "2"'), ("hole = 3", 'hole = "a"'),
                            ("friction = 0.5", "frction = 0.5")))
    lines = str(error).splitlines()
    assert lines[0] == "s.toml: 3 mistakes"
    assert len(lines) == 4
    for line, key in zip(lines[1:], ("frction", "step_off_mm", "hole"), strict=True):
        assert key in line


def test_many_mistakes_are_counted() -> None:
    error = refused(SMALL.replace("[[", "\n".join(f"k{i} = 1" for i in range(12)) + "\n[[", 1))
    assert len(str(error).splitlines()) == 7
    assert str(error).endswith("and 7 more")


def test_every_dimensional_key_ends_in_its_unit() -> None:
    keys = set(re.findall(r"^(\w+) = -?[\d\[]", TEXT, flags=re.M))
    plain = {"friction", "medial_share", "hole"}
    assert keys - plain
    assert all(re.search(r"_(mm|N|deg|kg)$", k) for k in keys - plain)
