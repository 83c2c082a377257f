"""Messages that say what is wrong where it is wrong: file, line, key, value, likely mistake."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from test_wrong_input import told

from buttress.fe.errors import InputError
from buttress.study.checked import quoted, require_known
from buttress.study.lines import key_lines, line_of
from buttress.study.read import example_names, example_text, parse_study

TEXT = example_text("medial-shear")
POINTS = "points_mm = [[2.5, 15], [-24, -57.7]]"
LENGTH = "length_mm = 70"
LINE = 1 + TEXT[:TEXT.index(LENGTH)].count("\n")


def asked(old: str, new: str, folder: Path, monkeypatch: pytest.MonkeyPatch,
          capsys: pytest.CaptureFixture[str], *more: str) -> tuple[str, str]:
    assert old in TEXT
    (folder / "s.toml").write_text(TEXT.replace(old, new, 1))
    monkeypatch.chdir(folder)
    code, out, err = told(["check", "s.toml", *more], monkeypatch, capsys)
    assert code == 2
    return out, err


@pytest.mark.parametrize(("old", "new", "said", "unsaid"), [
    (POINTS, "points_mm = [[-0.003, 0], [-0.024, -0.0577]]", "looks like metres", "outside"),
    ("friction = 0.5", "friction = 5", "out of range; key", "percentage"),
    ("friction = 0.5", "friction = 50", "looks like a percentage", ""),
    (LENGTH, f"{LENGTH}\ncount = 4\nposition_in_depth_mm = 20",
     "of a row of 4, the screw at 35 mm passes in front of or behind the bone; key: construct.lag "
     f"screws.screw.upper lag.position_in_depth_mm (line {LINE + 2}); value: 20; expected: between "
     "-9.0 and 9.0 mm, or a smaller count", ""),
    (LENGTH, f"{LENGTH}\ncount = 9", "a row of 9 is wider than the bone: some screws pass in front "
     "of or behind the bone; key: construct.lag screws.screw.upper lag.count", "position_in_depth"),
    (LENGTH, f"length_mm = {'9' * 400}", "too many digits", "quotes"),
    (LENGTH, f"length_mm = {'9' * 40}", "value: 999999... (40 digits)", "99999999"),
    ("friction = 0.5", "friction = 9.5", "key: fracture.shear plane.friction (line ", ""),
    ("medial_share = 0.65", "medial_centre_mm = -36", "key: load.medial_centre_mm (line ", ""),
])
def test_the_likely_mistake_is_named_and_no_other(
        old: str, new: str, said: str, unsaid: str, tmp_path: Path,
        monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    _, err = asked(old, new, tmp_path, monkeypatch, capsys)
    assert said in err
    assert not unsaid or unsaid not in err
    line = int(err.partition("(line ")[2].partition(")")[0])
    key = err.partition("key: ")[2].partition(" (line")[0].rpartition(".")[2]
    assert (tmp_path / "s.toml").read_text().splitlines()[line - 1].startswith(key)


@pytest.mark.parametrize(("name", "said"), [
    ("zzz.toml", "no such file; expected"), ("lateral-spilt.toml", '"--example lateral-split"'),
    ("mine.toml", '"mime.toml"'), ("sub/mine.toml", "no such file; expected")])
def test_a_file_is_only_suggested_where_its_name_is_close(
        name: str, said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
        capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "m.toml").write_text(TEXT)
    (tmp_path / "mime.toml").write_text(TEXT)
    monkeypatch.chdir(tmp_path)
    code, _, err = told(["check", name], monkeypatch, capsys)
    assert code == 2
    assert said in err


@pytest.mark.parametrize("words", [
    ["compare", "zzz.toml"], ["compare"], ["examples", "zzz"], ["batch", "zzz.toml", "--store", "b"],
    ["diff", "zzz", "zzz"], ["improve", "zzz.toml", "x", "--free", "a=1:2"]])
def test_shipped_studies_are_listed_alike_and_as_the_command_takes_them(
        words: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
        capsys: pytest.CaptureFixture[str]) -> None:
    monkeypatch.chdir(tmp_path)
    code, _, err = told(words, monkeypatch, capsys)
    assert code == 2
    assert quoted(example_names()) in err
    assert ("--example" in err) == (words[0] == "compare")


@pytest.mark.parametrize("words", [
    ["rank", "--samples", "6"], ["rank", "--samples", "8", "--reference", "x"],
    ["sweep", "--vary", "section.bone=a", "--design", "x"], ["sweep", "--vary", "a=1,2"],
    ["sweep", "--vary", "section.modulus_scale=0.8,-1"],
    ["sweep", "--vary", "section.modulus_scale=0.8:1"],
    ["sweep", "--vary", "section.modulus_scale={section.modulus_scale}"],
    ["rank", "--samples", "8", "--by", "luck", "--dry-run"]])
def test_a_wrong_option_is_not_blamed_on_the_study(
        words: list[str], monkeypatch: pytest.MonkeyPatch,
        capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = told([*words, "--example", "medial-shear"], monkeypatch, capsys)
    assert code == 2
    assert "medial-shear.toml" not in err
    assert "--" in err


def test_json_has_an_error_in_parts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                    capsys: pytest.CaptureFixture[str]) -> None:
    out, err = asked("friction = 0.5", "friction = 9", tmp_path, monkeypatch, capsys, "--json")
    found = json.loads(out)
    assert found["exit_code"] == 2
    assert found["error"] == {
        "message": "out of range", "file": "s.toml", "key": "fracture.shear plane.friction",
        "line": 1 + TEXT[:TEXT.index("friction = 0.5")].count("\n"), "value": "9",
        "expected": "0 to 1.5"}
    assert err.startswith("buttress: s.toml: out of range")


def test_lines_of_a_text_that_is_hard_to_read() -> None:
    text = ('name = """\nx = 3\n[load]\n"""\n[load]  # [section]\ntotal_N = [\n  1,\n]\n'
            '[[construct]]\nname = "a b"\n[[construct.screw]]\nlength_mm = 3\n'
            '[[construct.screw]]\nname = "s"\n[[construct]]\nnote = "[x]"\n')
    assert key_lines(text) == {
        "name": 1, "load": 5, "load.total_N": 6, "construct.a b": 9, "construct.a b.name": 10,
        "construct.a b.screw.1": 11, "construct.a b.screw.1.length_mm": 12,
        "construct.a b.screw.s": 13, "construct.a b.screw.s.name": 14, "construct.2": 15,
        "construct.2.note": 16}
    assert line_of("construct.a b.screw.1.use", text) == 11
    assert line_of("load.total_N.3", text) == 6
    assert line_of("mesh", text) is None


@pytest.mark.parametrize("name", example_names())
def test_each_key_of_a_shipped_study_has_its_line(name: str) -> None:
    text = example_text(name)
    lines = text.splitlines()
    found = key_lines(text)
    assert len(found) > 40
    for key, number in found.items():
        last = key.rpartition(".")[2]
        assert lines[number - 1].startswith((f"{last} =", "[")), key


@pytest.mark.parametrize("name", ['""', '"\\u0000"', f'"{"n" * 70}"'])
def test_an_entry_whose_name_is_wrong_is_found_by_its_line(name: str) -> None:
    text = example_text("medial-shear").replace('name = "shear plane"', f"name = {name}", 1)
    with pytest.raises(InputError) as caught:
        parse_study(text, "s.toml")
    line = text.splitlines().index(f"name = {name}") + 1
    assert caught.value.key == "fracture.1.name"
    assert caught.value.line == line


def test_a_missing_key_of_ones_own_plate_is_told_from_its_own_table() -> None:
    """`kind` was told as that of a map: "modulus" or "density"."""
    text = example_text("medial-shear") + """
[[own.plate_section]]
name = "mine"
source = "a drawing"
width_mm = 12
thickness_mm = 3
"""
    with pytest.raises(InputError) as caught:
        parse_study(text, "s.toml")
    said = str(caught.value)
    assert '"flat" | "arc" | "head and shaft"' in said
    assert "density" not in said
    assert "3 to 60 mm (from hole to hole)" in said


def test_one_load_without_brackets_is_told_how_to_write_it() -> None:
    text = example_text("medial-shear").replace("total_N = [", "total_N = 500 # [", 1)
    with pytest.raises(InputError, match=r"a list in \[ \], such as \[500\]"):
        parse_study(text, "s.toml")


def test_a_study_that_is_wrong_is_named_where_points_are_asked_for_too(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> None:
    """The points are looked up in its section, before anything else refuses its map."""
    (tmp_path / "map.csv").write_text("300,300\n300,300\n")
    (tmp_path / "s.toml").write_text(TEXT.replace(
        'bone = "dense"', '[section.map]\nfile = "map.csv"\nkind = "modulus"\nscale_mm = 1\n'
        "origin_mm = [0, 0]\n[section]", 1).replace("[section]\n[section.map]", "[section.map]"))
    monkeypatch.chdir(tmp_path)
    for more in ([], ["--at", "-10,-30"]):
        code, _, err = told(["compare", "s.toml", *more], monkeypatch, capsys)
        assert code == 2
        assert err.startswith("buttress: s.toml: the map does not cover the outline")
        assert "key: section.map.file (line " in err


def test_a_name_with_a_comma_is_one_name_in_a_message() -> None:
    with pytest.raises(InputError) as caught:
        require_known("Plate", ["Platte", "Platte, gleich"], "construct")
    assert caught.value.expected == '"Platte", "Platte, gleich"'
