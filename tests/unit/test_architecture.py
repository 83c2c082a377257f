"""Imports run one way, the README's code runs, and the top level stays as it was agreed."""

from __future__ import annotations

import ast
import re
import shutil
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FORBIDDEN = {"constructs", "pandas", "matplotlib", "typer", "rich", "pydantic"}


def imported(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            found |= {a.name.split(".")[0] for a in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.add(node.module.split(".")[0])
    return found


@pytest.mark.parametrize("path", sorted((ROOT / "fe").rglob("*.py")), ids=lambda p: p.name)
def test_fe_knows_nothing_of_bone(path: Path) -> None:
    assert not imported(path) & FORBIDDEN


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


def test_the_code_of_the_readme_runs(capsys: pytest.CaptureFixture[str]) -> None:
    text = (ROOT / "README.md").read_text()
    blocks = re.findall(r"```python\n(.*?)```", text, re.S)
    assert blocks
    for block in blocks:
        exec(compile(block, "README.md", "exec"), {})
    assert "antiglide" in capsys.readouterr().out
