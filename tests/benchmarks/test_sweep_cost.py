"""What a case of a sweep costs: against a solve from scratch, over workers, and in the store.

    python -m pytest tests/benchmarks/test_sweep_cost.py --benchmark-enable -s

In the normal run tiny sweeps on a coarse mesh only show that this works.
"""

from __future__ import annotations

import itertools
import os
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from sqlite3 import connect
from time import perf_counter

import numpy as np
import pytest

from constructs.design import make_design
from constructs.evaluate import Evaluator, Options, Outcome, Task
from constructs.grouping import planned
from constructs.schema import Study
from constructs.store import Store
from constructs.store_layout import LAYOUT
from constructs.study import example
from constructs.sweep import run_sweep
from constructs.vary import Varier

FRICTION = "fracture.shear plane.friction"
# Each changes one thing; number i gives values that were not there before.
CHANGES = {
    "load": lambda i: {"load.total_N": 700.0 + i},
    "friction": lambda i: {FRICTION: 0.4 + 0.001 * i, "load.total_N": 700.0},
    "strength": lambda i: {"scale.cancellous_strength": 0.8 + 0.001 * i, "load.total_N": 700.0},
    "bearing stiffness": lambda i: {"scale.bearing_stiffness": 0.8 + 0.001 * i,
                                    "load.total_N": 700.0},
    "screw position": lambda i: {"construct.*.screw.*.angle_deg": 0.2 + 0.2 * i,
                                 "load.total_N": 700.0},
    "modulus": lambda i: {"section.modulus_scale": 1.001 + 0.001 * i, "load.total_N": 700.0},
}


MEMBERS = {
    "screws of titanium": {"construct.*.screw.*.material": "titanium"},
    "another plate": {"construct.*.plate.*.section": "3.5 straight"},
}
"""Sections and materials of members: measured once each on a bone that is known."""


def study_of(benchmark) -> Study:
    study = example("medial-shear")
    if benchmark.enabled:
        return study
    few = tuple(c for c in study.constructs if c.name in ("nothing", "antiglide"))
    coarse = study.mesh.model_copy(update={"size_mm": 4.0, "coarse_mm": 8.0})
    return study.model_copy(update={"mesh": coarse, "constructs": few})


def task(study: Study, values: dict[str, object], number: int = 1) -> Task:
    plan = planned(number, Varier(study).case(values), {})
    return Task(number, plan.hash, plan.data, plan.scales)


def said(benchmark, text: str) -> None:
    if benchmark.enabled:
        print(text)


def test_a_case_beside_a_solve_from_scratch(benchmark) -> None:
    """Seconds a construct by what has changed, and how many times less than from scratch."""
    study = study_of(benchmark)
    each = len(study.constructs)
    evaluator, rounds = Evaluator(Options()), 5 if benchmark.enabled else 1
    evaluator.evaluate(task(study, {"load.total_N": 650.0}))
    scratch = []
    for i in range(rounds):
        start = perf_counter()
        Evaluator(Options()).evaluate(task(study, CHANGES["load"](50 + i)))
        scratch.append(perf_counter() - start)
    seconds = {}
    for what, change in CHANGES.items():
        found = [evaluator.evaluate(task(study, change(i))) for i in range(rounds)]
        assert not any(f.failures for f in found)
        seconds[what] = float(np.median([f.seconds for f in found])) / each
    for what, values in MEMBERS.items():
        known = Evaluator(Options())
        known.evaluate(task(study, {"load.total_N": 650.0}))
        found = known.evaluate(task(study, {**values, "load.total_N": 700.0}))
        seconds[what] = found.seconds / max(1, found.counts["condensed"])
    whole = float(np.median(scratch)) / each
    said(benchmark, f"\nfrom scratch in this process: {whole:.4f} s a construct")
    for what, value in seconds.items():
        said(benchmark, f"{what:18} {value:.4f} s a construct, {whole / value:5.1f} times less")
    benchmark.extra_info.update(scratch=whole, seconds=seconds)
    counter = itertools.count(100)
    benchmark(lambda: evaluator.evaluate(task(study, CHANGES["friction"](next(counter)))))
    assert seconds["load"] < whole


def test_a_case_beside_a_new_process(benchmark) -> None:
    study = study_of(benchmark)
    code = ("import sys, json; from constructs.study import study_from\n"
            "from constructs.evaluate import Evaluator, Options, Task\n"
            "data = json.load(sys.stdin)\n"
            "found = Evaluator(Options()).evaluate(Task(1, '', data, {}))\n"
            "assert not found.failures\n")
    import json

    text = json.dumps(task(study, {"load.total_N": 700.0}).data)
    start = perf_counter()
    subprocess.run([sys.executable, "-c", code], input=text, text=True, check=True)
    alone = perf_counter() - start
    evaluator = Evaluator(Options())
    evaluator.evaluate(task(study, {"load.total_N": 650.0}))
    numbers = iter(range(10_000))
    outcome = benchmark.pedantic(
        lambda: evaluator.evaluate(task(study, CHANGES["load"](next(numbers)))),
        rounds=5 if benchmark.enabled else 1)
    said(benchmark, f"\nin a new process {alone:.2f} s, as a further load in a sweep "
                    f"{outcome.seconds:.3f} s: {alone / outcome.seconds:.0f} times less")
    assert outcome.seconds < alone


def test_scaling_from_one_to_two_workers(benchmark, tmp_path: Path) -> None:
    """Efficiency on the same cases, starting of the processes left out, and memory of a worker."""
    study = study_of(benchmark)
    count = 100 if benchmark.enabled else 3
    seconds = []
    for workers in (1, 2):
        marks: list[float] = []
        peaks: list[float] = []
        path = tmp_path / f"{workers}.sqlite"

        def watch(text: str, path: Path = path, marks: list[float] = marks,
                  peaks: list[float] = peaks) -> None:
            if "cases, " in text:
                marks.append(perf_counter())
                if len(marks) % 20 == 0:
                    peaks.extend(peak_memory(path))

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr("constructs.sweep.EVERY", 0.0)
            run_sweep(study, [f"{FRICTION}=0.45:0.6:{count}", "load.total_N=700,800"], out=path,
                      workers=workers, say=watch)
        # From when all workers have their bone to the end.
        seconds.append((marks[-1] - marks[workers - 1]) / (len(marks) - workers))
        said(benchmark, f"\n{workers} workers: {1 / seconds[-1]:.2f} cases a second, "
                        f"{max(peaks, default=0) / 2**20:.0f} MiB peak a worker")
    said(benchmark, f"efficiency from one to two workers: {seconds[0] / (2 * seconds[1]):.2f}")
    benchmark.extra_info.update(seconds=seconds)
    benchmark(lambda: None)
    assert min(seconds) > 0


def peak_memory(path: Path) -> list[float]:
    """Largest resident memory of each worker so far, bytes; empty where the system does not say."""
    found = []
    with closing(connect(f"file:{path}?mode=ro", uri=True)) as db:
        for (pid,) in db.execute("SELECT DISTINCT worker FROM timings"):
            status = Path(f"/proc/{pid}/status")
            if status.exists():
                line = next(x for x in status.read_text().splitlines() if x.startswith("VmHWM"))
                found.append(1024.0 * int(line.split()[1]))
    return found


def test_ten_thousand_solves(benchmark, tmp_path: Path) -> None:
    """Further loads and friction of all constructs, store included, on all cores."""
    study = study_of(benchmark)
    wanted = 10_000 if benchmark.enabled else 12
    if benchmark.enabled and os.environ.get("BUTTRESS_BENCH_LARGE") != "1":
        wanted = 1_000
    cases = -(-wanted // len(study.constructs))
    path = tmp_path / "s.sqlite"
    start = perf_counter()
    done = benchmark.pedantic(lambda: run_sweep(
        study, ["load.total_N=uniform(200, 1500)", f"{FRICTION}=uniform(0.3, 0.6)"],
        samples=cases, seed=1, out=path), rounds=1)
    seconds = perf_counter() - start
    solves = cases * len(study.constructs)
    said(benchmark, f"\n{solves} solves in {seconds:.0f} s: {1e4 * seconds / solves:.0f} s for "
                    f"10,000; {path.stat().st_size / cases:.0f} bytes a case of "
                    f"{len(study.constructs)} constructs; {done.failures}")
    assert done.done == cases


def test_throughput_of_the_store(benchmark, tmp_path: Path) -> None:
    study = study_of(benchmark)
    count = 2000 if benchmark.enabled else 5
    design = make_design(study, [f"{FRICTION}=0.3:0.6:{count}"])
    outcome = Evaluator(Options()).evaluate(task(study, {"load.total_N": 700.0}))
    about = {"layout": LAYOUT, "design": design.described()}
    path = tmp_path / "s.sqlite"
    with Store(path, about, design, [""] * count) as store:
        numbers = itertools.count(1)
        start = perf_counter()
        for number in itertools.islice(numbers, count):
            store.write(Outcome(**{**vars(outcome), "number": number}))
        rate = count / (perf_counter() - start)
        benchmark.pedantic(lambda: store.write(outcome), rounds=1)
    said(benchmark, f"\nstore: {rate:.0f} cases a second, "
                    f"{path.stat().st_size / count:.0f} bytes a case of one load")
    assert rate > 10
