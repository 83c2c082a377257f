"""The facade: every public name is there, documented, seen by type checkers, and loaded late."""

from __future__ import annotations

import ast
import importlib
import inspect
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

import buttress
from buttress.display import Displayed
from buttress.draw import figures

ROOT = Path(__file__).parents[2]
HEAVY = {"numpy", "scipy", "pandas", "matplotlib", "pydantic", "shapely", "meshio", "PIL"}
CALLED = [n for n in buttress.__all__ if callable(getattr(buttress, n)) and n != "InputError"]
DRAWS = list(figures.__all__)
RAISES_NOTHING = {"example_names", "verify"}


def loaded(code: str) -> set[str]:
    """Top-level modules that are loaded after some code in a fresh interpreter."""
    code += "\nprint(*sorted({m.split('.')[0] for m in sys.modules}), sep='\\n')"
    done = subprocess.run([sys.executable, "-c", f"import sys\n{code}"], text=True, check=True,
                          capture_output=True, env=os.environ | {
                              "PYTHONPATH": os.pathsep.join([str(ROOT / ".src"), *sys.path[1:]])})
    return set(done.stdout.split("\n"))


def test_the_names_that_notebooks_and_scripts_need() -> None:
    assert {"Explorer", "InputError", "LABEL", "assumptions", "check", "compare", "example",
            "example_names", "figures", "glossary", "load_study", "only", "parse_study", "rank",
            "run_bench", "run_stages", "study_from", "sweep", "varied",
            "verify"} <= set(buttress.__all__) <= set(dir(buttress))


@pytest.mark.parametrize("name", buttress._PLACES)
def test_every_name_is_what_its_place_defines_and_calls_so(name: str) -> None:
    """A module that only imports it, or an alias, would give readers of the source another place,
    and a record of it would not load from a file."""
    found, place = getattr(buttress, name), buttress._PLACES[name]
    if inspect.ismodule(found):
        assert found.__name__ == f"{place}.{name}"
    elif callable(found):
        assert (found.__module__, found.__qualname__) == (place, name)
    else:
        source = inspect.getsource(importlib.import_module(place))
        assert name in {target.id for node in ast.parse(source).body
                        if isinstance(node, ast.Assign) for target in node.targets
                        if isinstance(target, ast.Name)}


@pytest.mark.parametrize(("name", "said"), [
    ("compere", r"no attribute 'compere', did you mean 'compare'"),
    ("_hidden", r"no attribute '_hidden'$")])
def test_a_name_that_is_not_there_is_answered_with_the_closest(name: str, said: str) -> None:
    with pytest.raises(AttributeError, match=said):
        getattr(buttress, name)


def test_no_name_is_hidden_by_a_package_of_the_same_name() -> None:
    below = {p.stem for p in (ROOT / "constructs").iterdir() if p.is_dir() or p.suffix == ".py"}
    assert not below & set(buttress.__all__)


def test_type_checkers_read_the_same_names_from_the_same_places() -> None:
    tree = ast.parse((ROOT / "constructs" / "__init__.pyi").read_text(encoding="utf-8"))
    read, plain = {}, set()
    for node in tree.body:
        if isinstance(node, ast.ImportFrom):
            for alias in node.names:
                assert alias.asname == alias.name    # what makes it public in a stub
                read[alias.name] = node.module
        elif isinstance(node, ast.AnnAssign):
            plain.add(node.target.id)  # type: ignore[attr-defined]
    assert read == buttress._PLACES
    assert read.keys() | plain == set(buttress.__all__)
    assert (ROOT / "constructs" / "py.typed").exists()


@pytest.mark.parametrize("name", CALLED)
def test_a_docstring_names_every_parameter_and_what_is_raised(name: str) -> None:
    found = getattr(buttress, name)
    text = inspect.getdoc(found) or ""
    assert len(text.splitlines()[0]) <= 100
    missing = [p for p in inspect.signature(found).parameters
               if not re.search(rf"\b{p}\b", text)]
    assert missing == []
    assert "Raises InputError" in re.sub(r"\s+", " ", text) or name in RAISES_NOTHING | {
        "extrapolate"}


@pytest.mark.parametrize("name", DRAWS)
def test_every_figure_is_listed_and_explained(name: str) -> None:
    assert f"`{name}`" in (figures.__doc__ or "")
    assert inspect.getdoc(getattr(figures, name))


def test_importing_it_costs_next_to_nothing() -> None:
    bare = loaded("")
    assert not HEAVY & bare
    more = loaded("import buttress\nassert buttress.LABEL\nbuttress.__version__, dir(buttress)")
    assert more - bare == {"buttress"}


def test_help_and_errors_load_nothing_heavy() -> None:
    code = ("sys.argv = ['buttress', '--help']\nfrom buttress.cli.app import main\n"
            "try:\n    main()\nexcept SystemExit as end:\n    assert not end.code")
    assert not HEAVY & loaded(code)
    assert not HEAVY & loaded("from buttress import InputError")


@pytest.fixture(scope="module")
def writers() -> dict[str, set[str]]:
    """Which writers are there when a name of the facade is all that was asked for.

    Each name is asked for in a fork of its own, in which none of our modules was imported before;
    libraries were, which takes most of the time.
    """
    code = """
import os, sys
import jinja2, matplotlib.figure, numpy, pandas, pydantic, scipy.sparse.linalg, shapely
assert not any(m.split('.')[0] == 'buttress' for m in sys.modules)
for name in sys.argv[1:]:
    if not os.fork():
        import buttress
        getattr(buttress, name)
        from buttress.display import _WRITERS
        print(name, *(k.__name__ for k in _WRITERS), flush=True)
        os._exit(0)
    os.wait()
"""
    done = subprocess.run([sys.executable, "-c", code, *buttress._RECORDS], text=True, check=True,
                          capture_output=True, env=os.environ | {
                              "OPENBLAS_NUM_THREADS": "1",
                              "PYTHONPATH": os.pathsep.join([str(ROOT / ".src"), *sys.path[1:]])})
    return {name: set(found) for name, *found in map(str.split, done.stdout.splitlines())}


@pytest.mark.parametrize("name", buttress._RECORDS)
def test_what_makes_records_brings_the_writers_that_show_them(
        name: str, writers: dict[str, set[str]]) -> None:
    assert {"Comparison", "ConstructResult", "Live", "RankResult", "StagedStudy",
            "SweepSummary"} <= writers[name]


def test_every_call_that_returns_a_displayed_record_is_among_them() -> None:
    returned = {n: str(inspect.signature(getattr(buttress, n)).return_annotation) for n in CALLED}
    records = {k.__name__ for k in subclasses(Displayed)}
    assert {n for n, kind in returned.items() if kind in records} | {"Explorer"} == set(
        buttress._RECORDS)


def subclasses(kind: type) -> set[type]:
    return {s for sub in kind.__subclasses__() for s in {sub, *subclasses(sub)}}
