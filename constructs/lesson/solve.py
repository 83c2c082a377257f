"""Solve the paths of a lesson: one path of loads at every node of every family's grid.

Nodes of one slope and bone quality share a mesh and its factors; friction is a variant of a
condensed problem. Along the load a path is halved until the middle of each stretch is read from
its ends well enough.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, field
from functools import partial
from time import perf_counter

import numpy as np

from buttress.fe.arrays import FloatArray
from buttress.fe.errors import ButtressError, InputError
from buttress.fe.links.condense import Condensed
from buttress.fe.links.link import Kind
from buttress.fe.solve.capacity import Capacity, capacity, sliding_motion
from buttress.fe.solve.recover import escape_motion
from buttress.fe.status import Status
from buttress.fe.threads import one_thread
from buttress.implants.kinds import Hold
from buttress.lesson.grid import Family, Scene
from buttress.lesson.states import (
    Geometry,
    Layout,
    Reading,
    fitted,
    geometry_of,
    layout_of,
    moved_by,
)
from buttress.model.model import Model
from buttress.results.capacity import lets_go
from buttress.sweeps.workshop import Workshop

BELOW_PEAK = 0.99
"""Share of the peak at which the last state of a path is read."""
FINE_MM, FINE_SHARE, FINE_FORCE = 0.008, 0.015, 0.02
"""A stretch of load is halved while its middle is off by more than this: mm or share of the
movement (the larger of the two); share of the load for forces."""
DEEPEST = 3
SMALL_N = 500.0
"""Forces are compared with this load at least."""
NARROW_N = 30.0
MOST_NODES = 60
"""Nodes of a job: a bone is meshed for it in the time of two or three of them."""
MOST_FRICTION = 6.0
"""Friction coefficient up to which the least sufficient one is sought."""
GONE: dict[str, str] = {
    Hold.PLASTIC_HINGE: "“{}” bends for good (a plastic hinge)",
    Hold.THREAD: "the thread of “{}” tears out of the bone",
    Hold.BEARING: "the bone next to “{}” is crushed"}
"""How each kind of link fails, by the name of the part."""
Say = Callable[[str], None]
Index = tuple[int, ...]


@dataclass
class Path:
    """The states of one node, by rising load.

    ``status``: "ok", "no place" (the hardware cannot be put there), "not tightened" (tightening
    has no equilibrium) or "unconverged". ``end_N``: load that the node just holds, None where it
    holds the largest of the slider; ``need``: least friction with which it would hold, None where
    friction is not what it hangs on; ``knee_N``: load from which it gives way while it still holds
    (see `knee_of`); ``escape``: the motion that starts when it fails, three numbers per fragment.
    """

    status: str = "ok"
    reason: str = ""
    loads: list[float] = field(default_factory=list)
    states: list[FloatArray] = field(default_factory=list)
    end_N: float | None = 0.0
    need: float | None = None
    escape: FloatArray = field(default_factory=lambda: np.zeros(0))
    lets_go: str = ""
    knee_N: float | None = None

    def holds(self, load: float) -> bool:
        """Whether a load lies on the solved path."""
        return bool(self.loads) and load <= self.loads[-1] * (1.0 + 1e-9)

    def at(self, load: float) -> FloatArray:
        """The state at a load on the path, linear between solved loads."""
        k = int(np.clip(np.searchsorted(self.loads, load), 1, max(len(self.loads) - 1, 1)))
        if len(self.loads) == 1:
            return self.states[0]
        a, b = self.loads[k - 1], self.loads[k]
        t = min(max((load - a) / (b - a), 0.0), 1.0)
        return (1.0 - t) * self.states[k - 1] + t * self.states[k]


@dataclass
class Solved:
    """A family with its paths; geometry by the indices of slope and place."""

    family: Family
    layout: Layout | None
    paths: dict[Index, Path]
    geometry: dict[tuple[int, int], Geometry]

    @property
    def states(self) -> int:
        """Number of solved states."""
        return sum(len(p.states) for p in self.paths.values())


@dataclass(frozen=True)
class Job:
    """Nodes of all families that stand on one bone: pairs of family and index."""

    nodes: tuple[tuple[int, Index], ...]


@dataclass
class Piece:
    """What a job gives back for one family."""

    layout: Layout | None = None
    paths: dict[Index, Path] = field(default_factory=dict)
    geometry: dict[tuple[int, int], Geometry] = field(default_factory=dict)


def jobs_of(scene: Scene) -> list[Job]:
    """Jobs of one slope and bone quality each."""
    found: dict[tuple[float, float], list[tuple[int, Index]]] = defaultdict(list)
    for number, family in enumerate(scene.families):
        for index in family.nodes():
            point = family.point(index)
            found[point["slope"], point["quality"]].append((number, index))
    # In pieces, so that progress is reported and no worker is left with a long one at the end.
    pieces = [nodes[i:i + MOST_NODES] for nodes in found.values()
              for i in range(0, len(nodes), MOST_NODES)]
    return [Job(tuple(nodes)) for nodes in sorted(pieces, key=len, reverse=True)]


def solve_scenes(scenes: tuple[Scene, ...], workers: int, say: Say = lambda text: None
                 ) -> tuple[tuple[Solved, ...], ...]:
    """All paths of all scenes. Raises `InputError` where a study cannot be built at its base."""
    tasks = [(s, scene, job) for s, scene in enumerate(scenes) for job in jobs_of(scene)]
    total = sum(len(job.nodes) for _, _, job in tasks)
    out = tuple(tuple(Solved(f, None, {}, {}) for f in scene.families) for scene in scenes)
    done, clock = 0, perf_counter()
    say(f"solving {total} load paths beforehand: this takes some minutes; progress is reported")
    with closing(_run(tasks, workers)) as solving:
        for (s, _, job), pieces in zip(tasks, solving, strict=True):
            for number, piece in pieces.items():
                solved = out[s][number]
                solved.layout = solved.layout or piece.layout
                solved.paths |= piece.paths
                solved.geometry |= piece.geometry
            done += len(job.nodes)
            left = (perf_counter() - clock) * (total - done) / done
            say(f"solved {done} of {total} load paths, about {left:.0f} s left")
    for solved in (f for scene in out for f in scene):
        finish(solved)
    return out


def finish(solved: Solved) -> None:
    """What is known of paths once all of a family are there."""
    _doubt(solved)
    for path in solved.paths.values():
        if solved.layout is not None and path.states:
            path.knee_N = knee_of(path.loads, [solved.layout.largest(s) for s in path.states])


STEEPER, WORTH_MM = 2.0, 0.02


def knee_of(loads: list[float], moved: list[float]) -> float | None:
    """Solved load from which a fragment gives way: it then moves twice as far per newton as ever
    before, and by more than 0.02 mm. None where it does not."""
    fastest = moved[0] / loads[0]
    for k in range(len(loads) - 1):
        pace = (moved[k + 1] - moved[k]) / (loads[k + 1] - loads[k])
        if pace > STEEPER * fastest and moved[k + 1] - moved[k] > WORTH_MM:
            return loads[k]
        fastest = max(fastest, pace)
    return None


def _doubt(solved: Solved) -> None:
    """Give up a least friction that the paths do not confirm at every node."""
    false = {index[:3] for index, path in solved.paths.items() if path.need is not None
             and (solved.family.point(index)["friction"] >= path.need) != bool(path.states)}
    for index, path in solved.paths.items():
        if index[:3] in false:
            path.need = None


def _run(tasks: list[tuple[int, Scene, Job]], workers: int):  # type: ignore[no-untyped-def]
    calls = [partial(solve_job, scene, job) for _, scene, job in tasks]
    if workers == 1:
        yield from (call() for call in calls)
        return
    from buttress.workers import pool

    with pool(workers) as processes:
        yield from processes.map(_call, calls)


def _call(call: Callable[[], dict[int, Piece]]) -> dict[int, Piece]:
    return call()


def solve_job(scene: Scene, job: Job) -> dict[int, Piece]:
    """Every path of one job, by the number of its family."""
    workshop = Workshop()
    out: dict[int, Piece] = defaultdict(Piece)
    with one_thread():
        for number, index in job.nodes:
            family, piece = scene.families[number], out[number]
            try:
                case = scene.case(number, family.point(index))
                _, model, _ = workshop.model(case, case.study.constructs[0])
            except InputError as error:
                piece.paths[index] = Path("no place", error.message)
                continue
            except ButtressError as error:   # one node must never stop the others
                piece.paths[index] = Path(Status.UNCONVERGED, str(error))
                continue
            piece.layout = piece.layout or layout_of(model)
            place = (index[0], index[2])
            if place not in piece.geometry:
                piece.geometry[place] = geometry_of(model, piece.layout)
            try:
                piece.paths[index] = solve_path(model, piece.layout, scene.load_N)
            except ButtressError as error:
                piece.paths[index] = Path(Status.UNCONVERGED, str(error))
    return dict(out)


def solve_path(model: Model, layout: Layout, span: tuple[float, float]) -> Path:
    """The path of a model over a span of loads [N]."""
    low, high = span
    path = Path()
    upper = model.capacity()
    path.escape = _escape(model, upper)
    if not model.stands:
        path.status, path.end_N = "not tightened", 0.0
        path.lets_go = "the bone fails while the screws are tightened"
        return path
    path.lets_go = _words(model, upper)
    if model.hardware.parts == [] and model.hardware.fills == []:
        path.need = least_friction(model.problem, model.bone.load_vector(high))
    found = Reading(model, layout)
    known: dict[float, FloatArray | None] = {}

    def state(load: float) -> FloatArray | None:
        if load not in known:
            answer = model.answer(load)
            known[load] = found.state(answer) if answer.held else None
            if answer.status == "unconverged":
                path.status, path.reason = "unconverged", answer.method
        return known[load]

    top = _top(path, model, low, high)
    if top is None:
        return path
    for a, b in _stretches(state, layout, low, top):
        for load in (a, b):
            if load not in path.loads:
                path.loads.append(load)
    path.loads.sort()
    path.states = [s for p in path.loads if (s := known[p]) is not None]
    if len(path.states) < len(path.loads):   # a gap inside the path: keep what lies below it
        first = next(i for i, p in enumerate(path.loads) if known[p] is None)
        path.loads, path.states = path.loads[:first], path.states[:first]
    return path


State = Callable[[float], FloatArray | None]
"""The state at a load, None where it does not hold."""


def _top(path: Path, model: Model, low: float, high: float) -> float | None:
    """The largest load of a path: the end of the slider, or just below the peak."""
    pressed = model.pressing.up_to(high)
    if pressed.first_above(high) is not None:
        path.end_N = None
        return high
    path.end_N = max((p.load_N for p in pressed.points), default=0.0)
    if pressed.reach(high) == "not known":
        path.status, path.reason = "unconverged", "the path is not known up to the largest load"
    top = BELOW_PEAK * path.end_N
    return top if top >= low else None


def _stretches(state: State, layout: Layout, low: float, top: float, depth: int = 0
               ) -> list[tuple[float, float]]:
    """Stretches of load whose middles are read well from their ends."""
    middle = 0.5 * (low + top)
    a, m, b = state(low), state(middle), state(top)
    if a is None or m is None or b is None or top - low < NARROW_N:
        return [(low, top)]
    fine = max(FINE_MM, FINE_SHARE * layout.largest(m))
    if (np.abs(0.5 * (a + b) - m) <= layout.allowed(fine, FINE_FORCE * max(middle, SMALL_N))).all():
        return [(low, top)]
    if depth >= DEEPEST:
        return [(low, middle), (middle, top)]
    return [*_stretches(state, layout, low, middle, depth + 1),
            *_stretches(state, layout, middle, top, depth + 1)]


def _escape(model: Model, upper: Capacity) -> FloatArray:
    """Motion of each fragment when it fails, as `states.moved_by` takes it; largest 1 mm."""
    bone = model.bone
    out = np.zeros(3 * len(bone.fragments))
    if upper.escape is None:
        return out
    moved = escape_motion(model.problem, sliding_motion(
        model.problem, bone.load_vector(1.0), model.hardware.tighten, upper))
    largest = 0.0
    for k, i in enumerate(bone.fragments):
        points = bone.bodies[i].points
        out[3 * k:3 * k + 3] = fitted(points, moved[i].reshape(-1, 2))
        largest = max(largest, float(np.hypot(*moved_by(out[3 * k:3 * k + 3], points).T).max()))
    return out / largest if largest > 0 else out


def _words(model: Model, upper: Capacity) -> str:
    """What fails, in words."""
    found = [GONE[x.kind].format(x.source) for x in lets_go(model, upper) if x.kind in GONE]
    return " and ".join(dict.fromkeys(found))


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
