"""Run the stages of constructs and read their figures, stage by stage."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from buttress.bone.pieces import Made
from buttress.fe.errors import InputError
from buttress.fe.links.link import Kind
from buttress.fe.solve.cycles import Cycled, slipped
from buttress.fe.solve.stages import State
from buttress.fe.status import Status
from buttress.fe.threads import one_thread
from buttress.model.install import build_model
from buttress.model.model import Bones, Model
from buttress.model.order import Done, Order
from buttress.results.escape import escaping
from buttress.results.figures import (
    Figures,
    Level,
    subsidence_max,
    subsidence_mean,
    tilt,
    yield_ratio,
)
from buttress.results.picture import Picture, take_picture
from buttress.results.read import record
from buttress.results.reader import Reader, intact_subsidence
from buttress.results.records import EdgeResult
from buttress.results.stages import (
    NOT_RUN,
    CycleStage,
    FaceStage,
    FragmentStage,
    ScrewStage,
    StagedResult,
    StagedStudy,
    StageResult,
    loosened,
    words,
)
from buttress.study.read import AnyStudy, as_study
from buttress.study.study import Construct

Say = Callable[[str], None]


def run_stages(study: AnyStudy, *, pictures: bool = True, say: Say = lambda text: None
               ) -> StagedStudy:
    """The stages of every construct of a study that has some, without the rest of a comparison.

    ``study``: see `compare`. ``pictures``: also keep what `figures.stage_pictures` draws. ``say``:
    called with a line of progress as each construct begins.

    Returns a `StagedStudy`: per construct one record per stage, displacements in mm and tilt in
    degrees counted from the reduced fracture, forces in N.

    Raises InputError where the study cannot be built or no construct has stages.
    """
    study = as_study(study)
    staged = [c for c in study.constructs if c.stages]
    if not staged:
        raise InputError("no construct of this study has stages", key="construct.NAME.stage",
                         expected="[[construct.stage]] entries, see the example staged-tightening")
    out: list[StagedResult] = []
    readers: dict[int, Reader] = {}
    with one_thread():
        bones = Bones(study)
        intact = intact_subsidence(bones.base, bones.intact)
        for construct in staged:
            say(f"stages of '{construct.name}'")
            bone = bones.of(construct)
            reader = readers.setdefault(id(bone), Reader.of(bone, intact))
            model = build_model(bone, construct)
            out.append(staged_result(reader, model.whole or model, pictures))
    return StagedStudy(study.title or study.name, tuple(out))


def staged_result(reader: Reader, model: Model, pictures: bool = True) -> StagedResult:
    """All stages of one construct; ``model`` holds everything that is ever placed."""
    construct = model.construct
    order = Order(model)
    state, total = order.start(), 0.0
    before: StageResult | None = None
    tightened: dict[str, float] = {}
    results: list[StageResult] = []
    shots: list[Picture | None] = []
    status: str = Status.HELD
    for number, stage in enumerate(construct.stages, 1):
        aims = order.forces(stage)
        counts = {s.name: s.count for s in construct.screws}
        single = {aim / counts[name] for name, aim in aims.items()}
        own = single.pop() if len(single) == 1 else None
        said: dict[str, Any] = {"number": number, "do": stage.do, "what": stage.what or (),
                                "words": words(stage, own, any(counts[name] > 1 for name in aims)),
                                "loosens": loosened(before, aims if stage.do == "tighten" else {})}
        if status != Status.HELD:
            results.append(StageResult(**said, status=NOT_RUN, method=NOT_RUN, residual=None,
                                       complementarity=None, total_load_N=None, slip_mm=None))
            shots.append(None)
            continue
        built = number <= len(model.built)
        done = model.built[number - 1] if built else order.do(stage, state, total)
        state = done.state
        if done.answer.held:
            total = done.total
            tightened |= aims
        else:
            status = f"{done.answer.status} at stage {number} ({said['words']})"
        result = read_stage(reader, order, done, tightened, before, said)
        before = result if result.held else before
        results.append(result)
        shots.append(_picture(order, done) if pictures else None)
    same = tuple(c.name for c in model.bone.study.constructs if same_steps(c, construct))
    return StagedResult(
        name=construct.name, note=construct.note, status=status, stages=tuple(results),
        same_steps_as=same, pictures=tuple(shots))


def same_steps(a: Construct, b: Construct) -> bool:
    """Whether two constructs have the same parts and the same steps in another order."""
    def parts(c: Construct) -> dict[str, Any]:
        return c.model_dump(exclude={"name", "note", "stages"})

    def steps(c: Construct) -> list[str]:
        return [repr(s.model_dump(exclude={"note"})) for s in c.stages]

    return (a.stages != b.stages and parts(a) == parts(b) and steps(a) != steps(b)
            and sorted(steps(a)) == sorted(steps(b)))


def read_stage(reader: Reader, order: Order, done: Done, tightened: dict[str, float],
               before: StageResult | None, said: dict[str, Any]) -> StageResult:
    """The record of a stage; ``before`` that of the last one that was held."""
    answer, state = done.answer, done.state
    cycled = None if done.cycled is None else _cycled(reader, order, done.cycled, said["number"])
    if not answer.held:
        return StageResult(**said, status=answer.status, method=answer.method, residual=None,
                           complementarity=None, total_load_N=None, slip_mm=None, cycle=cycled,
                           escapes=escaping(order.model, answer), notes=answer.notes)
    f = Figures(reader, at_start(order.model), answer, done.total)
    screws = {name: _screw(float(answer.force[list(links)].sum()), tightened.get(name))
              for name, links in order.heads.items() if state.present[order.bodies[name]]}
    return StageResult(
        **said, status=answer.status, method=answer.method, residual=answer.residual,
        complementarity=answer.complementarity, total_load_N=done.total,
        slip_mm=slipped(done.answers or (answer,), tuple(done.tightened))
        if done.cycled is None else done.cycled.slip,
        fragments={name: _fragment(f, name, before) for name in f.places(Level.FRAGMENT)},
        edges={name: record(EdgeResult, f, Level.EDGE, name) for name in f.places(Level.EDGE)},
        fractures=_faces(order, state), screws=screws, cycle=cycled, notes=answer.notes,
        yield_ratios={name: yield_ratio(f, name) for name in f.parts
                      if state.present[order.bodies[name]]})


def at_start(model: Model) -> Model:
    """The model with movements that count from the start, not from the tightened state."""
    return replace(model, tightened=None)


def _screw(force: float, tightened: float | None) -> ScrewStage:
    return ScrewStage(force, tightened, force / tightened if tightened else None)


def _fragment(f: Figures, name: str, before: StageResult | None) -> FragmentStage:
    applied, sources = f.pushes(name)
    size = max(float(abs(f.answer.force).max(initial=0.0)), float((applied[:2] ** 2).sum() ** 0.5))
    mean = subsidence_mean(f, name)
    was = before.fragments[name].subsidence_mean_mm if before is not None else 0.0
    return FragmentStage(
        mean, subsidence_max(f, name), None if mean is None or was is None else mean - was,
        tilt(f, name), (float(applied[0]), float(applied[1])),
        {k: (float(v[0]), float(v[1])) for k, v in sources.items() if v.any()},
        f.unbalanced(name) / size if size > 0.0 else None)


def _faces(order: Order, state: State) -> dict[str, FaceStage]:
    """Slip that the fractures remember, and how far they are open now."""
    lack, links = order.staging.lack(state), order.model.problem.links.links
    out = {}
    for fracture in order.model.bone.study.fractures:
        mine = [i for i, link in enumerate(links) if link.source == fracture.name]
        slip = [abs(float(state.memory.offset[i])) for i in mine
                if links[i].kind == Kind.CONTACT_FRICTION]
        opened = [-float(lack[i]) for i in mine if links[i].kind == Kind.CONTACT]
        out[fracture.name] = FaceStage(max(slip, default=0.0), max([0.0, *opened]))
    return out


def _cycled(reader: Reader, order: Order, found: Cycled, number: int) -> CycleStage:
    stage = order.model.construct.stages[number - 1]
    assert stage.times is not None
    assert stage.settle_mm is not None
    sunk: list[dict[str, float | None]] = []
    for answer in found.peaks:
        f = Figures(reader, at_start(order.model), answer)
        sunk.append({name: subsidence_mean(f, name) for name in f.number})
    none = dict.fromkeys(reader.bone.bodies[i].name for i in reader.bone.fragments)
    return CycleStage(found.verdict, found.count, stage.times, stage.settle_mm, found.change,
                      found.ratio, found.slip, *(sunk if len(sunk) == 2 else (none, none)))


def _picture(order: Order, done: Done) -> Picture:
    """The bodies after a stage, without what is not placed; without equilibrium the mechanism."""
    shot = take_picture(at_start(order.model), done.answer, done.total)
    there = {name for name, body in order.bodies.items() if done.state.present[body]}
    return replace(shot, members=tuple(m for m in shot.members if m.name in there),
                   bodies=tuple(b for b in shot.bodies if b.kind != Made.GRAFT or b.name in there))
