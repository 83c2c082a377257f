"""Workers that begin as forks of a process that is kept ready: same answers, and nothing is left."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
from small_study import small_study

from buttress import write_study

pytestmark = pytest.mark.skipif(not Path("/proc").is_dir(), reason="reads processes from /proc")
CODE = ("import os, sys\nos.sched_getaffinity = lambda pid: {0, 1}\n"
        "from buttress.cli.app import main\nmain()")


def words(folder: Path, workers: int) -> list[str]:
    write_study(small_study(), folder / "s.toml")
    return [sys.executable, "-c", CODE, "compare", "s.toml", "--json", "--workers", str(workers),
            "--out", f"out-{workers}"]


def forks(folder: Path) -> list[int]:
    """Processes that work in a folder."""
    found = []
    for entry in Path("/proc").iterdir():
        try:
            if entry.name.isdigit() and (entry / "cwd").resolve() == folder.resolve():
                found.append(int(entry.name))
        except OSError:
            continue
    return found


def answered(folder: Path, workers: int) -> dict[str, Any]:
    done = subprocess.run(words(folder, workers), cwd=folder, capture_output=True, text=True,
                          check=False)
    assert done.returncode == 0, done.stderr
    data = json.loads(done.stdout)
    assert data.pop("results").endswith(f"out-{workers}")
    del data["seconds"]
    return dict(data)


def test_workers_answer_to_the_last_bit_and_draw_to_the_last_byte(tmp_path: Path) -> None:
    assert answered(tmp_path, 2) == answered(tmp_path, 1)
    one, two = tmp_path / "out-1", tmp_path / "out-2"
    drawn = [p.name for p in one.glob("*.png")]
    assert len(drawn) > 3
    for name in drawn:
        assert (one / name).read_bytes() == (two / name).read_bytes(), name
    assert not forks(tmp_path)


@pytest.mark.parametrize(("number", "code"), [
    (signal.SIGTERM, 143), (signal.SIGKILL, -signal.SIGKILL)])
def test_no_process_outlives_the_command(number: int, code: int, tmp_path: Path) -> None:
    with subprocess.Popen(words(tmp_path, 2), cwd=tmp_path, stdout=subprocess.DEVNULL,
                          stderr=subprocess.DEVNULL) as command:
        until = time.monotonic() + 60.0
        while len(forks(tmp_path)) < 4 and time.monotonic() < until:    # itself, that, two workers
            time.sleep(0.05)
        there = forks(tmp_path)
        assert len(there) >= 4
        assert any(b"forkserver" in Path(f"/proc/{p}/cmdline").read_bytes() for p in there)
        os.kill(command.pid, number)
        assert command.wait(30.0) == code
    until = time.monotonic() + 20.0
    while forks(tmp_path) and time.monotonic() < until:
        time.sleep(0.05)
    assert not forks(tmp_path)
