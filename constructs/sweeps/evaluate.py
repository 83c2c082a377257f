"""The figures of one case of a sweep: every construct under every load, without pictures."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from time import perf_counter
from typing import Any

from buttress.comparison.soft import bears, in_soft_bone
from buttress.fe.errors import InputError
from buttress.fe.solve.answer import Answer
from buttress.fe.status import Status
from buttress.fe.threads import one_thread
from buttress.model.model import Model
from buttress.model.pressing import SEARCH_LIMIT_N
from buttress.results.capacity import bracket
from buttress.results.derive import derive, derive_only
from buttress.results.escape import escaping
from buttress.results.figures import Figures, Level
from buttress.results.limits import first_yield
from buttress.results.reader import Reader
from buttress.results.search import Gauge, Search
from buttress.study.read import study_from
from buttress.study.study import Construct, Study
from buttress.sweeps.checking import Checker
from buttress.sweeps.keys import bone_key, digest, hardware_key, load_key
from buttress.sweeps.layout import answer_columns, path_columns
from buttress.sweeps.limits import cell_rows, limit_rows
from buttress.sweeps.vary import Case
from buttress.sweeps.workshop import Frame, Kept, Law, Workshop, share_key
from buttress.workers import KILLED, Job

MOST_ROWS = 512


@dataclass(frozen=True)
class Options:
    """Options of an evaluation.

    ``strain`` recovers the fields of strain, for the share of bone over its yield strain; ``path``
    presses each construct past the loads of the study, for peak, reserve and first yield;
    ``limits`` does so too, for the load at every limit, at stated movements and, where the study
    gives a body mass, the cells of the weight-bearing table, in its own bone and in soft bone.
    ``only``: keys of the quantities of the path that ``path`` is asked for, each construct pressed
    no farther than they need (see `derive_only`); empty: all of them.
    """

    capacity: bool = True
    strain: bool = False
    path: bool = False
    limits: bool = False
    only: tuple[str, ...] = ()

    def described(self) -> dict[str, Any]:
        """As used in hashes and the store."""
        return {"capacity": self.capacity, "strain": self.strain, "path": self.path,
                "limits": self.limits, **({"only": list(self.only)} if self.only else {})}


@dataclass(frozen=True)
class Task:
    """A case on its way to a worker, plain enough for any engine."""

    number: int
    hash: str
    data: dict[str, Any]
    scales: dict[str, float]
    folder: str | None = None


@dataclass
class Outcome:
    """The outcome of a case. Rows are dicts by column; ``failures`` list missing answers.

    ``seconds``: in all, ``parts``: of each construct.
    """

    number: int
    hash: str
    capacities: list[dict[str, Any]] = field(default_factory=list)
    results: list[dict[str, Any]] = field(default_factory=list)
    fragments: list[dict[str, Any]] = field(default_factory=list)
    edges: list[dict[str, Any]] = field(default_factory=list)
    limits: list[dict[str, Any]] = field(default_factory=list)
    bearing: list[dict[str, Any]] = field(default_factory=list)
    failures: list[dict[str, Any]] = field(default_factory=list)
    seconds: float = 0.0
    parts: dict[str, float] = field(default_factory=dict)
    worker: int = 0
    counts: dict[str, int] = field(default_factory=dict)

    def fail(self, status: str, reason: str, construct: str | None = None,
             load: float | None = None) -> None:
        """Record a missing answer and its reason."""
        self.failures.append({"construct": construct, "total_load_N": load, "status": status,
                              "reason": reason})


def _work(options: Options) -> Callable[[Task], Outcome]:
    return Evaluator(options).evaluate


def _died(task: Task) -> Outcome:
    outcome = Outcome(task.number, task.hash)
    outcome.fail("worker died", KILLED)
    return outcome


def job(options: Options) -> Job[Task, Outcome]:
    """What worker processes do with the cases of a sweep."""
    return Job(partial(_work, options), _died, lambda task: f"case {task.number}")


@dataclass(frozen=True)
class Known:
    """Rows of a construct, by table, and the factorisations that it needs on its own."""

    tables: tuple[list[dict[str, Any]], ...]
    alone: dict[str, int]


class Evaluator:
    """Evaluates cases one after another; shared parts are computed once."""

    def __init__(self, options: Options) -> None:
        self.options = options
        self.workshop = Workshop()
        self._rows: Kept[Known] = Kept(MOST_ROWS)
        self._checker = Checker()

    def evaluate(self, task: Task) -> Outcome:
        """All figures of a case. Any failure inside it becomes a row, not an error."""
        start, before = perf_counter(), Counter(self.workshop.counts)
        out = Outcome(task.number, task.hash, worker=os.getpid())
        with one_thread():
            try:
                case = Case(study_from(task.data, folder=task.folder), task.scales)
                self._checker.bone(case.study)
                soft = in_soft_bone(case.study)[0] if self.options.limits else None
                self.workshop.make_room(*filter(None, (case.study, soft)))
                # An error in the bone affects every construct.
                intact = self.workshop.intact(case.study)
                alone = self.workshop.alone(case.study)
            except InputError as error:
                out.fail("refused", str(error))
            except Exception as error:  # a single case must never stop the others
                out.fail("error", f"{type(error).__name__}: {error}")
            else:
                for construct in case.study.constructs:
                    begun = perf_counter()
                    try:
                        alone |= self._construct(case, construct, intact, out)
                    except InputError as error:
                        out.fail("refused", str(error), construct.name)
                    except Exception as error:
                        out.fail("error", f"{type(error).__name__}: {error}", construct.name)
                    out.parts[construct.name] = perf_counter() - begun
                self.workshop.counts["alone"] += sum(alone.values())
        out.seconds = perf_counter() - start
        out.counts = {k: v - before[k] for k, v in self.workshop.counts.items()}
        return out

    def _construct(self, case: Case, construct: Construct, intact: dict[str, float],
                   out: Outcome) -> dict[str, int]:
        self.workshop.counts["constructs"] += 1
        key = self._key(case, construct)
        if key in self._rows:
            self.workshop.counts["copied"] += 1
        known = self._rows.get_or(key, lambda: self._known(case, construct, intact))
        for table, found in zip((out.capacities, out.results, out.fragments, out.edges, out.limits,
                                 out.bearing, out.failures), known.tables, strict=True):
            table.extend({**row, "construct": construct.name} for row in found)
        return known.alone

    def _known(self, case: Case, construct: Construct, intact: dict[str, float]) -> Known:
        broken = self._checker.broken(case.study, construct)
        frame, model, law = self.workshop.model(case, construct)
        key = bone_key(case.study, construct)
        ground = self.workshop.grounds[key]
        tissues = ground.tissues if self.options.strain or self.options.limits else ()
        reader = Reader(model.bone, tissues, intact)
        tables = self._solve(case, frame, model, law, reader)
        tables[0][0] |= {"rules_broken_count": len(broken),
                         "rules_broken": "; ".join(broken) or None}
        return Known(tables, ground.alone(key, frame.model.hardware.fills))

    def _key(self, case: Case, construct: Construct) -> Any:
        study = case.study
        own = construct.model_dump(mode="json", exclude={"name", "note"})
        return digest([bone_key(study), bone_key(study, construct), hardware_key(study, construct),
                       own, [f.friction for f in study.fractures], study.load.model_dump(),
                       study.limits.model_dump(), dict(case.scales)])

    def _solve(self, case: Case, frame: Frame, model: Model, law: Law, reader: Reader
               ) -> tuple[list[dict[str, Any]], ...]:
        capacities = [self._capacity(case, frame, model, law)]
        results, fragments, edges, failures = [], [], [], []
        for total in case.study.load.total_N:
            answer = model.answer(total)
            self.workshop.counts["answers"] += 1
            figures = self._figures(frame, model, answer, reader, total)
            row, pieces, lips = stored(figures, self.options.strain)
            fragments += pieces
            edges += lips
            if answer.status == "unconverged":
                failures.append({"total_load_N": total, "status": "unconverged",
                                 "reason": "; ".join(answer.notes) or answer.method})
            results.append(row)
        if self.options.path or self.options.limits:
            # After stages only a part of the frame's links are there.
            metal = first_yield(reader, model, None if model.whole is not None else frame.pulls)
            capacities[0] |= pressed(model, reader, metal, case.study, self.options.only)
        limits, cells = self._limits(case, model, reader) if self.options.limits else ([], [])
        return capacities, results, fragments, edges, limits, cells, failures

    def _limits(self, case: Case, model: Model, reader: Reader) -> tuple[list[dict[str, Any]],
                                                                         list[dict[str, Any]]]:
        """Rows of the tables limits and bearing: in the case's own bone, and cells in soft bone."""
        own = bears(reader, model, SEARCH_LIMIT_N)
        study, _ = in_soft_bone(case.study)
        if study is None:
            return limit_rows(own, model, reader), cell_rows(own, case.study, None)
        _, softer, _ = self.workshop.model(Case(study, case.scales), model.construct)
        tissues = self.workshop.ground(study, model.construct, load_key(study)).tissues
        soft = bears(Reader(softer.bone, tissues, self.workshop.intact(study)), softer)
        return limit_rows(own, model, reader), cell_rows(own, case.study, soft)

    @staticmethod
    def _figures(frame: Frame, model: Model, answer: Answer, reader: Reader, total: float
                 ) -> Figures:
        """The reader of an answer, with what the frame knows already of its links."""
        if model.whole is not None:  # after stages only a part of the frame's links are there
            return Figures(reader, model, answer, total)
        return Figures(reader, model, answer, total,
                       lambda: [p @ answer.force for p in frame.pulls], frame.stations)

    def _capacity(self, case: Case, frame: Frame, model: Model, law: Law) -> dict[str, Any]:
        row: dict[str, Any] = {"links": model.problem.n, "warnings": len(model.hardware.warnings),
                               "tightening": _tightening(model)}
        if not self.options.capacity:
            return row
        lower, upper = frame.capacities(model, law, share_key(case.study))
        low, high = bracket(lower, upper)
        return row | {"capacity_lower_N": low, "capacity_upper_N": high,
                      "capacity_status": upper.status}


def _tightening(model: Model) -> str | None:
    """The result of tightening, as stored; None where nothing is tightened."""
    answer = model.tightened
    if answer is None or (answer.held and not model.hardware.tighten):
        return None
    if answer.held:
        return Status.HELD
    if answer.status == Status.UNCONVERGED:
        return "not converged"
    escapes = escaping(model, answer)
    if escapes is None:
        return answer.status
    pins = {p.name for p in model.construct.pins}
    return f"{'strips' if escapes in pins else 'lets go'}: {escapes}"


def pressed(model: Model, reader: Reader, metal: Gauge, study: Study, only: tuple[str, ...]
            ) -> dict[str, Any]:
    """What is read off the path of a construct, by column; ``metal``: see `derive`, ``only``: see
    `Options`."""
    far, loads = study.limits.movement_mm, study.load.total_N
    found = derive_only(model, reader, far, only, max(loads)) if only else \
        derive(Search(model), reader, metal, far, whole=False)
    return {column: q.of(found, ()) for q in path_columns()
            if q.of is not None and (not only or q.key in only) for column in q.columns(q.store)}


def stored(figures: Figures, strain: bool) -> tuple[dict[str, Any], list[dict[str, Any]],
                                                    list[dict[str, Any]]]:
    """Rows of an answer in the tables results, fragments and edges.

    The first holds the worst of all places; a quantity that needs fields of strain is left out
    unless they are asked for.
    """
    row: dict[str, Any] = {"total_load_N": figures.total}
    own: dict[Level, dict[str, dict[str, Any]]] = {
        level: {name: {"total_load_N": figures.total, level.value: name}
                for name in (figures.places(level) if figures.held else ())}
        for level in (Level.FRAGMENT, Level.EDGE)}
    for q in answer_columns():
        if q.strain and not strain:
            continue
        values = {name: q.value(figures, name) for name in (
            figures.places(q.level) if figures.held or q.level is Level.LOAD else ())}
        if q.level in own:
            for name, value in values.items():
                own[q.level][name][q.key] = value
        for column, of in q.columns(q.store).items():
            row[column] = q.worst(v for name, v in values.items()
                                  if not of or figures.kind(q.level, name) == of)
    return row, *(list(own[level].values()) for level in own)  # type: ignore[return-value]
