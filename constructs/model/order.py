"""Stages of a study as steps of the condensed problem."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.links.link import Kind
from buttress.fe.solve.answer import Answer
from buttress.fe.solve.cycles import Cycled, cycle
from buttress.fe.solve.stages import Staging, State
from buttress.implants.drag import DRAG
from buttress.implants.kinds import Hold
from buttress.implants.pins import heads_of, shared
from buttress.model.model import Model
from buttress.model.pressing import Pressing
from buttress.study.implants import tension
from buttress.study.stages import Stage

WATCHED = ("joint ", "lip ")
"""Prefixes of the measures that must settle in a cycle: joint surface and lips."""


@dataclass(frozen=True)
class Done:
    """The result of a stage: answers of its steps, of which the last may fail, and the state;
    ``tightened``: the force [N] to which it brings links of heads, by number."""

    answer: Answer
    state: State
    total: float
    answers: tuple[Answer, ...] = ()
    tightened: dict[int, float] = field(default_factory=dict)
    cycled: Cycled | None = None


class Order:
    """Carries out the stages of one construct.

    ``model``: the whole construct, with all parts ever placed; tightening is left to the stages.
    """

    def __init__(self, model: Model) -> None:
        self.model = model
        p = model.problem
        drag: dict[int, list[int]] = {}
        for i, link in enumerate(p.links.links):
            if link.kind == DRAG:
                drag.setdefault(model.number(link.b.body), []).append(i)
        self.staging = Staging(model.solver, drag)
        self.bodies = {s.name: model.number(s.body) for s in model.hardware.fills}
        self.bodies |= {q.name: model.number(q.member) for q in model.hardware.parts}
        self.heads = heads_of(p.links)
        self.locks: dict[str, list[int]] = {}
        for i, link in enumerate(p.links.links):
            if (model.construct.locks_later(link.source)
                    and link.kind in (Hold.HEAD_ON_PLATE, Hold.HEAD_ON_PLATE_FRICTION)):
                self.locks.setdefault(link.source, []).append(i)
        self.watched = np.array([name.startswith(WATCHED) for name in p.measure_names], dtype=bool)

    def start(self) -> State:
        """Before the first stage: parts that no stage places are present, without load."""
        later = [self.bodies[name] for s in self.model.construct.stages if s.do == "place"
                 for name in s.what or ()]
        present = np.ones(len(self.model.problem.bodies), dtype=bool)
        present[later] = False
        return self.staging.start(present)

    def forces(self, stage: Stage) -> dict[str, float]:
        """Force of each head [N, all pieces] that a stage tightens."""
        screws = {s.name: s for s in self.model.construct.screws}
        return {name: screws[name].count * (stage.force_N if stage.force_N is not None
                                            else tension(screws[name]))
                for name in (stage.what or () if stage.do == "tighten" else ())}

    def load(self, total: float, share: float | None = None) -> FloatArray:
        """Factors of the load cases for a total joint force, with another medial share if given."""
        bone = self.model.bone
        if share is not None:
            load = bone.study.load.model_copy(update={"medial_share": share})
            bone = replace(bone, study=bone.study.model_copy(update={"load": load}))
        return bone.load_vector(total)

    def do(self, stage: Stage, state: State, total: float) -> Done:
        """Carry out a stage from a state under a total joint force."""
        if stage.do == "cycle":
            return self._cycle(stage, state, total)
        target = state.answer.load
        prescribed: dict[int, float] = {}
        bodies = np.array([self.bodies[n] for n in stage.what or ()], dtype=np.int64)
        if stage.do == "place":
            state = self.staging.join(state, bodies)
        elif stage.do == "release":
            # A lock that was opened is contact again, should the screw be put back.
            back = [i for name in stage.what or () for i in self.locks.get(name, ())]
            state = self._opened(self.staging.leave(state, bodies), back)
        elif stage.do == "lock":
            state = self.staging.fasten(state, np.array(
                [i for name in stage.what or () for i in self.locks[name]]))
        elif stage.do == "relax":
            kept = 1.0 - (stage.lost_share or 0.0)
            # An edge of a head that carries nothing has nothing to lose, and may press later.
            prescribed = {i: kept * float(state.answer.force[i]) for name in stage.what or ()
                          for i in self.heads[name] if state.answer.force[i] > 0.0}
            if stage.friction_factor is not None:
                state = self._worn(state, stage.friction_factor)
        elif stage.do == "tighten":
            for name, force in self.forces(stage).items():
                prescribed |= shared(self.heads[name], force)
        else:
            total = stage.total_N or 0.0
            target = self.load(total, stage.medial_share)
        if stage.do == "load" and stage.steps is None:
            pressed = self._pressed(state, target)
            if pressed is not None:
                answer, state = pressed
                return Done(answer=answer, state=state, total=total, answers=(answer,))
        answers: list[Answer] = []
        first, count = state.answer.load, stage.steps or 1
        held = {head: float(state.answer.force[head]) for head in prescribed}
        for k in range(1, count + 1):
            share = k / count
            forces = {i: held[i] + (force - held[i]) * share for i, force in prescribed.items()}
            answer, state = self.staging.step(state, first + (target - first) * share, forces,
                                              answers[-1] if answers else None)
            answers.append(answer)
            if not answer.held:
                break
        return Done(
            answer=answers[-1], state=state, total=total, answers=tuple(answers),
            tightened=prescribed)

    def _pressed(self, state: State, target: FloatArray) -> tuple[Answer, State] | None:
        """Where pressing from the load of a state first reaches ``target (p,)``, as any other load
        is answered; None where part of the load is taken away, or a body is held by drag alone."""
        staging, first = self.staging, state.answer.load
        more = target - first
        size = float(np.abs(more).sum())
        if size == 0.0 or (more < 0.0).any():
            return None
        state = replace(state, held_back=state.held_back | staging.drags)
        cut, _ = staging.part(state)
        pressing = Pressing(cut.problem, more / size, cut.memory(state.memory),
                            cut.narrowed(state.answer), first, growth=self.model.growth)
        found, memory = pressing.reached(size)
        answer = cut.carried_back(found, state.memory)
        if not answer.held:
            return answer, state
        after = replace(state, memory=cut.remembered(memory, state.memory), answer=answer)
        return None if staging.loose(after, answer) else (answer, after)

    def _worn(self, state: State, factor: float) -> State:
        """The state with less friction in the fractures, from here on."""
        names = {f.name for f in self.model.bone.study.fractures}
        worn = np.array([link.kind == Kind.CONTACT_FRICTION and link.source in names
                         for link in self.model.problem.links.links], dtype=bool)
        return replace(state, friction=np.where(worn, factor * state.friction, state.friction))

    def _opened(self, state: State, links: Sequence[int]) -> State:
        if not links:
            return state
        p, where = self.model.problem, np.array(links)
        lower, upper, friction = state.lower.copy(), state.upper.copy(), state.friction.copy()
        lower[where], upper[where], friction[where] = (p.lower[where], p.upper[where],
                                                       p.friction[where])
        return replace(state, lower=lower, upper=upper, friction=friction)

    def _cycle(self, stage: Stage, state: State, total: float) -> Done:
        assert stage.total_N is not None
        assert stage.times is not None
        assert stage.settle_mm is not None
        low = stage.low_N or 0.0
        share = stage.low_medial_share if stage.low_medial_share is not None \
            else stage.medial_share
        loads = [self.load(stage.total_N, stage.medial_share), self.load(low, share)]
        wear, least = None, 0
        if stage.friction_factor is not None and stage.wear_cycles is not None:
            fresh, lost, least = state, 1.0 - stage.friction_factor, stage.wear_cycles

            def wear(now: State, count: int) -> State:
                kept = 1.0 - lost * min(count / least, 1.0)
                return replace(now, friction=self._worn(fresh, kept).friction)

        found = cycle(self.staging, state, loads, self._watch, stage.times, stage.settle_mm, wear,
                      least)
        held = found.answer.held
        return Done(
            answer=found.answer, state=found.state, total=low if held else total,
            answers=found.peaks, cycled=found)

    def _watch(self, answer: Answer) -> FloatArray:
        p = self.model.problem
        values = p.measures(answer.load, answer.force, answer.rigid, answer.kink)
        return np.array(list(values.values()))[self.watched]
