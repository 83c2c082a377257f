"""Versions that a result depends on, with the commit of the code that made it."""

from __future__ import annotations

import platform
import subprocess
from functools import cache
from importlib.metadata import version
from pathlib import Path

NOT_KNOWN = "not known"
HERE = Path(__file__).resolve()


def versions() -> dict[str, str]:
    """Versions that a result depends on: this package and its commit, Python, libraries."""
    names = ("numpy", "scipy", "shapely", "pythoncdt")
    out = {"buttress": version("buttress"), "commit": commit(), "python": platform.python_version()}
    return out | {n: version(n) for n in names}


@cache
def commit(source: Path = HERE) -> str:
    """The commit of the checkout that holds a source file: ``d909f441a2b3``.

    ", changed" follows where the code (`fe/` and `constructs/`) differs from it; "not known"
    outside a checkout that tracks the file (an installed wheel), or without git.
    """
    def git(*words: str) -> str:
        return subprocess.run(["git", "-C", str(source.parent), *words], capture_output=True,
                              text=True, check=True, timeout=10).stdout.strip()

    try:
        git("ls-files", "--error-unmatch", source.name)
        found = git("rev-parse", "--short=12", "HEAD")
        differs = git("status", "--porcelain", "--", ":/fe", ":/constructs")
    except (OSError, subprocess.SubprocessError):
        return NOT_KNOWN
    return f"{found}, changed" if differs else found
