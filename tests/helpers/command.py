"""The command in a process of its own, as a user starts it.

Each run is a child of one server that has the code loaded: what a test asks is the same, without
the second or two of imports of a new interpreter. `test_command.py` starts a plain one too.
"""

from __future__ import annotations

import atexit
import json
import os
import select
import subprocess
import sys
import tempfile
from functools import cache
from pathlib import Path

SERVER = """
import json, os, sys, traceback
import buttress.comparison.compare, buttress.report.folder, buttress.draw.all, buttress.cli.app
for line in sys.stdin:
    asked = json.loads(line)
    child = os.fork()
    if child == 0:
        for name, number in (("out", 1), ("err", 2)):
            os.dup2(os.open(asked[name], os.O_WRONLY | os.O_CREAT | os.O_TRUNC), number)
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        os.chdir(asked["cwd"])
        os.environ.clear()
        os.environ.update(asked["env"])
        sys.argv = ["buttress", *asked["words"]]
        code = 0
        try:
            buttress.cli.app.main()
        except SystemExit as end:
            if isinstance(end.code, str):
                print(end.code, file=sys.stderr)
            code = end.code if isinstance(end.code, int) else int(end.code is not None)
        except BaseException:
            traceback.print_exc()
            code = 1
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)
    print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)
"""
LONGEST_S = 300


@cache
def _server() -> subprocess.Popen[str]:
    env = os.environ | {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
    made = subprocess.Popen([sys.executable, "-c", SERVER], stdin=subprocess.PIPE, env=env,
                            stdout=subprocess.PIPE, text=True)
    atexit.register(made.kill)
    return made


def run(*words: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    if not hasattr(os, "fork"):
        return plain(*words, cwd=cwd)
    server = _server()
    assert server.stdin is not None
    assert server.stdout is not None
    with tempfile.TemporaryDirectory() as folder:
        out, err = Path(folder) / "out", Path(folder) / "err"
        server.stdin.write(json.dumps({
            "words": words, "cwd": str(cwd or Path.cwd()), "out": str(out), "err": str(err),
            "env": dict(os.environ)}) + "\n")
        server.stdin.flush()
        if not select.select([server.stdout], [], [], LONGEST_S)[0]:
            server.kill()
            raise subprocess.TimeoutExpired(words, LONGEST_S)
        code = int(server.stdout.readline())
        return subprocess.CompletedProcess(words, code, *(
            p.read_text(encoding="utf-8") for p in (out, err)))


def plain(*words: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    """The same by a new interpreter."""
    return subprocess.run([sys.executable, "-m", "buttress", *words], cwd=cwd, text=True,
                          capture_output=True, timeout=LONGEST_S, check=False)
