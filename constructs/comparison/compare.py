"""Solve every construct of a study for every load, and rank what holds."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable
from dataclasses import fields, replace
from time import perf_counter

from buttress.bone.bone import Bone
from buttress.comparison.soft import soft_bone
from buttress.comparison.stages import staged_result
from buttress.comparison.twins import with_twins
from buttress.fe.status import Status
from buttress.fe.threads import one_thread
from buttress.model.install import build_model
from buttress.model.model import Bones, Model, intact_measures
from buttress.model.pressing import SEARCH_LIMIT_N
from buttress.results.capacity import bracket, friction_lost, lets_go
from buttress.results.comparison import Comparison
from buttress.results.derive import derive
from buttress.results.limits import (
    find_limits,
    first_words,
    first_yield,
    gauges,
    lowest,
)
from buttress.results.picture import take_picture, unloaded
from buttress.results.read import read
from buttress.results.reader import Reader, intact_subsidence
from buttress.results.records import (
    NOT_TIGHTENED,
    ConstructResult,
    LoadResult,
    not_tightened,
)
from buttress.results.search import Search, without_load
from buttress.rules.check import check
from buttress.rules.screw import PLATE_ACROSS
from buttress.study.read import AnyStudy, as_study
from buttress.versions import versions

Say = Callable[[str], None]


def compare(study: AnyStudy, say: Say = lambda text: None, pictures: bool = True,
            also_bonded: bool = False) -> Comparison:
    """Solve every construct of a study under each of its loads.

    ``study``: a `Study` (as `example` and `load_study` read it), the name of a shipped study
    ("medial-shear"), the path of a study file, or what `varied` made. ``say``: called with a line
    of progress as each construct begins. ``pictures``: also keep what `figures` draw (meshes and
    displacements; some megabytes per construct and load). ``also_bonded``: add the bonded twin of
    each construct, with its metal and graft stuck fast to the bone.

    Returns a `Comparison`, one `ConstructResult` per construct in the order of the study. Lengths
    are in mm, forces in N, stresses in MPa, angles in degrees; movements are in the frame of the
    shaft, zero after the last tightening.

    Raises InputError where there is no such study or it cannot be built. A load that finds no
    equilibrium is a result, not an error.
    """
    clock = perf_counter()
    study = as_study(study)
    study, twins = with_twins(study) if also_bonded else (study, {})
    findings = check(study)    # refuses what cannot be solved, in the words of the study file
    with one_thread():
        say("meshing and factorising the bone")
        bones = Bones(study)
        intact = intact_subsidence(bones.base, intact_measures(bones.base))
        readers: dict[int, Reader] = {}
        seconds = {"bone": perf_counter() - clock}
        broken = {f.construct for f in findings if f.level == "broken"} - set(twins)
        warned, remarks = defaultdict(list), defaultdict(list)
        for finding in findings:
            if finding.level != "note" and not finding.construct:
                say(f"warning: {finding.part}: {finding.message}")
            if finding.level != "note" and finding.construct not in twins:
                warned[finding.construct].append(f"{finding.part}: {finding.message}")
            elif finding.rule == PLATE_ACROSS and finding.construct not in twins:
                remarks[finding.construct].append(f"{finding.part}: {finding.message}")
        done, staged = [], []
        for construct in study.constructs:
            start = perf_counter()
            say(f"solving '{construct.name}'")
            bone = bones.of(construct)
            reader = readers.setdefault(id(bone), Reader.of(bone, intact))
            model = build_model(bone, construct)
            if model.whole is not None:
                staged.append(staged_result(reader, model.whole, pictures))
                warned[construct.name] += staged[-1].warnings
                remarks[construct.name] += staged[-1].left_off
            solved = _solve(reader, model, tuple(warned[construct.name]), pictures)
            done.append(replace(solved, twin_of=twins.get(construct.name),
                                breaks_rule=construct.name in broken,
                                remarks=tuple(remarks[construct.name])))
            seconds[construct.name] = perf_counter() - start
        # Soft bone costs a second bone and further paths, which the weight-bearing table asks for.
        start = perf_counter()
        soft = None if study.load.body_mass_kg is None else soft_bone(study, say)
        seconds["soft bone"] = perf_counter() - start
    return Comparison(
        study=study, constructs=tuple(done), versions=versions(), mesh=mesh_facts(bones.base),
        trust=trust(done), seconds=seconds, stages=tuple(staged), soft=soft)


def _solve(reader: Reader, model: Model, warnings: tuple[str, ...], pictures: bool
           ) -> ConstructResult:
    study = model.bone.study
    upper, lower = model.capacity(), model.capacity(frictionless=True)
    # Friction lost costs another path, which the weight-bearing table asks for.
    least = (bracket(lower, upper)[0] if study.load.body_mass_kg is None
             else friction_lost(model))
    loads, shots = [], []
    for total in study.load.total_N:
        answer = model.answer(total)
        result, nodal = read(reader, model, answer, total)
        loads.append(replace(result, load_name=study.load.name(total)))
        if pictures:
            shots.append(replace(take_picture(model, answer, total, nodal), friction_only=(
                least is not None and total > least)))
    search = Search(model)
    found_gauges = gauges(reader, model, study.limits)
    letting_go = lets_go(model, upper)
    limits = find_limits(search, found_gauges, letting_go or lets_go(model, lower),
                         next((r.escapes for r in loads if r.escapes), None))
    derived = derive(search, reader, first_yield(reader, model), study.limits.movement_mm)
    points = () if derived.path is None else derived.path.points
    found = ConstructResult(
        name=model.construct.name, note=model.construct.note, status=_status(model, loads),
        capacity_N=bracket(lower, upper), capacity_status=upper.status, lets_go=letting_go,
        equilibrium_ends_N=search.ends, step_off_limit_N=limits["step-off"].load_N,
        search_limit_N=SEARCH_LIMIT_N,
        first_limit=first_words(limits, SEARCH_LIMIT_N, without_load(model)),
        curve_load_N=tuple(p.load_N for p in points),
        curve_subsidence_mm={name: tuple(p.subsidence_mm[name] for p in points)
                             for name in (model.bone.bodies[i].name for i in model.bone.fragments)},
        loads=tuple(loads), links=model.problem.n,
        warnings=(*warnings, *model.hardware.warnings), pictures=tuple(shots), limits=limits,
        lowest_limit=lowest(limits), ends_status=search.ends_status, known_to_N=search.known_to,
        without_friction_N=least, tightened_N=sum(model.hardware.tighten.values()),
        **{x.name: getattr(derived, x.name) for x in fields(derived)})
    if why := not_tightened(found):
        # What strips while it is tightened is no escape under the load: it is drawn unloaded.
        return replace(found, pictures=tuple(unloaded(p, why) for p in shots))
    return found


def _status(model: Model, loads: list[LoadResult]) -> str:
    if not model.stands:
        return NOT_TIGHTENED
    held = sum(r.status == Status.HELD for r in loads)
    if held == len(loads):
        return Status.HELD
    if any(r.status == Status.UNCONVERGED for r in loads):
        return Status.UNCONVERGED
    return Status.NO_EQUILIBRIUM if held == 0 else f"holds {held} of {len(loads)} loads"


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
