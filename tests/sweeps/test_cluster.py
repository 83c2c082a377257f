"""Sweeps on a Dask cluster: a scheduler and two workers as processes, one of them killed."""

from __future__ import annotations

import os
import random
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import distributed
import pytest
from small_study import small_study
from sweep_tables import assert_same

from buttress.fe.errors import ButtressError, InputError
from buttress.sweeps.sweep import sweep

VARY = ["fracture.shear plane.friction=0.3:0.5:24", "section.modulus_scale=0.8,1"]


def free_port() -> int:
    """A port below those that the system hands out: a client of those may connect to itself."""
    for port in random.SystemRandom().sample(range(20000, 30000), 100):
        with socket.socket() as s:
            try:
                s.bind(("127.0.0.1", port))
            except OSError:
                continue
            return port
    raise AssertionError("no free port")


def spawned(module: str, *args: str) -> subprocess.Popen[bytes]:
    env = os.environ | {"PYTHONPATH": str(Path(__file__).parents[2] / ".src"), "OPENBLAS_NUM_THREADS": "1"}
    return subprocess.Popen([sys.executable, "-m", f"distributed.cli.{module}", "--no-dashboard",
                             *args], env=env, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def stopped(process: subprocess.Popen[bytes]) -> None:
    process.kill()
    process.wait()


@pytest.fixture
def scheduler() -> Iterator[tuple[str, subprocess.Popen[bytes]]]:
    port = free_port()
    process = spawned("dask_scheduler", "--host", "127.0.0.1", "--port", str(port))
    for _ in range(200):
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
            break
        except OSError:
            time.sleep(0.1)
    yield f"tcp://127.0.0.1:{port}", process
    stopped(process)


@pytest.fixture
def two_workers(scheduler: tuple[str, subprocess.Popen[bytes]]
                ) -> Iterator[list[subprocess.Popen[bytes]]]:
    workers = [spawned("dask_worker", scheduler[0], "--nthreads", "1", "--no-nanny")
               for _ in range(2)]
    # A busy machine takes its time to start them, which no test is about.
    with distributed.Client(scheduler[0], timeout=60, set_as_default=False) as client:
        client.wait_for_workers(2, timeout=60)
    yield workers
    for worker in workers:
        stopped(worker)


def test_a_cluster_gives_the_same_even_when_a_worker_is_killed(
        tmp_path: Path, scheduler: tuple[str, subprocess.Popen[bytes]],
        two_workers: list[subprocess.Popen[bytes]],
        monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("buttress.sweeps.sweep.EVERY", 0.0)
    killed = []

    def kill_one(text: str) -> None:
        if not killed and " cases, " in text:
            stopped(two_workers[0])
            killed.append(text)

    far, near = tmp_path / "far.sqlite", tmp_path / "near.sqlite"
    done = sweep(small_study(), VARY, out=far, cluster=scheduler[0], say=kill_one)
    assert killed
    assert int(killed[0].split()[0]) < 40  # in the middle of it
    assert (done.done, done.left, done.failures) == (48, 0, {})
    sweep(small_study(), VARY, out=near, workers=0)
    assert_same(far, near)


def test_a_cluster_that_is_not_there_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch
                                             ) -> None:
    monkeypatch.setattr("buttress.sweeps.cluster.WAIT", 1.0)
    for address in (f"tcp://127.0.0.1:{free_port()}", "nowhere at all"):
        with pytest.raises(InputError, match="the cluster is not reachable"):
            sweep(small_study(), VARY, out=tmp_path / "s.sqlite", cluster=address)
        assert not list(tmp_path.iterdir())   # nothing is begun


def test_an_address_that_is_none_makes_no_client(tmp_path: Path, monkeypatch: pytest.MonkeyPatch
                                                 ) -> None:
    # One that was made would wait for itself, and complain, when the process ends.
    monkeypatch.setattr("distributed.Client", lambda *args, **options: pytest.fail("a client"))
    with pytest.raises(InputError, match="missing port"):
        sweep(small_study(), VARY, out=tmp_path / "s.sqlite", cluster="nowhere")


def test_a_cluster_without_workers_is_told(tmp_path: Path,
                                           scheduler: tuple[str, subprocess.Popen[bytes]],
                                           monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("buttress.sweeps.cluster.WAIT", 2.0)
    with pytest.raises(InputError, match="no workers"):
        sweep(small_study(), VARY, out=tmp_path / "s.sqlite", cluster=scheduler[0])


def test_a_scheduler_that_goes_away_is_told_and_nothing_is_lost(
        tmp_path: Path, scheduler: tuple[str, subprocess.Popen[bytes]],
        two_workers: list[subprocess.Popen[bytes]], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("buttress.sweeps.sweep.EVERY", 0.0)
    monkeypatch.setattr("buttress.sweeps.cluster.WAIT", 2.0)
    path = tmp_path / "s.sqlite"

    def kill_it(text: str) -> None:
        if " cases, " in text:
            stopped(scheduler[1])

    with pytest.raises(ButtressError, match="the same command resumes from there"):
        sweep(small_study(), VARY, out=path, cluster=scheduler[0], say=kill_it)
    done = sweep(small_study(), VARY, out=path, workers=0)
    assert done.skipped > 0
    assert done.skipped + done.done == 48
