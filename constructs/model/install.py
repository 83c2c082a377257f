"""A construct prepared for loading: tightened, or as built by its stages."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from buttress.bone.bone import Bone
from buttress.fe.solve.answer import Answer
from buttress.fe.solve.stages import State
from buttress.implants.pins import shared
from buttress.model.model import Model, assemble
from buttress.model.order import Done, Order
from buttress.study.stages import Stage
from buttress.study.study import Construct

UNLOAD = Stage(do="unload")


def build_model(bone: Bone, construct: Construct) -> Model:
    """Condense a construct and tighten its screws, or carry out its stages.

    Raises `InputError` for hardware without contact to bone.
    """
    return made_ready(assemble(bone, construct))


def made_ready(model: Model) -> Model:
    """An assembled model with its screws tightened, or after its stages."""
    if model.construct.stages:
        return installed(model)
    if not model.hardware.tighten:
        return model
    tightened = model.solver.answer(np.zeros(len(model.bone.loads)), model.memory,
                                    model.hardware.tighten)
    memory = model.memory
    if tightened.held:
        memory = model.solver.advance(tightened, memory)
    return replace(model, tightened=tightened, memory=memory)


def installed(model: Model) -> Model:
    """The model after all of its stages, without load; ``whole`` keeps the given one.

    Movements count from its state before the first stage that loads it. Where a stage of loading
    is not held, or parts were taken out after it, `Model.begins` says from where they count, and in
    which state it is pressed. Parts that are not in place then are left out, with a warning. Where
    a stage of building has no equilibrium, or one after loading that alters it, the failure is
    recorded as the model's tightening.
    """
    order = Order(model)
    went = _carried_out(order)
    state, counted, failed = went.end, went.counted, went.failed
    # The comparison's loads press on every piece, or find it unsupported: no drag.
    state = replace(state, held_back=state.held_back | order.staging.drags)
    tightened = went.tightened
    cut, solver = order.staging.part(state)
    there = {name for name, body in order.bodies.items() if state.present[body]}
    answer = cut.narrowed(failed or counted.answer)
    number = {int(link): i for i, link in enumerate(cut.links)}
    aims = {i: aim for n in tightened if n in there
            for i, aim in shared(order.heads[n], tightened[n]).items()}
    if failed is None or went.gave_way:
        last = went.done[-1].tightened if went.gave_way else {}
        aims = {i: last.get(i, float(state.answer.force[i])) for i in aims}
    heads = {number[i]: aim for i, aim in aims.items()}
    missing = [name for name in order.bodies if name not in there]
    warnings = list(model.hardware.warnings)
    if missing and failed is None:
        warnings.append("not in place when the loads of the comparison act: "
                        + ", ".join(f"'{n}'" for n in missing))
    hardware = replace(
        model.hardware, tighten=heads, warnings=warnings,
        parts=[p for p in model.hardware.parts if p.name in there],
        fills=[s for s in model.hardware.fills if s.name in there])
    moved = failed is None and state.answer is not counted.answer
    return replace(model, hardware=hardware, solver=solver, tightened=answer,
                   gave_way=went.gave_way, memory=cut.memory(state.memory), begins=went.words,
                   start=cut.narrowed(state.answer) if moved else None,
                   counted=cut.memory(counted.memory) if moved else None,
                   whole=replace(model, built=tuple(went.done)))


@dataclass(frozen=True)
class _Stages:
    """What carrying out the stages of a construct came to: the state in which it is pressed, that
    from which its movements count, both without load, and the forces of its screws' heads [N]."""

    done: list[Done]
    end: State
    counted: State
    tightened: dict[str, float]
    words: str = ""
    failed: Answer | None = None
    gave_way: bool = False


def _carried_out(order: Order) -> _Stages:
    state, total, first = order.start(), 0.0, 0
    before, known = state, dict[str, float]()
    tightened, done = dict[str, float](), list[Done]()
    lost = after = ""
    for number, stage in enumerate(order.model.construct.stages, 1):
        if stage.loads and not first:
            first, before, known = number, state, dict(tightened)
        aims = order.forces(stage)
        found = order.do(stage, state, total)
        done.append(found)
        if not found.answer.held:
            if not first:
                return _Stages(done, state, state, tightened | aims, failed=found.answer)
            if stage.alters:
                return _Stages(done, state, state, tightened | aims, failed=found.answer,
                               gave_way=True)
            lost = f"since its stage {number} is not held ({found.answer.status})"
            after, lost = (lost, "") if number > first else ("", lost)
            break
        tightened |= aims
        state, total = found.state, found.total
    if not first:
        return _Stages(done, state, state, tightened)
    last = f"its stage {number - 1}" if after else "all of its stages"
    if not lost and state.answer.load.any():
        found = order.do(UNLOAD, state, total)
        state = found.state
        if not found.answer.held:
            lost = f"since it cannot be unloaded after {last} ({found.answer.status})"
    if lost:
        return _Stages(done, before, before, known, f"pressed as it is before its stage {first}, "
                       f"the first that loads it, {lost}")
    if (before.present & ~state.present).any():
        return _Stages(done, state, state, tightened, f"pressed after {last}, without load"
                       f"{f', {after}' * bool(after)}; movements count from there, since its "
                       "stages take parts out")
    return _Stages(done, state, before, tightened, f"pressed after {last}, without load"
                   f"{f', {after}' * bool(after)}; movements count from before stage {first}, the "
                   "first that loads it")
