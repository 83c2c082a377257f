"""No sentence that is printed reads as advice on an operation or on a load.

The list is of forms of words, not of all that could be said: a reader judges the rest.
"""

from __future__ import annotations

import ast
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2] / "constructs"
PACKAGES = ("rules", "results", "comparison", "ranking", "improving", "draw", "report", "lesson", "bench")
TABLES = ("examples", "bench", "data")
ADVICE = re.compile(
    r"\b(should|ought to|recommend\w*|advis\w+|make sure|be sure|always use|never use|tightening "
    r"pays|compress\w* first|first compress|gap first|afterwards|before locking|lock it|place the|"
    r"put the (?!controls)|choose a (?:longer|thicker|stiffer|shorter)|must (?:be|lie|cover|cross|not)|"
    r"safe\w*|permitted|is allowed to walk|may (?:walk|bear weight|be loaded)|can be loaded)\b", re.I)
ABOUT_INPUT = ("samples must", "mesh must", "must be given", "lines must")
"""How messages about a wrong input of ours begin; they are about files, not about bone."""


def literals(path: Path) -> Iterator[str]:
    """The string literals of a module that are not its docstrings."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    docs = {node.value for node in ast.walk(tree)
            if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and node not in docs:
            yield node.value


def texts(value: Any) -> Iterator[str]:
    """All texts of a parsed file."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for v in value.values():
            yield from texts(v)
    elif isinstance(value, list):
        for v in value:
            yield from texts(v)


def advice(said: Iterator[str]) -> list[str]:
    """What of it reads as advice."""
    return [text for text in (" ".join(s.split()) for s in said)
            if ADVICE.search(text) and not any(a in text for a in ABOUT_INPUT)]


def sources() -> list[Path]:
    modules = [p for name in PACKAGES for p in sorted((ROOT / name).rglob("*.py"))]
    tables = [p for name in TABLES for p in sorted((ROOT / name).rglob("*.toml"))]
    tables += sorted((ROOT / "lesson" / "page").glob("*.toml"))
    pages = [*ROOT.rglob("*.js"), *ROOT.rglob("*.j2")]
    return [*modules, *tables, *sorted(pages)]


@pytest.mark.parametrize("path", sources(), ids=lambda p: str(p.relative_to(ROOT)))
def test_nothing_that_is_printed_reads_as_advice(path: Path) -> None:
    if path.suffix == ".py":
        found = advice(literals(path))
    elif path.suffix == ".toml":
        found = advice(texts(tomllib.loads(path.read_text(encoding="utf-8"))))
    else:
        found = advice(iter(path.read_text(encoding="utf-8").splitlines()))
    assert found == []


@pytest.mark.parametrize("text", [
    "close the gap first", "compress first, lock afterwards", "the plate should cover the apex",
    "the thread of a lag screw must lie entirely beyond the fracture", "Here tightening pays",
    "place the screw in a hole", "the leg may be loaded"])
def test_advice_is_found(text: str) -> None:
    assert advice(iter([text])) == [text]
