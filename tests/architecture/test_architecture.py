"""Imports run one way, the README's code runs, and the top level stays as it was agreed."""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
from pathlib import Path

import pytest
from command import inside

from buttress.study import read
from buttress.workers import here

ROOT = Path(__file__).parents[2]
LONGEST_FILE = 400


@pytest.mark.parametrize("folder", ["fe", "constructs", "tests"])
def test_no_file_is_too_long_to_be_read_at_once(folder: str) -> None:
    sizes = {p.relative_to(ROOT).as_posix(): len(p.read_text(encoding="utf-8").splitlines())
             for p in (ROOT / folder).rglob("*.py")}
    assert sizes
    assert {name: n for name, n in sizes.items() if n > LONGEST_FILE} == {}


def test_top_level_is_fixed() -> None:
    if shutil.which("git") is None:
        pytest.skip("git is not installed")
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True,
                            check=False)
    if listed.returncode:
        pytest.skip("not a git checkout")
    top = {line.split("/")[0] for line in listed.stdout.splitlines()}
    visible = {name for name in top if not name.startswith(".")}
    assert visible <= {"README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE", "CHANGELOG.md",
                       "fe", "constructs", "notebooks", "tests", "results"}


def test_files_that_the_guide_names_exist() -> None:
    text = "".join((ROOT / name).read_text(encoding="utf-8")
                   for name in ("README.md", "DEVELOPERS.md"))
    names = set(re.findall(r"`([a-z_]+/[a-z_/]*\.(?:py|toml|css|md))`", text))
    assert len(names) > 20
    starts = (ROOT, ROOT / "constructs", ROOT / "constructs/report")
    assert {n for n in names if not any((start / n).exists() for start in starts)} == set()


def test_the_code_of_the_readme_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
                                     capsys: pytest.CaptureFixture[str]) -> None:
    """On a coarse mesh, with small movements and without further processes, none of which the words
    of the README need."""
    text = (ROOT / "README.md").read_text()
    quick = '[mesh]\nsize_mm = 4\n\n[press]\nlarge_movements = "off"\n\n[load]'
    monkeypatch.setattr(read, "example_text", lambda name, shipped=read.example_text: shipped(
        name).replace("[load]", quick, 1))
    monkeypatch.setattr("buttress.sweeps.sweep.local",
                        lambda groups, job, count, stop: here(groups, job, stop))
    monkeypatch.chdir(tmp_path)
    shell = "\n".join(re.findall(r"```sh\n(.*?)```", text, re.S))
    commands = [line for line in shell.splitlines() if line.startswith("buttress ")]
    assert any("sweep" in line for line in commands)
    for line in commands:
        done = inside(*shlex.split(line)[1:])
        assert done.returncode == 0, done.stderr
    blocks = re.findall(r"```python\n(.*?)```", text, re.S)
    names: dict[str, object] = {}
    for block in blocks:
        exec(compile(block, "README.md", "exec"), names)
    assert "antiglide" in capsys.readouterr().out
    table = names["table"]
    assert len(table) == 4 * 6 * 3  # type: ignore[arg-type]
