"""The stated faults: where each is, what it breaks, and which tests should notice."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).parent
ROOT = HERE.parents[1]
LISTS = ("readings", "constructs", "solver")
STORED = ("tests/report/test_gallery.py", "tests/lesson/test_gallery_lesson.py",
          "tests/verification/test_bench_report.py")
"""Tests that compare with stored numbers: those of the gallery, lesson, bench and verification."""


@dataclass(frozen=True)
class Fault:
    """A wrong text in one file. ``tests``: files with a test of the physics that it breaks."""

    name: str
    file: str
    text: str
    put: str
    breaks: str
    tests: tuple[str, ...]

    def applied(self, content: str) -> str:
        """The file's content with the fault. Raises ValueError unless its text is there once."""
        if content.count(self.text) != 1:
            raise ValueError(f"{self.name}: {self.file} holds its text {content.count(self.text)} "
                             "times, not once")
        return content.replace(self.text, self.put)


def faults() -> list[Fault]:
    """All stated faults, in the order of their lists."""
    return [Fault(**{**row, "tests": tuple(row["tests"])})
            for name in LISTS
            for row in tomllib.loads((HERE / f"{name}.toml").read_text())["fault"]]
