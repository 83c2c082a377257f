"""The command line as a user meets it: contract of files, JSON, exit codes and messages."""

from __future__ import annotations

import csv
import json
import subprocess
import sys
from pathlib import Path

import pytest
from command import inside, run

from buttress import LABEL
from buttress.study.read import example_text, only
from buttress.study.write import text_of_study

MAIN = example_text("medial-shear").replace("[load]", "[mesh]\nsize_mm = 5\n\n[load]", 1)


@pytest.fixture(scope="module")
def results(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, subprocess.CompletedProcess]:
    """The main job on a coarse mesh; the README's own runs elsewhere."""
    where = tmp_path_factory.mktemp("main")
    (where / "medial-shear.toml").write_text(MAIN)
    return where / "out", run("compare", "medial-shear.toml", "--json", "--out", "out", cwd=where)


def test_the_main_job_writes_every_file(results: tuple) -> None:
    folder, done = results
    assert done.returncode == 0, done.stderr
    names = {p.name for p in folder.iterdir()}
    assert {"comparison.csv", "comparison.json", "study.toml", "report.html", "capacity.png",
            "load-subsidence.png", "overview.png"} <= names
    assert any(n.endswith(".vtu") for n in names)
    assert any(n.startswith("free-body-") for n in names)
    assert (folder / "study.toml").read_text() == f"# {LABEL}\n{MAIN}"
    assert "nothing: fails at 500 N" in done.stderr


def test_json_is_one_document_with_the_keys_of_the_contract(results: tuple) -> None:
    folder, done = results
    document = json.loads(done.stdout)
    assert document["label"] == LABEL
    stored = json.loads((folder / "comparison.json").read_text())
    assert stored["constructs"] == document["constructs"]
    assert len(document["constructs"]) == 6
    for construct in document["constructs"]:
        low, high = construct["capacity_N"]
        assert low <= high
        for load in construct["loads"]:
            fragment = load["fragments"]["medial"]
            if load["status"] == "held":
                assert load["residual"] < 1e-9
                assert load["complementarity"] < 1e-8
                assert fragment["balance_error"] < 1e-9
                total = [sum(f[k] for f in fragment["forces_N"].values())
                         + fragment["applied_N"][k] for k in (0, 1)]
                assert max(map(abs, total)) < 1e-9 * load["total_load_N"]
            else:
                assert fragment["subsidence_mean_mm"] is None
                assert fragment["forces_N"] is None
                assert load["edges"]["shear plane"]["step_off_mm"] is None


def test_a_fragment_held_by_nothing_has_capacity_zero(results: tuple) -> None:
    document = json.loads(results[1].stdout)
    nothing = next(c for c in document["constructs"] if c["name"] == "nothing")
    assert nothing["capacity_N"] == [0.0, 0.0]
    assert nothing["equilibrium_ends_N"] == 0.0


def test_csv_has_units_and_one_row_a_construct_load_and_fragment(results: tuple) -> None:
    with (results[0] / "comparison.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert len(rows) == 6 * 3
    assert "subsidence_mean_mm" in rows[0]
    assert "nan" not in (results[0] / "comparison.csv").read_text().lower()


def test_a_folder_that_is_not_empty_is_refused(results: tuple) -> None:
    done = inside("compare", "medial-shear.toml", "--out", "out", cwd=results[0].parent)
    assert done.returncode == 2
    assert "--force" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(("content", "word"), [
    (b"", "empty"), (b"\x00\xff\x93binary", "text"), (b"name = [", "TOML"),
    (b'name = "x"\nwidht = 3\n[[construct]]\nname = "a"\n', "widht"),
    (b'name = "x"\n[section]\nwidth_mm = 0.076\n[[construct]]\nname = "a"\n', "width_mm"),
    (b'name = "x"\n[section]\nwidth_mm = nan\n[[construct]]\nname = "a"\n', "width_mm"),
    (b'name = "x"\n[section]\nwidth_mm = "76"\n[[construct]]\nname = "a"\n', "width_mm"),
])
def test_wrong_input_is_one_message_and_exit_2(tmp_path: Path, content: bytes, word: str) -> None:
    file = tmp_path / "study.toml"
    file.write_bytes(content)
    for command in ("compare", "check"):
        done = inside(command, str(file), cwd=tmp_path)
        assert done.returncode == 2, done.stderr
        assert word in done.stderr
        assert "study.toml" in done.stderr
        assert "Traceback" not in done.stderr
        assert done.stdout == ""
    assert [p.name for p in tmp_path.iterdir()] == ["study.toml"]


@pytest.mark.parametrize(("old", "new", "word"), [
    ("points_mm = [[2.5, 15], [-24, -57.7]]", "points_mm = [[-3, -5], [-10, -20]]", "shear plane"),
    ("points_mm = [[2.5, 15], [-24, -57.7]]", "points_mm = [[-3, 0], [-40, 30]]", "shear plane"),
    ("points_mm = [[2.5, 15], [-24, -57.7]]",
     "points_mm = [[-3, 0], [-20, -30], [-3, -30], [-24, -10]]", "shear plane"),
    ("medial_share = 0.65", "medial_share = 0.65\nmedial_centre_mm = -36", "medial_centre_mm"),
    ("friction = 0.5\n", 'friction = 0.5\n[[fracture]]\nname = "second"\n'
     "points_mm = [[2.1, 15], [-24.4, -57.7]]\n", "second"),
])
def test_wrong_geometry_is_named(tmp_path: Path, old: str, new: str, word: str) -> None:
    text = example_text("medial-shear")
    assert old in text
    file = tmp_path / "study.toml"
    file.write_text(text.replace(old, new))
    done = inside("compare", str(file), cwd=tmp_path)
    assert done.returncode == 2, done.stderr
    assert word in done.stderr
    assert "Traceback" not in done.stderr
    assert [p.name for p in tmp_path.iterdir()] == ["study.toml"]


def test_check_and_examples(tmp_path: Path) -> None:
    done = inside("check", "--example", "medial-shear")
    assert done.returncode == 0
    assert LABEL in done.stdout
    assert inside("examples", "medial-shear", cwd=tmp_path).returncode == 0
    assert inside("examples", "medial-shear", cwd=tmp_path).returncode == 2
    assert inside("check", "medial-shear.toml", cwd=tmp_path).returncode == 0
    missing = inside("compare", "--example", "medial-shar")
    assert missing.returncode == 2
    assert "medial-shear" in missing.stderr


def test_help_loads_nothing_heavy() -> None:
    code = ("import sys\nsys.argv = ['buttress', '--help']\n"
            "import buttress.cli.app as c\n"
            "try:\n    c.main()\nexcept SystemExit:\n    pass\n"
            "heavy = {'numpy', 'scipy', 'matplotlib', 'pydantic', 'pandas', 'meshio', 'shapely'}\n"
            "found = heavy & set(sys.modules)\nassert not found, found\n")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True,
                          check=False)
    assert done.returncode == 0, done.stderr
    assert "compare" in done.stdout


def test_bonded_twins_are_added_paired_and_explained(tmp_path: Path) -> None:
    study = only("lateral-depression", "raft + impacted graft")
    study = study.model_copy(update={
        "mesh": study.mesh.model_copy(update={"size_mm": 4.0}),
        "load": study.load.model_copy(update={"total_N": (800.0,)})})
    (tmp_path / "s.toml").write_text(text_of_study(study))
    done = inside("compare", "s.toml", "--also-bonded", "--quiet", "--out", "out", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert "raft + impacted graft, bonded: capacity not limited by this model" in done.stdout
    assert "Next to their bonded twins" in done.stdout
    assert "slip, lift-off and loosening" in " ".join(done.stdout.split())
    found = json.loads((tmp_path / "out" / "comparison.json").read_text())["constructs"]
    assert [c["twin_of"] for c in found] == [None, "raft + impacted graft"]
    own, twin = (c["loads"][0]["fragments"]["joint fragment"]["subsidence_mean_mm"] for c in found)
    assert 0 < twin < own
    page = (tmp_path / "out" / "report.html").read_text()
    assert "Next to their bonded twins" in page
    assert "buttress compare study.toml --also-bonded" in page
