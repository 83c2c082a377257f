"""Solve every construct of a study for every load, and rank what holds."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from time import perf_counter

from buttress.bone.bone import Bone
from buttress.comparison.meshes import finer, with_bars
from buttress.comparison.soft import soft_bone
from buttress.comparison.solve import solve_construct
from buttress.comparison.stages import staged_result
from buttress.comparison.twins import with_twins
from buttress.fe.status import Status
from buttress.fe.threads import one_thread
from buttress.model.install import build_model
from buttress.model.model import Bones, intact_measures
from buttress.results.comparison import Comparison, Meshes
from buttress.results.reader import Reader, intact_subsidence
from buttress.results.records import ConstructResult
from buttress.results.stages import StagedResult
from buttress.rules.check import Finding, check
from buttress.rules.screw import PLATE_ACROSS
from buttress.study.read import AnyStudy, as_study
from buttress.study.study import Study
from buttress.versions import versions

Say = Callable[[str], None]


def compare(study: AnyStudy, say: Say = lambda text: None, pictures: bool = True,
            also_bonded: bool = False, error_bars: int | None = None) -> Comparison:
    """Solve every construct of a study under each of its loads.

    ``study``: a `Study` (as `example` and `load_study` read it), the name of a shipped study
    ("medial-shear"), the path of a study file, or what `varied` made. ``say``: called with a line
    of progress as each construct begins. ``pictures``: also keep what `figures` draw (meshes and
    displacements; some megabytes per construct and load). ``also_bonded``: add the bonded twin of
    each construct, with its metal and graft stuck fast to the bone. ``error_bars``: on how many
    meshes to solve, 2 (the study's and one twice as fine) or 3 (one between them too), for an
    interval of each figure; None for none.

    Returns a `Comparison`, one `ConstructResult` per construct in the order of the study. Lengths
    are in mm, forces in N, stresses in MPa, angles in degrees; movements are in the frame of the
    shaft, zero after the last tightening.

    Raises InputError where there is no such study or it cannot be built, or on another number of
    meshes. A load that finds no equilibrium is a result, not an error.
    """
    clock = perf_counter()
    study = as_study(study)
    study, twins = with_twins(study) if also_bonded else (study, {})
    findings = check(study)    # refuses what cannot be solved, in the words of the study file
    others = finer(study, error_bars)
    told = _told(findings, twins, say)
    with one_thread():
        own = _answered(study, say, pictures, told, stages=True)
        seconds = {"bone": perf_counter() - clock - sum(own.seconds.values()), **own.seconds}
        done, meshes = own.constructs, None
        if others:
            start = perf_counter()
            more = [_answered(x, _on_mesh(x, say)) for x in others]
            meshes = Meshes(
                tuple((x.mesh.size_mm, x.mesh.coarse_mm) for x in (study, *others)),
                tuple(x.elements for x in (own, *more)), tuple(x.size for x in (own, *more)))
            done = with_bars(done, [x.constructs for x in more], meshes.size_mm)
            seconds["finer meshes"] = perf_counter() - start
        done = [replace(c, twin_of=twins.get(c.name), breaks_rule=c.name in told.broken,
                        remarks=tuple(told.remarks[c.name])) for c in done]
        # Soft bone costs a second bone and further paths, which the weight-bearing table asks for.
        start = perf_counter()
        soft = None if study.load.body_mass_kg is None else soft_bone(study, say)
        seconds["soft bone"] = perf_counter() - start
    return Comparison(
        study=study, constructs=tuple(done), versions=versions(), mesh=mesh_facts(own.bone),
        trust=trust(done), seconds=seconds, stages=tuple(own.staged), soft=soft, meshes=meshes)


@dataclass(frozen=True)
class _Told:
    """What the rules of the trade say of each construct."""

    warned: Mapping[str, list[str]]
    remarks: Mapping[str, list[str]]
    broken: Collection[str]


def _told(findings: Sequence[Finding], twins: Mapping[str, str], say: Say) -> _Told:
    warned, remarks = defaultdict(list), defaultdict(list)
    for finding in findings:
        if finding.level != "note" and not finding.construct:
            say(f"warning: {finding.part}: {finding.message}")
        if finding.level != "note" and finding.construct not in twins:
            warned[finding.construct].append(f"{finding.part}: {finding.message}")
        elif finding.rule == PLATE_ACROSS and finding.construct not in twins:
            remarks[finding.construct].append(f"{finding.part}: {finding.message}")
    return _Told(warned, remarks, {f.construct for f in findings if f.level == "broken"} - set(
        twins))


@dataclass(frozen=True)
class _Answered:
    """All constructs of a study on one mesh; ``seconds`` of each."""

    bone: Bone
    constructs: list[ConstructResult]
    staged: list[StagedResult]
    seconds: dict[str, float]

    @property
    def elements(self) -> int:
        return sum(len(b.mesh.triangles) for b in self.bone.bodies)

    @property
    def size(self) -> float:
        """Element size [mm] that stands for the mesh: the root of the mean area."""
        return float((sum(b.mesh.area for b in self.bone.bodies) / self.elements) ** 0.5)


def _answered(study: Study, say: Say, pictures: bool = False, told: _Told | None = None,
              stages: bool = False) -> _Answered:
    """Every construct of a study, solved; ``stages``: also what each stage leads to."""
    say("meshing and factorising the bone")
    bones = Bones(study)
    intact = intact_subsidence(bones.base, intact_measures(bones.base))
    readers: dict[int, Reader] = {}
    out = _Answered(bones.base, [], [], {})
    for construct in study.constructs:
        start = perf_counter()
        say(f"solving '{construct.name}'")
        bone = bones.of(construct)
        reader = readers.setdefault(id(bone), Reader.of(bone, intact))
        model = build_model(bone, construct)
        if model.whole is not None and stages and told is not None:
            out.staged.append(staged_result(reader, model.whole, pictures))
            told.warned[construct.name].extend(out.staged[-1].warnings)
            told.remarks[construct.name].extend(out.staged[-1].left_off)
        warned = () if told is None else tuple(told.warned[construct.name])
        out.constructs.append(solve_construct(reader, model, warned, pictures,
                                              others=told is not None))
        out.seconds[construct.name] = perf_counter() - start
    return out


def _on_mesh(study: Study, say: Say) -> Say:
    return lambda text: say(f"{text}, on a mesh of {study.mesh.size_mm:.3g} mm")


def mesh_facts(bone: Bone) -> dict:
    """Elements, unknowns, sizes and worst angle of each body."""
    return {b.name: {"elements": len(b.mesh.triangles), "unknowns": b.n_dof,
                     "median_edge_mm": round(b.mesh.size, 3),
                     "smallest_angle_deg": round(b.mesh.quality, 2),
                     "area_mm2": round(b.mesh.area, 3)} for b in bone.bodies}


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
