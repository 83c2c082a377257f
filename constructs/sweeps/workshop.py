"""Solving many cases of a study with as little work as possible: data kept between cases.

A bone is meshed and factorised once; a frame (a construct's hardware on it) is condensed once;
changes of friction, strengths, tension and the size and share of the load are solved on the
condensed problem. Each figure is computed from its case alone, so it does not depend on what was
solved before (responses of a body are solved in blocks, which causes differences of rounding).
"""

from __future__ import annotations

from collections import Counter, OrderedDict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, TypeVar

import numpy as np

from buttress.bone.bone import Bone, build_bone, under_load
from buttress.bone.pieces import Piece, Solid
from buttress.fe.arrays import FloatArray, IntArray
from buttress.fe.bodies.member import Member
from buttress.fe.links.condense import Condensed, condense
from buttress.fe.links.link import Kind
from buttress.fe.solve.capacity import Capacity
from buttress.fe.solve.solver import Solver
from buttress.implants.kinds import Hold
from buttress.implants.loose import loaded_bodies
from buttress.implants.pins import heads_of, shared
from buttress.model.install import made_ready
from buttress.model.model import Model, assemble, blocks_of, inclusions_of, intact_measures
from buttress.results.reader import Reader, Tissue, intact_subsidence
from buttress.study.case import Case
from buttress.study.implants import tension
from buttress.study.study import Construct, Study
from buttress.sweeps.keys import bone_key, digest, hardware_key, load_key

T = TypeVar("T")
MOST_BONES = 2
MOST_FRAMES = 12
MOST_LAWS = 4
MOST_COLUMNS = 4000
"""Number of responses after which a bone is rebuilt: their table takes 8 n² bytes (128 MB)."""


class Kept(OrderedDict[Any, T]):
    """The most recent objects, by key."""

    def __init__(self, most: int) -> None:
        super().__init__()
        self.most = most

    def get_or(self, key: Any, make: Callable[[], T]) -> T:
        """The object of a key, created if missing."""
        if key in self:
            self.move_to_end(key)
            return self[key]
        found = make()
        self[key] = found
        while len(self) > self.most:
            self.popitem(last=False)
        return found


@dataclass
class Law:
    """A frame with the bounds of one case: its solver, what is tightened, its limit loads."""

    arrays: dict[str, FloatArray]
    solver: Solver
    bounds: Any
    """The key on which a limit load without friction depends."""
    ready: Kept[Model] = field(default_factory=lambda: Kept(2))
    """Tightened, or after its stages, by load key; for stages that load it by share key and
    steps."""
    capacities: dict[str, Capacity] = field(default_factory=dict)


class Frame:
    """A construct's hardware on a bone, condensed; solves for any law and load.

    ``made_for``: the load key of the model's columns.
    """

    def __init__(self, model: Model, made_for: str, counts: Counter[str]) -> None:
        self.model, self.counts = model, counts
        self.problems: Kept[Condensed] = Kept(2)
        self.problems[made_for] = model.problem
        self.laws: Kept[Law] = Kept(MOST_LAWS)
        self.springs: Kept[Solver] = Kept(2)
        self.frictionless: Kept[Capacity] = Kept(MOST_LAWS)
        p = model.problem
        kinds = np.array([x.kind for x in p.links.links], dtype=object)
        self.sources = np.array([x.source for x in p.links.links], dtype=object)
        self.rubs = p.friction > 0
        self.on_plate = kinds == Hold.PLATE_ON_BONE_FRICTION
        self.heads = kinds == Hold.HEAD_ON_PLATE_FRICTION
        self.bearing = kinds == Hold.BEARING
        self.stations = (kinds == Hold.BEARING) | (kinds == Hold.THREAD)
        self.soft = self._soft(kinds)
        self.faces = self._faces(kinds)
        self.pressed = heads_of(p.links)
        self.pulls = pulls(p, [part.member for part in model.hardware.parts])

    def _soft(self, kinds: FloatArray) -> FloatArray:
        """Which links represent bearing, thread or rest in bone other than cortex."""
        bone, links = self.model.bone, self.model.problem.links.links
        bodies = {id(b) for b in bone.bodies}
        held = np.array([id(x.b.body) in bodies for x in links], dtype=bool) & (
            self.stations | (kinds == Hold.REST))
        places = np.array([x.place for x in links]).reshape(-1, 2)
        out = np.zeros(len(kinds), dtype=bool)
        for pin in self.model.construct.pins:
            its = held & (self.sources == pin.name)
            out[its] = ~bone.section.is_cortex(places[its], pin.position_in_depth_mm)
        return out

    def _faces(self, kinds: FloatArray) -> list[tuple[IntArray, FloatArray, Piece, Piece]]:
        """Links of faces by the two pieces that meet there: numbers, places, pieces."""
        links, pieces = self.model.problem.links.links, {
            id(s.body): s.piece for s in self.model.solids}
        met: dict[tuple[int, int], list[int]] = {}
        for i in np.flatnonzero((kinds == Kind.CONTACT) | (kinds == Kind.BOND)):
            ends = id(links[i].a.body), id(links[i].b.body)
            if all(end in pieces for end in ends):
                met.setdefault(ends, []).append(int(i))
        return [(np.array(numbers), np.array([links[i].place for i in numbers]), pieces[a],
                 pieces[b]) for (a, b), numbers in met.items()]

    def _strength(self, scale: float) -> tuple[FloatArray, FloatArray]:
        """Factors ``(n,)`` on lower and upper bounds for a factor on cancellous strength."""
        lower = np.where(self.soft, scale, 1.0)
        upper = lower.copy()
        for links, places, a, b in self.faces if scale != 1.0 else ():
            own = np.minimum(a.crush(places), b.crush(places))
            upper[links] = np.minimum(a.crush(places, scale), b.crush(places, scale)) / own
        return lower, upper

    def bounds(self, scale: float) -> tuple[FloatArray, FloatArray]:
        """Lower and upper bounds ``(n,)`` [N] of the links at a factor on cancellous strength."""
        low, high = self._strength(scale)
        return self.model.problem.lower * low, self.model.problem.upper * high

    def answerable(self, case: Case, bone: Bone, construct: Construct, load: str) -> tuple[Model,
                                                                                        Law]:
        """The model of a case, tightened or after its stages, and its law."""
        friction = self._friction(case.study, construct)
        scale = self._strength(case.scale("cancellous_strength"))
        tighten = self._tighten(construct)
        spring = case.scale("bearing_stiffness")
        own = tuple(tension(s) for s in construct.screws) if construct.stages else ()
        hardens = case.study.hardening.bone_share, case.study.hardening.metal_share
        key = (friction.tobytes(), np.array(scale).tobytes(), tuple(sorted(tighten.items())), own,
               spring, hardens, case.scale("friction_under_load"))
        law = self.laws.get_or(key, lambda: self._law(friction, scale, tighten, spring, hardens))
        if construct.stages:
            law.bounds = key  # the result of stages depends on all of it
        problem = self.problems.get_or(load, lambda: self._condense(bone))
        solver = law.solver.variant(problem.with_law(**law.arrays))
        press = case.study.press
        # What stages leave depends on where the load acts, too, and on the steps of the ram.
        loaded = digest([share_key(case.study), press.step_growth]) if any(
            s.loads for s in construct.stages) else load
        model = law.ready.get_or(loaded, lambda: made_ready(replace(
            self.model, bone=bone, construct=construct, solver=solver, growth=press.step_growth,
            hardware=replace(self.model.hardware, tighten=tighten))))
        model = replace(model, bone=bone, construct=construct, large=press.large_movements,
                        growth=press.step_growth)
        kept = case.scale("friction_under_load")
        if kept != 1.0:    # after tightening, which had all of it
            p = model.problem
            model = replace(model, solver=model.solver.variant(
                p.with_law(friction=kept * p.friction)))
        return model, law

    def capacities(self, model: Model, law: Law, share: str) -> tuple[Capacity, Capacity]:
        """Limit loads without and with friction; ``share`` is the load's `share_key`.

        They do not depend on the size of the load, nor the first on friction, so they are kept.
        """
        def limit(frictionless: bool) -> Capacity:
            self.counts["limits"] += 1
            return model.capacity(frictionless=frictionless)

        lower = self.frictionless.get_or((law.bounds, share), lambda: limit(True))
        if share not in law.capacities:
            law.capacities[share] = limit(False)
        return lower, law.capacities[share]

    def _friction(self, study: Study, construct: Construct) -> FloatArray:
        out = self.model.problem.friction.copy()
        for fracture in study.fractures:
            out[self.rubs & (self.sources == fracture.name)] = fracture.friction
        for plate in construct.plates:
            out[self.rubs & self.on_plate & (self.sources == plate.name)] = plate.friction
            for screw in construct.screws:
                if screw.plate == plate.name:
                    out[self.heads & (self.sources == screw.name)] = plate.friction
        return out

    def _tighten(self, construct: Construct) -> dict[int, float]:
        if construct.stages:
            return {}  # they tighten
        return {i: force for s in construct.screws
                if s.name in self.pressed and tension(s) > 0 and not s.locked
                for i, force in shared(self.pressed[s.name], tension(s) * s.count).items()}

    def _law(self, friction: FloatArray, scale: tuple[FloatArray, FloatArray],
             tighten: dict[int, float], spring: float, hardens: tuple[float, float]) -> Law:
        p = self.model.problem
        given = self.model.bone.study.hardening
        built = given.bone_share, given.metal_share
        bone, metal = (now / then if then else 0.0
                       for now, then in zip(hardens, built, strict=True))
        arrays = {"friction": friction, "lower": p.lower * scale[0], "upper": p.upper * scale[1],
                  "slope": p.slope * bone, "kink_slope": p.kink_slope * metal}
        if spring != 1.0:
            arrays["compliance"] = np.where(self.bearing, p.compliance / spring, p.compliance)
        solver = self.model.solver
        if spring != 1.0:
            self.counts["inversions"] += 1
            solver = self.springs.get_or(spring, lambda: Solver(p.with_law(**arrays)))
        return Law(arrays, solver, (np.array(scale).tobytes(), tuple(sorted(tighten.items()))))

    def _condense(self, bone: Bone) -> Condensed:
        self.counts["condensed"] += 1
        p = self.model.problem
        return condense(p.bodies, p.links, bone.loads, bone.measures)


def pulls(problem: Condensed, members: Sequence[Member]) -> list[FloatArray]:
    """For each member the matrix ``(n_dof, n)`` from link forces to the forces on its nodes."""
    out = {id(member): np.zeros((member.n_dof, problem.n)) for member in members}
    for j, link in enumerate(problem.links.links):
        for sign, end in ((-1.0, link.a), (1.0, link.b)):
            if end.column is not None and id(end.body) in out:
                out[id(end.body)][end.column.dofs, j] += sign * end.column.values
    return list(out.values())


class Ground:
    """A bone and the frames on it."""

    def __init__(self, bone: Bone, made_for: str, counts: Counter[str]) -> None:
        self.bone, self.counts = bone, counts
        self.loaded: Kept[Bone] = Kept(2)
        self.loaded[made_for] = bone
        self.intact: Kept[dict[str, float]] = Kept(8)
        self.frames: Kept[Frame] = Kept(MOST_FRAMES)

    def under(self, study: Study, load: str) -> Bone:
        """The bone with the loads of a study."""
        return replace(self.loaded.get_or(load, lambda: under_load(self.bone, study)), study=study)

    def alone(self, key: str, fills: Iterable[Solid]) -> dict[str, int]:
        """Factorisations of a construct, as if solved from scratch; ``key`` is the bone's."""
        return {key: len(self.bone.bodies)} | {f"{key} {id(s.body)}": 1 for s in fills}

    @cached_property
    def tissues(self) -> tuple[Tissue, ...]:
        """The data from which yield of the bone is evaluated."""
        return Reader.of(self.bone, {}).tissues

    @property
    def columns(self) -> int:
        """Number of responses stored in its bodies."""
        return max(b.responses_known for b in self.bone.bodies)


class Workshop:
    """Models of cases, built from stored parts; ``counts`` records the work done."""

    def __init__(self) -> None:
        self.counts: Counter[str] = Counter()
        self.grounds: Kept[Ground] = Kept(MOST_BONES)

    def make_room(self, *studies: Study) -> None:
        """Keep at least the bones of one case, where constructs have bones of their own; further
        studies: the same case in other bone."""
        own = {bone_key(study, c) for study in studies for c in study.constructs
               if blocks_of(c) or c.model != "links"}
        self.grounds.most = max(MOST_BONES, len(studies) + len(own))

    def ground(self, study: Study, construct: Construct | None, load: str) -> Ground:
        """The ground of a construct; for None, that of the bone without blocks or bonded metal."""
        key = bone_key(study, construct)
        if key in self.grounds and self.grounds[key].columns > MOST_COLUMNS:
            del self.grounds[key]
        return self.grounds.get_or(key, lambda: self._new_ground(study, construct, load))

    def _new_ground(self, study: Study, construct: Construct | None, load: str) -> Ground:
        bone = build_bone(study) if construct is None else build_bone(
            study, blocks_of(construct), inclusions_of(study, construct))
        self.counts["bones"] += 1
        self.counts["factorisations"] += len(bone.bodies)
        return Ground(bone, load, self.counts)

    def intact(self, study: Study) -> dict[str, float]:
        """Subsidence of the intact bone by fragment [mm/N]."""
        load = load_key(study)
        ground = self.ground(study, None, load)
        key = (load, study.load.shifted_share)
        return ground.intact.get_or(key, lambda: self._intact(ground.under(study, load)))

    def _intact(self, bone: Bone) -> dict[str, float]:
        self.counts["factorisations"] += len(bone.regions)
        return intact_subsidence(bone, intact_measures(bone))

    def alone(self, study: Study) -> dict[str, int]:
        """Factorisations of the intact bone, as if solved from scratch, by body."""
        ground = self.ground(study, None, load_key(study))
        return {"intact": len(ground.bone.regions), bone_key(study): len(ground.bone.bodies)}

    def model(self, case: Case, construct: Construct) -> tuple[Frame, Model, Law]:
        """A construct of a case, ready to be loaded. Raises InputError where it cannot be built."""
        load = load_key(case.study)
        ground = self.ground(case.study, construct, load)
        bone = ground.under(case.study, load)
        # Which loose pieces are kept in place depends on which pieces are loaded.
        loaded = loaded_bodies(bone) if case.study.voids else ()
        key = (hardware_key(case.study, construct), loaded)
        frame = ground.frames.get_or(key, lambda: self._new_frame(bone, construct, load))
        model, law = frame.answerable(case, bone, construct, load)
        return frame, model, law

    def _new_frame(self, bone: Bone, construct: Construct, load: str) -> Frame:
        before = len(bone.fills)
        model = assemble(bone, construct)
        self.counts["condensed"] += 1
        self.counts["inversions"] += 1
        self.counts["factorisations"] += len(bone.fills) - before
        return Frame(model, load, self.counts)


def share_key(study: Study) -> str:
    """Hash of the load's columns and share: with the law, all that determines a limit load."""
    return digest([load_key(study), study.load.shifted_share])
