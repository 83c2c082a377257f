"""What a case of a sweep costs: against a solve from scratch, over workers, and in the store.

    python -m pytest tests/benchmarks/test_sweep_cost.py --benchmark-enable -s

In the normal run tiny sweeps on a coarse mesh, with small movements, only show that this works.
Times are of the processor, so that what else runs on the machine counts little; elapsed times stand
beside them where they are what is asked for.
"""

from __future__ import annotations

import itertools
import os
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from sqlite3 import connect
from time import perf_counter, process_time

import numpy as np
import pytest

from buttress.study.read import example
from buttress.study.study import Study
from buttress.sweeps.design import make_design
from buttress.sweeps.evaluate import Evaluator, Options, Outcome, Task
from buttress.sweeps.keys import planned
from buttress.sweeps.layout import LAYOUT
from buttress.sweeps.store import Store
from buttress.sweeps.sweep import sweep
from buttress.sweeps.vary import Varier

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
    "plates of titanium": {"construct.*.plate.*.material": "titanium"},
    "another section": {"construct.*.plate.*.section": "one-third tubular"},
    "thicker plates": {"construct.*.plate.*.thickness_mm": 1.1},
}
"""Sections and materials of members: measured on a bone that is known, each time a new one. A
thicker plate moves the heads outwards, and with them the holes of screws that are set askew."""


def study_of(benchmark) -> Study:
    study = example("medial-shear")
    if benchmark.enabled:
        return study
    few = tuple(c for c in study.constructs if c.name in ("nothing", "antiglide"))
    coarse = study.mesh.model_copy(update={"size_mm": 4.0, "coarse_mm": 8.0})
    small = study.press.model_copy(update={"large_movements": "off"})
    return study.model_copy(update={"mesh": coarse, "press": small, "constructs": few})


def task(study: Study, values: dict[str, object], number: int = 1) -> Task:
    plan = planned(number, Varier(study).case(values), {})
    return Task(number, plan.hash, plan.data, plan.scales)


def timed(evaluator: Evaluator, given: Task) -> tuple[float, Outcome]:
    """Processor seconds of a case, and what came of it."""
    start = process_time()
    found = evaluator.evaluate(given)
    return process_time() - start, found


def children() -> float:
    """Processor seconds of all ended children so far."""
    return sum(os.times()[2:4])


def said(benchmark, text: str) -> None:
    if benchmark.enabled:
        print(text)


def test_a_case_beside_a_solve_from_scratch(benchmark) -> None:
    """Seconds a construct by what has changed, and how many times less than from scratch."""
    study = study_of(benchmark)
    each = len(study.constructs)
    evaluator, rounds = Evaluator(Options()), 5 if benchmark.enabled else 1
    evaluator.evaluate(task(study, {"load.total_N": 650.0}))
    scratch = [timed(Evaluator(Options()), task(study, CHANGES["load"](50 + i)))[0]
               for i in range(rounds)]
    seconds = {}
    for what, change in CHANGES.items():
        found = [timed(evaluator, task(study, change(i))) for i in range(rounds)]
        assert not any(f.failures for _, f in found)
        seconds[what] = float(np.median([s for s, _ in found])) / each
    changed = {}
    for what, values in MEMBERS.items():
        each_time = []
        for _ in range(rounds):
            known = Evaluator(Options())
            known.evaluate(task(study, {"load.total_N": 650.0}))
            spent, made = timed(known, task(study, {**values, "load.total_N": 700.0}))
            assert not made.failures
            each_time.append(spent)
        seconds[what] = float(np.median(each_time)) / each
        changed[what] = made.counts["condensed"]
    whole = float(np.median(scratch)) / each
    said(benchmark, f"\nfrom scratch in this process: {whole:.4f} s a construct")
    for what, value in seconds.items():
        of_them = f"; {value * each / changed[what]:.4f} s for each of {changed[what]} of {each} " \
            "that it changes" if changed.get(what) else ""
        said(benchmark, f"{what:18} {value:.4f} s a construct, {whole / value:5.1f} times less"
                        f"{of_them}")
    benchmark.extra_info.update(scratch=whole, seconds=seconds)
    counter = itertools.count(100)
    benchmark(lambda: evaluator.evaluate(task(study, CHANGES["friction"](next(counter)))))
    assert seconds["load"] < whole


def test_a_case_beside_a_new_process(benchmark) -> None:
    study = study_of(benchmark)
    code = ("import sys, json; from buttress.study.read import study_from\n"
            "from buttress.sweeps.evaluate import Evaluator, Options, Task\n"
            "data = json.load(sys.stdin)\n"
            "found = Evaluator(Options()).evaluate(Task(1, '', data, {}))\n"
            "assert not found.failures\n")
    import json

    text = json.dumps(task(study, {"load.total_N": 700.0}).data)
    start, before = perf_counter(), children()
    subprocess.run([sys.executable, "-c", code], input=text, text=True, check=True)
    alone, spent = perf_counter() - start, children() - before
    evaluator = Evaluator(Options())
    evaluator.evaluate(task(study, {"load.total_N": 650.0}))
    numbers = iter(range(10_000))
    inside = [timed(evaluator, task(study, CHANGES["load"](next(numbers))))[0]
              for _ in range(5 if benchmark.enabled else 1)]
    benchmark.pedantic(
        lambda: evaluator.evaluate(task(study, CHANGES["load"](next(numbers)))), rounds=1)
    case = float(np.median(inside))
    said(benchmark, f"\nin a new process {spent:.2f} s ({alone:.2f} s elapsed), as a further load "
                    f"in a sweep {case:.3f} s: {spent / case:.0f} times less")
    assert case < spent


def test_scaling_from_one_to_two_workers(benchmark, tmp_path: Path) -> None:
    """Efficiency on the same cases, starting of the processes left out, and memory of a worker."""
    study = study_of(benchmark)
    count = 60 if benchmark.enabled else 3
    seconds, spent = [], []
    for workers in (1, 2):
        marks: list[float] = []
        peaks: list[float] = []
        path = tmp_path / f"{workers}.sqlite"

        def watch(text: str, path: Path = path, marks: list[float] = marks,
                  peaks: list[float] = peaks) -> None:
            if " of " in text:
                marks.append(perf_counter())
                if len(marks) % 20 == 0:
                    peaks.extend(peak_memory(path))

        with pytest.MonkeyPatch.context() as patch:
            patch.setattr("buttress.sweeps.sweep.EVERY", 0.0)
            before = children()
            sweep(study, [f"{FRICTION}=0.45:0.6:{count}", "load.total_N=700,800"], out=path,
                      workers=workers, say=watch)
        # From when all workers have their bone to the end.
        seconds.append((marks[-1] - marks[workers - 1]) / (len(marks) - workers))
        spent.append((children() - before) / len(marks))
        said(benchmark, f"\n{workers} workers: {1 / seconds[-1]:.2f} cases a second elapsed, "
                        f"{spent[-1]:.3f} s of processor a case, "
                        f"{max(peaks, default=0) / 2**20:.0f} MiB peak a worker")
    said(benchmark, f"efficiency from one to two workers: {seconds[0] / (2 * seconds[1]):.2f} "
                    f"elapsed (means something on two free cores only), {spent[0] / spent[1]:.2f} "
                    "by processor time, starts included")
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
        wanted = 600
    cases = -(-wanted // len(study.constructs))
    path = tmp_path / "s.sqlite"
    start, before = perf_counter(), process_time() + children()
    done = benchmark.pedantic(lambda: sweep(
        study, ["load.total_N=uniform(200, 1500)", f"{FRICTION}=uniform(0.3, 0.6)"],
        samples=cases, seed=1, out=path, workers=None if benchmark.enabled else 0), rounds=1)
    seconds, spent = perf_counter() - start, process_time() + children() - before
    solves = cases * len(study.constructs)
    said(benchmark, f"\n{solves} solves: {spent:.0f} s of processor, {seconds:.0f} s elapsed; for "
                    f"10,000 on two cores {1e4 * spent / solves / 2:.0f} s by processor time, "
                    f"{1e4 * seconds / solves:.0f} s elapsed here; "
                    f"{path.stat().st_size / cases:.0f} bytes a case of "
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
