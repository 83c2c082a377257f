"""One construct of a comparison at a time, in whichever process: solved, read and recorded.

What is found does not depend on which constructs the process has solved before, nor does its last
bit (`Bones.of`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, fields, replace
from functools import partial
from time import perf_counter
from typing import Any

import numpy as np

from buttress.bone.bone import Bone
from buttress.comparison.soft import bears, in_soft_bone
from buttress.comparison.stages import staged_result
from buttress.fe.errors import ButtressError
from buttress.fe.links.link import Kind
from buttress.fe.status import Status
from buttress.fe.threads import one_thread
from buttress.model.install import build_model
from buttress.model.model import Bones, Model
from buttress.model.pressing import SEARCH_LIMIT_N
from buttress.results.capacity import bracket, friction_lost, lets_go
from buttress.results.derive import derive
from buttress.results.judged import with_verdicts
from buttress.results.limits import (
    STAGES,
    TIGHTENING,
    find_limits,
    first_words,
    first_yield,
    gauges,
    lowest,
)
from buttress.results.picture import take_picture, unloaded
from buttress.results.read import read
from buttress.results.reader import Reader, intact_subsidence
from buttress.results.records import ConstructResult, LoadResult, not_loaded
from buttress.results.search import Search, unloaded_status, without_load
from buttress.results.soft import Bears
from buttress.results.stages import StagedResult
from buttress.rules.study import limit_left
from buttress.study.study import Construct, Study
from buttress.workers import Job, cores

Say = Callable[[str], None]
SOFT_SHARE = 0.2
"""Cost of a construct in soft bone, where less is asked, as a share of that in its own."""
EACH, LINKS, PER_PIN, PER_PLATE, PER_FILL, PER_STAGE = 0.5, 330.0, 37.0, 165.0, 130.0, 0.05
"""Weight of a part: by about how many links it has, fitted to the times of the shipped studies."""
MOVES = {"off": 1.0, "auto": 3.0, "on": 8.0}
"""How many times as long a path takes where geometry moves."""
SHARE = 3.5
"""Least weight of the parts for which a further process is worth its start and its own bone."""


@dataclass(frozen=True)
class Part:
    """A construct of a study, in soft bone or in its own; ``number`` tells parts apart.

    ``faces``: about how many links its fractures have; ``moves``: how many times as long its path
    takes for moving geometry.
    """

    number: int
    construct: Construct
    soft: bool = False
    faces: float = 0.0
    moves: float = 1.0

    @property
    def name(self) -> str:
        """As in messages."""
        return f"'{self.construct.name}'" + (" in soft bone" if self.soft else "")

    @property
    def weight(self) -> float:
        """About how many times as long it takes as a bone, by its links: for estimates only."""
        c = self.construct
        links = self.faces + PER_PIN * len(c.pins) + PER_PLATE * len(c.plates) \
            + PER_FILL * len(c.fills)
        found = (EACH + (links / LINKS) ** 2) * (1.0 + PER_STAGE * len(c.stages))
        return found * self.moves * (SOFT_SHARE if self.soft else 1.0)


def parts_of(study: Study) -> list[Part]:
    """All that a comparison solves, in the order of the study; soft bone comes last."""
    soft, _ = in_soft_bone(study)
    both = [False, True] if soft is not None else [False]
    # A node per half an edge of an element, a normal and a friction link at each.
    length = sum(float(np.hypot(*np.diff(np.array(f.points_mm), axis=0).T).sum())
                 for f in study.fractures)
    return [Part(i, c, s, 4.0 * length / study.mesh.size_mm, MOVES[study.press.large_movements])
            for i, (s, c) in enumerate((s, c) for s in both for c in study.constructs)]


def processes(parts: list[Part], workers: int | None) -> int:
    """Number of processes for the parts; ``workers`` None: one per core, as far as worth it."""
    if workers is not None:
        return min(workers, len(parts))
    constructs = sum(not part.soft for part in parts)
    worth = int(sum(part.weight for part in parts) / SHARE)
    return max(1, min(cores(), constructs, worth))


@dataclass
class Solved:
    """What was found of a part; ``error``: what kept it from being solved.

    ``mesh``: of the bone without fills. ``seconds``: by what they were spent on. ``bones``: number
    of bones that were made for it. ``closed``: how far tightening has closed the gap that reduction
    left at each fracture, least and most along its faces [mm]; None where nothing is tightened.
    """

    number: int
    result: ConstructResult | None = None
    staged: StagedResult | None = None
    bears: Bears | None = None
    mesh: dict[str, Any] = field(default_factory=dict)
    seconds: dict[str, float] = field(default_factory=dict)
    bones: int = 0
    closed: dict[str, tuple[float, float]] | None = None
    error: ButtressError | None = None
    lost: bool = False


def job(solving: Solving) -> Job[Part, Solved]:
    """What worker processes do with the constructs of a study."""
    return Job(partial(Solving, solving.study, solving.pictures, others=solving.others),
               lambda part: Solved(part.number, lost=True),
               lambda part: part.name, ahead=1)


class Solving:
    """Solves the parts of a study one after another; its bones are made when first needed.

    ``others``: also what each stage leads to, and other answers from other starts (`derive`).
    """

    def __init__(self, study: Study, pictures: bool, say: Say = lambda text: None,
                 others: bool = True) -> None:
        self.study, self.pictures, self.say, self.others = study, pictures, say, others
        self._bones: dict[bool, tuple[Bones, dict[str, float]]] = {}
        self._readers: dict[int, Reader] = {}

    def __call__(self, part: Part) -> Solved:
        """What is found of a part; an error for the user is among it, any other is raised."""
        out = Solved(part.number)
        with one_thread():
            try:
                self._solve(part, out)
            except ButtressError as error:
                out.error = error
        return out

    def _solve(self, part: Part, out: Solved) -> None:
        start = perf_counter()
        bones, intact = self._bones_of(part.soft, out)
        self.say(f"solving {part.name}")
        begun = perf_counter()
        construct = part.construct
        bone = bones.of(construct)
        reader = self._readers.setdefault(id(bone), Reader.of(bone, intact))
        model = build_model(bone, construct)
        if part.soft:
            out.bears = bears(reader, model)
            out.seconds["soft bone"] = perf_counter() - start
            return
        if model.whole is not None and self.others:
            out.staged = staged_result(reader, model.whole, self.pictures)
        out.closed = _closed(model)
        out.result = solved(reader, model, self.pictures, self.others)
        out.mesh = mesh_facts(bones.base)
        out.seconds[construct.name] = perf_counter() - begun

    def _bones_of(self, soft: bool, out: Solved) -> tuple[Bones, dict[str, float]]:
        if soft not in self._bones:
            start = perf_counter()
            study = in_soft_bone(self.study)[0] if soft else self.study
            assert study is not None
            out.bones += 1
            self.say(f"meshing and factorising {'soft' if soft else 'the'} bone")
            bones = Bones(study)
            self._bones[soft] = bones, intact_subsidence(bones.base, bones.intact)
            if not soft:
                out.seconds["bone"] = perf_counter() - start
        return self._bones[soft]


def _closed(model: Model) -> dict[str, tuple[float, float]] | None:
    """How far tightening has closed gaps, see `Solved`."""
    answer = model.tightened
    if answer is None:
        return None
    links, out = model.problem.links.links, {}
    for fracture in model.bone.study.fractures if answer.held else ():
        closed = [x.gap - max(0.0, -float(answer.slack[i])) for i, x in enumerate(links)
                  if x.source == fracture.name and x.kind == Kind.CONTACT]
        if fracture.gap_mm and closed:
            out[fracture.name] = min(closed), max(closed)
    return out


def solved(reader: Reader, model: Model, pictures: bool = False, others: bool = True
           ) -> ConstructResult:
    """All that is found of a construct that is ready to be loaded; ``others``: see `derive`."""
    study = model.bone.study
    upper, lower = model.capacity(), model.capacity(frictionless=True)
    loads, shots = [], []
    for total in study.load.total_N:
        answer = model.answer(total)
        result, nodal = read(reader, model, answer, total)
        loads.append(replace(result, load_name=study.load.name(total)))
        if pictures:
            shots.append(take_picture(model, answer, total, nodal))
    search = Search(model)
    found_gauges = gauges(reader, model, study.limits)
    least, least_to, lost = friction_lost(model, found_gauges)
    letting_go = lets_go(model, upper)
    limits = find_limits(search, found_gauges, letting_go or lets_go(model, lower),
                         next((r.escapes for r in loads if r.escapes), None))
    derived = derive(search, reader, first_yield(reader, model), study.limits.movement_mm,
                     others=others)
    points = () if derived.path is None else derived.path.points
    most = max(study.load.total_N)
    beyond = bears(reader, model, most) if most > SEARCH_LIMIT_N else None
    found = with_verdicts(ConstructResult(
        name=model.construct.name, note=model.construct.note, status=_status(model, loads),
        capacity_N=bracket(lower, upper), capacity_status=upper.status, lets_go=letting_go,
        equilibrium_ends_N=search.ends, step_off_limit_N=limits["step-off"].load_N,
        search_limit_N=SEARCH_LIMIT_N,
        first_limit=first_words(limits, SEARCH_LIMIT_N, without_load(model),
                                STAGES if model.begins else TIGHTENING),
        curve_load_N=tuple(p.load_N for p in points),
        curve_subsidence_mm={name: tuple(p.subsidence_mm[name] for p in points)
                             for name in (model.bone.bodies[i].name for i in model.bone.fragments)},
        loads=tuple(loads), links=model.problem.n,
        warnings=tuple(model.hardware.warnings), pictures=tuple(shots), limits=limits,
        lowest_limit=lowest(limits), ends_status=search.ends_status, known_to_N=search.known_to,
        without_friction_N=least, without_friction_to_N=least_to, limits_without_friction=lost,
        begins=model.begins, bonded=_bonded(model.construct),
        left=limit_left(study),
        tightened_N=sum(model.hardware.tighten.values()),
        **{x.name: getattr(derived, x.name) for x in fields(derived)}), beyond)
    if why := not_loaded(found):
        # What strips while it is tightened is no escape under the load: it is drawn unloaded.
        return replace(found, pictures=tuple(unloaded(p, why) for p in found.pictures))
    return found


def _bonded(construct: Construct) -> bool:
    """Whether its metal and graft, if it has any, are stuck fast to the bone."""
    return construct.model != "links" and any(parts for _, parts in construct.parts())


def _status(model: Model, loads: list[LoadResult]) -> str:
    if not model.stands:
        return unloaded_status(model)
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
