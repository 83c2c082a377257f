"""The import contract: packages in the order of the data, and no circle of files anywhere.

Every import statement counts, those inside functions and under `TYPE_CHECKING` too.
"""

from __future__ import annotations

import ast
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
FLOORS: tuple[tuple[str, ...], ...] = (
    ("buttress.fe.errors", "buttress.fe.status", "buttress.fe.arrays"),
    ("buttress.fe.threads", "buttress.fe.silence", "buttress.fe.richardson"),
    ("buttress.fe.mesh",),
    ("buttress.fe.bodies",),
    ("buttress.fe.links",),
    ("buttress.fe.solve",),
    ("buttress.fe.moved",),
    ("buttress.fe.verification",),
    ("buttress.words", "buttress.display", "buttress.files", "buttress.versions",
     "buttress.workers"),
    ("buttress.study",),
    ("buttress.bone",),
    ("buttress.implants",),
    ("buttress.rules",),
    ("buttress.model",),
    ("buttress.results",),
    ("buttress.comparison",),
    ("buttress.sweeps",),
    ("buttress.ranking",),
    ("buttress.improving",),
    ("buttress.draw",),
    ("buttress.report",),
    ("buttress.verification", "buttress.bench", "buttress.lesson"),
    ("buttress.cli",),
    ("buttress.__main__",),
)
"""From the bottom up: a package may import from floors below its own, and within itself."""
FACADE = "buttress"
"""Label, version and lazily loaded names; its own imports are strings, not statements."""


def modules() -> dict[str, Path]:
    """Every module of the product by its import name."""
    found = {}
    for folder, name in ((ROOT / "fe", "buttress.fe"), (ROOT / "constructs", "buttress")):
        for path in sorted(folder.rglob("*.py")):
            if folder.name == "constructs" and path.relative_to(folder).parts[0] == "fe":
                continue    # the link to the folder `fe`
            parts = [name, *path.relative_to(folder).with_suffix("").parts]
            found[".".join(parts).removesuffix(".__init__")] = path
    return found


MODULES = modules()


def imports(source: str, module: str) -> set[str]:
    """The product's modules that a source imports, wherever the statement stands."""
    found = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{module}: a relative import"
            names = [f"{node.module}.{alias.name}" for alias in node.names]
            names = [n if n in MODULES else str(node.module) for n in names]
        else:
            continue
        found |= {n for n in names if n.split(".")[0] == FACADE}
    return found - {module}


def floor(module: str) -> int:
    """Number of the floor on which a module lives."""
    for number, packages in enumerate(FLOORS):
        if any(module == p or module.startswith(p + ".") for p in packages):
            return number
    raise AssertionError(f"{module} has no place in the order of packages")


def package(module: str) -> str:
    """The package, among those of its floor, to which a module belongs."""
    return next(p for p in FLOORS[floor(module)] if module == p or module.startswith(p + "."))


def upward(module: str, targets: set[str]) -> list[str]:
    """Imports that do not go down."""
    return sorted(t for t in targets if t != FACADE and package(t) != package(module)
                  and floor(t) >= floor(module))


INNER = [m for m in MODULES if m not in (FACADE, "buttress.fe")]


@pytest.mark.parametrize("module", INNER)
def test_imports_go_down(module: str) -> None:
    found = imports(MODULES[module].read_text(encoding="utf-8"), module)
    assert upward(module, found) == []
    assert all(t in MODULES for t in found), found - set(MODULES)


def test_no_circle_of_files() -> None:
    graph = {m: imports(p.read_text(encoding="utf-8"), m) - {FACADE} for m, p in MODULES.items()}
    try:
        order = list(TopologicalSorter(graph).static_order())
    except CycleError as error:
        raise AssertionError(f"a circle: {' -> '.join(error.args[1])}") from None
    assert len(order) >= len(MODULES)


def test_the_facade_imports_nothing_of_its_own() -> None:
    assert imports(MODULES[FACADE].read_text(encoding="utf-8"), FACADE) == set()
    assert imports(MODULES["buttress.fe"].read_text(encoding="utf-8"), "buttress.fe") == set()


def test_the_solver_knows_nothing_of_bone_tables_or_pictures() -> None:
    outside = {"pandas", "matplotlib", "click", "rich", "pydantic", "jinja2"}
    for module, path in MODULES.items():
        if not module.startswith("buttress.fe"):
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        names = {a.name.split(".")[0] for n in ast.walk(tree) if isinstance(n, ast.Import)
                 for a in n.names}
        names |= {n.module.split(".")[0] for n in ast.walk(tree)
                  if isinstance(n, ast.ImportFrom) and n.module}
        assert not names & outside, module


@pytest.mark.parametrize(("source", "module", "wrong"), [
    ("from buttress.report.page import x", "buttress.results.read", ["buttress.report.page"]),
    ("def f():\n    import buttress.cli.app", "buttress.study.read", ["buttress.cli.app"]),
    ("if TYPE_CHECKING:\n    from buttress.model import model", "buttress.bone.bone",
     ["buttress.model.model"]),
    ("from buttress.bench.run import x", "buttress.lesson.page", ["buttress.bench.run"]),
    ("from buttress.study.study import Study", "buttress.bone.bone", [])])
def test_an_upward_import_is_noticed(source: str, module: str, wrong: list[str]) -> None:
    assert upward(module, imports(source, module)) == wrong
