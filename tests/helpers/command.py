"""The command as a user starts it, and in this process, which spares it the imports."""

from __future__ import annotations

import contextlib
import io
import signal
import subprocess
import sys
from pathlib import Path
from unittest.mock import patch

from buttress.cli.app import main

Done = subprocess.CompletedProcess[str]


def run(*words: str, cwd: Path | None = None) -> Done:
    """In a process of its own."""
    return subprocess.run([sys.executable, "-m", "buttress", *words], cwd=cwd, text=True,
                          capture_output=True, timeout=300, check=False)


def inside(*words: str, cwd: Path | None = None) -> Done:
    """In this process, for tests that are not about processes."""
    out, err = io.StringIO(), io.StringIO()
    before = {n: signal.getsignal(n) for n in (signal.SIGTERM, signal.SIGINT)}
    code: object = 0
    try:
        with (patch.object(sys, "argv", ["buttress", *words]), contextlib.chdir(cwd or Path()),
              contextlib.redirect_stdout(out), contextlib.redirect_stderr(err)):
            main()
    except SystemExit as left:
        code = left.code or 0
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
    assert isinstance(code, int)
    return Done(["buttress", *words], code, out.getvalue(), err.getvalue())
