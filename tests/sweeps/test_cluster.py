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

VARY = ["fracture.shear plane.friction=0.3:0.5:6", "section.modulus_scale=0.8,1"]


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


class Cluster:
    """A scheduler and workers as processes; those that a test has ended are started anew."""

    def __init__(self) -> None:
        self.address, self.scheduler, self.workers = "", None, list[subprocess.Popen[bytes]]()

    def begin(self, count: int) -> None:
        """Have a scheduler and as many workers."""
        if self.scheduler is None or self.scheduler.poll() is not None:
            self.end()
            port = free_port()
            self.address = f"tcp://127.0.0.1:{port}"
            self.scheduler = spawned("dask_scheduler", "--host", "127.0.0.1", "--port", str(port))
            for _ in range(200):
                try:
                    socket.create_connection(("127.0.0.1", port), timeout=1).close()
                    break
                except OSError:
                    time.sleep(0.1)
        alive = [w for w in self.workers if w.poll() is None]
        self.workers = alive + [
            spawned("dask_worker", self.address, "--nthreads", "1", "--no-nanny")
            for _ in range(count - len(alive))]
        # A busy machine takes its time to start them, which no test is about.
        with distributed.Client(self.address, timeout=60, set_as_default=False) as client:
            while len(client.scheduler_info()["workers"]) != count:
                time.sleep(0.1)

    def end(self) -> None:
        for process in (*self.workers, self.scheduler):
            if process is not None:
                stopped(process)
        self.workers = []


@pytest.fixture(scope="module")
def cluster() -> Iterator[Cluster]:
    made = Cluster()
    yield made
    made.end()


def test_a_cluster_without_workers_is_told(tmp_path: Path, cluster: Cluster,
                                           monkeypatch: pytest.MonkeyPatch) -> None:
    cluster.begin(0)
    monkeypatch.setattr("buttress.sweeps.cluster.WAIT", 2.0)
    with pytest.raises(InputError, match="no workers"):
        sweep(small_study(), VARY, out=tmp_path / "s.sqlite", cluster=cluster.address)


def test_a_cluster_gives_the_same_even_when_a_worker_is_killed(
        tmp_path: Path, cluster: Cluster, monkeypatch: pytest.MonkeyPatch) -> None:
    cluster.begin(2)
    monkeypatch.setattr("buttress.sweeps.sweep.EVERY", 0.0)
    killed = []

    def kill_one(text: str) -> None:
        if not killed and " cases, " in text:
            stopped(cluster.workers[0])
            killed.append(text)

    far, near = tmp_path / "far.sqlite", tmp_path / "near.sqlite"
    done = sweep(small_study(), VARY, out=far, cluster=cluster.address, say=kill_one)
    assert killed
    assert int(killed[0].split()[0]) < 10  # in the middle of it
    assert (done.done, done.left, done.failures) == (12, 0, {})
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


def test_a_scheduler_that_goes_away_is_told_and_nothing_is_lost(
        tmp_path: Path, cluster: Cluster, monkeypatch: pytest.MonkeyPatch) -> None:
    cluster.begin(1)
    monkeypatch.setattr("buttress.sweeps.sweep.EVERY", 0.0)
    monkeypatch.setattr("buttress.sweeps.cluster.WAIT", 2.0)
    path = tmp_path / "s.sqlite"

    def kill_it(text: str) -> None:
        if " cases, " in text:
            stopped(cluster.scheduler)

    with pytest.raises(ButtressError, match="the same command resumes from there"):
        sweep(small_study(), VARY, out=path, cluster=cluster.address, say=kill_it)
    done = sweep(small_study(), VARY, out=path, workers=0)
    assert done.skipped > 0
    assert done.skipped + done.done == 12
