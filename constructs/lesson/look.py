"""What a solved state shows, as numbers that the sentences of the tour are made of."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from buttress.bone.patches import patches
from buttress.fe.arrays import FloatArray
from buttress.fe.errors import ButtressError, InputError
from buttress.fe.links.condense import Condensed
from buttress.fe.links.link import Kind
from buttress.fe.solve.answer import Answer
from buttress.fe.solve.capacity import Capacity, capacity
from buttress.fe.status import Status
from buttress.fe.threads import one_thread
from buttress.implants.kinds import Hold
from buttress.lesson.grid import Scene, parted, without
from buttress.lesson.states import Geometry, Reading, geometry_of, layout_of, moved_by
from buttress.model.model import Model
from buttress.model.pressing import SEARCH_LIMIT_N
from buttress.results.capacity import lets_go
from buttress.results.picture import source_kind
from buttress.results.records import NOT_KNOWN, Where
from buttress.results.search import NOT_FOUND, Gauge, Search
from buttress.results.search import Reading as Measured
from buttress.rules.check import check
from buttress.study.study import Construct
from buttress.sweeps.workshop import Frame, Workshop

MOST_FRICTION = 6.0
"""Friction coefficient up to which the least sufficient one is sought."""
GOES: dict[str, str] = {
    Hold.PLASTIC_HINGE: "hinge", Hold.THREAD: "thread", Hold.BEARING: "bearing"}
"""Key of the catalogue (after ``goes.``) for how each kind of link fails, as in `state.js`; of a
hinge the kind of its member follows."""
TIE = 0.05
"""Share of the larger within which numbers are not told apart (`words.js` says the same)."""
AT_BOUND = 1e-6
"""Share within which a force is at its bound."""
WORTH_AN_ARROW = 0.01
"""Share of the load below which a force has no arrow on the page (`forces.js` says the same)."""


@dataclass(frozen=True)
class Push:
    """The force of one source on a fragment: ``share`` of the fragment's load carried against it
    (all sources together: one), ``aside_N`` across the load, ``size_N`` in all."""

    kind: str
    share: float
    aside_N: float = 0.0
    size_N: float = 0.0


@dataclass(frozen=True)
class Look:
    """One state in numbers: None where it does not exist. ``moved_mm`` is of the point that moves
    most of all fragments; the rest is of the first one, with the load ``on_N`` on it. ``goes``:
    how what fails does so, and the name of the part. ``limit_mm``: the study's limit of a step-off,
    which the page takes for whatever moves most; a state beyond it is ``over``. ``spent``: share of
    the links of a screw, by kind ("thread", "bearing") and name, that carry all they can."""

    held: bool
    load_N: float
    tilt_deg: float | None = None
    gap_mm: float | None = None
    step_mm: float | None = None
    moved_mm: float | None = None
    end_N: float | None = None
    need: float | None = None
    on_N: float | None = None
    pushes: Mapping[str, Push] = field(default_factory=dict)
    goes: tuple[tuple[str, str], ...] = ()
    status: str = "ok"
    limit_mm: float = math.inf
    spent: Mapping[tuple[str, str], float] = field(default_factory=dict)

    @property
    def worst_mm(self) -> float:
        """The largest of movement, step-off and gap of a held state [mm]."""
        return max(self.moved_mm or 0.0, self.step_mm or 0.0, self.gap_mm or 0.0)

    @property
    def over(self) -> bool:
        """Whether a held state is beyond the limit."""
        return self.held and self.worst_mm > self.limit_mm

    @property
    def within(self) -> bool:
        """Whether it is held, and within the limit."""
        return self.held and not self.over

    def carried(self, kind: str) -> float:
        """Share of the fragment's load that sources of a kind carry against it."""
        return sum(p.share for p in self.pushes.values() if p.kind == kind)

    def aside(self, kind: str) -> float:
        """Push of the sources of a kind across the load [N], positive towards +x."""
        return sum(p.aside_N for p in self.pushes.values() if p.kind == kind)

    def most_spent(self, kind: str) -> float:
        """The largest share of a screw's links of a kind that carry all they can."""
        return max((share for (what, _), share in self.spent.items() if what == kind), default=0.0)

    def pushing(self, kind: str) -> list[Push]:
        """The sources of a kind whose force is worth an arrow on the page."""
        return [p for p in self.pushes.values()
                if p.kind == kind and p.size_N > WORTH_AN_ARROW * self.load_N]


@dataclass(frozen=True)
class Asked:
    """A point of the lesson: scene, choice, switches (screws, plate, graft), sliders, load, the
    names of single parts that are left out, and of which kind a screw is where it is not the
    usual one: (name, kind)."""

    scene: int
    choice: int
    on: tuple[bool, bool, bool]
    point: dict[str, float]
    load_N: float
    out: tuple[str, ...] = ()
    kinds: tuple[tuple[str, str], ...] = ()


def _key(asked: Asked) -> tuple:
    return (asked.scene, asked.choice, asked.on, asked.out, asked.kinds,
            tuple(sorted(asked.point.items())), asked.load_N)


class Facts:
    """Solves states when they are asked for; sentences get every number from here."""

    def __init__(self, scenes: tuple[Scene, ...]) -> None:
        self.scenes = scenes
        self.workshops = tuple(Workshop() for _ in scenes)
        self._looks: dict[tuple, Look] = {}
        self._reached: dict[tuple, float | None] = {}

    def ask(self, scene: int, choice: int | str = 0, *, screws: bool = True, plate: bool = True,
            graft: bool = True, load: float | None = None, out: tuple[str, ...] = (),
            kinds: Mapping[str, str] | None = None, **point: float) -> Asked:
        """A point: the scene's own values but for what is given."""
        here = self.scenes[scene]
        number = choice if isinstance(choice, int) else next(
            i for i, c in enumerate(here.choices) if c.name == choice)
        return Asked(
            scene=scene, choice=number, on=(screws, plate, graft), point={**here.base, **point},
            load_N=here.load_base_N if load is None else load, out=out,
            kinds=tuple(sorted((kinds or {}).items())))

    def construct(self, asked: Asked) -> Construct:
        """What is in place at a point."""
        scene = self.scenes[asked.scene]
        whole = scene.of_kinds(asked.choice, dict(asked.kinds))
        return without(parted(whole, *asked.on), asked.out)

    def built(self, asked: Asked) -> tuple[Frame, Model]:
        """The model of a point, tightened. Raises `InputError` where it does not fit the bone."""
        with one_thread():
            case = self.scenes[asked.scene].case(self.construct(asked), asked.point)
            return self.workshops[asked.scene].model(case, case.study.constructs[0])[:2]

    def meet(self, asked: Asked) -> bool:
        """Whether implants of a point would meet in the bone, which the model does not see."""
        study = self.scenes[asked.scene].case(self.construct(asked), asked.point).study
        return any(f.rule == "implants meet" for f in check(study))

    def look(self, asked: Asked) -> Look:
        """The numbers of a point."""
        key = _key(asked)
        if key not in self._looks:
            self._looks[key] = replace(
                self._solve(asked), limit_mm=self.scenes[asked.scene].study.limits.step_off_mm)
        return self._looks[key]

    def upto(self, asked: Asked) -> float | None:
        """Load up to which a point is within the limit [N]; None where it is at the largest load
        of the slider. Raises ButtressError where that is not known."""
        return self._first(asked, self.most(asked), "movement", lambda x: x.worst_mm)

    def fails(self, asked: Asked) -> float | None:
        """Load at which a bench test would call a point failed [N]: the step-off reaches the limit,
        or the load peaks; None where neither comes before `SEARCH_LIMIT_N`. Raises ButtressError
        where that is not known."""
        return self._first(asked, SEARCH_LIMIT_N, "step-off", lambda x: x.step_mm or 0.0)

    def _first(self, asked: Asked, most: float, what: str, far: Callable[[Look], float]
               ) -> float | None:
        """Load of a point's path at which a movement first reaches the limit, or its peak; None
        where neither comes up to ``most``."""
        key = (_key(asked)[:-1], most, what)
        if key not in self._reached:
            with one_thread():
                self._reached[key] = self._along(asked, most, what, far)
        return self._reached[key]

    def _along(self, asked: Asked, most: float, what: str, far: Callable[[Look], float]
               ) -> float | None:
        model = self.built(asked)[1]
        if not model.stands:
            return 0.0
        states = Reading(model, layout_of(model))

        def read(answer: Answer) -> Measured:
            return Measured(far(seen(model, most, states.state(answer), None, None, ())),
                            Where(what, None))

        search = Search(model, most)
        limit = self.scenes[asked.scene].study.limits.step_off_mm
        found = search.reach(Gauge(what, "", limit, "mm", read))
        if not isinstance(found, str):
            return found.carried_N if found.carried_N <= most else None
        if search.ends_status == NOT_KNOWN or found.startswith(NOT_FOUND):
            raise ButtressError(
                f"the load at which the {what} is {limit:g} mm is not known: {found}")
        return search.ends

    def _solve(self, asked: Asked) -> Look:
        try:
            model = self.built(asked)[1]
        except InputError:
            return Look(False, asked.load_N, status="no place")
        with one_thread():
            goes = failing(model, model.capacity())
            need = None
            if not (model.hardware.parts or model.hardware.fills):
                need = least_friction(model.problem, model.bone.load_vector(asked.load_N))
            if not model.stands:
                return Look(False, asked.load_N, end_N=0.0, need=need, goes=goes,
                            status="not tightened")
            answer = model.answer(asked.load_N)
            end = peak_of(model, self.most(asked))
            if not answer.held:
                status = "ok" if answer.status == Status.NO_EQUILIBRIUM else answer.status
                return Look(False, asked.load_N, end_N=end, need=need, goes=goes, status=status)
            return replace(seen(model, asked.load_N, Reading(model, layout_of(model)).state(answer),
                                end, need, goes), spent=spent(model, answer))

    def most(self, asked: Asked) -> float:
        """The largest load of a scene's slider [N]."""
        return self.scenes[asked.scene].load_N[1]

    def beside(self, asked: Asked) -> float:
        """How far the load on the first fragment passes outside of the fragment's lowest point
        [mm], on the side away from the bone; 0 or less where it passes inside."""
        model = self.built(asked)[1]
        ring = _fragments(geometry_of(model, layout_of(model)))[0]
        foot = ring[int(ring[:, 1].argmin())]
        away = -1.0 if foot[0] < 0.0 else 1.0
        load = max((p.centre for p in patches(self.scenes[asked.scene].study)),
                   key=lambda x: away * x)
        return float(away * (load - foot[0]))


def _fragments(geometry: Geometry) -> list[FloatArray]:
    return [r[2] for r in geometry.rings if r[1] == "fragment"]


def seen(model: Model, load_N: float, state: FloatArray, end: float | None, need: float | None,
         goes: tuple[tuple[str, str], ...]) -> Look:
    """The numbers of a held state."""
    lay = layout_of(model)
    moved = max(float(np.hypot(*moved_by(state[lay.rigid(k):lay.rigid(k) + 3], ring).T).max())
                for k, ring in enumerate(_fragments(geometry_of(model, lay))))
    edges = [state[lay.edge(k):lay.edge(k) + 2] for k in range(len(lay.edges))]
    load = state[lay.force(0, 0):lay.force(0, 0) + 2]
    size = float(np.hypot(*load))
    pushes: dict[str, Push] = {}
    if size > 0.0:
        down = load / size
        across = np.array([-down[1], down[0]]) * (1.0 if down[1] < 0.0 else -1.0)
        for j, (name, kind) in enumerate(lay.sources[1:], 1):
            force = state[lay.force(0, j):lay.force(0, j) + 2]
            pushes[name] = Push(kind, -float(force @ down) / size, float(force @ across),
                                float(np.hypot(*force)))
    return Look(
        held=True, load_N=load_N,
        tilt_deg=float(np.degrees(state[lay.rigid(0) + 2])),
        gap_mm=max((float(e[1]) for e in edges), default=None),
        step_mm=max((abs(float(e[0])) for e in edges), default=None), moved_mm=moved,
        end_N=end, need=need, on_N=size, pushes=pushes, goes=goes)


def peak_of(model: Model, most: float) -> float | None:
    """The largest load of the path [N], None where it carries ``most``."""
    path = model.pressing.up_to(most)
    if path.first_above(most) is not None:
        return None
    return max((p.load_N for p in path.points), default=0.0)


def failing(model: Model, upper: Capacity) -> tuple[tuple[str, str], ...]:
    """How what fails does so, and the name of the part."""
    def key(kind: str, source: str) -> str:
        return GOES[kind] + (f".{source_kind(model, source)}" if kind == Hold.PLASTIC_HINGE else "")

    found = [(key(x.kind, x.source), x.source) for x in lets_go(model, upper) if x.kind in GOES]
    return tuple(dict.fromkeys(found))


def spent(model: Model, answer: Answer) -> dict[tuple[str, str], float]:
    """Share of the links of thread and bearing of each screw that are at their bounds."""
    p, all_, full = model.problem, Counter[tuple[str, str]](), Counter[tuple[str, str]]()
    for link, force, low, high in zip(p.links.links, answer.force, p.lower, p.upper, strict=True):
        if link.kind in (Hold.THREAD, Hold.BEARING):
            key = GOES[link.kind], link.source
            all_[key] += 1
            full[key] += bool(0.0 < high <= force * (1.0 + AT_BOUND)
                              or 0.0 > low >= force * (1.0 + AT_BOUND))
    return {key: full[key] / n for key, n in all_.items()}


def least_friction(problem: Condensed, load: FloatArray) -> float | None:
    """Least friction of the fractures with which limit analysis finds an equilibrium."""
    rubs = problem.friction > 0
    kinds = np.array([x.kind == Kind.CONTACT_FRICTION for x in problem.links.links], dtype=bool)

    def holds(mu: float) -> bool:
        tried = problem.with_law(friction=np.where(kinds, mu, problem.friction))
        found = capacity(tried, load)
        return found.factor is None or found.factor >= 1.0

    if not (rubs & kinds).any() or not holds(MOST_FRICTION):
        return None
    low, high = 0.0, MOST_FRICTION
    for _ in range(12):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if holds(middle) else (middle, high)
    return high


def verdict(a: Look, b: Look, more: str, less: str, same: str, neither: str,
            share: float = TIE) -> str:
    """One of four sentences: b moves more than a, less, the same within a share, or neither
    is held. A state that is not held counts as moving more than one that does."""
    if not a.held and not b.held:
        return neither
    if a.held != b.held:
        return less if b.held else more
    assert a.moved_mm is not None
    assert b.moved_mm is not None
    if abs(a.moved_mm - b.moved_mm) <= share * max(a.moved_mm, b.moved_mm):
        return same
    return more if b.moved_mm > a.moved_mm else less
