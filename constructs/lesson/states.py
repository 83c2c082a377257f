"""What the page shows of a state: rigid motions, shapes of members, forces. Nothing else.

Displacements are in the frame of the shaft, since the last tightening; moments are about the
origin (the middle of the joint line).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from buttress.bone.bone import Bone
from buttress.bone.pieces import Made
from buttress.fe.arrays import FloatArray
from buttress.fe.mesh.t6 import Mesh
from buttress.fe.solve.answer import Answer
from buttress.fe.solve.recover import displacements, pushes
from buttress.implants.hardware import Part
from buttress.implants.sections import outer, plate_stretches
from buttress.model.model import Model
from buttress.results.figures import Figures, gap, step_off, subsidence_mean
from buttress.results.picture import source_kind
from buttress.results.reader import Reader
from buttress.study.study import Construct

PLATE_POINTS, PIN_POINTS = 13, 5
ORIGIN = np.zeros(2)


@dataclass(frozen=True)
class Layout:
    """Where things stand in a state's columns, the same for all states of a family."""

    fragments: tuple[str, ...]
    sources: tuple[tuple[str, str], ...]           # name and kind, the load first
    edges: tuple[str, ...]
    members: tuple[tuple[str, str, int, float], ...]   # name, kind, points, width
    columns: int

    def rigid(self, fragment: int) -> int:
        """First of three columns: movement of the origin [mm] and turn [rad] of a fragment."""
        return 4 * fragment

    def sunk(self, fragment: int) -> int:
        """Column of the mean subsidence of a fragment's joint surface [mm]."""
        return 4 * fragment + 3

    def edge(self, edge: int) -> int:
        """First of two columns: step-off and gap of a fracture's lips [mm]."""
        return 4 * len(self.fragments) + 2 * edge

    def force(self, fragment: int, source: int) -> int:
        """First of three columns: force [N] and moment about the origin [N mm] on a fragment."""
        start = 4 * len(self.fragments) + 2 * len(self.edges)
        return start + 3 * (fragment * len(self.sources) + source)

    def member(self, member: int) -> int:
        """First column of a member: displacement of its points, x and y in turn [mm]."""
        start = self.force(len(self.fragments), 0)
        return start + sum(2 * m[2] for m in self.members[:member])


def drawn_width(construct: Construct, part: Part) -> float:
    """How wide a member is drawn [mm]: a plate as thick as its metal, a screw over its thread."""
    for plate in construct.plates:
        if plate.name == part.name:
            return max(section.thickness for _, section in plate_stretches(plate))
    for pin in (*construct.screws, *construct.wires):
        if pin.name == part.name:
            return outer(pin)
    return float(max(s.outer + s.inner for s in part.sections))


def layout_of(model: Model) -> Layout:
    """The layout of a model's states."""
    bone = model.bone
    names = ["load", *dict.fromkeys(x.source for x in model.problem.links.links)]
    sources = tuple((n, "load" if n == "load" else source_kind(model, n)) for n in names)
    members = tuple((p.name, p.kind, PLATE_POINTS if p.kind == "plate" else PIN_POINTS,
                     drawn_width(model.construct, p))
                    for p in model.hardware.parts)
    draft = Layout(
        fragments=tuple(bone.bodies[i].name for i in bone.fragments), sources=sources,
        edges=tuple(e.name for e in bone.edges), members=members, columns=0)
    return Layout(
        fragments=draft.fragments, sources=sources, edges=draft.edges, members=members,
        columns=draft.member(len(members)))


def even(points: FloatArray, count: int) -> tuple[FloatArray, FloatArray]:
    """Places along a line ``(n, 2)`` at even distances: stations of its points and of these."""
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    return s, np.linspace(0.0, s[-1], count)


def along(points: FloatArray, values: FloatArray, count: int) -> FloatArray:
    """Values ``(n, 2)`` at the points of a line, at ``count`` even places of it."""
    s, at = even(points, count)
    return np.stack([np.interp(at, s, values[:, k]) for k in (0, 1)], axis=1)


@dataclass
class Reading:
    """Reads states of one model; keeps what all its answers share."""

    model: Model
    layout: Layout
    before: list[FloatArray] | None = field(init=False)
    reader: Reader = field(init=False)

    def __post_init__(self) -> None:
        self.reader = Reader(self.model.bone, (), {})
        tight = self.model.tightened
        self.before = None if tight is None or not tight.held else displacements(
            self.model.problem, tight)

    def state(self, answer: Answer) -> FloatArray:
        """Columns of a held answer."""
        model, bone, lay = self.model, self.model.bone, self.layout
        out = np.zeros(lay.columns)
        moved = displacements(model.problem, answer)
        if self.before is not None:
            moved = [u - v for u, v in zip(moved, self.before, strict=True)]
        f = Figures(self.reader, model, answer)
        values = f.values
        frame = np.array([values["frame x"], values["frame y"]])
        turn, centre = values["frame turn"], bone.frame_centre

        def seen(points: FloatArray, u: FloatArray) -> FloatArray:
            arm = points - centre
            return u - frame - turn * np.stack([-arm[:, 1], arm[:, 0]], axis=1)

        for k, i in enumerate(bone.fragments):
            body = bone.bodies[i]
            out[lay.rigid(k):lay.rigid(k) + 3] = fitted(
                body.points, seen(body.points, moved[i].reshape(-1, 2)))
            mean = subsidence_mean(f, body.name)
            if mean is not None:
                out[lay.sunk(k)] = mean
            applied, found = pushes(model.problem, answer, body, ORIGIN)
            for j, (name, _) in enumerate(lay.sources):
                push = applied if name == "load" else found.get(name)
                if push is not None:
                    out[lay.force(k, j):lay.force(k, j) + 3] = push
        for k, edge in enumerate(bone.edges):
            out[lay.edge(k):lay.edge(k) + 2] = step_off(f, edge.name), gap(f, edge.name)
        for k, (part, u) in enumerate(zip(model.hardware.parts, moved[len(model.solids):],
                                          strict=True)):
            start, points = lay.member(k), part.member.points
            shape = along(points, seen(points, u.reshape(-1, 3)[:, :2]), lay.members[k][2])
            out[start:start + shape.size] = shape.ravel()
        return out


def fitted(points: FloatArray, u: FloatArray) -> FloatArray:
    """Least-squares rigid motion of points: origin's movement (x, y) [mm], turn [rad]."""
    centre = points.mean(axis=0)
    arm = points - centre
    turn = float((arm[:, 0] * u[:, 1] - arm[:, 1] * u[:, 0]).sum() / (arm**2).sum())
    mean = u.mean(axis=0)
    return np.array([mean[0] + turn * centre[1], mean[1] - turn * centre[0], turn])


def moved_by(rigid: FloatArray, points: FloatArray) -> FloatArray:
    """Displacement of points ``(n, 2)`` under a rigid motion of the origin."""
    return rigid[:2] + rigid[2] * np.stack([-points[:, 1], points[:, 0]], axis=1)


def ring_of(mesh: Mesh) -> FloatArray:
    """Outline of a mesh ``(n, 2)``: corners, and points at even distances on the bone's sides."""
    start_of = {int(e[0]): (name, e) for name, edges in mesh.edges.items() for e in edges}
    first = min(start_of, key=lambda n: (-round(float(mesh.points[n, 1]), 6),
                                         round(float(mesh.points[n, 0]), 6)))
    stretches: list[tuple[str, list[int]]] = []
    node = first
    for _ in range(len(start_of)):
        name, edge = start_of[node]
        if not stretches or stretches[-1][0] != name:
            stretches.append((name, [node]))
        stretches[-1][1].extend(int(n) for n in edge[1:])
        node = int(edge[2])
        if node == first:
            break
    parts = []
    for name, nodes in stretches:
        line = mesh.points[nodes]
        parts.append((along(line, line, SIDE_POINTS) if name in SIDES
                      else line[corners(line)])[:-1])
    return np.concatenate(parts)


SIDES = ("medial", "lateral", "anterior", "posterior")
SIDE_POINTS = 56
"""Points of each side of the bone, which a fracture may leave anywhere."""
STRAIGHT = np.radians(1.0)


def corners(line: FloatArray) -> np.ndarray:
    """Numbers of the points ``(n, 2)`` at which a line turns, with its ends."""
    step = np.diff(line, axis=0)
    angle = np.arctan2(step[:, 1], step[:, 0])
    turn = np.abs(np.angle(np.exp(1j * np.diff(angle))))
    return np.concatenate([[0], 1 + np.flatnonzero(turn > STRAIGHT), [len(line) - 1]])


@dataclass(frozen=True)
class Geometry:
    """What is drawn before anything moves: outlines, members, where each source acts."""

    rings: tuple[tuple[str, str, FloatArray], ...]   # name, kind, (n, 2)
    members: tuple[FloatArray, ...]
    near: FloatArray                                  # (fragments, sources, 2)


def geometry_of(model: Model, layout: Layout) -> Geometry:
    """Outlines of bone and graft, members, and mean places of the links of each source."""
    bone: Bone = model.bone
    rings = [(s.name, "shaft" if i == bone.shaft else
              "graft" if s.kind == Made.GRAFT else "fragment", ring_of(s.mesh))
             for i, s in enumerate(model.solids)]
    members = tuple(along(p.member.points, p.member.points, layout.members[k][2])
                    for k, p in enumerate(model.hardware.parts))
    near = np.zeros((len(layout.fragments), len(layout.sources), 2))
    for k, i in enumerate(bone.fragments):
        body = bone.bodies[i]
        middle = body.points.mean(axis=0)
        for j, (name, _) in enumerate(layout.sources):
            places = [x.place for x in model.problem.links.links if x.source == name
                      and (x.a.body is body or x.b.body is body) and np.isfinite(x.place[0])]
            near[k, j] = np.mean(places, axis=0) if places else middle
            if name == "load" and bone.articular(i)[0].size:
                nodes, share = bone.articular(i)
                near[k, j] = share @ body.points[nodes]
    return Geometry(tuple(rings), members, near)
