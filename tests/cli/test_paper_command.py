"""Figures for a paper as a user asks for them."""

from __future__ import annotations

from pathlib import Path

from command import inside
from test_motion_command import COARSE

ONE = COARSE[:COARSE.rindex("[[construct]]")]


def test_figures_for_a_paper_stand_beside_the_slides(tmp_path: Path) -> None:
    (tmp_path / "study.toml").write_text(ONE)
    done = inside("compare", "study.toml", "--out", "out", "--figures", "paper", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    slides = {p.stem for p in (tmp_path / "out").glob("*.png")}
    for end in ("pdf", "svg"):
        assert {p.stem for p in (tmp_path / "out" / "paper").glob(f"*.{end}")} == slides
    assert (tmp_path / "out" / "paper" / "captions.txt").exists()
    again = inside("compare", "study.toml", "--out", "plain", cwd=tmp_path)
    assert again.returncode == 0
    assert not (tmp_path / "plain" / "paper").exists()


def test_another_kind_of_figures_is_refused_before_anything_is_solved(tmp_path: Path) -> None:
    (tmp_path / "study.toml").write_text(ONE)
    done = inside("compare", "study.toml", "--out", "out", "--figures", "papr", cwd=tmp_path)
    assert done.returncode == 2
    assert 'did you mean "paper"' in done.stderr
    assert "Traceback" not in done.stderr
    assert [p.name for p in tmp_path.iterdir()] == ["study.toml"]
