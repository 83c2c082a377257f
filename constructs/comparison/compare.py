"""Solve every construct of a study for every load, and rank what holds."""

from __future__ import annotations

import contextlib
from collections import Counter, defaultdict
from collections.abc import Callable, Generator, Sequence
from dataclasses import dataclass, field, replace
from time import perf_counter

from buttress.comparison.cost import Cost
from buttress.comparison.meshes import finer, with_bars
from buttress.comparison.soft import in_soft_bone
from buttress.comparison.solving import Part, Solved, Solving, job, parts_of, processes
from buttress.comparison.twins import with_twins
from buttress.fe.errors import ButtressError
from buttress.fe.status import Status
from buttress.results.comparison import Comparison, Meshes
from buttress.results.records import ConstructResult
from buttress.results.soft import SoftBone
from buttress.results.stages import StagedResult
from buttress.rules.check import Finding, check
from buttress.rules.screw import PLATE_ACROSS
from buttress.rules.study import COUNTED, TIGHTENED, left_by_reduction
from buttress.study.loads import LimitsInput
from buttress.study.read import AnyStudy, as_study
from buttress.study.study import Study
from buttress.versions import versions
from buttress.words import counted, minus, span
from buttress.workers import KILLED, local, refuse_other

Say = Callable[[str], None]


def compare(study: AnyStudy, say: Say = lambda text: None, pictures: bool = True,
            also_bonded: bool = False, workers: int | None = 1, error_bars: int | None = None
            ) -> Comparison:
    """Solve every construct of a study under each of its loads.

    ``study``: a `Study` (as `example` and `load_study` read it), the name of a shipped study
    ("medial-shear"), the path of a study file, or what `varied` made. ``say``: called with a line
    of progress as each construct begins. ``pictures``: also keep what `figures` draw (meshes and
    displacements; some megabytes per construct and load). ``also_bonded``: add the bonded twin of
    each construct, with its metal and graft stuck fast to the bone. ``workers``: local processes
    that share the constructs, with the same answers to the last bit; None takes one per core, as
    far as the study is worth it.
    ``error_bars``: on how many meshes to solve, 2 (the study's and one twice as fine) or 3 (one
    between them too), for an interval of each figure; None for none.

    Returns a `Comparison`, one `ConstructResult` per construct in the order of the study. Lengths
    are in mm, forces in N, stresses in MPa, angles in degrees; movements are in the frame of the
    shaft, zero after the last tightening.

    Raises InputError where there is no such study or it cannot be built, or on another number of
    meshes. A load that finds no equilibrium is a result, not an error.
    """
    refuse_other(workers)
    study = as_study(study)
    study, twins = with_twins(study) if also_bonded else (study, {})
    findings = check(study)    # refuses what cannot be solved, in the words of the study file
    noted = _noted(study, findings, twins, say)
    others = finer(study, error_bars)
    parts = parts_of(study)
    found = _all(Solving(study, pictures), parts, workers, say, "to solve all constructs"
                 + (", before the finer meshes" if others else ""))
    done, staged, soft = [], [], {}
    seconds: defaultdict[str, float] = defaultdict(float)
    for part in parts:
        one = found[part.number]
        for spent, took in one.seconds.items():
            seconds[spent] += took
        name = part.construct.name
        if one.bears is not None:
            soft[name] = one.bears
        else:
            noted.remarks[name] += _left(study, one.closed)
        if one.staged is not None:
            staged.append(noted.on_stages(name, one.staged, study.limits))
        if one.result is not None:
            done.append(noted.on(one.result, twins.get(name)))
    if not done:
        raise ButtressError("no construct could be solved: " + KILLED)
    mesh = next(x.mesh for x in found.values() if x.mesh)
    meshes = None
    if others:
        start = perf_counter()
        done, meshes = _with_bars(done, mesh, (study, *others), workers, say)
        seconds["finer meshes"] = perf_counter() - start
    words = in_soft_bone(study)[1]
    return Comparison(
        study=study, constructs=tuple(done), versions=versions(), mesh=mesh, trust=trust(done),
        meshes=meshes, seconds=dict(seconds), stages=tuple(staged),
        soft=SoftBone(words, soft) if words else None,
        lost=tuple(f"{p.name}: not solved: {KILLED}" for p in parts if found[p.number].lost))


def _left(study: Study, closed: dict[str, tuple[float, float]] | None) -> list[str]:
    """What reduction leaves of one construct, and from where it counts; ``closed``: see `Solved`.
    """
    out = []
    for part, said in left_by_reduction(study):
        if closed and part in closed:
            said += f", of which tightening closes {minus(span(*closed[part], 2))} mm"
            said += " (negative: it opens)" if round(closed[part][0], 2) < 0.0 else ""
        out.append(f"{said}; {COUNTED} {'there' if closed is None else TIGHTENED}")
    return out


@dataclass(frozen=True)
class _Noted:
    """What is said of each construct, by its name: rules that it breaks, warnings, remarks."""

    broken: dict[str, tuple[str, ...]]
    warned: defaultdict[str, list[str]] = field(default_factory=lambda: defaultdict(list))
    remarks: defaultdict[str, list[str]] = field(default_factory=lambda: defaultdict(list))

    def on(self, result: ConstructResult, twin_of: str | None) -> ConstructResult:
        """A construct's result with what is said of it."""
        name, breaks = result.name, bool(self.broken.get(result.name))
        return replace(
            result, twin_of=twin_of, breaks_rule=breaks, rule_findings=self.broken.get(name, ()),
            pictures=tuple(replace(p, breaks_rule=breaks) for p in result.pictures),
            warnings=(*self.warned[name], *result.warnings),
            remarks=(*filter(None, [result.begins]), *self.remarks[name]))

    def on_stages(self, name: str, staged: StagedResult, limits: LimitsInput) -> StagedResult:
        """A construct's stages; what they say is said of the construct too."""
        self.warned[name] += staged.warnings
        passed = staged.beyond(limits.step_off_mm, limits.depression_mm)
        self.remarks[name] += [*staged.left_off, *filter(None, [passed])]
        return replace(staged, breaks_rule=bool(self.broken.get(name)))


def _noted(study: Study, findings: Sequence[Finding], twins: dict[str, str], say: Say) -> _Noted:
    """Findings of the rules of the trade by construct; those on no construct are said at once."""
    out = _Noted({c.name: tuple(f"{f.part}: {f.message}" for f in findings
                                if f.level == "broken" and f.construct == c.name)
                  for c in study.constructs if c.name not in twins})
    for finding in findings:
        said = f"{finding.part}: {finding.message}"
        if finding.level != "note" and not finding.construct:
            say(f"warning: {said}")
        if finding.level != "note" and finding.construct not in twins:
            out.warned[finding.construct].append(said)
        elif finding.rule == PLATE_ACROSS and finding.construct not in twins:
            out.remarks[finding.construct].append(said)
    return out


def _with_bars(done: list[ConstructResult], mesh: dict, studies: Sequence[Study],
               workers: int | None, say: Say) -> tuple[list[ConstructResult], Meshes]:
    """The constructs with their error bars; ``studies``: the study, and it on finer meshes."""
    meshes, more = [mesh], []
    for study in studies[1:]:
        told = _on_mesh(study, say)
        parts = [part for part in parts_of(study) if not part.soft]
        found = _all(Solving(study, False, others=False), parts, workers, told)
        more.append({one.result.name: one.result for one in found.values()
                     if one.result is not None})
        meshes.append(next(x.mesh for x in found.values() if x.mesh))
    elements = [sum(body["elements"] for body in m.values()) for m in meshes]
    sizes = tuple(float((sum(body["area_mm2"] for body in m.values()) / count) ** 0.5)
                  for m, count in zip(meshes, elements, strict=True))
    on_all = [c for c in done if all(c.name in each for each in more)]
    barred = {c.name: c for c in with_bars(
        on_all, [[each[c.name] for c in on_all] for each in more], sizes)}
    return [barred.get(c.name, c) for c in done], Meshes(
        tuple((x.mesh.size_mm, x.mesh.coarse_mm) for x in studies), tuple(elements), sizes)


def _on_mesh(study: Study, say: Say) -> Say:
    return lambda text: say(f"{text}, on a mesh of {study.mesh.size_mm:.3g} mm")


def _all(solving: Solving, parts: list[Part], workers: int | None, say: Say,
         called: str = "to solve all constructs") -> dict[int, Solved]:
    """What is found of every part, by number; raises the first error in the order of the study."""
    count = processes(parts, workers)
    found: dict[int, Solved] = {}
    outcomes: Generator[Solved, None, None]
    if count <= 1:
        solving.say = say
        outcomes = (solving(part) for part in parts)
    else:
        say(f"solving {counted(len(parts), 'part')} on {count} workers")
        # The longest first, so that all workers end at about the same time.
        order = sorted(parts, key=lambda part: -part.weight)
        outcomes = local([[p] for p in order], job(solving), count, lambda: False)
    bones = len({p.soft for p in parts}) * max(1, count)
    cost = Cost(bones + sum(p.weight for p in parts), count, say, called)
    with contextlib.closing(outcomes):
        for one in outcomes:
            found[one.number] = one
            if one.error is not None and count <= 1:
                break
            part = parts[one.number]
            if count > 1 and not one.lost:
                say(f"solved {part.name} ({len(found)} of {len(parts)})")
            cost.spent(one.bones + part.weight, sum(one.seconds.values()),
                       last=len(found) == len(parts))
    for number in sorted(found):
        error = found[number].error
        if error is not None:
            raise error
    return found


def trust(results: list[ConstructResult]) -> dict:
    """Worst residuals over all held answers, and how answers were found."""
    held = [r for c in results for r in c.loads if r.status == Status.HELD]
    balance = [f.balance_error for r in held for f in r.fragments.values()
               if f.balance_error is not None]
    return {"worst_residual": max((r.residual or 0.0 for r in held), default=None),
            "worst_complementarity": max((r.complementarity or 0.0 for r in held), default=None),
            "worst_balance_error": max(balance, default=None),
            "methods": dict(Counter(r.method for c in results for r in c.loads)),
            "statuses": dict(Counter(r.status for c in results for r in c.loads))}
