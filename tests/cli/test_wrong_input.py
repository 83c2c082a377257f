"""Wrong fractures, fragments, voids, grafts and rafts through both commands: one message, exit 2."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from wrong_input import VOID_STUDY

from buttress.cli.app import main

VOID = "points_mm = [[12, -9], [15, -20], [25, -20], [28, -9]]"
BLOCK = "points_mm = [[16, -9], [16, -20], [24, -20], [24, -9]]"
INSIDE = "inside_mm = [20, -4]"
INNER = "points_mm = [[13, 0], [12, -9]]"
STUDY = VOID_STUDY + f"""
[[construct.fill]]
name = "block"
void = "hole"
material = "structural block"
{BLOCK}
[mesh]
size_mm = 3
"""
CASES = {
    "overlapping voids": (
        VOID, f'{VOID}\n[[void]]\nname = "second"\n'
        "points_mm = [[20, -15], [20, -30], [30, -30], [30, -15]]",
        "void.second.points_mm", "[[20, -15], [20, -30]", "are separate"),
    "a void that crosses itself": (
        VOID, "points_mm = [[12, -9], [25, -20], [15, -20], [28, -9]]", "void.hole.points_mm",
        "Self-intersection", ""),
    "a void outside": (
        VOID, "points_mm = [[112, -9], [115, -20], [125, -20], [128, -9]]", "void.hole.points_mm",
        "", "a polygon in the section"),
    "a fragment without a point": (INSIDE, "", "fragment.piece.inside_mm", "", "[x, y]"),
    "a point in a void": (INSIDE, "inside_mm = [20, -14]", "fragment.piece.inside_mm",
                          "[20, -14]", "in bone"),
    "two names for one fragment": (
        INSIDE, f'{INSIDE}\n[[fragment]]\nname = "again"\ninside_mm = [22, -3]',
        "fragment.again.inside_mm", "[22, -3]", "one point in each piece"),
    "a graft outside its void": (
        BLOCK, "points_mm = [[16, -9], [16, -26], [24, -26], [24, -9]]",
        "construct.c.fill.block.points_mm", "35 %", 'inside the void "hole"'),
    "a sliver of bone": (
        INNER, f'{INNER}\n[[fracture]]\nname = "thin"\npoints_mm = [[13.7, 0], [12.8, -9]]',
        "fracture.thin.points_mm", "mm apart", "at least"),
    "a line on a line": (
        INNER, f'{INNER}\n[[fracture]]\nname = "thin"\npoints_mm = [[13.2, 0], [12.2, -9]]',
        "fracture.thin.points_mm", "[[13.2, 0], [12.2, -9]]", "a tenth of an element"),
    "a sliver of graft": (
        BLOCK, "points_mm = [[16, -9], [16, -20], [16.05, -20], [16.05, -9]]",
        "construct.c.fill.block.points_mm", "[16.05, -20]", "a smaller element size"),
    "a raft of zero screws": ("count = 4", "count = 0", "construct.c.screw.raft.count", "0",
                              "1 to 12"),
    "a depth in metres": (INSIDE, f"{INSIDE}\ndepth_mm = 0.02", "fragment.piece.depth_mm", "0.02",
                          "3 to 90 mm"),
    "a load on a void": (VOID, "points_mm = [[12, -9], [15, -20], [25, -20], [28, -9]]\n"
                         '[[void]]\nname = "trench"\n'
                         "points_mm = [[-26, 0], [-26, -5], [-20, -5], [-20, 0]]",
                         "load.medial_centre_mm", "on a void", "entirely on the joint line"),
}


def told(words: list[str], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
         ) -> tuple[int, str, str]:
    """Exit code, standard output and standard error of the command."""
    monkeypatch.setattr(sys, "argv", ["buttress", *words])
    with pytest.raises(SystemExit) as left:
        main()
    out, err = capsys.readouterr()
    return int(left.value.code or 0), out, err


@pytest.mark.parametrize("command", ["check", "compare"])
@pytest.mark.parametrize("name", CASES)
def test_file_key_value_and_what_was_expected(name: str, command: str, tmp_path: Path,
                                              monkeypatch: pytest.MonkeyPatch,
                                              capsys: pytest.CaptureFixture[str]) -> None:
    old, new, key, value, expected = CASES[name]
    assert STUDY.count(old) == 1
    (tmp_path / "s.toml").write_text(STUDY.replace(old, new))
    monkeypatch.chdir(tmp_path)
    code, out, err = told([command, "s.toml"], monkeypatch, capsys)
    assert (code, out) == (2, "")
    [line] = err.splitlines()
    assert line.startswith("buttress: s.toml: ")
    assert f"; key: {key}" in line
    assert value in line.partition("; key: ")[2]
    assert expected in line.partition("expected: ")[2]
    assert [p.name for p in tmp_path.iterdir()] == ["s.toml"]      # nothing half-written


def test_the_study_that_is_broken_above_is_right(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                                 capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "s.toml").write_text(STUDY)
    code, out, err = told(["check", str(tmp_path / "s.toml")], monkeypatch, capsys)
    assert (code, err) == (0, "")
    assert "1 construct, 0 rules broken" in out
