"""The educational label in every file that is written, as readers of that file find it."""

from __future__ import annotations

import json
import sqlite3
import tomllib
from contextlib import closing
from pathlib import Path

import meshio
import pandas as pd
import pytest
from command import inside
from small_study import small_study
from staged_study import staged_data

from buttress import LABEL
from buttress.comparison.compare import compare
from buttress.files import labelled
from buttress.report import gallery
from buttress.report.folder import write_results
from buttress.study.read import example_text, load_study, study_from
from buttress.sweeps.rows import sweep_frame
from buttress.sweeps.sweep import export_csv, sweep

TEXT = example_text("staged-tightening")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Results of a study with stages and a body mass, as written by `buttress compare`; without
    pictures, which bear the label where they are drawn."""
    data = staged_data()
    data["load"] |= {"total_N": [500.0], "body_mass_kg": 75.0}
    found = tmp_path_factory.mktemp("labels")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("buttress.draw.all.draw_all", lambda *given: [])
        write_results(compare(study_from(data)), found, TEXT)
    return found


def in_file(path: Path) -> bool:
    """Whether the label stands in a file where its readers look."""
    if path.suffix == ".csv":
        return set(pd.read_csv(path)["label"]) == {LABEL}
    if path.suffix == ".vtu":
        return LABEL in meshio.read(path).field_data
    if path.suffix == ".json":
        return json.loads(path.read_text(encoding="utf-8"))["label"] == LABEL
    if path.suffix == ".toml":
        return path.read_text(encoding="utf-8").startswith(f"# {LABEL}\n")
    return path.suffix == ".html" and LABEL in path.read_text(encoding="utf-8")


def test_every_file_of_a_comparison_bears_the_label(folder: Path) -> None:
    files = [p for p in folder.iterdir() if p.suffix not in (".png", ".svg")]    # drawn in those
    assert {"comparison.csv", "stages.csv", "weight-bearing.csv", "study.toml", "report.html",
            "comparison.json"} < {p.name for p in files}
    assert any(p.suffix == ".vtu" for p in files)
    assert [p.name for p in files if not in_file(p)] == []


def test_the_study_beside_the_results_is_the_input_below_the_label(folder: Path) -> None:
    written = (folder / "study.toml").read_text(encoding="utf-8")
    assert written == f"# {LABEL}\n{TEXT}"
    assert tomllib.loads(written) == tomllib.loads(TEXT)
    assert labelled(written) == written    # a copy of a copy has it once


def test_a_copied_example_bears_the_label_and_is_the_same_study(tmp_path: Path) -> None:
    done = inside("examples", "medial-shear", "--out", str(tmp_path / "a.toml"))
    assert done.returncode == 0
    assert LABEL in done.stdout
    assert (tmp_path / "a.toml").read_text(encoding="utf-8").startswith(f"# {LABEL}\n")
    copied = load_study(tmp_path / "a.toml")
    assert copied.constructs == study_from(tomllib.loads(example_text("medial-shear"))).constructs


def test_the_view_of_a_store_and_its_csv_bear_the_label_and_a_frame_keeps_it(tmp_path: Path
                                                                          ) -> None:
    path = tmp_path / "s.sqlite"
    sweep(small_study("antiglide"), ["fracture.shear plane.friction=0.2,0.3"], out=path, workers=0)
    with closing(sqlite3.connect(path)) as db:
        view = pd.read_sql_query("SELECT * FROM everything", db)
    assert len(view) == 2
    assert set(view["label"]) == {LABEL}
    assert in_file(export_csv(path)[0])
    frame = sweep_frame(path)
    assert "label" not in frame.columns
    assert frame.attrs["label"] == LABEL


def test_a_comparison_as_a_frame_and_the_numbers_of_the_gallery_bear_it() -> None:
    found = compare(small_study("antiglide"), pictures=False)
    assert found.to_frame().attrs["label"] == LABEL
    [head, *table] = gallery.numbers(found).splitlines()
    assert head.endswith(",label")
    assert all(LABEL in line for line in table)
