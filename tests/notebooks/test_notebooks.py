"""The notebooks: stored empty, public imports one a line, labelled, and every cell runs."""

from __future__ import annotations

import ast
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

import buttress
from buttress import LABEL

ROOT = Path(__file__).parents[2]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))
PUBLIC = "buttress"
"""What a notebook of ours may import: the facade, and of it what it lists."""
OTHERS = {"numpy", "pandas", "matplotlib", "ipywidgets", "IPython", "pathlib", "tempfile"}
LONGEST_CELL = 16
SECONDS = 280
"""A notebook takes some ten seconds on a quiet machine."""

RUN = """
import sys, tempfile, traceback, warnings
from pathlib import Path
warnings.simplefilter("ignore")    # of the machinery; what a cell says is checked below
import matplotlib.font_manager     # its list of fonts, made here, so that no cell says so
import nbformat
from jupyter_client.manager import AsyncKernelManager
from nbclient import NotebookClient

def run(path, folder):
    folder.mkdir()
    book = nbformat.read(path, as_version=4)
    with tempfile.TemporaryDirectory() as sockets:
        # Sockets of its own instead of ports, which kernels started at once may snatch from each other.
        manager = AsyncKernelManager(kernel_name="python3", transport="ipc", ip=sockets + "/k")
        client = NotebookClient(book, km=manager, timeout=float(sys.argv[2]),
                                resources={"metadata": {"path": str(folder)}})
        # An output widget kept here answers the kernel while its reply is waited for, past the event
        # loop. A reply that comes in at that moment is not noticed, and both sides wait for ever.
        client.widget_registry = {}
        client.execute(cleanup_kc=True)    # a kernel that lives on keeps its memory
    nbformat.write(book, folder / "done.ipynb")

for path in map(Path, sys.argv[3:]):
    folder = Path(sys.argv[1], path.stem)
    try:
        run(path, folder)
    except Exception:
        (folder / "failed.txt").write_text(traceback.format_exc())
"""
"""One process starts the kernels of all notebooks in turn, each in a folder of its own."""

COARSE = """
import gc
gc.set_threshold(50_000, 10, 10)
from buttress.study import read
from buttress.sweeps.vary import plain
def coarse(name, given=read.example):
    study = plain(given(name)) | {"mesh": {"size_mm": 4.0, "coarse_mm": 8.0}}
    study["press"]["large_movements"] = "off"
    return read.study_from(study)
read.example = coarse
"""
"""Run before the first cell: shipped studies on a coarse mesh and with small movements, unless a cell
asks for others (the main job and a notebook's own study move); rubbish is collected less often, as in
all tests."""

each = pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda p: p.stem)


def cells(path: Path, kind: str) -> list[dict[str, Any]]:
    return [c for c in json.loads(path.read_text(encoding="utf-8"))["cells"]
            if c["cell_type"] == kind]


def source(cell: dict[str, Any]) -> str:
    return "".join(cell["source"])


def code(cell: dict[str, Any]) -> ast.Module:
    """A code cell without the line that asks for pictures in the page."""
    return ast.parse(source(cell).replace("%matplotlib inline", ""))


def test_there_are_notebooks_for_everything() -> None:
    for word in ("first", "why", "depression", "staged", "sweep", "own", "verification", "trust",
                 "bench", "paper"):
        assert any(word in p.stem for p in NOTEBOOKS), word


@each
def test_it_is_stored_without_output(path: Path) -> None:
    book = json.loads(path.read_text(encoding="utf-8"))
    for cell in cells(path, "code"):
        assert cell["outputs"] == []
        assert cell["execution_count"] is None
        assert cell["metadata"] == {}
    assert set(book["metadata"]) <= {"kernelspec", "language_info"}
    assert "widgets" not in book["metadata"]


@each
def test_it_carries_the_label_and_says_one_thing_at_a_time(path: Path) -> None:
    words = cells(path, "markdown")
    assert LABEL in source(words[0])
    assert source(words[0]).startswith("# ")
    for cell in cells(path, "code"):
        assert len(source(cell).splitlines()) <= LONGEST_CELL
        assert max(len(line) for line in source(cell).splitlines()) <= 110


@each
def test_imports_are_public_and_one_a_line(path: Path) -> None:
    for cell in cells(path, "code"):
        for node in ast.walk(code(cell)):
            if isinstance(node, ast.Import | ast.ImportFrom):
                assert node.lineno == node.end_lineno
                module = node.module if isinstance(node, ast.ImportFrom) else node.names[0].name
                assert module == PUBLIC or module.split(".")[0] in OTHERS, module
                assert module != PUBLIC or {a.name for a in node.names} <= set(buttress.__all__)
                assert not any(a.name.startswith("_") for a in node.names)
            if isinstance(node, ast.Attribute):
                assert not node.attr.startswith("_")


@pytest.fixture(scope="module")
def run(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Folders of the notebooks of this run, in which each has run."""
    folder = tmp_path_factory.mktemp("notebooks")
    env = os.environ | {"PYTHONPATH": str(ROOT / ".src"), "OPENBLAS_NUM_THREADS": "1",
                        "IPYTHONDIR": str(folder / "ipython"),
                        "JUPYTER_RUNTIME_DIR": str(folder / "runtime")}
    startup = folder / "ipython" / "profile_default" / "startup"
    startup.mkdir(parents=True)
    (startup / "coarse.py").write_text(COARSE)
    wanted = [str(item.callspec.params["path"]) for item in request.session.items
              if getattr(item, "function", None) is test_it_runs]
    done = subprocess.run([sys.executable, "-c", RUN, str(folder), str(SECONDS), *wanted],
                          capture_output=True, text=True, env=env, check=False,
                          timeout=len(wanted) * SECONDS)
    assert done.returncode == 0, done.stderr[-3000:]
    return folder


@each
def test_it_runs(path: Path, run: Path) -> None:
    failed = run / path.stem / "failed.txt"
    assert not failed.exists(), failed.read_text()[-3000:]
    ran = cells(run / path.stem / "done.ipynb", "code")
    assert [c["execution_count"] for c in ran] == list(range(1, len(ran) + 1))
    for cell in ran:
        said = [o for o in cell["outputs"] if o.get("name") == "stderr"]
        assert not said, "".join(said[0]["text"])
        # What fails under a slider is shown and not raised.
        assert not [o for o in cell["outputs"] if o["output_type"] == "error"]
    kinds = {k for c in ran for o in c["outputs"] for k in o.get("data", {})}
    drawn = "%matplotlib inline" in "".join(source(c) for c in ran)
    assert "image/png" in kinds if drawn else "text/html" in kinds
