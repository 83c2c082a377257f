"""The bone of a study as bodies: meshed once, factorised once, shared by all its constructs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from constructs.resolve import reference_band
from constructs.schema import Study
from constructs.section import Section
from fe.assembly import quadrature_points
from fe.body import Body, Column
from fe.condense import Measure
from fe.continuum import Continuum
from fe.element import EDGE_POINTS, edge_shape
from fe.errors import InputError
from fe.geometry import plan
from fe.interface import Interface, mesh_bodies
from fe.mesh import Mesh

FloatArray = np.ndarray
CONDYLES = ("medial", "lateral")
SHAFT = "shaft"


@dataclass(frozen=True)
class Edge:
    """Where a fracture meets the joint surface: the two lips, nodes of the two bodies."""

    name: str
    body_a: int
    node_a: int
    body_b: int
    node_b: int


@dataclass(frozen=True)
class Bone:
    """Bodies, faces, loads and measures of one geometry and one modulus field.

    ``loads``: unit load cases, 1 N total on the medial and on the lateral contact patch.
    ``shaft`` numbers the body that is clamped; all others are fragments.
    """

    study: Study
    section: Section
    bodies: tuple[Continuum, ...]
    interfaces: tuple[Interface, ...]
    shaft: int
    loads: tuple[tuple[tuple[Body, Column], ...], ...]
    measures: tuple[Measure, ...]
    edges: tuple[Edge, ...]
    band: tuple[float, float]

    @property
    def fragments(self) -> tuple[int, ...]:
        """Numbers of the bodies that are not clamped."""
        return tuple(i for i in range(len(self.bodies)) if i != self.shaft)

    def load_vector(self, total: float) -> FloatArray:
        """Force on each condyle's patch [N] for a total joint force."""
        share = self.study.load.medial_share
        return total * np.array([share, 1.0 - share])

    def friction(self, name: str) -> float:
        """Friction coefficient of a fracture."""
        return next(f.friction for f in self.study.fractures if f.name == name)

    def articular(self, body: int) -> tuple[np.ndarray, FloatArray]:
        """Nodes of a body on the joint surface and their shares of its length (sum 1)."""
        mesh = self.bodies[body].mesh
        if "joint" not in mesh.edges:
            return np.zeros(0, dtype=int), np.zeros(0)
        edges = mesh.edges["joint"]
        length = np.hypot(*(mesh.points[edges[:, 2]] - mesh.points[edges[:, 0]]).T)
        weight = np.zeros(len(mesh.points))
        np.add.at(weight, edges, length[:, None] * np.array([1.0, 4.0, 1.0]) / 6.0)
        nodes = np.flatnonzero(weight)
        return nodes, weight[nodes] / weight.sum()


def mesh_size(study: Study, section: Section):
    """Element size by place: fine near fractures and the joint, coarse in the shaft."""
    fine, coarse = study.mesh.size_mm, study.mesh.coarse_mm
    lines = [np.array(f.points_mm) for f in study.fractures]

    def size(xy: FloatArray) -> FloatArray:
        distance = np.abs(xy[:, 1])
        for line in lines:
            for a, b in zip(line[:-1], line[1:], strict=True):
                step = b - a
                t = np.clip((xy - a) @ step / float(step @ step), 0.0, 1.0)
                distance = np.minimum(distance, np.hypot(*(xy - a - t[:, None] * step).T))
        return np.clip(fine + 0.15 * (distance - 4.0 * fine), fine, coarse)

    return size


def build_meshes(study: Study) -> tuple[list[Mesh], list[Interface]]:
    """Checked geometry of a study, meshed: bodies and matched faces. Raises `InputError`."""
    section = Section(study.section)
    outline, labels = section.outline()
    planar = plan(outline, labels, {f.name: np.array(f.points_mm) for f in study.fractures},
                  size=study.mesh.size_mm)
    names = {f.name: (float(f.inside_mm[0]), float(f.inside_mm[1])) for f in study.fragments}
    meshes, interfaces = mesh_bodies(planar, mesh_size(study, section), names)
    return meshes, interfaces


def build_bone(study: Study) -> Bone:
    """Mesh, stiffness and factors of a study's section. Raises `InputError` for its geometry."""
    section = Section(study.section)
    meshes, interfaces = build_meshes(study)
    shaft = _shaft(meshes, study)
    bodies = tuple(_piece(mesh, section, study, i == shaft) for i, mesh in enumerate(meshes))
    band = reference_band(study)
    bone = Bone(study, section, bodies, tuple(interfaces), shaft, _loads(study, bodies), (),
                _lips(interfaces, meshes), band)
    measures = _measures(bone)
    return Bone(study, section, bodies, bone.interfaces, shaft, bone.loads, measures, bone.edges,
                band)


def _shaft(meshes: list[Mesh], study: Study) -> int:
    held = [i for i, mesh in enumerate(meshes) if "base" in mesh.edges]
    if len(held) != 1:
        raise InputError("a fracture reaches the clamp: more than one piece is held there",
                         key="fracture", expected="fractures that end above the base of the section")
    named = {f.name for f in study.fragments}
    if meshes[held[0]].name in named:
        raise InputError("a fragment's point lies in the shaft, which is held at the clamp",
                         key=f"fragment.{meshes[held[0]].name}.inside_mm",
                         expected="a point on the other side of the fracture")
    return held[0]


def _piece(mesh: Mesh, section: Section, study: Study, held: bool) -> Continuum:
    sheets = section.sheets(quadrature_points(mesh))
    depth = {f.name: f.depth_mm for f in study.fragments}.get(mesh.name)
    if depth is not None:
        # A fragment less deep than the bone: its sheets in proportion; the bone in front of it
        # or behind it does nothing.
        sheets = sheets * np.minimum(
            1.0, depth / section.thickness(quadrature_points(mesh)))[..., None]
    fixed: list[int] = []
    if held:
        nodes = np.unique(mesh.edges["base"])
        fixed = [*(2 * nodes).tolist(), *(2 * nodes + 1).tolist()]
        mesh = Mesh(SHAFT, mesh.points, mesh.triangles, mesh.edges)
    return Continuum(mesh, sheets, fixed)


def patch(mesh: Mesh, low: float, high: float, direction: FloatArray) -> tuple[Column, float]:
    """Even pressure over ``low <= x <= high`` of the joint line: 1 N a full patch; its share."""
    force = np.zeros(mesh.n_dof)
    covered = 0.0
    if "joint" not in mesh.edges:
        return Column.dense(force), 0.0
    for edge in mesh.edges["joint"]:
        start, end = mesh.points[edge[0], 0], mesh.points[edge[2], 0]
        a, b = max(low, min(start, end)), min(high, max(start, end))
        if b <= a:
            continue
        # Gauss points of the covered part, in the edge's own coordinate from -1 to 1.
        x = 0.5 * (a + b) + 0.5 * (b - a) * EDGE_POINTS
        local = (2.0 * x - start - end) / (end - start)
        weight = np.array([5.0, 8.0, 5.0]) / 18.0 * (b - a) / (high - low)
        nodal = edge_shape(local)[0].T @ weight
        covered += float(weight.sum())
        for axis in (0, 1):
            np.add.at(force, 2 * edge + axis, nodal * direction[axis])
    return Column.dense(force), covered


def _loads(study: Study, bodies: tuple[Continuum, ...]
           ) -> tuple[tuple[tuple[Body, Column], ...], ...]:
    load = study.load
    angle = np.radians(load.direction_deg)
    direction = np.array([np.sin(angle), -np.cos(angle)])
    cases = []
    for condyle, centre, share in (("medial", load.medial_centre_mm, load.medial_share),
                                   ("lateral", load.lateral_centre_mm, 1 - load.medial_share)):
        low, high = centre - load.patch_width_mm / 2, centre + load.patch_width_mm / 2
        parts, total = [], 0.0
        for body in bodies:
            column, covered = patch(body.mesh, low, high, direction)
            if covered > 0:
                parts.append((body, column))
                total += covered
        if share > 0 and abs(total - 1.0) > 1e-9:
            key = f"load.{condyle}_centre_mm"
            raise InputError(f"the {condyle} contact patch does not lie on the joint surface",
                             key=key, value=f"{low:g} to {high:g} mm, of which {total:.0%} on bone",
                             expected="a patch wholly on the joint line")
        cases.append(tuple(parts))
    return tuple(cases)


def _lips(interfaces: list[Interface], meshes: list[Mesh]) -> tuple[Edge, ...]:
    edges: list[Edge] = []
    for face in interfaces:
        for end in (0, -1):
            a, b = int(face.nodes_a[end]), int(face.nodes_b[end])
            joint = meshes[face.body_a].edges.get("joint")
            if joint is None or a not in joint:
                continue
            count = sum(e.name.split(" #")[0] == face.name for e in edges)
            name = face.name if not count else f"{face.name} #{count + 1}"
            edges.append(Edge(name, face.body_a, a, face.body_b, b))
    return tuple(edges)


def _measures(bone: Bone) -> tuple[Measure, ...]:
    """Displacements read off every answer: reference frame, joint surfaces, lips, rims, tilt."""
    found: list[Measure] = []

    def point(name: str, body: int, node: int) -> None:
        for axis, letter in ((0, "x"), (1, "y")):
            column = Column.of([2 * node + axis], [1.0])
            found.append(Measure(f"{name} {letter}", ((bone.bodies[body], column),)))

    shaft = bone.bodies[bone.shaft]
    y = shaft.points[:, 1]
    nodes = np.flatnonzero((y >= bone.band[0]) & (y <= bone.band[1]))
    if nodes.size < 3:
        raise InputError("the reference band holds no bone of the shaft",
                         key="section.reference_band_mm", value=str(list(bone.band)),
                         expected="a stretch of shaft below every fracture")
    for name, column in zip(("frame x", "frame y", "frame turn"),
                            frame_columns(shaft.points, nodes), strict=True):
        found.append(Measure(name, ((shaft, column),)))
    for i in range(len(bone.bodies)):
        for node in bone.articular(i)[0]:
            point(f"joint {i} {node}", i, int(node))
        if i != bone.shaft:
            turn = frame_columns(bone.bodies[i].points, np.arange(len(bone.bodies[i].points)))[2]
            found.append(Measure(f"turn {i}", ((bone.bodies[i], turn),)))
    for edge in bone.edges:
        point(f"lip a {edge.name}", edge.body_a, edge.node_a)
        point(f"lip b {edge.name}", edge.body_b, edge.node_b)
    for side, body, node in rims(bone):
        point(f"rim {side}", body, node)
    for condyle, case in zip(CONDYLES, bone.loads, strict=True):
        found.append(Measure(f"under load {condyle}", case))
    return tuple(found)


def frame_columns(points: FloatArray, nodes: np.ndarray) -> tuple[Column, Column, Column]:
    """Least-squares rigid motion of nodes: translation of their centre (x, y) and rotation."""
    centre = points[nodes].mean(axis=0)
    arm = points[nodes] - centre
    inertia = float((arm**2).sum())
    mean = np.full(nodes.size, 1.0 / nodes.size)
    turn = Column.of(np.concatenate([2 * nodes, 2 * nodes + 1]),
                     np.concatenate([-arm[:, 1], arm[:, 0]]) / inertia)
    return Column.of(2 * nodes, mean), Column.of(2 * nodes + 1, mean), turn


def frame_centre(bone: Bone) -> FloatArray:
    """Centre of the reference band's nodes ``(2,)``, about which its rotation is taken."""
    points = bone.bodies[bone.shaft].points
    inside = (points[:, 1] >= bone.band[0]) & (points[:, 1] <= bone.band[1])
    return points[inside].mean(axis=0)


def rims(bone: Bone) -> list[tuple[str, int, int]]:
    """The outermost point of the plateau on each side: (side, body, node)."""
    out = []
    for side, sign in (("medial", -1.0), ("lateral", 1.0)):
        best: tuple[float, int, int] | None = None
        for i, body in enumerate(bone.bodies):
            for name in (side, "joint"):
                for node in np.unique(body.mesh.edges.get(name, np.zeros(0, dtype=int))):
                    reach = sign * body.points[node, 0]
                    if best is None or reach > best[0] + 1e-9:
                        best = (reach, i, int(node))
        assert best is not None
        out.append((side, best[1], best[2]))
    return out
