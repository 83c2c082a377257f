"""A construct prepared for loading: tightened, or as built by its stages."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from buttress.bone.bone import Bone
from buttress.fe.solve.answer import Answer
from buttress.implants.pins import shared
from buttress.model.model import Model, assemble
from buttress.model.order import Order
from buttress.study.study import Construct


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
    """The model after the stages before the first that loads it; ``whole`` keeps the given one.

    Parts that have not been placed by then are left out, with a warning. Where a stage has no
    equilibrium, the failure is recorded as the model's tightening.
    """
    order = Order(model)
    state = order.start()
    tightened: dict[str, float] = {}
    failed: Answer | None = None
    built = []
    for stage in model.construct.stages:
        if stage.loads:
            break
        tightened |= order.forces(stage)
        done = order.do(stage, state, 0.0)
        built.append(done)
        state = done.state
        if not done.answer.held:
            failed = done.answer
            break
    # The comparison's loads press on every piece, or find it unsupported: no drag.
    state = replace(state, held_back=state.held_back | order.staging.drags)
    cut, solver = order.staging.part(state)
    there = {name for name, body in order.bodies.items() if state.present[body]}
    answer = cut.narrowed(failed or state.answer)
    number = {int(link): i for i, link in enumerate(cut.links)}
    heads = {number[i]: aim if failed else float(state.answer.force[i])
             for n in tightened if n in there
             for i, aim in shared(order.heads[n], tightened[n]).items()}
    missing = [name for name in order.bodies if name not in there]
    warnings = list(model.hardware.warnings)
    if missing and failed is None:
        warnings.append("the loads of the comparison act on its state before the first loading "
                        "stage, without " + ", ".join(f"'{n}'" for n in missing))
    hardware = replace(
        model.hardware, tighten=heads, warnings=warnings,
        parts=[p for p in model.hardware.parts if p.name in there],
        fills=[s for s in model.hardware.fills if s.name in there])
    return replace(model, hardware=hardware, solver=solver, tightened=answer,
                   memory=cut.memory(state.memory), whole=replace(model, built=tuple(built)))
