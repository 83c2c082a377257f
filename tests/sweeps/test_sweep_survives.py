"""Sweeps that are killed, interrupted, or hold cases that fail: nothing stored is lost."""

from __future__ import annotations

import os
import signal
import time
from contextlib import closing
from pathlib import Path
from sqlite3 import connect

import pytest
from small_study import small_study
from sweep_tables import SCRIPT, alive, assert_same, rows_of, started, wait_for_cases

from buttress import workers as workers_module
from buttress.sweeps.design import make_design
from buttress.sweeps.evaluate import Options, Outcome, Task, job
from buttress.sweeps.status import sweep_status
from buttress.sweeps.store import Store
from buttress.sweeps.sweep import (
    make_plan,
    sweep,
)

FRICTION = "fracture.shear plane.friction"
VARY = [f"{FRICTION}=0.3,0.45", "section.modulus_scale=0.8,1"]
MANY = [f"{FRICTION}=0.3:0.5:12", "section.modulus_scale=0.8,1"]


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The store of a sweep of many cases that nothing interrupts."""
    path = tmp_path_factory.mktemp("whole") / "whole.sqlite"
    sweep(small_study(), MANY, out=path, workers=0)
    return path


def test_a_killed_sweep_goes_on_and_equals_one_run(tmp_path: Path, whole: Path) -> None:
    path = tmp_path / "s.sqlite"
    process = started(path, 2, "nothing,lag screws", *MANY)
    wait_for_cases(path, 2, process)
    process.kill()
    process.wait()
    for pipe in (process.stdout, process.stderr):
        pipe.close()  # not read to its end: workers that live on would hold it open
    solved = sweep_status(path).done
    assert 2 <= solved < 24
    assert worker_pids(path)
    deadline = time.monotonic() + 20.0
    while any(alive(pid) for pid in worker_pids(path)) and time.monotonic() < deadline:
        time.sleep(0.1)
    assert not any(alive(pid) for pid in worker_pids(path)), "workers outlive their parent"
    done = sweep(small_study(), MANY, out=path, workers=0)
    assert (done.skipped, done.done) == (solved, 24 - solved)
    assert_same(path, whole)


def test_kills_at_any_moment_lose_nothing_that_was_stored(tmp_path: Path, whole: Path) -> None:
    # While the store is made, while workers start, and between cases.
    path = tmp_path / "s.sqlite"
    solved = 0
    lock = Path(f"{path}.lock")
    for moment in (0.0, 0.01, 0.5, 4.0):
        lock.unlink(missing_ok=True)  # left by the one that was killed
        process = started(path, 2, "nothing,lag screws", *MANY)
        while not lock.exists() and process.poll() is None:
            time.sleep(0.001)
        time.sleep(moment)
        os.killpg(process.pid, signal.SIGKILL)
        process.communicate()
        if path.exists():
            with Store(path, *_asked(MANY)) as store:
                assert len(store.done()) >= solved
                solved = len(store.done())
    done = sweep(small_study(), MANY, out=path, workers=0)
    assert (done.skipped, done.done, done.failures) == (solved, 24 - solved, {})
    assert_same(path, whole)


def _asked(vary: list[str]) -> tuple:
    design = make_design(small_study(), vary)
    plan = make_plan(small_study(), design, Options())
    return plan.about(), design, list(plan.hashes)


def worker_pids(path: Path) -> set[int]:
    with closing(connect(path)) as db:
        return {r[0] for r in db.execute("SELECT worker FROM timings")}


@pytest.mark.parametrize("solved", [0, 1])
def test_ctrl_c_finishes_the_cases_in_flight_and_says_how_to_go_on(tmp_path: Path, solved: int
                                                                   ) -> None:
    vary = [f"{FRICTION}=0.3:0.5:30", "section.modulus_scale=0.8,1"]
    path = tmp_path / "s.sqlite"
    process = started(path, 2 - solved, "nothing,lag screws", *vary)
    wait_for_cases(path, solved, process)
    if not solved:
        time.sleep(0.3)  # the workers are being started
    os.killpg(process.pid, signal.SIGINT)  # as a terminal does: to the workers, too
    out, err = process.communicate(timeout=120)
    assert process.returncode == 0
    assert out.strip() == "interrupted"
    assert "cases in progress are finished" in err
    assert "the same command resumes from here" in err
    assert "Traceback" not in err
    assert "a worker died" not in err
    assert solved <= sweep_status(path).done < 60


def test_a_second_ctrl_c_drops_the_cases_in_flight_at_once(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # Workers take what they do from a module, not from the script.
    (tmp_path / "endless.py").write_text("import time\ndef work(task): time.sleep(600)\n")
    endless = "import buttress.workers, endless\nbuttress.workers._work = endless.work\nif __name__"
    monkeypatch.setattr("sweep_tables.SCRIPT", SCRIPT.replace("if __name__", endless))
    path = tmp_path / "s.sqlite"
    process = started(path, 2, "nothing", *VARY)
    wait_for_cases(path, 0, process)
    time.sleep(1.0)
    os.kill(process.pid, signal.SIGINT)
    assert "cases in progress are finished" in process.stderr.readline()
    os.kill(process.pid, signal.SIGINT)
    _, err = process.communicate(timeout=60)  # not the 600 s that the cases would take
    assert "in progress were abandoned" in err
    assert "the same command resumes from here" in err
    assert "worker died" not in err
    assert sweep_status(path).done == 0
    assert not Path(f"{path}.lock").exists()


def test_a_worker_that_is_killed_is_survived(tmp_path: Path,
                                             capsys: pytest.CaptureFixture[str]) -> None:
    path, killed = tmp_path / "s.sqlite", []

    def kill_once(text: str) -> None:
        if not killed and "cases" in text:
            killed.extend(worker_pids(path))
            for pid in killed:
                os.kill(pid, signal.SIGKILL)

    monkey = pytest.MonkeyPatch()
    with monkey.context() as patch:
        patch.setattr("buttress.sweeps.sweep.EVERY", 0.0)
        done = sweep(small_study(), VARY, out=path, workers=1, say=kill_once)
    assert killed
    assert (done.done, done.failures) == (4, {})
    assert "a worker died" in capsys.readouterr().err
    whole = tmp_path / "whole.sqlite"
    sweep(small_study(), VARY, out=whole, workers=0)
    assert_same(path, whole)


def test_a_case_that_kills_its_workers_becomes_a_row(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workers_module, "_work", deadly)
    tasks = [[Task(n, f"h{n}", {"deadly": n == 2}, {}) for n in (1, 2, 3, 4)]]
    found = {o.number: o for o in workers_module.local(tasks, job(Options()), 1, lambda: False)}
    assert sorted(found) == [1, 2, 3, 4]
    assert [f["status"] for f in found[2].failures] == ["worker died"]
    assert not any(found[n].failures for n in (1, 3, 4))


def deadly(task: Task) -> Outcome:
    if task.data["deadly"]:
        os._exit(9)
    return Outcome(task.number, task.hash)


def test_invalid_combinations_and_failing_cases_are_rows_and_never_a_stop(tmp_path: Path) -> None:
    # Each value is fine by itself; together the fragment's point lies in the shaft.
    vary = ["fragment.medial.inside_mm.1=-25,-8", "fracture.shear plane.slope_deg=20,35",
            "construct.lag screws.screw.lower lag.thread_mm=32,62",
            "construct.lag screws.screw.lower lag.length_mm=62,45"]
    path = tmp_path / "s.sqlite"
    done = sweep(small_study("lag screws"), vary, out=path, workers=0)
    assert done.done + done.failures["refused"] >= 16
    assert done.failed
    state = sweep_status(path)
    assert state.done == state.cases == 16
    assert any("thread" in r[-1] for r in rows_of(path, "failures"))
    again = sweep(small_study("lag screws"), vary, out=path, workers=0)
    assert again.done == 0


def test_an_error_inside_a_case_is_a_row_and_is_tried_again(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "s.sqlite"
    with monkeypatch.context() as patch:
        patch.setattr("buttress.sweeps.evaluate.bracket", lambda *a: 1 / 0)
        done = sweep(small_study("lag screws"), VARY, out=path, workers=0)
    assert done.failures == {"error": 4}
    assert "ZeroDivisionError" in rows_of(path, "failures")[0][-1]
    done = sweep(small_study("lag screws"), VARY, out=path, workers=0)
    assert (done.done, done.failures) == (4, {})
