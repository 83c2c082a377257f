"""A wheel that works away from the repository: built, installed alone, and every command tried there."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tomllib
import venv
import zipfile
from email import message_from_string
from fnmatch import fnmatch
from pathlib import Path

import pytest

import buttress

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
SMALL = ("constructs", "fe", ".src", "pyproject.toml", "README.md", "LICENSE")


def test_the_version_is_told_in_one_voice() -> None:
    assert buttress.__version__ == PROJECT["version"]
    cited = (ROOT / ".citation.cff").read_text(encoding="utf-8")
    assert f"version: {PROJECT['version']}\n" in cited.replace('"', "")
    newest = next(line for line in (ROOT / "CHANGELOG.md").read_text(encoding="utf-8").splitlines()
                  if line.startswith("## "))
    assert newest.split()[1] == PROJECT["version"]


def test_every_file_that_the_code_reads_has_a_pattern() -> None:
    """Quick: what setuptools takes along beside modules."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    patterns = settings["tool"]["setuptools"]["package-data"]["*"]
    read = [path for path in (ROOT / "constructs").rglob("*") if path.is_file()
            and "__pycache__" not in path.parts and path.suffix != ".py"]
    assert {".toml", ".json", ".js", ".j2"} <= {path.suffix for path in read}
    for path in read:
        # Patterns count from any folder above, since each is a package of setuptools.
        inside = path.relative_to(ROOT / "constructs").parts
        ends = {"/".join(inside[-n:]) for n in range(1, len(inside) + 1)}
        assert any(fnmatch(end, p) and end.count("/") == p.count("/")
                   for end in ends for p in patterns), path


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built of a copy, so that nothing is left in the tree."""
    copy, out = tmp_path_factory.mktemp("copy"), tmp_path_factory.mktemp("wheel")
    for name in SMALL:
        source = ROOT / name
        if source.is_dir():
            shutil.copytree(source, copy / name, symlinks=True,
                            ignore=shutil.ignore_patterns("__pycache__", "*.egg-info"))
        else:
            shutil.copy(source, copy / name)
    done = subprocess.run([sys.executable, "-m", "pip", "wheel", "-q", "--no-deps", "-w", str(out),
                           str(copy)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-3000:]
    (found,) = out.glob("*.whl")
    return found


@pytest.mark.deep
def test_it_holds_every_file_that_the_code_reads(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as file:
        names = set(file.namelist())
        (about,) = (n for n in names if n.endswith(".dist-info/METADATA"))
        told = message_from_string(file.read(about).decode())
    for path in (ROOT / "constructs").rglob("*"):
        if path.is_file() and "__pycache__" not in path.parts and path.suffix != ".pyc":
            assert f"buttress/{path.relative_to(ROOT / 'constructs').as_posix()}" in names, path
    assert told["Version"] == PROJECT["version"]
    assert "Intended Audience :: Education" in told.get_all("Classifier", [])
    assert "Development Status :: 3 - Alpha" in told.get_all("Classifier", [])


@pytest.mark.deep
def test_it_works_away_from_the_repository(wheel: Path, tmp_path: Path) -> None:
    """Its libraries are those of this Python; buttress is that of the wheel alone."""
    home = tmp_path / "venv"
    venv.create(home, with_pip=False)
    site = next(home.glob("lib/python*/site-packages"))
    with zipfile.ZipFile(wheel) as file:
        file.extractall(site)
    others = [p for p in sys.path if p.endswith("site-packages")]
    (site / "libraries.pth").write_text("\n".join(others) + "\n")
    env = {k: v for k, v in os.environ.items() if k not in ("PYTHONPATH", "VIRTUAL_ENV")}

    def run(*words: str) -> str:
        done = subprocess.run([str(home / "bin" / "python"), "-m", "buttress", *words], cwd=tmp_path,
                              env=env, capture_output=True, text=True, check=False)
        assert done.returncode == 0, (words, done.stderr[-3000:])
        return done.stdout

    where = subprocess.run([str(home / "bin" / "python"), "-c", "import buttress; print(buttress.__file__)"],
                           cwd=tmp_path, env=env, capture_output=True, text=True, check=True).stdout
    assert where.strip().startswith(str(site))
    assert run("--version").strip().endswith(PROJECT["version"])
    run("examples", "medial-shear", "--out", "mine.toml")
    assert "fracture" in run("examples", "--keys")
    run("check", "mine.toml", "--quiet", "--picture", "placed.png")
    found = json.loads(run("compare", "mine.toml", "--json", "--quiet", "--out", "made"))
    assert {"report.html", "overview.png"} <= {Path(p).name for p in (tmp_path / "made").iterdir()}
    assert found["constructs"]
    run("sweep", "mine.toml", "--vary", "fracture.*.friction=0.3,0.4", "--out", "s.sqlite", "--workers", "1")
    run("lesson", "--out", "lesson")
    assert (tmp_path / "lesson" / "lesson.html").stat().st_size > 100_000
    run("verify")
    run("verify", "--bench")
