"""What makes a result citable and repeatable: commit, citation, versions of CI, checklist."""

from __future__ import annotations

import re
import shutil
import subprocess
import tomllib
from dataclasses import replace
from pathlib import Path

import made_up
import pytest
import yaml

from buttress import __version__
from buttress.report.checklist import checklist
from buttress.versions import NOT_KNOWN, commit, versions

ROOT = Path(__file__).parents[2]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


needs_git = pytest.mark.skipif(shutil.which("git") is None, reason="git is not installed here")


def git(folder: Path, *words: str) -> str:
    return subprocess.run(["git", "-c", "user.name=x", "-c", "user.email=x@example.org", "-C",
                           str(folder), *words], check=True, capture_output=True, text=True).stdout


@needs_git
def test_a_result_states_the_commit_and_whether_the_code_differs(tmp_path: Path) -> None:
    for folder in ("fe", "constructs"):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "a.py").write_text("1\n")
    source = tmp_path / "constructs" / "a.py"
    git(tmp_path, "init", "-q")
    assert commit(source) == NOT_KNOWN    # not tracked: an installed copy inside another checkout
    git(tmp_path, "add", ".")
    git(tmp_path, "commit", "-qm", "x")
    head = git(tmp_path, "rev-parse", "HEAD").strip()[:12]
    commit.cache_clear()
    assert commit(source) == head
    (tmp_path / "notes.txt").write_text("beside the code\n")
    commit.cache_clear()
    assert commit(source) == head
    (tmp_path / "fe" / "a.py").write_text("2\n")
    commit.cache_clear()
    assert commit(source) == f"{head}, changed"
    commit.cache_clear()


def test_versions_name_the_commit_beside_the_version() -> None:
    found = versions()
    assert list(found)[:2] == ["buttress", "commit"]
    # Without git, or in a copy that is no checkout, the commit is not known.
    known = "" if shutil.which("git") is None else subprocess.run(
        ["git", "rev-parse", "HEAD"], cwd=ROOT, capture_output=True, text=True,
        check=False).stdout[:12]
    assert found["commit"].removesuffix(", changed") == (known or NOT_KNOWN)


def test_the_citation_is_complete_and_of_this_version() -> None:
    found = yaml.safe_load((ROOT / ".citation.cff").read_text(encoding="utf-8"))
    assert {"cff-version", "message", "title", "authors"} <= found.keys()
    assert found["version"] == __version__ == PROJECT["version"]
    assert found["license"] == PROJECT["license"]
    assert [a["name"] for a in found["authors"]] == [a["name"] for a in PROJECT["authors"]]


def test_ci_runs_with_stated_versions_of_everything_that_is_needed() -> None:
    lines = (ROOT / ".ci/constraints.txt").read_text(encoding="utf-8").splitlines()
    pinned = dict(re.fullmatch(r"([\w.-]+)==(\S+)", x).groups() for x in lines
                  if not x.startswith("#"))
    names = {n.lower().replace("_", "-") for n in pinned}
    wanted = [*PROJECT["dependencies"], *PROJECT["optional-dependencies"]["test"]]
    assert {re.match(r"[\w-]+", w)[0].lower() for w in wanted} <= names
    assert ".ci/constraints.txt" in (ROOT / ".ci/run").read_text(encoding="utf-8")


HEADINGS = ["identification", "structure", "simulation", "verification", "validation",
            "availability"]


def test_the_checklist_is_filled_from_the_comparison() -> None:
    made = made_up.usual()
    rows = checklist(made)
    assert list(dict.fromkeys(heading for heading, _, _ in rows)) == HEADINGS
    assert all(said.strip() for _, _, said in rows)
    said = {item: words for _, item, words in rows}
    assert said["constructs"] == "; ".join(c.name for c in made.constructs)
    assert f"{made.study.mesh.size_mm:g} mm at faces" in said["mesh"]
    assert "2e-16" in said["algebra error"]
    assert "not estimated" in said["discretisation error"]
    assert said["against patients"] == "none"


@pytest.mark.parametrize(("size", "said"), [
    ("auto", "quasi-static, large movements once a piece or implant has moved by 0.05 mm"),
    ("on", "quasi-static, large movements from the start"), ("off", "quasi-static, small movements")])
def test_the_checklist_says_how_far_pieces_move(size: str, said: str) -> None:
    made = made_up.usual()
    press = made.study.press.model_copy(update={"large_movements": size})
    made = replace(made, study=made.study.model_copy(update={"press": press}))
    rows = {item: words for _, item, words in checklist(made)}
    assert rows["analysis"].startswith(said)


def test_the_cost_is_no_time_on_the_clock_of_one_process() -> None:
    made = replace(made_up.usual(), seconds={"a": 8.0, "b": 9.0})
    said = {item: words for _, item, words in checklist(made)}["cost"]
    assert said == "17 s of solving, summed over processes"


@pytest.mark.parametrize("item", ["software", "code"])
def test_the_checklist_states_the_commit(item: str) -> None:
    made = made_up.usual()
    made.versions["commit"] = "0123456789ab"
    said = {(h, i): words for h, i, words in checklist(made)}
    assert "0123456789ab" in said[("identification" if item == "software" else "availability", item)]
