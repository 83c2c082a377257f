"""One construct on the bone: condensed, tightened, and solved for any load."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from buttress.bone import fit
from buttress.bone.bone import Block, Bone, build_bone, make_solid
from buttress.bone.fills import fill_material
from buttress.bone.pieces import FillPiece, Inclusion, Made, Solid
from buttress.bone.section import Section
from buttress.fe.arrays import FloatArray
from buttress.fe.errors import InputError
from buttress.fe.links.condense import Condensed, condense
from buttress.fe.links.faces import interface_links
from buttress.fe.links.link import LinkList
from buttress.fe.mesh.bodies import Interface
from buttress.fe.solve.answer import Answer, Memory
from buttress.fe.solve.capacity import Capacity, capacity
from buttress.fe.solve.path import GROWTH
from buttress.fe.solve.solver import Solver
from buttress.fe.solve.subset import frictionless
from buttress.implants.hardware import SAME_PLACE, STIFF, Hardware
from buttress.implants.loose import leave_out_loose
from buttress.implants.pins import add_pin
from buttress.implants.placement import screw_axis, thread_span, void_stretches
from buttress.implants.plates import add_plate
from buttress.implants.sections import metal, outer, pin_section
from buttress.model.pressing import Pressing
from buttress.model.walls import wall_links
from buttress.study.implants import Fill, Screw, Wire
from buttress.study.study import Construct, Study
from buttress.study.tables import number

NOTHING_N = 1e-6
"""Limit load [N] below which it is rounding."""


@dataclass(frozen=True)
class Model:
    """A construct ready to be loaded. ``tightened`` is None where nothing is tightened."""

    bone: Bone
    construct: Construct
    hardware: Hardware
    solver: Solver
    tightened: Answer | None
    memory: Memory
    whole: Model | None = None
    """For a construct with stages: all parts that are ever placed, before the first stage."""
    built: tuple[Any, ...] = ()
    """For `whole`: the results of its stages, so that they are not carried out twice."""
    start: Answer | None = None
    """The state without load in which it is pressed, where its stages have loaded it: movements
    count from `tightened` all the same. None: pressed from there."""
    counted: Memory | None = None
    """What `tightened` has left, if not `memory`: slip and kinks count from it."""
    begins: str = ""
    """Of a construct that its stages load: in which state it is pressed, in words."""
    gave_way: bool = False
    """Whether a stage has altered it so that it does not hold the load on it: `tightened` is then
    the answer of that stage."""
    large: str = "off"
    """Whether the path moves geometry: the study's ``press.large_movements``."""
    growth: float = GROWTH
    """The study's ``press.step_growth``."""

    @property
    def problem(self) -> Condensed:
        """The condensed problem of its links."""
        return self.solver.problem

    @property
    def solids(self) -> tuple[Solid, ...]:
        """Bone and fills."""
        return (*self.bone.solids, *self.hardware.fills)

    def number(self, body: object) -> int:
        """Number of a body in the condensed problem."""
        return next(i for i, b in enumerate(self.problem.bodies) if b is body)

    @property
    def stands(self) -> bool:
        """Whether the construct can be loaded: tightening has found an equilibrium."""
        return self.tightened is None or self.tightened.held

    @property
    def _start(self) -> Answer | None:
        return self.tightened if self.start is None else self.start

    @cached_property
    def pressing(self) -> Pressing:
        """The construct under the ram: what all questions about loads are answered from.

        Raises InputError where the load presses on nothing.
        """
        return Pressing(self.problem, self.bone.load_vector(1.0), self.memory, self._start,
                        large=self.large, counted=self.counted, growth=self.growth)

    def answer(self, total: float) -> Answer:
        """The state in which pressing from the tightened state first reaches a joint force [N].

        It does not depend on which other loads were asked for. Where tightening fails, its answer
        is returned.
        """
        if self.tightened is not None and not self.tightened.held:
            return self.tightened
        return self.pressing.answer(total)

    @cached_property
    def slippery(self) -> Pressing | None:
        """The construct under the ram with friction lost after tightening; its answers since then
        are read as those of the construct itself. None where nothing resists then, however far it
        is pressed."""
        if self.large == "off":
            bound = self.capacity(frictionless=True, rising=True).factor
            if bound is not None and bound < NOTHING_N:
                return None
        slippery, start = frictionless(self.problem), self._start
        return Pressing(
            slippery.problem, self.bone.load_vector(1.0), slippery.memory(self.memory),
            None if start is None else slippery.narrowed(start), large=self.large,
            counted=None if self.counted is None else slippery.memory(self.counted),
            growth=self.growth, whole=(slippery, self.memory))

    def capacity(self, frictionless: bool = False, rising: bool = False) -> Capacity:
        """Limit load as a factor of 1 N of total joint force; tightened screws keep their force.

        ``rising``: their force may change as it does under load, and what hardens has no bound,
        which bounds any held load.
        """
        return capacity(self.problem.firm() if rising else self.problem, self.bone.load_vector(1.0),
                        prescribed=None if rising else self.hardware.tighten,
                        frictionless=frictionless, sums=True)


def blocks_of(construct: Construct) -> tuple[Block, ...]:
    """Fills smaller than their void, which need a mesh of their own."""
    return tuple((f.name, f.void, f.points_mm) for f in construct.fills
                 if f.points_mm is not None)


def inclusions_of(study: Study, construct: Construct) -> tuple[Inclusion, ...]:
    """Screws and wires as metal bonded into the section, where the construct requests it."""
    if construct.model != "bonded inclusions":
        return ()
    section, out = Section(study.section), []
    for pin in construct.pins:
        axis, material = screw_axis(section, pin, construct.plates), metal(pin.material)
        start = thread_span(pin, axis.length)[0]
        for a, b, threaded in ((0.0, start, False), (start, axis.length, True)):
            if b - a > SAME_PLACE:
                found = pin_section(pin, threaded)
                out.append(Inclusion(
                    name=pin.name, kind=pin.what, start=axis.point(a), end=axis.point(b),
                    diameter=found.outer + found.inner, count=pin.count, modulus=material.modulus,
                    poisson=material.poisson, outline=outer(pin)))
    return tuple(out)


class Bones:
    """The bones of a study, one per geometry and modulus field that its constructs need.

    ``intact``: measures a newton of total force on the intact bone.
    """

    def __init__(self, study: Study) -> None:
        self.study = study
        self.base = build_bone(study)
        self.intact = intact_measures(self.base)
        self._found: dict[tuple, tuple[Bone, list[int]]] = {((), ""): _marked(self.base)}

    def of(self, construct: Construct) -> Bone:
        """The bone of a construct; shared by all that need the same one.

        It knows nothing of the constructs before: each is answered as if it were the only one, to
        the last bit. So its model is to be built before the next construct is asked for.
        """
        blocks = blocks_of(construct)
        bonded = construct.model == "bonded inclusions"
        key = (blocks, construct.name if bonded else "")
        if key not in self._found:
            self._found[key] = _marked(build_bone(
                self.study, blocks, inclusions_of(self.study, construct)))
        bone, known = self._found[key]
        for body, count in zip(bone.bodies, known, strict=True):
            body.forget(count)
        for fill in bone.fills.values():
            fill.body.forget(0)
        return bone


def _marked(bone: Bone) -> tuple[Bone, list[int]]:
    """A bone and the number of responses that each of its bodies knows."""
    return bone, [body.responses_known for body in bone.bodies]


def assemble(bone: Bone, construct: Construct) -> Model:
    """Condense a construct; nothing is tightened yet. Raises `InputError`."""
    links, hardware = LinkList(), Hardware()
    bonded = construct.model == "bonded inclusions"
    try:
        hardware.fills = [make_fill(bone, construct, mesh.name) for mesh in bone.regions
                          if fill_for(construct, mesh.name) is not None]
        face_links(bone, construct, hardware, links)
        solids = [*bone.solids, *hardware.fills]
        if not bonded:
            wall_links(bone.study, construct, solids, links)
        screwed = {s.plate for s in construct.screws}
        seats = {p.name: add_plate(bone, p, links, hardware, bonded, p.name in screwed)
                 for p in construct.plates}
        for pin in construct.pins:
            if bonded:
                hardware.warnings += _left_out(bone.study, construct, pin)
            else:
                add_pin(bone, construct, pin, solids, seats, links, hardware)
    except InputError as error:
        raise InputError(error.message, file=error.file, value=error.value,
                         key=f"construct.{construct.name}.{error.key}",
                         expected=error.expected) from None
    leave_out_loose(bone, solids, hardware, links)
    if construct.stages:
        from buttress.implants.drag import add_drags  # its package needs the model itself

        add_drags(bone, hardware, links)
    bodies = [*(s.body for s in solids), *(p.member for p in hardware.parts)]
    solver = Solver(condense(bodies, links, bone.loads, bone.measures))
    return Model(
        bone=bone, construct=construct, hardware=hardware, solver=solver, tightened=None,
        memory=Memory.none(solver.problem), large=bone.study.press.large_movements,
        growth=bone.study.press.step_growth)


def _left_out(study: Study, construct: Construct, pin: Screw | Wire) -> list[str]:
    """Warnings on pins that bonded metal, which replaces bone or graft, cannot represent."""
    axis = screw_axis(Section(study.section), pin, construct.plates)
    empty = {v for _, _, v in void_stretches(study, axis)} - {f.void for f in construct.fills}
    within = "foam" if study.section.bone == "foam" else "bone"
    within += " or graft" if construct.fills else ""
    return [f'{pin.name}: bonded metal counts only within {within}, so no part of '
            f'the {pin.what} is modelled in the empty void "{void}"' for void in sorted(empty)]


def fill_for(construct: Construct, region: str) -> Fill | None:
    """The fill of a region: the block of that name, or the fill of the void of that name."""
    for fill in construct.fills:
        if (fill.name if fill.points_mm is not None else fill.void) == region:
            return fill
    return None


def make_fill(bone: Bone, construct: Construct, region: str) -> Solid:
    """A fill as a body; made once per region and material, then shared."""
    fill = fill_for(construct, region)
    assert fill is not None
    material = fill_material(fill)
    mesh = next(m for m in bone.regions if m.name == region)
    piece = FillPiece(
        section=bone.section, material=material, low=float(mesh.points[:, 1].min()),
        high=float(mesh.points[:, 1].max()), limit=fill.depth_mm, inclusions=bone.inclusions)
    key = (region, fill.depth_mm, material.key)
    if key not in bone.fills:
        bone.fills[key] = make_solid(mesh, Made.GRAFT, piece)
    # Strengths and names may differ where stiffness does not.
    return Solid(fill.name, Made.GRAFT, bone.fills[key].body, piece)


def face_links(bone: Bone, construct: Construct, hardware: Hardware, links: LinkList) -> None:
    """Links along every face: contact of fractures, contact or bond of fills, free walls of voids.

    A face crushes at the strength of the weaker of its two sides, and that side then carries more:
    its modulus times the slope of crushed bone, spread over the depth of a layer.
    Inside the outline of a bonded inclusion a fracture is not separated; a fill is then bonded.
    """
    count = len(bone.solids)
    slots: dict[int, Solid] = dict(enumerate(bone.solids))
    layers = junction_layers(bone)
    rise = bone.study.hardening.bone_share / number("materials", "crushed bone", "face_layer")
    for i, mesh in enumerate(bone.regions, count):
        fill = fill_for(construct, mesh.name)
        if fill is not None:
            slots[i] = next(s for s in hardware.fills if s.name == fill.name)
    for face in bone.faces:
        a, b = slots.get(face.body_a), slots.get(face.body_b)
        if a is None or b is None:
            continue
        places = a.mesh.points[face.nodes_a]
        area = face.weight * np.minimum(a.piece.depth(places), b.piece.depth(places))
        fills = [s for s in (a, b) if s.kind == Made.GRAFT]
        strength = a.piece.crush(places), b.piece.crush(places)
        soft = np.where(strength[0] <= strength[1], a.piece.crushable(places),
                        b.piece.crushable(places))
        law: dict = {"source": face.name, "area": area, "compliance": layers(face),
                     "strength": np.minimum(*strength), "slope": rise * soft}
        if fills and construct.model == "bonded inclusions":
            law |= {"source": fills[0].name, "bond": np.inf, "strength": np.inf}
        elif not fills:
            across, along = fit.layer(bone, face, area)
            law |= {"friction": bone.friction(face.name), "gap": fit.gaps(bone, face),
                    "compliance": law["compliance"] + across,
                    "shear_compliance": law["compliance"] + along}
        else:
            pieces = [s.piece for s in fills if isinstance(s.piece, FillPiece)]
            law |= {"source": fills[0].name,
                    "friction": min(p.material.friction for p in pieces)}
            bonds = [p.material.bond for p in pieces]
            if all(bond is not None for bond in bonds):
                law |= {"bond": min(bond for bond in bonds if bond is not None)}
                left = bone.study.hardening.bond_residual
                if left < 1.0:
                    law |= {"residual": left, "soften": number("materials", "broken", "bond_slip")}
        start = len(links.links)
        interface_links(links, face, (a.body, b.body), **law)
        _bond_in_metal(links, start, bone.inclusions)


def junction_layers(bone: Bone) -> Callable[[Interface], FloatArray]:
    """Compliance of each node's links of a face [mm/N]: 0, but stiff where faces meet.

    Where three bodies share a point, the links between them are redundant by one, so forces are not
    unique. A compliance of a micrometre per kilonewton makes them unique.
    """
    meshes = [*(s.mesh for s in bone.solids), *bone.regions]

    def at(face: Interface) -> list[tuple[float, float]]:
        points = meshes[face.body_a].points[face.nodes_a]
        return [(round(float(x), 6), round(float(y), 6)) for x, y in points]

    faces_at = Counter(place for face in bone.faces for place in set(at(face)))
    return lambda face: np.array([STIFF if faces_at[place] > 1 else 0.0 for place in at(face)])


def _bond_in_metal(links: LinkList, start: int, inclusions: tuple[Inclusion, ...]) -> None:
    """Make face links added since ``start`` two-way where they lie in an inclusion's outline."""
    for i in range(start, len(links.links)):
        link = links.links[i]
        if any(bar.holds(np.array(link.place)) for bar in inclusions):
            links.links[i] = replace(link, lower=-np.inf, upper=np.inf, friction=0.0, partner=-1,
                                     gap=0.0, soften=0.0)


def intact_problem(bone: Bone) -> Condensed:
    """The intact bone: all faces bonded, voids filled with bone."""
    piece = bone.solids[bone.shaft].piece
    slots = [*bone.solids, *(make_solid(mesh, Made.BONE, piece) for mesh in bone.regions)]
    links = LinkList()
    layers = junction_layers(bone)
    for face in bone.faces:
        interface_links(links, face, (slots[face.body_a].body, slots[face.body_b].body),
                        source=face.name, area=face.weight, bond=np.inf, compliance=layers(face))
    return condense([s.body for s in slots], links, bone.loads, bone.measures)


def intact_measures(bone: Bone) -> dict[str, float]:
    """Measures a newton of total force on the intact bone."""
    problem = intact_problem(bone)
    answer = Solver(problem).answer(bone.load_vector(1.0))
    return problem.measures(answer.load, answer.force, answer.rigid, answer.kink)
