"""Comparing stores of sweeps, and running sweeps in processes that get killed."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import numpy as np

ROUNDING = ("residual", "complementarity")
"""Columns that are nothing but rounding."""


def rows_of(path: Path, table: str) -> list[tuple]:
    """Rows of a table without the columns that are nothing but rounding, in a fixed order."""
    with closing(sqlite3.connect(path)) as db:
        names = [r[1] for r in db.execute(f"PRAGMA table_info({table})") if r[1] not in ROUNDING]
        listed = ", ".join(f'"{n}"' for n in names)
        return db.execute(f"SELECT {listed} FROM {table} ORDER BY {listed}").fetchall()


def assert_same(one: Path, other: Path, rtol: float = 1e-10) -> None:
    """The same figures in two stores: texts and whole numbers alike, the others to rounding."""
    for table in ("design", "capacities", "results", "fragments", "edges"):
        a, b = rows_of(one, table), rows_of(other, table)
        assert len(a) == len(b) > 0, table
        for x, y in zip(a, b, strict=True):
            for left, right in zip(x, y, strict=True):
                if isinstance(left, float) and isinstance(right, float):
                    # Next to displacements of hundredths of a millimetre 1e-13 mm is rounding.
                    np.testing.assert_allclose(left, right, rtol=rtol, atol=1e-13, err_msg=table)
                else:
                    assert left == right, (table, x, y)


SCRIPT = """
import sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from small_study import small_study
from buttress.sweeps.sweep import sweep
import buttress.sweeps.sweep
buttress.sweeps.sweep.EVERY = 0.0
if __name__ == "__main__":
    done = sweep(small_study(*sys.argv[4].split(",")), sys.argv[5:], out=Path(sys.argv[2]),
                     workers=int(sys.argv[3]), say=lambda text: print(text, file=sys.stderr, flush=True))
    print("interrupted" if done.interrupted else "whole")
"""


def started(path: Path, workers: int, constructs: str, *vary: str) -> subprocess.Popen[str]:
    """A sweep of the small study in a process group of its own."""
    script = path.with_suffix(".py")
    script.write_text(SCRIPT)
    here = Path(__file__).parent
    env = os.environ | {"PYTHONPATH": str(here.parent.parent / ".src"), "OPENBLAS_NUM_THREADS": "1"}
    return subprocess.Popen(
        [sys.executable, str(script), str(here), str(path), str(workers), constructs, *vary],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=env,
        start_new_session=True)


def wait_for_cases(path: Path, count: int, process: subprocess.Popen[str]) -> None:
    """Return once a store holds some cases. Fails where the process ends before."""
    for _ in range(1200):
        if process.poll() is not None:
            raise AssertionError(f"ended early: {process.communicate()}")
        if path.exists():
            with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as db:
                try:
                    if db.execute("SELECT count(*) FROM timings").fetchone()[0] >= count:
                        return
                except sqlite3.OperationalError:
                    pass
        time.sleep(0.05)
    process.kill()
    raise AssertionError("nothing was solved in a minute")


def alive(pid: int) -> bool:
    """Whether a process runs (one that nobody has waited for counts as ended)."""
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except FileNotFoundError:
        if Path("/proc").exists():
            return False
        try:
            os.kill(pid, 0)
        except ProcessLookupError:
            return False
        return True
    return state != "Z"
