"""What a sweep will cost: seconds, from one or two of its own cases solved first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

from buttress.study.study import Study
from buttress.sweeps.checking import unbuildable
from buttress.sweeps.design import make_design
from buttress.sweeps.evaluate import Evaluator, Options, Outcome, Task
from buttress.sweeps.keys import Planned, Sharing, sharing
from buttress.sweeps.sweep import Plan, make_plan
from buttress.words import counted, duration
from buttress.workers import cores


@dataclass(frozen=True)
class Estimate:
    """Estimated cost of a sweep: seconds on ``workers`` processes, from cases solved now.

    ``cases`` are those to be solved, ``refused`` combinations of values that are not valid or whose
    bone cannot be built, ``incomplete`` cases with a construct that cannot; ``reason`` is the first
    of all. ``unchecked``: cases whose geometry was not checked.
    """

    cases: int
    refused: int
    constructs: int
    meshes: int
    hardware: int
    factorisations: int
    avoided: int
    seconds: float
    workers: int
    incomplete: int = 0
    reason: str = ""
    unchecked: int = 0

    def after(self, solved: Sequence[Outcome]) -> float:
        """Seconds for what is left once these cases have been solved, in rounds of the workers: of
        three cases on two workers one waits for another."""
        left = self.cases - len(solved)
        spent = sum(x.seconds for x in solved)
        return 0.0 if left <= 0 else max(0.0, self.seconds * self.workers - spent) / left * ceil(
            left / self.workers)

    def sentences(self) -> list[str]:
        """For the terminal."""
        return [
            f"{counted(self.cases, 'case')} with {counted(self.constructs, 'construct')} "
            "to solve in all"
            + (f"; {counted(self.refused, 'combination')} not valid" if self.refused else "")
            + (f"; {counted(self.incomplete, 'case')} with a construct that cannot be built"
               if self.incomplete else ""),
            *([f"first reason: {self.reason}"] if self.reason else []),
            *([f"the geometry of {counted(self.unchecked, 'case')} was not checked"]
              if self.unchecked else []),
            f"{counted(self.meshes, 'distinct bone')} (mesh and modulus), "
            f"{counted(self.hardware, 'distinct construct')} on "
            + ("it" if self.meshes == 1 else "them"),
            f"about {counted(self.factorisations, 'factorisation')} instead of "
            f"{self.factorisations + self.avoided}",
            f"about {duration(self.seconds)} on {counted(self.workers, 'worker')}"]


def estimate(study: Study, vary: Sequence[str], *, method: str = "", samples: int | None = None,
             seed: int | None = None, workers: int | None = None,
             options: Options | None = None) -> Estimate:
    """What `sweep` would do and how long it would take, from solving one or two of its cases."""
    options = options or Options()
    design = make_design(study, vary, method=method, samples=samples, seed=seed)
    return probe(make_plan(study, design, options), workers)[0]


def probe(plan: Plan, workers: int | None, evaluator: Evaluator | None = None
          ) -> tuple[Estimate, tuple[Outcome, ...]]:
    """The cost of a plan, and the outcomes of those of its cases that were solved to know it.

    One case is solved from scratch and, where constructs are loaded again as they are, another
    that shares them. ``evaluator``: a new one, where it is to solve further cases.
    """
    count = max(1, cores() if workers is None else workers)
    seconds, alone, done, outcomes = 0.0, 0, 0, []
    geometry = unbuildable(plan.cases)
    refused = plan.refused | geometry.bones
    sound = [c for c in plan.cases if c.number not in refused]
    shared = sharing(sound)
    if sound:
        first = sound[len(sound) // 2]
        evaluator = evaluator or Evaluator(plan.options)
        made = _solved(evaluator, first)
        outcomes = [made]
        alone = made.counts.get("alone", 0)
        done = round(alone * shared.bones / len(first.bones))
        again = _again(first, sound, shared)
        other = None if again is None else _solved(evaluator, again)
        if again is not None and other is not None:
            outcomes.append(other)
        loaded = [] if again is None else _loaded_again(first, again)
        seconds = shared.bones * (made.seconds - sum(made.parts.values()))
        for name, (frames, answers) in shared.per_construct.items():
            both = _part(made, name)
            answer = both if other is None or name not in loaded else _part(other, name)
            seconds += frames * max(0.0, both - answer) + answers * answer
    return Estimate(
        cases=shared.cases, refused=len(refused), constructs=shared.constructs, meshes=shared.bones,
        hardware=shared.frames, factorisations=done, avoided=max(0, alone * shared.cases - done),
        seconds=seconds / count, workers=count, incomplete=len(geometry.constructs),
        reason=_first_reason(refused | geometry.constructs), unchecked=geometry.unchecked
    ), tuple(outcomes)


def _solved(evaluator: Evaluator, case: Planned) -> Outcome:
    return evaluator.evaluate(Task(number=case.number, hash=case.hash, data=case.data,
                                   scales=case.scales, folder=case.folder))


def _part(made: Outcome, name: str) -> float:
    """Seconds of a construct; the mean of all where it was not solved."""
    return made.parts.get(name, sum(made.parts.values()) / max(1, len(made.parts)))


def _again(first: Planned, sound: Sequence[Planned], shared: Sharing) -> Planned | None:
    """The case that loads most constructs of the first again; None where no case has to, or
    does."""
    if all(frames == answers for frames, answers in shared.per_construct.values()):
        return None
    found = max(sound, key=lambda c: len(_loaded_again(first, c)))
    return found if _loaded_again(first, found) else None


def _loaded_again(first: Planned, other: Planned) -> list[str]:
    """Constructs that two cases share, but for what loads them or bounds their links."""
    parts = zip(first.data["construct"], first.frames, other.frames, first.answers, other.answers,
                strict=True)
    return [c["name"] for c, frame, same, answer, another in parts
            if frame == same and answer != another]


def _first_reason(refused: dict[int, str]) -> str:
    """The reason for the first refused case."""
    return f"case {min(refused)}: {refused[min(refused)]}" if refused else ""
