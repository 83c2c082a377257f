"""Break a copy of the code in stated ways, one after another, and report which tests notice.

    .venv/bin/python tests/faults/run.py --missed --out tests/faults/noticed.md

Each fault (solver.toml, constructs.toml, readings.toml) is put into a copy, and the test files of
the physics that it breaks are run there one by one until one fails. `--stored` also runs the
comparisons with stored numbers where none does. Some fifteen minutes of one core. `--only TEXT`
keeps the faults whose name contains a text, `--missed` those that the table in `--out` does not
show as noticed by a test of their physics; the other rows stay. `noticed.md` is the committed table.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import re
import shutil
import sys
import tempfile
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from time import perf_counter

import pydantic  # noqa: F401  libraries that every child would import again
import pytest
import scipy.optimize
import scipy.sparse.linalg  # noqa: F401
import shapely.geometry  # noqa: F401
from planted import ROOT, STORED, Fault, faults

COPIED = ("fe", "constructs", "tests", "notebooks", "results", ".src", ".ci", "README.md",
          "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "pyproject.toml", ".citation.cff")
MARK, LATE = "first to fail: ", " does not end"
PHYSICS, ONLY_STORED, NOTHING = "a test of its physics", "stored numbers only", "nothing"
CHILDREN = multiprocessing.get_context("fork")
LONGEST_S = 1800.0
"""Seconds after which a test that does not end counts as one that notices."""


@dataclass(frozen=True)
class Found:
    """What noticed a fault: kind, the first test that failed, and the seconds that it took."""

    fault: Fault
    by: str
    test: str
    seconds: float


def copied(target: Path) -> None:
    """A copy of the work tree, links as links."""
    for name in COPIED:
        source = ROOT / name
        if source.is_dir():
            shutil.copytree(source, target / name, symlinks=True, ignore=shutil.ignore_patterns(
                "__pycache__", ".pytest_cache", ".hypothesis"))
        elif source.exists():
            shutil.copy2(source, target / name)


def first_failure(tree: Path, tests: Sequence[str]) -> str | None:
    """The first test that fails in a tree; None where all pass. Raises RuntimeError where no test
    could be run."""
    said = tree / "said.txt"
    child = CHILDREN.Process(target=_tested, args=(tree, tuple(tests), said))
    child.start()
    child.join(LONGEST_S)
    if child.is_alive():
        child.terminate()
        child.join()
        return f"{tests[0]}{LATE}"
    if child.exitcode == 0:
        return None
    text = said.read_text(encoding="utf-8")
    told = re.findall(f"^{MARK}(.+)$", text, re.M)
    if not told:
        raise RuntimeError(text[-2000:])
    return str(told[0])


class Teller:
    """Names what fails, on a line of its own: a test's name may hold anything."""

    @staticmethod
    def pytest_runtest_logreport(report: pytest.TestReport) -> None:
        if report.failed:
            print(f"\n{MARK}{report.nodeid}")

    @staticmethod
    def pytest_collectreport(report: pytest.CollectReport) -> None:
        if report.failed:
            print(f"\n{MARK}{report.nodeid}")


def _tested(tree: Path, tests: tuple[str, ...], said: Path) -> None:
    """Run tests in a tree, in a child that has the libraries but not the code; ends it."""
    os.chdir(tree)
    os.environ["PYTHONPATH"] = str(tree / ".src")
    sys.path[:] = [str(tree / ".src"), *(p for p in sys.path if not p.endswith("/.src")
                                         and p != str(Path(__file__).parent))]
    with said.open("w", encoding="utf-8") as file:
        for stream in (sys.stdout, sys.stderr):
            os.dup2(file.fileno(), stream.fileno())
        code = pytest.main(["-x", "-q", "-s", "-p", "no:cacheprovider", "-p", "no:xdist", *tests],
                           plugins=[Teller()])
        sys.stdout.flush()
    os._exit(int(code))


def tried(tree: Path, fault: Fault, sound: set[str] | None, stored: bool) -> Found:
    """Put a fault into a tree, see what notices, and take it out again.

    ``sound``: tests known to pass without a fault, None where all are. Raises RuntimeError where what notices fails
    anyway.
    """
    path, start = tree / fault.file, perf_counter()
    whole = path.read_text(encoding="utf-8")
    path.write_text(fault.applied(whole), encoding="utf-8")
    try:
        for by, tests in ((PHYSICS, fault.tests), (ONLY_STORED, STORED if stored else ())):
            for name in tests:
                if failed := first_failure(tree, [name]):
                    found = Found(fault, by, failed, perf_counter() - start)
                    path.write_text(whole, encoding="utf-8")
                    if (sound is not None and LATE not in failed and failed not in sound
                            and first_failure(tree, [failed])):
                        raise RuntimeError(f"{failed} fails without a fault too")
                    if sound is not None:
                        sound.add(failed)
                    return found
        return Found(fault, NOTHING, "", perf_counter() - start)
    finally:
        path.write_text(whole, encoding="utf-8")


def row(x: Found) -> str:
    """A fault as a row of the table."""
    test = x.test.replace("|", " ")[:110] or "-"
    return (f"| {x.fault.name} | {x.fault.file} | {x.fault.breaks} | {x.by} | `{test}` | "
            f"{x.seconds:.0f} |")


def table(rows: dict[str, str]) -> str:
    """The report, as Markdown, of rows by fault."""
    count = Counter(line.split(" | ")[3] for line in rows.values())
    head = ["# Planted faults", "",
            f"{len(rows)} faults, each in a copy of the code: noticed by "
            + ", ".join(f"{by}: {count[by]}" for by in (PHYSICS, ONLY_STORED, NOTHING))
            + ". Only the test files of the physics that a fault breaks are run, up to the first "
            "test that fails; comparisons with stored numbers, where asked for, where none does.", "",
            "| fault | file | breaks | noticed by | first test that fails | s |",
            "| --- | --- | --- | --- | --- | --- |"]
    return "\n".join([*head, *rows.values()]) + "\n"


def rows_of(text: str) -> dict[str, str]:
    """The rows of a table, by fault."""
    lines = [x for x in text.splitlines() if x.startswith("| ")][2:]
    return {x.split(" | ")[0].removeprefix("| "): x for x in lines}


def main() -> int:
    given = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    given.add_argument("--only", default="", help="faults whose name contains this")
    given.add_argument("--out", type=Path, required=True, help="file for the table")
    given.add_argument("--missed", action="store_true", help="those not yet noticed in --out")
    given.add_argument("--stored", action="store_true",
                       help="compare with stored numbers too, where no test notices (minutes each)")
    given.add_argument("--trusted", action="store_true",
                       help="take it that all tests pass without a fault, and try none of them so")
    asked = given.parse_args()
    os.environ |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    every = {f.name: f for f in faults()}
    rows = rows_of(asked.out.read_text(encoding="utf-8")) if asked.missed else {}
    rows = {name: line for name, line in rows.items() if name in every}
    chosen = [f for f in every.values() if asked.only in f.name
              and not (f.name in rows and rows[f.name].split(" | ")[3] == PHYSICS)]
    sound: set[str] | None = None if asked.trusted else set()
    with tempfile.TemporaryDirectory(prefix="faults-") as folder:
        copied(Path(folder))
        for number, fault in enumerate(chosen, 1):
            found = tried(Path(folder), fault, sound, asked.stored)
            rows[fault.name] = row(found)
            print(f"{number}/{len(chosen)} {fault.name}: {found.by} {found.test} "
                  f"({found.seconds:.0f} s)", flush=True)
            asked.out.write_text(table({n: rows[n] for n in every if n in rows}),
                                 encoding="utf-8")
    print(table(rows).splitlines()[2])
    return 0 if all(x.split(" | ")[3] == PHYSICS for x in rows.values()) else 1


if __name__ == "__main__":
    sys.exit(main())
