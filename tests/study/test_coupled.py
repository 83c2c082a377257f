"""Coupled keys of a study file: expressions of other keys and of named points of fractures."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from command import inside
from hypothesis import given
from hypothesis import strategies as st
from simple_shear import simple_shear, simple_text

from buttress.bone.section import Section
from buttress.fe.errors import InputError
from buttress.lesson.grid import exit_of
from buttress.model.resolve import resolved
from buttress.rules.plate import apexes
from buttress.study.points import apex
from buttress.study.read import parse_study, study_from
from buttress.sweeps.design import make_design
from buttress.sweeps.vary import plain, varied

STUDY = simple_shear()
PLATE = "construct.antiglide.plate.antiglide plate"
TOP = f"{PLATE}.top_mm"
APEX = "{fracture.shear plane.apex.y}"


def with_text(key: str, text: str):
    """The shipped study, with a text at a key."""
    return varied(STUDY, {key: text}).study


def plate(study):
    return next(c for c in study.constructs if c.name == "antiglide").plates[0]


def test_a_plate_is_placed_from_the_apex() -> None:
    """By hand: the line of the study crosses the medial surface where the rules find the apex."""
    [(_, _, y)] = apexes(STUDY, Section(STUDY.section), "medial")
    study = with_text(TOP, f"{APEX} + 13")
    assert plate(study).top_mm == pytest.approx(y + 13.0, abs=1e-12)
    assert exit_of(STUDY, STUDY.fractures[0])[1] == pytest.approx(y, abs=0.02)
    (x0, y0), (x1, y1) = STUDY.fractures[0].points_mm
    share = (y - y0) / (y1 - y0)
    surface = -float(Section(STUDY.section).half_width(y))
    assert x0 + share * (x1 - x0) == pytest.approx(surface, abs=0.02)


@pytest.mark.parametrize(("ends", "wanted"), [
    ((-108.0, -116.0), (14.0, -113.4)), ((-116.0, -108.0), (-14.0, -113.4))])
def test_of_two_exits_the_apex_is_the_lower(ends: tuple[float, float],
                                            wanted: tuple[float, float]) -> None:
    """By hand: a line from x = -40 to 40 across the straight shaft leaves it on both sides, 14 mm
    from its middle, at 0.675 and 0.325 of its way."""
    assert float(Section(STUDY.section).half_width(-113.0)) == pytest.approx(14.0, abs=1e-9)
    line = [(-40.0, ends[0]), (40.0, ends[1])]
    assert apex(line, STUDY.section, snap_mm=0.1) == pytest.approx(wanted, abs=1e-9)


def test_the_apex_does_not_depend_on_the_mesh() -> None:
    found = {plate(varied(STUDY, {TOP: f"{APEX} + 13", "mesh.size_mm": size}).study).top_mm
             for size in (0.5, 1.5, 5.0)}
    assert len(found) == 1


@pytest.mark.parametrize(("text", "wanted"), [
    ("{section.width_mm} - 100", -24.0), ("-{section.width_mm}/2 + 3*(4 - 2e0)", -32.0),
    ("{fracture.shear plane.lower.y} + 20", -37.7), ("{fracture.shear plane.upper.x} - 20", -23.0),
    ("{fracture.shear plane.points_mm.2.1}", -24.0),
    ("-{fracture.shear plane.slope_deg}", -math.degrees(math.atan2(21.0, 57.7))),
    ("{limits.step_off_mm} * -10", -20.0),
    (f"{{{PLATE}.hole_clearance_mm}} * -40", -20.0),    # a default, of the same table
    ("{ load.total_N.3 } / -100", -15.0), (f"0*{APEX} - 30", -30.0)])
def test_names_are_keys_and_points(text: str, wanted: float) -> None:
    assert plate(with_text(TOP, text)).top_mm == pytest.approx(wanted)


def test_the_file_is_read_with_numbers_and_keeps_its_text(tmp_path: Path) -> None:
    text = simple_text()
    assert "top_mm = -25" in text
    text = text.replace("top_mm = -25", 'top_mm = "{fracture.shear plane.apex.y} + 23"', 1)
    study = parse_study(text, "s.toml")
    again = parse_study(text, "s.toml")
    assert isinstance(plate(study).top_mm, float)
    assert study == again
    assert list(study.coupled.values()) == ["{fracture.shear plane.apex.y} + 23"]
    assert study_from(plain(study)).model_dump() == study.model_dump()
    assert study_from(resolved(study)).constructs == study_from(resolved(again)).constructs
    assert "apex" not in str(resolved(study)["construct"][2]["plate"])
    assert resolved(study)["construct"][2]["plate"][0]["top_mm"] == plate(study).top_mm


def test_what_is_coupled_to_what_is_coupled() -> None:
    other = f"{PLATE}.length_mm"
    study = varied(STUDY, {TOP: f"{{{other}}} * -0.5", other: "{section.height_mm} / 2"}).study
    assert plate(study).length_mm == STUDY.section.height_mm / 2
    assert plate(study).top_mm == -STUDY.section.height_mm / 4


def test_whole_numbers_stay_whole() -> None:
    key = "construct.lag screws.screw.upper lag.count"
    assert with_text(key, "{section.width_mm} / 38").constructs[1].screws[0].count == 2
    with pytest.raises(InputError, match="whole number"):
        with_text(key, "{section.width_mm} / 50")


@given(a=st.floats(-50, -1), b=st.floats(0.1, 4), c=st.floats(1, 60))
def test_values_are_those_of_python(a: float, b: float, c: float) -> None:
    """The same expression of the same numbers, whatever they are."""
    wanted = a - (c * b) / (2 + b)
    data = plain(STUDY)
    data["section"]["modulus_scale"] = b
    data["load"]["patch_width_mm"] = 20.0
    data["fracture"][0]["points_mm"][1][1] = -c - 40.0
    row = next(x for x in data["construct"] if x["name"] == "antiglide")["plate"][0]
    row["top_mm"] = (f"{a!r} - ((-40 - {{fracture.shear plane.points_mm.2.2}}) * "
                     "{section.modulus_scale}) / (2 + {section.modulus_scale})")
    assert plate(study_from(data)).top_mm == pytest.approx(wanted, rel=1e-12, abs=1e-12)


WRONG = [
    (f"{{{TOP}}} + 1", "refers to itself", "do not depend on it"),
    ("{fracture.shear plan.apex.y} + 1", "refers to nothing", "fracture.NAME."),
    ("{fracture.shear plane.apex} + 1", "refers to nothing", "apex.y"),
    ("{} + 1", "refers to nothing", "dotted path"),
    ("{scale.bearing_stiffness}", "refers to nothing", "dotted path"),
    ("{section.bone} + 1", "without a number: section.bone is", "a key with a number"),
    ("{load.direction_deg} + {load.slice_centre_mm}", "without a number", "a key with a number"),
    ("1 / {load.direction_deg}", "divides by zero", "not zero"),
    (f"{APEX} / (3 - 3)", "divides by zero", "not zero"),
    (f"{APEX} * 1e308 * 1e308", "without a finite value", "a finite number"),
    (f"{APEX} * 1e999", "without a finite value", "a finite number"),
    (f"{APEX} ** 2", "not an expression", "+ - * /"),
    (f"{APEX} +", "not an expression", "+ - * /"),
    (f"abs({APEX})", "not an expression", "+ - * /"),
    (f"{APEX} // 2", "not an expression", "+ - * /"),
    (f"2 {APEX}", "not an expression", "+ - * /"),
    ("{section.width_mm", "not an expression", "+ - * /"),
    (f"e + {APEX}", "not an expression", "+ - * /"),
    (f"{'(' * 200}{APEX}{')' * 200}", "not an expression", "+ - * /"),
    (f"__import__('os').getpid() + {APEX}", "not an expression", "+ - * /"),
    (f"{APEX} + 100", "implausible number", "-290 to 0 mm")]


@pytest.mark.parametrize(("text", "told", "expected"), WRONG, ids=range(len(WRONG)))
def test_wrong_expressions_are_told_with_key_value_and_what_was_expected(
        text: str, told: str, expected: str) -> None:
    data = plain(STUDY)
    next(x for x in data["construct"] if x["name"] == "antiglide")["plate"][0]["top_mm"] = text
    with pytest.raises(InputError) as caught:
        study_from(data, "s.toml")
    error = caught.value
    assert told in error.message
    assert expected in error.expected
    assert (error.file, error.key) == ("s.toml", TOP)
    assert text[:40] in error.value


def test_circles_are_told_along_their_way() -> None:
    with pytest.raises(InputError) as caught:
        varied(STUDY, {TOP: f"-{{{PLATE}.length_mm}}", f"{PLATE}.length_mm": f"-{{{TOP}}}"})
    assert caught.value.message == f"coupled keys in a circle: {TOP}, {PLATE}.length_mm, {TOP}"
    # Through a point: the apex depends on the width of the bone.
    with pytest.raises(InputError, match="refers to itself"):
        with_text("section.width_mm", f"76 + 0*{APEX}")
    with pytest.raises(InputError, match="refers to itself"):
        with_text("fracture.shear plane.points_mm.2.2", f"{APEX} - 9")


def test_a_fracture_that_leaves_the_bone_nowhere_has_no_apex() -> None:
    data = plain(STUDY)
    data["fracture"][0]["points_mm"] = [[-3, -1], [-10, -30]]
    next(x for x in data["construct"] if x["name"] == "antiglide")["plate"][0]["top_mm"] = APEX
    with pytest.raises(InputError, match="has no apex"):
        study_from(data)


def test_texts_with_braces_elsewhere_are_texts() -> None:
    data = plain(STUDY) | {"scenario": "a {curly} scenario"}
    study = study_from(data)
    assert (study.scenario, study.coupled) == ("a {curly} scenario", {})
    with pytest.raises(InputError, match="unknown bone"):
        with_text("section.bone", "{section.width_mm}")


@pytest.mark.parametrize("name", ["compare", "check"])
def test_the_command_says_one_line_and_ends_with_2(tmp_path: Path, name: str) -> None:
    text = simple_text().replace("top_mm = -25", 'top_mm = "1 / {load.shift_mm}"', 1)
    (tmp_path / "s.toml").write_text(text)
    line = 1 + text[:text.index('"1 / {')].count("\n")
    done = inside(name, "s.toml", cwd=tmp_path)
    assert done.returncode == 2
    assert done.stderr.strip() == (
        f'buttress: s.toml: a coupled key that divides by zero; key: {TOP} (line {line}); '
        'value: "1 / {load.shift_mm}"; expected: a divisor that is not zero')
    assert [p.name for p in tmp_path.iterdir()] == ["s.toml"]


def test_the_readme_s_coupled_key_is_read() -> None:
    """Its place, and the command of the sweep beside it."""
    readme = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    block = readme.split("<!-- coupled key -->\n```toml\n")[1].split("```")[0]
    line = next(x for x in block.splitlines() if x.startswith("top_mm"))
    text = line.split('"')[1]
    assert plate(with_text(TOP, text)).top_mm == pytest.approx(plate(STUDY).top_mm, abs=1.0)
    command = next(x for x in readme.splitlines() if "apex.y} + 23\"" in x and "sweep" in x)
    vary = [x.rstrip('" ') for x in command.split('--vary "')[1:]]
    assert len(make_design(STUDY, vary).rows) == 5
