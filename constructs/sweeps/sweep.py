"""Sweeps: many variants of a study in one store that can be stopped, resumed and queried."""

from __future__ import annotations

import contextlib
from collections import Counter
from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING, Any

from buttress.display import Displayed
from buttress.fe.errors import InputError
from buttress.model.resolve import resolved
from buttress.study.read import AnyStudy, as_study
from buttress.study.study import Study
from buttress.sweeps.design import Design, make_design
from buttress.sweeps.evaluate import Options, Outcome, Task, job
from buttress.sweeps.keys import Planned, Sharing, digest, groups, planned, sharing
from buttress.sweeps.layout import LAYOUT
from buttress.sweeps.rows import sweep_frame
from buttress.sweeps.status import failure_counts
from buttress.sweeps.stopping import dropping, gentle_stop
from buttress.sweeps.store import Store, reading, write_csv
from buttress.sweeps.vary import Varier, plain
from buttress.versions import versions
from buttress.words import counted, duration
from buttress.workers import cores, here, local, refuse_other

if TYPE_CHECKING:
    import pandas as pd

Say = Callable[[str], None]
First = Callable[["Plan"], tuple[Sequence[Outcome], float]]
STORE = "sweep.sqlite"
STORES = (".sqlite", ".db")
"""Endings of a store's name; anything else is its folder."""
FEW = 3
"""Number of reasons that are reported."""
EVERY, SLOWER = 2.0, 15.0
"""Seconds between progress lines, and the factor by which the interval grows during a run."""
MEASURED, OFF = 5, 1.5
"""Cases and seconds after which an estimate is corrected where it is off by more than a factor."""


@dataclass(frozen=True)
class SweepSummary(Displayed):
    """Summary of a run. Counts refer to this run; ``failures`` to the whole store, by status.

    ``done``: cases solved. For the whole store, ``refused``: cases that cannot be built at all,
    ``reasons``: the first reasons for refusal, ``broken``: rows of `everything` that break a rule
    of the trade. ``avoided``: further factorisations that solving every case separately would have
    needed.
    """

    path: Path
    cases: int
    skipped: int
    done: int
    left: int
    failures: dict[str, int]
    factorisations: int
    avoided: int
    condensed: int
    answers: int
    seconds: float
    interrupted: bool
    refused: int = 0
    broken: int = 0
    reasons: tuple[str, ...] = ()

    @property
    def failed(self) -> bool:
        """Whether any case has no answer (no equilibrium is an answer)."""
        return bool(self.failures)

    def to_frame(self) -> pd.DataFrame:
        """The table of the store: see `sweep_frame`."""
        return sweep_frame(self.path)


@dataclass(frozen=True)
class Plan:
    """The cases of a design, before anything is solved.

    ``refused`` lists the invalid combinations of values, by case number. ``study``: the study that
    is varied; None where each case is a study of its own.
    """

    study: Study | None
    design: Design
    options: Options
    cases: tuple[Planned, ...]
    refused: dict[int, str]
    hashes: tuple[str, ...]

    @property
    def shared(self) -> Sharing:
        """The parts that cases share."""
        return sharing(self.cases)

    def about(self) -> dict[str, Any]:
        """The description that is stored, and compared when a run is resumed."""
        study = {"name": "batch"} if self.study is None else plain(self.study)
        return {"layout": LAYOUT, "versions": versions(), "study": study,
                "resolved": study if self.study is None else resolved(self.study),
                "design": self.design.described(), "options": self.options.described()}


def make_plan(study: Study, design: Design, options: Options) -> Plan:
    """Every case of a design, validated, hashed and with its keys."""
    varier, cases, refused, hashes = Varier(study), [], {}, []
    for number, values in enumerate(design.cases(), start=1):
        try:
            case = planned(number, varier.case(values), options.described())
        except InputError as error:
            refused[number] = str(error)
            hashes.append("")
            continue
        hashes.append(case.hash)
        cases.append(case)
    return Plan(
        study=study, design=design.settled(study, {c.number: c.data for c in cases}),
        options=options, cases=tuple(cases), refused=refused, hashes=tuple(hashes))


def sweep(study: AnyStudy, vary: Sequence[str], *, out: Path | None = None, method: str = "",
              samples: int | None = None, seed: int | None = None, workers: int | None = None,
              cluster: str = "", options: Options | None = None,
              say: Say = lambda text: None) -> SweepSummary:
    """Solve many variants of a study into one store; the same call resumes where it stopped.

    ``study``: see `compare`. ``vary``: texts KEY=RANGE, as in ``"section.width_mm=70:80:3"`` (from,
    to, how many) or ``"section.bone=normal,soft"``, in the unit that the key's name ends with.
    ``out``: the store, an SQLite file (default: ``results/STUDY-sweep-*.sqlite``).
    ``method``: "grid", "lhs" or "sobol"; without it a grid where every range has steps, else "lhs".
    ``samples`` and ``seed`` go with the last two.
    ``workers``: local processes; 0 solves in this one, None takes one per core. ``cluster``:
    address of a Dask scheduler to use instead. ``options``: what is computed in addition to the
    default. ``say``: called with lines of progress.

    Returns a `SweepSummary`; its ``to_frame()`` is the table, one row per case, construct and load.
    Raises InputError before anything is solved where the input is wrong, ButtressError where the
    store cannot be written.
    """
    study = as_study(study)
    design = make_design(study, vary, method=method, samples=samples, seed=seed)
    plan = make_plan(study, design, options or Options())
    return run_plan(plan, store_path(study, design, plan.options, out), workers=workers,
                    cluster=cluster, say=say)


def run_plan(plan: Plan, path: Path, *, workers: int | None = None, cluster: str = "",
             say: Say = lambda text: None, first: First | None = None, brief: bool = False,
             evaluate: Callable[[Task], Outcome] | None = None) -> SweepSummary:
    """Solve what is not yet in the store; see `sweep`.

    ``first``: called with the plan of what is left, solves some of its cases before the others;
    gives their outcomes and the seconds that the rest should take. ``brief``: say only what ends it
    early. ``evaluate``: what solves cases in this process, with what it knows from earlier runs.
    """
    refuse_other(workers)
    start = perf_counter()
    design, tell = plan.design, (lambda text: None) if brief else say
    if cluster:
        from buttress.sweeps.cluster import connected

        connected(cluster).close()  # without a cluster nothing is started
    with Store(path, plan.about(), design, list(plan.hashes)) as store, gentle_stop(say) as stop:
        done = store.done()
        for number, reason in plan.refused.items():
            if number not in done:
                outcome = Outcome(number, "")
                outcome.fail("refused", reason)
                store.write(outcome)
        todo = [c for c in plan.cases if c.number not in done]
        if len(todo) < len(plan.cases):
            tell(f"{len(plan.cases) - len(todo)} of {counted(len(plan.cases), 'case')} "
                 "already done")
        counts: Counter[str] = Counter()

        def keep(outcome: Outcome) -> None:
            store.write(outcome)
            counts.update(outcome.counts)
            counts["handled"] += 1
            counts["done"] += bool(outcome.results)

        with dropping(say):
            known, said = ((), None) if first is None else first(replace(plan, cases=tuple(todo)))
            for outcome in known:
                keep(outcome)
            there = {outcome.number for outcome in known}
            rest = [c for c in todo if c.number not in there]
            progress = _Progress(len(todo), tell, said, len(known))
            with contextlib.closing(_solve(rest, plan.options, workers, cluster, stop,
                                           evaluate)) as outcomes:
                for outcome in outcomes:
                    keep(outcome)
                    progress.step()
    left = len(todo) - counts["handled"]
    if left:
        say(f"stopped with {counted(left, 'case')} left; the same command resumes from here")
    return SweepSummary(
        path=path, cases=len(design.rows), skipped=len(plan.cases) - len(todo), done=counts["done"],
        left=left, failures=failure_counts(path), factorisations=counts["factorisations"],
        avoided=counts["alone"] - counts["factorisations"], condensed=counts["condensed"],
        answers=counts["answers"], seconds=perf_counter() - start, interrupted=bool(left),
        **_told(path))


def _told(path: Path) -> dict[str, Any]:
    """Entries of a summary that refer to the whole store."""
    with reading(path) as db:
        refused = db.execute("SELECT count(DISTINCT case_id) FROM failures "
                             "WHERE status = 'refused' AND construct IS NULL").fetchone()[0]
        broken = db.execute("SELECT count(*) FROM everything WHERE rules_broken IS NOT NULL"
                            ).fetchone()[0]
        reasons = db.execute(
            "SELECT min(case_id), count(*), construct, reason FROM failures "
            "WHERE status = 'refused' GROUP BY construct, reason ORDER BY 1").fetchall()
    lines = [f"case {case}" + (f" and {count - 1} more" if count > 1 else "")
             + (f", {construct}" if construct else "") + f": {reason}"
             for case, count, construct, reason in reasons[:FEW]]
    if reasons[FEW:]:
        lines.append(f"and {counted(len(reasons) - FEW, 'other reason')}")
    return {"refused": refused, "broken": broken, "reasons": tuple(lines)}


def _solve(todo: list[Planned], options: Options, workers: int | None, cluster: str,
           stop: Callable[[], bool], evaluate: Callable[[Task], Outcome] | None = None
           ) -> Generator[Outcome, None, None]:
    tasks = [[Task(
        number=c.number, hash=c.hash, data=c.data, scales=c.scales, folder=c.folder) for c in group]
             for group in groups(todo)]
    if cluster:
        from buttress.sweeps.cluster import on_cluster

        yield from on_cluster(tasks, options, cluster, stop)
        return
    count = cores() if workers is None else workers
    if count == 0:
        own = job(options)
        yield from here(tasks, own if evaluate is None else replace(own, make=lambda: evaluate),
                        stop)
    else:
        yield from local(tasks, job(options), min(count, max(1, len(todo))), stop)


def store_path(study: Study, design: Design, options: Options, out: Path | None) -> Path:
    """Path of the store: a file as given, in a given folder, or a default.

    The default has a hash of study, design and options in its name, so that the same command finds
    it again.
    """
    if out is None:
        mark = digest([plain(study), design.described(), options.described()])[:8]
        return Path("results") / f"{study.name}-sweep-{mark}.sqlite"
    return out if out.suffix in STORES else out / STORE


class _Progress:
    """Progress lines: number of cases, rate, time left, and that an estimate was wrong."""

    def __init__(self, total: int, say: Say, said: float | None = None, before: int = 0) -> None:
        self.total, self.say, self.done, self.said, self.before = total, say, before, said, before
        self.start = self.last = self.first = perf_counter()

    def step(self) -> None:
        """Record one more completed case."""
        self.done += 1
        now = perf_counter()
        if self.done == self.before + 1:
            self.first = now
        self._correct(now)
        every = EVERY * min(SLOWER, 1.0 + (now - self.start) / 40.0)
        if now - self.last >= every or self.done == self.total:
            self.last = now
            # From the first case on: starting the workers and meshing come before it.
            rate = (self.done - self.before - 1) / max(now - self.first, 1e-9)
            pace = f", {rate:.3g} per second, {duration((self.total - self.done) / rate)} left" \
                if rate else ""
            self.say(f"{self.done} of {counted(self.total, 'case')}{pace}")

    def _correct(self, now: float) -> None:
        """Say what the first cases show, once, where it is far from what was estimated."""
        passed = now - self.first
        if self.said is None or self.done - self.before < MEASURED or passed < MEASURED:
            return
        solved, new = self.done - self.before, self.total - self.before
        whole = self.first - self.start + passed * (new - 1) / (solved - 1)
        if not self.said / OFF < whole < self.said * OFF:
            self.say(f"about {duration(whole)} in all, judging by the first {solved} cases "
                     f"({duration(self.said)} was the first estimate)")
        self.said = None


def export_csv(path: Path, target: Path | None = None) -> tuple[Path, int]:
    """The view ``everything`` of a store as CSV next to it (or in ``target``), and its rows."""
    target = target or path.with_suffix(".csv")
    return target, write_csv(path, target)
