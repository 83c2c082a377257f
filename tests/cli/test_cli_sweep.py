"""The commands `sweep` and `rank`: what is printed where, and with which exit code."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from command import Done, inside

from buttress import LABEL
from buttress.sweeps.status import sweep_status
from buttress.workers import here

FRICTION = "fracture.shear plane.friction"
VARY = ["--vary", f"{FRICTION}=0.3:0.5:2", "--vary", "section.modulus_scale=0.8,1"]
STUDY = """
name = "tiny"
[section]
outline = "simple"
[mesh]
size_mm = 5
[press]
large_movements = "off"
[[fracture]]
name = "shear plane"
points_mm = [[-3, 0], [-24, -57.7]]
[[fragment]]
name = "medial"
inside_mm = [-25, -12]
[load]
total_N = [500]
[[construct]]
name = "nothing"
[[construct]]
name = "screw"
[[construct.screw]]
name = "lag"
form = "HB 6.5"
side = "medial"
height_mm = -14
length_mm = 68
thread_mm = 32
use = "lag"
tension_N = 600
"""


@pytest.fixture
def study(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """A study file; its cases are solved in this process, which spares the imports of another."""
    monkeypatch.setattr("buttress.sweeps.sweep.local",
                        lambda groups, job, count, stop: here(groups, job, stop))
    monkeypatch.chdir(tmp_path)
    Path("tiny.toml").write_text(STUDY)
    return "tiny.toml"


def run(*args: str, code: int = 0) -> Done:
    done = inside(*args)
    assert done.returncode == code, done.stderr
    return done


def test_a_sweep_says_what_it_saved_and_resumes_by_itself(study: str) -> None:
    first = run("sweep", study, *VARY, "--workers", "1")
    assert "4 cases: 4 solved now, 0 already stored" in first.stdout
    assert "4 factorisations done, 4 avoided" in first.stdout
    assert LABEL in first.stdout
    assert "4 of 4 cases" in first.stderr
    again = run("sweep", study, *VARY, "--workers", "1", "--quiet", "--export", "csv",
                "--figures")
    assert "0 solved now, 4 already stored" in again.stdout
    assert again.stderr == ""
    (store,) = Path("results").glob("tiny-sweep-*.sqlite")
    assert store.with_suffix(".csv").read_text().count("\n") == 9
    assert {p.suffix for p in Path(f"results/{store.stem}-figures").iterdir()} == {".png"}

    status = run("sweep", "--status", str(store))
    assert "tiny: 4 of 4 cases done, 8 results" in status.stdout
    told = json.loads(run("sweep", "--status", str(store), "--json").stdout)
    assert told["label"] == LABEL
    assert told["statuses"] == {"held": 4, "no equilibrium": 4}


def test_a_disk_that_fills_up_is_told_and_nothing_stored_is_lost(
        study: str, tmp_path: Path) -> None:
    pytest.importorskip("resource", reason="this system sets no limits on file sizes")
    # The system refuses to let any file of this process grow beyond some of its cases.
    code = ("import resource, sys; from buttress.cli.app import main\n"
            "if __name__ == '__main__':\n"
            "    resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv.pop(1)), -1))\n"
            "    main()\n")
    vary = ["--vary", f"{FRICTION}=0.3:0.5:30", "--workers", "1", "--out", "s.sqlite", "--quiet"]
    env = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2] / ".src")}
    Path("full.py").write_text(code)
    done = subprocess.run([sys.executable, "full.py", "120000", "sweep", study, *vary], env=env,
                          capture_output=True, text=True, check=False)
    assert done.returncode == 1, done.stderr
    assert done.stderr.count("\n") == 1
    assert "stored cases are safe: free space and run the same command again" in done.stderr
    solved = sweep_status(tmp_path / "s.sqlite").done
    assert 0 < solved < 30
    told = json.loads(run("sweep", study, *vary, "--json").stdout)
    assert (told["skipped"], told["done"], told["left"]) == (solved, 30 - solved, 0)


def test_json_is_one_document_and_nothing_else(study: str) -> None:
    done = run("sweep", study, *VARY[:2], "--json", "--workers", "1", "--out", "s.sqlite")
    told = json.loads(done.stdout)
    assert (told["cases"], told["done"], told["path"]) == (2, 2, "s.sqlite")
    assert done.stderr == ""
    cost = json.loads(run("sweep", study, *VARY, "--json", "--dry-run").stdout)["estimate"]
    assert (cost["cases"], cost["meshes"]) == (4, 2)


def test_a_dry_run_stores_nothing(study: str) -> None:
    done = run("sweep", study, *VARY, "--dry-run", "--workers", "2")
    assert "4 cases with 8 constructs to solve" in done.stdout
    assert "about 4 factorisations instead of 8" in done.stdout
    assert LABEL in done.stdout
    assert not Path("results").exists()
    done = run("rank", study, "--samples", "8", "--seed", "1", "--dry-run")
    assert "52 cases with 104 constructs" in done.stdout
    assert "friction of the fracture (fracture.*.friction): triangular(0.2, 0.5, 0.6) [-]; memory: " \
        in done.stdout
    told = json.loads(run("rank", study, "--samples", "8", "--dry-run", "--json").stdout)
    assert {"name", "key", "law", "unit", "status"} <= set(told["inputs"][0])
    assert not Path("results").exists()


def test_a_case_without_an_answer_is_told_by_the_exit_code(study: str) -> None:
    # A longer thread and a shorter screw are fine each by itself and wrong together.
    vary = ["--vary", "construct.screw.screw.lag.thread_mm=32,60",
            "--vary", "construct.screw.screw.lag.length_mm=68,50"]
    done = run("sweep", study, *vary, "--workers", "1", code=1)
    assert "1 refused" in done.stdout
    run("sweep", study, *vary, "--workers", "1", code=1)


@pytest.mark.parametrize(("args", "told"), [
    (["--vary", "section.bon=dense,soft"], 'did you mean "section.bone"'),
    (["--vary", "section.bone=normal(1,2)"], "with invalid values"),
    (["--vary", f"{FRICTION}=uniform(0.3,0.4)"], "number of samples"),
    ([], "nothing to vary"),
    (["--vary", f"{FRICTION}=uniform(0.3,0.4)", "--samples", "4"], "without a seed"),
    ([*VARY, "--export", "xlsx"], "unknown format"),
])
def test_wrong_input_is_refused_with_the_study_s_name(study: str,
                                                      args: list[str], told: str) -> None:
    done = run("sweep", study, *args, code=2)
    assert told in done.stderr
    assert done.stdout == ""
    assert not Path("results").exists()


@pytest.mark.parametrize("there", [True, False])
@pytest.mark.parametrize(("command", "more"), [
    ("rank", "with --samples N"), ("sweep", "with --vary KEY=RANGE")])
def test_a_store_in_the_place_of_the_study_is_told_what_the_command_takes(
        study: str, command: str, more: str, there: bool) -> None:
    if there:
        Path("gone.sqlite").write_bytes(b"SQLite format 3\0")
    error = json.loads(run(command, "gone.sqlite", "--json", code=2).stdout)["error"]
    assert (error["file"], error["message"]) == ("gone.sqlite", "a store in the place of a study")
    assert error["expected"].startswith(f"a study file (TOML) or --example NAME, {more}; ")
    assert "--out gone.sqlite" in error["expected"]
    assert Path("gone.sqlite").exists() == there


def test_a_ranking_is_told_and_written(study: str) -> None:
    asked = ["rank", study, "--samples", "4", "--seed", "1", "--no-indices", "--workers", "1",
             "--out", "r.sqlite"]
    done = run(*asked)
    assert "4 paired samples (seed 1) at 500 N" in done.stdout
    assert "no input changes the ranks clearly" in done.stdout
    assert "distinct bones" in done.stderr
    assert Path("r-rank/rank.json").exists()
    told = json.loads(run(*asked, "--json").stdout)
    assert told["reference"] == "screw"
    assert told["sentence"] in " ".join(done.stdout.split())
    assert "'screw'" in told["sentence"]
    assert "'nothing'" in told["sentence"]
    for wrong, words in (([study, "--samples", "6", "--seed", "1"], "4 or 8"),
                         ([study, "--samples", "4", "--load", "-5"], "--load"),
                         ([study, "--samples", "4", "--reference", "foo"], "no such construct"),
                         ([study, "--seed", "1"], "number of samples")):
        for more in ([], ["--dry-run"]):
            assert words in run("rank", *wrong, *more, code=2).stderr


def test_help_needs_none_of_the_heavy_parts() -> None:
    code = ("import sys, buttress.cli.sweep\n"
            "heavy = {'numpy', 'scipy', 'pydantic', 'pandas', 'matplotlib', 'distributed'}\n"
            "print(sorted(heavy & set(sys.modules)))")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
