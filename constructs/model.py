"""One construct on the bone: condensed, tightened, and answered for any load."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from constructs.bone import Bone
from constructs.hardware import Hardware, build_hardware
from constructs.schema import Construct
from fe.condense import Condensed, condense
from fe.continuum import interface_contact
from fe.errors import InputError
from fe.limit import Capacity, capacity
from fe.link import LinkList
from fe.solve import Answer, Memory, Solver

FloatArray = np.ndarray


@dataclass(frozen=True)
class Model:
    """A construct ready to be loaded. ``tightened`` is None where nothing is tightened."""

    bone: Bone
    construct: Construct
    hardware: Hardware
    solver: Solver
    tightened: Answer | None
    memory: Memory

    @property
    def problem(self) -> Condensed:
        return self.solver.problem

    @property
    def stands(self) -> bool:
        """Whether the construct can be loaded: tightening has found an equilibrium."""
        return self.tightened is None or self.tightened.held

    def answer(self, total: float, near: Answer | None = None, quick: bool = False) -> Answer:
        """The step from the tightened state to a total joint force [N].

        Every load is one step of its own from the tightened state, so an answer does not depend
        on which other loads were asked for. Where tightening fails, its answer is returned.
        """
        if self.tightened is not None and not self.tightened.held:
            return self.tightened
        return self.solver.answer(self.bone.load_vector(total), self.memory, near=near,
                                  quick=quick)

    def capacity(self, frictionless: bool = False) -> Capacity:
        """Limit load as a factor of 1 N of total joint force; tightened screws keep their force."""
        return capacity(self.problem, self.bone.load_vector(1.0),
                        prescribed=self.hardware.tighten, frictionless=frictionless)


def fracture_links(bone: Bone, links: LinkList) -> None:
    """Contact and friction along every face of every fracture."""
    for face in bone.interfaces:
        interface_contact(links, face, list(bone.bodies), friction=bone.friction(face.name),
                          depth=bone.section.thickness)


def build_model(bone: Bone, construct: Construct) -> Model:
    """Condense a construct and tighten its screws. Raises `InputError` for hardware in the air."""
    links = LinkList()
    fracture_links(bone, links)
    try:
        hardware = build_hardware(bone, construct, links)
    except InputError as error:
        raise error.at(key=f"construct.{construct.name}") from None
    bodies = [*bone.bodies, *(p.member for p in hardware.parts)]
    solver = Solver(condense(bodies, links, bone.loads, bone.measures))
    memory = Memory.none(solver.problem)
    tightened = None
    if hardware.tighten:
        tightened = solver.answer(np.zeros(len(bone.loads)), memory, hardware.tighten)
        if tightened.held:
            memory = solver.advance(tightened, memory)
    return Model(bone, construct, hardware, solver, tightened, memory)


def intact_answer(bone: Bone) -> tuple[Condensed, FloatArray, FloatArray]:
    """Intact bone: the same faces bonded. Condensed problem, link forces and motions a newton."""
    links = LinkList()
    fracture_links(bone, links)
    problem = condense(list(bone.bodies), links, bone.loads, bone.measures)
    n = problem.n
    bonded = problem.with_law(lower=np.full(n, -np.inf), upper=np.full(n, np.inf),
                              friction=np.zeros(n), opens=np.zeros(n, dtype=bool))
    answer = Solver(bonded).answer(bone.load_vector(1.0))
    return bonded, answer.force, answer.rigid
