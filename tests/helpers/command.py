"""The command in a process of its own, as a user starts it."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path


def run(*words: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "buttress", *words], cwd=cwd, text=True,
                          capture_output=True, timeout=300, check=False)
